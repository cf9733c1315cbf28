//! The rows of the knowledge files.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// How far a number can be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// Reasoned from the mechanism by whoever wrote the row; nobody counted.
    ExpertGuess,
    /// Common practice of the trade; no source.
    CommonPractice,
    /// Informed by something published, named in `source`.
    Seen,
    /// Counted by the workshop that overlays the row.
    Counted,
}

/// What workshops counted for a row, and what the row said before.
///
/// A figure that comes from counts keeps the figure before them, so that counting again starts from there and no
/// car is added twice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Counted {
    /// Cars that speak for it.
    #[schemars(range(min = 0.0, max = 1e9))]
    pub yes: f64,
    /// Cars that were asked.
    #[schemars(range(min = 0.0, max = 1e9))]
    pub of: f64,
    /// The probability before (a weight is given as its share of all weights).
    #[schemars(range(min = 0.0, max = 1.0))]
    pub before: f64,
    /// As many counted cars the probability before was taken to be worth.
    #[schemars(range(min = 1e-3, max = 1e6))]
    pub worth: f64,
    /// The workshops that counted, by the names they made up for it.
    pub by: Vec<String>,
    /// Month up to which they counted, as YYYY-MM.
    pub until: String,
    /// The program that worked it out, with its version.
    pub program: String,
}

/// A class of repair cost, parts and labour.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CostClass {
    /// Letter.
    pub id: String,
    /// From, EUR.
    #[schemars(range(min = 0.0, max = 1e6))]
    pub from_eur: f64,
    /// To, EUR; a typical figure of the class where it is open above.
    #[schemars(range(min = 0.0, max = 1e6))]
    pub to_eur: f64,
}

/// What mends a fault.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Repair {
    /// What is done.
    pub action: String,
    /// Working time, minutes.
    #[schemars(range(min = 0.0, max = 10_000.0))]
    pub minutes: f64,
    /// Class of cost, see [`Knowledge::cost_class`](super::Knowledge::cost_class).
    pub cost_class: String,
    /// What shows that it worked.
    pub proof: String,
}

/// What is known about one fault, or about a car without one (`none`).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// The identifier of [`FaultId`](crate::FaultId), or `none`.
    pub id: String,
    /// Plain words.
    pub label: String,
    /// Family: additive, data_entry, fluid, pressure_sensing, temperature_sensing, filter, engine, use, none.
    pub family: String,
    /// From which magnitude it counts as a fault.
    pub magnitude: String,
    /// Weight among the cars that come with a complaint about filter or additive; [`Knowledge::prior`](super::Knowledge::prior) is
    /// this over the sum of all.
    #[schemars(range(min = 1e-6, max = 1e6))]
    pub prior_weight: f64,
    /// How far to trust the weight.
    pub mark: Mark,
    /// Why this weight, where there is more to say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// What mends it.
    pub repair: Repair,
    /// What was counted, where the figure comes from counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counted: Option<Counted>,
}

/// What must be in place before a test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetUp {
    /// Identifier.
    pub id: String,
    /// Plain words.
    pub label: String,
    /// Working time to bring it about, minutes; paid once for all tests that need it.
    #[schemars(range(min = 0.0, max = 10_000.0))]
    pub minutes: f64,
    /// Time nobody works and the car stands, minutes.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 100_000.0))]
    pub wait_minutes: f64,
    /// Another set-up that must be in place before this one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub needs: Option<String>,
    /// It must be made again after the car was driven.
    #[serde(default)]
    pub ends_with_drive: bool,
    /// It is a drive, so that it ends what ends with one.
    #[serde(default)]
    pub drive: bool,
    /// The engine runs in it.
    #[serde(default)]
    pub engine_runs: bool,
    /// Expected damage of bringing it about where nothing forbids it, EUR.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 1e6))]
    pub harm_eur: f64,
    /// How far to trust the numbers.
    #[serde(default = "common_practice")]
    pub mark: Mark,
}

fn common_practice() -> Mark {
    Mark::CommonPractice
}

/// Kind of observation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ObservationKind {
    /// A family of trouble codes is in the fault memory.
    TroubleCode,
    /// A lamp, or what the driver notices.
    DriverOrLamp,
    /// A reading or a test on the car.
    Reading,
    /// Something seen.
    Visual,
    /// A question to the driver or the papers.
    Question,
}

/// Something that can be observed: yes, no, or not done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Observation {
    /// Identifier.
    pub id: String,
    /// What *yes* means.
    pub label: String,
    /// The question in plain words.
    pub question: String,
    /// Kind.
    pub kind: ObservationKind,
    /// Observations of one group are states of one reading: at most one of them is *yes*, none of them is
    /// the normal state.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exclusive_group: Option<String>,
    /// Probability of *yes* in a car that comes in with a complaint, whatever its fault.
    #[schemars(range(min = 1e-4, max = 0.9999))]
    pub background: f64,
    /// How far to trust the background.
    pub mark: Mark,
    /// Working time of the test itself, minutes.
    #[schemars(range(min = 0.0, max = 10_000.0))]
    pub minutes: f64,
    /// What must be in place first: the id of a [`SetUp`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_up: Option<String>,
    /// Who may do it.
    pub who: String,
    /// How it is done.
    pub how: String,
    /// Trouble codes that answer *yes*: `P2463`, `P2452-P2456`, `3251/0`, `3251/2-5`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub codes: Vec<String>,
    /// Source of what is not ours.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// Part of the trouble codes of one observation: codes whose standard name says more closely what is wrong.
///
/// The observation says whether any code of its family is stored; the group, which of them. Its shares are
/// conditional on the former and so never count the family twice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CodeGroup {
    /// Identifier.
    pub id: String,
    /// The observation whose family it parts.
    pub observation: String,
    /// What the codes say.
    pub label: String,
    /// Its trouble codes, written as those of an [`Observation`].
    pub codes: Vec<String>,
    /// Share of the family's stored codes that lie in this group, whatever the fault.
    #[schemars(range(min = 0.01, max = 0.99))]
    pub share: f64,
    /// The same by fault, where the fault's mechanism favours or excludes the group. Groups of the family
    /// that a fault does not list share what it leaves by their own shares.
    #[serde(default)]
    pub under: BTreeMap<String, f64>,
    /// How far to trust the shares.
    pub mark: Mark,
    /// Why.
    pub reason: String,
    /// Source of what is not ours.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// Probability of an observation under one fault.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Likelihood {
    /// Probability of *yes* when this fault is present alone.
    #[schemars(range(min = 1e-4, max = 0.9999))]
    pub p: f64,
    /// How far to trust it.
    pub mark: Mark,
    /// Why.
    pub reason: String,
    /// Source, where the number is informed by one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// The observation follows this fault alone, whatever else is wrong (a hose that is off decides the
    /// reading of a full filter).
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub overrides: bool,
    /// What was counted, where the figure comes from counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counted: Option<Counted>,
}
