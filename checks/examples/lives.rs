//! Scores answers to lives where the truth is known: `lives DIR [LIVES] [--each]` reads `DIR/life-*/visit-*/{case.toml, truth.json}`.
//!
//! The demo makes them (`cargo run --release -p demo --example make-lives -- --help`).

use checks::lives::{AnsweredVisit, answer, change_log_score, figures};
use facts::Knowledge;
use infer::assessment::ProofVerdict;
use std::error::Error;
use std::path::PathBuf;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).ok_or("usage: lives DIR [LIVES] [--each]")?;
    let mut lives: Vec<PathBuf> =
        std::fs::read_dir(&folder)?.filter_map(|e| e.ok().map(|e| e.path())).filter(|p| p.is_dir()).collect();
    lives.sort();
    let limit = std::env::args().nth(2).and_then(|n| n.parse().ok()).unwrap_or(usize::MAX);
    let began = std::time::Instant::now();
    let mut all: Vec<AnsweredVisit> = Vec::new();
    for life in lives.iter().take(limit) {
        match answer(life, Knowledge::built_in()) {
            Ok(list) => all.extend(list),
            Err(e) => println!("refused, not scored: {}: {e}", life.display()),
        }
    }
    println!("{} visits in {:.1} s", all.len(), began.elapsed().as_secs_f64());
    if std::env::args().any(|a| a == "--each") {
        for v in &all {
            let show = |i: &checks::scoring::Interval| format!("{:.3},{:.3},{:.3}", i.p05, i.p50, i.p95);
            let t = &v.truth;
            println!(
                "each,{},{},{},{},{},{},{},{},{},{},{},{},{:.3},{:.3}",
                v.number,
                t.fault,
                t.session,
                t.after_complete_regeneration,
                t.changes.sensor_unrecorded,
                t.changes.filter_unrecorded,
                t.soot_load_g_per_l,
                show(&v.soot),
                show(&v.soot_alone),
                t.standard_pressure_drop_kpa,
                show(&v.standard),
                show(&v.standard_alone),
                v.change.map_or(f64::NAN, |c| c.sensor),
                v.change.map_or(f64::NAN, |c| c.filter),
            );
        }
    }
    println!(
        "{:<44} {:>5} | {:>7} {:>6} {:>7} | {:>7} {:>6} | the same visits alone: {:>6} {:>6} {:>7} {:>7}",
        "", "n", "Winkler", "cover", "median", "drop", "cover", "Winkler", "cover", "median", "drop"
    );
    let line = |name: &str, keep: &dyn Fn(&AnsweredVisit) -> bool| {
        let part: Vec<&AnsweredVisit> = all.iter().filter(|v| keep(v)).collect();
        let of = |f: &dyn Fn(&AnsweredVisit) -> (checks::scoring::Interval, f64)| {
            figures(&part.iter().map(|v| f(v)).collect::<Vec<_>>())
        };
        let s = of(&|v| (v.soot, v.truth.soot_load_g_per_l));
        let d = of(&|v| (v.standard, v.truth.standard_pressure_drop_kpa));
        let a = of(&|v| (v.soot_alone, v.truth.soot_load_g_per_l));
        let b = of(&|v| (v.standard_alone, v.truth.standard_pressure_drop_kpa));
        println!(
            "{name:<44} {:>5} | {:>7.2} {:>4.0} % {:>7.2} | {:>5.1} % {:>4.0} % | {:>22} {:>6.2} {:>4.0} % {:>7.2} {:>5.1} %",
            part.len(),
            s.0,
            100.0 * s.1,
            s.2,
            100.0 * d.3,
            100.0 * d.1,
            "",
            a.0,
            100.0 * a.1,
            a.2,
            100.0 * b.3
        );
    };
    line("all visits", &|_| true);
    line("first visit", &|v| v.number == 0);
    line("second", &|v| v.number == 1);
    line("third and later", &|v| v.number >= 2);
    line("after a complete regeneration", &|v| v.truth.after_complete_regeneration);
    line("third and later, or after a complete one", &|v| {
        v.number >= 2 || v.truth.after_complete_regeneration
    });
    line("later, no fault", &|v| v.number >= 1 && v.truth.fault == "none");
    line("later, a fault", &|v| v.number >= 1 && v.truth.fault != "none");
    line("later, typed", &|v| v.number >= 1 && v.truth.session == "typed");
    line("later, unrecorded change", &|v| {
        v.truth.changes.sensor_unrecorded || v.truth.changes.filter_unrecorded
    });

    println!("\nunrecorded changes: mean ln {:.3}", change_log_score(&all).unwrap_or(f64::NAN));
    for (name, truly, told) in [
        (
            "sensor",
            (|v: &AnsweredVisit| v.truth.changes.sensor_unrecorded) as fn(&AnsweredVisit) -> bool,
            (|c: infer::life::UnrecordedChange| c.sensor) as fn(_) -> f64,
        ),
        ("filter", |v| v.truth.changes.filter_unrecorded, |c| c.filter),
    ] {
        let gaps: Vec<(bool, f64)> = all.iter().filter_map(|v| Some((truly(v), told(v.change?)))).collect();
        let positive = gaps.iter().filter(|g| g.0).count();
        let mut beaten = 0.0;
        let mut pairs = 0.0_f64;
        for a in gaps.iter().filter(|g| g.0) {
            for b in gaps.iter().filter(|g| !g.0) {
                pairs += 1.0;
                beaten += if a.1 > b.1 {
                    1.0
                } else if a.1 == b.1 {
                    0.5
                } else {
                    0.0
                };
            }
        }
        let above = |t: f64, yes: bool| gaps.iter().filter(|g| g.0 == yes && g.1 > t).count();
        println!(
            "  {name}: {positive} of {} gaps; above 0.1: {} right, {} wrong; above 0.3: {} right, {} wrong; ranks right in {:.0} % of pairs",
            gaps.len(),
            above(0.1, true),
            above(0.1, false),
            above(0.3, true),
            above(0.3, false),
            100.0 * beaten / pairs.max(1.0)
        );
    }
    let mut right = 0;
    let mut told = 0;
    let mut pairs = 0;
    for v in &all {
        let (Some(ratio), Some((verdict, _))) = (v.truth.proof_ratio, v.proof) else { continue };
        pairs += 1;
        let truly = if ratio < 0.9 {
            ProofVerdict::Improved
        } else if ratio > 1.0 / 0.9 {
            ProofVerdict::Worse
        } else {
            ProofVerdict::NoProvenChange
        };
        told += usize::from(verdict != ProofVerdict::CannotTell);
        right += usize::from(verdict == truly);
        if verdict != truly {
            println!(
                "  proof: true ratio {ratio:.2}, told {verdict:?} {:?} ({}, {})",
                v.ratio.map(|r| format!("{:.2} {:.2} {:.2}", r.p05, r.p50, r.p95)),
                v.truth.session,
                v.truth.fault
            );
        }
    }
    println!("proof: right {right} of {pairs} pairs, {told} told");
    let burns: Vec<(bool, f64)> = all
        .iter()
        .filter_map(|v| Some((v.truth.soot_load_g_per_l < 1.0, v.proof.and_then(|p| p.1)?)))
        .collect();
    let brier = burns.iter().map(|(t, p)| (f64::from(u8::from(*t)) - p).powi(2)).sum::<f64>()
        / burns.len().max(1) as f64;
    println!("regeneration complete: {} visits, Brier {brier:.3}", burns.len());
    Ok(())
}
