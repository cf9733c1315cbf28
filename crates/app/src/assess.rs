//! `sootwright assess`: case in, answer out.

use crate::cli::Assess;
use crate::failure::{Failure, Outcome};
use crate::inputs::Inputs;
use crate::output::Output;
use crate::words::say_with;
use crate::{args, now, print, print_json, report, text};
use infer::Evidence;
use infer::assessment::Assessment;
use std::path::Path;

/// Runs the command.
pub fn run(order: &Assess) -> Result<Outcome, Failure> {
    let inputs = Inputs::read(&order.case, order.knowledge.as_deref())?;
    let assessment = assess(&inputs);
    let made_at = now();
    if let Some(path) = &order.report {
        write_report(path, &assessment, &inputs, &made_at)?;
    }
    if order.json {
        print_json(&Output::new(&assessment, &inputs, &made_at))?;
    } else {
        let mut answer = text::assessment(&assessment, &inputs, &made_at);
        if let Some(path) = &order.report {
            answer.push_str(&say_with("note-report", &args! { "path" => path.display().to_string() }));
            answer.push('\n');
        }
        print(&answer)?;
    }
    Ok(outcome(&assessment))
}

/// The answer to what was read.
pub fn assess(inputs: &Inputs) -> Assessment {
    let visits = inputs.visits();
    // There is always the last visit.
    infer::life::assess(&visits).unwrap_or_else(|| {
        infer::assess(&Evidence {
            case: &inputs.case,
            recordings: &inputs.recordings,
            knowledge: inputs.knowledge(),
        })
    })
}

/// Writes the report, with the folders it lies in.
pub fn write_report(path: &Path, a: &Assessment, inputs: &Inputs, made_at: &str) -> Result<(), Failure> {
    write_page(path, &report::page(a, inputs, made_at))
}

/// Writes a page, with the folders it lies in.
pub fn write_page(path: &Path, page: &str) -> Result<(), Failure> {
    let refuse = |e: std::io::Error| Failure::write(&path.display().to_string(), &e);
    if let Some(folder) = path.parent().filter(|p| !p.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder).map_err(refuse)?;
    }
    std::fs::write(path, page).map_err(refuse)
}

/// Answered, or neither soot nor the fault set told.
pub fn outcome(a: &Assessment) -> Outcome {
    if a.tells_nothing() { Outcome::TellsNothing } else { Outcome::Answered }
}
