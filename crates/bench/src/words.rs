//! The words of the pages, in the reader's language.

use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::types::{FluentNumber, FluentNumberOptions};
use fluent_bundle::{FluentArgs, FluentResource, FluentValue};
use std::collections::HashMap;
use std::sync::LazyLock;
use unic_langid::LanguageIdentifier;

const ENGLISH: &str = include_str!("../locales/en.ftl");
const GERMAN: &str = include_str!("../locales/de.ftl");

static IN_ENGLISH: LazyLock<Catalogue> = LazyLock::new(|| catalogue("en", ENGLISH));
static IN_GERMAN: LazyLock<Catalogue> = LazyLock::new(|| catalogue("de", GERMAN));

type Catalogue = FluentBundle<FluentResource>;

/// German for the words of the knowledge and of the case file, by their English.
static KNOWN_IN_GERMAN: LazyLock<HashMap<String, String>> =
    LazyLock::new(|| toml::from_str(include_str!("../locales/knowledge.de.toml")).unwrap_or_default());

/// Short form for arguments of a sentence.
#[macro_export]
macro_rules! args {
    ($($name:literal => $value:expr),* $(,)?) => {{
        #[allow(unused_mut)]
        let mut args = fluent_bundle::FluentArgs::new();
        $( args.set($name, $value); )*
        args
    }};
}

/// A language of the pages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lang {
    /// English.
    En,
    /// German.
    De,
}

impl Lang {
    /// The tag of the language.
    #[must_use]
    pub fn tag(self) -> &'static str {
        match self {
            Self::En => "en",
            Self::De => "de",
        }
    }

    /// The language of a tag, or of the first tag known in a list as browsers send it.
    #[must_use]
    pub fn of(list: &str) -> Option<Self> {
        list.split(',').find_map(|part| match part.trim().get(..2)?.to_ascii_lowercase().as_str() {
            "en" => Some(Self::En),
            "de" => Some(Self::De),
            _ => None,
        })
    }

    fn bundle(self) -> &'static Catalogue {
        match self {
            Self::En => &IN_ENGLISH,
            Self::De => &IN_GERMAN,
        }
    }

    /// A sentence; its identifier where the catalogue lacks it.
    #[must_use]
    pub fn t(self, id: &str) -> String {
        self.tw(id, &FluentArgs::new())
    }

    /// A sentence with arguments.
    #[must_use]
    pub fn tw(self, id: &str, args: &FluentArgs) -> String {
        let Some(pattern) = self.bundle().get_message(id).and_then(|m| m.value()) else {
            return format!("[{id}]");
        };
        let mut errors = Vec::new();
        self.bundle().format_pattern(pattern, Some(args), &mut errors).into_owned()
    }

    /// A sentence, when the catalogue has it.
    #[must_use]
    pub fn maybe(self, id: &str) -> Option<String> {
        self.bundle().get_message(id).and_then(|m| m.value())?;
        Some(self.t(id))
    }

    /// Words of the knowledge (a step, a fault, a question, a fluid) in this language; where nobody has written them
    /// yet, as a workshop's own overlay has them.
    #[must_use]
    pub fn k(self, text: &str) -> &str {
        match self {
            Self::En => text,
            Self::De => KNOWN_IN_GERMAN.get(text).map_or(text, String::as_str),
        }
    }

    /// Several of them as a list.
    #[must_use]
    pub fn list<T: AsRef<str>>(self, texts: &[T]) -> String {
        texts.iter().map(|t| self.k(t.as_ref())).collect::<Vec<_>>().join(", ")
    }

    /// A number as people of this language write it.
    #[must_use]
    pub fn n(self, value: f64, decimals: usize) -> String {
        digits(value, decimals, if self == Self::De { ',' } else { '.' })
    }

    /// An instant in UTC as `14:07`, or with the date when it was on another day than `now_ms`.
    #[must_use]
    pub fn when(self, at_ms: i64, now_ms: i64) -> String {
        let day = 86_400_000;
        let Ok(t) = jiff::Timestamp::from_millisecond(at_ms) else { return "?".into() };
        let t = t.to_string();
        let (date, time) = (t.get(..10).unwrap_or("?"), t.get(11..16).unwrap_or("?"));
        if at_ms.div_euclid(day) == now_ms.div_euclid(day) {
            time.to_owned()
        } else {
            self.tw("when-date", &args! { "date" => self.date(date), "time" => time.to_owned() })
        }
    }

    /// A date `2031-05-02` as people of this language write it.
    #[must_use]
    pub fn date(self, iso: &str) -> String {
        let mut parts = iso.split('-');
        match (self, parts.next(), parts.next(), parts.next()) {
            (Self::De, Some(y), Some(m), Some(d)) => format!("{d}.{m}.{y}"),
            _ => iso.to_owned(),
        }
    }
}

/// A number with its decimals: narrow no-break space between thousands, a true minus.
fn digits(value: f64, decimals: usize, mark: char) -> String {
    if !value.is_finite() {
        return "?".into();
    }
    let plain = format!("{:.*}", decimals, value.abs());
    let (whole, rest) = plain.split_once('.').unwrap_or((&plain, ""));
    let mut out = String::new();
    if value < 0.0 && plain.bytes().any(|b| (b'1'..=b'9').contains(&b)) {
        out.push('−');
    }
    for (i, c) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i) % 3 == 0 && whole.len() > 4 {
            out.push('\u{202f}');
        }
        out.push(c);
    }
    if !rest.is_empty() {
        out.push(mark);
        out.push_str(rest);
    }
    out
}

/// A number with its decimals, as an argument of a sentence.
#[must_use]
pub fn num(value: f64, decimals: usize) -> FluentValue<'static> {
    let scale = 10f64.powi(decimals.min(12) as i32);
    let options = FluentNumberOptions { minimum_fraction_digits: Some(decimals), ..Default::default() };
    FluentValue::Number(FluentNumber::new((value * scale).round() / scale, options))
}

fn shown(value: &FluentValue, mark: char) -> Option<String> {
    match value {
        FluentValue::Number(n) => {
            Some(digits(n.value, n.options.minimum_fraction_digits.unwrap_or_default(), mark))
        }
        _ => None,
    }
}

fn catalogue(tag: &str, text: &str) -> Catalogue {
    let mut bundle =
        FluentBundle::new_concurrent(vec![tag.parse::<LanguageIdentifier>().unwrap_or_default()]);
    bundle.set_use_isolating(false);
    if tag == "de" {
        bundle.set_formatter(Some(|value, _| shown(value, ',')));
    } else {
        bundle.set_formatter(Some(|value, _| shown(value, '.')));
    }
    // Broken entries are dropped by the parser; a test finds them.
    let resource = FluentResource::try_new(text.to_owned()).unwrap_or_else(|(r, _)| r);
    bundle.add_resource_overriding(resource);
    bundle
}

/// A number as people type it: point or comma, blanks between thousands.
///
/// # Errors
/// When it is no number.
pub fn typed(text: &str) -> Result<Option<f64>, String> {
    let plain: String = text.chars().filter(|c| !c.is_whitespace() && *c != '\'').collect();
    if plain.is_empty() {
        return Ok(None);
    }
    let plain = plain.replace('−', "-");
    // "1.234,5" and "1,234.5": the last mark is the decimal one.
    let plain = match (plain.rfind('.'), plain.rfind(',')) {
        (Some(p), Some(c)) if p < c => plain.replace('.', "").replace(',', "."),
        (Some(_), Some(_)) => plain.replace(',', ""),
        (None, Some(_)) => plain.replace(',', "."),
        _ => plain,
    };
    plain.parse::<f64>().ok().filter(|v| v.is_finite()).map(Some).ok_or_else(|| text.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn keys(text: &str) -> BTreeSet<&str> {
        text.lines()
            .filter(|l| l.starts_with(|c: char| c.is_ascii_lowercase()))
            .filter_map(|l| l.split_once(' ').filter(|(_, r)| r.starts_with('=')).map(|(k, _)| k))
            .collect()
    }

    #[test]
    fn regress_both_languages_hold_the_same_messages() {
        for text in [ENGLISH, GERMAN] {
            if let Err((_, errors)) = FluentResource::try_new(text.to_owned()) {
                panic!("{errors:?}");
            }
        }
        let (en, de) = (keys(ENGLISH), keys(GERMAN));
        let apart: Vec<_> = en.symmetric_difference(&de).collect();
        assert!(apart.is_empty(), "in one language only: {apart:?}");
    }

    #[test]
    fn regress_every_word_of_the_knowledge_that_pages_show_is_german_too() {
        let k = facts::Knowledge::built_in();
        let rules = shop::work::Rules::built_in().expect("rules");
        let mut shown: BTreeSet<String> = BTreeSet::new();
        for f in k.faults() {
            shown.extend([f.label.clone(), f.repair.action.clone()].into_iter().chain(f.reason.clone()));
        }
        for o in k.observations() {
            shown.extend([o.label.clone(), o.question.clone(), o.how.clone()]);
        }
        shown.extend(k.rules().iter().map(|r| r.label.clone()));
        for p in &rules.procedures.procedure {
            shown.insert(p.label.clone());
        }
        shown.extend(rules.procedures.way.iter().map(|w| w.label.clone()));
        let all: Vec<_> = rules.procedures.procedure.iter().filter_map(|p| rules.procedure(&p.id)).collect();
        for step in all.iter().flat_map(|p| &p.step) {
            shown.insert(step.text.clone());
            for list in [&step.cautions, &step.tools, &step.ppe, &step.proof, &step.interlocks] {
                shown.extend(list.iter().filter(|t| t.contains(' ')).cloned());
            }
        }
        shown.retain(|t| !t.is_empty());
        assert!(shown.len() > 500, "found only {}", shown.len());
        let missing: Vec<_> = shown.iter().filter(|t| !KNOWN_IN_GERMAN.contains_key(*t)).collect();
        assert!(missing.is_empty(), "no German in locales/knowledge.de.toml for {missing:#?}");
    }

    #[test]
    fn regress_every_sentence_used_has_words() {
        fn read(folder: &std::path::Path, out: &mut String) {
            for entry in std::fs::read_dir(folder).expect("folder").flatten() {
                if entry.path().is_dir() {
                    read(&entry.path(), out);
                } else {
                    let text = std::fs::read_to_string(entry.path()).expect("source");
                    out.push_str(text.split("#[cfg(test)]").next().unwrap_or_default());
                }
            }
        }
        let mut source = String::new();
        read(&std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut source);
        let en = keys(ENGLISH);
        let mut used = BTreeSet::new();
        for opening in [".t(\"", ".tw(\"", ".tw(\n            \"", ".maybe(\""] {
            used.extend(source.split(opening).skip(1).filter_map(|r| r.split('"').next()));
        }
        assert!(used.len() > 80, "found only {}", used.len());
        let missing: Vec<_> = used.iter().filter(|u| !en.contains(*u)).collect();
        assert!(missing.is_empty(), "no words for {missing:#?}");
    }

    #[test]
    fn analytic_numbers_are_read_with_comma_and_point() {
        for (text, value) in
            [("0,08", 0.08), ("0.08", 0.08), ("1 186", 1186.0), ("1.234,5", 1234.5), ("−3", -3.0)]
        {
            assert_eq!(typed(text), Ok(Some(value)), "{text}");
        }
        assert_eq!(typed("  "), Ok(None));
        assert!(typed("about 3").is_err() && typed("1,2,3").is_err());
        assert_eq!(Lang::De.n(12345.25, 1), "12\u{202f}345,2");
    }
}
