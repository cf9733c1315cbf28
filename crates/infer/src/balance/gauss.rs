//! A small Gaussian belief over the balance of one car: exact linear updates, truncation, products.
//!
//! The state holds content and counters (L), what they share (fuel, dose, gain ... as factors near 1) and
//! running sums. Every update is the exact rule for a joint Gaussian except two, which keep mean and
//! covariance only: conditioning on a half-space, and a product of factors (first order about the means).

use statrs::function::erf::erfc;

/// Number of state variables.
pub(super) const N: usize = 21;
/// Content of the reservoir, L.
pub(super) const CONTENT: usize = 0;
/// The controller's figure of additive used since it was reset, L.
pub(super) const USED: usize = 1;
/// The controller's figure of additive left, L.
pub(super) const LEFT: usize = 2;
/// Fuel per km over its prior mean.
pub(super) const FUEL_RATE: usize = 3;
/// True dose over set dose while refuelling is recognised.
pub(super) const DOSE: usize = 4;
/// Fuel as the controller counts it over fuel burnt.
pub(super) const GAIN: usize = 5;
/// Leak, L per day.
pub(super) const LEAK: usize = 6;
/// Capacity, L.
pub(super) const CAPACITY: usize = 7;
/// Density of the concentrate over its prior mean.
pub(super) const DENSITY: usize = 8;
/// Mass on the scale that is neither concentrate nor stated tare, kg.
pub(super) const TARE: usize = 9;
/// Set dose over its prior mean (1 exactly when the set dose is given).
pub(super) const SET: usize = 10;
/// Consumption as the trip computer shows it over the true one.
pub(super) const TRIP: usize = 11;
/// Share of refuelling that the controller recognises.
pub(super) const RECOGNISED: usize = 12;
/// Content at the beginning of the window plus all poured since, L.
pub(super) const POURED: usize = 13;
/// Fuel burnt since the beginning of the window, L.
pub(super) const BURNT: usize = 14;
/// Additive that the controller counted since the beginning of the window, L.
pub(super) const COUNTED: usize = 15;
/// Fuel of the stretch at hand, L; also a scratch variable.
pub(super) const SCRATCH: usize = 16;
/// Additive dosed more or less than the mean share of recognised refuellings in the stretch at hand, L.
pub(super) const LUCK: usize = 17;
/// First of the sums of fuel for stated fuel figures, L.
pub(super) const SLOT: usize = 18;
/// Number of such sums that can run at once.
pub(super) const SLOTS: usize = N - SLOT;

/// One Gaussian component.
#[derive(Debug, Clone)]
pub(super) struct Gauss {
    /// Means.
    pub m: [f64; N],
    /// Covariance.
    pub p: [[f64; N]; N],
    /// Natural logarithm of the weight.
    pub log_weight: f64,
    /// Odometer at which the controller's distance since the fill began, when known.
    pub reset_at_km: Option<f64>,
    /// True when the controller adds an entry to its figure, false when it sets its figure to the entry.
    pub adds: bool,
    /// True while the reservoir is known to hold nothing.
    pub dry: bool,
}

/// Standard normal distribution function.
pub(super) fn phi(x: f64) -> f64 {
    0.5 * erfc(-x * std::f64::consts::FRAC_1_SQRT_2)
}

/// Logarithm of the normal density with variance `var` at distance `d` from its mean.
pub(super) fn log_normal(d: f64, var: f64) -> f64 {
    let var = var.max(1e-18);
    -0.5 * (d * d / var + var.ln() + std::f64::consts::TAU.ln())
}

/// ln(e^a + e^b), for minus infinity too.
pub(super) fn log_add(a: f64, b: f64) -> f64 {
    let (hi, lo) = if a >= b { (a, b) } else { (b, a) };
    if hi == f64::NEG_INFINITY { hi } else { hi + (lo - hi).exp().ln_1p() }
}

impl Gauss {
    /// A point belief: all zero, weight one.
    pub(super) fn new() -> Self {
        Self { m: [0.0; N], p: [[0.0; N]; N], log_weight: 0.0, reset_at_km: None, adds: false, dry: false }
    }

    /// Variance of one variable, never negative.
    pub(super) fn var(&self, i: usize) -> f64 {
        self.p[i][i].max(0.0)
    }

    /// Replaces variable `i` by an independent one.
    pub(super) fn set(&mut self, i: usize, mean: f64, var: f64) {
        self.m[i] = mean;
        for j in 0..N {
            self.p[i][j] = 0.0;
            self.p[j][i] = 0.0;
        }
        self.p[i][i] = var;
    }

    /// Adds independent noise.
    pub(super) fn noise(&mut self, i: usize, var: f64) {
        self.p[i][i] += var;
    }

    /// x_t += shift + sum of c_j x_j. A coefficient on `t` itself is allowed.
    pub(super) fn add(&mut self, t: usize, shift: f64, terms: &[(usize, f64)]) {
        let mut dm = shift;
        let mut row = [0.0; N];
        for &(j, c) in terms {
            dm += c * self.m[j];
            for (r, p) in row.iter_mut().zip(&self.p[j]) {
                *r += c * p;
            }
        }
        // Var(x_t + y) = Var x_t + 2 Cov(x_t, y) + Var y.
        let var_y: f64 = terms.iter().map(|&(j, c)| c * row[j]).sum();
        let own = self.p[t][t] + 2.0 * row[t] + var_y;
        self.m[t] += dm;
        for (i, r) in row.iter().enumerate() {
            self.p[t][i] += r;
            self.p[i][t] = self.p[t][i];
        }
        self.p[t][t] = own.max(0.0);
    }

    /// x_t += scale times the product of the variables `factors`, first order about their means.
    pub(super) fn add_product(&mut self, t: usize, scale: f64, factors: &[usize]) {
        let mut terms = [(0usize, 0.0); 5];
        let n = factors.len().min(terms.len());
        let product = factors[..n].iter().map(|&f| self.m[f]).product::<f64>() * scale;
        for (k, term) in terms[..n].iter_mut().enumerate() {
            let others: f64 =
                factors[..n].iter().enumerate().filter(|(l, _)| *l != k).map(|(_, &f)| self.m[f]).product();
            *term = (factors[k], scale * others);
        }
        let linear: f64 = terms[..n].iter().map(|&(j, c)| c * self.m[j]).sum();
        self.add(t, product - linear, &terms[..n]);
    }

    /// Makes variable `t` a copy of a linear form.
    pub(super) fn assign(&mut self, t: usize, shift: f64, terms: &[(usize, f64)]) {
        self.set(t, 0.0, 0.0);
        self.add(t, shift, terms);
    }

    /// Mean and variance of a linear form.
    pub(super) fn form(&self, h: &[(usize, f64)]) -> (f64, f64) {
        let mean = h.iter().map(|&(i, c)| c * self.m[i]).sum();
        let var: f64 = h
            .iter()
            .map(|&(i, ci)| h.iter().map(|&(j, cj)| ci * cj * self.p[i][j]).sum::<f64>())
            .sum::<f64>();
        (mean, var.max(0.0))
    }

    fn gain(&self, h: &[(usize, f64)]) -> [f64; N] {
        let mut k = [0.0; N];
        for &(i, c) in h {
            for (g, p) in k.iter_mut().zip(&self.p[i]) {
                *g += c * p;
            }
        }
        k
    }

    /// Moves the mean by `k dm` and the covariance by `k k' dp`.
    fn shift(&mut self, k: &[f64; N], dm: f64, dp: f64) {
        for i in 0..N {
            self.m[i] += k[i] * dm;
            let kd = k[i] * dp;
            for (p, kj) in self.p[i].iter_mut().zip(k) {
                *p += kd * kj;
            }
        }
    }

    /// Takes in y = h x + noise; the weight takes the density of y.
    pub(super) fn observe(&mut self, h: &[(usize, f64)], y: f64, var: f64) {
        let (mean, spread) = self.form(h);
        let total = (spread + var).max(1e-14);
        self.log_weight += log_normal(y - mean, total);
        let k = self.gain(h);
        self.shift(&k, (y - mean) / total, -1.0 / total);
    }

    /// Conditions on h x >= bound; the weight takes the probability of that.
    pub(super) fn keep_above(&mut self, h: &[(usize, f64)], bound: f64) {
        let (mean, var) = self.form(h);
        let sd = var.sqrt();
        if sd < 1e-9 {
            if mean < bound - 1e-9 {
                self.log_weight = f64::NEG_INFINITY;
            }
            return;
        }
        let alpha = (bound - mean) / sd;
        if alpha < -8.0 {
            return;
        }
        if alpha > 25.0 {
            self.log_weight = f64::NEG_INFINITY;
            return;
        }
        let tail = phi(-alpha);
        let hazard = (-0.5 * alpha * alpha).exp() / (std::f64::consts::TAU.sqrt() * tail);
        self.log_weight += tail.ln();
        let new_var = (1.0 + alpha * hazard - hazard * hazard).clamp(0.0, 1.0) * var;
        let k = self.gain(h);
        self.shift(&k, hazard / sd, (new_var - var) / (var * var));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn belief() -> Gauss {
        let mut g = Gauss::new();
        g.set(CONTENT, 1.0, 0.04);
        g.set(FUEL_RATE, 1.0, 0.01);
        g.set(DOSE, 1.0, 0.0036);
        g
    }

    #[test]
    fn analytic_observation_is_the_precision_weighted_mean() {
        let mut g = belief();
        g.observe(&[(CONTENT, 1.0)], 1.4, 0.04);
        assert!((g.m[CONTENT] - 1.2).abs() < 1e-12);
        assert!((g.var(CONTENT) - 0.02).abs() < 1e-12);
        // density of 1.4 under N(1, 0.08): -(2 - 2.525729 + 1.837877) / 2
        assert!((g.log_weight - (-0.656_074)).abs() < 1e-6, "{}", g.log_weight);
    }

    #[test]
    fn analytic_truncation_of_a_standard_normal_at_its_mean() {
        let mut g = Gauss::new();
        g.set(CONTENT, 0.0, 1.0);
        g.keep_above(&[(CONTENT, 1.0)], 0.0);
        // half-normal: mean sqrt(2/pi), variance 1 - 2/pi (Johnson, Kotz, Balakrishnan 1994)
        assert!((g.m[CONTENT] - 0.797_884_56).abs() < 1e-7);
        assert!((g.var(CONTENT) - 0.363_380_23).abs() < 1e-7);
        assert!((g.log_weight - 0.5f64.ln()).abs() < 1e-12);
    }

    #[test]
    fn analytic_product_keeps_first_order_variance() {
        let mut g = belief();
        g.add_product(CONTENT, -0.5, &[FUEL_RATE, DOSE]);
        assert!((g.m[CONTENT] - 0.5).abs() < 1e-12);
        assert!((g.var(CONTENT) - (0.04 + 0.25 * 0.0136)).abs() < 1e-12);
    }
}
