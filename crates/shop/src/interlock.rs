//! Interlocks: what must hold before a step may be ticked, as data.

use crate::procedure::{Fault, Step};
use serde::{Deserialize, Serialize};

/// The value of `schema` of a file of interlocks.
pub const SCHEMA: &str = "sootwright.interlocks/1";

/// What makes an interlock hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Holds {
    /// The fluid was looked at twice, independently, and is right for the car.
    TwoLooks,
    /// A photo is kept with the step.
    Photo,
    /// A person looked and says so.
    Confirmed,
    /// The weight before pouring is noted.
    WeighedBefore,
    /// The weight after pouring is noted, and is not below the one before.
    WeighedAfter,
    /// A clock ran for so many minutes, and a person looked afterwards.
    Waited,
    /// The controller's old values are written down.
    ValuesSaved,
    /// The values entered are read back and are those entered.
    ValuesReadBack,
}

/// An interlock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Interlock {
    /// Identifier.
    pub id: String,
    /// Steps it goes with.
    pub steps: Vec<String>,
    /// What makes it hold.
    pub holds: Holds,
    /// Length of the wait, minutes.
    #[serde(default)]
    pub minutes: f64,
    /// The step cannot be left out with a reason.
    pub safety: bool,
    /// The step's own words for the same condition.
    #[serde(default)]
    pub covers: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    schema: String,
    interlock: Vec<Interlock>,
}

fn unreadable(why: String) -> Fault {
    Fault::Unreadable { file: "interlocks".into(), why }
}

/// All interlocks.
#[derive(Debug, Clone, PartialEq)]
pub struct Interlocks(Vec<Interlock>);

impl Interlocks {
    /// Reads a file of interlocks.
    ///
    /// # Errors
    /// What is wrong, with the place where TOML gives one.
    pub fn read(text: &str) -> Result<Self, Fault> {
        let file: File = toml::from_str(text).map_err(|e| unreadable(e.to_string()))?;
        if file.schema != SCHEMA {
            return Err(unreadable(format!(
                "schema is {:?}; a file of interlocks begins with schema = {SCHEMA:?}",
                file.schema
            )));
        }
        if let Some(i) = file.interlock.iter().find(|i| !(0.0..=10_000.0).contains(&i.minutes)) {
            return Err(Fault::Range { place: i.id.clone(), value: i.minutes });
        }
        Ok(Self(file.interlock))
    }

    /// The interlocks this version was built with.
    ///
    /// # Errors
    /// None in a tested build: a test reads the same text.
    pub fn built_in() -> Result<Self, Fault> {
        Self::read(include_str!("../../../knowledge/interlocks.toml"))
    }

    /// All interlocks of a step: those of the file, then the step's own words that none of them covers, each to
    /// be confirmed by a person. The latter have the words as identifier.
    #[must_use]
    pub fn of(&self, step: &Step) -> Vec<Interlock> {
        let mut out: Vec<Interlock> = self.0.iter().filter(|i| i.steps.contains(&step.id)).cloned().collect();
        for words in &step.interlocks {
            if out.iter().any(|i| i.covers.contains(words)) {
                continue;
            }
            out.push(Interlock {
                id: words.clone(),
                steps: vec![step.id.clone()],
                holds: Holds::Confirmed,
                minutes: 0.0,
                safety: true,
                covers: vec![words.clone()],
            });
        }
        out
    }
}
