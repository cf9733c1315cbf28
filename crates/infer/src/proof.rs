//! Did the work help: viscous resistance after over before, at equal conditions.

use crate::assessment::{Estimate, Proof, ProofVerdict, Text};
use crate::summary::{Block, K, Row};
use nalgebra::{SMatrix, SVector};

/// A fall below this ratio counts as improved (guard band of 10 %: flow and temperature of two visits do
/// not agree better, physics reference 3).
pub const GUARD: f64 = 0.9;

/// Mean and variance of the viscous coefficient with wide priors on zero and inertial part.
fn viscous(rows: &[Row], zero_sd: f64) -> Option<(f64, f64)> {
    if rows.iter().filter(|r| r.0[1] > 0.0).count() == 0 {
        return None;
    }
    let block = Block::from_rows(rows);
    let mut precision = block.r.transpose() * block.r;
    let mut right = block.r.transpose() * block.b;
    // [zero, viscous, slope, inertial, shape]: the slope of a cake is known within its slip law.
    let prior: [(f64, f64); K] = [(0.0, zero_sd), (0.0, 20.0), (0.0, 0.4), (0.5, 0.5), (0.0, 0.1)];
    for (i, (m, sd)) in prior.into_iter().enumerate() {
        precision[(i, i)] += 1.0 / (sd * sd);
        right[i] += m / (sd * sd);
    }
    let ch: nalgebra::Cholesky<f64, nalgebra::Const<K>> = SMatrix::cholesky(precision)?;
    let mean: SVector<f64, K> = ch.solve(&right);
    Some((mean[1], ch.inverse()[(1, 1)]))
}

/// Compares two states. `same_instrument` is false when before and after were read with different
/// instruments or plumbing.
#[must_use]
pub fn compare(before: &[Row], after: &[Row], same_instrument: bool) -> Option<Proof> {
    let cannot = |id| Proof {
        ratio: Estimate { p05: 0.0, p50: 1.0, p95: 10.0, told: false },
        improved_probability: 0.5,
        verdict: ProofVerdict::CannotTell,
        reason: Text::new(id),
    };
    let (Some((b, vb)), Some((a, va))) = (viscous(before, 0.15), viscous(after, 0.15)) else {
        return if before.is_empty() && after.is_empty() { None } else { Some(cannot("proof-one-side")) };
    };
    if !same_instrument {
        return Some(cannot("proof-other-instrument"));
    }
    if b < 2.0 * vb.sqrt() {
        return Some(cannot("proof-before-unclear"));
    }
    let ratio = (a / b).max(0.01);
    // Flow and temperature errors of the same car partly cancel; 5 % each is left.
    let relative = (va / a.max(0.02).powi(2) + vb / (b * b) + 0.05_f64.powi(2)).sqrt();
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
