//! The reduced form of docs/validation/next-step.md, seeded.

use checks::next_step::{Small, Way, known_at_once, perturbed, race};
use facts::Knowledge;

#[test]
fn property_small_networks_stay_within_five_percent_of_the_exact_optimum() {
    // Six faults and five tests, eight networks; docs/validation/next-step.md has eight by eight. Five
    // percent is the goal for the mean; no network may lose more than ten.
    let over: Vec<f64> = (0..8)
        .map(|seed| {
            let small = Small::new(6, 5, seed);
            let (ours, best) = (small.expected(Way::Ours), small.optimum());
            assert!(ours > best * (1.0 - 1e-3), "seed {seed}: {ours} below the optimum {best}");
            ours / best - 1.0
        })
        .collect();
    let mean = over.iter().sum::<f64>() / over.len() as f64;
    assert!(mean < 0.05, "{over:?}");
    assert!(over.iter().all(|o| *o < 0.10), "{over:?}");
}

#[test]
fn property_ours_costs_less_than_the_plan_without_tests_also_with_wrong_numbers() {
    let k = Knowledge::built_in();
    for truth in [k.clone(), perturbed(k, 7000)] {
        let cost = race(k, &truth, &[Way::Clustered, Way::OursOneStep], 150, 11);
        assert!(cost[1].eur < cost[0].eur, "{cost:?}");
        // No way can be cheaper than a fault set known at once, but for the luck of the draw.
        assert!(cost[1].eur + 4.0 * cost[1].error > known_at_once(&truth), "{cost:?}");
    }
}
