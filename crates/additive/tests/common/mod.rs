//! Reading the check rows that lie in `checks/data`.
#![allow(dead_code, clippy::unwrap_used)] // each test program uses a part, and helpers may fail loudly

use std::path::PathBuf;

/// One row of `physics-checks.csv`.
#[derive(Debug, Clone)]
pub struct Row {
    pub id: String,
    pub inputs: String,
    pub expected: String,
    pub tolerance: String,
    pub source: String,
}

/// A file of this repository.
pub fn repository(path: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../..").join(path)
}

/// The rows whose id begins with a prefix; fails when there are none.
pub fn rows(prefix: &str) -> Vec<Row> {
    let path = repository("checks/data/physics-checks.csv");
    let mut reader = csv::Reader::from_path(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let rows: Vec<Row> = reader
        .records()
        .map(|r| r.unwrap())
        .filter(|r| r[0].starts_with(prefix))
        .map(|r| Row {
            id: r[0].to_string(),
            inputs: r[2].to_string(),
            expected: r[3].to_string(),
            tolerance: r[5].to_string(),
            source: r[6].to_string(),
        })
        .collect();
    assert!(!rows.is_empty(), "no check row begins with {prefix}");
    rows
}

impl Row {
    /// The number behind `name=` in the inputs.
    pub fn input(&self, name: &str) -> f64 {
        let (_, rest) = self
            .inputs
            .split([';', ','])
            .filter_map(|part| part.trim().split_once('='))
            .find(|(key, _)| key.trim() == name)
            .unwrap_or_else(|| panic!("{}: no input {name} in {}", self.id, self.inputs));
        leading_number(rest)
    }

    /// Asserts a computed value against the row, within the row's own tolerance.
    pub fn agrees(&self, got: f64) {
        let want: f64 = self.expected.parse().unwrap();
        let part: f64 = self.tolerance.trim_end_matches('%').parse::<f64>().unwrap() / 100.0;
        assert!(
            (got - want).abs() <= part * want.abs(),
            "{}: got {got}, {} says {want} within {}",
            self.id,
            self.source,
            self.tolerance
        );
    }

    /// Expected limits written `low-high`.
    pub fn limits(&self) -> (f64, f64) {
        let (low, high) = self.expected.split_once('-').unwrap();
        (low.parse().unwrap(), high.parse().unwrap())
    }
}

/// The number a text begins with.
pub fn leading_number(text: &str) -> f64 {
    let text = text.trim();
    let end =
        text.find(|c: char| !matches!(c, '0'..='9' | '.' | '-' | '+' | 'e' | 'E')).unwrap_or(text.len());
    text[..end].parse().unwrap_or_else(|e| panic!("{text}: {e}"))
}

/// Any number a program may be handed: usual ones, edges, and the whole range with infinities and NaN.
pub fn figure() -> impl proptest::strategy::Strategy<Value = f64> {
    use proptest::prelude::*;
    prop_oneof![
        4 => 0.0..1.0f64,
        4 => 0.0..2000.0f64,
        1 => -50.0..50.0f64,
        1 => prop::sample::select(vec![0.0, 1.0, f64::MIN_POSITIVE, f64::MAX, f64::EPSILON, 1e-300, 1e300, -1.0]),
        2 => any::<f64>(),
    ]
}
