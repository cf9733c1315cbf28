//! The knowledge formats, and files laid over each other row by row.

use super::actions::{Mechanism, Rate, Rule, Work};
use super::rows::{CodeGroup, CostClass, Fault, Likelihood, Observation, SetUp};
use crate::finding::{Finding, Places};
use crate::walk;
use schemars::JsonSchema;
use serde::Deserialize;
use serde_json::Value as Json;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

const FAULTS: &str = "sootwright.faults/1";
const OBSERVATIONS: &str = "sootwright.observations/1";
const LIKELIHOODS: &str = "sootwright.likelihoods/1";
const ACTIONS: &str = "sootwright.actions/1";

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code)]
struct FaultsFile {
    /// Always `sootwright.faults/1`.
    schema: String,
    #[serde(default)]
    cost_class: Vec<CostClass>,
    #[serde(default)]
    fault: Vec<Fault>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code)]
struct ObservationsFile {
    /// Always `sootwright.observations/1`.
    schema: String,
    #[serde(default)]
    set_up: Vec<SetUp>,
    #[serde(default)]
    observation: Vec<Observation>,
    #[serde(default)]
    code_group: Vec<CodeGroup>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code)]
struct LikelihoodsFile {
    /// Always `sootwright.likelihoods/1`.
    schema: String,
    /// By fault, then by observation.
    #[serde(default)]
    likelihood: BTreeMap<String, BTreeMap<String, Likelihood>>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code)]
struct ActionsFile {
    /// Always `sootwright.actions/1`.
    schema: String,
    #[serde(default)]
    rate: Vec<Rate>,
    #[serde(default)]
    work: Vec<Work>,
    #[serde(default)]
    mechanism: Vec<Mechanism>,
    #[serde(default)]
    rule: Vec<Rule>,
}

/// The four formats: their name, schema, and lists of rows that are merged by id.
pub(super) struct Format {
    name: &'static str,
    schema: Json,
    lists: &'static [&'static str],
}

pub(super) static FORMATS: LazyLock<[Format; 4]> = LazyLock::new(|| {
    let format = |name: &'static str, schema: schemars::Schema, lists: &'static [&'static str]| {
        let mut schema = schema.to_value();
        crate::schema::drop_null(&mut schema);
        if let Some(p) = schema.pointer_mut("/properties/schema").and_then(Json::as_object_mut) {
            p.insert("const".into(), name.into());
        }
        Format { name, schema, lists }
    };
    [
        format(FAULTS, schemars::schema_for!(FaultsFile), &["cost_class", "fault"]),
        format(
            OBSERVATIONS,
            schemars::schema_for!(ObservationsFile),
            &["set_up", "observation", "code_group"],
        ),
        format(LIKELIHOODS, schemars::schema_for!(LikelihoodsFile), &[]),
        format(ACTIONS, schemars::schema_for!(ActionsFile), &["rate", "work", "mechanism", "rule"]),
    ]
});

#[derive(Debug, Clone, Default)]
pub(super) struct Merged {
    /// Rows by list and id.
    rows: BTreeMap<String, BTreeMap<String, toml::Table>>,
    /// Likelihoods by fault and observation.
    pub(super) likelihood: BTreeMap<String, toml::Table>,
    /// Which file and path a merged row came from.
    pub(super) origin: BTreeMap<String, (usize, String)>,
    places: Vec<Places>,
}

impl Merged {
    pub(super) fn finding(&self, key: &str, what: impl Into<String>, advice: impl Into<String>) -> Finding {
        match self.origin.get(key).and_then(|(i, path)| Some((self.places.get(*i)?, path))) {
            Some((places, path)) => places.finding(path, what, advice),
            None => self.places.last().cloned().unwrap_or_default().finding("", what, advice),
        }
    }

    /// Reads one text and lays it over what is there. Rows are merged key by key by their id.
    pub(super) fn add(&mut self, file: &str, text: &str, errors: &mut Vec<Finding>) {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let Some(format) = format_of(text) else {
            let known: Vec<&str> = FORMATS.iter().map(|f| f.name).collect();
            let advice = format!("begin the file with schema = one of {}", known.join(", "));
            // The walk finds what is wrong with the text, if it is not just another format.
            let walked = walk::walk(text, file, &serde_json::json!({ "additionalProperties": {} }));
            let not_toml = walked.errors.into_iter().find(|f| f.what.starts_with("not TOML"));
            errors.push(
                not_toml
                    .unwrap_or_else(|| walked.places.finding("schema", "no knowledge file of ours", advice)),
            );
            return;
        };
        let walked = walk::walk(text, file, &optional(&format.schema));
        let number = self.places.len();
        self.places.push(walked.places);
        errors.extend(walked.errors);
        for list in format.lists {
            let kept = walked.kept.get(*list).cloned().unwrap_or_default();
            let rows = walked.value.get(*list).and_then(toml::Value::as_array).cloned().unwrap_or_default();
            let mut seen = BTreeSet::new();
            for (row, original) in rows.into_iter().zip(kept) {
                let (Some(id), toml::Value::Table(row)) =
                    (row.get("id").and_then(|i| i.as_str()).map(str::to_owned), row)
                else {
                    continue;
                };
                let path = format!("{list}.{original}");
                if !seen.insert(id.clone()) {
                    let places = &self.places[number];
                    errors.push(places.finding(
                        &path,
                        format!("{list} {id:?} is there twice"),
                        "merge the two rows",
                    ));
                }
                self.lay(list, &id, row, (number, path), format, errors);
            }
        }
        if let Some(toml::Value::Table(by_fault)) = walked.value.get("likelihood") {
            for (fault, rows) in by_fault {
                let Some(rows) = rows.as_table() else { continue };
                for (observation, row) in rows {
                    let path = format!("likelihood.{fault}.{observation}");
                    self.likelihood
                        .entry(fault.clone())
                        .or_default()
                        .insert(observation.clone(), row.clone());
                    self.origin.insert(path.clone(), (number, path));
                }
            }
        }
    }

    fn lay(
        &mut self,
        list: &str,
        id: &str,
        row: toml::Table,
        origin: (usize, String),
        format: &Format,
        errors: &mut Vec<Finding>,
    ) {
        let there = self.rows.entry(list.to_owned()).or_default().entry(id.to_owned()).or_default();
        let new = there.is_empty();
        for (key, value) in row {
            match (there.get_mut(&key), value) {
                (Some(toml::Value::Table(old)), toml::Value::Table(more)) => old.extend(more),
                (_, value) => {
                    there.insert(key, value);
                }
            }
        }
        // A row that is not laid over another must be whole.
        let def = format
            .schema
            .pointer(&format!("/properties/{list}/items/$ref"))
            .and_then(Json::as_str)
            .and_then(|r| format.schema.pointer(r.trim_start_matches('#')));
        let required = def.and_then(|d| d.get("required")).and_then(Json::as_array);
        let missing: Vec<&str> = required
            .into_iter()
            .flatten()
            .filter_map(Json::as_str)
            .filter(|k| !there.contains_key(*k))
            .collect();
        self.origin.insert(format!("{list}.{id}"), origin);
        if new && !missing.is_empty() {
            let what = format!("the new {list} {id:?} lacks {}", missing.join(", "));
            errors.push(self.finding(
                &format!("{list}.{id}"),
                what,
                "a row that replaces nothing must be whole",
            ));
        }
    }
}

pub(super) fn format_of(text: &str) -> Option<&'static Format> {
    let (document, _) = toml::de::DeTable::parse_recoverable(text);
    let name =
        document.get_ref().iter().find(|(k, _)| k.get_ref().as_ref() == "schema")?.1.get_ref().as_str()?;
    FORMATS.iter().find(|f| f.name == name)
}

/// A schema in which rows need their id alone (and likelihoods everything), for files laid over others.
fn optional(schema: &Json) -> Json {
    let mut schema = schema.clone();
    if let Some(Json::Object(defs)) = schema.get_mut("$defs") {
        for (name, def) in defs {
            if name != "Likelihood"
                && let Some(Json::Array(required)) = def.get_mut("required")
            {
                required.retain(|k| k == "id");
            }
        }
    }
    schema
}

pub(super) fn rows<T: serde::de::DeserializeOwned>(
    merged: &Merged,
    list: &str,
    errors: &mut Vec<Finding>,
) -> Vec<T> {
    let mut out = Vec::new();
    for (id, row) in merged.rows.get(list).into_iter().flatten() {
        match row.clone().try_into() {
            Ok(row) => out.push(row),
            Err(e) => errors.push(merged.finding(&format!("{list}.{id}"), e.message(), "")),
        }
    }
    out
}
