//! The figures of docs/validation/next-step.md: `next_step [CARS] [NETWORKS]`, markdown on standard output.

use checks::next_step::{Small, Way, known_at_once, perturbed, race};
use facts::Knowledge;
use std::error::Error;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |i: usize, usual| arguments.get(i).map_or(Ok(usual), |n: &String| n.parse());
    let (cars, networks) = (number(0, 10_000)?, number(1, 40)?);
    let k = Knowledge::built_in();

    println!("| way | small networks: mean over the optimum | worst | networks |\n|---|---|---|---|");
    let drawn: Vec<(Small, f64)> = (0..networks as u64)
        .map(|s| {
            let small = Small::new(8, 8, 100 + s);
            let best = small.optimum();
            (small, best)
        })
        .collect();
    for way in [Way::Greedy, Way::OneStep, Way::Clustered, Way::Ours] {
        let over: Vec<f64> = drawn.iter().map(|(s, best)| s.expected(way) / best - 1.0).collect();
        let mean = over.iter().sum::<f64>() / over.len().max(1) as f64;
        let worst = over.iter().copied().fold(0.0, f64::max);
        println!("| {} | {:.2} % | {:.2} % | {networks} |", way.name(), 100.0 * mean, 100.0 * worst);
    }

    println!("\n| way | numbers true, EUR | numbers off by two, EUR | cars | s |\n|---|---|---|---|---|");
    let truths: Vec<Knowledge> = (0..5).map(|s| perturbed(k, 7000 + s)).collect();
    let only = arguments.get(2).cloned();
    for way in Way::ALL.into_iter().filter(|w| only.as_ref().is_none_or(|o| w.name().starts_with(o.as_str())))
    {
        let started = Instant::now();
        let exact = race(k, k, &[way], cars, 11);
        let off: Vec<f64> = truths
            .iter()
            .zip(0..)
            .flat_map(|(t, i)| race(k, t, &[way], cars / truths.len(), 20 + i))
            .map(|m| m.eur)
            .collect();
        let off_mean = off.iter().sum::<f64>() / off.len().max(1) as f64;
        println!(
            "| {} | {:.0} ± {:.0} | {off_mean:.0} | {cars} | {:.0} |",
            way.name(),
            exact[0].eur,
            2.0 * exact[0].error,
            started.elapsed().as_secs_f64()
        );
    }
    let known: f64 = truths.iter().map(known_at_once).sum::<f64>() / truths.len() as f64;
    println!("| (every fault set known at once) | {:.0} | {known:.0} | | |", known_at_once(k));
    Ok(())
}
