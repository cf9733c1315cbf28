//! The invented workshop's demo case: a bakery's van that drives short rounds.
//!
//! Car, people, place and fluids are invented. The files are made when asked for, always the same.

use crate::batch::{Car, GeneratedCase, Plan, Session, WriteError, typed_readings};
use crate::cycle;
use crate::draw::Draw;
use crate::faults::Fault;
use crate::life::round;
use crate::sensors::{Interruptions, show};
use crate::write::{candump, obd};
use facts::case::{
    Answer, Case, Channels, CounterRead, FaultMemory, FuelSource, FuelUsed, Known, Metal, Observation,
    OdometerNote, OilChange, Quantity, Reading, RecordingKind, RecordingRow, Refill, Regeneration,
    RegenerationCount, RegenerationEnd, RegenerationPlace, ReservoirKind, ReservoirWeighed, Role, SCHEMA,
    Surroundings, Wetness,
};
use facts::{FaultId, Moment};
use std::path::{Path, PathBuf};

/// Seed and stream that give a van with an additive system and two hoses (a test holds them to it).
const SEED: u64 = 2031;
const STREAM: u64 = 313;

fn car(draw: &mut Draw) -> Car {
    let fault = Fault::of(draw, Some(FaultId::SootShortTrips));
    Car::draw(draw, Plan { session: Session::Workshop, heavy: false, fault })
}

/// The demo case with its recording and its truth.
#[must_use]
pub fn readme() -> GeneratedCase {
    made(STREAM)
}

/// Writes the demo case into `folder` and gives the path of its `case.toml`.
///
/// # Errors
/// When a file cannot be written.
pub fn readme_case(folder: &Path) -> Result<PathBuf, WriteError> {
    readme().write(folder)?;
    Ok(folder.join("case.toml"))
}

fn made(stream: u64) -> GeneratedCase {
    let mut draw = Draw::new(SEED, stream);
    let car = car(&mut draw);
    let demands = cycle::workshop(&mut draw, false);
    let trace = car.run(&mut draw, &demands, true);
    let shown = show(&trace, &car.sensors, &car.fault, car.air, &Interruptions::default(), &mut draw);
    let readings = typed_readings(&mut draw, &car, &demands, &shown, false);
    let style = obd::Style {
        extended: false,
        flow_66: false,
        fuel_9d: false,
        filter_temperatures: true,
        after: true,
        gas_temperatures: false,
        recirculation: true,
        barometer: true,
        status: true,
        requests: true,
        pace: 0.09,
        grouped: false,
    };
    let life = &car.life;
    let slow = obd::Slow {
        odometer: life.odometer,
        fuel_level: 61.0,
        since_cleared: 4_210.0,
        trigger: 96.0,
        mean_distance: round(life.interval, 1.0),
        mean_time: 640.0,
        fuel_density: life.fuel_density,
    };
    let mut log = candump::Log::new(candump::Form::Compact, 1_935_900_000.0, 4.0, draw.clone());
    obd::write(&shown, &slow, &style, &mut log, &mut draw);
    let recording = log.finish().into_bytes();
    let case = told(&mut draw, &car, readings);
    GeneratedCase {
        name: "demo".to_owned(),
        case,
        files: vec![("workshop.log".to_owned(), recording)],
        truth: car.truth(Session::Workshop, "obd_11", true),
    }
}

fn told(draw: &mut Draw, car: &Car, readings: Vec<Reading>) -> Case {
    let (life, body, vehicle) = (&car.life, &car.body, &car.vehicle);
    let day = |text: &str| Moment::parse(text).ok();
    let visit = day("2031-05-07");
    macro_rules! row {
        ($row:ident, $odometer:expr, $time:expr, { $($field:ident : $value:expr),* $(,)? }) => {
            $row { odometer_km: Some($odometer), time: $time, order: None, note: None, $($field: $value),* }
        };
    }
    let now = life.odometer;
    let mut case = Case {
        schema: SCHEMA.to_owned(),
        title: Some("Bakery van of Sallow Lane, lamp on".to_owned()),
        ..Case::default()
    };
    case.car.category = Some(vehicle.category);
    case.car.mass_kg = Some(round(vehicle.mass, 10.0));
    case.car.displacement_l = Some(vehicle.displacement);
    case.car.power_kw = Some(round(vehicle.power, 1.0));
    case.car.consumption_l_per_100km = Some(round(life.consumption, 0.1));
    case.car.odometer_km = Some(now);
    case.car.distance_per_year_km = Some(round(life.yearly, 1000.0));
    case.car.usual_trip_km = Some(round(life.trip, 1.0));
    case.filter.material = Some(body.material);
    case.filter.diameter_mm = Some(round(body.diameter * 1e3, 0.1));
    case.filter.length_mm = Some(round(body.length * 1e3, 0.1));
    case.filter.cell_density_cpsi = Some(body.cpsi);
    case.filter.wall_thickness_mm = Some(round(body.wall * 1e3, 0.001));
    case.filter.channels = Some(Channels::Symmetric);
    case.filter.fitted_odometer_km = Some(life.fitted);
    case.sensor.plumbing = Some(car.sensors.plumbing);
    case.oil.use_l_per_1000km = Some(round(life.oil_use, 0.01));
    case.oil.sulfated_ash_percent = Some(life.sulfated_ash);
    case.ambient.pressure_kpa = Some(round(car.air.pressure / 1e3, 0.1));
    case.ambient.temperature_degc = Some(round(car.air.temperature - 273.15, 1.0));
    case.reading =
        readings.into_iter().map(|r| Reading { odometer_km: Some(now), time: visit, ..r }).collect();
    let figure = |quantity, value, unit: &str| {
        row!(Reading, now, visit, {
            point: None,
            engine_speed_rpm: None,
            vehicle_speed_km_per_h: None,
            role: Some(Role::Now),
            quantity: quantity,
            value: value,
            unit: unit.to_owned(),
            instrument: Some("controller".to_owned()),
            uncertainty: None,
        })
    };
    case.reading.push(figure(Quantity::DistanceSinceRegeneration, round(life.since_regeneration, 1.0), "km"));
    let soot = life.soot * body.volume_l() * draw.log_normal(1.0, 0.2);
    case.reading.push(figure(Quantity::ControllerSoot, round(soot, 0.1), "g"));
    if let Some(a) = &life.additive {
        case.reservoir.kind = Some(if a.pouch { ReservoirKind::Pouch } else { ReservoirKind::Tank });
        case.reservoir.capacity_l = Some(a.capacity_l);
        case.reservoir.tare_g = Some(if a.pouch { 110.0 } else { 540.0 });
        case.reservoir.metals = vec![Metal { symbol: a.symbol.to_owned(), mass_share: None }];
        case.reservoir.metal_g_per_l = Some(round(a.metal, 0.1));
        case.reservoir.density_kg_per_m3 = Some(round(a.density, 1.0));
        case.reservoir.dose_mg_per_kg = Some(a.dose);
        case.refill = vec![row!(Refill, a.filled_km, day("2030-02-18"), {
            volume_l: Some(round(0.9 * a.capacity_l, 0.05)),
            mass_g: None,
            full: Some(true),
            reservoir_replaced: None,
            entered_l: Some(a.capacity_l),
            counter_reset: Some(Known::Yes),
            metal_g_per_l: None,
            density_kg_per_m3: None,
            lot: Some("WS-17".to_owned()),
        })];
        case.fuel_used = vec![row!(FuelUsed, now, visit, {
            since_odometer_km: a.filled_km,
            fuel_l: round(a.fuel_l * draw.log_normal(1.0, 0.02), 1.0),
            source: Some(FuelSource::Receipts),
        })];
        let tare = if a.pouch { 110.0 } else { 540.0 };
        case.reservoir_weighed = vec![row!(ReservoirWeighed, now, visit, {
            gross_g: round(tare + a.left_l * a.density + draw.normal(0.0, 4.0), 2.0),
            tare_g: None,
            resolution_g: Some(2.0),
            uncertainty_g: Some(15.0),
        })];
        case.counter_read = vec![row!(CounterRead, now, visit, {
            used_ml: Some(round(a.expected_used_l * 1e3, 1.0)),
            left_ml: None,
            distance_since_fill_km: None,
        })];
        case.surroundings = vec![row!(Surroundings, now, visit, { state: Wetness::Dry })];
    }
    case.fault_memory = vec![row!(FaultMemory, now, visit, {
        codes: vec!["P2463".to_owned()],
        role: Some(Role::Now),
        cleared: Some(false),
    })];
    case.observation = [("q_mostly_short_trips", Answer::Yes), ("pressure_hose_fault_visible", Answer::No)]
        .map(|(id, answer)| row!(Observation, now, visit, { id: id.to_owned(), answer: answer, because: None }))
        .to_vec();
    case.oil_change = vec![row!(OilChange, now - 9_200.0, day("2030-09-03"), {
        sulfated_ash_percent: Some(life.sulfated_ash),
        volume_l: None,
    })];
    case.regeneration = vec![row!(Regeneration, round(now - life.since_regeneration, 1.0), None, {
        place: Some(RegenerationPlace::Driving),
        duration_min: Some(14.0),
        controller_says: Some(RegenerationEnd::Complete),
        peak_temperature_degc: None,
    })];
    case.regeneration_count = vec![row!(RegenerationCount, now, visit, {
        completed: Some(life.counts.0),
        aborted: Some(life.counts.1),
    })];
    case.odometer_note =
        vec![row!(OdometerNote, round(now - 0.97 * life.yearly, 1.0), day("2030-05-20"), {})];
    case.recording = vec![row!(RecordingRow, now, visit, {
        file: "workshop.log".to_owned(),
        role: Some(Role::Now),
        kind: Some(RecordingKind::Workshop),
        columns: std::collections::BTreeMap::new(),
    })];
    case
}

#[cfg(test)]
mod tests {
    use super::*;
    use facts::case::{Category, Plumbing};

    /// True when stream `stream` gives the car the README tells of.
    fn fits(stream: u64) -> bool {
        let car = car(&mut Draw::new(SEED, stream));
        car.vehicle.category == Category::N1
            && car.body.oval.is_none()
            && car.body.width_ratio == 1.0
            && car.sensors.plumbing == Plumbing::TwoHoses
            && car.sensors.zero.abs() < 0.15
            && !car.sensors.clipped
            && car.life.odometer > 90_000.0
            && (5.5..8.5).contains(&car.life.soot)
            && car.life.fitted == 0.0
            && car.life.cleaned.is_none()
            && car
                .life
                .additive
                .as_ref()
                .is_some_and(|a| a.fault == "none" && a.dose < 20.0 && a.left_l > 0.3)
    }

    #[test]
    fn regress_readme_car_is_the_one_told_of() {
        assert!(fits(STREAM), "first stream that fits: {:?}", (0..2000).find(|s| fits(*s)));
    }

    #[test]
    fn property_readme_case_has_what_it_promises() {
        let case = readme().case;
        let drops = case.reading.iter().filter(|r| r.quantity == Quantity::DifferentialPressure).count();
        assert_eq!(drops, 3);
        assert_eq!(case.reservoir_weighed.len(), 1);
        assert_eq!(readme().contents().unwrap(), readme().contents().unwrap());
    }
}
