//! Sentences as keys and arguments, so that the program around can say them in any language.
//!
//! The English sentences lie in `locales/en.ftl` (Fluent syntax), one per key; [`ENGLISH`] holds that file's text.

use std::collections::BTreeMap;

use serde::Serialize;

/// The English catalogue, Fluent syntax.
pub const ENGLISH: &str = include_str!("../locales/en.ftl");
/// The same sentences in German.
pub const GERMAN: &str = include_str!("../locales/de.ftl");

/// An argument of a sentence.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Argument {
    /// A figure, in the unit the sentence names.
    Number(f64),
    /// A word, such as a fluid's name.
    Text(String),
}

/// A sentence to be said: key of the catalogue and its arguments.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Message {
    /// Key in the catalogue.
    pub key: &'static str,
    /// Arguments by name.
    pub arguments: BTreeMap<&'static str, Argument>,
}

impl Message {
    /// A sentence without arguments.
    pub fn new(key: &'static str) -> Self {
        Self { key, arguments: BTreeMap::new() }
    }

    /// Adds a figure. Fluent's formatting is the caller's; the figure is already rounded to what is worth saying.
    pub fn number(mut self, name: &'static str, value: f64) -> Self {
        self.arguments.insert(name, Argument::Number(value));
        self
    }

    /// Adds a word.
    pub fn text(mut self, name: &'static str, value: impl Into<String>) -> Self {
        self.arguments.insert(name, Argument::Text(value.into()));
        self
    }
}

/// Rounds to a number of decimals.
pub(crate) fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    let scaled = (value * scale).round();
    if scaled.is_finite() { scaled / scale } else { value }
}
