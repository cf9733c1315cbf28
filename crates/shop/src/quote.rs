//! The quote: rates, parts and tax of the workshop over the steps of a plan.

use crate::plan::Plan;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The value of `schema` of a workshop's settings.
pub const SCHEMA: &str = "sootwright.workshop/1";

/// The workshop's own figures.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Always `sootwright.workshop/1`.
    pub schema: String,
    /// An hour of work before tax.
    pub labour_per_hour: f64,
    /// Value added tax, percent.
    pub tax_percent: f64,
    /// Currency as printed.
    pub currency: String,
    /// Price of parts and fluids before tax, by identifier.
    #[serde(default)]
    pub price: BTreeMap<String, f64>,
    /// How long the quote holds, days.
    pub valid_days: u32,
}

/// A line of a quote.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Line {
    /// `labour`, `part` or `fluid`.
    pub kind: &'static str,
    /// Identifier of part or fluid; empty for labour.
    pub id: String,
    /// Hours, or count.
    pub quantity: f64,
    /// Price of one before tax; `None` where the price list has none.
    pub each: Option<f64>,
    /// Before tax.
    pub net: f64,
}

/// A quote.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Quote {
    /// Lines.
    pub lines: Vec<Line>,
    /// Before tax.
    pub net: f64,
    /// Tax.
    pub tax: f64,
    /// With tax.
    pub gross: f64,
    /// Currency.
    pub currency: String,
    /// Parts and fluids that the plan needs and the price list lacks: the sum is without them.
    pub unpriced: Vec<String>,
    /// How long it holds, days.
    pub valid_days: u32,
}

impl Settings {
    /// Reads settings.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub fn read(text: &str) -> Result<Self, String> {
        let s: Self = toml::from_str(text).map_err(|e| e.to_string())?;
        if s.schema != SCHEMA {
            return Err(format!("schema is {:?}; settings begin with schema = {SCHEMA:?}", s.schema));
        }
        let numbers = [("labour_per_hour", s.labour_per_hour, 1e4), ("tax_percent", s.tax_percent, 100.0)];
        for (name, value, most) in numbers {
            if !(0.0..=most).contains(&value) {
                return Err(format!("{name} is {value}; it lies between 0 and {most}"));
            }
        }
        if let Some((id, p)) = s.price.iter().find(|(_, p)| !(0.0..=1e6).contains(*p)) {
            return Err(format!("the price of {id:?} is {p}; it lies between 0 and 1000000"));
        }
        Ok(s)
    }
}

/// Prices a plan.
#[must_use]
pub fn quote(plan: &Plan, settings: &Settings) -> Quote {
    let hours = plan.hands_on_min / 60.0;
    let mut lines = vec![Line {
        kind: "labour",
        id: String::new(),
        quantity: hours,
        each: Some(settings.labour_per_hour),
        net: cents(hours * settings.labour_per_hour),
    }];
    let mut counts: BTreeMap<(&str, &'static str), f64> = BTreeMap::new();
    for s in &plan.steps {
        for p in &s.step.parts {
            *counts.entry((p, "part")).or_default() += 1.0;
        }
        for f in &s.step.fluids {
            *counts.entry((f, "fluid")).or_default() += 1.0;
        }
    }
    let mut unpriced = Vec::new();
    for ((id, kind), quantity) in counts {
        let each = settings.price.get(id).copied();
        if each.is_none() {
            unpriced.push(id.to_owned());
        }
        lines.push(Line {
            kind,
            id: id.to_owned(),
            quantity,
            each,
            net: cents(each.unwrap_or(0.0) * quantity),
        });
    }
    let net = cents(lines.iter().map(|l| l.net).sum());
    let tax = cents(net * settings.tax_percent / 100.0);
    Quote {
        lines,
        net,
        tax,
        gross: cents(net + tax),
        currency: settings.currency.clone(),
        unpriced,
        valid_days: settings.valid_days,
    }
}

fn cents(x: f64) -> f64 {
    (x * 100.0).round() / 100.0
}
