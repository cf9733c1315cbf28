//! Speed of the next step on the full network: nothing known yet, and eight answers in.

use facts::{FaultId, Knowledge};
use infer::network::{Answers, Prior};
use infer::next::{Depth, Desk, Question, advise};

fn main() {
    divan::main();
}

fn question(desk: &Desk, answers: Answers) -> Question {
    let prior = Prior::new(Knowledge::built_in());
    Question {
        sets: desk.network.enumerate(FaultId::ALL, 3, &prior, answers, |_| 0.0),
        answers,
        closed: Answers::NONE,
        paid: 0,
        barred: 0,
        depth: Depth::USUAL,
    }
}

#[divan::bench(sample_count = 20)]
fn nothing_known(bencher: divan::Bencher) {
    let desk = Desk::new(Knowledge::built_in()).expect("built-in knowledge");
    let q = question(&desk, Answers::NONE);
    bencher.bench(|| advise(&desk, &q));
}

#[divan::bench(sample_count = 20)]
fn eight_answers(bencher: divan::Bencher) {
    let desk = Desk::new(Knowledge::built_in()).expect("built-in knowledge");
    let answers = desk.network.answers([
        ("dtc_soot_overload", true),
        ("dtc_ash_limit", false),
        ("dtc_air_path", false),
        ("q_mostly_short_trips", false),
        ("q_high_mileage_original_filter", true),
        ("oil_level_above_max", false),
        ("q_wrong_fluid_suspected", false),
        ("reduced_power_mode", true),
    ]);
    let q = question(&desk, answers);
    bencher.bench(|| advise(&desk, &q));
}

#[divan::bench(sample_count = 20)]
fn triples_enumerated(bencher: divan::Bencher) {
    let desk = Desk::new(Knowledge::built_in()).expect("built-in knowledge");
    bencher.bench(|| question(&desk, Answers::NONE).sets.len());
}
