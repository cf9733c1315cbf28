//! Procedures: what is done, step by step, as data.

use facts::knowledge::Mark;
use facts::{FaultId, Knowledge};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// The value of `schema` of a file of procedures.
pub const SCHEMA: &str = "sootwright.procedures/1";

/// One step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Identifier; steps of one identifier are done once for all procedures of a plan.
    pub id: String,
    /// What is done.
    pub text: String,
    /// Time of hands, minutes.
    #[serde(default)]
    pub hands_on_min: f64,
    /// Time that passes while nobody's hands are needed, minutes.
    #[serde(default)]
    pub wait_min: f64,
    /// Somebody must stay with the car while it waits.
    #[serde(default)]
    pub attended: bool,
    /// Steps that must be done before, where they are in the plan.
    #[serde(default)]
    pub after: Vec<String>,
    /// The car is on a lift.
    #[serde(default)]
    pub lift: bool,
    /// Tools.
    #[serde(default)]
    pub tools: Vec<String>,
    /// Parts, by their identifier in the workshop's price list.
    #[serde(default)]
    pub parts: Vec<String>,
    /// Fluids; lot and expiry are noted at the step.
    #[serde(default)]
    pub fluids: Vec<String>,
    /// Personal protection.
    #[serde(default)]
    pub ppe: Vec<String>,
    /// Cautions, with the reason.
    #[serde(default)]
    pub cautions: Vec<String>,
    /// Conditions without which the step may not be ticked.
    #[serde(default)]
    pub interlocks: Vec<String>,
    /// Photo, reading or scan to be kept.
    #[serde(default)]
    pub proof: Vec<String>,
    /// Values to enter into a controller, in what they mean.
    #[serde(default)]
    pub enter: Vec<String>,
    /// Until it is done no step of another procedure of the plan may begin (a car that must not be started).
    #[serde(default)]
    pub others_wait: bool,
    /// Where a figure of this step comes from, if not common practice.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// One procedure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Procedure {
    /// Identifier.
    pub id: String,
    /// Plain words.
    pub label: String,
    /// Faults that it mends.
    #[serde(default)]
    pub mends: Vec<FaultId>,
    /// Steps in their order; each comes after the one before unless it names others.
    pub step: Vec<Step>,
    /// How far to trust the minutes and what else has no source of its own.
    pub mark: Mark,
}

/// A way to answer a complaint about filter or additive, to be set beside others.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WayOut {
    /// Identifier.
    pub id: String,
    /// Plain words.
    pub label: String,
    /// Procedures that it takes.
    pub procedures: Vec<String>,
    /// Probability that it takes each fault away.
    pub cures: BTreeMap<FaultId, f64>,
    /// Probability that a car that was cured comes back within 1000 km all the same.
    pub relapse: f64,
    /// How far to trust the numbers.
    pub mark: Mark,
}

/// Everything about procedures.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Procedures {
    /// Procedures, each with whole steps.
    pub procedure: Vec<Procedure>,
    /// Ways to be set side by side.
    pub way: Vec<WayOut>,
}

/// What is wrong with procedures.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Fault {
    /// A file could not be read.
    #[error("{file}: {why}")]
    Unreadable {
        /// The file.
        file: String,
        /// Why, with the line where TOML gives one.
        why: String,
    },
    /// The schema is another.
    #[error("{file}: schema is {found:?}; a file of procedures begins with schema = {SCHEMA:?}")]
    Schema {
        /// The file.
        file: String,
        /// What it says.
        found: String,
    },
    /// A row is not whole or says what cannot be.
    #[error("{place}: {what}")]
    Row {
        /// File, line and row.
        place: String,
        /// What is wrong.
        what: String,
    },
    /// A reference leads nowhere.
    #[error("{place} names the {kind} {name:?}, which is not there")]
    Missing {
        /// File, line and row.
        place: String,
        /// What is missing.
        kind: &'static str,
        /// Its name.
        name: String,
    },
    /// Minutes or a probability are out of range.
    #[error("{place} has a number out of range: {value}")]
    Range {
        /// File, line and row.
        place: String,
        /// The number.
        value: f64,
    },
    /// Steps wait for each other.
    #[error("the steps of {0:?} wait for each other in a ring")]
    Ring(String),
}

impl Procedures {
    /// Reads the text of one file that stands alone.
    ///
    /// # Errors
    /// What is wrong, with its place.
    pub fn read(text: &str) -> Result<Self, Fault> {
        Self::read_all(&[("procedures", text)])
    }

    /// Reads named texts, later ones laid over earlier ones. A row with a known id replaces the keys it gives
    /// (the steps of a procedure as a whole, the cures of a way one by one); a row with a new id must be whole.
    ///
    /// # Errors
    /// What is wrong, with its place.
    pub fn read_all(texts: &[(&str, &str)]) -> Result<Self, Fault> {
        let mut merged = Merged::default();
        for (file, text) in texts {
            merged.add(file, text)?;
        }
        merged.finish()
    }

    /// The procedures this version was built with.
    ///
    /// # Errors
    /// None in a tested build: a test reads the same text.
    pub fn built_in() -> Result<Self, Fault> {
        Self::with(&[])
    }

    /// The procedures this version was built with and named texts laid over them.
    ///
    /// # Errors
    /// What is wrong with the texts, with its place.
    pub fn with(texts: &[(&str, &str)]) -> Result<Self, Fault> {
        let built_in = ("procedures.toml", include_str!("../../../knowledge/procedures.toml"));
        let all: Vec<(&str, &str)> = [built_in].into_iter().chain(texts.iter().copied()).collect();
        Self::read_all(&all)
    }

    /// Whether a text begins as a file of procedures, so that a folder can hold other files too.
    #[must_use]
    pub fn is_ours(text: &str) -> bool {
        let (document, _) = toml::de::DeTable::parse_recoverable(text.trim_start_matches('\u{feff}'));
        document
            .get_ref()
            .iter()
            .any(|(k, v)| k.get_ref() == "schema" && v.get_ref().as_str().is_some_and(|s| s == SCHEMA))
    }

    /// Faults that no procedure mends: their plan is one line from the row of the fault.
    #[must_use]
    pub fn missing(&self) -> Vec<FaultId> {
        let mended = |f: &FaultId| self.procedure.iter().any(|p| p.mends.contains(f));
        FaultId::ALL.iter().copied().filter(|f| !mended(f)).collect()
    }

    /// The procedure with this identifier.
    #[must_use]
    pub fn procedure(&self, id: &str) -> Option<&Procedure> {
        self.procedure.iter().find(|p| p.id == id)
    }

    /// The procedure that mends a fault, the one laid over last first; where none is written down, one step from
    /// the fault's own row.
    #[must_use]
    pub fn mending(&self, fault: FaultId, knowledge: &Knowledge) -> Procedure {
        if let Some(p) = self.procedure.iter().rev().find(|p| p.mends.contains(&fault)) {
            return p.clone();
        }
        let row = knowledge.fault(fault);
        let work = knowledge.work(fault);
        let lift =
            work.and_then(|w| w.set_up.as_deref()).is_some_and(|s| matches!(s, "lift" | "reservoir_down"));
        Procedure {
            id: fault.id().to_owned(),
            label: row.label.clone(),
            mends: vec![fault],
            step: vec![Step {
                id: format!("{}_repair", fault.id()),
                text: format!("{}, by the maker's procedure", row.repair.action),
                hands_on_min: row.repair.minutes,
                wait_min: work.map_or(0.0, |w| w.wait_minutes),
                attended: false,
                after: Vec::new(),
                lift,
                tools: Vec::new(),
                parts: Vec::new(),
                fluids: Vec::new(),
                ppe: Vec::new(),
                cautions: Vec::new(),
                interlocks: Vec::new(),
                proof: vec![row.repair.proof.clone()],
                enter: Vec::new(),
                others_wait: false,
                source: None,
            }],
            mark: row.mark,
        }
    }
}

/// Rows of one kind: in the order in which their ids first came, and by id with the place they last came from.
#[derive(Default)]
struct Rows {
    order: Vec<String>,
    row: BTreeMap<String, (toml::Table, String)>,
}

/// Files laid over each other.
#[derive(Default)]
struct Merged {
    step: Rows,
    procedure: Rows,
    way: Rows,
}

impl Merged {
    fn add(&mut self, file: &str, text: &str) -> Result<(), Fault> {
        let text = text.trim_start_matches('\u{feff}');
        let unreadable = |why: String| Fault::Unreadable { file: file.to_owned(), why };
        let read: toml::Table = toml::from_str(text).map_err(|e| unreadable(e.to_string()))?;
        let found = read.get("schema").and_then(toml::Value::as_str).unwrap_or_default();
        if found != SCHEMA {
            return Err(Fault::Schema { file: file.to_owned(), found: found.to_owned() });
        }
        for (key, value) in read {
            let (kind, rows) = match key.as_str() {
                "schema" => continue,
                "step" => ("step", &mut self.step),
                "procedure" => ("procedure", &mut self.procedure),
                "way" => ("way", &mut self.way),
                other => {
                    return Err(unreadable(format!(
                        "{other:?} is no list of ours; known are step, procedure, way"
                    )));
                }
            };
            let lines = lines_of(text, kind);
            let list = match value {
                toml::Value::Array(list) => list,
                _ => return Err(unreadable(format!("{kind} is a list: write [[{kind}]]"))),
            };
            for (i, row) in list.into_iter().enumerate() {
                let line = lines.get(i).copied().unwrap_or(1);
                let here = format!("{file}:{line}");
                let (Some(id), toml::Value::Table(row)) =
                    (row.get("id").and_then(|i| i.as_str()).map(str::to_owned), row)
                else {
                    return Err(Fault::Row { place: here, what: format!("a {kind} without an id") });
                };
                rows.lay(id.clone(), row, format!("{here}: {kind} {id:?}"));
            }
        }
        Ok(())
    }

    fn finish(self) -> Result<Procedures, Fault> {
        let mut procedure = Vec::new();
        let mut steps: BTreeSet<String> = BTreeSet::new();
        for (id, row, place) in self.procedure.in_order() {
            let mut row = row.clone();
            if let Some(toml::Value::Array(list)) = row.get_mut("step") {
                for step in list {
                    let toml::Value::Table(step) = step else { continue };
                    let shared =
                        step.get("id").and_then(toml::Value::as_str).and_then(|i| self.step.row.get(i));
                    for (key, value) in shared.iter().flat_map(|(row, _)| row) {
                        if !step.contains_key(key) {
                            step.insert(key.clone(), value.clone());
                        }
                    }
                }
            }
            let read: Procedure = into(row, place)?;
            let mut seen = BTreeSet::new();
            for s in &read.step {
                if !seen.insert(&s.id) {
                    let what = format!("the step {:?} is there twice", s.id);
                    return Err(Fault::Row { place: place.to_owned(), what });
                }
                if let Some(&value) =
                    [s.hands_on_min, s.wait_min].iter().find(|m| !(0.0..=100_000.0).contains(*m))
                {
                    return Err(Fault::Range { place: format!("{place}, step {:?}", s.id), value });
                }
                steps.insert(s.id.clone());
            }
            if read.step.is_empty() {
                return Err(Fault::Row { place: place.to_owned(), what: "has no step".into() });
            }
            debug_assert_eq!(id, read.id);
            procedure.push((read, place));
        }
        // A step may name one of another procedure: it counts where both are in one plan.
        for (p, place) in &procedure {
            for s in &p.step {
                if let Some(name) = s.after.iter().find(|a| !steps.contains(*a)) {
                    let place = format!("{place}, step {:?}", s.id);
                    return Err(Fault::Missing { place, kind: "step", name: name.clone() });
                }
            }
        }
        let mut way = Vec::new();
        for (_, row, place) in self.way.in_order() {
            let read: WayOut = into(row.clone(), place)?;
            if let Some(name) = read.procedures.iter().find(|p| !self.procedure.row.contains_key(*p)) {
                return Err(Fault::Missing {
                    place: place.to_owned(),
                    kind: "procedure",
                    name: name.clone(),
                });
            }
            let numbers = read.cures.values().chain([&read.relapse]);
            if let Some(&value) = numbers.into_iter().find(|p| !(0.0..=1.0).contains(*p)) {
                return Err(Fault::Range { place: place.to_owned(), value });
            }
            way.push(read);
        }
        Ok(Procedures { procedure: procedure.into_iter().map(|(p, _)| p).collect(), way })
    }
}

impl Rows {
    fn lay(&mut self, id: String, row: toml::Table, place: String) {
        let there = self.row.entry(id.clone()).or_insert_with(|| {
            self.order.push(id);
            Default::default()
        });
        there.1 = place;
        for (key, value) in row {
            match (there.0.get_mut(&key), value) {
                (Some(toml::Value::Table(old)), toml::Value::Table(more)) => old.extend(more),
                (_, value) => {
                    there.0.insert(key, value);
                }
            }
        }
    }

    fn in_order(&self) -> impl Iterator<Item = (&str, &toml::Table, &str)> {
        self.order
            .iter()
            .filter_map(|id| self.row.get(id).map(|(row, place)| (id.as_str(), row, place.as_str())))
    }
}

fn into<T: serde::de::DeserializeOwned>(row: toml::Table, place: &str) -> Result<T, Fault> {
    row.try_into().map_err(|e: toml::de::Error| Fault::Row {
        place: place.to_owned(),
        what: e.message().trim_end().to_owned(),
    })
}

/// The line on which each row of a list begins.
fn lines_of(text: &str, list: &str) -> Vec<usize> {
    let head = format!("[[{list}]]");
    let begins = |l: &str| l.split('#').next().is_some_and(|l| l.trim() == head);
    text.lines().enumerate().filter(|(_, l)| begins(l)).map(|(i, _)| i + 1).collect()
}
