//! A workshop's own numbers over the knowledge: each with its source, who set it and when. A number is never changed:
//! a later one for the same place counts instead, and the earlier ones stay to be seen.

use crate::fail::Fail;
use facts::Knowledge;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use shop::Id;
use store::Records;

/// What the rows are called among the plain rows.
pub const KIND: &str = "overlay";
/// Rows read at most.
const MOST: u32 = 10_000;

/// Which number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Number {
    /// How often a fault is the cause, relative to the others.
    Weight,
    /// Minutes that a look takes.
    Minutes,
    /// How likely *yes* is where nothing explains it.
    Background,
    /// How likely *yes* is under a fault.
    Likelihood,
}

impl Number {
    /// Every number, as forms name it.
    pub const ALL: [(Self, &'static str); 4] = [
        (Self::Weight, "weight"),
        (Self::Minutes, "minutes"),
        (Self::Background, "background"),
        (Self::Likelihood, "likelihood"),
    ];

    /// Its word in forms and files.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::ALL.iter().find(|n| n.0 == self).map_or("", |n| n.1)
    }
}

/// A number of the workshop's own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Own {
    /// When it was set, ms since 1970.
    pub at_ms: i64,
    /// Who set it.
    pub by: Id,
    /// Which number.
    pub number: Number,
    /// Of which fault; empty where it is of none.
    pub fault: String,
    /// Of which observation; empty where it is of none.
    pub observation: String,
    /// The number; none takes the workshop's own one back.
    pub value: Option<f64>,
    /// Where it comes from, or why it is taken back.
    pub source: String,
}

impl Own {
    /// Where it counts.
    fn place(&self) -> (&str, &str, &str) {
        (self.number.word(), &self.fault, &self.observation)
    }

    /// The number that counted before.
    #[must_use]
    pub fn before(&self, k: &Knowledge) -> Option<f64> {
        let fault = || k.faults().iter().find(|f| f.id == self.fault);
        match self.number {
            Number::Weight => fault().map(|f| f.prior_weight),
            Number::Minutes => k.observation(&self.observation).map(|o| o.minutes),
            Number::Background => k.observation(&self.observation).map(|o| o.background),
            Number::Likelihood => self.likelihood(k).map(|l| l.p),
        }
    }

    fn likelihood<'a>(&self, k: &'a Knowledge) -> Option<&'a facts::knowledge::Likelihood> {
        k.likelihood(facts::FaultId::from_id(&self.fault)?, &self.observation)
    }

    /// As a file that is laid over the knowledge.
    fn text(&self, k: &Knowledge) -> Result<String, String> {
        let Some(value) = self.value else { return Ok(String::new()) };
        let mut row = Map::new();
        let mut put = |key: &str, v: Value| row.insert(key.into(), v);
        let file = match self.number {
            Number::Weight => {
                put("id", json!(self.fault));
                put("prior_weight", json!(value));
                put("mark", json!("seen"));
                put("reason", json!(self.source));
                json!({ "schema": "sootwright.faults/1", "fault": [row] })
            }
            Number::Minutes | Number::Background => {
                put("id", json!(self.observation));
                let key = if self.number == Number::Minutes { "minutes" } else { "background" };
                put(key, json!(value));
                put("mark", json!("seen"));
                put("source", json!(self.source));
                json!({ "schema": "sootwright.observations/1", "observation": [row] })
            }
            Number::Likelihood => {
                put("p", json!(value));
                put("mark", json!("seen"));
                put("reason", json!(self.source));
                if self.likelihood(k).is_some_and(|l| l.overrides) {
                    put("overrides", json!(true));
                }
                let of: Map<String, Value> =
                    [(self.observation.clone(), Value::Object(row))].into_iter().collect();
                let rows: Map<String, Value> =
                    [(self.fault.clone(), Value::Object(of))].into_iter().collect();
                json!({ "schema": "sootwright.likelihoods/1", "likelihood": rows })
            }
        };
        toml::to_string(&file).map_err(|e| e.to_string())
    }
}

/// Every number of the workshop's own, the earliest first, each with whether it counts.
///
/// # Errors
/// When the records cannot be read.
pub async fn all(records: &dyn Records) -> Result<Vec<(Own, bool)>, Fail> {
    let rows = records.find(KIND, "", MOST).await?;
    let mut list: Vec<Own> = rows.iter().filter_map(|r| serde_json::from_str(&r.body).ok()).collect();
    list.sort_by_key(|o| o.at_ms);
    Ok((0..list.len())
        .filter_map(|i| {
            let one = list.get(i)?;
            let later = list.iter().skip(i + 1).any(|o| o.place() == one.place());
            Some((one.clone(), !later && one.value.is_some()))
        })
        .collect())
}

/// The knowledge with the workshop's own numbers laid over it, checked as every overlay is.
///
/// # Errors
/// What is wrong with them, one sentence each.
pub fn laid_over<'a>(base: &Knowledge, own: impl Iterator<Item = &'a Own>) -> Result<Knowledge, Vec<String>> {
    let mut k = base.clone();
    for o in own {
        let text = o.text(&k).map_err(|e| vec![e])?;
        if !text.is_empty() {
            let laid = k.overlay(&[("own numbers", text.as_str())]);
            k = laid.map_err(|e| {
                e.findings.iter().map(|f| format!("{}. {}", f.what, f.advice)).collect::<Vec<_>>()
            })?;
        }
    }
    Ok(k)
}
