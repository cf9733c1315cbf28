//! Records: dated facts that are only ever added to.
//!
//! A correction is a new fact that names the one it replaces; nothing is rewritten. Nothing in a fact says who
//! a person is: people stand behind identifiers, plates and owners' words lie in plain tables beside the chain,
//! so that they can be erased while the chain still verifies.

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize};
use std::collections::BTreeMap;
use std::fmt;

/// An identifier made by whoever makes the fact (a UUID, version 7 by preference: it sorts by time). Sending a
/// fact twice under one identifier does nothing twice.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, JsonSchema)]
#[serde(transparent)]
pub struct Id(String);

impl Id {
    /// Reads an identifier in any form of a UUID.
    ///
    /// # Errors
    /// A sentence that says what is expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        uuid::Uuid::try_parse(text.trim())
            .map(|u| Self(u.hyphenated().to_string()))
            .map_err(|e| format!("{text:?} is no identifier: {e}; send a UUID, version 7"))
    }

    /// An identifier of version 7 from milliseconds since 1970 and ten bytes of chance.
    #[must_use]
    pub fn v7(unix_ms: u64, chance: &[u8; 10]) -> Self {
        Self(uuid::Builder::from_unix_timestamp_millis(unix_ms, chance).into_uuid().hyphenated().to_string())
    }

    /// The identifier as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Id {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        Self::parse(&String::deserialize(d)?).map_err(serde::de::Error::custom)
    }
}

/// What a fact is about. Facts of one subject are numbered from 1.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Subject {
    /// A car over its life.
    Car(Id),
    /// A job.
    Job(Id),
    /// A lot on the shelf: one container.
    Lot(Id),
}

impl Subject {
    /// `car`, `job` or `lot`.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Car(_) => "car",
            Self::Job(_) => "job",
            Self::Lot(_) => "lot",
        }
    }

    /// The identifier.
    #[must_use]
    pub fn id(&self) -> &Id {
        match self {
            Self::Car(id) | Self::Job(id) | Self::Lot(id) => id,
        }
    }

    /// A subject from its two parts.
    #[must_use]
    pub fn of(kind: &str, id: Id) -> Option<Self> {
        match kind {
            "car" => Some(Self::Car(id)),
            "job" => Some(Self::Job(id)),
            "lot" => Some(Self::Lot(id)),
            _ => None,
        }
    }
}

/// How a fluid was looked at.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "by", rename_all = "snake_case", deny_unknown_fields)]
pub enum Look {
    /// A person read the label.
    Label,
    /// The code on the container was scanned.
    Scan,
    /// A known volume was weighed.
    Density {
        /// Volume, mL.
        volume_ml: f64,
        /// Mass, g.
        mass_g: f64,
        /// Temperature of the fluid, degC.
        degc: f64,
    },
}

/// Before or after pouring.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Pouring {
    Before,
    During,
    After,
}

/// What a fact says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum What {
    /// A car is known from now on.
    CarOpened {},
    /// A row of the car's case: table name of a case file and its fields. One idea carries the house: what a
    /// case file can say, a car's record can say.
    Told {
        /// Table, for example `reading`, `refill`, `car`.
        table: String,
        /// Its fields as a case file has them.
        row: serde_json::Value,
        /// The job during which it was told.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        job: Option<Id>,
        /// File that belongs to it (a recording), by the hash of its content.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        file: Option<String>,
    },
    /// The fact named in `corrects` was a mistake and no longer counts.
    Withdrawn {
        /// Why.
        because: String,
    },
    /// A job begins.
    JobOpened {
        /// The car.
        car: Id,
        /// Answers of the triage, by their identifier.
        #[serde(default)]
        triage: BTreeMap<String, bool>,
    },
    /// Nobody starts the engine: steps stop until a named person lifts this.
    Locked {
        /// Identifier of the reason.
        why: String,
    },
    /// The lock is lifted by the person who signs this fact.
    Unlocked {
        /// Why it may be started.
        because: String,
    },
    /// Procedures that will be worked through.
    Planned {
        /// Identifiers of procedures.
        procedures: Vec<String>,
    },
    /// What the owner said to the quote.
    Answered {
        /// Way quoted.
        way: String,
        /// Price with tax.
        gross: f64,
        /// Currency.
        currency: String,
        /// Accepted or declined.
        accepted: bool,
    },
    /// A look at a container of fluid.
    Looked {
        /// The fluid it says it is, by its identifier.
        fluid: String,
        /// Lot.
        lot: String,
        /// Last day of use, `2031-05-02`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        expiry: Option<String>,
        /// How it was looked at.
        how: Look,
    },
    /// A condition was looked at and holds.
    Confirmed {
        /// Step.
        step: String,
        /// Interlock.
        interlock: String,
    },
    /// A photo, scan or note kept with a step.
    ProofKept {
        /// Step.
        step: String,
        /// Which proof item of the step, in words.
        item: String,
        /// Hash of the file.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        file: Option<String>,
        /// What was seen.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    },
    /// The scale with the reservoir on it.
    Weighed {
        /// Step.
        step: String,
        /// Before, during or after pouring.
        at: Pouring,
        /// Shown, g.
        gross_g: f64,
    },
    /// A wait begins.
    ClockStarted {
        /// Step.
        step: String,
        /// How long, minutes.
        minutes: f64,
    },
    /// What the controller held before anything was entered, by meaning.
    ValuesSaved {
        /// Meaning and what was shown.
        values: BTreeMap<String, String>,
    },
    /// What was typed into the controller, by meaning.
    ValuesEntered {
        /// Meaning and what was typed.
        values: BTreeMap<String, String>,
    },
    /// What the controller showed after an ignition cycle, by meaning.
    ValuesReadBack {
        /// Meaning and what was shown.
        values: BTreeMap<String, String>,
    },
    /// A step is done.
    StepDone {
        /// Step.
        step: String,
    },
    /// A step is left out.
    StepLeft {
        /// Step.
        step: String,
        /// Why.
        because: String,
    },
    /// The job is signed: what came before is sealed.
    Signed {},
    /// The car went back to its owner.
    HandedOver {},
    /// What was heard afterwards.
    FollowedUp {
        /// `well`, `lamp` or `no_answer`.
        answer: String,
    },
    /// A container came onto the shelf.
    LotTaken {
        /// Fluid by its identifier.
        fluid: String,
        /// Lot as printed.
        lot: String,
        /// Last day of use, `2031-05-02`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        expiry: Option<String>,
        /// Content, mL.
        volume_ml: f64,
    },
    /// The container must not be used.
    LotBlocked {
        /// Why.
        because: String,
    },
    /// Some of the container went into a car.
    LotUsed {
        /// Job.
        job: Id,
        /// Car.
        car: Id,
        /// Volume, mL.
        volume_ml: f64,
    },
}

impl What {
    /// Whether this kind of fact belongs to this kind of subject.
    #[must_use]
    pub fn fits(&self, subject: &Subject) -> bool {
        match self {
            Self::Withdrawn { .. } => true,
            Self::CarOpened {} | Self::Told { .. } => matches!(subject, Subject::Car(_)),
            Self::LotTaken { .. } | Self::LotBlocked { .. } | Self::LotUsed { .. } => {
                matches!(subject, Subject::Lot(_))
            }
            _ => matches!(subject, Subject::Job(_)),
        }
    }
}

/// A fact as it is kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// Identifier, made by whoever made the fact.
    pub id: Id,
    /// What it is about.
    pub subject: Subject,
    /// Place among the facts of its subject, from 1.
    pub version: u64,
    /// When it happened, milliseconds since 1970-01-01 UTC.
    pub happened_ms: i64,
    /// When it reached the records, milliseconds since 1970-01-01 UTC.
    pub recorded_ms: i64,
    /// The person who signs it, by identifier.
    pub by: Id,
    /// The fact that this one replaces.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrects: Option<Id>,
    /// What it says.
    pub what: What,
}

/// The facts that still count: those that no later fact replaces, in their order.
#[must_use]
pub fn counting(entries: &[Entry]) -> Vec<&Entry> {
    let replaced: std::collections::BTreeSet<&Id> =
        entries.iter().filter_map(|e| e.corrects.as_ref()).collect();
    entries
        .iter()
        .filter(|e| !replaced.contains(&e.id) && !matches!(e.what, What::Withdrawn { .. }))
        .collect()
}

/// A change of a plain table (people, prices, settings, keepers of cars): what is kept for the audit. The old
/// and new content stand as hashes, so that personal data can be erased.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Audit {
    /// Table.
    pub table: String,
    /// Row.
    pub row: String,
    /// When, milliseconds since 1970-01-01 UTC.
    pub at_ms: i64,
    /// The person who changed it, by identifier.
    pub by: Id,
    /// Hash of the row before; none when it is new.
    pub before: Option<String>,
    /// Hash of the row after; none when it was erased.
    pub after: Option<String>,
}
