//! How good are answers where the truth is known?
//!
//! Every figure is a *proper score* or stands beside one, so that neither boasting (intervals too narrow)
//! nor hiding (intervals too wide) pays. The scores of one kind of answer say little alone: [`Table`] prints
//! them beside baselines that looked at less.

use std::fmt;

/// The nominal content of an interval.
pub const NOMINAL: f64 = 0.90;

/// Probabilities below this are counted as this, so that one miss does not decide a mean of logarithms.
pub const FLOOR: f64 = 1e-4;

/// Median and 90 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// 5 % quantile.
    pub p05: f64,
    /// Median.
    pub p50: f64,
    /// 95 % quantile.
    pub p95: f64,
}

impl Interval {
    /// True when the truth lies inside, ends included.
    #[must_use]
    pub fn covers(&self, truth: f64) -> bool {
        (self.p05..=self.p95).contains(&truth)
    }

    /// Winkler's interval score in the unit of the quantity; smaller is better.
    ///
    /// # Equation
    /// width + (2/alpha) × distance of the truth from the interval, alpha = 0.1.
    ///
    /// # References
    /// Winkler, J. Am. Stat. Assoc. 67 (1972) 187; Gneiting and Raftery, J. Am. Stat. Assoc. 102 (2007) 359,
    /// equation 43 (both from memory).
    #[must_use]
    pub fn winkler(&self, truth: f64) -> f64 {
        let outside = (self.p05 - truth).max(truth - self.p95).max(0.0);
        (self.p95 - self.p05) + 2.0 / (1.0 - NOMINAL) * outside
    }
}

/// What an assessment said, reduced to what is scored.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Soot load, g/L.
    pub soot_g_per_l: Interval,
    /// Whether the soot load was told, not withheld.
    pub soot_told: bool,
    /// Standard pressure drop, kPa.
    pub standard_pressure_drop_kpa: Interval,
    /// Marginal probability of each fault by identifier, `none` included; need not add up to 1.
    pub faults: Vec<(String, f64)>,
}

impl Answer {
    /// Marginal probability of a fault, 0 if it is not listed.
    #[must_use]
    pub fn probability(&self, fault: &str) -> f64 {
        self.faults.iter().find(|(id, _)| id == fault).map_or(0.0, |(_, p)| *p)
    }

    /// Place of a fault in the ranking, from 1. Ties count against it; not listed = last.
    #[must_use]
    pub fn rank(&self, fault: &str) -> usize {
        let p = self.probability(fault);
        let others = self.faults.iter().filter(|(id, _)| id != fault);
        1 + others.filter(|(_, q)| *q >= p).count()
    }
}

/// What was true.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// Soot load, g/L.
    pub soot_g_per_l: f64,
    /// Standard pressure drop, kPa.
    pub standard_pressure_drop_kpa: f64,
    /// Faults present; empty = none.
    pub faults: Vec<String>,
    /// Whether the readings and recordings say anything about soot; unknown where not stated.
    pub carries_information: Option<bool>,
}

impl Truth {
    /// The identifiers a perfect answer would put first.
    fn wanted(&self) -> Vec<&str> {
        if self.faults.is_empty() { vec!["none"] } else { self.faults.iter().map(String::as_str).collect() }
    }
}

/// Scores over a batch of cases.
#[derive(Debug, Clone, PartialEq)]
pub struct Scores {
    /// How many cases.
    pub cases: usize,
    /// Median absolute error of the soot median, g/L.
    pub soot_median_error: f64,
    /// Share of soot truths inside the 90 % interval.
    pub soot_coverage: f64,
    /// Mean Winkler score of the soot interval, g/L.
    pub soot_winkler: f64,
    /// Median relative error of the standard pressure drop.
    pub pressure_drop_error: f64,
    /// Share of pressure drop truths inside the 90 % interval.
    pub pressure_drop_coverage: f64,
    /// Share of true faults (or none) ranked first. With several faults every one of them may stand first.
    pub fault_first: f64,
    /// Share ranked among the first three.
    pub fault_in_three: f64,
    /// Mean natural logarithm of the marginal probability of the true fault (or none).
    pub fault_log: f64,
    /// Cases that were told although they carry nothing, and cases known to carry nothing.
    pub told_wrongly: (usize, usize),
    /// Cases that were withheld although they carry something, and cases known to carry something.
    pub withheld_wrongly: (usize, usize),
}

/// Scores answers against truths. `None` for an empty batch.
///
/// # Example
/// ```
/// use checks::scoring::{Answer, Interval, Truth, score};
/// let interval = Interval { p05: 1.0, p50: 2.0, p95: 4.0 };
/// let answer = Answer {
///     soot_g_per_l: interval,
///     soot_told: true,
///     standard_pressure_drop_kpa: interval,
///     faults: vec![("none".into(), 0.6), ("ash_full".into(), 0.4)],
/// };
/// let truth = Truth {
///     soot_g_per_l: 4.1,
///     standard_pressure_drop_kpa: 2.0,
///     faults: vec!["ash_full".into()],
///     carries_information: Some(true),
/// };
/// let s = score(&[(answer, truth)]).ok_or("empty")?;
/// assert!((s.soot_winkler - 5.0).abs() < 1e-9);
/// assert_eq!((s.fault_first, s.fault_in_three), (0.0, 1.0));
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn score(batch: &[(Answer, Truth)]) -> Option<Scores> {
    let share = |good: &dyn Fn(&Answer, &Truth) -> bool| {
        batch.iter().filter(|(a, t)| good(a, t)).count() as f64 / batch.len() as f64
    };
    let mean = |of: &dyn Fn(&Answer, &Truth) -> f64| {
        batch.iter().map(|(a, t)| of(a, t)).sum::<f64>() / batch.len() as f64
    };
    // Several faults: the one that stands best for ranks, the mean of them for the logarithm.
    let rank = |a: &Answer, t: &Truth| t.wanted().iter().map(|f| a.rank(f)).min().unwrap_or(usize::MAX);
    let log = |a: &Answer, t: &Truth| {
        let wanted = t.wanted();
        wanted.iter().map(|f| a.probability(f).max(FLOOR).ln()).sum::<f64>() / wanted.len() as f64
    };
    let counted = |carries: bool, told: bool| {
        let known = || batch.iter().filter(move |(_, t)| t.carries_information == Some(carries));
        (known().filter(|(a, _)| a.soot_told == told).count(), known().count())
    };
    Some(Scores {
        cases: batch.len(),
        soot_median_error: median(
            batch.iter().map(|(a, t)| (a.soot_g_per_l.p50 - t.soot_g_per_l).abs()).collect(),
        )?,
        soot_coverage: share(&|a, t| a.soot_g_per_l.covers(t.soot_g_per_l)),
        soot_winkler: mean(&|a, t| a.soot_g_per_l.winkler(t.soot_g_per_l)),
        pressure_drop_error: median(
            batch
                .iter()
                .map(|(a, t)| (a.standard_pressure_drop_kpa.p50 / t.standard_pressure_drop_kpa - 1.0).abs())
                .collect(),
        )?,
        pressure_drop_coverage: share(&|a, t| {
            a.standard_pressure_drop_kpa.covers(t.standard_pressure_drop_kpa)
        }),
        fault_first: share(&|a, t| rank(a, t) == 1),
        fault_in_three: share(&|a, t| rank(a, t) <= 3),
        fault_log: mean(&log),
        told_wrongly: counted(false, true),
        withheld_wrongly: counted(true, false),
    })
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let upper = *values.get(values.len() / 2)?;
    let lower = *values.get((values.len() - 1) / 2)?;
    Some((lower + upper) / 2.0)
}

/// Scores of several kinds of answer to the same batch, one column each.
#[derive(Debug, Clone, Default)]
pub struct Table {
    columns: Vec<(String, Scores)>,
}

impl Table {
    /// Adds a column.
    pub fn add(&mut self, name: impl Into<String>, scores: Scores) {
        self.columns.push((name.into(), scores));
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        type Row = (&'static str, fn(&Scores) -> String);
        let rows: [Row; 11] = [
            ("cases", |s| s.cases.to_string()),
            ("soot: Winkler 90 % score, g/L", |s| format!("{:.2}", s.soot_winkler)),
            ("soot: coverage of the 90 % interval", |s| format!("{:.0} %", 100.0 * s.soot_coverage)),
            ("soot: median absolute error, g/L", |s| format!("{:.2}", s.soot_median_error)),
            ("standard pressure drop: median error", |s| format!("{:.1} %", 100.0 * s.pressure_drop_error)),
            ("standard pressure drop: coverage", |s| format!("{:.0} %", 100.0 * s.pressure_drop_coverage)),
            ("fault: ranked first", |s| format!("{:.0} %", 100.0 * s.fault_first)),
            ("fault: in the first three", |s| format!("{:.0} %", 100.0 * s.fault_in_three)),
            ("fault: mean log probability", |s| format!("{:.2}", s.fault_log)),
            ("told, though nothing was there", |s| format!("{} of {}", s.told_wrongly.0, s.told_wrongly.1)),
            ("withheld, though something was", |s| {
                format!("{} of {}", s.withheld_wrongly.0, s.withheld_wrongly.1)
            }),
        ];
        write!(f, "{:<38}", "")?;
        for (name, _) in &self.columns {
            write!(f, " {name:>16}")?;
        }
        for (name, value) in rows {
            write!(f, "\n{name:<38}")?;
            for (_, scores) in &self.columns {
                write!(f, " {:>16}", value(scores))?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(faults: &[(&str, f64)]) -> Answer {
        let interval = Interval { p05: 1.0, p50: 2.0, p95: 3.0 };
        Answer {
            soot_g_per_l: interval,
            soot_told: true,
            standard_pressure_drop_kpa: interval,
            faults: faults.iter().map(|(id, p)| ((*id).to_owned(), *p)).collect(),
        }
    }

    fn truth(soot: f64, faults: &[&str], carries: bool) -> Truth {
        Truth {
            soot_g_per_l: soot,
            standard_pressure_drop_kpa: 2.5,
            faults: faults.iter().map(|f| (*f).to_owned()).collect(),
            carries_information: Some(carries),
        }
    }

    #[test]
    fn analytic_interval_score_counts_distance_twenty_times() {
        let i = Interval { p05: 1.0, p50: 2.0, p95: 3.0 };
        assert!((i.winkler(1.5) - 2.0).abs() < 1e-12);
        assert!((i.winkler(3.0) - 2.0).abs() < 1e-12, "an end belongs to the interval");
        assert!((i.winkler(4.0) - 22.0).abs() < 1e-9);
        assert!((i.winkler(0.0) - 22.0).abs() < 1e-9);
    }

    #[test]
    fn analytic_honest_interval_of_a_known_law_scores_best() {
        // Truth uniform on 0 to 1: the best 90 % interval is the central one, and both a narrower and a wider
        // one score worse.
        let truths: Vec<f64> = (0..1000).map(|i| (f64::from(i) + 0.5) / 1000.0).collect();
        let mean = |low: f64, high: f64| {
            let i = Interval { p05: low, p50: 0.5, p95: high };
            truths.iter().map(|t| i.winkler(*t)).sum::<f64>() / 1000.0
        };
        let honest = mean(0.05, 0.95);
        assert!((honest - 0.95).abs() < 1e-3, "{honest}");
        assert!(mean(0.15, 0.85) > honest && mean(0.0, 1.0) > honest);
    }

    #[test]
    fn regress_ties_count_against_the_true_fault() {
        let a = answer(&[("none", 0.4), ("ash_full", 0.4), ("zero_error", 0.1)]);
        assert_eq!(a.rank("ash_full"), 2);
        assert_eq!(a.rank("none"), 2);
        assert_eq!(a.rank("hoses_swapped"), 4, "not listed stands behind all listed");
    }

    #[test]
    fn analytic_batch_of_two() {
        let batch = [
            (answer(&[("none", 0.8), ("ash_full", 0.2)]), truth(2.5, &[], true)),
            (
                answer(&[("none", 0.5), ("ash_full", 0.3), ("zero_error", 0.2)]),
                truth(4.0, &["ash_full"], false),
            ),
        ];
        let s = score(&batch).expect("two cases");
        assert!((s.soot_winkler - 12.0).abs() < 1e-9);
        assert!((s.soot_coverage - 0.5).abs() < 1e-12);
        assert!((s.soot_median_error - 1.25).abs() < 1e-12);
        assert!((s.pressure_drop_error - 0.2).abs() < 1e-12);
        assert!((s.fault_first - 0.5).abs() < 1e-12);
        assert!((s.fault_in_three - 1.0).abs() < 1e-12);
        assert!((s.fault_log - (0.8f64.ln() + 0.3f64.ln()) / 2.0).abs() < 1e-12);
        assert_eq!((s.told_wrongly, s.withheld_wrongly), ((1, 1), (0, 1)));
        assert!(score(&[]).is_none());
    }

    #[test]
    fn regress_a_miss_is_floored() {
        let batch = [(answer(&[("none", 1.0)]), truth(2.0, &["ash_full"], true))];
        let s = score(&batch).expect("one case");
        assert!((s.fault_log - FLOOR.ln()).abs() < 1e-12);
    }
}
