//! Writes invented cases with known truth: `cargo run -p demo --release --example make-cases -- --seed 1 --cases 200 --out DIR`.

use clap::Parser;
use demo::batch::{Session, generate};
use demo::observed::observe_all;
use facts::Knowledge;
use std::path::PathBuf;

/// Writes DIR/case-0001/{case.toml, truth.json, recording...} and so on.
#[derive(Parser)]
struct Arguments {
    /// Seed; the same seed writes the same bytes.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Number of cases.
    #[arg(long, default_value_t = 200)]
    cases: usize,
    /// First case (counted from 0).
    #[arg(long, default_value_t = 0)]
    first: usize,
    /// Folder to write into.
    #[arg(long)]
    out: PathBuf,
    /// Typed readings only, no recordings.
    #[arg(long)]
    typed_only: bool,
    /// Every bench observation answered, by rates near those of the knowledge.
    #[arg(long)]
    all_observed: bool,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments = Arguments::parse();
    let session = arguments.typed_only.then_some(Session::Typed);
    for i in arguments.first..arguments.first + arguments.cases {
        let mut case = generate(arguments.seed, i, session);
        if arguments.all_observed {
            observe_all(&mut case, Knowledge::built_in(), arguments.seed, i as u64);
        }
        case.write(&arguments.out.join(&case.name))?;
    }
    println!("{} cases in {}", arguments.cases, arguments.out.display());
    Ok(())
}
