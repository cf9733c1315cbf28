//! Writes the calibration report: `calibration DIR [--cases N] [--seed S] [--rows FILE.csv]`
//! (default 600 cases of seed 4711; the rows are truth and answer of each case).
//!
//! `DIR/calibration.md` with rank histograms as SVG beside it. The same cases and seed give the same
//! report on every machine, apart from rounding.

use checks::calibration::{Coverage, FIGURES, Record, coverage, histogram, ranks, run, share_error};
use checks::plot::{Dash, Plot};
use demo::batch::Session;
use std::error::Error;
use std::fmt::Write as _;
use std::path::PathBuf;
use std::time::Instant;

const BINS: usize = 20;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let usage = "usage: calibration DIR [--cases N] [--seed S] [--rows FILE.csv]";
    let folder = PathBuf::from(arguments.next().filter(|a| !a.starts_with('-')).ok_or(usage)?);
    let (mut cases, mut seed, mut rows) = (600_usize, 4711_u64, None);
    while let Some(option) = arguments.next() {
        let value = arguments.next().ok_or(usage)?;
        match option.as_str() {
            "--cases" => cases = value.parse().map_err(|e| format!("--cases {value}: {e}"))?,
            "--seed" => seed = value.parse().map_err(|e| format!("--seed {value}: {e}"))?,
            "--rows" => rows = Some(PathBuf::from(value)),
            other => return Err(format!("{other}: {usage}").into()),
        }
    }
    let began = Instant::now();
    let records = run(seed, cases, None, &|done| {
        if done % 50 == 0 {
            eprintln!("{done} of {cases} cases, {:.0} s", began.elapsed().as_secs_f64());
        }
    });
    if records.is_empty() {
        return Err("no case was answered".into());
    }
    if let Some(path) = rows {
        std::fs::write(&path, table_of_rows(&records))?;
    }
    std::fs::create_dir_all(&folder)?;
    for (k, figure) in FIGURES.iter().enumerate() {
        let path = folder.join(format!("calibration-{}.svg", slug(figure)));
        std::fs::write(&path, picture(figure, &ranks(&records, k, &|_| true)))?;
    }
    std::fs::write(folder.join("calibration.md"), report(&records, seed))?;
    println!("{} cases in {:.0} s: {}", records.len(), began.elapsed().as_secs_f64(), folder.display());
    print!("{}", table("all cases", &records, &|_| true));
    Ok(())
}

/// One row a case: what it is, then truth, rank and quantiles of each figure.
fn table_of_rows(records: &[Record]) -> String {
    let mut out = String::from("case,fault,session,form,heavy,two_zones,informative,cut_off");
    for figure in FIGURES {
        for what in ["truth", "rank", "p05", "p50", "p95"] {
            let _ = write!(out, ",{} {what}", slug(figure));
        }
    }
    out.push('\n');
    for r in records {
        let _ = write!(
            out,
            "{},{},{:?},{},{},{},{},{}",
            r.name, r.fault, r.session, r.form, r.heavy, r.two_zones, r.informative, r.cut_off
        );
        for f in r.figures {
            let [a, b, c] = f.interval;
            let _ = write!(out, ",{:.4},{:.4},{a:.4},{b:.4},{c:.4}", f.truth, f.rank);
        }
        out.push('\n');
    }
    out
}

fn slug(figure: &str) -> String {
    figure.split(',').next().unwrap_or(figure).replace(' ', "-")
}

fn picture(figure: &str, ranks: &[f64]) -> String {
    let counts = histogram(ranks, BINS);
    let expected = ranks.len() as f64 / BINS as f64;
    // Nine bars in ten lie within this when ranks are even (binomial, normal approximation).
    let spread = 1.645 * (expected * (1.0 - 1.0 / BINS as f64)).sqrt();
    let top = counts.iter().copied().fold(expected + spread, f64::max) * 1.35;
    let title =
        format!("Rank of the true {} among the draws, {} cases", slug(figure).replace('-', " "), ranks.len());
    let mut plot =
        Plot::new(&title, "share of draws below the truth", "cases", (0.0, 1.0), (0.0, top.max(1.0)));
    plot.band(
        &[(0.0, expected - spread, expected + spread), (1.0, expected - spread, expected + spread)],
        "nine bars in ten lie here if the answer is calibrated",
    );
    plot.line(&[(0.0, expected), (1.0, expected)], Dash::Long, "even");
    plot.bars(&counts);
    plot.finish()
}

fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

/// In words: is it too narrow, too wide, leaning?
fn verdict(c: &Coverage) -> String {
    let error = share_error(0.9, c.cases);
    let tail = share_error(0.05, c.cases);
    let mut words = Vec::new();
    if c.ninety < 0.9 - 2.0 * error {
        words.push("too narrow");
    } else if c.ninety > 0.9 + 2.0 * error {
        words.push("too wide");
    }
    let lean = 2.0 * (1.0 / 12.0 / c.cases as f64).sqrt();
    if c.mean_rank > 0.5 + lean {
        words.push("answers too low");
    } else if c.mean_rank < 0.5 - lean {
        words.push("answers too high");
    }
    if c.above > 0.05 + 2.0 * tail {
        words.push("too many truths above");
    }
    if c.below > 0.05 + 2.0 * tail {
        words.push("too many truths below");
    }
    if words.is_empty() { "within sampling error".to_owned() } else { words.join(", ") }
}

fn table(title: &str, records: &[Record], pick: &dyn Fn(&Record) -> bool) -> String {
    let mut out = String::new();
    // Writing into a String does not fail.
    let count = records.iter().filter(|r| pick(r)).count();
    let _ = writeln!(
        out,
        "\n{title} ({count} cases; one standard error of a coverage of 90 % is {:.1} %, of 50 % {:.1} %):\n",
        100.0 * share_error(0.9, count),
        100.0 * share_error(0.5, count)
    );
    out.push_str("| figure | inside 50 % | inside 90 % | truth below it | truth above it | mean rank | p(even) | reading |\n|---|---|---|---|---|---|---|---|\n");
    for (k, figure) in FIGURES.iter().enumerate() {
        let Some(c) = coverage(&ranks(records, k, pick)) else { continue };
        let _ = writeln!(
            out,
            "| {figure} | {} | {} | {} | {} | {:.3} | {:.2} | {} |",
            percent(c.half),
            percent(c.ninety),
            percent(c.below),
            percent(c.above),
            c.mean_rank,
            c.p_even,
            verdict(&c)
        );
    }
    out
}

fn report(records: &[Record], seed: u64) -> String {
    let mut out = format!(
        "# Does nine times in ten mean nine times in ten?\n\n\
         Simulation-based calibration on {} invented cars. Made by\n\n\
         ```sh\ncargo run -p checks --release --example calibration -- docs/validation --cases {} --seed {seed}\n```\n\n\
         Each car is drawn by the generator in `demo/`, which does not share the estimator's model: its pressure \
         comes from a one-dimensional solution with momentum, slip and uneven deposits, half of the filters have \
         two radial zones, the constants (wall, cake product, ash layer, plug share, wall jump, cones) are drawn \
         wider than the published spreads, sensors lag, drift, drop out and are cut off at zero, and five cars in \
         six carry one of sixteen faults. The estimator answers from the case file and the recording, all \
         fault sets together. *Sensor at no flow* is what the sensor does show there, also when it is frozen. The share of its draws that lie below the truth is the rank; over many cars the \
         ranks of a calibrated answer are even, and 50 and 90 % of the truths lie inside the intervals of that \
         name. *p(even)* is the probability of ranks as uneven as these if they were even (Kolmogorov); below \
         0.01 the deviation is no accident.\n",
        records.len(),
        records.len()
    );
    out.push_str(&table("All cases", records, &|_| true));
    for figure in FIGURES {
        let _ = write!(out, "\n![Ranks of {figure}](calibration-{}.svg)\n", slug(figure));
    }
    out.push_str("\n## Where it is off\n");
    type Pick = Box<dyn Fn(&Record) -> bool>;
    let groups: Vec<(&str, Pick)> = vec![
        ("Healthy cars", Box::new(|r| r.fault == "none")),
        ("Cars with a fault", Box::new(|r| r.fault != "none")),
        ("Healthy cars whose readings carry information", Box::new(|r| r.fault == "none" && r.informative)),
        ("Drives", Box::new(|r| r.session == Session::Drive)),
        ("Workshop runs", Box::new(|r| r.session == Session::Workshop)),
        ("Typed readings only", Box::new(|r| r.session == Session::Typed)),
        (
            "A regeneration inside the recording or between two of them (the truth holds after it)",
            Box::new(|r| matches!(r.session, Session::DriveWithRegeneration | Session::BeforeAfter)),
        ),
        ("Heavy vehicles", Box::new(|r| r.heavy)),
        ("Zero below nought, shown cut off at nought", Box::new(|r| r.cut_off)),
        ("Zero shown as it is", Box::new(|r| !r.cut_off)),
        ("One radial zone in the true filter", Box::new(|r| !r.two_zones)),
        ("Two radial zones in the true filter", Box::new(|r| r.two_zones)),
    ];
    for (title, pick) in &groups {
        out.push_str(&table(title, records, pick));
    }
    out.push_str("\n## By true fault, standard pressure drop and soot\n\n| true fault | cases | soot inside 90 % | soot mean rank | drop inside 90 % | drop mean rank |\n|---|---|---|---|---|---|\n");
    let faults: std::collections::BTreeSet<&str> = records.iter().map(|r| r.fault).collect();
    for fault in faults {
        let of = |k| coverage(&ranks(records, k, &|r: &Record| r.fault == fault));
        if let (Some(s), Some(d)) = (of(0), of(3)) {
            let _ = writeln!(
                out,
                "| {fault} | {} | {} | {:.2} | {} | {:.2} |",
                s.cases,
                percent(s.ninety),
                s.mean_rank,
                percent(d.ninety),
                d.mean_rank
            );
        }
    }
    out.push_str(
        "\n## What has never been validated\n\n\
         - No case here is a real car. No soot or ash load of a car in service, weighed off the car, has been \
         compared with an answer of this program.\n\
         - The generator's lives (how much soot since the last regeneration, how often a fault occurs, what people \
         tell) are invented. Calibration holds for cars that live like these.\n\
         - Hot flow sweeps at several temperatures on one filter, coated filters with additive ash, inlet-wide \
         channels and plugs of known length have no public measurements that could be reached; there the two \
         models are only compared with each other.\n\
         - Cars with two faults, several visits of one car, and recordings of real buses with known truth are not \
         among these cases.\n",
    );
    out
}
