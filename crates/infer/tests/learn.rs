//! Learning from closed jobs: order, repetition, bounds; counts by hand.
#![allow(clippy::unwrap_used)] // helpers of tests

use facts::{FaultId, Knowledge};
use infer::learn::{
    ClosedJob, Doubt, Ledger, NotCounted, PRIOR_WORTH, Said, Tally, count, learn, scores, updated, wilson,
};
use proptest::prelude::*;
use std::collections::BTreeMap;

const NOW: &str = "2026-11-25T10:00:00Z";

fn job(id: &str, confirmed: &[FaultId], observed: &[(&str, bool)]) -> ClosedJob {
    ClosedJob {
        id: id.into(),
        closed: "2026-11-02".into(),
        confirmed: confirmed.to_vec(),
        proof: "dose test".into(),
        came_back: None,
        observed: observed.iter().map(|(o, y)| ((*o).to_owned(), *y)).collect(),
        said: Vec::new(),
    }
}

fn counted(jobs: &[ClosedJob]) -> infer::learn::WorkshopCounts {
    count(jobs, Knowledge::built_in(), NOW, "test").0
}

#[test]
fn analytic_counts_by_hand() {
    use FaultId::{AdditiveEmpty, AshFull};
    let mut back = job("d", &[AshFull], &[("dtc_ash_limit", true)]);
    back.came_back = Some(true);
    let mut held = job("e", &[AshFull], &[("dtc_ash_limit", false)]);
    held.came_back = Some(false);
    let mut unproven = job("f", &[AshFull], &[("dtc_ash_limit", true)]);
    unproven.proof.clear();
    let jobs = [
        job("a", &[AdditiveEmpty], &[("reservoir_below_minimum", true)]),
        job("b", &[AdditiveEmpty, AshFull], &[("reservoir_below_minimum", false)]),
        job("c", &[], &[("oil_level_above_max", false)]),
        back,
        held,
        unproven,
    ];
    let (c, left_out) = count(&jobs, Knowledge::built_in(), NOW, "test");
    assert_eq!(c.jobs, 4);
    let confirmed: Vec<(&str, u32)> = c.confirmed.iter().map(|(f, n)| (f.as_str(), *n)).collect();
    assert_eq!(confirmed, [("additive_empty", 2), ("ash_full", 2), ("none", 1)]);
    // Two faults at once say nothing of which brought the observation about.
    assert_eq!(c.observed["additive_empty"]["reservoir_below_minimum"], Tally { yes: 1, no: 0 });
    assert_eq!(c.observed["ash_full"]["dtc_ash_limit"], Tally { yes: 0, no: 1 });
    assert_eq!(c.held["ash_full"], Tally { yes: 1, no: 1 });
    assert_eq!(left_out, [("d".into(), NotCounted::CameBack), ("f".into(), NotCounted::NoProof)]);
    assert_eq!((c.from.as_str(), c.until.as_str()), ("2026-11", "2026-11"));
}

#[test]
fn regress_a_reading_of_several_states_counts_when_it_was_complete() {
    let ash = |observed: &[(&str, bool)]| counted(&[job("a", &[FaultId::AshFull], observed)]);
    let yes = ash(&[("dp_2500_high", true)]);
    assert_eq!(yes.observed["ash_full"]["dp_2500_high"], Tally { yes: 1, no: 0 });
    assert_eq!(yes.observed["ash_full"]["dp_2500_negative"], Tally { yes: 0, no: 1 });
    assert!(ash(&[("dp_2500_high", false)]).observed["ash_full"].is_empty());
    let none = ash(&[("dp_2500_high", false), ("dp_2500_near_zero", false), ("dp_2500_negative", false)]);
    assert_eq!(none.observed["ash_full"]["dp_2500_high"], Tally { yes: 0, no: 1 });
}

#[test]
fn analytic_figures_by_hand() {
    // reservoir_below_minimum under additive_empty is 0.97, a guess worth 4 cars: (4 × 0.97 + 1) / (4 + 2).
    let k = Knowledge::built_in();
    let before = k.probability(FaultId::AdditiveEmpty, "reservoir_below_minimum");
    let jobs = [
        job("a", &[FaultId::AdditiveEmpty], &[("reservoir_below_minimum", true)]),
        job("b", &[FaultId::AdditiveEmpty], &[("reservoir_below_minimum", false)]),
    ];
    let learned = learn(k, &Ledger::of("fern", counted(&jobs)), "test");
    let row = &learned.likelihoods[&("additive_empty".to_owned(), "reservoir_below_minimum".to_owned())];
    assert!((row.p - (4.0 * before + 1.0) / 6.0).abs() < 1e-12);
    assert_eq!((row.counted.yes, row.counted.of, row.counted.by[0].as_str()), (1.0, 2.0, "fern"));
    // Shares: 25 cars of before and two counted.
    let share = |f: FaultId| learned.shares[f.id()].p;
    assert!(
        (share(FaultId::AdditiveEmpty) - (25.0 * k.prior(FaultId::AdditiveEmpty) + 2.0) / 27.0).abs() < 1e-12
    );
    assert!((share(FaultId::AshFull) - 25.0 * k.prior(FaultId::AshFull) / 27.0).abs() < 1e-12);
    assert_eq!(PRIOR_WORTH, 25.0);
}

#[test]
fn regress_counts_that_cannot_be_are_named() {
    let mut c = counted(&[job("a", &[FaultId::AshFull], &[("dtc_ash_limit", true)])]);
    assert_eq!(Ledger::of("fern", c.clone()).doubts(), []);
    c.observed.get_mut("ash_full").unwrap().get_mut("dtc_ash_limit").unwrap().no = 7;
    let doubts = Ledger::of("fern", c).doubts();
    assert!(matches!(&doubts[..], [(w, Doubt::MoreThanJobs { count: 8, jobs: 1, .. })] if w == "fern"));
}

#[test]
fn analytic_scores_by_hand() {
    let said = |p: &[(&[FaultId], f64)]| -> Vec<Said> {
        p.iter().map(|(f, p)| Said { faults: f.to_vec(), p: *p }).collect()
    };
    let mut a = job("a", &[FaultId::AshFull], &[]);
    a.said = said(&[(&[FaultId::AshFull], 0.7), (&[], 0.2)]);
    let mut b = job("b", &[FaultId::BoostLeak], &[]);
    b.said = said(&[(&[FaultId::AshFull], 0.6), (&[], 0.3)]);
    let s = scores(&[a, b, job("c", &[], &[])]).unwrap();
    assert_eq!(s.jobs, 2);
    // a: 0.3² + 0.2² + 0.1² = 0.14; b, any other 0.1: 0.6² + 0.3² + 0.9² = 1.26.
    assert!((s.brier - 0.70).abs() < 1e-12);
    assert!((s.log - (0.7_f64.ln() + 0.1_f64.ln()) / 2.0).abs() < 1e-12);
    assert_eq!((s.first, s.in_three), (0.5, 0.5));
    assert_eq!(s.leading.len(), 1);
    assert_eq!((s.leading[0].count, s.leading[0].true_count), (2, 1));
    assert!((s.leading[0].mean_said - 0.65).abs() < 1e-12);
    assert!(scores(&[]).is_none());
}

#[test]
fn analytic_wilson_ends() {
    // No success of n: the lower end is 0, the upper z² / (n + z²).
    let z2 = 1.644_853_626_951_472_f64.powi(2);
    let (lower, upper) = wilson(0, 10).unwrap();
    assert!(lower.abs() < 1e-12 && (upper - z2 / (10.0 + z2)).abs() < 1e-12);
    let (lower, upper) = wilson(10, 10).unwrap();
    assert!((lower - 10.0 / (10.0 + z2)).abs() < 1e-12 && (upper - 1.0).abs() < 1e-12);
    assert_eq!(wilson(0, 0), None);
}

/// Any closed job of a few faults and observations, with repeated numbers.
fn any_job() -> impl Strategy<Value = ClosedJob> {
    const OBSERVATIONS: [&str; 6] = [
        "reservoir_below_minimum",
        "dtc_ash_limit",
        "dp_2500_high",
        "dp_2500_near_zero",
        "dp_2500_negative",
        "oil_level_above_max",
    ];
    let faults = prop::collection::btree_set(0..FaultId::ALL.len(), 0..3);
    let observed = prop::collection::btree_map(prop::sample::select(&OBSERVATIONS[..]), any::<bool>(), 0..6);
    (0..12_u32, 1..13_u32, faults, observed, any::<Option<bool>>(), any::<bool>()).prop_map(
        |(id, month, faults, observed, came_back, proof)| ClosedJob {
            id: id.to_string(),
            closed: format!("2026-{month:02}-10"),
            confirmed: faults.into_iter().map(|f| FaultId::ALL[f]).collect(),
            proof: if proof { "seen".into() } else { String::new() },
            came_back,
            observed: observed.into_iter().map(|(o, y)| (o.to_owned(), y)).collect(),
            said: Vec::new(),
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn property_order_of_jobs_does_not_matter(
        (jobs, mixed) in prop::collection::vec(any_job(), 0..14)
            .prop_flat_map(|j| (Just(j.clone()), Just(j).prop_shuffle())),
    ) {
        prop_assert_eq!(counted(&jobs), counted(&mixed));
    }

    #[test]
    fn property_jobs_given_twice_count_once(jobs in prop::collection::vec(any_job(), 0..14)) {
        let twice: Vec<ClosedJob> = jobs.iter().chain(&jobs).cloned().collect();
        prop_assert_eq!(counted(&jobs), counted(&twice));
    }

    #[test]
    fn property_merging_is_a_union(
        a in prop::collection::vec(any_job(), 0..8),
        b in prop::collection::vec(any_job(), 0..8),
        c in prop::collection::vec(any_job(), 0..8),
    ) {
        let k = Knowledge::built_in();
        // The workshop "fern" counted twice, the second time with more jobs.
        let more: Vec<ClosedJob> = a.iter().chain(&c).cloned().collect();
        let of = |w: &str, jobs: &[ClosedJob], at: &str| Ledger::of(w, count(jobs, k, at, "test").0);
        let parts = [of("fern", &a, "2026-10-01T00:00:00Z"), of("moss", &b, NOW), of("fern", &more, NOW)];
        let merged = |order: &[usize]| {
            let mut out = Ledger::default();
            for &i in order {
                out.merge(&parts[i]);
            }
            out
        };
        let once = merged(&[0, 1, 2]);
        for order in [&[2, 1, 0][..], &[1, 2, 0], &[0, 1, 2, 0, 1, 2, 1]] {
            prop_assert_eq!(&merged(order), &once);
        }
        let mut again = once.clone();
        again.merge(&once);
        prop_assert_eq!(&again, &once);
        // The older count of one workshop is contained in its newer one, not added to it.
        prop_assert_eq!(once.sum().jobs, parts[1].sum().jobs + parts[2].sum().jobs);
        prop_assert_eq!(once.doubts(), vec![]);
    }

    #[test]
    fn property_a_mean_lies_between_before_and_data(
        before in 0.0..=1.0_f64, worth in 0.1..100.0_f64, of in 1..1000_u32, share in 0.0..=1.0_f64,
    ) {
        let yes = (share * f64::from(of)).floor();
        let data = yes / f64::from(of);
        let p = updated(before, worth, yes, f64::from(of));
        prop_assert!(p >= before.min(data) - 1e-12 && p <= before.max(data) + 1e-12);
        // More data move it further towards the data.
        let more = updated(before, worth, 2.0 * yes, 2.0 * f64::from(of));
        prop_assert!((more - data).abs() <= (p - data).abs() + 1e-12);
    }

    #[test]
    fn property_figures_stay_probabilities_and_states_of_a_reading_fit(
        jobs in prop::collection::vec(any_job(), 0..20),
    ) {
        let k = Knowledge::built_in();
        let learned = learn(k, &Ledger::of("fern", counted(&jobs)), "test");
        let sum: f64 = learned.shares.values().map(|f| f.p).sum();
        prop_assert!(learned.shares.is_empty() || (sum - 1.0).abs() < 1e-9);
        let mut groups: BTreeMap<(&str, &str), f64> = BTreeMap::new();
        for ((fault, observation), figure) in &learned.likelihoods {
            prop_assert!((0.0..=1.0).contains(&figure.p));
            if let Some(g) = k.observation(observation).and_then(|o| o.exclusive_group.as_deref()) {
                *groups.entry((fault, g)).or_default() += figure.p;
            }
        }
        for (group, sum) in groups {
            prop_assert!(sum <= 1.0 + 1e-3, "{:?} {}", group, sum);
        }
        for figure in learned.works.values() {
            prop_assert!((0.0..=1.0).contains(&figure.p));
        }
    }
}
