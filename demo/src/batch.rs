//! Invented cases with known truth, one after the other from one seed.

use crate::cycle::{self, Demand, STEPS, Style};
use crate::draw::Draw;
use crate::faults::{Fault, HoseFault};
use crate::filter_truth::{
    Body, Constants, Crack, DoesNotFit, Load, STANDARD_PRESSURE, STANDARD_TEMPERATURE, Solid, Table, cracked,
};
use crate::life::{Additive, Life, round, typed};
use crate::sensors::{Interruptions, Sensors, Shown, show};
use crate::vehicle::{Air, Burn, EngineFaults, Instant, Start, Vehicle, run};
use crate::write::{candump, columns, gzip, j1939, obd};
use facts::FaultId;
use facts::case::{Case, Plumbing, Point, Quantity, Reading, RecordingKind, RecordingRow, Role, SCHEMA};
use serde::Serialize;

/// What is made besides typed readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Session {
    /// A drive of 10 to 30 minutes.
    Drive,
    /// A workshop run of about five minutes.
    Workshop,
    /// Nothing: typed readings only.
    Typed,
    /// Ignition on, nothing else.
    KeyOnOnly,
    /// Idling only (heavy vehicles: the pressure hardly leaves zero).
    IdleOnly,
    /// A drive in which the controller burns the soot; the truth holds at its end.
    DriveWithRegeneration,
    /// Two workshop runs, before and after a service regeneration; the truth holds after it.
    BeforeAfter,
}

impl Session {
    fn burns(self) -> bool {
        matches!(self, Self::DriveWithRegeneration | Self::BeforeAfter)
    }
}

/// What is true, in the units of the answer.
#[derive(Debug, Clone, Serialize)]
pub struct Truth {
    /// Fault identifier, `none` for a healthy car.
    pub fault: &'static str,
    /// What was recorded.
    pub session: Session,
    /// Form of the recording: `none`, `obd_11`, `obd_29`, `j1939` or `csv`.
    pub form: &'static str,
    /// Soot, g per litre of filter volume.
    pub soot_load_g_per_l: f64,
    /// Soot, g.
    pub soot_mass_g: f64,
    /// Ash, g per litre of filter volume.
    pub ash_load_g_per_l: f64,
    /// Ash, g.
    pub ash_mass_g: f64,
    /// Zero of the pressure sensor: what it shows at no flow when nothing else is wrong, kPa.
    pub zero_kpa: f64,
    /// What it does show at no flow, kPa: a frozen sensor or a shut hose shows something else, and a sensor
    /// that is cut off at nought shows nothing below it.
    pub zero_shown_kpa: f64,
    /// The sensor shows nothing below zero.
    pub zero_cut_off: bool,
    /// Between the taps (cones included, silencer not) at 50 g/s (M1, N1) or 150 g/s and 300 degC, kPa.
    pub standard_pressure_drop_kpa: f64,
    /// The same for this filter new: no soot, no ash, bare wall, no crack, kPa.
    pub standard_pressure_drop_as_new_kpa: f64,
    /// Filter volume, L.
    pub filter_volume_l: f64,
    /// Soot before the regeneration that the case holds, g per litre of filter volume.
    pub soot_load_before_g_per_l: Option<f64>,
    /// Viscous resistance after over before that regeneration.
    pub proof_ratio: Option<f64>,
    /// False where readings and recording cannot tell soot: key on only, mute sensor, idle within two counts.
    pub carries_information: bool,
    /// Additive side, when there is one.
    pub additive: Option<Additive>,
    /// Two radial zones.
    pub two_zones: bool,
    /// Permeability times packing density of the soot cake, kg/m.
    pub soot_product_kg_per_m: f64,
    /// Share of the ash in the plug.
    pub ash_plug_share: f64,
    /// Distance since the last regeneration, km.
    pub distance_since_regeneration_km: f64,
}

/// A case, its files and its truth.
#[derive(Debug, Clone)]
pub struct GeneratedCase {
    /// Name of its folder: `case-0001`.
    pub name: String,
    /// The case as told.
    pub case: Case,
    /// Recordings: file name and bytes.
    pub files: Vec<(String, Vec<u8>)>,
    /// The truth.
    pub truth: Truth,
}

/// Why a case could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The case does not turn into TOML.
    #[error("the case does not turn into TOML: {0}")]
    Toml(#[from] toml::ser::Error),
    /// The truth does not turn into JSON.
    #[error("the truth does not turn into JSON: {0}")]
    Json(#[from] serde_json::Error),
    /// A file could not be written.
    #[error("{path} could not be written: {source}")]
    File {
        /// Which file.
        path: String,
        /// Why.
        source: std::io::Error,
    },
}

impl GeneratedCase {
    /// All files of the case as name and bytes: `case.toml`, `truth.json`, recordings.
    ///
    /// # Errors
    /// When the case or the truth cannot be serialised.
    pub fn contents(&self) -> Result<Vec<(String, Vec<u8>)>, WriteError> {
        let mut all = vec![
            ("case.toml".to_owned(), toml::to_string(&self.case)?.into_bytes()),
            ("truth.json".to_owned(), serde_json::to_vec_pretty(&self.truth)?),
        ];
        all.extend(self.files.iter().cloned());
        Ok(all)
    }

    /// Writes the case into `folder`, which is made if need be.
    ///
    /// # Errors
    /// When a file cannot be written.
    pub fn write(&self, folder: &std::path::Path) -> Result<(), WriteError> {
        let failed =
            |path: &std::path::Path, source| WriteError::File { path: path.display().to_string(), source };
        std::fs::create_dir_all(folder).map_err(|e| failed(folder, e))?;
        for (name, bytes) in self.contents()? {
            let path = folder.join(name);
            std::fs::write(&path, bytes).map_err(|e| failed(&path, e))?;
        }
        Ok(())
    }
}

/// `n` cases of `seed`.
#[must_use]
pub fn batch(seed: u64, n: usize) -> Vec<GeneratedCase> {
    (0..n).map(|i| generate(seed, i, None)).collect()
}

/// The `index`-th case of `seed`; a case does not depend on those before it. `session` overrides what is recorded.
#[must_use]
pub fn generate(seed: u64, index: usize, session: Option<Session>) -> GeneratedCase {
    let mut draw = Draw::new(seed, index as u64);
    let drawn = match draw.weighted(&[0.54, 0.225, 0.15, 0.015, 0.02, 0.03, 0.02]) {
        0 => Session::Drive,
        1 => Session::Workshop,
        2 => Session::Typed,
        3 => Session::KeyOnOnly,
        4 => Session::IdleOnly,
        5 => Session::DriveWithRegeneration,
        _ => Session::BeforeAfter,
    };
    let session = session.unwrap_or(drawn);
    // The typical "cannot tell" is a truck that idles.
    let heavy = draw.chance(0.13) || session == Session::IdleOnly;
    let mut fault = Fault::draw(&mut draw);
    if session.burns() && fault.id == Some(FaultId::SootShortTrips) {
        // Once burnt it is no longer overloaded.
        fault = Fault::NONE;
    }
    make(&mut draw, format!("case-{:04}", index + 1), Plan { session, heavy, fault })
}

/// What the case is to be.
#[derive(Debug, Clone, Copy)]
pub struct Plan {
    /// What is recorded.
    pub session: Session,
    /// Heavier than M1 and N1.
    pub heavy: bool,
    /// What is wrong.
    pub fault: Fault,
}

/// A car with its filter, in the state it is in.
pub struct Car {
    /// Car.
    pub vehicle: Vehicle,
    /// Filter body.
    pub body: Body,
    /// Its life.
    pub life: Life,
    /// Constants of the filter.
    pub constants: Constants,
    /// Fault.
    pub fault: Fault,
    /// Surroundings.
    pub air: Air,
    /// Sensors.
    pub sensors: Sensors,
    pub(crate) filled: Filled,
    /// New, intact filter at standard flow (kg/s) and its drop (Pa).
    as_new: (f64, f64),
}

/// The filter in one state.
pub(crate) struct Filled {
    table: Table,
    /// Standard pressure drop, Pa.
    standard: f64,
    /// Viscous resistance at 300 degC: drop over flow towards no flow, Pa s/kg.
    pub(crate) viscous: f64,
}

fn at_standard(solid: &Solid, flow: f64) -> Result<f64, DoesNotFit> {
    solid.pressure_drop(flow, STANDARD_TEMPERATURE, STANDARD_PRESSURE).ok_or(DoesNotFit)
}

fn fill(
    vehicle: &Vehicle,
    body: &Body,
    constants: &Constants,
    life: &Life,
    air: Air,
    fault: &mut Fault,
    as_new: (f64, f64),
) -> Result<Filled, DoesNotFit> {
    let load = Load { soot: life.soot, ash: life.ash, bare_wall: life.bare_wall };
    let solid = Solid::new(body, constants, load)?;
    let flow = vehicle.standard_flow();
    let standard = match fault.crack {
        // Through the crack the flow differs, so the intact drop is needed at many flows.
        Some(crack) => {
            let mut lines = vec![(0.0, 0.0)];
            for k in 1..=24 {
                let m = flow * f64::from(k) / 24.0;
                lines.push((m, at_standard(&solid, m)?));
            }
            let intact = |m: f64| {
                let x = (m / flow * 24.0).clamp(0.0, 23.999);
                let i = x as usize;
                lines[i].1 + (x - i as f64) * (lines[i + 1].1 - lines[i].1)
            };
            let at_share = |share| cracked(intact, flow, STANDARD_TEMPERATURE, Crack { share }, as_new);
            let mut share = crack.share;
            // It counts as cracked below 0.8 of as-new; a filter with much ash takes a larger hole for that.
            while at_share(share) > 0.8 * as_new.1 && share < 0.99 {
                share = 1.0 - 0.8 * (1.0 - share);
            }
            fault.crack = Some(Crack { share });
            at_share(share)
        }
        None => at_standard(&solid, flow)?,
    };
    // Drop over flow is a straight line in flow; its foot is the viscous part.
    let (low, high) = (0.1 * flow, 0.3 * flow);
    let (a, b) = (at_standard(&solid, low)? / low, at_standard(&solid, high)? / high);
    let viscous = a - (b - a) / (high - low) * low;
    let table = solid.table(vehicle.largest_flow(), air.pressure, vehicle.silencer)?;
    Ok(Filled { table, standard, viscous })
}

impl Car {
    /// Draws a car that fits the plan.
    pub fn draw(draw: &mut Draw, plan: Plan) -> Self {
        // Deposits that do not fit are drawn again; that happens to a few in a thousand.
        loop {
            if let Ok(car) = Self::try_draw(draw, plan, &|_, _, _| {}) {
                return car;
            }
        }
    }

    /// Draws cars that fit the plan until one fits after `amend` has set what was ordered (life, sensors,
    /// fault); at most `tries` of them.
    ///
    /// # Errors
    /// When none of them can hold what was ordered, or all of them would cost more than 20 kPa.
    pub fn draw_amended(
        draw: &mut Draw,
        plan: Plan,
        tries: usize,
        amend: &dyn Fn(&mut Life, &mut Sensors, &mut Fault),
    ) -> Result<Self, DoesNotFit> {
        for _ in 0..tries {
            if let Ok(car) = Self::try_draw(draw, plan, amend) {
                return Ok(car);
            }
        }
        Err(DoesNotFit)
    }

    fn try_draw(
        draw: &mut Draw,
        plan: Plan,
        amend: &dyn Fn(&mut Life, &mut Sensors, &mut Fault),
    ) -> Result<Self, DoesNotFit> {
        let mut fault = plan.fault;
        let mut vehicle = Vehicle::draw(draw, plan.heavy);
        let body = Body::draw(draw, vehicle.displacement, plan.heavy);
        let constants = Constants::draw(draw, &body, plan.heavy);
        vehicle.filter_capacity = body.volume() * draw.uniform(0.55e6, 0.95e6);
        let mut life = Life::draw(draw, &vehicle, &body, &fault);
        let altitude = if draw.chance(0.8) { draw.uniform(0.0, 500.0) } else { draw.uniform(400.0, 1600.0) };
        let air = Air {
            pressure: 101_325.0 * (-altitude / 8400.0_f64).exp() * draw.normal(1.0, 0.008),
            temperature: 273.15 + draw.normal(13.0, 8.0).clamp(-8.0, 33.0),
        };
        let mut sensors = Sensors::draw(draw, plan.heavy, &fault);
        amend(&mut life, &mut sensors, &mut fault);
        let new = Solid::new(&body, &constants, Load::NONE)?;
        let flow = vehicle.standard_flow();
        let as_new = (flow, at_standard(&new, flow)?);
        let filled = fill(&vehicle, &body, &constants, &life, air, &mut fault, as_new)?;
        // With more than this the car does not come on its own wheels.
        if filled.standard > 20e3 {
            return Err(DoesNotFit);
        }
        Ok(Self { vehicle, body, life, constants, fault, air, sensors, filled, as_new })
    }

    /// The same car with another life (soot, ash).
    fn with_life(&self, life: Life) -> Result<Self, DoesNotFit> {
        let mut fault = self.fault;
        let filled =
            fill(&self.vehicle, &self.body, &self.constants, &life, self.air, &mut fault, self.as_new)?;
        Ok(Self {
            vehicle: self.vehicle.clone(),
            body: self.body,
            life,
            constants: self.constants,
            fault: self.fault,
            air: self.air,
            sensors: self.sensors.clone(),
            filled,
            as_new: self.as_new,
        })
    }

    /// The same car at another time of its life, perhaps with another sensor, filter or fault.
    pub(crate) fn later(
        &self,
        life: Life,
        mut fault: Fault,
        sensors: Sensors,
        constants: Constants,
        air: Air,
    ) -> Result<Self, DoesNotFit> {
        let flow = self.vehicle.standard_flow();
        let new = Solid::new(&self.body, &constants, Load::NONE)?;
        let as_new = (flow, at_standard(&new, flow)?);
        let filled = fill(&self.vehicle, &self.body, &constants, &life, air, &mut fault, as_new)?;
        if filled.standard > 20e3 {
            return Err(DoesNotFit);
        }
        let (vehicle, body) = (self.vehicle.clone(), self.body);
        Ok(Self { vehicle, body, life, constants, fault, air, sensors, filled, as_new })
    }

    /// This car after a regeneration that leaves `share` of the soot.
    pub(crate) fn burnt(&self, draw: &mut Draw, share: f64, complete: bool) -> Option<Self> {
        let mut life = self.life.clone();
        life.soot *= share;
        // After a partial burn the wall is bare under the cake that is left.
        life.bare_wall = !complete;
        life.since_regeneration = draw.uniform(0.5, 9.0);
        if complete {
            life.counts.0 += 1;
        } else {
            life.counts.1 += 1;
        }
        self.with_life(life).ok()
    }

    /// Pressure difference between the taps, Pa.
    #[must_use]
    pub fn drop(&self, flow: f64, temperature: f64) -> f64 {
        match self.fault.crack {
            Some(crack) => cracked(
                |m| self.filled.table.pressure_drop(m, temperature),
                flow,
                temperature,
                crack,
                self.as_new,
            ),
            None => self.filled.table.pressure_drop(flow, temperature),
        }
    }

    /// Runs the car.
    pub fn run(&self, draw: &mut Draw, demands: &[Demand], warm: bool) -> Vec<Instant> {
        self.run_burning(draw, demands, warm, None)
    }

    /// Runs the car; during a burn the filter goes over from this state to that of the car it is given.
    pub(crate) fn run_burning(
        &self,
        draw: &mut Draw,
        demands: &[Demand],
        warm: bool,
        burn: Option<(Burn, &Self)>,
    ) -> Vec<Instant> {
        let faults: EngineFaults = self.fault.engine;
        let t = self.air.temperature;
        let start = if warm {
            let thermostat = faults.thermostat.unwrap_or(self.vehicle.thermostat);
            Start {
                coolant: thermostat - draw.uniform(0.0, 15.0),
                pipe: t + draw.uniform(40.0, 160.0),
                filter: t + draw.uniform(40.0, 180.0),
            }
        } else {
            Start { coolant: t - 273.15 + draw.uniform(0.0, 8.0), pipe: t, filter: t }
        };
        let heat = burn.map(|(b, _)| b);
        run(&self.vehicle, faults, self.air, start, demands, heat, draw, |time, flow, temperature| {
            let before = self.drop(flow, temperature);
            match burn {
                // The soot goes once the filter is hot, the faster the more there is.
                Some((b, after)) if time > b.begin => {
                    let hot = ((time - b.begin - 60.0) / (b.end - b.begin - 60.0)).clamp(0.0, 1.0);
                    let left = (1.0 - hot).powi(2);
                    before * left + after.drop(flow, temperature) * (1.0 - left)
                }
                _ => before,
            }
        })
    }

    /// What the pressure sensor shows at no flow, kPa.
    fn zero_shown(&self) -> f64 {
        let s = &self.sensors;
        let shown = match (self.fault.frozen, self.fault.hose) {
            (Some(value), _) => value,
            (None, HoseFault::BlockedShut(enclosed)) => s.gain * enclosed + s.zero,
            _ => s.zero,
        };
        if s.clipped { shown.max(0.0) } else { shown }
    }

    /// The truth, given what was recorded.
    #[must_use]
    pub fn truth(&self, session: Session, form: &'static str, carries_information: bool) -> Truth {
        let volume = self.body.volume_l();
        Truth {
            fault: self.fault.name(),
            session,
            form,
            soot_load_g_per_l: self.life.soot,
            soot_mass_g: self.life.soot * volume,
            ash_load_g_per_l: self.life.ash,
            ash_mass_g: self.life.ash * volume,
            zero_kpa: self.sensors.zero,
            zero_shown_kpa: self.zero_shown(),
            zero_cut_off: self.sensors.clipped,
            standard_pressure_drop_kpa: self.filled.standard / 1e3,
            standard_pressure_drop_as_new_kpa: self.as_new.1 / 1e3,
            filter_volume_l: volume,
            soot_load_before_g_per_l: None,
            proof_ratio: None,
            carries_information,
            additive: self.life.additive.clone(),
            two_zones: self.constants.outer.share > 0.0,
            soot_product_kg_per_m: self.constants.soot_product,
            ash_plug_share: self.constants.plug_share,
            distance_since_regeneration_km: self.life.since_regeneration,
        }
    }
}

/// Typed readings at the stages of a workshop run.
pub(crate) fn typed_readings(
    draw: &mut Draw,
    car: &Car,
    demands: &[Demand],
    shown: &[Shown],
    key_on_only: bool,
) -> Vec<Reading> {
    let mut out = Vec::new();
    let hecto = draw.chance(0.6);
    let with_flow = draw.chance(0.5);
    let with_temperature = draw.chance(0.6);
    let with_coolant = draw.chance(0.4);
    // Last moment of the first stretch of each kind.
    let ends = |wanted: fn(&Demand) -> bool| {
        let begin = demands.iter().position(wanted)?;
        let stretch = demands[begin..].iter().take_while(|d| **d == demands[begin]).count();
        Some(begin + stretch - 1)
    };
    let stages = [
        (Point::KeyOn, ends(|d| *d == Demand::KeyOn)),
        (Point::HotIdle, ends(|d| *d == Demand::Held(0.0))),
        (Point::Held, ends(|d| matches!(d, Demand::Held(r) if *r > 0.0))),
    ];
    for (point, end) in stages {
        let Some(end) = end else { continue };
        if key_on_only && point != Point::KeyOn {
            continue;
        }
        let window = &shown[end.saturating_sub(5 * STEPS)..=end];
        let mean = |f: fn(&Shown) -> f64| window.iter().map(f).sum::<f64>() / window.len() as f64;
        let speed = (point == Point::Held).then(|| round(mean(|s| s.rpm), 10.0));
        let mut push = |q, v: f64, unit: &str| out.push(typed(point, speed, q, v, unit));
        let drops: Vec<f64> = window.iter().filter_map(|s| s.drop).collect();
        if let Some(last) = drops.last() {
            // People read a jumping number as its middle.
            let value = 0.5 * last + 0.5 * drops.iter().sum::<f64>() / drops.len() as f64;
            let step = car.sensors.step.max(if hecto { 0.1 } else { 0.01 });
            if hecto {
                push(Quantity::DifferentialPressure, round(round(value, step) * 10.0, 0.1), "hPa");
            } else {
                push(Quantity::DifferentialPressure, round(round(value, step), 0.01), "kPa");
            }
        }
        if point != Point::KeyOn {
            if with_flow {
                push(Quantity::IntakeAirMassFlow, round(mean(|s| s.flow) * 3.6, 0.1), "kg/h");
            }
            if with_temperature {
                push(Quantity::ExhaustTemperatureBefore, mean(|s| s.before).round(), "degC");
            }
            if with_coolant {
                push(Quantity::CoolantTemperature, mean(|s| s.coolant).round(), "degC");
            }
        }
    }
    out
}

fn make(draw: &mut Draw, name: String, plan: Plan) -> GeneratedCase {
    let mut before = Car::draw(draw, plan);
    if plan.session == Session::IdleOnly {
        // The case that must come out as "cannot tell": at idle hardly any pressure.
        let at_idle = |car: &Car| car.drop(0.6e-5 * car.vehicle.displacement * car.vehicle.idle, 390.0);
        for _ in 0..12 {
            let other = Car::draw(draw, plan);
            if at_idle(&other) < at_idle(&before) {
                before = other;
            }
        }
        // Slow engines idle without much pulsation.
        before.sensors.noise = before.sensors.noise.min(0.015);
        before.sensors.pulsation = 0.0;
    }
    let incomplete = plan.fault.id == Some(FaultId::RegenerationIncomplete);
    let after = plan.session.burns().then(|| {
        let share = if incomplete { draw.uniform(0.35, 0.75) } else { draw.uniform(0.02, 0.12) };
        before.burnt(draw, share, !incomplete)
    });
    let after = after.flatten();
    let car = after.as_ref().unwrap_or(&before);
    let mut case = Case { schema: SCHEMA.to_owned(), title: Some(name.clone()), ..Case::default() };
    if draw.chance(0.5) {
        case.ambient.pressure_kpa = Some(round(car.air.pressure / 1e3, 0.1));
    }
    if draw.chance(0.5) {
        case.ambient.temperature_degc = Some(round(car.air.temperature - 273.15, 1.0));
    }
    case.sensor.plumbing = if draw.chance(0.75) {
        Some(car.sensors.plumbing)
    } else {
        draw.chance(0.5).then_some(Plumbing::Unknown)
    };
    car.life.tell(draw, &car.vehicle, &car.body, &car.fault, &mut case);

    let mut files = Vec::new();
    let mut form = "none";
    let mut informative = false;
    let type_too = match plan.session {
        Session::Typed | Session::KeyOnOnly => true,
        Session::IdleOnly => false,
        _ => draw.chance(0.35),
    };
    if type_too {
        let demands = cycle::workshop(draw, car.vehicle.heavy);
        let truth = car.run(draw, &demands, true);
        let shown = show(&truth, &car.sensors, &car.fault, car.air, &Interruptions::default(), draw);
        let key_on_only = plan.session == Session::KeyOnOnly;
        case.reading.extend(typed_readings(draw, car, &demands, &shown, key_on_only));
        informative = !key_on_only && !car.fault.pressure_is_mute();
    }
    for part in parts(draw, plan.session, &before, after.as_ref()) {
        let driven = part.kind == RecordingKind::Drive;
        let warm = !driven || part.burn.is_some() || draw.chance(0.6);
        let truth = part.car.run_burning(draw, &part.demands, warm, part.burn);
        let interruptions =
            if driven { Interruptions::draw(draw, part.demands.len()) } else { Interruptions::default() };
        let shown = show(&truth, &car.sensors, &car.fault, car.air, &interruptions, draw);
        let recorded = record(draw, part.car, &shown, part.stem);
        form = recorded.form;
        informative |= plan.session != Session::KeyOnOnly
            && moves_or_stands(&shown, &car.sensors, recorded.form == "j1939")
            && !car.fault.pressure_is_mute();
        case.recording.push(RecordingRow {
            odometer_km: None,
            time: None,
            order: None,
            note: None,
            file: recorded.file.clone(),
            role: Some(part.role),
            kind: Some(part.kind),
            columns: recorded.columns,
        });
        files.push((recorded.file, recorded.bytes));
    }
    let mut truth = car.truth(plan.session, form, informative);
    if let Some(after) = &after {
        truth.soot_load_before_g_per_l = Some(before.life.soot);
        truth.proof_ratio = Some(after.filled.viscous / before.filled.viscous);
    }
    GeneratedCase { name, case, files, truth }
}

/// Whether a shown pressure leaves its last count or stands well above what a zero may be, so that it can
/// tell soot at all.
pub(crate) fn moves_or_stands(shown: &[Shown], sensors: &Sensors, j1939: bool) -> bool {
    let step: f64 = if j1939 { 0.1 } else { sensors.step };
    // The first seconds, in which the engine comes up to speed, do not count; J1939 knows nothing below zero.
    let drops = shown.iter().skip(6 * STEPS).filter_map(|s| s.drop);
    let drops = drops.map(|d| if j1939 { d.max(0.0) } else { d });
    let (low, high) = drops.fold((f64::MAX, f64::MIN), |(a, b), d| (a.min(d), b.max(d)));
    high - low > 2.01 * step.max(0.02) || 0.5 * (low + high) > 0.5
}

/// One recording of a case.
pub(crate) struct Part<'a> {
    pub(crate) demands: Vec<Demand>,
    pub(crate) car: &'a Car,
    pub(crate) burn: Option<(Burn, &'a Car)>,
    pub(crate) role: Role,
    pub(crate) kind: RecordingKind,
    pub(crate) stem: &'static str,
}

pub(crate) fn parts<'a>(
    draw: &mut Draw,
    session: Session,
    before: &'a Car,
    after: Option<&'a Car>,
) -> Vec<Part<'a>> {
    let heavy = before.vehicle.heavy;
    let workshop = |demands, car, role, stem| Part {
        demands,
        car,
        burn: None,
        role,
        kind: RecordingKind::Workshop,
        stem,
    };
    match session {
        Session::Drive | Session::DriveWithRegeneration => {
            let burning = after.filter(|_| session == Session::DriveWithRegeneration);
            let minutes = if burning.is_some() { draw.uniform(24.0, 36.0) } else { draw.uniform(10.0, 30.0) };
            let style = match burning {
                Some(_) => draw.pick([Style::Mixed, Style::Fast]),
                None if before.life.trip < 9.0 => Style::Town,
                None => draw.pick([Style::Mixed, Style::Mixed, Style::Town, Style::Fast]),
            };
            let key_on = if draw.chance(0.6) { draw.uniform(3.0, 20.0) } else { 0.0 };
            let burn = burning.map(|after| {
                let begin = draw.uniform(330.0, 500.0);
                let minutes =
                    if after.life.bare_wall { draw.uniform(3.0, 6.0) } else { draw.uniform(8.0, 13.0) };
                let peak = if before.life.additive.is_some() { 500.0..570.0 } else { 580.0..640.0 };
                let target = 273.15 + draw.uniform(peak.start, peak.end);
                (Burn { begin, end: begin + 60.0 * minutes, target }, after)
            });
            let demands = cycle::drive(draw, minutes, style, heavy, key_on);
            vec![Part {
                demands,
                car: before,
                burn,
                role: Role::Now,
                kind: RecordingKind::Drive,
                stem: "recording",
            }]
        }
        Session::Workshop => vec![workshop(cycle::workshop(draw, heavy), before, Role::Now, "recording")],
        Session::KeyOnOnly => vec![workshop(cycle::key_on_only(30.0), before, Role::Now, "recording")],
        Session::IdleOnly => {
            vec![workshop(cycle::idle_only(draw.uniform(100.0, 240.0)), before, Role::Now, "recording")]
        }
        Session::BeforeAfter => vec![
            workshop(cycle::workshop(draw, heavy), before, Role::Before, "before"),
            workshop(cycle::workshop(draw, heavy), after.unwrap_or(before), Role::After, "after"),
        ],
        Session::Typed => Vec::new(),
    }
}

pub(crate) struct Recorded {
    pub(crate) file: String,
    pub(crate) bytes: Vec<u8>,
    pub(crate) form: &'static str,
    pub(crate) columns: std::collections::BTreeMap<String, String>,
}

pub(crate) fn record(draw: &mut Draw, car: &Car, shown: &[Shown], stem: &str) -> Recorded {
    let none = std::collections::BTreeMap::new();
    let kind = draw.weighted(&[0.85, 0.15]);
    let zipped = draw.chance(0.25);
    if kind == 1 && !car.vehicle.heavy {
        let shape = columns::Shape::draw(draw);
        let every = draw.pick([2, 5, 10]);
        let (bytes, columns) = columns::write(shown, shape, every);
        return Recorded { file: format!("{stem}.csv"), bytes, form: "csv", columns };
    }
    let form = if draw.chance(0.8) { candump::Form::Compact } else { candump::Form::Screen };
    let background = if draw.chance(0.3) { draw.uniform(2.0, 12.0) } else { 0.0 };
    let mut log =
        candump::Log::new(form, 1_930_000_000.0 + draw.uniform(0.0, 2e6).floor(), background, draw.clone());
    let life = &car.life;
    let name = if car.vehicle.heavy {
        let style = j1939::Style::draw(draw);
        let s = car.vehicle.silencer;
        let slow = j1939::Slow {
            soot: (life.soot / 6.0 * 100.0 * draw.log_normal(1.0, 0.3)).min(200.0),
            ash: (life.ash / 60.0 * 100.0 * draw.log_normal(1.0, 0.3)).min(200.0),
            since_regeneration: life.since_regeneration / 50.0 * 3600.0,
            fuel_density: life.fuel_density,
            downstream: s.at_reference / 1e3 / (s.reference_flow * 1e3).powf(1.9) / STANDARD_TEMPERATURE,
        };
        j1939::write(shown, &slow, &style, &mut log, draw);
        "j1939"
    } else {
        let style = obd::Style::draw(draw);
        let slow = obd::Slow {
            odometer: life.odometer,
            fuel_level: draw.uniform(12.0, 95.0),
            since_cleared: draw.uniform(50.0, 20_000.0).min(life.odometer),
            trigger: (life.since_regeneration / life.interval * 100.0 * draw.log_normal(1.0, 0.2))
                .clamp(0.0, 100.0),
            mean_distance: life.interval * draw.log_normal(1.0, 0.15),
            mean_time: life.interval / draw.uniform(25.0, 60.0) * 60.0,
            fuel_density: life.fuel_density,
        };
        obd::write(shown, &slow, &style, &mut log, draw);
        if style.extended { "obd_29" } else { "obd_11" }
    };
    let text = log.finish().into_bytes();
    match gzip(&text) {
        Ok(bytes) if zipped => Recorded { file: format!("{stem}.log.gz"), bytes, form: name, columns: none },
        _ => Recorded { file: format!("{stem}.log"), bytes: text, form: name, columns: none },
    }
}
