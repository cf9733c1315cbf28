//! `sootwright additive ...`: questions about fluids, answered from a file of facts by the `additive` crate.
//!
//! Every question has one shape: facts come as TOML, the answer is a value (printed as JSON) and sentences (printed
//! as text). `--example` prints facts to start from.

mod balance;
mod dose;
mod entry;
mod fill;
mod folder;
mod forecast;
mod identify;
mod kinds;
mod lots;
mod mixup;
mod stock;

pub use folder::fill_in;
pub use kinds::reservoirs;

use crate::cli::{Additive, AdditiveCommand, Question};
use crate::failure::{Failure, Outcome};
use crate::inputs::{read_text, toml_files};
use crate::output::{Input, Program};
use crate::text::Page;
use crate::words::{say, say_with, words};
use crate::{args, now, print, print_json};
use additive::Message;
use additive::fluid::Library;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::path::Path;

/// Fluids this version was built with.
const FLUIDS: &str = include_str!("../../../../knowledge/fluids.toml");

/// Runs the command.
pub fn run(order: &Additive) -> Result<Outcome, Failure> {
    match &order.command {
        AdditiveCommand::Balance(order) => balance::run(order),
        AdditiveCommand::Identify(q) => answer(q, "identify", identify::EXAMPLE, identify::answer),
        AdditiveCommand::Dose(q) => answer(q, "dose", dose::EXAMPLE, dose::answer),
        AdditiveCommand::Fill(order) if order.live => fill::live(&order.question, order.scale.as_deref()),
        AdditiveCommand::Fill(order) => answer(&order.question, "fill", fill::EXAMPLE, fill::answer),
        AdditiveCommand::Entry(q) => answer(q, "entry", entry::EXAMPLE, entry::answer),
        AdditiveCommand::Mixup(q) => answer(q, "mixup", mixup::EXAMPLE, mixup::answer),
        AdditiveCommand::Stock(q) => answer(q, "stock", stock::EXAMPLE, stock::answer),
        AdditiveCommand::Forecast(order) => forecast::run(order),
        AdditiveCommand::Lots(order) => lots::run(order),
        AdditiveCommand::Fluids(order) => kinds::fluids(order),
        AdditiveCommand::Reservoirs(order) => kinds::kinds(order),
    }
}

/// An answer as a value and as a text.
pub struct Answer {
    value: Value,
    page: Page,
}

impl Answer {
    /// An answer from what the crate gave.
    pub fn new(value: &impl Serialize, page: Page) -> Self {
        Self { value: serde_json::to_value(value).unwrap_or(Value::Null), page }
    }
}

/// What an answer carries around it.
#[derive(Serialize)]
struct Envelope {
    schema: String,
    program: Program,
    made_at: String,
    inputs: Vec<Input>,
    #[serde(flatten)]
    answer: Value,
}

/// Wraps an answer for other programs.
pub fn envelope(what: &str, inputs: Vec<Input>, mut answer: Value) -> impl Serialize {
    worded(&mut answer);
    if !answer.is_object() {
        answer = serde_json::json!({ "answer": answer });
    }
    Envelope {
        schema: format!("sootwright.additive-{what}/1"),
        program: Program::this(),
        made_at: now(),
        inputs,
        answer,
    }
}

/// Adds the English sentence to every message (an object of `key` and `arguments`) inside a value.
fn worded(value: &mut Value) {
    match value {
        Value::Array(list) => list.iter_mut().for_each(worded),
        Value::Object(object) => {
            object.values_mut().for_each(worded);
            if let (2, Some(Value::String(key)), Some(Value::Object(arguments))) =
                (object.len(), object.get("key"), object.get("arguments"))
            {
                let mut args = fluent_bundle::FluentArgs::new();
                for (name, argument) in arguments {
                    match argument {
                        Value::Number(n) => args.set(name.clone(), n.as_f64().unwrap_or(f64::NAN)),
                        Value::String(s) => args.set(name.clone(), s.clone()),
                        _ => {}
                    }
                }
                let text = say_with(key, &args);
                object.insert("text".into(), text.into());
            }
        }
        _ => {}
    }
}

/// Facts of a question with where they came from.
pub struct Facts<T> {
    /// The facts.
    pub facts: T,
    /// Fluids known, the workshop's own laid over.
    pub library: Library,
    path: String,
    inputs: Vec<Input>,
}

impl<T> Facts<T> {
    /// Says of a refusal which file it concerns.
    pub fn physics(&self, e: &additive::Error) -> Failure {
        Failure::Refused(say_with(
            "error-physics",
            &args! { "path" => self.path.clone(), "why" => e.to_string() },
        ))
    }
}

fn read<T: DeserializeOwned>(order: &Question) -> Result<Facts<T>, Failure> {
    let Some(path) = &order.facts else { return Err(Failure::Usage(say("error-needs-facts"))) };
    let (text, hash) = read_text(path)?;
    let shown = path.display().to_string();
    let facts = toml::from_str(&text).map_err(|e| misread(&shown, &text, &e))?;
    let mut inputs = vec![Input { path: shown.clone(), kind: "facts".into(), blake3: hash }];
    let library = library(order.knowledge.as_deref(), &mut inputs)?;
    Ok(Facts { facts, library, path: shown, inputs })
}

fn misread(path: &str, text: &str, e: &toml::de::Error) -> Failure {
    let start = e.span().map_or(0, |s| s.start).min(text.len());
    let before = text.get(..start).unwrap_or_default();
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().map_or(0, |l| l.chars().count()) + 1;
    Failure::Refused(say_with(
        "error-facts",
        &args! {
            "path" => path.to_owned(),
            "line" => line.to_string(),
            "column" => column.to_string(),
            "why" => e.message().to_owned(),
        },
    ))
}

/// Texts of one format in a folder, with their names; files of other formats are left to others.
fn own_texts(
    folder: Option<&Path>,
    schema: &str,
    inputs: &mut Vec<Input>,
) -> Result<Vec<(String, String)>, Failure> {
    let mut own = Vec::new();
    for path in folder.map(toml_files).transpose()?.unwrap_or_default() {
        let (text, hash) = read_text(&path)?;
        let ours = toml::from_str::<toml::Table>(&text)
            .is_ok_and(|t| t.get("schema").and_then(toml::Value::as_str) == Some(schema));
        if ours {
            let shown = path.display().to_string();
            inputs.push(Input { path: shown.clone(), kind: "knowledge".into(), blake3: hash });
            own.push((shown, text));
        }
    }
    Ok(own)
}

/// Built-in fluids with those of a folder laid over.
fn library(folder: Option<&Path>, inputs: &mut Vec<Input>) -> Result<Library, Failure> {
    let own = own_texts(folder, additive::fluid::SCHEMA, inputs)?;
    let built_in = std::iter::once(("fluids.toml", FLUIDS));
    let own = own.iter().map(|(name, text)| (name.as_str(), text.as_str()));
    Library::from_texts(built_in.chain(own)).map_err(|e| Failure::Refused(e.to_string()))
}

fn answer<T: DeserializeOwned>(
    order: &Question,
    what: &str,
    example: &str,
    find: impl Fn(&Facts<T>) -> Result<Answer, Failure>,
) -> Result<Outcome, Failure> {
    if order.example {
        print(example)?;
        return Ok(Outcome::Answered);
    }
    let facts = read::<T>(order)?;
    let answer = find(&facts)?;
    if order.json {
        print_json(&envelope(what, facts.inputs, answer.value))?;
    } else {
        print(&answer.page.finish())?;
    }
    Ok(Outcome::Answered)
}

/// A list of sentences below a heading; nothing when there are none.
fn sentences(page: &mut Page, head: &str, list: &[Message]) {
    if !list.is_empty() {
        page.heading(&say(head));
        for m in list {
            page.item(&words().fluid(m));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn try_example<T: DeserializeOwned>(
        example: &str,
        find: impl Fn(&Facts<T>) -> Result<Answer, Failure>,
    ) -> Value {
        let facts = toml::from_str(example).expect("the example is TOML of its question");
        let library = library(None, &mut Vec::new()).expect("built-in fluids");
        let facts = Facts { facts, library, path: "example".into(), inputs: Vec::new() };
        let answer = find(&facts).unwrap_or_else(|e| panic!("{e}"));
        assert!(answer.page.finish().len() > 80);
        let mut value = answer.value;
        worded(&mut value);
        assert!(!value.to_string().contains("\"[") && !value.to_string().contains("{$"), "{value}");
        value
    }

    #[test]
    fn regress_every_example_is_answered() {
        try_example(identify::EXAMPLE, identify::answer);
        try_example(dose::EXAMPLE, dose::answer);
        try_example(fill::EXAMPLE, fill::answer);
        try_example(entry::EXAMPLE, entry::answer);
        try_example(mixup::EXAMPLE, mixup::answer);
        try_example(stock::EXAMPLE, stock::answer);
    }

    #[test]
    fn analytic_example_of_the_dose() {
        // 25 mg/kg in fuel of 835 kg/m3 from 21.6 g/L is 0.9664 mL/L; at 6.5 L per 100 km 62.8 mL per 1000 km.
        let v = try_example(dose::EXAMPLE, dose::answer);
        assert!((v["volume_dose_ml_per_l"].as_f64().unwrap() - 0.9664).abs() < 1e-3, "{v}");
        assert!((v["use_ml_per_1000km"].as_f64().unwrap() - 62.8).abs() < 0.1, "{v}");
    }
}
