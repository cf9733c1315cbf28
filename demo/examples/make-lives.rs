//! Writes invented lives with known truth: `cargo run -p demo --release --example make-lives -- --seed 1 --lives 60 --out DIR`.

use clap::Parser;
use demo::lives::generate;
use std::path::PathBuf;

/// Writes DIR/life-0001/visit-1/{case.toml, truth.json, recording...} and so on.
#[derive(Parser)]
struct Arguments {
    /// Seed; the same seed writes the same bytes.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Number of lives.
    #[arg(long, default_value_t = 60)]
    lives: usize,
    /// Folder to write into.
    #[arg(long)]
    out: PathBuf,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments = Arguments::parse();
    for i in 0..arguments.lives {
        let life = generate(arguments.seed, i);
        life.write(&arguments.out.join(&life.name))?;
    }
    println!("{} lives in {}", arguments.lives, arguments.out.display());
    Ok(())
}
