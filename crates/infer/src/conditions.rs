//! A recording on one clock: what flowed through the filter, how hot it was, what the sensor showed.
//!
//! Gaps stay gaps: a grid cell without a sample within [`HOLD_S`] holds NaN and is used by nobody.

use recording::{Quantity, Recording, Signal};

/// Grid step, s. Buses are polled at 1 to 10 Hz; half a second keeps the lag of a pressure hose visible.
pub const STEP_S: f64 = 0.5;
/// Longest gap over which two samples are joined, s.
pub const HOLD_S: f64 = 6.0;

/// Where the exhaust mass flow comes from; decides how far it may be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlowSource {
    /// The controller's exhaust flow.
    Exhaust,
    /// Flow meter plus fuel.
    AirMeter,
    /// Manifold pressure, speed and displacement.
    SpeedDensity,
}

/// Whether a reading can show less than nothing. J1939 carries filter pressures without a sign; many
/// controllers cut theirs at zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum BelowZero {
    /// Negative values were shown.
    Shown,
    /// Not known.
    #[default]
    Unknown,
    /// The channel has no sign.
    Cut,
}

impl BelowZero {
    /// Probability that the reading stops at zero. About one controller in five (expert guess).
    pub(crate) fn cut(self) -> f64 {
        match self {
            Self::Shown => 0.0,
            Self::Unknown => 0.2,
            Self::Cut => 1.0,
        }
    }
}

/// A regeneration inside a recording, as the controller reports it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Burn {
    /// Its length, minutes.
    pub minutes: f64,
    /// Last cell of it.
    pub last: usize,
    /// False when the recording stops while it still runs.
    pub ended: bool,
}

/// One recording on a grid of [`STEP_S`].
#[derive(Debug, Clone)]
pub struct Conditions {
    /// Differential pressure as shown, kPa.
    pub dp_kpa: Vec<f64>,
    /// One count of the pressure signal, kPa.
    pub dp_resolution_kpa: f64,
    /// Share of original pressure samples that repeat the commonest value.
    pub dp_constant_share: f64,
    /// Whether the pressure signal can fall below zero.
    pub dp_below_zero: BelowZero,
    /// Exhaust mass flow, kg/s.
    pub flow_kg_per_s: Vec<f64>,
    /// Where the flow comes from.
    pub flow_source: Option<FlowSource>,
    /// Intake air mass flow by the meter, kg/s.
    pub air_kg_per_s: Vec<f64>,
    /// Fuel mass flow, kg/s.
    pub fuel_kg_per_s: Vec<f64>,
    /// Gas temperature in the filter, K.
    pub filter_k: Vec<f64>,
    /// How many temperature sensors stand behind it.
    pub filter_sensors: usize,
    /// Temperature before the filter, K.
    pub before_k: Vec<f64>,
    /// Temperature after the filter, K.
    pub after_k: Vec<f64>,
    /// Other exhaust temperature sensors, K.
    pub other_k: Vec<Vec<f64>>,
    /// Engine speed, rpm.
    pub speed_rpm: Vec<f64>,
    /// Road speed, km/h.
    pub road_km_per_h: Vec<f64>,
    /// Manifold pressure, absolute kPa.
    pub manifold_kpa: Vec<f64>,
    /// Temperature of the charge, K.
    pub charge_k: Vec<f64>,
    /// Asked minus given boost, kPa.
    pub boost_lack_kpa: Vec<f64>,
    /// Coolant, degC.
    pub coolant_degc: Vec<f64>,
    /// Given minus asked EGR, percent points.
    pub egr_excess_percent: Vec<f64>,
    /// Asked EGR, percent.
    pub egr_asked_percent: Vec<f64>,
    /// Regeneration in progress, 1 or 0.
    pub regeneration: Vec<f64>,
    /// Median barometric pressure, kPa.
    pub barometer_kpa: Option<f64>,
    /// Median ambient temperature, K.
    pub ambient_k: Option<f64>,
    /// The controller's soot figure, percent (last).
    pub controller_soot_percent: Option<f64>,
    /// How near the controller thinks a regeneration is, percent of its trigger (last).
    pub trigger_percent: Option<f64>,
    /// The same over time, percent.
    pub trigger_series: Vec<f64>,
    /// Fuel level (last), percent.
    pub fuel_level_percent: Option<f64>,
    /// Odometer at the end, km.
    pub odometer_km: Option<f64>,
    /// The controller's mean distance between regenerations, km.
    pub mean_regeneration_km: Option<f64>,
}

/// A signal that showed clearly negative values has a sign; J1939 parameters of pressure have none (offset 0,
/// vehicle bus reference 3).
fn below_zero(dp: &Signal) -> BelowZero {
    let low = dp.value.iter().copied().fold(f64::INFINITY, f64::min);
    if low < -0.5 * dp.resolution {
        BelowZero::Shown
    } else if dp.source.contains("SPN") {
        BelowZero::Cut
    } else {
        BelowZero::Unknown
    }
}

/// States (a burn, a lamp) are polled far less often than flows and hold until they change.
const STATE_HOLD_S: f64 = 45.0;

fn on_grid(signal: Option<&Signal>, cells: usize) -> Vec<f64> {
    on_grid_within(signal, cells, HOLD_S)
}

fn on_grid_within(signal: Option<&Signal>, cells: usize, hold_s: f64) -> Vec<f64> {
    let mut out = vec![f64::NAN; cells];
    let Some(s) = signal else { return out };
    let n = s.time_s.len().min(s.value.len());
    if n == 0 {
        return out;
    }
    let mut k = 0;
    for (i, cell) in out.iter_mut().enumerate() {
        let t = (i as f64 + 0.5) * STEP_S;
        while k + 1 < n && s.time_s[k + 1] <= t {
            k += 1;
        }
        let (t0, v0) = (s.time_s[k], s.value[k]);
        *cell = if t < t0 {
            if t0 - t <= STEP_S { v0 } else { f64::NAN }
        } else if k + 1 < n {
            let (t1, v1) = (s.time_s[k + 1], s.value[k + 1]);
            if t1 - t0 <= hold_s {
                v0 + (v1 - v0) * (t - t0) / (t1 - t0).max(1e-9)
            } else if t - t0 <= STEP_S {
                v0
            } else {
                f64::NAN
            }
        } else if t - t0 <= 2.0 * STEP_S {
            v0
        } else {
            f64::NAN
        };
    }
    out
}

/// Median of the finite values.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    let mut v: Vec<f64> = values.iter().copied().filter(|x| x.is_finite()).collect();
    if v.is_empty() {
        return None;
    }
    let mid = v.len() / 2;
    Some(*v.select_nth_unstable_by(mid, f64::total_cmp).1)
}

fn combine(a: &[f64], b: &[f64], f: impl Fn(f64, f64) -> f64) -> Vec<f64> {
    a.iter().zip(b).map(|(&x, &y)| f(x, y)).collect()
}

fn mean_known(a: f64, b: f64) -> f64 {
    match (a.is_finite(), b.is_finite()) {
        (true, true) => (a + b) / 2.0,
        (true, false) => a,
        _ => b,
    }
}

/// Volumetric efficiency of a diesel engine with its throttle open, referred to manifold conditions
/// (common practice, 0.8 to 0.98).
pub const VOLUMETRIC_EFFICIENCY: f64 = 0.88;
/// Specific gas constant of air, J/(kg K).
pub const AIR_CONSTANT: f64 = 287.05;

/// Air that the engine takes in by speed and density, kg/s (four-stroke, no EGR).
#[must_use]
pub fn speed_density(displacement_m3: f64, rpm: f64, manifold_kpa: f64, charge_k: f64) -> f64 {
    VOLUMETRIC_EFFICIENCY * displacement_m3 * rpm / 120.0 * manifold_kpa * 1000.0 / (AIR_CONSTANT * charge_k)
}

impl Conditions {
    /// Puts a recording on the grid. `fuel_density` in kg/m3; `displacement_m3` where known.
    #[must_use]
    pub fn new(recording: &Recording, fuel_density: f64, displacement_m3: Option<f64>) -> Self {
        let cells = ((recording.duration_s / STEP_S).ceil().clamp(0.0, 400_000.0)) as usize;
        let grid = |q: Quantity| on_grid(recording.signal(q), cells);
        let scaled = |q: Quantity, f: f64, add: f64| {
            let mut v = grid(q);
            v.iter_mut().for_each(|x| *x = *x * f + add);
            v
        };
        let dp_signal = recording.signal(Quantity::FilterDifferentialPressure);
        let dp_kpa = on_grid(dp_signal, cells);
        let dp_constant_share = dp_signal.map_or(0.0, |s| {
            let mut counts = std::collections::BTreeMap::<i64, usize>::new();
            for v in s.value.iter().filter(|v| v.is_finite()) {
                *counts.entry((v * 1e4).round() as i64).or_default() += 1;
            }
            let n: usize = counts.values().sum();
            counts.values().max().map_or(0.0, |&m| m as f64 / n.max(1) as f64)
        });

        let speed_rpm = grid(Quantity::EngineSpeed);
        let barometer = grid(Quantity::BarometricPressure);
        let barometer_kpa = median(&barometer);
        let mut manifold_kpa = grid(Quantity::IntakeManifoldPressure);
        let boost = grid(Quantity::BoostPressure);
        if median(&manifold_kpa).is_none() {
            let p0 = barometer_kpa.unwrap_or(101.3);
            manifold_kpa = boost.iter().map(|b| b + p0).collect();
        }
        let mut charge_k = scaled(Quantity::ChargeAirTemperature, 1.0, 273.15);
        if median(&charge_k).is_none() {
            charge_k = scaled(Quantity::IntakeAirTemperature, 1.0, 273.15);
        }
        let air_kg_per_s = scaled(Quantity::IntakeAirMassFlow, 1e-3, 0.0);
        let mut fuel_kg_per_s = scaled(Quantity::FuelMassRate, 1e-3, 0.0);
        if median(&fuel_kg_per_s).is_none() {
            fuel_kg_per_s = scaled(Quantity::FuelVolumeRate, fuel_density / 1000.0 / 3600.0, 0.0);
        }
        let exhaust = scaled(Quantity::ExhaustMassFlow, 1e-3, 0.0);
        let with_fuel =
            |air: &[f64]| combine(air, &fuel_kg_per_s, |a, f| if f.is_finite() { a + f } else { a * 1.035 });
        // A stopped engine moves no gas, whatever the last sample of a slower signal says.
        let stop = |mut v: Vec<f64>| {
            for (x, n) in v.iter_mut().zip(&speed_rpm) {
                if *n < 200.0 {
                    *x = 0.0;
                }
            }
            v
        };
        let (flow_kg_per_s, flow_source) = if median(&exhaust).is_some() {
            (stop(exhaust), Some(FlowSource::Exhaust))
        } else if median(&air_kg_per_s).is_some() {
            (stop(with_fuel(&air_kg_per_s)), Some(FlowSource::AirMeter))
        } else if let (Some(vd), Some(_), Some(_)) =
            (displacement_m3, median(&manifold_kpa), median(&speed_rpm))
        {
            let air: Vec<f64> = (0..cells)
                .map(|i| {
                    let t = if charge_k[i].is_finite() { charge_k[i] } else { 313.0 };
                    // Part of the charge is recirculated at part load; its spread is in the flow prior.
                    speed_density(vd, speed_rpm[i], manifold_kpa[i], t) * 0.85
                })
                .collect();
            (stop(with_fuel(&air)), Some(FlowSource::SpeedDensity))
        } else {
            (vec![f64::NAN; cells], None)
        };

        let before_k = scaled(Quantity::FilterInletTemperature, 1.0, 273.15);
        let after_k = scaled(Quantity::FilterOutletTemperature, 1.0, 273.15);
        let other_k: Vec<Vec<f64>> = recording
            .signals_of(Quantity::ExhaustTemperature)
            .map(|s| on_grid(Some(s), cells).into_iter().map(|v| v + 273.15).collect())
            .collect();
        let sensors = |v: &Vec<f64>| usize::from(median(v).is_some());
        let mut filter_sensors = sensors(&before_k) + sensors(&after_k);
        let mut filter_k = combine(&before_k, &after_k, mean_known);
        if filter_sensors == 0
            && let Some(last) = other_k.iter().rev().find(|v| median(v).is_some())
        {
            // Sensors are numbered along the flow (PID 78); the last is nearest to the filter.
            filter_k = last.clone();
            filter_sensors = 1;
        }

        let asked = grid(Quantity::BoostPressureCommanded);
        let given = grid(Quantity::BoostPressureActual);
        let egr_asked_percent = grid(Quantity::EgrCommanded);
        let egr_given = grid(Quantity::EgrActual);
        let last = |q: Quantity| {
            recording.signal(q).and_then(|s| s.value.iter().rev().find(|v| v.is_finite()).copied())
        };
        Self {
            dp_kpa,
            dp_resolution_kpa: dp_signal.map_or(0.01, |s| s.resolution.max(1e-4)),
            dp_constant_share,
            dp_below_zero: dp_signal.map_or(BelowZero::Unknown, below_zero),
            flow_kg_per_s,
            flow_source,
            air_kg_per_s,
            fuel_kg_per_s,
            filter_k,
            filter_sensors,
            before_k,
            after_k,
            other_k,
            road_km_per_h: grid(Quantity::VehicleSpeed),
            manifold_kpa,
            charge_k,
            boost_lack_kpa: combine(&asked, &given, |a, g| a - g),
            // Coolant moves by a kelvin in seconds at most and is polled as seldom as a state.
            coolant_degc: on_grid_within(recording.signal(Quantity::CoolantTemperature), cells, STATE_HOLD_S),
            egr_excess_percent: combine(&egr_given, &egr_asked_percent, |g, a| g - a),
            egr_asked_percent,
            regeneration: on_grid_within(recording.signal(Quantity::RegenerationActive), cells, STATE_HOLD_S),
            barometer_kpa,
            ambient_k: median(&grid(Quantity::AmbientTemperature)).map(|t| t + 273.15),
            controller_soot_percent: last(Quantity::ControllerSootLoad),
            trigger_percent: last(Quantity::RegenerationTrigger),
            trigger_series: on_grid_within(
                recording.signal(Quantity::RegenerationTrigger),
                cells,
                STATE_HOLD_S,
            ),
            fuel_level_percent: last(Quantity::FuelLevel),
            odometer_km: last(Quantity::Odometer),
            mean_regeneration_km: last(Quantity::MeanDistanceBetweenRegenerations),
            speed_rpm,
        }
    }

    /// A regeneration that the controller reports inside this recording. Heat alone is no report: a hard
    /// climb is as hot as a burn.
    #[must_use]
    pub fn burn(&self) -> Option<Burn> {
        let minutes = self.regeneration.iter().filter(|r| **r > 0.5).count() as f64 * STEP_S / 60.0;
        let last = self.regeneration.iter().rposition(|r| *r > 0.5)?;
        // A flag that is up for seconds is a start that came to nothing.
        let ended = (self.len() - last) as f64 * STEP_S > 20.0;
        (minutes > 1.0).then_some(Burn { minutes, last, ended })
    }

    /// Cells of the grid.
    #[must_use]
    pub fn len(&self) -> usize {
        self.dp_kpa.len()
    }

    /// True when the recording holds no time at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.dp_kpa.is_empty()
    }
}
