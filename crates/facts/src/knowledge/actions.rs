//! What acting costs, whether it works, what it may break, and which signs hang together.

use super::{Counted, Mark};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A price or a time that holds for the whole workshop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rate {
    /// Identifier: `labour_eur_per_hour`, `waiting_eur_per_hour`, `final_test_minutes`,
    /// `final_test_misses`, `come_back_eur`, `refer_eur`, `refer_factor`.
    pub id: String,
    /// Plain words.
    pub label: String,
    /// The number, in the unit that its identifier names.
    #[schemars(range(min = 0.0, max = 1e6))]
    pub value: f64,
    /// How far to trust it.
    pub mark: Mark,
    /// Why this number, where there is more to say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// How the repair of one fault is done: what the row of the fault leaves out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Work {
    /// The fault it mends: an identifier of [`crate::FaultId`].
    pub id: String,
    /// Probability that the repair, done once and well, takes this fault away.
    #[schemars(range(min = 0.01, max = 1.0))]
    pub works: f64,
    /// How far to trust it.
    pub mark: Mark,
    /// What must be in place first: the id of a [`super::SetUp`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_up: Option<String>,
    /// Time nobody works and the car stands (cleaning elsewhere, a part that must come), minutes.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 100_000.0))]
    pub wait_minutes: f64,
    /// Expected damage when it is done although the fault is not there, EUR beyond the price of the work.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 1e6))]
    pub harm_eur: f64,
    /// Why, where there is more to say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// What was counted, where the figure comes from counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counted: Option<Counted>,
}

/// Observations that one mechanism moves together, so that the second tells less than the first.
///
/// Each keeps the probability of its own row. With probability `together` all of them are decided by one
/// draw (whatever is likelier is true wherever the less likely is), otherwise each by its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Mechanism {
    /// Identifier.
    pub id: String,
    /// What they share.
    pub label: String,
    /// Identifiers of the observations; an observation stands in at most one mechanism.
    pub observations: Vec<String>,
    /// Probability that one draw decides them all.
    #[schemars(range(min = 0.0, max = 0.99))]
    pub together: f64,
    /// How far to trust it.
    pub mark: Mark,
    /// Why.
    pub reason: String,
}

/// A safety rule: what may not be proposed, and when.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rule {
    /// Identifier.
    pub id: String,
    /// Why, in plain words.
    pub label: String,
    /// Set-ups (and what needs them) that may not be proposed while the rule holds.
    pub forbids: Vec<String>,
    /// The rule holds while these faults together are likelier than `above`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<String>,
    /// Probability above which it holds.
    #[serde(default = "one")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub above: f64,
    /// The rule holds while one of these observations is *yes*.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub while_yes: Vec<String>,
    /// These observations must be made before what it forbids; until then they are what is proposed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub look_first: Vec<String>,
    /// What takes the condition of `while_yes` away, where something does (change the oil, put fuel in).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
    /// Price of the remedy, work included, EUR.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 1e6))]
    pub remedy_eur: f64,
    /// How far to trust the numbers.
    pub mark: Mark,
    /// Where the rule comes from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

fn one() -> f64 {
    1.0
}
