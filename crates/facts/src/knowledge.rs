//! What is known about faults and observations: priors, likelihoods, questions, repairs.
//!
//! The numbers live in `knowledge/*.toml`, each with a [`Mark`] that says how far to trust it. They are
//! built in, and a workshop overlays its own rows ([`Knowledge::overlay`]) as it learns.

use crate::fault::FaultId;
use crate::finding::{Finding, Findings, Places};
use crate::walk::{self, nearest};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value as Json;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::LazyLock;

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
    /// Class of cost, see [`Knowledge::cost_class`].
    pub cost_class: String,
    /// What shows that it worked.
    pub proof: String,
}

/// What is known about one fault, or about a car without one (`none`).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// The identifier of [`FaultId`], or `none`.
    pub id: String,
    /// Plain words.
    pub label: String,
    /// Family: additive, data_entry, fluid, pressure_sensing, temperature_sensing, filter, engine, use, none.
    pub family: String,
    /// From which magnitude it counts as a fault.
    pub magnitude: String,
    /// Weight among the cars that come with a complaint about filter or additive; [`Knowledge::prior`] is
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
}

const FAULTS: &str = "sootwright.faults/1";
const OBSERVATIONS: &str = "sootwright.observations/1";
const LIKELIHOODS: &str = "sootwright.likelihoods/1";

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

/// The three formats: their name, schema, and lists of rows that are merged by id.
struct Format {
    name: &'static str,
    schema: Json,
    lists: &'static [&'static str],
}

static FORMATS: LazyLock<[Format; 3]> = LazyLock::new(|| {
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
        format(OBSERVATIONS, schemars::schema_for!(ObservationsFile), &["set_up", "observation"]),
        format(LIKELIHOODS, schemars::schema_for!(LikelihoodsFile), &[]),
    ]
});

/// Everything known about faults and observations.
#[derive(Debug, Clone)]
pub struct Knowledge {
    none: Fault,
    faults: Vec<Fault>,
    cost_classes: Vec<CostClass>,
    set_ups: Vec<SetUp>,
    observations: Vec<Observation>,
    likelihoods: BTreeMap<String, BTreeMap<String, Likelihood>>,
    /// Place of an observation in `observations`.
    place: BTreeMap<String, usize>,
    /// Probability by fault (`FaultId::ALL`, then none) and observation.
    table: Vec<Vec<f64>>,
    prior_sum: f64,
    codes: Vec<(CodeSpan, usize)>,
    /// The files as merged, so that more can be laid over.
    merged: Merged,
}

#[derive(Debug, Clone, Default)]
struct Merged {
    /// Rows by list and id.
    rows: BTreeMap<String, BTreeMap<String, toml::Table>>,
    /// Likelihoods by fault and observation.
    likelihood: BTreeMap<String, toml::Table>,
    /// Which file and path a merged row came from.
    origin: BTreeMap<String, (usize, String)>,
    places: Vec<Places>,
}

impl Merged {
    fn finding(&self, key: &str, what: impl Into<String>, advice: impl Into<String>) -> Finding {
        match self.origin.get(key).and_then(|(i, path)| Some((self.places.get(*i)?, path))) {
            Some((places, path)) => places.finding(path, what, advice),
            None => self.places.last().cloned().unwrap_or_default().finding("", what, advice),
        }
    }

    /// Reads one text and lays it over what is there. Rows are merged key by key by their id.
    fn add(&mut self, file: &str, text: &str, errors: &mut Vec<Finding>) {
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

fn format_of(text: &str) -> Option<&'static Format> {
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

impl Knowledge {
    /// Reads the three texts of a knowledge folder.
    ///
    /// # Errors
    /// Everything that is wrong with them, with places.
    pub fn load(faults: &str, observations: &str, likelihoods: &str) -> Result<Self, Findings> {
        Self::from_texts(&[
            ("faults.toml", faults),
            ("observations.toml", observations),
            ("likelihoods.toml", likelihoods),
        ])
    }

    /// Reads named texts, later ones laid over earlier ones.
    ///
    /// # Errors
    /// Everything that is wrong with them, with places.
    pub fn from_texts(texts: &[(&str, &str)]) -> Result<Self, Findings> {
        Self::build(Merged::default(), texts)
    }

    /// The knowledge this version was built with.
    #[must_use]
    pub fn built_in() -> &'static Self {
        static BUILT_IN: LazyLock<Knowledge> = LazyLock::new(|| {
            let read = Knowledge::load(
                include_str!("../../../knowledge/faults.toml"),
                include_str!("../../../knowledge/observations.toml"),
                include_str!("../../../knowledge/likelihoods.toml"),
            );
            match read {
                Ok(k) => k,
                // No input reaches this: the texts are part of the program and a test reads them.
                Err(e) => unreachable!("the built-in knowledge is faulty: {e}"),
            }
        });
        &BUILT_IN
    }

    /// Lays a workshop's own files over this knowledge. A row with a known id replaces the keys it gives,
    /// a row with a new id must be whole; a likelihood replaces the whole likelihood.
    ///
    /// # Errors
    /// Everything that is wrong with the files, with places.
    pub fn overlay(&self, files: &[(&str, &str)]) -> Result<Self, Findings> {
        Self::build(self.merged.clone(), files)
    }

    /// Lays every `.toml` file of a folder that begins with one of the schemas of faults, observations and
    /// likelihoods over this knowledge, in the order of the file names. Other files belong to others.
    ///
    /// # Errors
    /// What cannot be read, and everything that is wrong with the files.
    pub fn overlay_folder(&self, folder: &Path) -> Result<Self, Findings> {
        let unreadable = |path: &Path, e: &std::io::Error| Findings {
            findings: vec![Finding {
                file: path.display().to_string(),
                line: 1,
                column: 1,
                what: format!("cannot be read: {e}"),
                advice: "check the name and who may read it".into(),
            }],
        };
        let mut paths = std::fs::read_dir(folder)
            .and_then(|d| d.map(|e| e.map(|e| e.path())).collect::<Result<Vec<_>, _>>())
            .map_err(|e| unreadable(folder, &e))?;
        paths.retain(|p| p.extension().is_some_and(|e| e == "toml"));
        paths.sort();
        let mut texts = Vec::new();
        for path in &paths {
            let text = std::fs::read_to_string(path).map_err(|e| unreadable(path, &e))?;
            if format_of(&text).is_some() {
                texts.push((path.display().to_string(), text));
            }
        }
        let texts: Vec<(&str, &str)> = texts.iter().map(|(f, t)| (f.as_str(), t.as_str())).collect();
        self.overlay(&texts)
    }

    fn build(mut merged: Merged, texts: &[(&str, &str)]) -> Result<Self, Findings> {
        let mut errors = Vec::new();
        for (file, text) in texts {
            merged.add(file, text, &mut errors);
        }
        if errors.is_empty() {
            match Self::assemble(merged, &mut errors) {
                Some(k) if errors.is_empty() => return Ok(k),
                _ => {}
            }
        }
        errors.sort();
        errors.dedup();
        Err(Findings { findings: errors })
    }

    fn assemble(merged: Merged, errors: &mut Vec<Finding>) -> Option<Self> {
        let faults: Vec<Fault> = rows(&merged, "fault", errors);
        let cost_classes: Vec<CostClass> = rows(&merged, "cost_class", errors);
        let set_ups: Vec<SetUp> = rows(&merged, "set_up", errors);
        let observations: Vec<Observation> = rows(&merged, "observation", errors);
        let mut likelihoods: BTreeMap<String, BTreeMap<String, Likelihood>> = BTreeMap::new();
        for (fault, rows) in &merged.likelihood {
            for (observation, row) in rows {
                match row.clone().try_into() {
                    Ok(l) => {
                        likelihoods.entry(fault.clone()).or_default().insert(observation.clone(), l);
                    }
                    Err(e) => errors.push(merged.finding(
                        &format!("likelihood.{fault}.{observation}"),
                        e.message(),
                        "",
                    )),
                }
            }
        }
        let ids = || FaultId::ALL.iter().map(|f| f.id()).chain(["none"]);
        let place: BTreeMap<String, usize> =
            observations.iter().enumerate().map(|(i, o)| (o.id.clone(), i)).collect();

        for fault in &faults {
            let key = format!("fault.{}", fault.id);
            if !ids().any(|i| i == fault.id) {
                let advice = nearest(&fault.id, ids()).map_or_else(
                    || "faults are named in the program".to_owned(),
                    |n| format!("did you mean {n:?}?"),
                );
                errors.push(merged.finding(&key, format!("no fault is called {:?}", fault.id), advice));
            }
            if !cost_classes.iter().any(|c| c.id == fault.repair.cost_class) {
                let what = format!("no cost class is called {:?}", fault.repair.cost_class);
                errors.push(merged.finding(&key, what, "see [[cost_class]]"));
            }
        }
        let of = |id: &str| faults.iter().find(|f| f.id == id).cloned();
        let mut in_order = Vec::new();
        for id in ids() {
            match of(id) {
                Some(f) => in_order.push(f),
                None => {
                    errors.push(merged.finding("", format!("no [[fault]] has the id {id:?}"), "add the row"))
                }
            }
        }
        let mut codes = Vec::new();
        for (i, o) in observations.iter().enumerate() {
            let key = format!("observation.{}", o.id);
            if let Some(s) = &o.set_up
                && !set_ups.iter().any(|u| u.id == *s)
            {
                errors.push(merged.finding(&key, format!("no set-up is called {s:?}"), "see [[set_up]]"));
            }
            for code in &o.codes {
                match CodeSpan::parse(code) {
                    Some(span) => codes.push((span, i)),
                    None => errors.push(merged.finding(
                        &key,
                        format!("{code:?} is not a code or a range of codes"),
                        "write P2463, P2452-P2456, 3251/0 or 3251/2-5",
                    )),
                }
            }
        }
        for (fault, rows) in &likelihoods {
            for observation in rows.keys() {
                let key = format!("likelihood.{fault}.{observation}");
                if !ids().any(|i| i == fault) {
                    errors.push(merged.finding(&key, format!("no fault is called {fault:?}"), ""));
                }
                if !place.contains_key(observation) {
                    let advice = nearest(observation, place.keys().map(String::as_str))
                        .map_or_else(String::new, |n| format!("did you mean {n:?}?"));
                    errors.push(merged.finding(
                        &key,
                        format!("no observation is called {observation:?}"),
                        advice,
                    ));
                }
            }
        }
        let table: Vec<Vec<f64>> = ids()
            .map(|id| {
                let own = likelihoods.get(id);
                observations
                    .iter()
                    .map(|o| own.and_then(|l| l.get(&o.id)).map_or(o.background, |l| l.p))
                    .collect()
            })
            .collect();
        let groups: BTreeSet<&str> =
            observations.iter().filter_map(|o| o.exclusive_group.as_deref()).collect();
        for (row, id) in table.iter().zip(ids()) {
            for group in &groups {
                let members =
                    observations.iter().zip(row).filter(|(o, _)| o.exclusive_group.as_deref() == Some(group));
                let (names, ps): (Vec<&str>, Vec<f64>) = members.map(|(o, p)| (o.id.as_str(), *p)).unzip();
                let sum: f64 = ps.iter().sum();
                if sum > 1.0 + 1e-9 {
                    let key = names
                        .iter()
                        .map(|n| format!("likelihood.{id}.{n}"))
                        // What was laid over last broke the sum.
                        .filter(|k| merged.origin.contains_key(k))
                        .max_by_key(|k| merged.origin.get(k).map(|(file, _)| *file))
                        .unwrap_or_default();
                    let what =
                        format!("under {id} the states of {group} ({}) add up to {sum:.3}", names.join(", "));
                    errors.push(merged.finding(&key, what, "at most one of them is true, so at most 1"));
                }
            }
        }
        let prior_sum = in_order.iter().map(|f| f.prior_weight).sum();
        let none = in_order.pop()?;
        Some(Self {
            none,
            faults: in_order,
            cost_classes,
            set_ups,
            observations,
            likelihoods,
            place,
            table,
            prior_sum,
            codes,
            merged,
        })
    }

    /// Every fault, in the order of [`FaultId::ALL`].
    #[must_use]
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// What is known about a fault.
    #[must_use]
    pub fn fault(&self, fault: FaultId) -> &Fault {
        self.faults.get(number(fault)).unwrap_or(&self.none)
    }

    /// What is known about a car without a fault.
    #[must_use]
    pub fn none(&self) -> &Fault {
        &self.none
    }

    /// Prior probability of a fault alone, among cars that come in with a complaint. All of them and
    /// [`Knowledge::prior_none`] add up to 1.
    #[must_use]
    pub fn prior(&self, fault: FaultId) -> f64 {
        self.fault(fault).prior_weight / self.prior_sum
    }

    /// Prior probability of no fault, among cars that come in with a complaint.
    #[must_use]
    pub fn prior_none(&self) -> f64 {
        self.none.prior_weight / self.prior_sum
    }

    /// Every observation, in the alphabetical order of the ids.
    #[must_use]
    pub fn observations(&self) -> &[Observation] {
        &self.observations
    }

    /// The observation with this identifier.
    #[must_use]
    pub fn observation(&self, id: &str) -> Option<&Observation> {
        self.place.get(id).and_then(|&i| self.observations.get(i))
    }

    /// Every set-up.
    #[must_use]
    pub fn set_ups(&self) -> &[SetUp] {
        &self.set_ups
    }

    /// The set-up with this identifier.
    #[must_use]
    pub fn set_up(&self, id: &str) -> Option<&SetUp> {
        self.set_ups.iter().find(|s| s.id == id)
    }

    /// The class of cost with this letter.
    #[must_use]
    pub fn cost_class(&self, id: &str) -> Option<&CostClass> {
        self.cost_classes.iter().find(|c| c.id == id)
    }

    /// The argued likelihood of an observation under a fault. `None`: the fault has no known bearing on
    /// it, so the background holds.
    #[must_use]
    pub fn likelihood(&self, fault: FaultId, observation: &str) -> Option<&Likelihood> {
        self.likelihoods.get(fault.id())?.get(observation)
    }

    /// Probability of an observation when this fault is present alone. An observation that is not known
    /// gets 0.5 under everything, so that it speaks for nothing.
    #[must_use]
    pub fn probability(&self, fault: FaultId, observation: &str) -> f64 {
        self.at(number(fault), observation)
    }

    /// Probability of an observation in a car without a fault (that came in all the same). 0.5 for an
    /// observation that is not known.
    #[must_use]
    pub fn probability_none(&self, observation: &str) -> f64 {
        self.at(FaultId::ALL.len(), observation)
    }

    fn at(&self, row: usize, observation: &str) -> f64 {
        let column = self.place.get(observation);
        column.and_then(|&c| self.table.get(row)?.get(c)).copied().unwrap_or(0.5)
    }

    /// Probability of an observation in a car that comes in, whatever its fault. 0.5 for an observation
    /// that is not known.
    #[must_use]
    pub fn background(&self, observation: &str) -> f64 {
        self.observation(observation).map_or(0.5, |o| o.background)
    }

    /// Probability of an observation when exactly these faults are present together.
    ///
    /// A leaky noisy-OR: the background is the leak, and each fault that makes the observation likelier
    /// fires on its own, with the strength that gives its table value when it is alone. A fault that makes
    /// it rarer thins the leak only, not what another fault brings about. A fault whose likelihood
    /// `overrides` decides alone. States of one exclusive group are scaled down where they would add up to
    /// more than 1. The empty set is a car without a fault.
    #[must_use]
    pub fn probability_given_set(&self, faults: &[FaultId], observation: &str) -> f64 {
        let raw = self.noisy_or(faults, observation);
        let Some(group) = self.observation(observation).and_then(|o| o.exclusive_group.as_deref()) else {
            return raw;
        };
        if faults.len() < 2 {
            return raw;
        }
        let sum: f64 = self
            .observations
            .iter()
            .filter(|o| o.exclusive_group.as_deref() == Some(group))
            .map(|o| self.noisy_or(faults, &o.id))
            .sum();
        raw / sum.max(1.0)
    }

    fn noisy_or(&self, faults: &[FaultId], observation: &str) -> f64 {
        match faults {
            [] => return self.probability_none(observation),
            [one] => return self.probability(*one, observation),
            _ => {}
        }
        let overriding: Vec<FaultId> = faults
            .iter()
            .copied()
            .filter(|&f| self.likelihood(f, observation).is_some_and(|l| l.overrides))
            .collect();
        let faults = if overriding.is_empty() { faults } else { &overriding };
        if let [one] = faults {
            return self.probability(*one, observation);
        }
        let background = self.background(observation);
        let mut leak = background;
        let mut silent = 1.0;
        for &f in faults {
            let p = self.probability(f, observation);
            if p < background {
                leak *= p / background;
            } else {
                silent *= (1.0 - p) / (1.0 - background);
            }
        }
        1.0 - (1.0 - leak) * silent
    }

    /// The observation that a trouble code answers with *yes*. Takes a code as a scan shows it: `P2463`,
    /// `p2463`, `P2463-62` (the failure type is ignored), `3251/0`.
    #[must_use]
    pub fn codes_to_observation(&self, code: &str) -> Option<&Observation> {
        let code = Code::parse(code)?;
        let (_, i) = self.codes.iter().find(|(span, _)| span.holds(code))?;
        self.observations.get(*i)
    }

    /// The observations that speak most for a fault: those whose probability under it is at least twice
    /// the background, strongest first.
    #[must_use]
    pub fn signs(&self, fault: FaultId) -> Vec<&Observation> {
        let ratio = |o: &Observation| self.probability(fault, &o.id) / o.background;
        let mut signs: Vec<&Observation> = self.observations.iter().filter(|o| ratio(o) >= 2.0).collect();
        signs.sort_by(|a, b| ratio(b).total_cmp(&ratio(a)).then_with(|| a.id.cmp(&b.id)));
        signs
    }
}

fn number(fault: FaultId) -> usize {
    FaultId::ALL.iter().position(|f| *f == fault).unwrap_or(usize::MAX)
}

fn rows<T: serde::de::DeserializeOwned>(merged: &Merged, list: &str, errors: &mut Vec<Finding>) -> Vec<T> {
    let mut out = Vec::new();
    for (id, row) in merged.rows.get(list).into_iter().flatten() {
        match row.clone().try_into() {
            Ok(row) => out.push(row),
            Err(e) => errors.push(merged.finding(&format!("{list}.{id}"), e.message(), "")),
        }
    }
    out
}

/// A trouble code as a number that can be compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Code {
    /// Letter and the four hex digits behind it.
    Five(char, u16),
    /// SAE J1939: suspect parameter and failure mode.
    Spn(u32, u8),
}

impl Code {
    fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        if let Some((spn, fmi)) = text.split_once('/') {
            return Some(Self::Spn(spn.trim().parse().ok()?, fmi.trim().parse().ok()?));
        }
        let code = text.split_once('-').map_or(text, |(c, _)| c);
        let letter = code.chars().next()?.to_ascii_uppercase();
        let digits = code.get(letter.len_utf8()..)?;
        let hex = digits.len() == 4 && digits.chars().all(|c| c.is_ascii_hexdigit());
        (hex && "PCBU".contains(letter)).then_some(())?;
        Some(Self::Five(letter, u16::from_str_radix(digits, 16).ok()?))
    }
}

/// A code, or a range of codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum CodeSpan {
    Five(char, u16, u16),
    Spn(u32, u8, u8),
}

impl CodeSpan {
    fn parse(text: &str) -> Option<Self> {
        if let Some((spn, fmi)) = text.split_once('/') {
            let (from, to) = fmi.split_once('-').unwrap_or((fmi, fmi));
            let (from, to) = (from.parse().ok()?, to.parse().ok()?);
            return (from <= to).then_some(Self::Spn(spn.parse().ok()?, from, to));
        }
        let (from, to) = text.split_once('-').unwrap_or((text, text));
        match (Code::parse(from)?, Code::parse(to)?) {
            (Code::Five(a, from), Code::Five(b, to)) if a == b && from <= to => Some(Self::Five(a, from, to)),
            _ => None,
        }
    }

    fn holds(self, code: Code) -> bool {
        match (self, code) {
            (Self::Five(letter, from, to), Code::Five(l, n)) => l == letter && (from..=to).contains(&n),
            (Self::Spn(spn, from, to), Code::Spn(s, f)) => s == spn && (from..=to).contains(&f),
            _ => false,
        }
    }
}
