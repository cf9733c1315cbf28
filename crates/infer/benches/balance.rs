//! Speed of the balance and of forecasts. `ten_thousand_cars` forecasts 10 000 cars from their posteriors.

use demo::histories::{KINDS, history};
use infer::balance::{AdditivePrior, Outlook, balance};

fn main() {
    divan::main();
}

#[divan::bench]
fn one_balance(bencher: divan::Bencher) {
    let case = history(1, KINDS[1], false).case;
    let prior = AdditivePrior::default();
    bencher.bench(|| balance(&case, &prior, None));
}

#[divan::bench(sample_count = 5)]
fn ten_thousand_cars(bencher: divan::Bencher) {
    let prior = AdditivePrior::default();
    let outlooks: Vec<Outlook> = (0..40u64)
        .map(|s| balance(&history(s, KINDS[s as usize % KINDS.len()], false).case, &prior, None).outlook)
        .collect();
    bencher.bench(|| {
        (0..10_000)
            .map(|i| outlooks[i % outlooks.len()].due_km().p50 + outlooks[i % outlooks.len()].due_days().p50)
            .sum::<f64>()
    });
}
