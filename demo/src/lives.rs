//! Invented lives: three to five visits of one car with what happens between them, and the truth at each.
//!
//! Constants of car and filter stay; the zero drifts; soot is burnt and laid down; ash grows; filters are
//! cleaned or replaced and sensors changed, with a row or without; faults begin, stay or are mended.

use crate::batch::{Car, Plan, Session, Truth, WriteError, moves_or_stands, parts, record, typed_readings};
use crate::cycle;
use crate::draw::Draw;
use crate::faults::{Fault, KINDS};
use crate::filter_truth::Constants;
use crate::life::{Life, round};
use crate::sensors::{Interruptions, Sensors, show};
use crate::vehicle::Air;
use facts::case::{
    Case, FilterCleaned, FilterReplaced, Known, RecordingKind, RecordingRow, Regeneration, RegenerationEnd,
    RegenerationPlace, Role, SCHEMA, SensorReplaced,
};
use facts::{FaultId, Moment};
use serde::Serialize;

/// What was changed since the visit before.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Changes {
    /// Sensor, with a row.
    pub sensor_recorded: bool,
    /// Sensor, without a row.
    pub sensor_unrecorded: bool,
    /// Filter, with a row.
    pub filter_recorded: bool,
    /// Filter, without a row.
    pub filter_unrecorded: bool,
    /// The filter was cleaned (with a row).
    pub cleaned: bool,
}

/// The truth at a visit.
#[derive(Debug, Clone, Serialize)]
pub struct VisitTruth {
    /// State and fault.
    #[serde(flatten)]
    pub state: Truth,
    /// Odometer, km.
    pub odometer_km: f64,
    /// Changes since the visit before.
    pub changes: Changes,
    /// A regeneration was completed within the last 60 km.
    pub after_complete_regeneration: bool,
}

/// One visit: an ordinary case, its files and its truth.
#[derive(Debug, Clone)]
pub struct GeneratedVisit {
    /// The case as told then.
    pub case: Case,
    /// Recordings: file name and bytes.
    pub files: Vec<(String, Vec<u8>)>,
    /// The truth.
    pub truth: VisitTruth,
}

/// A life.
#[derive(Debug, Clone)]
pub struct GeneratedLife {
    /// Name of its folder: `life-0001`.
    pub name: String,
    /// The visits, earliest first.
    pub visits: Vec<GeneratedVisit>,
}

impl GeneratedLife {
    /// The life as a folder of files tells it: name and case of each visit, recordings named from the folder.
    #[must_use]
    pub fn files(&self) -> Vec<(String, Case)> {
        let named = |(k, v): (usize, &GeneratedVisit)| {
            let name = format!("visit-{}", k + 1);
            let mut case = v.case.clone();
            for row in &mut case.recording {
                row.file = format!("{name}/{}", row.file);
            }
            (name, case)
        };
        self.visits.iter().enumerate().map(named).collect()
    }

    /// Bytes of a recording by the name that [`GeneratedLife::files`] gives it.
    #[must_use]
    pub fn bytes(&self, file: &str) -> Option<&[u8]> {
        let (visit, name) = file.split_once('/')?;
        let k: usize = visit.strip_prefix("visit-")?.parse().ok()?;
        let v = self.visits.get(k.checked_sub(1)?)?;
        v.files.iter().find(|f| f.0 == name).map(|f| &f.1[..])
    }

    /// Writes `folder/visit-1/{case.toml, truth.json, ...}` and so on.
    ///
    /// # Errors
    /// When a file cannot be written or a value not be serialised.
    pub fn write(&self, folder: &std::path::Path) -> Result<(), WriteError> {
        let failed =
            |path: &std::path::Path, source| WriteError::File { path: path.display().to_string(), source };
        for (k, v) in self.visits.iter().enumerate() {
            let folder = folder.join(format!("visit-{}", k + 1));
            std::fs::create_dir_all(&folder).map_err(|e| failed(&folder, e))?;
            let mut all = vec![
                ("case.toml".to_owned(), toml::to_string(&v.case)?.into_bytes()),
                ("truth.json".to_owned(), serde_json::to_vec_pretty(&v.truth)?),
            ];
            all.extend(v.files.iter().cloned());
            for (name, bytes) in all {
                let path = folder.join(name);
                std::fs::write(&path, bytes).map_err(|e| failed(&path, e))?;
            }
        }
        Ok(())
    }
}

/// The `index`-th life of `seed`.
#[must_use]
pub fn generate(seed: u64, index: usize) -> GeneratedLife {
    generate_of(seed, index, None)
}

/// The same with a given number of visits (three to five where none is given).
#[must_use]
pub fn generate_of(seed: u64, index: usize, count: Option<usize>) -> GeneratedLife {
    let mut draw = Draw::new(seed, 1_000_000 + index as u64);
    // A state that does not fit is drawn again with the whole life; that happens to a few in a hundred.
    loop {
        if let Some(visits) = visits(&mut draw, count) {
            return GeneratedLife { name: format!("life-{:04}", index + 1), visits };
        }
    }
}

/// How the car stands at one visit.
struct Now {
    life: Life,
    fault: Fault,
    sensors: Sensors,
    constants: Constants,
    air: Air,
}

fn visits(draw: &mut Draw, count: Option<usize>) -> Option<Vec<GeneratedVisit>> {
    let heavy = draw.chance(0.12);
    let first = if draw.chance(0.3) { Fault::draw(draw) } else { Fault::NONE };
    let car = Car::draw(draw, Plan { session: Session::Drive, heavy, fault: first });
    let teller = Draw::new(draw.uniform(0.0, 1e9) as u64, 7);
    let dated = draw.chance(0.6);
    let repeat = draw.chance(0.5);
    // Soot per 100 km of the sound car.
    let rate = 100.0 * draw.uniform(3.5, 9.0) / car.life.interval / first.soot_rate;
    let ash_per_km =
        car.life.ash / (car.life.odometer - car.life.cleaned.unwrap_or(car.life.fitted)).max(3000.0);
    let drawn = [3, 4, 5][draw.weighted(&[0.4, 0.35, 0.25])];
    let count = count.unwrap_or(drawn);
    let mut now = Now {
        life: car.life.clone(),
        fault: car.fault,
        sensors: car.sensors.clone(),
        constants: car.constants,
        air: car.air,
    };
    let told_fitted = car.life.fitted;
    let mut told_life_fitted = told_fitted;
    let mut days = draw.uniform(19_800.0, 20_400.0);
    let mut history = Case::default();
    let mut out: Vec<GeneratedVisit> = Vec::new();
    for k in 0..count {
        let mut changes = Changes::default();
        let mut complete = false;
        if k > 0 {
            let km = draw.log_uniform(400.0, if heavy { 60_000.0 } else { 18_000.0 });
            days += km / now.life.yearly * 365.0;
            let before = now.life.odometer;
            now.life.odometer = (before + km).round();
            now.sensors.zero += draw.normal(0.0, 0.04);
            changes =
                change(draw, &mut now, &car, before, km, ash_per_km, &mut told_life_fitted, &mut history)?;
            next_fault(draw, &mut now);
            complete = burn_and_gather(draw, &mut now, rate, &mut history, km);
            additive(draw, &mut now, km);
        }
        now.air.temperature = 273.15 + draw.normal(13.0, 8.0).clamp(-8.0, 33.0);
        now.air.pressure *= draw.normal(1.0, 0.006);
        let state =
            car.later(now.life.clone(), now.fault, now.sensors.clone(), now.constants, now.air).ok()?;
        let date = dated.then(|| date(days)).flatten();
        let mut visit = one(draw, &teller, &state, told_life_fitted, complete, &mut now)?;
        visit.truth.changes = changes;
        for reading in &mut visit.case.reading {
            reading.time = date;
        }
        for row in &mut visit.case.recording {
            row.time = date;
        }
        // History is written down once by some, again at each visit by others.
        visit.case.regeneration.extend(history.regeneration.iter().cloned());
        visit.case.sensor_replaced.extend(history.sensor_replaced.iter().cloned());
        visit.case.filter_replaced.extend(history.filter_replaced.iter().cloned());
        visit.case.filter_cleaned.extend(history.filter_cleaned.iter().cloned());
        if !repeat {
            history = Case::default();
        }
        out.push(visit);
    }
    Some(out)
}

fn date(days: f64) -> Option<Moment> {
    let second = (days * 86_400.0) as i64;
    let text = jiff::Timestamp::from_second(second).ok()?.to_string();
    Moment::parse(text.get(..10)?).ok()
}

#[allow(clippy::too_many_arguments)] // Called from one place.
fn change(
    draw: &mut Draw,
    now: &mut Now,
    car: &Car,
    before: f64,
    km: f64,
    ash_per_km: f64,
    told_fitted: &mut f64,
    history: &mut Case,
) -> Option<Changes> {
    let mut changes = Changes::default();
    now.life.ash += ash_per_km * km * draw.log_normal(1.0, 0.1);
    let at = (before + km * draw.uniform(0.02, 0.98)).round();
    let heavy = car.vehicle.heavy;
    match draw.weighted(&[0.68, 0.05, 0.07, 0.05, 0.07, 0.08]) {
        1 | 2 => {
            let unrecorded = draw.chance(0.55);
            let other = Sensors::draw(draw, heavy, &Fault::NONE);
            now.sensors.zero = other.zero;
            now.sensors.gain = other.gain;
            if unrecorded {
                changes.sensor_unrecorded = true;
            } else {
                changes.sensor_recorded = true;
                history.sensor_replaced.push(SensorReplaced {
                    odometer_km: Some(at),
                    time: None,
                    order: None,
                    note: None,
                });
            }
        }
        3 | 4 => {
            let unrecorded = draw.chance(0.55);
            now.constants = Constants::draw(draw, &car.body, heavy);
            now.life.ash = ash_per_km * (now.life.odometer - at) * draw.log_normal(1.0, 0.1);
            if unrecorded {
                changes.filter_unrecorded = true;
            } else {
                changes.filter_recorded = true;
                *told_fitted = at;
                history.filter_replaced.push(FilterReplaced {
                    odometer_km: Some(at),
                    time: None,
                    order: None,
                    note: None,
                    controller_reset: Some(Known::Unknown),
                });
            }
        }
        5 => {
            changes.cleaned = true;
            let was = now.life.ash - ash_per_km * (now.life.odometer - at);
            let left = was.max(0.0) * draw.uniform(0.03, 0.25);
            now.life.ash = left + ash_per_km * (now.life.odometer - at);
            history.filter_cleaned.push(FilterCleaned {
                odometer_km: Some(at),
                time: None,
                order: None,
                note: None,
                mass_before_g: None,
                mass_after_g: None,
                controller_reset: Some(Known::Unknown),
            });
        }
        _ => {}
    }
    Some(changes)
}

/// Faults begin, stay (mended in vain among them) or are mended.
fn next_fault(draw: &mut Draw, now: &mut Now) {
    if now.fault.id.is_some() {
        if draw.chance(0.65) {
            now.fault = Fault::NONE;
        }
    } else if draw.chance(0.15) {
        let kind = draw
            .weighted(&KINDS.map(|(f, w)| if f.is_none() || f == Some(FaultId::AshFull) { 0.0 } else { w }));
        now.fault = Fault::of(draw, KINDS[kind].0);
    }
    if now.life.ash > 41.0 {
        now.fault = Fault { id: Some(FaultId::AshFull), ..Fault::NONE };
    } else if now.fault.id == Some(FaultId::AshFull) {
        now.fault = Fault::NONE;
    }
}

/// Soot at the visit; true when a regeneration was completed shortly before.
fn burn_and_gather(draw: &mut Draw, now: &mut Now, rate: f64, history: &mut Case, km: f64) -> bool {
    let fault = now.fault.id;
    let interval = now.life.interval;
    let fresh = draw.chance(0.25) && fault != Some(FaultId::SootShortTrips);
    let mut since = if fresh { draw.uniform(3.0, 60.0) } else { draw.uniform(0.05, 1.05) * interval };
    since = since.min(0.95 * km);
    let mut left = if draw.chance(0.7) { draw.uniform(0.0, 0.4) } else { draw.uniform(0.3, 0.95) };
    now.life.bare_wall = false;
    if fault == Some(FaultId::RegenerationIncomplete) {
        left = draw.uniform(1.2, 4.5);
    }
    if fault == Some(FaultId::SootShortTrips) {
        since = (draw.uniform(0.9, 1.9) * interval).min(0.95 * km);
    }
    let mut soot = left + rate * now.fault.soot_rate * since / 100.0 * draw.log_normal(1.0, 0.25);
    soot = soot.min(draw.uniform(8.0, 10.0));
    if now.fault.crack.is_some() {
        soot *= draw.uniform(0.15, 0.6);
    }
    now.life.soot = soot;
    now.life.since_regeneration = since;
    let complete = fault != Some(FaultId::RegenerationIncomplete);
    if fresh && complete {
        history.regeneration.push(Regeneration {
            odometer_km: Some((now.life.odometer - since).round()),
            time: None,
            order: None,
            note: None,
            place: Some(draw.pick([RegenerationPlace::Service, RegenerationPlace::Driving])),
            duration_min: None,
            controller_says: Some(RegenerationEnd::Complete),
            peak_temperature_degc: None,
        });
    }
    let burns = (km / interval).max(1.0) as u32;
    now.life.counts.0 += burns;
    fresh && complete
}

fn additive(draw: &mut Draw, now: &mut Now, km: f64) {
    let (odometer, consumption, density) = (now.life.odometer, now.life.consumption, now.life.fuel_density);
    let Some(a) = &mut now.life.additive else { return };
    let per_litre = density * 1e-3 * a.dose * 1e-3 / a.metal;
    let factor = if a.expected_used_l > 0.0 { a.used_l / a.expected_used_l } else { 1.0 };
    let fuel = km / 100.0 * consumption * draw.log_normal(1.0, 0.03);
    a.fuel_l += fuel;
    a.expected_used_l += fuel * per_litre;
    a.used_l += fuel * per_litre * factor;
    if a.used_l > 0.85 * a.capacity_l {
        // Filled up on the way.
        let since = draw.uniform(0.05, 0.6) * km.min(0.5 * a.capacity_l / per_litre / consumption * 100.0);
        a.filled_km = (odometer - since).round();
        a.fuel_l = since / 100.0 * consumption;
        a.expected_used_l = a.fuel_l * per_litre;
        a.used_l = a.expected_used_l * factor;
    }
    a.left_l = (a.capacity_l - a.used_l).max(0.0);
}

/// What is told and recorded at one visit.
fn one(
    draw: &mut Draw,
    teller: &Draw,
    state: &Car,
    told_fitted: f64,
    complete: bool,
    now: &mut Now,
) -> Option<GeneratedVisit> {
    let mut session = [
        Session::Drive,
        Session::Workshop,
        Session::Typed,
        Session::BeforeAfter,
        Session::DriveWithRegeneration,
    ][draw.weighted(&[0.38, 0.22, 0.22, 0.13, 0.05])];
    if complete && matches!(session, Session::BeforeAfter | Session::DriveWithRegeneration) {
        session = Session::Drive;
    }
    if state.fault.id == Some(FaultId::SootShortTrips)
        && matches!(session, Session::BeforeAfter | Session::DriveWithRegeneration)
    {
        session = Session::Typed;
    }
    let burns = matches!(session, Session::BeforeAfter | Session::DriveWithRegeneration);
    let incomplete = state.fault.id == Some(FaultId::RegenerationIncomplete);
    let after = if burns {
        // One service regeneration in five does not work.
        let share =
            if incomplete || draw.chance(0.2) { draw.uniform(0.5, 0.95) } else { draw.uniform(0.02, 0.12) };
        Some(state.burnt(draw, share, share < 0.2)?)
    } else {
        None
    };
    let car = after.as_ref().unwrap_or(state);
    let mut case = Case { schema: SCHEMA.to_owned(), ..Case::default() };
    if draw.chance(0.5) {
        case.ambient.pressure_kpa = Some(round(car.air.pressure / 1e3, 0.1));
    }
    let mut life = car.life.clone();
    life.fitted = told_fitted;
    life.tell(&mut teller.clone(), &car.vehicle, &car.body, &car.fault, &mut case);
    case.car.odometer_km = Some(car.life.odometer);
    case.sensor.plumbing = Some(car.sensors.plumbing);
    if burns && session == Session::BeforeAfter && draw.chance(0.7) {
        let well = car.life.soot < 1.0;
        case.regeneration.retain(|r| r.odometer_km.is_some_and(|o| o < car.life.odometer - 20.0));
        case.regeneration.push(Regeneration {
            odometer_km: Some(car.life.odometer),
            time: None,
            order: None,
            note: None,
            place: Some(RegenerationPlace::Service),
            duration_min: Some(if well { 20.0 } else { 8.0 }),
            controller_says: Some(if well {
                RegenerationEnd::Complete
            } else {
                draw.pick([RegenerationEnd::Aborted, RegenerationEnd::Unknown])
            }),
            peak_temperature_degc: None,
        });
    }
    let mut files = Vec::new();
    let mut form = "none";
    let mut informative = false;
    if session == Session::Typed || draw.chance(0.25) {
        let demands = cycle::workshop(draw, car.vehicle.heavy);
        let trace = car.run(draw, &demands, true);
        let shown = show(&trace, &car.sensors, &car.fault, car.air, &Interruptions::default(), draw);
        let mut typed = typed_readings(draw, car, &demands, &shown, false);
        if burns {
            typed.iter_mut().for_each(|r| r.role = Some(Role::After));
        }
        case.reading.extend(typed);
        informative = !car.fault.pressure_is_mute();
    }
    for part in parts(draw, session, state, after.as_ref()) {
        let driven = part.kind == RecordingKind::Drive;
        let warm = !driven || part.burn.is_some() || draw.chance(0.6);
        let trace = part.car.run_burning(draw, &part.demands, warm, part.burn);
        let interruptions =
            if driven { Interruptions::draw(draw, part.demands.len()) } else { Interruptions::default() };
        let shown = show(&trace, &car.sensors, &car.fault, car.air, &interruptions, draw);
        let recorded = record(draw, part.car, &shown, part.stem);
        form = recorded.form;
        informative |=
            moves_or_stands(&shown, &car.sensors, recorded.form == "j1939") && !car.fault.pressure_is_mute();
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
    let mut truth = car.truth(session, form, informative);
    if let Some(after) = &after {
        truth.soot_load_before_g_per_l = Some(state.life.soot);
        truth.proof_ratio = Some(after.filled.viscous / state.filled.viscous);
        now.life = after.life.clone();
    }
    Some(GeneratedVisit {
        case,
        files,
        truth: VisitTruth {
            state: truth,
            odometer_km: car.life.odometer,
            changes: Changes::default(),
            after_complete_regeneration: complete || after.is_some_and(|a| a.life.soot < 1.0),
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_a_life_goes_on() {
        for index in 0..3 {
            let life = generate(5, index);
            assert!((3..=5).contains(&life.visits.len()));
            for pair in life.visits.windows(2) {
                assert!(pair[1].truth.odometer_km > pair[0].truth.odometer_km);
                assert_eq!(pair[0].case.car.displacement_l, pair[1].case.car.displacement_l);
            }
            let files = life.visits.iter().enumerate().map(|(k, v)| (format!("visit-{k}"), v.case.clone()));
            let (joined, _) = facts::visits::join("life", files.collect()).unwrap_or_else(|e| panic!("{e}"));
            assert_eq!(facts::visits::of(&joined).len(), life.visits.len());
        }
    }
}
