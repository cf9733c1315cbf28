//! Runs the additive balance over invented histories with known truth and prints how well it does, in all and per
//! fault: `cargo run --release -p infer --example balance_calibration -- [seeds] [first seed] [ledgers]`. The word
//! `ledgers` takes the second inventor of histories; `show` besides names every history that was ranked wrong.

use demo::histories::{KINDS, history};
use demo::ledgers::ledger;
use facts::FaultId;
use infer::balance::{AdditivePrior, balance};
use std::collections::BTreeMap;
use std::time::Instant;

#[derive(Default)]
struct Tally {
    n: f64,
    first: f64,
    score: f64,
    loss: f64,
    distance: f64,
    relative: f64,
    covered: f64,
    thumb: f64,
    thumb_relative: f64,
}

impl Tally {
    fn line(&self) -> String {
        format!(
            "{:5} histories  first {:.3}  mean ln p {:.3}  pinball {:.4} ({:.4} by range; by rule of thumb {:.4}, {:.4})  80 % windows cover {:.3}",
            self.n,
            self.first / self.n,
            self.score / self.n,
            self.loss / self.distance.max(1.0),
            self.relative / self.n,
            self.thumb / self.distance.max(1.0),
            self.thumb_relative / self.n,
            self.covered / self.n
        )
    }
}

fn name(fault: Option<FaultId>) -> &'static str {
    fault.map_or("none", FaultId::id)
}

/// What the job card alone gives: the controller's own figure of what is left, else nine tenths of a full
/// reservoir since the last pour, at the set dose.
fn thumb(case: &facts::case::Case, range_km: f64) -> f64 {
    let left = case.counter_read.iter().rev().find_map(|c| c.left_ml);
    if let (Some(ml), Some(capacity)) = (left, case.reservoir.capacity_l) {
        return ((ml / 1000.0 / capacity - 0.1) * range_km).max(0.0);
    }
    let last = case.refill.iter().filter_map(|r| r.odometer_km).fold(f64::NAN, f64::max);
    let driven = case.car.odometer_km.map_or(0.0, |o| o - last);
    (0.9 * range_km - if driven.is_finite() { driven } else { 0.5 * range_km }).max(0.0)
}

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let mut numbers = args.iter().filter_map(|a| a.parse::<u64>().ok());
    let seeds = numbers.next().unwrap_or(60);
    let offset = numbers.next().unwrap_or(1_000_000);
    let (other, show) = (args.iter().any(|a| a == "ledgers"), args.iter().any(|a| a == "show"));
    let invent = if other { ledger } else { history };
    let prior = AdditivePrior::default();
    let mut all = Tally::default();
    let mut per: BTreeMap<&str, Tally> = BTreeMap::new();
    let (mut short, mut refused, mut wrongly, mut runs, mut seconds) = (0, 0, 0, 0, 0.0);
    let (mut left, mut dose) = (0.0, 0.0);
    for seed in 0..seeds {
        for (kind, fault) in KINDS.iter().enumerate() {
            for too_little in [false, true] {
                if too_little && seed % 5 != 0 {
                    continue;
                }
                let h =
                    invent(offset + seed * 100 + 2 * kind as u64 + u64::from(too_little), *fault, too_little);
                let start = Instant::now();
                let b = balance(&h.case, &prior, None);
                seconds += start.elapsed().as_secs_f64();
                runs += 1;
                if too_little {
                    short += 1;
                    refused += i32::from(!b.cannot_tell.is_empty());
                    if show && b.cannot_tell.is_empty() {
                        println!(
                            "answered {} of seed {} although it says too little",
                            name(*fault),
                            offset + seed * 100 + 2 * kind as u64 + 1
                        );
                    }
                    continue;
                }
                if show && !b.cannot_tell.is_empty() {
                    println!(
                        "refused {} of seed {}: pinned to {:.3}",
                        name(*fault),
                        offset + seed * 100 + 2 * kind as u64,
                        b.dose_pinned_rel
                    );
                }
                wrongly += i32::from(!b.cannot_tell.is_empty());
                let top = b.additive_faults.iter().max_by(|a, b| a.1.total_cmp(&b.1)).and_then(|f| f.0);
                let p = b.additive_faults.iter().find(|f| f.0 == *fault).map_or(0.0, |f| f.1);
                if show && top != *fault {
                    let said = b.additive_faults.iter().find(|f| f.0 == top).map_or(0.0, |f| f.1);
                    println!(
                        "seed {} is {} ({p:.3}), ranked {} ({said:.3})",
                        offset + seed * 100 + 2 * kind as u64,
                        name(*fault),
                        name(top)
                    );
                }
                let y = h.truth.due_km;
                let loss: f64 = [(0.1, b.due_km.p10), (0.5, b.due_km.p50), (0.9, b.due_km.p90)]
                    .iter()
                    .map(|&(q, x)| if y >= x { q * (y - x) } else { (1.0 - q) * (x - y) })
                    .sum();
                if show && !(y >= b.due_km.p10 - 1e-3 && y <= b.due_km.p90 + 1e-3) {
                    println!(
                        "seed {} {}: due {y:.0} km outside {:.0} {:.0} {:.0}",
                        offset + seed * 100 + 2 * kind as u64,
                        name(*fault),
                        b.due_km.p10,
                        b.due_km.p50,
                        b.due_km.p90
                    );
                }
                let inside =
                    |low: f64, x: f64, high: f64| f64::from(u8::from(x >= low - 1e-3 && x <= high + 1e-3));
                left += inside(b.left_l.p05, h.truth.left_l, b.left_l.p95);
                dose += inside(b.dose_factor.p05, h.truth.dose_factor, b.dose_factor.p95);
                for t in [&mut all, per.entry(name(*fault)).or_default()] {
                    t.n += 1.0;
                    t.first += f64::from(u8::from(top == *fault));
                    t.score += p.max(1e-12).ln();
                    t.loss += loss / 3.0;
                    t.distance += y;
                    // against the distance a full reservoir lasts at the set dose, as far as the case says
                    let r = &h.case.reservoir;
                    let full = r.capacity_l.zip(r.dose_ml_per_l).zip(h.case.car.consumption_l_per_100km);
                    let range = full.map_or(80_000.0, |((c, d), f)| c * 1e5 / (d * f).max(1e-9));
                    t.relative += loss / 3.0 / range.max(y).max(1.0);
                    let guess = thumb(&h.case, range);
                    let off = if y >= guess { 0.5 * (y - guess) } else { 0.5 * (guess - y) };
                    t.thumb += off;
                    t.thumb_relative += off / range.max(y).max(1.0);
                    t.covered += inside(b.due_km.p10, y, b.due_km.p90);
                }
            }
        }
    }
    println!("{:28}{}", "all tellable", all.line());
    for (fault, t) in &per {
        println!("{fault:28}{}", t.line());
    }
    println!("90 % intervals cover: left {:.3}, dose factor {:.3}", left / all.n, dose / all.n);
    println!("refused {refused} of {short} with too little, {wrongly} of {} that allow an answer", all.n);
    println!("{:.1} ms each", 1000.0 * seconds / f64::from(runs));
}
