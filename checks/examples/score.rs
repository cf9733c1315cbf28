//! Scores answers where the truth is known: `score DIR` reads `DIR/case-*/case.toml` with `truth.json`.
//!
//! The demo makes such batches (`cargo run --release -p demo --example make-cases -- --help`). All figures stand
//! beside those of the same program without pressure readings and recordings, which a good answer must beat.

use checks::case_folder::{Answered, answer_all, compare};
use checks::scoring::{FLOOR, Table};
use facts::Knowledge;
use std::collections::BTreeMap;
use std::error::Error;
use std::path::PathBuf;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).ok_or("usage: score DIR")?;
    let mut folders: Vec<PathBuf> = std::fs::read_dir(&folder)
        .map_err(|e| format!("{folder}: {e}"))?
        .filter_map(|entry| entry.ok().map(|e| e.path()))
        .filter(|path| path.join("truth.json").is_file())
        .collect();
    folders.sort();
    if folders.is_empty() {
        return Err(format!("{folder}: no folder with case.toml and truth.json in it").into());
    }
    let began = Instant::now();
    let (answered, refused): (Vec<_>, Vec<_>) =
        answer_all(&folders, Knowledge::built_in()).into_iter().partition(Result::is_ok);
    let answered: Vec<Answered> = answered.into_iter().flatten().collect();
    println!("{} cases in {:.1} s", answered.len(), began.elapsed().as_secs_f64());
    for reason in refused.into_iter().filter_map(Result::err) {
        println!("refused, not scored: {reason}");
    }

    print("all cases", &answered.iter().collect::<Vec<_>>());
    let sessions: std::collections::BTreeSet<&str> =
        answered.iter().map(|a| a.truth.session.as_str()).collect();
    for session in sessions {
        let part: Vec<_> = answered.iter().filter(|a| a.truth.session == session).collect();
        print(&format!("session {session}"), &part);
    }
    faults(&answered);
    Ok(())
}

fn print(title: &str, batch: &[&Answered]) {
    if let Some((full, without)) = compare(batch) {
        let mut table = Table::default();
        table.add("all facts", full);
        table.add("without pressure", without);
        println!("\n{title}\n{table}");
    }
}

/// One line a true fault: how often, how often first, mean log probability, what stood first instead.
fn faults(answered: &[Answered]) {
    let mut by_fault: BTreeMap<&str, Vec<&Answered>> = BTreeMap::new();
    for a in answered {
        by_fault.entry(&a.truth.fault).or_default().push(a);
    }
    println!(
        "\n{:<28} {:>5} {:>6} {:>6} {:>7}  taken for",
        "true fault", "cases", "first", "in 3", "mean ln"
    );
    for (fault, list) in by_fault {
        let n = list.len() as f64;
        let within = |k| list.iter().filter(|a| a.full.rank(fault) <= k).count() as f64 / n * 100.0;
        let log = list.iter().map(|a| a.full.probability(fault).max(FLOOR).ln()).sum::<f64>() / n;
        let mut taken: BTreeMap<&str, usize> = BTreeMap::new();
        for a in &list {
            let first = a.full.faults.iter().max_by(|a, b| a.1.total_cmp(&b.1));
            if let Some((id, _)) = first.filter(|(id, _)| id != fault) {
                *taken.entry(id).or_default() += 1;
            }
        }
        let mut taken: Vec<_> = taken.into_iter().collect();
        taken.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
        let taken: Vec<_> = taken.iter().take(3).map(|(id, n)| format!("{id} {n}")).collect();
        println!(
            "{fault:<28} {:>5} {:>4.0} % {:>4.0} % {log:>7.2}  {}",
            list.len(),
            within(1),
            within(3),
            taken.join(", ")
        );
    }
}
