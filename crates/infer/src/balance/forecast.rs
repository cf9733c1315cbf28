//! When the additive falls to the reserve, as quantiles of the passage of a Gaussian mixture.

use super::Window;
use super::gauss::phi;
use super::model::{drift_var, stretch_var};
use serde::{Deserialize, Serialize};

/// One component of what a forecast needs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DuePart {
    /// Probability.
    pub weight: f64,
    /// Means of: content above the reserve, L; use with distance, L/km; leak, L/day.
    pub mean: [f64; 3],
    /// Their covariance.
    pub cov: [[f64; 3]; 3],
    /// Variance of the relative use by missed refuellings, times the distance it is spread over, km.
    pub missed_var_km: f64,
}

/// All that a forecast needs of the posterior of one car.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outlook {
    /// Components; weights add up to 1.
    pub parts: Vec<DuePart>,
    /// Distance per day, km.
    pub km_per_day: f64,
    /// Its relative standard deviation.
    pub km_per_day_rel: f64,
}

/// Farthest distance that is looked at, km.
const FARTHEST_KM: f64 = 2e6;

impl Outlook {
    /// Keeps the `most` heaviest components and one that stands for the rest.
    #[must_use]
    pub fn thinned(mut self, most: usize) -> Self {
        self.parts.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        if self.parts.len() > most.max(1) {
            let rest = self.parts.split_off(most.max(1));
            let weight: f64 = rest.iter().map(|p| p.weight).sum();
            if weight > 0.0 {
                let mut mean = [0.0; 3];
                let mut cov = [[0.0; 3]; 3];
                let missed_var_km = rest.iter().map(|p| p.weight / weight * p.missed_var_km).sum();
                for p in &rest {
                    for (m, x) in mean.iter_mut().zip(&p.mean) {
                        *m += p.weight / weight * x;
                    }
                }
                for p in &rest {
                    for i in 0..3 {
                        for j in 0..3 {
                            cov[i][j] += p.weight / weight
                                * (p.cov[i][j] + (p.mean[i] - mean[i]) * (p.mean[j] - mean[j]));
                        }
                    }
                }
                self.parts.push(DuePart { weight, mean, cov, missed_var_km });
            }
        }
        self
    }

    /// Probability that the reserve is reached within `km` (or within `days` when `by_days`).
    ///
    /// Per component, content above the reserve minus use is a Gaussian: mean c - x u, u the use per unit of x,
    /// variance from content, use, leak, distance per day and the fuel of the stretch to come.
    fn reached(&self, x: f64, by_days: bool) -> f64 {
        let v = self.km_per_day.max(0.01);
        let rel = self.km_per_day_rel;
        let (km, days) = if by_days { (x * v, x) } else { (x, x / v) };
        let future = stretch_var(km) + drift_var(km) / 3.0;
        self.parts
            .iter()
            .map(|p| {
                let [c, q, l] = p.mean;
                let h = [1.0, -km, -days];
                let mean = c - q * km - l * days;
                let mut var = 0.0;
                for i in 0..3 {
                    for j in 0..3 {
                        var += h[i] * h[j] * p.cov[i][j];
                    }
                }
                // Distance per day moves the leak when counted by distance, and the dosing when counted by days.
                let moved = if by_days { q * km } else { l * days } * rel;
                var += (q * km).powi(2) * (future + p.missed_var_km / (km + 1000.0)) + moved * moved;
                p.weight * phi(-mean / var.max(1e-12).sqrt())
            })
            .sum()
    }

    fn window(&self, by_days: bool) -> Window {
        let farthest = if by_days { FARTHEST_KM / self.km_per_day.max(0.01) } else { FARTHEST_KM };
        // a first guess from the heaviest component
        let guess = self.parts.first().map_or(1.0, |p| {
            let v = self.km_per_day.max(0.01);
            let per = if by_days { p.mean[1] * v + p.mean[2] } else { p.mean[1] + p.mean[2] / v };
            (p.mean[0] / per.max(1e-9)).clamp(1.0, 0.5 * farthest)
        });
        let mut low_start = 0.0;
        let mut q = [0.0; 3];
        for (slot, level) in q.iter_mut().zip([0.1, 0.5, 0.9]) {
            let (mut low, mut f_low) = (low_start, self.reached(low_start, by_days) - level);
            if f_low >= 0.0 {
                *slot = low;
                continue;
            }
            let mut high = guess.max(low * 1.2 + 1.0);
            let mut f_high = self.reached(high, by_days) - level;
            while f_high < 0.0 && high < farthest {
                (low, f_low) = (high, f_high);
                high = (high * 1.7).min(farthest);
                f_high = self.reached(high, by_days) - level;
            }
            if f_high < 0.0 {
                *slot = farthest;
                low_start = farthest;
                continue;
            }
            // Illinois rule: regula falsi that halves the stale end (Dowell and Jarratt 1971).
            let mut side = 0;
            for _ in 0..40 {
                if high - low < 2e-3 * high + 0.01 {
                    break;
                }
                let x = (low * f_high - high * f_low) / (f_high - f_low);
                let x = if x > low && x < high { x } else { 0.5 * (low + high) };
                let f = self.reached(x, by_days) - level;
                if f.abs() < 1e-4 {
                    (low, high) = (x, x);
                    break;
                }
                if f < 0.0 {
                    (low, f_low) = (x, f);
                    if side < 0 {
                        f_high *= 0.5;
                    }
                    side = -1;
                } else {
                    (high, f_high) = (x, f);
                    if side > 0 {
                        f_low *= 0.5;
                    }
                    side = 1;
                }
            }
            *slot = 0.5 * (low + high);
            low_start = *slot;
        }
        Window { p10: q[0], p50: q[1], p90: q[2] }
    }

    /// Probability that the reserve is reached within so many days from now, 0 to 1.
    #[must_use]
    pub fn due_within_days(&self, days: f64) -> f64 {
        if days.is_nan() { 0.0 } else { self.reached(days.max(0.0), true).clamp(0.0, 1.0) }
    }

    /// Distance from now to the reserve, km. Zero when it is already reached.
    #[must_use]
    pub fn due_km(&self) -> Window {
        self.window(false)
    }

    /// Days from now to the reserve.
    #[must_use]
    pub fn due_days(&self) -> Window {
        self.window(true)
    }
}
