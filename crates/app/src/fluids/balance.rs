//! The balance of a car's additive from its case file.

use super::envelope;
use crate::cli::Balance as Order;
use crate::failure::{Failure, Outcome};
use crate::inputs::Inputs;
use crate::output::{Additive, FaultProbability, OpenQuestion, id, open_questions};
use crate::{print, print_json, text};
use infer::balance::{AdditivePrior, balance};
use serde::Serialize;

#[derive(Serialize)]
struct Answer {
    #[serde(flatten)]
    additive: Additive,
    additive_faults: Vec<FaultProbability>,
    cannot_tell: Vec<OpenQuestion>,
    problems: Vec<crate::output::Problem>,
}

/// Runs the command. Recordings that the case names are not needed for the balance, but are read and hashed with it.
pub fn run(order: &Order) -> Result<Outcome, Failure> {
    let inputs = Inputs::read(&order.case, order.knowledge.as_deref())?;
    let b = balance(&inputs.case, &AdditivePrior::default(), order.reserve_l);
    if order.json {
        let additive_faults = b
            .additive_faults
            .iter()
            .map(|&(f, probability)| FaultProbability { id: id(f).to_owned(), probability })
            .collect();
        let answer = Answer {
            additive: Additive::of(&b),
            additive_faults,
            cannot_tell: open_questions(&b.cannot_tell, inputs.knowledge()),
            problems: inputs.problems.clone(),
        };
        let value = serde_json::to_value(&answer).unwrap_or_default();
        print_json(&envelope("balance", inputs.list.clone(), value))?;
    } else {
        print(&text::balance(&b, &inputs))?;
    }
    Ok(Outcome::Answered)
}
