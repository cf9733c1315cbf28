//! Estimates with their interval, and the quasi-random points by which uncertainty is carried through.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use crate::error::{Result, finite, not_negative};

/// Median and 90 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// 5 % quantile.
    pub p05: f64,
    /// Median.
    pub p50: f64,
    /// 95 % quantile.
    pub p95: f64,
}

impl Estimate {
    /// From samples of equal weight; `None` without samples or with one that is not a number.
    pub fn of(mut samples: Vec<f64>) -> Option<Self> {
        if samples.iter().any(|x| x.is_nan()) {
            return None;
        }
        samples.sort_by(f64::total_cmp);
        Some(Self {
            p05: quantile(&samples, 0.05)?,
            p50: quantile(&samples, 0.5)?,
            p95: quantile(&samples, 0.95)?,
        })
    }

    /// All three multiplied.
    pub fn times(self, factor: f64) -> Self {
        Self { p05: self.p05 * factor, p50: self.p50 * factor, p95: self.p95 * factor }
    }
}

/// Quantile of sorted samples, linear between them.
fn quantile(sorted: &[f64], q: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let at = q * last as f64;
    let (low, high) = (sorted.get(at.floor() as usize)?, sorted.get(at.ceil() as usize)?);
    Some(low + (high - low) * at.fract())
}

/// A figure with its standard uncertainty, in the unit its name says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Uncertain {
    /// Best figure.
    pub value: f64,
    /// Standard uncertainty in the same unit.
    pub standard_uncertainty: f64,
}

impl Uncertain {
    /// A figure with its standard uncertainty.
    pub fn new(value: f64, standard_uncertainty: f64) -> Self {
        Self { value, standard_uncertainty }
    }

    /// A figure known without uncertainty.
    pub fn exact(value: f64) -> Self {
        Self::new(value, 0.0)
    }

    pub(crate) fn checked(self, what: &'static str, unit: &'static str) -> Result<Self> {
        finite(what, unit, self.value)?;
        not_negative("standard uncertainty", unit, self.standard_uncertainty)?;
        Ok(self)
    }

    /// The figure at a standard normal deviate, kept above zero by a log-normal of the same relative spread.
    pub(crate) fn positive_at(self, z: f64) -> f64 {
        if self.value > 0.0 {
            let relative = (self.standard_uncertainty / self.value).min(2.0);
            let log_sd = (1.0 + relative * relative).ln().sqrt();
            self.value * (z * log_sd).exp()
        } else {
            self.value
        }
    }
}

/// Points of an additive recurrence in the unit cube (Roberts 2018, the generalised golden ratio; from memory).
///
/// The same points every time: no seed. `dimensions` up to about ten.
pub(crate) fn quasi_points(count: usize, dimensions: usize) -> Vec<Vec<f64>> {
    // root of x^(d+1) = x + 1 by the contracting iteration x <- (1 + x)^(1/(d+1))
    let mut root = 1.5f64;
    for _ in 0..60 {
        root = (1.0 + root).powf(1.0 / (dimensions as f64 + 1.0));
    }
    (1..=count)
        .map(|n| (1..=dimensions).map(|i| (0.5 + n as f64 * root.powi(-(i as i32))).fract()).collect())
        .collect()
}

/// Standard normal deviate of a share, kept within 4 standard deviations.
pub(crate) fn deviate(share: f64) -> f64 {
    Normal::standard().inverse_cdf(share.clamp(1e-9, 1.0 - 1e-9)).clamp(-4.0, 4.0)
}
