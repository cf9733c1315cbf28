//! Whether the answer's intervals hold what they promise, where the truth is known: ranks of the truth
//! among the posterior's draws and coverage of the intervals (simulation-based calibration: Talts, Betancourt,
//! Simpson, Vehtari and Gelman 2018).
//!
//! The truth comes from the demo's simulator, not from the estimator's own priors: a one-dimensional
//! solution with radial zones and constants of its own. So the ranks need not be even; they show how
//! much the model's errors cost.

use demo::batch::{Session, generate};
use facts::Knowledge;
use infer::assess::{Evidence, draws};
use recording::{Options, Recording, read_bytes};
use std::sync::atomic::{AtomicUsize, Ordering};

/// The figures whose calibration is judged.
pub const FIGURES: [&str; 4] =
    ["soot load, g/L", "ash load, g/L", "sensor at no flow, kPa", "standard pressure drop, kPa"];

/// One case, answered.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Name of the case.
    pub name: String,
    /// The true fault.
    pub fault: &'static str,
    /// What was recorded.
    pub session: Session,
    /// Form of the recording: `none`, `obd_11`, `obd_29`, `j1939` or `csv`.
    pub form: &'static str,
    /// The shown pressure never goes below zero (the sensor's doing or the bus's), and the zero lies below it.
    pub cut_off: bool,
    /// Truck or bus.
    pub heavy: bool,
    /// Two radial zones in the true filter.
    pub two_zones: bool,
    /// Readings or recording say something of soot.
    pub informative: bool,
    /// For each of [`FIGURES`]: truth, share of draws below it, and the 5, 50, 95 % quantiles.
    pub figures: [Figure; 4],
}

/// Truth and answer of one figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure {
    /// The truth.
    pub truth: f64,
    /// Share of the draws below the truth, 0 to 1.
    pub rank: f64,
    /// 5, 50 and 95 % quantiles of the answer.
    pub interval: [f64; 3],
}

fn figure(values: &[f64], weight: &[f64], truth: f64) -> Figure {
    let total: f64 = weight.iter().sum();
    let below: f64 = values.iter().zip(weight).filter(|(v, _)| **v < truth).map(|(_, w)| w).sum();
    let ties: f64 = values.iter().zip(weight).filter(|(v, _)| **v == truth).map(|(_, w)| w).sum();
    Figure {
        truth,
        rank: (below + 0.5 * ties) / total.max(1e-300),
        interval: infer::quasi::weighted_quantiles(values, weight, [0.05, 0.5, 0.95]),
    }
}

/// Makes the `index`-th case of `seed` and answers it. `session` overrides what is recorded.
#[must_use]
pub fn answer(seed: u64, index: usize, session: Option<Session>, knowledge: &Knowledge) -> Record {
    let made = generate(seed, index, session);
    let recordings: Vec<Option<Recording>> = made
        .case
        .recording
        .iter()
        .map(|row| {
            let (name, bytes) = made.files.iter().find(|f| f.0 == row.file)?;
            let options = Options { column_names: row.columns.clone(), ..Options::default() };
            Some(read_bytes(name, bytes, &options))
        })
        .collect();
    let d = draws(&Evidence { case: &made.case, recordings: &recordings, knowledge });
    let t = &made.truth;
    // J1939 knows nothing below zero.
    let shown = if t.form == "j1939" { t.zero_shown_kpa.max(0.0) } else { t.zero_shown_kpa };
    Record {
        name: made.name,
        fault: t.fault,
        session: t.session,
        form: t.form,
        cut_off: t.zero_kpa < 0.0 && (t.zero_cut_off || t.form == "j1939"),
        heavy: t.filter_volume_l > 5.0,
        two_zones: t.two_zones,
        informative: t.carries_information,
        figures: [
            figure(&d.soot, &d.weight, t.soot_load_g_per_l),
            figure(&d.ash, &d.weight, t.ash_load_g_per_l),
            figure(&d.zero, &d.weight, shown),
            figure(&d.standard, &d.weight, t.standard_pressure_drop_kpa),
        ],
    }
}

/// Answers `cases` cases of `seed` on all cores, in their order; `told` is called with the count done.
#[must_use]
pub fn run(seed: u64, cases: usize, session: Option<Session>, told: &(dyn Fn(usize) + Sync)) -> Vec<Record> {
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    let (next, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let mut out: Vec<(usize, Record)> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..workers)
            .map(|_| {
                scope.spawn(|| {
                    let mut mine = Vec::new();
                    loop {
                        let i = next.fetch_add(1, Ordering::Relaxed);
                        if i >= cases {
                            return mine;
                        }
                        mine.push((i, answer(seed, i, session, Knowledge::built_in())));
                        told(done.fetch_add(1, Ordering::Relaxed) + 1);
                    }
                })
            })
            .collect();
        handles.into_iter().flat_map(|h| h.join().unwrap_or_default()).collect()
    });
    out.sort_by_key(|o| o.0);
    out.into_iter().map(|o| o.1).collect()
}

/// How often the truth lies where it should.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coverage {
    /// Cases.
    pub cases: usize,
    /// Share with the truth inside the middle 50 %.
    pub half: f64,
    /// Share with the truth inside the middle 90 %.
    pub ninety: f64,
    /// Share with the truth below the 5 % quantile (the answer is too high).
    pub below: f64,
    /// Share with the truth above the 95 % quantile (the answer is too low).
    pub above: f64,
    /// Mean rank; 0.5 when the answer leans to neither side.
    pub mean_rank: f64,
    /// Probability of a distance from even ranks as large as this or larger, were they even (Kolmogorov's
    /// limit law, good from some dozens of cases).
    pub p_even: f64,
}

/// Standard error of a share `p` over `n` cases.
#[must_use]
pub fn share_error(p: f64, n: usize) -> f64 {
    (p * (1.0 - p) / (n.max(1) as f64)).sqrt()
}

/// Coverage of one figure; `None` without cases.
#[must_use]
pub fn coverage(ranks: &[f64]) -> Option<Coverage> {
    let n = ranks.len();
    if n == 0 {
        return None;
    }
    let share = |f: &dyn Fn(f64) -> bool| ranks.iter().filter(|r| f(**r)).count() as f64 / n as f64;
    let mut sorted = ranks.to_vec();
    sorted.sort_by(f64::total_cmp);
    let distance = sorted
        .iter()
        .enumerate()
        .map(|(i, r)| (r - i as f64 / n as f64).abs().max(((i + 1) as f64 / n as f64 - r).abs()))
        .fold(0.0, f64::max);
    let root = (n as f64).sqrt();
    let lambda = (root + 0.12 + 0.11 / root) * distance;
    let p_even: f64 = (1..=100)
        .map(|k| {
            let k = f64::from(k);
            2.0 * (-1.0_f64).powi(k as i32 - 1) * (-2.0 * k * k * lambda * lambda).exp()
        })
        .sum::<f64>()
        .clamp(0.0, 1.0);
    Some(Coverage {
        cases: n,
        half: share(&|r| (0.25..=0.75).contains(&r)),
        ninety: share(&|r| (0.05..=0.95).contains(&r)),
        below: share(&|r| r < 0.05),
        above: share(&|r| r > 0.95),
        mean_rank: ranks.iter().sum::<f64>() / n as f64,
        p_even: if lambda < 0.2 { 1.0 } else { p_even },
    })
}

/// Ranks of figure `k` of the records that `pick` takes.
#[must_use]
pub fn ranks(records: &[Record], k: usize, pick: &dyn Fn(&Record) -> bool) -> Vec<f64> {
    records.iter().filter(|r| pick(r)).filter_map(|r| Some(r.figures.get(k)?.rank)).collect()
}

/// Counts of ranks in `bins` equal bins.
#[must_use]
pub fn histogram(ranks: &[f64], bins: usize) -> Vec<f64> {
    let mut out = vec![0.0; bins];
    for r in ranks {
        let i = ((r * bins as f64) as usize).min(bins.saturating_sub(1));
        if let Some(b) = out.get_mut(i) {
            *b += 1.0;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_even_ranks_cover_what_they_should() {
        let even: Vec<f64> = (0..1000).map(|i| (f64::from(i) + 0.5) / 1000.0).collect();
        let c = coverage(&even).unwrap();
        assert!((c.half - 0.5).abs() < 0.002 && (c.ninety - 0.9).abs() < 0.002, "{c:?}");
        assert!((c.mean_rank - 0.5).abs() < 1e-9 && c.p_even > 0.99, "{c:?}");
        assert_eq!(histogram(&even, 20), vec![50.0; 20]);
    }

    #[test]
    fn analytic_uneven_ranks_are_noticed() {
        // Too narrow: the truth lies outside too often.
        let narrow: Vec<f64> = (0..500).map(|i| if i % 2 == 0 { 0.01 } else { 0.99 }).collect();
        let c = coverage(&narrow).unwrap();
        assert!(c.ninety == 0.0 && c.below == 0.5 && c.above == 0.5 && c.p_even < 1e-6, "{c:?}");
        // The 5 % point of Kolmogorov's law lies at 1.358 (tables, e.g. Smirnov 1948).
        let n = 400;
        let shift = 1.358 / 20.0;
        let moved: Vec<f64> =
            (0..n).map(|i| ((f64::from(i) + 0.5) / f64::from(n) * (1.0 - shift) + shift).min(1.0)).collect();
        let p = coverage(&moved).unwrap().p_even;
        assert!((0.02..0.08).contains(&p), "{p}");
        assert!(coverage(&[]).is_none());
    }

    #[test]
    fn analytic_rank_counts_what_lies_below() {
        let f = figure(&[1.0, 2.0, 3.0, 4.0], &[1.0; 4], 2.5);
        assert_eq!(f.rank, 0.5);
        assert_eq!(figure(&[1.0, 1.0], &[1.0, 3.0], 1.0).rank, 0.5);
    }
}
