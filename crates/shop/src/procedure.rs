//! Procedures: what is done, step by step, as data.

use facts::knowledge::Mark;
use facts::{FaultId, Knowledge};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// The value of `schema` of a file of procedures.
pub const SCHEMA: &str = "sootwright.procedures/1";

/// One step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
}

/// One procedure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
    /// How far to trust the minutes.
    pub mark: Mark,
}

/// A way to answer a complaint about filter or additive, to be set beside others.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Procedures {
    /// Always `sootwright.procedures/1`.
    pub schema: String,
    /// Procedures.
    #[serde(default)]
    pub procedure: Vec<Procedure>,
    /// Ways to be set side by side.
    #[serde(default)]
    pub way: Vec<WayOut>,
}

/// What is wrong with a file of procedures.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Fault {
    /// It could not be read.
    #[error("{0}")]
    Unreadable(String),
    /// The schema is another.
    #[error("schema is {0:?}; a file of procedures begins with schema = {SCHEMA:?}")]
    Schema(String),
    /// A reference leads nowhere.
    #[error("{0:?} names the {1} {2:?}, which is not there")]
    Missing(String, &'static str, String),
    /// Minutes or a probability are out of range.
    #[error("{0:?} has a number out of range: {1}")]
    Range(String, f64),
    /// Steps wait for each other.
    #[error("the steps of {0:?} wait for each other in a ring")]
    Ring(String),
}

impl Procedures {
    /// Reads procedures.
    ///
    /// # Errors
    /// What is wrong, with the place where TOML gives one.
    pub fn read(text: &str) -> Result<Self, Fault> {
        let read: Self = toml::from_str(text).map_err(|e| Fault::Unreadable(e.to_string()))?;
        if read.schema != SCHEMA {
            return Err(Fault::Schema(read.schema));
        }
        let ids: BTreeSet<&str> = read.procedure.iter().map(|p| p.id.as_str()).collect();
        let steps: BTreeSet<&str> =
            read.procedure.iter().flat_map(|p| &p.step).map(|s| s.id.as_str()).collect();
        for p in &read.procedure {
            for s in &p.step {
                if let Some(a) = s.after.iter().find(|a| !steps.contains(a.as_str())) {
                    return Err(Fault::Missing(s.id.clone(), "step", a.clone()));
                }
                for m in [s.hands_on_min, s.wait_min] {
                    if !(0.0..=100_000.0).contains(&m) {
                        return Err(Fault::Range(s.id.clone(), m));
                    }
                }
            }
        }
        for w in &read.way {
            if let Some(p) = w.procedures.iter().find(|p| !ids.contains(p.as_str())) {
                return Err(Fault::Missing(w.id.clone(), "procedure", p.clone()));
            }
            if let Some(&p) = w.cures.values().chain([&w.relapse]).find(|p| !(0.0..=1.0).contains(*p)) {
                return Err(Fault::Range(w.id.clone(), p));
            }
        }
        Ok(read)
    }

    /// The procedures this version was built with.
    ///
    /// # Errors
    /// None in a tested build: a test reads the same text.
    pub fn built_in() -> Result<Self, Fault> {
        Self::read(include_str!("../../../knowledge/procedures.toml"))
    }

    /// The procedure with this identifier.
    #[must_use]
    pub fn procedure(&self, id: &str) -> Option<&Procedure> {
        self.procedure.iter().find(|p| p.id == id)
    }

    /// The procedure that mends a fault; where none is written down, one step from the fault's own row.
    #[must_use]
    pub fn mending(&self, fault: FaultId, knowledge: &Knowledge) -> Procedure {
        if let Some(p) = self.procedure.iter().find(|p| p.mends.contains(&fault)) {
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
            }],
            mark: row.mark,
        }
    }
}
