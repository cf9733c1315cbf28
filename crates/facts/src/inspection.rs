//! Limits of the periodic inspection by country and date (`knowledge/inspection.toml`): particle number at idle and
//! opacity of free acceleration.

use crate::case::Quantity;
use crate::moment::Moment;
use serde::{Deserialize, Serialize};
use std::sync::LazyLock;

/// The value of `schema` that this version reads.
pub const SCHEMA: &str = "sootwright.inspection/1";

/// One limit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InspectionLimit {
    /// Particle number (1/cm3) or opacity (1/m).
    pub quantity: Quantity,
    /// ISO 3166 code of the country, or `EU`.
    pub country: String,
    /// How the engine runs meanwhile.
    pub condition: String,
    /// Above this the car fails, in the canonical unit of the quantity.
    pub limit: f64,
    /// Above this it passes with a remark.
    #[serde(default)]
    pub remark_above: Option<f64>,
    /// In force since.
    #[serde(default)]
    pub from: Option<Moment>,
    /// For cars first registered on or after this day.
    #[serde(default)]
    pub registered_from: Option<Moment>,
    /// For cars first registered before this day.
    #[serde(default)]
    pub registered_before: Option<Moment>,
    /// For emission classes (Euro number) from this one on.
    #[serde(default)]
    pub euro_from: Option<u8>,
    /// For emission classes below this one.
    #[serde(default)]
    pub euro_below: Option<u8>,
    /// Whether the car fails by law.
    pub binding: bool,
    /// Source of the figure.
    pub source: String,
    /// How the figure came here.
    pub mark: Basis,
}

/// How a figure came here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// Read in the source.
    Seen,
    /// From memory: read the source before relying on it.
    Memory,
}

/// What tells which limits hold for a car on a day.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Inspected<'a> {
    /// ISO 3166 code of the country.
    pub country: Option<&'a str>,
    /// First registration.
    pub registered: Option<Moment>,
    /// Euro number of the emission class.
    pub euro: Option<u8>,
    /// Day of the test.
    pub day: Option<Moment>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    schema: String,
    limit: Vec<InspectionLimit>,
}

/// Reads a file of limits.
///
/// # Errors
/// What is wrong with the text, with line and column as the parser names them.
pub fn read(text: &str) -> Result<Vec<InspectionLimit>, String> {
    let file: File = toml::from_str(text).map_err(|e| e.to_string())?;
    if file.schema == SCHEMA {
        Ok(file.limit)
    } else {
        Err(format!("schema is {:?}; this version reads {SCHEMA:?}", file.schema))
    }
}

/// The limits this version was built with.
#[must_use]
pub fn built_in() -> &'static [InspectionLimit] {
    static BUILT_IN: LazyLock<Vec<InspectionLimit>> =
        LazyLock::new(|| match read(include_str!("../../../knowledge/inspection.toml")) {
            Ok(list) => list,
            // No input reaches this: the text is part of the program and a test reads it.
            Err(e) => unreachable!("the built-in limits are faulty: {e}"),
        });
    &BUILT_IN
}

impl InspectionLimit {
    /// Whether the limit may hold: `None` where a fact that decides is missing.
    #[must_use]
    pub fn holds(&self, of: &Inspected) -> Option<bool> {
        let country = of.country.map(|c| c.eq_ignore_ascii_case(&self.country));
        let since = |from: Option<Moment>, told: Option<Moment>| match (from, told) {
            (None, _) => Some(true),
            (Some(f), Some(t)) => Some(t.day() >= f.day()),
            (Some(_), None) => None,
        };
        let before = match (self.registered_before, of.registered) {
            (None, _) => Some(true),
            (Some(b), Some(r)) => Some(r.day() < b.day()),
            (Some(_), None) => None,
        };
        let from_class = self.euro_from.map_or(Some(true), |f| of.euro.map(|e| e >= f));
        let below_class = self.euro_below.map_or(Some(true), |b| of.euro.map(|e| e < b));
        let all = [
            country,
            // A test without a date is one of today's, later than every rule here.
            Some(since(self.from, of.day).unwrap_or(true)),
            since(self.registered_from, of.registered),
            before,
            from_class,
            below_class,
        ];
        if all.contains(&Some(false)) {
            return Some(false);
        }
        all.iter().all(Option::is_some).then_some(true)
    }
}

/// The limits of a quantity that hold for a car; where a country has none of its own, those of the EU. The second
/// list are those that may hold and lack a fact.
#[must_use]
pub fn limits<'a>(
    list: &'a [InspectionLimit],
    quantity: Quantity,
    of: &Inspected,
) -> (Vec<&'a InspectionLimit>, Vec<&'a InspectionLimit>) {
    let told = |country: Option<&str>| {
        let of = Inspected { country, ..*of };
        let mut sure = Vec::new();
        let mut open = Vec::new();
        for l in list.iter().filter(|l| l.quantity == quantity) {
            match l.holds(&of) {
                Some(true) => sure.push(l),
                None => open.push(l),
                Some(false) => {}
            }
        }
        (sure, open)
    };
    let own = told(of.country.or(Some("EU")));
    if own.0.is_empty() && own.1.is_empty() { told(Some("EU")) } else { own }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Option<Moment> {
        Some(Moment::parse(text).unwrap_or_else(|e| panic!("{e}")))
    }

    #[test]
    fn reference_limits_follow_country_and_date() {
        // Trade reference 7.1.
        let of = |country, registered, euro| {
            let car = Inspected { country: Some(country), registered, euro, day: day("2026-03-01") };
            limits(built_in(), Quantity::ParticleNumber, &car).0.iter().map(|l| l.limit).collect::<Vec<_>>()
        };
        assert_eq!(of("NL", day("2012-05-01"), None), [1e6]);
        assert_eq!(of("NL", day("2017-05-01"), None), [250e3]);
        assert_eq!(of("DE", None, Some(6)), [250e3]);
        assert_eq!(of("CH", None, None).len(), 2);
        // A country without a rule of its own falls back on the recommendation.
        assert_eq!(of("FR", None, None), [250e3]);
        let old =
            Inspected { country: Some("DE"), euro: Some(6), day: day("2022-03-01"), ..Default::default() };
        assert!(!limits(built_in(), Quantity::ParticleNumber, &old).0.iter().any(|l| l.binding));
    }

    #[test]
    fn property_a_missing_fact_leaves_a_limit_open() {
        let (sure, open) =
            limits(built_in(), Quantity::Opacity, &Inspected { country: Some("DE"), ..Default::default() });
        assert!(sure.is_empty() && open.len() == 3);
    }

    #[test]
    fn regress_an_unknown_key_is_refused() {
        assert!(read("schema = \"sootwright.inspection/1\"\n[[limit]]\nwhat = 1\n").is_err());
        assert!(read("schema = \"other\"\nlimit = []\n").is_err());
    }
}
