//! Reads a case file and prints what is wrong with it, or how its life runs.
//!
//! `cargo run -p facts --example check_case -- schema/every-row.case.toml`

use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(file) = std::env::args().nth(1) else {
        eprintln!("give the path of a case file");
        return ExitCode::from(2);
    };
    let text = match std::fs::read_to_string(&file) {
        Ok(text) => text,
        Err(e) => {
            eprintln!("{file}: {e}");
            return ExitCode::FAILURE;
        }
    };
    match facts::load::read_case(&text, &file) {
        Ok(loaded) => {
            let unknown = facts::load::unknown_observations(&loaded, facts::Knowledge::built_in());
            for finding in loaded.warnings.iter().chain(&unknown) {
                println!("note: {finding}");
            }
            for event in facts::life::ordered(&loaded.case) {
                let km = event.odometer_km.map_or("?".into(), |k| format!("{k:.0}"));
                println!("{:>4} {km:>8} km  {}", event.tie, event.row.list());
            }
            ExitCode::SUCCESS
        }
        Err(e) => {
            eprintln!("{e}");
            ExitCode::FAILURE
        }
    }
}
