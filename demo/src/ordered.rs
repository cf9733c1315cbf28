//! One invented car as ordered: chosen loads, faults and sensor errors, driven along a speed trace, written
//! as recordings with the truth beside them. For training and for tests.

use crate::batch::{Car, Plan, Session, Truth, WriteError, moves_or_stands};
use crate::cycle::{self, Demand, STEPS, Style};
use crate::draw::Draw;
use crate::faults::{Fault, KINDS};
use crate::filter_truth::{Constants, STANDARD_TEMPERATURE};
use crate::life::{Life, round};
use crate::sensors::{Interruptions, Sensors, Shown, show};
use crate::vehicle::Instant;
use crate::write::{candump, columns, j1939, obd};
use facts::FaultId;
use facts::case::{Case, RecordingKind, RecordingRow, Role, SCHEMA};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// What the car does.
#[derive(Debug, Clone, PartialEq)]
pub enum Trace {
    /// An invented drive of so many minutes.
    Invented(Style, f64),
    /// The workshop's run: ignition on, idle, held speeds.
    Workshop,
    /// A given speed trace: seconds (rising) and km/h.
    Given(Vec<(f64, f64)>),
}

/// Form of a recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Form {
    /// Candump text with OBD requests and answers.
    Obd,
    /// Candump text with J1939 broadcasts.
    J1939,
    /// A table of columns with units.
    Csv,
}

impl Form {
    fn file(self) -> &'static str {
        match self {
            Self::Obd => "obd.log",
            Self::J1939 => "j1939.log",
            Self::Csv => "table.csv",
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Obd => "obd_11",
            Self::J1939 => "j1939",
            Self::Csv => "csv",
        }
    }
}

/// Errors of the sensors that are chosen; what is `None` is drawn.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct SensorErrors {
    /// What the pressure sensor shows at no flow, kPa.
    pub zero_kpa: Option<f64>,
    /// Shown over true pressure difference.
    pub pressure_gain: Option<f64>,
    /// Noise of the pressure reading (standard deviation), kPa.
    pub noise_kpa: Option<f64>,
    /// Lag of hose and pressure sensor, s.
    pub lag_s: Option<f64>,
    /// Shown over true air flow.
    pub flow_gain: Option<f64>,
    /// Shown minus true gas temperature before and after the filter, K.
    pub temperature_bias_k: Option<f64>,
}

/// What is ordered.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Fixes everything that is not chosen.
    pub seed: u64,
    /// Heavier than M1 and N1.
    pub heavy: bool,
    /// Soot, g per litre of filter volume.
    pub soot_g_per_l: Option<f64>,
    /// Ash, g per litre of filter volume.
    pub ash_g_per_l: Option<f64>,
    /// Faults; none = a healthy car.
    pub faults: Vec<FaultId>,
    /// Sensors.
    pub sensors: SensorErrors,
    /// What the car does.
    pub trace: Trace,
    /// Ignition on with the engine off before it, s.
    pub key_on_s: f64,
    /// Starts with a cold engine.
    pub cold: bool,
    /// What is written; the case names the first.
    pub forms: Vec<Form>,
    /// Program and version, as every file names them.
    pub made_by: String,
}

/// Why an order cannot be filled.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum OrderError {
    /// Nothing simulates this fault.
    #[error("{0} is not simulated; these are: {known}", known = known_faults().join(", "))]
    Fault(&'static str),
    /// Two faults on one part.
    #[error("{0} and the faults before it act on the same part; order one of them")]
    SamePart(&'static str),
    /// A number outside what makes sense.
    #[error("{name} = {value} {unit} is outside {low} to {high} {unit}")]
    Range {
        /// What.
        name: &'static str,
        /// As ordered.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// Least.
        low: f64,
        /// Most.
        high: f64,
    },
    /// No filter drawn holds the deposits.
    #[error(
        "no filter of {0} drawn holds this soot and ash below 20 kPa at the standard flow; order less or another seed"
    )]
    DoesNotFit(usize),
    /// The speed trace breaks a rule.
    #[error("speed trace at {time_s} s: {what}")]
    Trace {
        /// Where.
        time_s: f64,
        /// What is wrong.
        what: String,
    },
    /// Nothing to write.
    #[error("no form of recording is ordered")]
    NoForm,
}

/// Identifiers of the faults that can be ordered.
#[must_use]
pub fn known_faults() -> Vec<&'static str> {
    KINDS.iter().filter_map(|k| k.0.map(FaultId::id)).collect()
}

/// A simulated drive: files by name, the truth in one of them.
#[derive(Debug, Clone)]
pub struct Simulated {
    /// Name and bytes: `case.toml`, `truth.json`, `truth.csv` and the recordings.
    pub files: Vec<(String, Vec<u8>)>,
    /// The truth.
    pub truth: Truth,
    /// Recorded seconds.
    pub seconds: f64,
    /// Share of the driving time in which the car lacks the power for the trace, 0 to 1.
    pub power_short: f64,
}

/// `truth.json`.
#[derive(Serialize)]
struct TruthFile<'a> {
    made_by: &'a str,
    seed: u64,
    purpose: &'static str,
    units: &'static str,
    faults: Vec<&'static str>,
    #[serde(flatten)]
    state: &'a Truth,
    sensors: TrueSensors,
    filter: TrueFilter,
}

#[derive(Serialize)]
struct TrueSensors {
    zero_kpa: f64,
    pressure_gain: f64,
    noise_kpa: f64,
    lag_s: f64,
    air_flow_gain: f64,
    temperature_before_bias_k: f64,
    temperature_after_bias_k: f64,
    temperature_lag_s: f64,
}

#[derive(Serialize)]
struct TrueFilter {
    diameter_mm: f64,
    length_mm: f64,
    cell_density_cpsi: f64,
    wall_thickness_mm: f64,
    channel_width_ratio: f64,
    wall_permeability_m2: f64,
    loaded_over_bare_wall_resistance: f64,
    soot_permeability_times_density_kg_per_m: f64,
    ash_permeability_times_density_kg_per_m: f64,
    share_of_outer_zone: f64,
}

const PURPOSE: &str = "invented car and filter, for training and tests; nothing here was measured";

fn check(order: &Order) -> Result<(), OrderError> {
    if order.forms.is_empty() {
        return Err(OrderError::NoForm);
    }
    let s = &order.sensors;
    let minutes = if let Trace::Invented(_, m) = order.trace { Some(m) } else { None };
    for (name, value, unit, low, high) in [
        ("soot", order.soot_g_per_l, "g/L", 0.0, 40.0),
        ("ash", order.ash_g_per_l, "g/L", 0.0, 120.0),
        ("zero", s.zero_kpa, "kPa", -5.0, 5.0),
        ("pressure gain", s.pressure_gain, "", 0.1, 3.0),
        ("noise", s.noise_kpa, "kPa", 0.0, 2.0),
        ("lag", s.lag_s, "s", 0.01, 300.0),
        ("flow gain", s.flow_gain, "", 0.3, 3.0),
        ("temperature bias", s.temperature_bias_k, "K", -200.0, 200.0),
        ("key-on time", Some(order.key_on_s), "s", 0.0, 600.0),
        ("minutes", minutes, "min", 0.5, 240.0),
    ] {
        if let Some(value) = value.filter(|v| !(low..=high).contains(v)) {
            return Err(OrderError::Range { name, value, unit, low, high });
        }
    }
    if let Trace::Given(points) = &order.trace {
        check_trace(points)?;
    }
    Ok(())
}

/// Longest trace, s: four hours.
const LONGEST: f64 = 14_400.0;

fn check_trace(points: &[(f64, f64)]) -> Result<(), OrderError> {
    let wrong = |time_s: f64, what: String| Err(OrderError::Trace { time_s, what });
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return wrong(0.0, "it is empty".to_owned());
    };
    if points.len() < 2 || last.0 - first.0 < 10.0 {
        return wrong(first.0, "it is shorter than ten seconds".to_owned());
    }
    if last.0 - first.0 > LONGEST {
        return wrong(last.0, format!("it is longer than {} h; cut it", LONGEST / 3600.0));
    }
    for &(t, v) in points {
        if !(t.is_finite() && (0.0..=250.0).contains(&v)) {
            return wrong(t, format!("{v} km/h is no speed of a road vehicle (0 to 250 km/h)"));
        }
    }
    for pair in points.windows(2) {
        let ((a, u), (b, v)) = (pair[0], pair[1]);
        if b < a {
            return wrong(b, "time runs backwards".to_owned());
        }
        let rate = (v - u) / 3.6 / (b - a).max(1e-9);
        // Integer km/h every second or less makes steps of 1 km/h that no car drove; they pass.
        if rate.abs() > 9.0 && (v - u).abs() > 3.0 {
            return wrong(b, format!("the speed changes by {rate:.1} m/s2; a tyre holds about 9"));
        }
    }
    Ok(())
}

fn fault(draw: &mut Draw, wanted: &[FaultId]) -> Result<Fault, OrderError> {
    let mut all = Fault::NONE;
    for id in wanted {
        if !KINDS.iter().any(|k| k.0 == Some(*id)) {
            return Err(OrderError::Fault(id.id()));
        }
        let one = Fault::of(draw, Some(*id));
        all = all.with(one).ok_or(OrderError::SamePart(id.id()))?;
    }
    Ok(all)
}

/// Sets what was ordered; what hangs on it (distance since the regeneration, age of the filter) follows.
fn amend(order: &Order, life: &mut Life, sensors: &mut Sensors, fault: &mut Fault) {
    if let Some(soot) = order.soot_g_per_l {
        let factor = (soot / life.soot.max(0.05)).clamp(0.02, 20.0);
        life.since_regeneration = (life.since_regeneration * factor).clamp(1.0, 2.0 * life.interval);
        life.soot = soot;
    }
    if let Some(ash) = order.ash_g_per_l {
        let from = life.cleaned.unwrap_or(life.fitted);
        let distance = ((life.odometer - from) * ash / life.ash.max(0.1)).clamp(0.0, 1.2e6).round();
        life.cleaned = None;
        if distance > life.odometer {
            if let Some(a) = &mut life.additive {
                a.filled_km += distance - life.odometer;
            }
            life.odometer = distance;
        }
        life.fitted = if life.odometer - distance < 3000.0 { 0.0 } else { life.odometer - distance };
        life.ash = ash;
    }
    let s = &order.sensors;
    if let Some(zero) = s.zero_kpa {
        sensors.zero = zero;
        fault.zero = 0.0;
    }
    let set = |field: &mut f64, value: Option<f64>| *field = value.unwrap_or(*field);
    set(&mut sensors.gain, s.pressure_gain);
    set(&mut sensors.lag, s.lag_s);
    set(&mut sensors.flow_gain, s.flow_gain);
    if let Some(noise) = s.noise_kpa {
        (sensors.noise, sensors.pulsation) = (noise, 0.0);
    }
    if let Some(bias) = s.temperature_bias_k {
        (sensors.probe_bias[1], sensors.probe_bias[2]) = (bias, bias);
    }
}

/// Fills the order.
///
/// # Errors
/// When the order contradicts itself or physics, or the files cannot be put into words.
pub fn simulate(order: &Order) -> Result<Simulated, SimulateError> {
    check(order)?;
    let mut draw = Draw::new(order.seed, 0x51);
    let fault = fault(&mut draw, &order.faults)?;
    let session = if order.trace == Trace::Workshop { Session::Workshop } else { Session::Drive };
    let plan = Plan { session, heavy: order.heavy, fault };
    let tries = 200;
    let car = Car::draw_amended(&mut draw, plan, tries, &|life, sensors, fault| {
        amend(order, life, sensors, fault);
    })
    .map_err(|_| OrderError::DoesNotFit(tries))?;
    let demands = match &order.trace {
        Trace::Invented(style, minutes) => {
            cycle::drive(&mut draw, *minutes, *style, order.heavy, order.key_on_s)
        }
        Trace::Workshop => cycle::workshop(&mut draw, order.heavy),
        Trace::Given(points) => cycle::given(points, order.key_on_s),
    };
    let truth_trace = car.run(&mut draw, &demands, !order.cold);
    let shown = show(&truth_trace, &car.sensors, &car.fault, car.air, &Interruptions::default(), &mut draw);

    let mut case = Case {
        schema: SCHEMA.to_owned(),
        title: Some(format!("simulated drive, seed {}", order.seed)),
        ..Case::default()
    };
    case.ambient.pressure_kpa = Some(round(car.air.pressure / 1e3, 0.1));
    case.ambient.temperature_degc = Some(round(car.air.temperature - 273.15, 1.0));
    case.sensor.plumbing = Some(car.sensors.plumbing);
    car.life.tell(&mut draw, &car.vehicle, &car.body, &car.fault, &mut case);

    let mut forms = order.forms.clone();
    let first = forms.first().copied().ok_or(OrderError::NoForm)?;
    forms.sort_unstable();
    forms.dedup();
    let mut files = Vec::new();
    for form in &forms {
        files.push((form.file().to_owned(), record(order, &car, &shown, *form)));
    }
    let informative =
        moves_or_stands(&shown, &car.sensors, first == Form::J1939) && !car.fault.pressure_is_mute();
    case.recording.push(RecordingRow {
        odometer_km: None,
        time: None,
        order: None,
        note: None,
        file: first.file().to_owned(),
        role: Some(Role::Now),
        kind: Some(match order.trace {
            Trace::Workshop => RecordingKind::Workshop,
            _ => RecordingKind::Drive,
        }),
        columns: BTreeMap::new(),
    });
    let truth = car.truth(session, first.name(), informative);
    let mut all = vec![
        ("case.toml".to_owned(), case_text(order, first, &forms, &case)?.into_bytes()),
        ("truth.json".to_owned(), truth_text(order, &car, &truth)?),
        ("truth.csv".to_owned(), truth_trace_text(order, &truth_trace, &shown).into_bytes()),
    ];
    all.append(&mut files);
    Ok(Simulated {
        files: all,
        seconds: shown.len() as f64 / STEPS as f64,
        power_short: power_short(&truth_trace, &demands),
        truth,
    })
}

/// Why there is no simulated drive.
#[derive(Debug, thiserror::Error)]
pub enum SimulateError {
    /// The order.
    #[error(transparent)]
    Order(#[from] OrderError),
    /// The files.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// Share of the driving time at full torque: the trace asks for more than the engine gives.
fn power_short(trace: &[Instant], demands: &[Demand]) -> f64 {
    let driven: Vec<&Instant> = trace
        .iter()
        .zip(demands)
        .filter(|(i, d)| matches!(d, Demand::Drive(_)) && i.speed > 1.0)
        .map(|(i, _)| i)
        .collect();
    driven.iter().filter(|i| i.load > 0.995).count() as f64 / driven.len().max(1) as f64
}

fn remark(order: &Order, units: &str) -> String {
    format!("# {}, simulate drive, seed {}: {PURPOSE}.\n# {units}\n", order.made_by, order.seed)
}

fn case_text(order: &Order, first: Form, all: &[Form], case: &Case) -> Result<String, WriteError> {
    let mut text = remark(order, "Units stand in the keys (kPa, g/L, km, degC) or beside the values.");
    let others: Vec<&str> = all.iter().filter(|f| **f != first).map(|f| f.file()).collect();
    if !others.is_empty() {
        // Writing into a String does not fail.
        let _ = writeln!(
            text,
            "# {} holds the same drive as {}; naming both here would count it twice.",
            others.join(", "),
            first.file()
        );
    }
    text.push_str(&toml::to_string(case)?);
    Ok(text)
}

fn truth_text(order: &Order, car: &Car, truth: &Truth) -> Result<Vec<u8>, WriteError> {
    let (s, b, c): (&Sensors, _, &Constants) = (&car.sensors, &car.body, &car.constants);
    Ok(serde_json::to_vec_pretty(&TruthFile {
        made_by: &order.made_by,
        seed: order.seed,
        purpose: PURPOSE,
        units: "in the names: kPa, g_per_l = g per litre of filter volume, km, mm, m2, K, s; others are ratios",
        faults: order.faults.iter().map(|f| f.id()).collect(),
        state: truth,
        sensors: TrueSensors {
            zero_kpa: s.zero,
            pressure_gain: s.gain,
            noise_kpa: s.noise,
            lag_s: s.lag,
            air_flow_gain: s.flow_gain,
            temperature_before_bias_k: s.probe_bias[1],
            temperature_after_bias_k: s.probe_bias[2],
            temperature_lag_s: s.probe_lag,
        },
        filter: TrueFilter {
            diameter_mm: b.diameter * 1e3,
            length_mm: b.length * 1e3,
            cell_density_cpsi: b.cpsi,
            wall_thickness_mm: b.wall * 1e3,
            channel_width_ratio: b.width_ratio,
            wall_permeability_m2: c.wall_permeability,
            loaded_over_bare_wall_resistance: c.wall_jump,
            soot_permeability_times_density_kg_per_m: c.soot_product,
            ash_permeability_times_density_kg_per_m: c.ash_product,
            share_of_outer_zone: c.outer.share,
        },
    })?)
}

/// Columns of `truth.csv`: what is, and what the sensors make of it before the bus rounds it.
fn truth_trace_text(order: &Order, trace: &[Instant], shown: &[Shown]) -> String {
    let mut text = remark(
        order,
        "true_ = as it is; shown_ = what the controller holds before the bus rounds it; units in brackets",
    );
    text.push_str(
        "time [s],true_vehicle_speed [km/h],true_engine_speed [rpm],true_exhaust_mass_flow [g/s],\
         true_filter_temperature [degC],true_gas_before_filter [degC],true_differential_pressure [kPa],\
         true_pressure_behind_filter [kPa],shown_differential_pressure [kPa],shown_air_mass_flow [g/s],\
         shown_temperature_before [degC],shown_temperature_after [degC],shown_engine_speed [rpm],\
         shown_vehicle_speed [km/h]\n",
    );
    for (i, s) in trace.iter().zip(shown) {
        let drop = s.drop.map_or(String::new(), |d| format!("{d:.4}"));
        // Writing into a String does not fail.
        let _ = writeln!(
            text,
            "{:.1},{:.3},{:.1},{:.4},{:.2},{:.2},{:.5},{:.5},{drop},{:.4},{:.3},{:.3},{:.3},{:.3}",
            i.t,
            i.speed,
            i.rpm,
            i.exhaust,
            i.filter - 273.15,
            i.before - 273.15,
            i.drop,
            i.downstream,
            s.flow,
            s.before,
            s.after,
            s.rpm,
            s.speed
        );
    }
    text
}

fn record(order: &Order, car: &Car, shown: &[Shown], form: Form) -> Vec<u8> {
    // A source of its own for each form, so that adding one does not change another.
    let mut draw = Draw::new(order.seed, 0x100 + form as u64);
    let life = &car.life;
    let clock = 1_940_000_000.0;
    let log = |draw: &Draw| candump::Log::new(candump::Form::Compact, clock, 0.0, draw.clone());
    match form {
        Form::Csv => {
            let (bytes, _) = columns::write(shown, columns::Shape::Plain, 2);
            let mut text =
                remark(order, "Units in brackets behind the names; five rows a second.").into_bytes();
            text.extend_from_slice(&bytes);
            text
        }
        Form::Obd => {
            let style = obd::Style {
                extended: false,
                filter_temperatures: true,
                after: true,
                grouped: false,
                requests: true,
                ..obd::Style::draw(&mut draw)
            };
            let slow = obd::Slow {
                odometer: life.odometer,
                fuel_level: draw.uniform(12.0, 95.0),
                since_cleared: draw.uniform(50.0, 20_000.0).min(life.odometer),
                trigger: (life.since_regeneration / life.interval * 100.0).clamp(0.0, 100.0),
                mean_distance: life.interval,
                mean_time: life.interval / draw.uniform(25.0, 60.0) * 60.0,
                fuel_density: life.fuel_density,
            };
            let mut log = log(&draw);
            obd::write(shown, &slow, &style, &mut log, &mut draw);
            let head = remark(
                order,
                "Candump text, time in s; OBD services (SAE J1979) give kPa, g/s, degC, rpm, km/h once decoded.",
            );
            (head + &log.finish()).into_bytes()
        }
        Form::J1939 => {
            let style = j1939::Style::draw(&mut draw);
            let s = car.vehicle.silencer;
            let slow = j1939::Slow {
                soot: (life.soot / 6.0 * 100.0 * draw.log_normal(1.0, 0.3)).min(200.0),
                ash: (life.ash / 60.0 * 100.0 * draw.log_normal(1.0, 0.3)).min(200.0),
                since_regeneration: life.since_regeneration / 50.0 * 3600.0,
                fuel_density: life.fuel_density,
                downstream: s.at_reference / 1e3 / (s.reference_flow * 1e3).powf(1.9) / STANDARD_TEMPERATURE,
            };
            let mut log = log(&draw);
            j1939::write(shown, &slow, &style, &mut log, &mut draw);
            let head = remark(
                order,
                "Candump text, time in s; J1939 groups give kPa, kg/h, degC, rpm, km/h once decoded.",
            );
            (head + &log.finish()).into_bytes()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn order() -> Order {
        Order {
            seed: 3,
            heavy: false,
            soot_g_per_l: Some(4.0),
            ash_g_per_l: Some(20.0),
            faults: Vec::new(),
            sensors: SensorErrors { zero_kpa: Some(0.25), ..SensorErrors::default() },
            trace: Trace::Invented(Style::Road, 4.0),
            key_on_s: 8.0,
            cold: false,
            forms: vec![Form::Obd, Form::Csv, Form::J1939],
            made_by: "program 1.2.3".to_owned(),
        }
    }

    #[test]
    fn property_what_is_ordered_is_true_and_every_file_names_its_maker() {
        let made = simulate(&order()).unwrap();
        assert_eq!(made.truth.soot_load_g_per_l, 4.0);
        assert_eq!(made.truth.ash_load_g_per_l, 20.0);
        assert_eq!(made.truth.zero_kpa, 0.25);
        let names: Vec<&str> = made.files.iter().map(|f| f.0.as_str()).collect();
        assert_eq!(names, ["case.toml", "truth.json", "truth.csv", "obd.log", "j1939.log", "table.csv"]);
        for (name, bytes) in &made.files {
            let head = String::from_utf8_lossy(&bytes[..bytes.len().min(900)]).into_owned();
            assert!(head.contains("program 1.2.3") && head.contains("seed") && head.contains('3'), "{name}");
            assert!(head.to_lowercase().contains("units") || head.contains("kPa"), "{name}: {head}");
        }
        assert_eq!(made.files, simulate(&order()).unwrap().files);
    }

    #[test]
    fn property_every_known_fault_alone_and_many_pairs_can_be_ordered() {
        for (id, _) in KINDS.iter().filter(|k| k.0.is_some()) {
            let id = id.unwrap();
            let one = Order {
                faults: vec![id],
                ash_g_per_l: None,
                trace: Trace::Workshop,
                forms: vec![Form::Csv],
                ..order()
            };
            let made = simulate(&one).unwrap_or_else(|e| panic!("{}: {e}", id.id()));
            assert_eq!(made.truth.fault, id.id());
        }
        let both = Order { faults: vec![FaultId::HosesSwapped, FaultId::FlowMeterDrift], ..order() };
        assert!(simulate(&both).is_ok());
        let same = Order { faults: vec![FaultId::HosesSwapped, FaultId::HoseLeaking], ..order() };
        assert!(matches!(simulate(&same), Err(SimulateError::Order(OrderError::SamePart("hose_leaking")))));
    }

    #[test]
    fn property_bad_orders_are_refused_with_the_reason() {
        let says = |o: Order| simulate(&o).unwrap_err().to_string();
        assert!(says(Order { soot_g_per_l: Some(-1.0), ..order() }).contains("soot = -1 g/L"));
        assert!(says(Order { soot_g_per_l: Some(f64::NAN), ..order() }).contains("soot"));
        assert!(says(Order { faults: vec![FaultId::AdditiveEmpty], ..order() }).contains("zero_error"));
        assert!(
            says(Order { soot_g_per_l: Some(39.0), ash_g_per_l: Some(119.0), ..order() }).contains("holds")
        );
        let given = |points: Vec<(f64, f64)>| says(Order { trace: Trace::Given(points), ..order() });
        assert!(given(vec![]).contains("empty"));
        assert!(given(vec![(0.0, 0.0), (20.0, 300.0)]).contains("300"));
        assert!(given(vec![(0.0, 0.0), (20.0, 10.0), (10.0, 5.0), (40.0, 5.0)]).contains("backwards"));
        assert!(given(vec![(0.0, 0.0), (1.0, 80.0), (40.0, 5.0)]).contains("m/s2"));
    }
}
