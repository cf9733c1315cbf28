//! Did the work help: viscous resistance after over before, at equal conditions.

use crate::assessment::{Estimate, Proof, ProofVerdict, Text};
use crate::summary::{Block, K, Row};
use nalgebra::{SMatrix, SVector};

/// A fall below this ratio counts as improved (guard band of 5 %: what flow and temperature of two runs of one
/// car with one sensor do not repeat; physics reference 3 gives 5 % for either alone, much of which cancels).
pub const GUARD: f64 = 0.95;

/// Flow and temperature errors of the same car partly cancel between two runs; this share is left.
const LEFT: f64 = 0.04;

/// Unknowns of both states: one zero and one inertial part, for each state viscous part, its slope and shape.
const BOTH: usize = 8;

/// Viscous coefficients before and after with their covariance, from one zero and one inertial part of the
/// same sensor and filter.
fn viscous(before: &[Row], after: &[Row]) -> Option<([f64; 2], [[f64; 2]; 2])> {
    let flows = |rows: &[Row]| rows.iter().any(|r| r.0[1] > 0.0);
    if !flows(before) || !flows(after) {
        return None;
    }
    // [zero, inertial, viscous, slope, shape before, the same after]; the slope of a cake is known within its
    // slip law.
    let prior: [(f64, f64); BOTH] =
        [(0.0, 0.4), (0.5, 0.6), (0.0, 30.0), (0.0, 0.4), (0.0, 0.1), (0.0, 30.0), (0.0, 0.4), (0.0, 0.1)];
    let mut precision = SMatrix::<f64, BOTH, BOTH>::zeros();
    let mut right = SVector::<f64, BOTH>::zeros();
    for (rows, at) in [(before, 2), (after, 5)] {
        let block = Block::from_rows(rows);
        let place: [usize; K] = [0, at, at + 1, 1, at + 2];
        let mut design = SMatrix::<f64, K, BOTH>::zeros();
        for (k, p) in place.into_iter().enumerate() {
            design.set_column(p, &block.r.column(k));
        }
        precision += design.transpose() * design;
        right += design.transpose() * block.b;
    }
    for (i, (m, sd)) in prior.into_iter().enumerate() {
        precision[(i, i)] += 1.0 / (sd * sd);
        right[i] += m / (sd * sd);
    }
    let ch = precision.cholesky()?;
    let mean = ch.solve(&right);
    let cov = ch.inverse();
    Some(([mean[2], mean[5]], [[cov[(2, 2)], cov[(2, 5)]], [cov[(5, 2)], cov[(5, 5)]]]))
}

/// Minutes after a burn in which the filter is still hot and the cake not at rest: readings taken then compare
/// nothing (trade reference 7.5).
pub(crate) const SETTLE_MIN: f64 = 10.0;

/// No comparison, and why.
pub(crate) fn refused(id: &'static str) -> Proof {
    Proof {
        ratio: Estimate { p05: 0.0, p50: 1.0, p95: 10.0, told: false },
        improved_probability: 0.5,
        regeneration_complete: None,
        verdict: ProofVerdict::CannotTell,
        reason: Text::new(id),
    }
}

/// Compares two states. `same_instrument` is false when before and after were read with different
/// instruments or plumbing.
#[must_use]
pub fn compare(before: &[Row], after: &[Row], same_instrument: bool) -> Option<Proof> {
    let cannot = refused;
    let Some(([b, a], cov)) = viscous(before, after) else {
        return if before.is_empty() && after.is_empty() { None } else { Some(cannot("proof-one-side")) };
    };
    if !same_instrument {
        return Some(cannot("proof-other-instrument"));
    }
    if b < 2.0 * cov[0][0].sqrt() {
        return Some(cannot("proof-before-unclear"));
    }
    let ratio = (a / b).max(0.01);
    // ln ratio by the law of propagation, the covariance of the shared zero and inertial part included.
    let (da, db) = (1.0 / a.max(0.02), 1.0 / b);
    let variance = da * da * cov[1][1] + db * db * cov[0][0] - 2.0 * da * db * cov[0][1];
    let relative = (variance.max(0.0) + LEFT * LEFT).sqrt();
    let at = |z: f64| (ratio.ln() + z * relative).exp();
    let below = |limit: f64| crate::quasi::normal_probability((limit.ln() - ratio.ln()) / relative);
    let improved = below(GUARD);
    let worse = 1.0 - below(1.0 / GUARD);
    let verdict = if relative > 0.6 {
        ProofVerdict::CannotTell
    } else if improved > 0.95 {
        ProofVerdict::Improved
    } else if worse > 0.95 {
        ProofVerdict::Worse
    } else {
        ProofVerdict::NoProvenChange
    };
    Some(Proof {
        ratio: Estimate { p05: at(-1.645), p50: ratio, p95: at(1.645), told: relative < 0.6 },
        improved_probability: improved,
        regeneration_complete: None,
        verdict,
        reason: Text::new(match verdict {
            ProofVerdict::Improved => "proof-improved",
            ProofVerdict::Worse => "proof-worse",
            ProofVerdict::NoProvenChange => "proof-no-change",
            ProofVerdict::CannotTell => "proof-too-wide",
        })
        .number("before", b, 2)
        .number("after", a, 2)
        .number("ratio", ratio, 2),
    })
}
