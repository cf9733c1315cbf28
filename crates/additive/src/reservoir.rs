//! Kinds of reservoir as data: ranges of capacity and dose, with source and mark.
//!
//! Generic kinds only (pouch, tank); a workshop lays its own rows over them by id, field by field, and may start a row
//! for a type of car from a generic one with `based_on`. Texts are TOML, `schema = "sootwright.reservoirs/1"`;
//! [`Reservoirs::to_text`] writes all rows as one open file that reads back the same.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result, line_of, misread};
use crate::fluid::Band;

/// Schema a text of reservoirs must name.
pub const SCHEMA: &str = "sootwright.reservoirs/1";

/// One kind of reservoir. What is `None` is not known.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reservoir {
    /// Id.
    pub id: String,
    /// Id of the row this one starts from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub based_on: Option<String>,
    /// Name to show.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// True for a tank, false for a pouch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rigid: Option<bool>,
    /// True when air can leave while it is filled.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub vented: Option<bool>,
    /// Concentrate (fluid id) it is made for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fluid: Option<String>,
    /// Whether the controller that counts sets or adds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub controller: Option<crate::entry::Controller>,
    /// What to look at.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub check: Option<String>,
    /// Capacity, L.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacity_l: Option<Band>,
    /// Content at which the car asks for a refill, L.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low_message_l: Option<Band>,
    /// Metal dose, mg per kg of fuel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metal_dose_mg_per_kg: Option<Band>,
    /// Volume dose, mL per L of fuel.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub volume_dose_ml_per_l: Option<Band>,
    /// Share of the capacity that can be used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub usable_share: Option<Band>,
    /// Distance a full reservoir lasts, km.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub range_km: Option<Band>,
    /// Minutes a fill takes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fill_minutes: Option<Band>,
}

impl Reservoir {
    fn over(self, under: Reservoir) -> Reservoir {
        Reservoir {
            id: self.id,
            based_on: self.based_on.or(under.based_on),
            name: self.name.or(under.name),
            rigid: self.rigid.or(under.rigid),
            vented: self.vented.or(under.vented),
            fluid: self.fluid.or(under.fluid),
            controller: self.controller.or(under.controller),
            check: self.check.or(under.check),
            capacity_l: self.capacity_l.or(under.capacity_l),
            low_message_l: self.low_message_l.or(under.low_message_l),
            metal_dose_mg_per_kg: self.metal_dose_mg_per_kg.or(under.metal_dose_mg_per_kg),
            volume_dose_ml_per_l: self.volume_dose_ml_per_l.or(under.volume_dose_ml_per_l),
            usable_share: self.usable_share.or(under.usable_share),
            range_km: self.range_km.or(under.range_km),
            fill_minutes: self.fill_minutes.or(under.fill_minutes),
        }
    }

    fn problem(&self) -> Option<String> {
        for (what, band, most) in [
            ("capacity_l", &self.capacity_l, 1000.0),
            ("low_message_l", &self.low_message_l, 1000.0),
            ("metal_dose_mg_per_kg", &self.metal_dose_mg_per_kg, 10_000.0),
            ("volume_dose_ml_per_l", &self.volume_dose_ml_per_l, 1000.0),
            ("usable_share", &self.usable_share, 1.0),
            ("range_km", &self.range_km, 1e7),
            ("fill_minutes", &self.fill_minutes, 10_000.0),
        ] {
            if let Some(b) = band
                && !(b.low >= 0.0 && b.low <= b.high && b.high <= most)
            {
                return Some(format!(
                    "{what} runs from {} to {}; want 0 <= low <= high <= {most}",
                    b.low, b.high
                ));
            }
        }
        self.name.is_none().then(|| "has no name; write name = \"...\"".to_string())
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Text {
    schema: String,
    #[serde(default)]
    reservoir: Vec<toml::Spanned<Reservoir>>,
}

#[derive(Serialize)]
struct Written {
    schema: &'static str,
    reservoir: Vec<Reservoir>,
}

/// All kinds of reservoir known, by id.
#[derive(Debug, Clone, PartialEq)]
pub struct Reservoirs {
    rows: BTreeMap<String, Reservoir>,
}

impl Reservoirs {
    /// Reads texts given as (name, content), general ones first. Errors name text, line and row.
    ///
    /// A row's `based_on` is taken over once, from a row that stands before it.
    pub fn from_texts<'a>(texts: impl IntoIterator<Item = (&'a str, &'a str)>) -> Result<Self> {
        let mut rows: BTreeMap<String, Reservoir> = BTreeMap::new();
        for (file, content) in texts {
            let refuse = |problem: String| Error::Text { file: file.to_string(), problem };
            let text: Text = toml::from_str(content).map_err(|e| misread(file, content, &e))?;
            if text.schema != SCHEMA {
                return Err(refuse(format!(
                    "schema is \"{}\"; this program reads \"{SCHEMA}\"",
                    text.schema
                )));
            }
            for row in text.reservoir {
                let line = line_of(content, row.span().start);
                let row = row.into_inner();
                let id = row.id.clone();
                let wrong =
                    |problem: String| Error::Entry { file: file.to_string(), line, id: id.clone(), problem };
                let under = match (&row.based_on, rows.get(&id)) {
                    (_, Some(same)) => Some(same.clone()),
                    (Some(base), None) => Some(rows.get(base).cloned().ok_or_else(|| {
                        wrong(format!("is based on `{base}`, which no row before it holds"))
                    })?),
                    (None, None) => None,
                };
                let row = match under {
                    Some(under) => row.over(under),
                    None => row,
                };
                if let Some(problem) = row.problem() {
                    return Err(wrong(problem));
                }
                rows.insert(id.clone(), row);
            }
        }
        Ok(Self { rows })
    }

    /// A row by id.
    pub fn get(&self, id: &str) -> Result<&Reservoir> {
        self.rows.get(id).ok_or_else(|| Error::Unknown {
            id: id.to_string(),
            known: self.rows.keys().map(String::as_str).collect::<Vec<_>>().join(", "),
        })
    }

    /// All rows in the order of their ids.
    pub fn iter(&self) -> impl Iterator<Item = &Reservoir> {
        self.rows.values()
    }

    /// All rows as one text, complete in themselves (`based_on` is resolved and left out).
    pub fn to_text(&self) -> Result<String> {
        let reservoir = self.rows.values().map(|r| Reservoir { based_on: None, ..r.clone() }).collect();
        toml::to_string(&Written { schema: SCHEMA, reservoir })
            .map_err(|e| Error::Text { file: "reservoirs".to_string(), problem: e.to_string() })
    }
}
