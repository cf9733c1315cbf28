//! The program `sootwright`: command line in, text, JSON and reports out.
//!
//! This crate reads files and the clock and decides exit codes; what is true of a car is decided in `infer`.

mod asked;
mod assess;
mod cli;
mod decode;
mod demonstrate;
mod due;
mod failure;
mod fluids;
mod inputs;
mod knowledge;
mod list;
mod next;
mod outlook;
mod output;
mod plan;
mod prove;
mod record;
mod regeneration;
mod report;
mod serve;
mod simulate;
mod svg;
mod text;
mod timetable;
mod words;
mod workshop;

use clap::Parser as _;
use failure::{Failure, Outcome, exit_code};
use std::io::Write as _;
use std::process::ExitCode;

fn main() -> ExitCode {
    let run = run(cli::Cli::parse());
    // Where even the error stream is gone, the exit code is all there is.
    let _ = match &run {
        Err(failure @ (Failure::Refused(_) | Failure::Usage(_))) => writeln!(anstream::stderr(), "{failure}"),
        Ok(Outcome::TellsNothing) => writeln!(anstream::stderr(), "{}", words::say("error-tells-nothing")),
        Ok(Outcome::Answered) | Err(Failure::BrokenPipe) => Ok(()),
    };
    exit_code(&run)
}

fn run(cli: cli::Cli) -> Result<Outcome, Failure> {
    match cli.command {
        cli::Command::Assess(order) => assess::run(&order),
        cli::Command::Regeneration(order) => regeneration::run(&order),
        cli::Command::Decode(order) => decode::run(&order),
        cli::Command::Demo(order) => demonstrate::run(&order),
        cli::Command::Serve(order) => serve::run(&order),
        cli::Command::Schema(order) => schema(&order),
        cli::Command::Additive(order) => fluids::run(&order),
        cli::Command::Knowledge(order) => knowledge::run(&order),
        cli::Command::Record(order) => record::run(&order),
        cli::Command::Simulate(order) => simulate::run(&order),
        cli::Command::Next(order) => next::run(&order),
        cli::Command::Plan(order) => plan::run(&order),
        cli::Command::Timetable(order) => timetable::run(&order),
        cli::Command::Due(order) => due::due(&order),
        cli::Command::Prove(order) => prove::prove(&order),
        cli::Command::Trips(order) => due::trips(&order),
    }
}

fn schema(order: &cli::Schema) -> Result<Outcome, Failure> {
    let schema = match order.which {
        cli::Format::Case => facts::schema::case_schema(),
        cli::Format::Assessment => output::schema(),
        cli::Format::Regeneration => regeneration::schema(),
        cli::Format::Next => next::schema(),
        cli::Format::Plan => plan::schema(),
        cli::Format::ClosedJobs => knowledge::jobs_schema(),
        cli::Format::Counts => knowledge::counts_schema(),
        cli::Format::Timetable => {
            output::named_schema(&schemars::schema_for!(timetable::Output), timetable::SCHEMA)
        }
    };
    print_json(&schema)?;
    Ok(Outcome::Answered)
}

/// Prints a text; its styles are left out where no terminal shows them.
fn print(text: &str) -> Result<(), Failure> {
    let mut out = anstream::stdout();
    out.write_all(text.as_bytes()).and_then(|()| out.flush()).map_err(|e| Failure::output(&e))
}

/// Prints a value as JSON.
fn print_json(value: &impl serde::Serialize) -> Result<(), Failure> {
    let text = serde_json::to_string_pretty(value)
        .map_err(|e| Failure::Refused(words::say_with("error-json", &args! { "why" => e.to_string() })))?;
    print(&(text + "\n"))
}

/// This moment, UTC, to the second.
fn now() -> String {
    jiff::Timestamp::from_second(jiff::Timestamp::now().as_second()).unwrap_or_default().to_string()
}
