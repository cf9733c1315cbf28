//! Reads a case file: every fault at once, each with its place and what to do.

use crate::case::{Case, SCHEMA};
use crate::check;
pub use crate::finding::{Finding, Findings, Places};
use crate::knowledge::Knowledge;
use crate::{schema, walk};
use std::collections::BTreeMap;

/// Everything that makes a case file unusable.
pub type CaseErrors = Findings;

/// A case as read, with what was unusual about it and where everything stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Loaded {
    /// The facts.
    pub case: Case,
    /// Accepted, but unusual or at odds with each other: worth a second look by whoever typed it.
    pub warnings: Vec<Finding>,
    /// Where the keys and rows stand.
    pub places: Places,
}

/// Reads a case file. `file_name` is only used to name the place of a fault.
///
/// # Errors
/// All faults found: not TOML, unknown keys and words, impossible values, rows that contradict each other.
pub fn load_case(text: &str, file_name: &str) -> Result<Case, CaseErrors> {
    read_case(text, file_name).map(|l| l.case)
}

/// Like [`load_case`], with warnings and places.
///
/// # Errors
/// As [`load_case`].
pub fn read_case(text: &str, file_name: &str) -> Result<Loaded, CaseErrors> {
    // Editors on some systems begin a file with a byte-order mark; TOML has none.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let walked = walk::walk(text, file_name, schema::shared());
    let mut errors = walked.errors;
    let mut warnings = walked.warnings;
    let mut value = walked.value;
    value.entry("schema").or_insert_with(|| toml::Value::String(SCHEMA.into()));
    match value.try_into::<Case>() {
        Ok(case) => {
            let found = check::check(&case, &walked.places, &walked.kept);
            errors.extend(found.errors);
            warnings.extend(found.warnings);
            if errors.is_empty() {
                warnings.sort_by_key(|f| (f.line, f.column));
                return Ok(Loaded { case, warnings, places: walked.places });
            }
        }
        Err(e) => errors.push(walked.places.finding("", e.message().to_owned(), "")),
    }
    errors.sort();
    errors.dedup();
    Err(Findings { findings: errors })
}

/// The observations of a case that the knowledge does not hold.
#[must_use]
pub fn unknown_observations(loaded: &Loaded, knowledge: &Knowledge) -> Vec<Finding> {
    let known = || knowledge.observations().iter().map(|o| o.id.as_str());
    loaded
        .case
        .observation
        .iter()
        .enumerate()
        .filter(|(_, o)| knowledge.observation(&o.id).is_none())
        .map(|(i, o)| {
            let advice = walk::nearest(&o.id, known()).map_or_else(
                || "see knowledge/observations.toml".to_owned(),
                |n| format!("did you mean {n:?}?"),
            );
            loaded.places.finding(
                &format!("observation.{i}.id"),
                format!("no observation is called {:?}", o.id),
                advice,
            )
        })
        .collect()
}

/// Original row numbers by list, for checks that run on the rows that were kept.
pub(crate) type Kept = BTreeMap<String, Vec<usize>>;
