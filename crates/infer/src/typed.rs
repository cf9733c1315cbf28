//! Typed readings: the same rows as a recording gives, with the flow estimated where nobody measured it.

use crate::assessment::PressurePoint;
use crate::conditions::{AIR_CONSTANT, VOLUMETRIC_EFFICIENCY};
use crate::summary::{Row, Standard};
use facts::case::{Case, Point, Quantity, Reading, Role};
use std::collections::BTreeMap;

/// What the typed readings of one state of the car say of pressure against flow.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    /// Rows of the car's own sensor.
    pub rows: Vec<Row>,
    /// Rows of an independent gauge on the same taps.
    pub gauge: Vec<Row>,
    /// The same two with what two readings of one car at one point do not share: for before and after.
    pub(crate) own: [Vec<Row>; 2],
    /// For the report.
    pub points: Vec<PressurePoint>,
    /// True when some flow was estimated from engine size and speed alone.
    pub flow_guessed: bool,
}

/// Rows no further back than this belong to the stay, km.
pub(crate) const STAY_KM: f64 = 150.0;

/// A reading and its uncertainty in the canonical unit of its quantity (kPa, g/s, degC, ...), or none when
/// the unit is not one of its quantity.
#[must_use]
pub fn canonical(r: &Reading) -> Option<(f64, f64)> {
    let m = r.measured().ok()?;
    Some((m.value, m.uncertainty.unwrap_or(f64::NAN)))
}

/// Role of the readings that describe the car as it stands: after the work if there are any, else now.
#[must_use]
pub fn current_role(case: &Case) -> Role {
    let has = |role| {
        case.reading.iter().any(|r| r.role == Some(role))
            || case.recording.iter().any(|r| r.role == Some(role))
    };
    let now = case.reading.iter().any(|r| r.role.is_none() || r.role == Some(Role::Now))
        || case.recording.iter().any(|r| r.role.is_none() || r.role == Some(Role::Now));
    if has(Role::After) {
        Role::After
    } else if now || !has(Role::Before) {
        Role::Now
    } else {
        Role::Before
    }
}

/// Gathers the readings of `role` (rows older than `since_km` left out) into rows.
#[must_use]
pub fn gather(case: &Case, role: Role, since_km: f64, standard: &Standard) -> Typed {
    type Key = (Point, i64, i64);
    let mut groups: BTreeMap<Key, BTreeMap<Quantity, Vec<(f64, f64)>>> = BTreeMap::new();
    for r in &case.reading {
        let Some(point) = r.point else { continue };
        let row_role = r.role.unwrap_or(Role::Now);
        let same = row_role == role || (role == Role::After && row_role == Role::Now && r.role.is_some());
        if !same || r.odometer_km.is_some_and(|o| o < since_km) {
            continue;
        }
        let Some(value) = canonical(r) else { continue };
        let key = (
            point,
            r.engine_speed_rpm.unwrap_or(0.0).round() as i64,
            (r.odometer_km.unwrap_or(f64::MAX / 1e10)).round() as i64,
        );
        groups.entry(key).or_default().entry(r.quantity).or_default().push(value);
    }
    let mut out = Typed::default();
    for ((point, rpm, _), g) in &groups {
        let mean = |q: Quantity| g.get(&q).map(|v| v.iter().map(|x| x.0).sum::<f64>() / v.len() as f64);
        let guess = Guess::new(case, *point, *rpm as f64, &mean);
        for (q, is_gauge) in
            [(Quantity::DifferentialPressure, false), (Quantity::DifferentialPressureGauge, true)]
        {
            for &(y, u) in g.get(&q).map_or(&[][..], Vec::as_slice) {
                // Without a stated uncertainty a shown pressure is taken to half a hectopascal and 3 %.
                let shown = if u.is_finite() { (u / 2.0).max(0.002) } else { 0.05 + 0.03 * y.abs() };
                let (row, sd, own) = match &guess {
                    None => ([1.0, 0.0, 0.0, 0.0, 0.0], shown.max(0.01), shown.max(0.01)),
                    Some(f) => {
                        let row = standard.row(f.flow_kg_per_s, f.kelvin, y.max(0.0) * 0.8);
                        // Flow and temperature act on the reading almost like factors (mu Q ~ m T^1.7).
                        let relative = (f.flow_sd.powi(2) + (1.7 * f.kelvin_sd / f.kelvin).powi(2)).sqrt();
                        let own = if f.guessed { HELD_AGAIN } else { READ_AGAIN };
                        let with = |relative: f64| shown.hypot(relative * (y.abs() + 0.05));
                        (row, with(relative), with(own))
                    }
                };
                out.flow_guessed |= guess.as_ref().is_some_and(|f| f.guessed);
                out.points.push(PressurePoint {
                    flow_g_per_s: guess.as_ref().map_or(0.0, |f| f.flow_kg_per_s * 1000.0),
                    temperature_degc: guess.as_ref().map_or(20.0, |f| f.kelvin - 273.15),
                    shown_kpa: y,
                    sigma_kpa: sd,
                    recording: None,
                    before: role == Role::Before,
                });
                if is_gauge {
                    out.gauge.push((row, y, sd))
                } else {
                    out.rows.push((row, y, sd))
                }
                out.own[usize::from(is_gauge)].push((row, y, own));
            }
        }
    }
    out
}

/// Relative: what flow and temperature do not repeat when a point is set again, the flow read each time, and the
/// speed held by hand (common practice). Whatever else is wrong with the flow is wrong at both times and cancels.
const READ_AGAIN: f64 = 0.02;
/// See [`READ_AGAIN`].
const HELD_AGAIN: f64 = 0.04;

struct Guess {
    flow_kg_per_s: f64,
    /// Relative, of this point alone (the part common to all points is in the flow prior).
    flow_sd: f64,
    kelvin: f64,
    kelvin_sd: f64,
    guessed: bool,
}

impl Guess {
    /// None at key-on: no flow. Temperatures of an unloaded warm engine and of the road are common
    /// practice (`trade` reading tables); their spread enters as uncertainty.
    fn new(case: &Case, point: Point, rpm: f64, mean: &dyn Fn(Quantity) -> Option<f64>) -> Option<Self> {
        let (rpm, boost, egr_free, t0, t_sd) = match point {
            Point::KeyOn => return None,
            Point::HotIdle => (if rpm > 300.0 { rpm } else { 830.0 }, 1.0, 0.72, 430.0, 35.0),
            Point::Held => (if rpm > 300.0 { rpm } else { 2500.0 }, 1.08, 0.80, 470.0, 40.0),
            Point::Road => (if rpm > 300.0 { rpm } else { 2200.0 }, 1.35, 0.85, 560.0, 60.0),
        };
        let before = mean(Quantity::ExhaustTemperatureBefore);
        let after = mean(Quantity::ExhaustTemperatureAfter);
        let (kelvin, kelvin_sd) = match (before, after) {
            (Some(a), Some(b)) => (273.15 + (a + b) / 2.0, 10.0),
            (Some(a), None) | (None, Some(a)) => (273.15 + a, 18.0),
            (None, None) => (t0, t_sd),
        };
        let barometer = mean(Quantity::BarometricPressure).or(case.ambient.pressure_kpa).unwrap_or(100.0);
        let (flow_kg_per_s, flow_sd, guessed) = if let Some(f) = mean(Quantity::ExhaustMassFlow) {
            (f / 1000.0, 0.03, false)
        } else if let Some(f) = mean(Quantity::IntakeAirMassFlow) {
            (f / 1000.0 * 1.03, 0.03, false)
        } else {
            let vd = case.car.displacement_l.unwrap_or(1.8) / 1000.0;
            let manifold = mean(Quantity::IntakeManifoldPressure);
            let charge = mean(Quantity::IntakeAirTemperature).map_or(318.0, |t| t + 273.15);
            let air =
                VOLUMETRIC_EFFICIENCY * vd * rpm / 120.0 * manifold.unwrap_or(barometer * boost) * 1000.0
                    / (AIR_CONSTANT * charge)
                    * egr_free;
            let spread = match point {
                Point::Road => 0.35,
                Point::HotIdle => 0.15,
                _ => 0.10,
            };
            (air * 1.03, if manifold.is_some() { 0.8 * spread } else { spread }, true)
        };
        Some(Self { flow_kg_per_s, flow_sd, kelvin, kelvin_sd, guessed })
    }
}

/// Exhaust flow (kg/s) and gas temperature (K) that this car will have at a point, as far as engine size and
/// speed tell; none but the key-on point is without flow. For planning a reading, not for judging one.
#[must_use]
pub fn typical_point(case: &Case, point: Point, rpm: f64) -> (f64, f64) {
    Guess::new(case, point, rpm, &|_| None).map_or((0.0, 293.15), |g| (g.flow_kg_per_s, g.kelvin))
}
