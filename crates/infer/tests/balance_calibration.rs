//! The additive balance on invented histories with known truth: a reduced, seeded form of the example
//! `balance_calibration`, which runs more of them and prints the figures per fault.

use demo::histories::{KINDS, history};
use infer::balance::{AdditivePrior, balance};

#[test]
fn reference_invented_histories_are_ranked_scored_and_refused() {
    let prior = AdditivePrior::default();
    let (mut tellable, mut first, mut score) = (0.0, 0.0, 0.0);
    let (mut loss, mut distance, mut covered) = (0.0, 0.0, 0.0);
    let (mut short, mut refused, mut refused_wrongly) = (0, 0, 0);
    for seed in 0..8u64 {
        for (kind, fault) in KINDS.iter().enumerate() {
            for too_little in [false, true] {
                if too_little && seed % 4 != 0 {
                    continue;
                }
                let h = history(
                    50_000 + seed * 100 + kind as u64 * 2 + u64::from(too_little),
                    *fault,
                    too_little,
                );
                let b = balance(&h.case, &prior, None);
                if too_little {
                    short += 1;
                    refused += i32::from(!b.cannot_tell.is_empty());
                    continue;
                }
                refused_wrongly += i32::from(!b.cannot_tell.is_empty());
                let top = b.additive_faults.iter().max_by(|a, b| a.1.total_cmp(&b.1)).expect("ten faults");
                let p = b.additive_faults.iter().find(|f| f.0 == *fault).expect("ten faults").1;
                tellable += 1.0;
                first += f64::from(u8::from(top.0 == *fault));
                score += p.ln();
                let y = h.truth.due_km;
                for (q, x) in [(0.1, b.due_km.p10), (0.5, b.due_km.p50), (0.9, b.due_km.p90)] {
                    loss += if y >= x { q * (y - x) } else { (1.0 - q) * (x - y) } / 3.0;
                }
                distance += y;
                covered += f64::from(u8::from(y >= b.due_km.p10 - 1.0 && y <= b.due_km.p90 + 1.0));
            }
        }
    }
    let (first, score, loss, cover) =
        (first / tellable, score / tellable, loss / distance, covered / tellable);
    println!(
        "first {first:.3} log {score:.3} pinball {loss:.4} coverage {cover:.3} refused {refused}/{short}, wrongly {refused_wrongly}"
    );
    // Wider than the full run's figures by about two standard errors of 80 histories.
    assert!(first >= 0.80, "first in {first}");
    assert!(score >= -0.7, "mean log score {score}");
    assert!(loss <= 0.10, "normalised pinball loss {loss}");
    assert!((0.68..=0.92).contains(&cover), "80 % windows cover {cover}");
    assert!(refused * 15 >= short * 14, "refused {refused} of {short}");
    assert!(refused_wrongly <= 2, "{refused_wrongly} refused although the history allows");
}
