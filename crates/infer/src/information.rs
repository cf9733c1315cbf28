//! What the next recording or reading would tell: expected narrowing of the open questions, worked out from the
//! posterior's own draws.
//!
//! Every draw says what an instrument would show at a future point; its noise is added. How much a reading tells of a
//! figure is then its squared multiple correlation with that figure over the draws (a linear-Gaussian estimate of
//! the mutual information, I = −½ ln(1 − R²)); the 90 % interval is expected to shrink by 1 − √(1 − R²). For the state
//! of the pressure sensor, which is a list and no number, the share of entropy that a quantised reading takes
//! away. A reading that a safety condition forbids is not listed; where a condition is open it is to be looked at
//! first, and the minutes for that are counted.

use crate::assessment::{Arg, Text};
use crate::balance::Balance;
use crate::posterior::{Draws, resistance_ratio};
use crate::prior::{Priors, coordinate as at};
use crate::quasi::{Points, normal_quantile};
use crate::safety::{Regeneration, State, Verdict};
use crate::summary::Standard;
use crate::typed::typical_point;
use facts::case::{Case, Point};
use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

/// Figures that a reading can narrow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Figure {
    /// Soot load.
    Soot,
    /// Ash load.
    Ash,
    /// Zero of the pressure sensor.
    Zero,
    /// State of the pressure sensor and its hoses.
    Sensor,
    /// Additive left.
    Additive,
}

impl Figure {
    /// Its name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Soot => "soot_load_g_per_l",
            Self::Ash => "ash_load_g_per_l",
            Self::Zero => "zero_kpa",
            Self::Sensor => "pressure_sensor",
            Self::Additive => "left_l",
        }
    }
}

/// A recording or reading that a workshop could make next.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NextReading {
    /// What to do.
    pub what: Text,
    /// Minutes, with set-up and what must be looked at first.
    pub minutes: f64,
    /// Share by which the 90 % interval of each open figure would be expected to shrink, 0 to 1 (for the pressure
    /// sensor: share of the doubt taken away).
    pub narrows: Vec<(Figure, f64)>,
    /// Sum of those shares per hour.
    pub per_hour: f64,
    /// Conditions to look at first.
    pub first: Vec<Text>,
}

/// What is asked for: the posterior and what it left open.
pub(crate) struct Asked<'a> {
    pub case: &'a Case,
    pub priors: &'a Priors,
    pub standard: &'a Standard,
    pub draws: &'a Draws,
    pub regeneration: &'a Regeneration,
    pub additive: Option<&'a Balance>,
    pub open: &'a [Figure],
    /// Whether any reading or recording says that equipment is connected.
    pub connected: bool,
    /// Coolant, degC, where known.
    pub coolant_degc: Option<f64>,
}

/// Draws looked at; more only smooths the third digit.
const DRAWS: usize = 1000;
/// A share below which a reading is not worth its minutes.
const WORTH: f64 = 0.02;

/// Columns: what each draw would show, with the standard deviation of the instrument.
struct Simulated {
    shown: Vec<Vec<f64>>,
    noise: Vec<f64>,
}

impl Asked<'_> {
    fn picks(&self) -> impl Iterator<Item = usize> + Clone + use<'_> {
        let n = self.draws.soot.len();
        (0..n).step_by((n / DRAWS).max(1))
    }

    fn target(&self, f: Figure) -> Vec<f64> {
        let d = self.draws;
        self.picks()
            .map(|i| match f {
                Figure::Soot => d.soot[i].max(1e-3).ln(),
                Figure::Ash => d.ash[i].max(1e-3).ln(),
                _ => d.zero[i],
            })
            .collect()
    }

    /// The sensor's reading at a flow (kg/s) and temperature (K).
    fn at(&self, flow: f64, kelvin: f64) -> Vec<f64> {
        let row = self.standard.row(flow, kelvin, 2.0);
        let d = self.draws;
        self.picks()
            .map(|i| d.zero[i] + row[1..].iter().zip(&d.beta[i][1..]).map(|(x, b)| x * b).sum::<f64>())
            .collect()
    }

    /// An independent gauge on the same taps: the filter itself, whatever the car's sensor does.
    fn gauge(&self, flow: f64, kelvin: f64) -> Vec<f64> {
        let row = self.standard.row(flow, kelvin, 2.0);
        let d = self.draws;
        self.picks()
            .map(|i| {
                let inertial = d.beta_new[i][3];
                row[1] * (d.standard[i] - inertial).max(0.0) + row[3] * inertial
            })
            .collect()
    }

    /// The same point after a complete regeneration.
    fn burnt(&self, flow: f64, kelvin: f64) -> Vec<f64> {
        let row = self.standard.row(flow, kelvin, 2.0);
        let d = self.draws;
        let left = Points;
        self.picks()
            .map(|i| {
                // What a complete burn leaves: about 0.3 g/L (the spread is that of the soot prior).
                let soot = 0.3 * (0.8 * normal_quantile(left.at(i, 0))).exp();
                let ratio = resistance_ratio(&d.x[i], self.priors, soot).unwrap_or(1.0);
                let b = &d.beta[i];
                d.zero[i] + ratio * (row[1] * b[1] + row[2] * b[2] + row[4] * b[4]) + row[3] * b[3]
            })
            .collect()
    }

    fn narrows(&self, s: &Simulated, of: &[Figure]) -> Vec<(Figure, f64)> {
        self.open
            .iter()
            .filter(|f| of.contains(f))
            .map(|&f| {
                let share = match f {
                    Figure::Sensor => self.doubt_taken(s),
                    _ => shrinks(determination(&self.target(f), s)),
                };
                (f, share)
            })
            .filter(|(_, share)| *share >= WORTH)
            .collect()
    }

    /// Share of the entropy of the sensor's state that the most telling column takes away.
    fn doubt_taken(&self, s: &Simulated) -> f64 {
        let modes: Vec<usize> = self.picks().map(|i| self.draws.sensor[i]).collect();
        let before = entropy(modes.iter().copied());
        if before < 0.05 {
            return 0.0;
        }
        let noise = Points;
        s.shown
            .iter()
            .zip(&s.noise)
            .map(|(y, sd)| {
                let y: Vec<f64> =
                    y.iter().enumerate().map(|(k, v)| v + sd * normal_quantile(noise.at(k, 0))).collect();
                information(&modes, &y) / before
            })
            .fold(0.0, f64::max)
            .clamp(0.0, 1.0)
    }
}

/// 1 − √(1 − R²).
fn shrinks(r2: f64) -> f64 {
    1.0 - (1.0 - r2.clamp(0.0, 1.0)).sqrt()
}

/// Squared multiple correlation of `target` with the noisy columns.
fn determination(target: &[f64], s: &Simulated) -> f64 {
    let n = target.len();
    let k = s.shown.len();
    if n < 10 || k == 0 {
        return 0.0;
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let means: Vec<f64> = s.shown.iter().map(|c| mean(c)).collect();
    let mt = mean(target);
    let mut cov = DMatrix::<f64>::zeros(k, k);
    let mut cross = DVector::<f64>::zeros(k);
    let mut variance = 0.0;
    for (i, t) in target.iter().enumerate() {
        let dt = t - mt;
        variance += dt * dt;
        for a in 0..k {
            let da = s.shown[a][i] - means[a];
            cross[a] += da * dt;
            for b in 0..k {
                cov[(a, b)] += da * (s.shown[b][i] - means[b]);
            }
        }
    }
    for a in 0..k {
        cov[(a, a)] += n as f64 * s.noise[a] * s.noise[a];
    }
    if variance <= 0.0 {
        return 0.0;
    }
    let Some(ch) = cov.cholesky() else { return 0.0 };
    let r2 = cross.dot(&ch.solve(&cross)) / variance;
    // What chance alone gives for this many columns.
    let chance = k as f64 / n as f64;
    if r2.is_finite() { ((r2 - chance) / (1.0 - chance)).clamp(0.0, 0.999) } else { 0.0 }
}

fn entropy(of: impl Iterator<Item = usize>) -> f64 {
    let mut counts = std::collections::BTreeMap::<usize, f64>::new();
    let mut n = 0.0;
    for k in of {
        *counts.entry(k).or_default() += 1.0;
        n += 1.0;
    }
    counts.values().map(|c| -(c / n) * (c / n).ln()).sum()
}

/// Mutual information of a list and a number by classes of equal count, less the bias of finite draws (Miller 1955).
fn information(list: &[usize], y: &[f64]) -> f64 {
    const CLASSES: usize = 12;
    let n = y.len();
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&a, &b| y[a].total_cmp(&y[b]).then(a.cmp(&b)));
    let mut class = vec![0; n];
    for (rank, &i) in order.iter().enumerate() {
        class[i] = rank * CLASSES / n.max(1);
    }
    let kinds = list.iter().collect::<std::collections::BTreeSet<_>>().len();
    let joint = entropy(list.iter().zip(&class).map(|(l, c)| l * CLASSES + c));
    let bias = (kinds.saturating_sub(1) * (CLASSES - 1)) as f64 / (2.0 * n.max(1) as f64);
    (entropy(list.iter().copied()) + entropy(class.iter().copied()) - joint - bias).max(0.0)
}

/// Noise of a typed or averaged pressure, kPa: the count of the instrument and 3 % (flow of the day).
fn noise(shown: &[f64], floor: f64) -> f64 {
    let mean = shown.iter().map(|v| v.abs()).sum::<f64>() / shown.len().max(1) as f64;
    floor.hypot(0.03 * mean)
}

/// The readings, the most telling per minute first.
pub(crate) fn next_readings(a: &Asked) -> Vec<NextReading> {
    if a.open.is_empty() || a.draws.soot.len() < 10 {
        return Vec::new();
    }
    use Figure::{Additive, Ash, Sensor, Soot, Zero};
    let idle = typical_point(a.case, Point::HotIdle, 0.0);
    let held = |rpm: f64| typical_point(a.case, Point::Held, rpm);
    // Full load on the road moves about three times the gas of a held 2500 rpm (boost, trade reference 3.1).
    let pull = {
        let (f, _) = held(2500.0);
        (3.0 * f, 720.0)
    };
    let connect = if a.connected { 0.0 } else { 5.0 };
    let warm = if a.coolant_degc.is_some_and(|t| t >= 70.0) { 0.0 } else { 15.0 };
    let column = |points: &[(f64, f64)], zero: bool| {
        let mut shown: Vec<Vec<f64>> = points.iter().map(|p| a.at(p.0, p.1)).collect();
        let mut sd: Vec<f64> = shown.iter().map(|s| noise(s, 0.03)).collect();
        if zero {
            shown.push(a.target(Zero));
            sd.push(0.02);
        }
        Simulated { shown, noise: sd }
    };
    let by_pressure = [Soot, Ash, Zero, Sensor];
    let may_load = a.regeneration.may_load_engine();
    let guards: Vec<_> = a.regeneration.of(State::Open).filter(|c| c.guards_held_speed).collect();
    let first = || guards.iter().map(|c| c.what.clone()).collect::<Vec<Text>>();
    let looking: f64 = guards.iter().map(|c| c.minutes).sum();
    let mut out = Vec::new();
    let mut add = |id, minutes: f64, narrows: Vec<(Figure, f64)>, first: Vec<Text>| {
        let sum: f64 = narrows.iter().map(|n| n.1).sum();
        if sum > WORTH {
            let per_hour = 60.0 * sum / f64::max(minutes, 1.0);
            out.push(NextReading { what: Text::new(id), minutes, narrows, per_hour, first });
        }
    };
    let s = Simulated { shown: vec![a.target(Zero)], noise: vec![0.02] };
    add("reading-key-on", 3.0 + connect, a.narrows(&s, &by_pressure), Vec::new());
    let s = column(&[idle], false);
    add("reading-hot-idle", 5.0 + connect + warm, a.narrows(&s, &by_pressure), Vec::new());
    if may_load {
        let s = column(&[idle, held(2500.0)], false);
        add("reading-held", 5.0 + connect + warm + looking, a.narrows(&s, &by_pressure), first());
        let s = column(&[idle, held(1700.0), held(2800.0)], true);
        add("reading-staircase", 10.0 + connect + warm + looking, a.narrows(&s, &by_pressure), first());
        let s = column(&[idle, held(2500.0), pull], true);
        add("reading-road-pull", 25.0 + connect + looking, a.narrows(&s, &by_pressure), first());
        let y = a.gauge(held(2500.0).0, held(2500.0).1);
        let idle_y = a.gauge(idle.0, idle.1);
        let own = a.at(held(2500.0).0, held(2500.0).1);
        let sd = vec![noise(&y, 0.03), noise(&idle_y, 0.03), noise(&own, 0.03)];
        // The difference of the two shows at one moment what the sensor does.
        let apart: Vec<f64> = own.iter().zip(&y).map(|(o, g)| o - g).collect();
        let mut s = Simulated { shown: vec![y, idle_y, own], noise: sd };
        s.noise.push(0.04_f64.hypot(0.01));
        s.shown.push(apart);
        add("reading-second-gauge", 20.0 + connect + warm + looking, a.narrows(&s, &by_pressure), first());
    }
    // After a complete burn the rest is wall and ash: one started in the workshop only where that is safe, else the
    // car's own on the road, which costs two short recordings and a second visit.
    let safe = a.regeneration.service == Verdict::Safe;
    if safe || may_load {
        let (flow, kelvin) = held(2500.0);
        let (now, after) = (a.at(flow, kelvin), a.burnt(flow, kelvin));
        let sd = vec![noise(&now, 0.03), noise(&after, 0.03)];
        let s = Simulated { shown: vec![now, after], noise: sd };
        let narrows = a.narrows(&s, &by_pressure);
        if safe {
            add("reading-after-regeneration", 75.0 + connect + warm, narrows.clone(), Vec::new());
        }
        if may_load {
            add("reading-after-own-regeneration", 40.0 + 2.0 * connect + looking, narrows, first());
        }
    }
    // Filter out of the car, dry and warm on the scale against its mass as new: 20 g of doubt about that mass.
    let mass: Vec<f64> = a.picks().map(|i| (a.draws.soot[i] + a.draws.ash[i]) * a.draws.volume[i]).collect();
    let s = Simulated { shown: vec![mass], noise: vec![20.0] };
    add("reading-weigh-filter", 180.0, a.narrows(&s, &[Soot, Ash]), Vec::new());
    if let Some(b) = a.additive.filter(|_| a.open.contains(&Additive)) {
        // The interval as a Gaussian against a scale of 10 g and the tare.
        let sd = (b.left_l.p95 - b.left_l.p05) / 3.29;
        let scale = 0.015;
        let share = 1.0 - 1.0 / (1.0 + (sd / scale).powi(2)).sqrt();
        if share.is_finite() {
            add("reading-weigh-reservoir", 30.0, vec![(Additive, share)], Vec::new());
        }
    }
    out.sort_by(|x, y| y.per_hour.total_cmp(&x.per_hour).then(x.what.id.cmp(y.what.id)));
    out
}

/// Share by which the soot interval would shrink if one fact of the case were told: the pressure with the key
/// on, and held at 2500 rpm, as typed by hand.
pub(crate) fn typed_reading_shrinks(a: &Asked, point: Point) -> f64 {
    let soot = a.target(Figure::Soot);
    let shown = match point {
        Point::KeyOn => a.target(Figure::Zero),
        _ => {
            let (flow, kelvin) = typical_point(a.case, point, 2500.0);
            a.at(flow, kelvin)
        }
    };
    // The flow of a typed reading is guessed from engine size and speed: 10 % of it, 17 % of mu Q with heat.
    let sd = match point {
        Point::KeyOn => 0.03,
        _ => noise(&shown, 0.05).hypot(0.12 * shown.iter().sum::<f64>().abs() / shown.len().max(1) as f64),
    };
    shrinks(determination(&soot, &Simulated { shown: vec![shown], noise: vec![sd] }))
}

/// Share by which the soot interval would shrink if the distance since the last regeneration were told. Of the
/// variance of ln soot before any reading (`before`), 0.8² of 0.8² + 0.55² is the unknown distance (spreads of the
/// soot prior); what the readings say is kept: 1/v = 1/v_before + what they added.
pub(crate) fn distance_shrinks(now: &Draws, before: &Draws) -> f64 {
    let variance = |d: &Draws| {
        let total: f64 = d.weight.iter().sum::<f64>().max(1e-300);
        let ln = |s: &f64| s.max(1e-3).ln();
        let mean = d.soot.iter().zip(&d.weight).map(|(s, w)| w * ln(s)).sum::<f64>() / total;
        d.soot.iter().zip(&d.weight).map(|(s, w)| w * (ln(s) - mean).powi(2)).sum::<f64>() / total
    };
    let (v, v0) = (variance(now), variance(before));
    if !(v > 0.0 && v0 > 0.0) {
        return 0.0;
    }
    let added = (1.0 / v - 1.0 / v0).max(0.0);
    let told = v0 * 0.55_f64.powi(2) / (0.55_f64.powi(2) + 0.8_f64.powi(2));
    let after = 1.0 / (1.0 / told + added);
    (1.0 - (after / v).sqrt()).clamp(0.0, 1.0)
}

/// Share by which the soot interval would shrink if a coordinate of the state were known.
pub(crate) fn coordinate_shrinks(d: &Draws, j: usize) -> f64 {
    debug_assert!(j < at::COUNT);
    let soot: Vec<f64> = d.soot.iter().map(|s| s.max(1e-3).ln()).collect();
    let column: Vec<f64> = d.x.iter().map(|x| x[j]).collect();
    shrinks(determination(&soot, &Simulated { shown: vec![column], noise: vec![0.0] }))
}

/// A figure as an argument of a message.
pub(crate) fn named(f: Figure) -> Arg {
    Arg::Message(Box::new(Text::new(match f {
        Figure::Soot => "figure-soot",
        Figure::Ash => "figure-ash",
        Figure::Zero => "figure-zero",
        Figure::Sensor => "figure-sensor",
        Figure::Additive => "figure-additive",
    })))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn uniform(n: usize, j: usize) -> Vec<f64> {
        let p = Points;
        (0..n).map(|i| normal_quantile(p.at(i, j))).collect()
    }

    #[test]
    fn analytic_gaussian_information() {
        // y = x + noise of sd 0.75: R² = 1/(1 + 0.5625) = 0.64, so the interval shrinks to 0.6 of itself.
        let x = uniform(4000, 0);
        let s = Simulated { shown: vec![x.clone()], noise: vec![0.75] };
        assert!((shrinks(determination(&x, &s)) - 0.4).abs() < 0.01);
        let unrelated = Simulated { shown: vec![uniform(4000, 1)], noise: vec![0.1] };
        assert!(shrinks(determination(&x, &unrelated)) < 0.005);
    }

    #[test]
    fn analytic_information_of_a_list() {
        // Two states that the reading parts cleanly: all of ln 2; none when it does not look at them.
        let n = 3000;
        let list: Vec<usize> = (0..n).map(|i| i % 2).collect();
        let (a, b) = (uniform(n, 0), uniform(n, 1));
        let parted: Vec<f64> = list.iter().zip(&a).map(|(l, z)| 10.0 * *l as f64 + 0.1 * z).collect();
        assert!((information(&list, &parted) - std::f64::consts::LN_2).abs() < 0.01);
        assert!(information(&list, &b) < 0.01);
    }
}
