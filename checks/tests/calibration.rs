//! A seeded, reduced form of the calibration report (`examples/calibration.rs`, 600 cases).

use checks::calibration::{FIGURES, coverage, ranks, run, share_error};

/// Few enough for a minute on two cores, enough to notice intervals that have fallen apart.
const CASES: usize = 40;

#[test]
fn property_intervals_hold_most_truths_under_model_mismatch() {
    let records = run(90_210, CASES, None, &|_| {});
    assert_eq!(records.len(), CASES);
    for (k, figure) in FIGURES.iter().enumerate() {
        let Some(c) = coverage(&ranks(&records, k, &|_| true)) else { panic!("no cases") };
        println!("{figure}: {c:?}");
        // Three standard errors of 40 cases below what a calibrated answer covers, and 3 points for what the
        // report admits. Both ends: an interval that always holds the truth says nothing.
        let low = 0.9 - 3.0 * share_error(0.9, CASES) - 0.03;
        assert!(c.ninety >= low, "{figure}: {:.2} inside 90 %", c.ninety);
        assert!(c.half >= 0.5 - 3.0 * share_error(0.5, CASES) - 0.03, "{figure}: {:.2} inside 50 %", c.half);
        assert!(c.half <= 0.5 + 3.0 * share_error(0.5, CASES) + 0.05, "{figure}: {:.2} inside 50 %", c.half);
        assert!((c.mean_rank - 0.5).abs() < 0.16, "{figure}: mean rank {:.2}", c.mean_rank);
    }
}
