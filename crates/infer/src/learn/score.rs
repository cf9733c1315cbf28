//! How good one's own diagnoses were: Brier score, logarithmic score, reliability.

use super::ClosedJob;
use facts::FaultId;
use serde::Serialize;
use std::collections::BTreeSet;

/// Probabilities below this count as this, so that one miss does not decide a mean of logarithms.
pub const FLOOR: f64 = 1e-4;

/// Bins of a reliability plot, of equal width.
pub const BINS: usize = 5;

/// Quantile of the normal distribution for a 90 % interval.
const Z90: f64 = 1.644_853_626_951_472_2;

/// One bin: how often came true what was said with about this probability.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bin {
    /// Lower end of the probabilities said.
    pub from: f64,
    /// Upper end.
    pub to: f64,
    /// Statements in it.
    pub count: usize,
    /// Of these, how many came true.
    pub true_count: usize,
    /// Mean probability said.
    pub mean_said: f64,
    /// Share that came true.
    pub share: f64,
    /// Lower end of the 90 % interval of the share.
    pub p05: f64,
    /// Upper end.
    pub p95: f64,
}

/// Scores over closed jobs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Scores {
    /// Jobs scored: those with proof, not come back, with what was said before the work.
    pub jobs: usize,
    /// Mean Brier score over fault sets; 0 = perfect, 2 = certain of something else.
    pub brier: f64,
    /// Mean natural logarithm of the probability of what was there; 0 = perfect.
    pub log: f64,
    /// Share of jobs in which the leading fault set was what was there.
    pub first: f64,
    /// The same among the first three.
    pub in_three: f64,
    /// Reliability of the leading fault set, one statement a job.
    pub leading: Vec<Bin>,
    /// Reliability of single faults, one statement a job and fault that was said with 1 % or more.
    pub faults: Vec<Bin>,
}

/// Scores jobs. `None` where none can be scored.
///
/// # Equations
/// Brier: Σ (p - o)² over the fault sets said and *any other*, o = 1 for what was there. Log: ln of the probability of
/// what was there, of *any other* where it was not said, at least [`FLOOR`]. Intervals: Wilson's score interval, 90 %.
///
/// # References
/// Brier, Monthly Weather Review 78 (1950) 1; Wilson, J. Am. Stat. Assoc. 22 (1927) 209; Gneiting and Raftery, J. Am.
/// Stat. Assoc. 102 (2007) 359 (all from memory).
#[must_use]
pub fn scores(jobs: &[ClosedJob]) -> Option<Scores> {
    let mut out = Scores {
        jobs: 0,
        brier: 0.0,
        log: 0.0,
        first: 0.0,
        in_three: 0.0,
        leading: Vec::new(),
        faults: Vec::new(),
    };
    let (mut leading, mut single) = (Vec::new(), Vec::new());
    for job in jobs {
        if job.said.is_empty() || job.proof.trim().is_empty() || job.came_back == Some(true) {
            continue;
        }
        let truth: BTreeSet<FaultId> = job.confirmed.iter().copied().collect();
        let is_truth = |said: &[FaultId]| said.iter().copied().collect::<BTreeSet<_>>() == truth;
        let rest = (1.0 - job.said.iter().map(|s| s.p).sum::<f64>()).max(0.0);
        let hit = job.said.iter().find(|s| is_truth(&s.faults));
        let square = |p: f64, there: bool| (p - f64::from(u8::from(there))).powi(2);
        out.brier += job.said.iter().map(|s| square(s.p, is_truth(&s.faults))).sum::<f64>()
            + square(rest, hit.is_none());
        out.log += hit.map_or(rest, |s| s.p).max(FLOOR).ln();
        // Ties count against the truth.
        let rank = hit.map_or(usize::MAX, |h| {
            1 + job.said.iter().filter(|s| !is_truth(&s.faults) && s.p >= h.p).count()
        });
        out.first += f64::from(u8::from(rank == 1));
        out.in_three += f64::from(u8::from(rank <= 3));
        if let Some(top) = job.said.iter().max_by(|a, b| a.p.total_cmp(&b.p)) {
            leading.push((top.p, is_truth(&top.faults)));
        }
        for &f in FaultId::ALL {
            let p: f64 = job.said.iter().filter(|s| s.faults.contains(&f)).map(|s| s.p).sum();
            if p >= 0.01 {
                single.push((p, truth.contains(&f)));
            }
        }
        out.jobs += 1;
    }
    if out.jobs == 0 {
        return None;
    }
    let n = out.jobs as f64;
    for mean in [&mut out.brier, &mut out.log, &mut out.first, &mut out.in_three] {
        *mean /= n;
    }
    out.leading = bins(&leading);
    out.faults = bins(&single);
    Some(out)
}

/// Bins that hold at least one statement.
fn bins(said: &[(f64, bool)]) -> Vec<Bin> {
    let of = |p: f64| ((p * BINS as f64) as usize).min(BINS - 1);
    (0..BINS)
        .filter_map(|b| {
            let inside: Vec<_> = said.iter().filter(|(p, _)| of(*p) == b).collect();
            let count = inside.len();
            let true_count = inside.iter().filter(|(_, there)| *there).count();
            let (p05, p95) = wilson(true_count, count)?;
            Some(Bin {
                from: b as f64 / BINS as f64,
                to: (b + 1) as f64 / BINS as f64,
                count,
                true_count,
                mean_said: inside.iter().map(|(p, _)| p).sum::<f64>() / count as f64,
                share: true_count as f64 / count as f64,
                p05,
                p95,
            })
        })
        .collect()
}

/// Wilson's score interval, 90 %. `None` for no trial.
///
/// # Equation
/// (k + z²/2 ± z √(k (n - k) / n + z²/4)) / (n + z²), z = 1.645.
#[must_use]
pub fn wilson(k: usize, n: usize) -> Option<(f64, f64)> {
    if n == 0 {
        return None;
    }
    let (k, n, z2) = (k as f64, n as f64, Z90 * Z90);
    let half = Z90 * (k * (n - k) / n + z2 / 4.0).sqrt();
    let at = |side: f64| ((k + z2 / 2.0 + side * half) / (n + z2)).clamp(0.0, 1.0);
    Some((at(-1.0), at(1.0)))
}
