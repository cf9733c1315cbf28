//! What earlier visits told of a car, as it enters the prior of the next: a median and a spread for every
//! coordinate (in [`Priors`](crate::prior::Priors)), and here how the coordinates belong together.
//!
//! A visit narrows sums far more than their parts: wall and soot, soot and the product of its cake. Margins
//! alone would count the same reading twice at the next visit, so the correlation goes along as a Gaussian
//! copula on the standardised coordinates.

use crate::prior::coordinate as at;
use facts::FaultId;
use nalgebra::{SMatrix, SVector};
use std::collections::BTreeMap;

type Square = SMatrix<f64, { at::COUNT }, { at::COUNT }>;
type Column = SVector<f64, { at::COUNT }>;

/// Standardised coordinates beyond this count as this: the copula of the middle says nothing of the tails.
const CLAMP: f64 = 3.0;

/// How the coordinates of the state belong together after earlier visits.
#[derive(Debug, Clone)]
pub struct Carried {
    mean: Column,
    sd: Column,
    /// Inverse of the correlation less the identity.
    less: Square,
    half_log_det: f64,
    correlation: Square,
    /// By how much earlier visits make a fault likelier or less likely.
    pub(crate) factor: BTreeMap<FaultId, f64>,
    /// What ln soot says of ln soot rate, and ln ash of ln ash growth: slope and what is left of the spread.
    pub(crate) rate: (f64, f64),
    pub(crate) growth: (f64, f64),
}

impl Carried {
    /// From medians, spreads and the correlation of all coordinates. `None` where the correlation is none.
    pub(crate) fn new(mean: [f64; at::COUNT], sd: [f64; at::COUNT], correlation: Square) -> Option<Self> {
        let ch = correlation.cholesky()?;
        let half_log_det = (0..at::COUNT).map(|i| ch.l_dirty()[(i, i)].ln()).sum();
        Some(Self {
            mean: mean.into(),
            sd: sd.into(),
            less: ch.inverse() - Square::identity(),
            half_log_det,
            correlation,
            factor: BTreeMap::new(),
            rate: (0.0, 0.0),
            growth: (0.0, 0.0),
        })
    }

    /// ln density of the coordinates together less the sum of those of each alone.
    pub(crate) fn log_together(&self, x: &[f64; at::COUNT]) -> f64 {
        let z = Column::from_fn(|i, _| ((x[i] - self.mean[i]) / self.sd[i]).clamp(-CLAMP, CLAMP));
        -0.5 * z.dot(&(self.less * z)) - self.half_log_det
    }

    /// Mean and covariance.
    pub(crate) fn gaussian(&self) -> (Column, Square) {
        let scale = Square::from_diagonal(&self.sd);
        (self.mean, scale * self.correlation * scale)
    }
}
