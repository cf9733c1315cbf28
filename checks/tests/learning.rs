//! Figures from counts, scores and intervals against SciPy, scikit-learn and statsmodels: the numbers stand in
//! `checks/data/learning.csv`, made by `checks/python/learning.py`.
#![allow(clippy::unwrap_used)] // helpers of tests

use facts::{FaultId, Knowledge};
use infer::learn::{ClosedJob, FLOOR, Ledger, PRIOR_WORTH, Said, count, learn, scores, updated, wilson};

fn rows(kind: &str) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .from_reader(include_str!("../data/learning.csv").as_bytes());
    let all = reader.records().map(|r| r.unwrap().iter().map(str::to_owned).collect::<Vec<_>>());
    let out: Vec<Vec<String>> = all.filter(|r| r[0] == kind).collect();
    assert!(!out.is_empty(), "no row of {kind}");
    out
}

fn n(cell: &str) -> f64 {
    cell.parse().unwrap()
}

fn list(cell: &str) -> Vec<f64> {
    cell.split(';').map(n).collect()
}

#[test]
fn reference_means_of_beta_posteriors_scipy() {
    for r in rows("beta") {
        assert!((updated(n(&r[1]), n(&r[2]), n(&r[3]), n(&r[4])) - n(&r[5])).abs() < 1e-12, "{r:?}");
    }
}

#[test]
fn reference_shares_of_faults_are_a_dirichlet_mean_scipy() {
    // Five faults of a workshop's own weights, confirmed as often as the row says, through the whole way: jobs,
    // counts, figures.
    let five = &FaultId::ALL[..5];
    for r in rows("dirichlet") {
        let (share, counts, after) = (list(&r[1]), list(&r[2]), list(&r[3]));
        let mut text = "schema = \"sootwright.faults/1\"\n".to_owned();
        // All other faults together weigh next to nothing.
        for f in FaultId::ALL.iter().map(|f| f.id()).chain(["none"]) {
            let place = five.iter().position(|x| x.id() == f);
            let weight = place.map_or(1e-6, |i| share[i].max(1e-6) * 1e6);
            text.push_str(&format!("[[fault]]\nid = \"{f}\"\nprior_weight = {weight:?}\n"));
        }
        let knowledge = Knowledge::built_in().overlay(&[("five.toml", &text)]).unwrap();
        let mut jobs = Vec::new();
        for (f, c) in five.iter().zip(&counts) {
            for i in 0..*c as usize {
                jobs.push(ClosedJob {
                    id: format!("{} {i}", f.id()),
                    closed: "2026-11-02".into(),
                    confirmed: vec![*f],
                    proof: "seen".into(),
                    came_back: None,
                    observed: Default::default(),
                    said: Vec::new(),
                });
            }
        }
        let ledger = Ledger::of("fern", count(&jobs, &knowledge, "2026-11-25T00:00:00Z", "test").0);
        let learned = learn(&knowledge, &ledger, "test");
        for (f, wanted) in five.iter().zip(after) {
            assert!((learned.shares[f.id()].p - wanted).abs() < 1e-8, "{} {wanted}", f.id());
        }
    }
    assert_eq!(PRIOR_WORTH, 25.0, "the reference was made for this worth");
}

#[test]
fn reference_wilson_intervals_statsmodels() {
    for r in rows("wilson") {
        let (low, high) = wilson(n(&r[1]) as usize, n(&r[2]) as usize).unwrap();
        assert!((low - n(&r[3])).abs() < 1e-9 && (high - n(&r[4])).abs() < 1e-9, "{r:?} {low} {high}");
    }
}

#[test]
fn reference_brier_and_log_scores_scikit_learn() {
    // Three fault sets are said, the fourth class is any other.
    let sets = [vec![FaultId::AshFull], vec![FaultId::AdditiveEmpty, FaultId::AshFull], vec![]];
    for r in rows("scores") {
        let jobs: Vec<ClosedJob> = r[1]
            .split('|')
            .zip(list(&r[2]))
            .enumerate()
            .map(|(i, (said, truth))| ClosedJob {
                id: i.to_string(),
                closed: "2026-11-02".into(),
                confirmed: sets.get(truth as usize).cloned().unwrap_or_else(|| vec![FaultId::BoostLeak]),
                proof: "seen".into(),
                came_back: None,
                observed: Default::default(),
                said: sets.iter().zip(list(said)).map(|(f, p)| Said { faults: f.clone(), p }).collect(),
            })
            .collect();
        let s = scores(&jobs).unwrap();
        assert!((s.brier - n(&r[3])).abs() < 1e-9, "{} {}", s.brier, r[3]);
        // The floor was not met in these rows, or the two could not agree.
        assert!((s.log - n(&r[4])).abs() < 1e-9, "{} {} {FLOOR}", s.log, r[4]);
    }
}
