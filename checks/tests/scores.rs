//! A small batch with known truth, made by the demo's simulator, which knows nothing of the estimator.
//!
//! The bounds are loose on purpose: thirty-two cases scatter widely. They guard against an answer that falls
//! apart, not against one that gets a little worse; for that there is `examples/score.rs` on a large batch.

use checks::case_folder::{Answered, answer_all, compare};
use facts::Knowledge;
use std::path::PathBuf;

const CASES: usize = 32;

fn batch() -> Vec<Answered> {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("scores");
    let folders: Vec<PathBuf> = demo::batch::batch(20_261_125, CASES)
        .iter()
        .map(|case| {
            let folder = folder.join(&case.name);
            case.write(&folder).expect("the temporary folder can be written");
            folder
        })
        .collect();
    let answered = answer_all(&folders, Knowledge::built_in());
    answered.into_iter().map(|a| a.unwrap_or_else(|reason| panic!("{reason}"))).collect()
}

#[test]
fn regress_small_batch_keeps_its_scores() {
    let answered = batch();
    assert_eq!(answered.len(), CASES);
    let (full, without) = compare(&answered.iter().collect::<Vec<_>>()).expect("not empty");
    println!("{full:#?}\n{without:#?}");
    assert!(full.soot_winkler < without.soot_winkler * 1.1, "pressure made the soot interval worse");
    assert!(full.soot_winkler < 14.0, "{}", full.soot_winkler);
    assert!((0.65..=1.0).contains(&full.soot_coverage), "{}", full.soot_coverage);
    assert!(full.pressure_drop_error < 0.25, "{}", full.pressure_drop_error);
    assert!(full.fault_in_three > 0.5, "{}", full.fault_in_three);
    assert!(full.fault_log > -2.6, "{}", full.fault_log);
    // Seeing nothing, the program may not claim to have seen something.
    let (told, empty) = full.told_wrongly;
    assert!(told * 2 <= empty, "{told} of {empty} told without information");
}
