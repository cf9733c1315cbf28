//! Quasi-random points and one-dimensional Gaussian mixtures: the estimator's only source of variety, the
//! same on every run.

use statrs::distribution::{ContinuousCDF, Normal};

/// Sobol points with Owen's scrambling (Owen 1998; generator of `sobol_burley`): evenly spread in every
/// projection also in fifteen dimensions, where recurrences of irrational steps leave stripes. Points lie
/// in (0, 1). Each coordinate of at most 256; after 65536 points the sequence goes on under a new scrambling.
#[derive(Debug, Clone, Copy, Default)]
pub struct Points;

impl Points {
    /// Coordinate `j` of point `i`.
    #[must_use]
    pub fn at(&self, i: usize, j: usize) -> f64 {
        let (i, round) = ((i & 0xffff) as u32, (i >> 16) as u32);
        // A step of 2^-24; half a step keeps clear of the ends.
        f64::from(sobol_burley::sample(i, (j % 256) as u32, round)) + 0.5 / f64::from(1 << 24)
    }
}

/// Quantile of the standard normal distribution.
#[must_use]
pub fn normal_quantile(p: f64) -> f64 {
    // Mean 0 and deviation 1 are always accepted by the constructor.
    Normal::new(0.0, 1.0).map_or(0.0, |n| n.inverse_cdf(p))
}

/// Probability below `z` of the standard normal distribution.
#[must_use]
pub fn normal_probability(z: f64) -> f64 {
    Normal::new(0.0, 1.0).map_or(0.5, |n| n.cdf(z))
}

/// Logarithm of the standard normal density at `z`, scaled to deviation `sd`.
#[must_use]
pub fn normal_log_density(x: f64, mean: f64, sd: f64) -> f64 {
    let z = (x - mean) / sd;
    -0.5 * z * z - sd.ln() - 0.918_938_533_204_672_7
}

/// A mixture of Gaussians on one coordinate.
#[derive(Debug, Clone, PartialEq)]
pub struct Mixture {
    /// (weight, mean, standard deviation); weights add up to 1.
    parts: Vec<(f64, f64, f64)>,
    /// Logarithm of weight over deviation and the root of two pi, for each part.
    height: Vec<f64>,
}

impl Mixture {
    /// One Gaussian.
    #[must_use]
    pub fn normal(mean: f64, sd: f64) -> Self {
        Self::of(vec![(1.0, mean, sd)])
    }

    /// Several, with weights that are normalised here.
    #[must_use]
    pub fn of(parts: Vec<(f64, f64, f64)>) -> Self {
        let sum: f64 = parts.iter().map(|p| p.0).sum();
        let parts: Vec<_> = parts.into_iter().map(|(w, m, s)| (w / sum, m, s)).collect();
        let height = parts.iter().map(|&(w, m, s)| w.ln() + normal_log_density(m, m, s)).collect();
        Self { parts, height }
    }

    /// The parts.
    #[must_use]
    pub fn parts(&self) -> &[(f64, f64, f64)] {
        &self.parts
    }

    /// Mean.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.parts.iter().map(|p| p.0 * p.1).sum()
    }

    /// Variance.
    #[must_use]
    pub fn variance(&self) -> f64 {
        let mean = self.mean();
        self.parts.iter().map(|p| p.0 * (p.2 * p.2 + (p.1 - mean).powi(2))).sum()
    }

    /// Equal-weight union of several mixtures: covers whatever any of them covers.
    #[must_use]
    pub fn union(of: &[&Mixture]) -> Self {
        let share = 1.0 / of.len() as f64;
        Self::of(of.iter().flat_map(|m| m.parts.iter().map(move |&(w, a, s)| (w * share, a, s))).collect())
    }

    /// Log density of each part at a point.
    fn logs(&self, x: f64) -> impl Iterator<Item = f64> + Clone + '_ {
        self.parts.iter().zip(&self.height).map(move |(&(_, m, s), h)| {
            let z = (x - m) / s;
            h - 0.5 * z * z
        })
    }

    /// Log density.
    #[must_use]
    pub fn log_density(&self, x: f64) -> f64 {
        let terms = self.logs(x);
        if self.parts.len() == 1 {
            return terms.sum();
        }
        let top = terms.clone().fold(f64::NEG_INFINITY, f64::max);
        if top == f64::NEG_INFINITY { top } else { top + terms.map(|t| (t - top).exp()).sum::<f64>().ln() }
    }

    /// Density.
    #[must_use]
    pub fn density(&self, x: f64) -> f64 {
        self.logs(x).map(f64::exp).sum()
    }

    /// The point that a uniform `u` in (0, 1) picks: the part by stratum, then its quantile.
    #[must_use]
    pub fn pick(&self, u: f64) -> f64 {
        let mut left = u;
        for (k, &(w, m, s)) in self.parts.iter().enumerate() {
            if left < w || k + 1 == self.parts.len() {
                return m + s * normal_quantile((left / w).clamp(1e-9, 1.0 - 1e-9));
            }
            left -= w;
        }
        0.0
    }
}

/// Weighted quantiles of `values`; the two slices have one length, weights are not negative.
#[must_use]
pub fn weighted_quantiles<const N: usize>(values: &[f64], weights: &[f64], at: [f64; N]) -> [f64; N] {
    let mut order: Vec<usize> =
        (0..values.len()).filter(|&i| weights[i] > 0.0 && values[i].is_finite()).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
    let total: f64 = order.iter().map(|&i| weights[i]).sum();
    let mut out = [f64::NAN; N];
    if order.is_empty() {
        return out;
    }
    for (o, p) in out.iter_mut().zip(at) {
        let target = p * total;
        let (mut sum, mut last) = (0.0, values[order[0]]);
        *o = values[order[order.len() - 1]];
        for &i in &order {
            let next = sum + weights[i];
            if next >= target {
                let share = if weights[i] > 0.0 { (target - sum) / weights[i] } else { 1.0 };
                *o = last + (values[i] - last) * share;
                break;
            }
            sum = next;
            last = values[i];
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_points_fill_the_square_evenly() {
        let p = Points;
        let inside = (0..4000).filter(|&i| p.at(i, 0) < 0.25 && p.at(i, 1) < 0.5).count();
        assert!((inside as f64 / 4000.0 - 0.125).abs() < 0.004, "{inside}");
    }

    #[test]
    fn analytic_mixture_moments() {
        let m = Mixture::of(vec![(1.0, -1.0, 0.5), (3.0, 2.0, 0.2)]);
        let n = 20_000;
        let mean = (0..n).map(|i| m.pick((i as f64 + 0.5) / n as f64)).sum::<f64>() / n as f64;
        assert!((mean - 1.25).abs() < 1e-3, "{mean}");
    }

    #[test]
    fn analytic_weighted_quantiles() {
        let v: Vec<f64> = (0..1001).map(f64::from).collect();
        let w = vec![1.0; 1001];
        let [a, b] = weighted_quantiles(&v, &w, [0.05, 0.5]);
        assert!((a - 50.0).abs() < 1.5 && (b - 500.0).abs() < 1.5, "{a} {b}");
    }
}
