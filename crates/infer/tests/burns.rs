//! Regenerations inside invented recordings against what truly happened.

use demo::batch::{GeneratedCase, Session, generate};
use facts::Knowledge;
use infer::assessment::Assessment;
use infer::burns::BurnEnd;
use infer::{Evidence, assess};

fn run(g: &GeneratedCase) -> Assessment {
    let read = |row: &facts::case::RecordingRow| {
        let bytes = &g.files.iter().find(|f| f.0 == row.file)?.1;
        let options =
            recording::Options { column_names: row.columns.clone(), ..recording::Options::default() };
        Some(recording::read_bytes(&row.file, bytes, &options))
    };
    let recordings: Vec<_> = g.case.recording.iter().map(read).collect();
    assess(&Evidence { case: &g.case, recordings: &recordings, knowledge: Knowledge::built_in() })
}

#[test]
fn property_reported_burns_are_found_and_told_apart() {
    let (mut found, mut right, mut proofs, mut inside) = (0, 0, 0, 0);
    let n = 16;
    for i in 0..n {
        let g = generate(90, i, Some(Session::DriveWithRegeneration));
        let a = run(&g);
        let Some(before) = g.truth.soot_load_before_g_per_l else { continue };
        let share = 1.0 - g.truth.soot_load_g_per_l / before;
        println!(
            "{} form {} burnt {share:.2} of {before:.1}: {:?}",
            g.name,
            g.truth.form,
            a.burns
                .iter()
                .map(|b| (b.end, b.reported, b.hot_minutes, b.exotherm_k, b.burnt_share))
                .collect::<Vec<_>>()
        );
        if let Some(b) = a.burns.first() {
            found += 1;
            let expected = match share {
                s if s > 0.75 => b.end == BurnEnd::Complete,
                s if s > 0.3 => b.end != BurnEnd::Complete || s > 0.6,
                _ => matches!(b.end, BurnEnd::Aborted | BurnEnd::Partial),
            };
            right += usize::from(expected);
        }
        if let (Some(p), Some(truth)) = (&a.proof, g.truth.proof_ratio) {
            println!("   proof {:?} {:?} truth {truth:.2}", p.verdict, p.ratio);
            if p.ratio.told {
                proofs += 1;
                inside += usize::from(p.ratio.p05 <= truth && truth <= p.ratio.p95);
            }
        }
    }
    println!("found {found} of {n}, class right {right}, proofs {proofs}, truth inside {inside}");
    assert!(found * 10 >= n * 6, "only {found} of {n} burns were found");
    assert!(inside * 10 >= proofs * 7, "the truth lies in {inside} of {proofs} proofs");
    assert!(right * 10 >= found * 7, "only {right} of {found} were told apart rightly");
}

#[test]
fn property_drives_without_a_burn_show_no_reported_one() {
    for i in 0..8 {
        let a = run(&generate(91, i, Some(Session::Drive)));
        assert!(a.burns.iter().all(|b| !b.reported), "case {i}: {:?}", a.burns);
        println!(
            "case {i}: by heat {:?}",
            a.burns.iter().map(|b| (b.end, b.hot_minutes)).collect::<Vec<_>>()
        );
    }
}
