//! Pressure against flow, condensed: the few numbers of a recording or of typed readings that carry
//! everything the filter model can explain.
//!
//! At fixed deposits the model is exactly dP = z + A mu Q + B rho Q² (reference: dependence of viscous and
//! inertial loss, Konstandopoulos and Johnson, SAE 890405, re-derived). Rows are written in the basis
//! [1, x1, x1 tau, x2, x1 ln x1], where x1 and x2 are mu Q and rho Q² over their values at the standard
//! condition and tau = (T - 573 K)/100 K; the third column carries the slip law and temperature errors,
//! the fifth whatever shape the closed form leaves out. Coefficients are therefore kPa at the standard
//! condition.

use crate::assessment::{PressurePoint, Window};
use crate::burns;
use crate::conditions::{BelowZero, Conditions, FlowSource, STEP_S};
use nalgebra::{DMatrix, SMatrix, SVector};
use wallflow::gas::Gas;

/// Count of basis columns.
pub const K: usize = 5;
/// Temperature of the standard condition, K (300 degC).
pub const STANDARD_K: f64 = 573.15;

/// The standard condition and the gas.
#[derive(Debug, Clone, Copy)]
pub struct Standard {
    /// Exhaust mass flow, kg/s.
    pub flow: f64,
    /// mu Q at it, Pa m3.
    pub x1: f64,
    /// rho Q² at it, kg m3/s2.
    pub x2: f64,
    /// Ambient pressure, Pa.
    pub ambient_pa: f64,
    gas: Gas,
}

impl Standard {
    /// For an exhaust flow (kg/s) at 300 degC and the given ambient pressure (Pa).
    #[must_use]
    pub fn new(flow: f64, ambient_pa: f64) -> Self {
        let gas = Gas::exhaust();
        let (x1, x2) = terms(&gas, flow, STANDARD_K, 101_325.0);
        Self { flow, x1, x2, ambient_pa, gas }
    }

    /// The basis row at an exhaust flow (kg/s), gas temperature (K) and gauge pressure in the filter (kPa).
    #[must_use]
    pub fn row(&self, flow: f64, kelvin: f64, gauge_kpa: f64) -> [f64; K] {
        let p = self.ambient_pa + 1000.0 * gauge_kpa.clamp(-5.0, 80.0);
        let (x1, x2) = terms(&self.gas, flow.max(0.0), kelvin.clamp(230.0, 1400.0), p);
        let (x1, x2) = (x1 / self.x1, x2 / self.x2);
        let shape = if x1 > 1e-6 { x1 * x1.ln() } else { 0.0 };
        [1.0, x1, x1 * (kelvin - STANDARD_K) / 100.0, x2, shape]
    }
}

/// (mu Q, rho Q²) of the exhaust.
fn terms(gas: &Gas, flow: f64, kelvin: f64, pascal: f64) -> (f64, f64) {
    let rho = gas.density(pascal, kelvin);
    let q = flow / rho;
    (gas.viscosity(kelvin) * q, rho * q * q)
}

/// Whitened rows, condensed to a triangle: |R beta - b|² is what the data say about beta.
#[derive(Debug, Clone, Copy)]
pub struct Block {
    /// Triangle.
    pub r: SMatrix<f64, K, K>,
    /// Right side.
    pub b: SVector<f64, K>,
    /// Rows behind it.
    pub rows: usize,
}

/// One row: basis, shown kPa, standard deviation kPa.
pub type Row = ([f64; K], f64, f64);

impl Block {
    /// Condenses rows by QR.
    #[must_use]
    pub fn from_rows(rows: &[Row]) -> Self {
        let n = rows.len().max(K);
        let mut m = DMatrix::<f64>::zeros(n, K + 1);
        for (i, (x, y, sd)) in rows.iter().enumerate() {
            for (j, v) in x.iter().enumerate() {
                m[(i, j)] = v / sd;
            }
            m[(i, K)] = y / sd;
        }
        // The triangle of [X | y] holds R and Q'y at once.
        let r = m.qr().r();
        let mut out = Self { r: SMatrix::zeros(), b: SVector::zeros(), rows: rows.len() };
        for i in 0..K.min(r.nrows()) {
            for j in 0..K {
                out.r[(i, j)] = r[(i, j)];
            }
            out.b[i] = r[(i, K)];
        }
        out
    }
}

/// What one recording says of pressure against flow.
#[derive(Debug, Clone)]
pub struct Summary {
    /// Averaged points as rows.
    pub rows: Vec<Row>,
    /// Averaged points from before a burn inside the recording: another state of the filter.
    pub before_rows: Vec<Row>,
    /// For the report.
    pub points: Vec<PressurePoint>,
    /// Stretches and their use.
    pub windows: Vec<Window>,
    /// First-order time constant of the shown pressure behind the flow, s.
    pub time_constant_s: Option<f64>,
    /// How much of the pressure's movement the flow explains at that time constant, 0 to 1.
    pub explained: Option<f64>,
    /// Largest over smallest flow with the engine running.
    pub flow_range: f64,
    /// True when the pressure never left one value although the flow moved.
    pub constant: bool,
    /// Where the flow comes from.
    pub flow_source: Option<FlowSource>,
    /// True when a pressure under flow left the two counts around zero: below that, zero, soot and one
    /// count of the bus cannot be told apart (physics reference 3, vehicle bus reference trap 4).
    pub resolved: bool,
    /// Seconds of usable pressure with the engine running.
    pub usable_s: f64,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Use {
    Used,
    Regeneration,
    Dropout,
    EngineOff,
    Saturated,
    BeforeBurn,
}

impl Use {
    fn name(self) -> &'static str {
        match self {
            Use::Used => "used",
            Use::Regeneration => "regeneration",
            Use::Dropout => "dropout",
            Use::EngineOff => "engine_off",
            Use::Saturated => "saturated",
            Use::BeforeBurn => "before_burn",
        }
    }
}

/// No sensor in order is further off than this with nothing flowing, kPa (trade reference 3.1: 0.5 kPa is the
/// tightest limit in use).
const ANY_ZERO_KPA: f64 = 0.5;
/// Temperature in the filter above which a burn is taken to run when the controller says nothing, K
/// (480 degC: passive driving seldom exceeds it, active targets lie at 450 to 650 degC; from memory).
const BURN_K: f64 = 753.0;

fn uses(c: &Conditions, range_kpa: Option<f64>) -> Vec<Use> {
    let told = c.regeneration.iter().any(|r| r.is_finite());
    let n = c.len();
    let mut out: Vec<Use> = (0..n)
        .map(|i| {
            let (dp, flow, t) = (c.dp_kpa[i], c.flow_kg_per_s[i], c.filter_k[i]);
            let off = c.speed_rpm[i] < 200.0;
            if !dp.is_finite() || (!off && !flow.is_finite()) {
                Use::Dropout
            } else if off {
                Use::EngineOff
            } else if range_kpa.is_some_and(|r| dp.abs() >= 0.995 * r) {
                Use::Saturated
            } else if (told && c.regeneration[i] > 0.5) || (!told && t > BURN_K) {
                Use::Regeneration
            } else {
                Use::Used
            }
        })
        .collect();
    // After a burn the filter stays hot for a while and the cake is not yet at rest: leave out two minutes.
    let after = (120.0 / STEP_S) as usize;
    let mut left = 0;
    for u in &mut out {
        if *u == Use::Regeneration {
            left = after;
        } else if left > 0 {
            left -= 1;
            if *u == Use::Used {
                *u = Use::Regeneration;
            }
        }
    }
    // The filter as it stands is the one after the burn; what came before describes another state.
    if let Some(burn) = burns::parting(c) {
        for u in out.iter_mut().take(burn.last) {
            if *u == Use::Used {
                *u = Use::BeforeBurn;
            }
        }
    }
    // A sensor that drops out often shows exactly zero between values that are far from it.
    for (i, u) in out.iter_mut().enumerate() {
        let [Some(a), Some(b)] = [i.checked_sub(1), Some(i + 1)].map(|k| k.and_then(|k| c.dp_kpa.get(k)))
        else {
            continue;
        };
        if *u == Use::Used && c.dp_kpa[i] == 0.0 && a.abs().max(b.abs()) > 20.0 * c.dp_resolution_kpa {
            *u = Use::Dropout;
        }
    }
    out
}

/// Joins equal neighbours to windows of at least five seconds.
fn windows(uses: &[Use], recording: usize) -> Vec<Window> {
    let mut out: Vec<Window> = Vec::new();
    let mut start = 0;
    for i in 1..=uses.len() {
        if i == uses.len() || uses[i] != uses[start] {
            let (a, b) = (start as f64 * STEP_S, i as f64 * STEP_S);
            if b - a >= 5.0 {
                out.push(Window { recording, start_s: a, end_s: b, state: uses[start].name() });
            }
            start = i;
        }
    }
    out
}

/// First-order filter of `x` with time constant `tau` and shift by `lag` cells; gaps restart it.
fn delayed(x: &[f64], tau: f64, lag: usize) -> Vec<f64> {
    let k = if tau > 0.0 { 1.0 - (-STEP_S / tau).exp() } else { 1.0 };
    let mut state = f64::NAN;
    let mut out = vec![f64::NAN; x.len()];
    for i in 0..x.len() {
        let v = if i >= lag { x[i - lag] } else { f64::NAN };
        state = if !v.is_finite() {
            f64::NAN
        } else if state.is_finite() {
            state + k * (v - state)
        } else {
            v
        };
        out[i] = state;
    }
    out
}

/// Least squares of y on [1, a, b]; returns explained share.
fn explained(y: &[f64], a: &[f64], b: &[f64], used: &[usize]) -> f64 {
    let mut m = SMatrix::<f64, 3, 3>::zeros();
    let mut v = SVector::<f64, 3>::zeros();
    let (mut sy, mut syy, mut n) = (0.0, 0.0, 0.0);
    for &i in used {
        if !(a[i].is_finite() && b[i].is_finite()) {
            continue;
        }
        let x = SVector::<f64, 3>::new(1.0, a[i], b[i]);
        m += x * x.transpose();
        v += x * y[i];
        sy += y[i];
        syy += y[i] * y[i];
        n += 1.0;
    }
    let total = syy - sy * sy / f64::max(n, 1.0);
    if n < 20.0 || total <= 0.0 {
        return 0.0;
    }
    for d in 0..3 {
        m[(d, d)] *= 1.0 + 1e-9;
    }
    m.cholesky().map_or(0.0, |c| {
        let beta = c.solve(&v);
        (1.0 - (syy - beta.dot(&v)) / total).clamp(0.0, 1.0)
    })
}

const TIME_CONSTANTS: [f64; 10] = [0.0, 0.5, 1.0, 1.6, 2.5, 4.0, 7.0, 12.0, 20.0, 40.0];
const LAGS: [usize; 4] = [0, 1, 2, 4];

/// Condenses one recording. `number` is its place in the case, `before` its role.
#[must_use]
pub fn summarise(
    c: &Conditions,
    standard: &Standard,
    range_kpa: Option<f64>,
    number: usize,
    before: bool,
) -> Summary {
    let uses = uses(c, range_kpa);
    let n = c.len();
    let fallback_k = if c.filter_sensors == 0 { Some(500.0) } else { None };
    let basis: Vec<[f64; K]> = (0..n)
        .map(|i| {
            let (t, flow, dp) = (c.filter_k[i], c.flow_kg_per_s[i], c.dp_kpa[i]);
            let t = if t.is_finite() { Some(t) } else { fallback_k };
            // Back pressure of the silencer: a rough share of the reading; it only sets the density.
            let gauge = if dp.is_finite() { dp.abs() * 0.8 } else { 0.0 };
            match t {
                Some(t) if flow.is_finite() => standard.row(flow, t, gauge),
                _ => [f64::NAN; K],
            }
        })
        .collect();
    let used: Vec<usize> = (0..n).filter(|&i| uses[i] == Use::Used && basis[i][1].is_finite()).collect();
    let column = |j: usize| basis.iter().map(|r| r[j]).collect::<Vec<f64>>();
    let (x1, x2) = (column(1), column(3));
    let flows: Vec<f64> = used.iter().map(|&i| c.flow_kg_per_s[i]).collect();
    let flow_range = {
        let mut f = flows.clone();
        f.sort_by(f64::total_cmp);
        if f.len() < 10 { 1.0 } else { f[f.len() * 95 / 100] / f[f.len() * 5 / 100].max(1e-5) }
    };

    let mut best = (0.0, 0.0, 0_usize);
    let mut lagged = (x1.clone(), x2.clone());
    if used.len() >= 60 && flow_range > 1.3 {
        // Every fourth cell is enough to compare; the filter itself runs over all.
        let thin: Vec<usize> = used.iter().copied().step_by((used.len() / 1500).max(1)).collect();
        for tau in TIME_CONSTANTS {
            for lag in LAGS {
                let (a, b) = (delayed(&x1, tau, lag), delayed(&x2, tau, lag));
                let e = explained(&c.dp_kpa, &a, &b, &thin);
                if e > best.0 + 1e-3 {
                    best = (e, tau, lag);
                    lagged = (a, b);
                }
            }
        }
    }
    let moved = best.0 > 0.05;
    let (tau, lag) = if moved { (best.1, best.2) } else { (0.0, 0) };
    let (ct, cs) = (delayed(&column(2), tau, lag), delayed(&column(4), tau, lag));

    // A reading that is cut at zero says only that the true value does not lie above it.
    let cut = |v: &[f64]| {
        c.dp_below_zero != BelowZero::Shown && v.iter().filter(|x| **x == 0.0).count() * 2 > v.len()
    };
    let mut rows = Vec::new();
    let mut before_rows = Vec::new();
    let mut points = Vec::new();
    let mut silent = Vec::new();
    let average = |members: &[usize], before: bool| -> Option<(Row, PressurePoint, bool)> {
        let m = members.len() as f64;
        let mean = |f: &dyn Fn(usize) -> f64| members.iter().map(|&i| f(i)).sum::<f64>() / m;
        let x = [1.0, mean(&|i| lagged.0[i]), mean(&|i| ct[i]), mean(&|i| lagged.1[i]), mean(&|i| cs[i])];
        if x.iter().any(|v| !v.is_finite()) {
            return None;
        }
        // Inside a bin the pressure still follows the flow: take that slope out before judging the noise.
        let slope_of = |i: usize| {
            if x[1] > 1e-6 { c.dp_kpa[i] * x[1] / lagged.0[i].max(0.2 * x[1]) } else { c.dp_kpa[i] }
        };
        let mut levelled: Vec<f64> = members.iter().map(|&i| slope_of(i)).collect();
        levelled.sort_by(f64::total_cmp);
        let q = |p: f64| levelled[((levelled.len() - 1) as f64 * p) as usize];
        let spread = ((q(0.84) - q(0.16)) / 2.0).max(0.0);
        let centre = q(0.5);
        // Tukey's fence: what lies far outside is a glitch and is left out of the mean.
        let kept: Vec<f64> = members
            .iter()
            .map(|&i| (slope_of(i), c.dp_kpa[i]))
            .filter(|(l, _)| (l - centre).abs() <= 4.0 * spread + c.dp_resolution_kpa)
            .map(|(_, v)| v)
            .collect();
        if kept.is_empty() {
            return None;
        }
        let silent = cut(&kept);
        let y = kept.iter().sum::<f64>() / kept.len() as f64;
        // Neighbouring cells repeat each other: about one independent value in four seconds.
        let independent = (m * STEP_S / 4.0).max(1.0);
        let rounding = c.dp_resolution_kpa / 12_f64.sqrt();
        let rounding = if spread < c.dp_resolution_kpa { rounding } else { rounding / independent.sqrt() };
        let model = 0.015 * (y.abs() + 0.1);
        let sd = (spread * spread / independent + rounding * rounding + model * model).sqrt().max(0.003);
        let point = PressurePoint {
            flow_g_per_s: 1000.0 * mean(&|i| c.flow_kg_per_s[i]),
            temperature_degc: mean(&|i| if c.filter_k[i].is_finite() { c.filter_k[i] } else { 500.0 })
                - 273.15,
            shown_kpa: y,
            sigma_kpa: sd,
            recording: Some(number),
            before,
        };
        Some(((x, y, sd), point, silent))
    };
    bins(c, &used, &lagged.0, &mut |members: &[usize]| {
        if let Some((row, point, cut)) = average(members, before) {
            rows.push(row);
            points.push(point);
            silent.push(cut);
        }
    });

    // Key on, engine off: the zero itself.
    let off: Vec<f64> = settled_engine_off(c, &uses);
    let speaks_elsewhere = points.iter().any(|p| p.shown_kpa > 5.0 * c.dp_resolution_kpa);
    if speaks_elsewhere {
        let mut keep = silent.iter().map(|s| !s);
        rows.retain(|_| keep.next().unwrap_or(true));
        let mut keep = silent.iter().map(|s| !s);
        points.retain(|_| keep.next().unwrap_or(true));
    }
    if off.len() >= 6 && !(cut(&off) && speaks_elsewhere) {
        let m = off.iter().sum::<f64>() / off.len() as f64;
        let sd = (off.iter().map(|v| (v - m).powi(2)).sum::<f64>() / off.len() as f64).sqrt();
        let n_ind = (off.len() as f64 * STEP_S / 4.0).max(1.0);
        let sd = (sd * sd / n_ind + c.dp_resolution_kpa.powi(2) / 12.0 + 0.015_f64.powi(2)).sqrt();
        rows.push(([1.0, 0.0, 0.0, 0.0, 0.0], m, sd));
        points.push(PressurePoint {
            flow_g_per_s: 0.0,
            temperature_degc: median_or(&c.filter_k, 293.0) - 273.15,
            shown_kpa: m,
            sigma_kpa: sd,
            recording: Some(number),
            before,
        });
    }

    let wider = birge_ratio(&rows);
    rows.iter_mut().for_each(|r| r.2 *= wider);
    points.iter_mut().for_each(|p| p.sigma_kpa *= wider);

    let constant = used.len() >= 60 && flow_range > 1.5 && c.dp_constant_share > 0.995;
    // At one flow alone a pressure that a zero could make up tells nothing of the filter.
    let zero_known = flow_range > 1.5 || points.iter().any(|p| p.flow_g_per_s == 0.0);
    let resolved = points.iter().any(|p| {
        let shown = p.shown_kpa.abs();
        p.flow_g_per_s > 0.0 && shown > 2.4 * c.dp_resolution_kpa && (zero_known || shown > ANY_ZERO_KPA)
    });
    // Before a burn the filter was another one. The flow's delay was fitted after it; the hose is the same.
    let earlier: Vec<usize> =
        (0..n).filter(|&i| uses[i] == Use::BeforeBurn && basis[i][1].is_finite()).collect();
    if earlier.len() as f64 * STEP_S > 60.0 {
        bins(c, &earlier, &lagged.0, &mut |members: &[usize]| {
            if let Some((row, point, _)) = average(members, true) {
                before_rows.push(row);
                points.push(point);
            }
        });
        let wider = birge_ratio(&before_rows);
        before_rows.iter_mut().for_each(|r| r.2 *= wider);
    }
    Summary {
        rows,
        before_rows,
        points,
        windows: windows(&uses, number),
        time_constant_s: (moved && best.0 > 0.3).then_some(tau + lag as f64 * STEP_S),
        explained: (used.len() >= 60 && flow_range > 1.3).then_some(best.0),
        flow_range,
        constant,
        flow_source: c.flow_source,
        resolved,
        usable_s: used.len() as f64 * STEP_S,
    }
}

/// By how much rows scatter more about their own best curve than they claim (Birge 1932), at least 1. No
/// state of a filter gives two pressures at one flow and temperature: what no curve explains, such as a
/// burn nobody reported or a condition that was not at rest, is noise to every hypothesis.
fn birge_ratio(rows: &[Row]) -> f64 {
    if rows.len() < K + 4 {
        return 1.0;
    }
    let x = DMatrix::from_fn(rows.len(), K, |i, j| rows[i].0[j] / rows[i].2);
    let y = nalgebra::DVector::from_fn(rows.len(), |i, _| rows[i].1 / rows[i].2);
    let Ok(best) = x.clone().svd(true, true).solve(&y, 1e-6) else { return 1.0 };
    let left = (&x * best - y).norm_squared() / (rows.len() - K) as f64;
    left.sqrt().max(1.0)
}

fn median_or(values: &[f64], fallback: f64) -> f64 {
    crate::conditions::median(values).unwrap_or(fallback)
}

/// Pressure cells with the engine off for at least three seconds (the gas column comes to rest).
fn settled_engine_off(c: &Conditions, uses: &[Use]) -> Vec<f64> {
    let wait = (3.0 / STEP_S) as usize;
    (wait..uses.len())
        .filter(|&i| uses[i - wait..=i].iter().all(|u| *u == Use::EngineOff))
        .map(|i| c.dp_kpa[i])
        .collect()
}

/// Groups cells by flow (nine classes of equal count) within three temperature classes.
fn bins(c: &Conditions, used: &[usize], x1: &[f64], take: &mut dyn FnMut(&[usize])) {
    let mut by_t: Vec<usize> = used.iter().copied().filter(|&i| x1[i].is_finite()).collect();
    if by_t.is_empty() {
        return;
    }
    by_t.sort_by(|&a, &b| c.filter_k[a].total_cmp(&c.filter_k[b]).then(a.cmp(&b)));
    let warm = |i: usize| c.filter_k[by_t[i]];
    let span = warm(by_t.len() - 1) - warm(0);
    let classes = if span.is_finite() && span > 60.0 && by_t.len() > 300 { 3 } else { 1 };
    for part in by_t.chunks(by_t.len().div_ceil(classes)) {
        let mut by_flow = part.to_vec();
        by_flow.sort_by(|&a, &b| x1[a].total_cmp(&x1[b]).then(a.cmp(&b)));
        let per = by_flow.len().div_ceil(9).max(8);
        for group in by_flow.chunks(per) {
            take(group);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_block_keeps_the_sum_of_squares() {
        let s = Standard::new(0.05, 101_325.0);
        let rows: Vec<Row> = (1..=12)
            .map(|i| {
                let f = 0.01 * f64::from(i);
                (s.row(f, 420.0 + 20.0 * f64::from(i), 1.0), 0.3 * f64::from(i), 0.05)
            })
            .collect();
        let b = Block::from_rows(&rows);
        let sum = |beta: [f64; K]| -> f64 {
            rows.iter()
                .map(|(x, y, sd)| ((x.iter().zip(beta).map(|(a, b)| a * b).sum::<f64>() - y) / sd).powi(2))
                .sum()
        };
        let short = |beta: [f64; K]| (b.r * SVector::from(beta) - b.b).norm_squared();
        let (p, q) = ([0.1, 1.0, 0.2, 0.3, 0.0], [0.0, 2.0, -0.1, 0.1, 0.05]);
        // Equal up to one constant: the part that no coefficient can explain.
        assert!(((sum(p) - sum(q)) - (short(p) - short(q))).abs() < 1e-6);
    }
}
