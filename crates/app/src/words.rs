//! The words: every sentence a person reads comes from the catalogue, by its identifier.
//!
//! `infer` and `additive` name messages and arguments; here they become English. A message that the catalogue
//! lacks is shown by its identifier rather than left out, and a test keeps that from happening.

use additive::message::{Argument, Message};
use facts::Knowledge;
use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::types::{FluentNumber, FluentNumberOptions};
use fluent_bundle::{FluentArgs, FluentResource, FluentValue};
use infer::assessment::{Arg, Text};
use std::cell::Cell;
use std::sync::LazyLock;
use unic_langid::LanguageIdentifier;

/// Sentences of this program.
const ENGLISH: &str = include_str!("../locales/en.ftl");
/// Sentences that stand on pages of the bench, in German.
const GERMAN: &str = include_str!("../locales/de.ftl");

static IN_ENGLISH: LazyLock<Words> = LazyLock::new(Words::english);
static IN_GERMAN: LazyLock<Words> = LazyLock::new(Words::german);

thread_local! {
    /// Whether words and numbers are German at present.
    static SPEAKS_GERMAN: Cell<bool> = const { Cell::new(false) };
}

/// Runs `f` with words and numbers in the language of a tag; what is not German is English.
pub fn in_language<T>(tag: &str, f: impl FnOnce() -> T) -> T {
    let before = SPEAKS_GERMAN.replace(tag == "de");
    let out = f();
    SPEAKS_GERMAN.set(before);
    out
}

/// The catalogue of one language.
pub struct Words {
    bundle: FluentBundle<FluentResource>,
}

/// The catalogue in use.
pub fn words() -> &'static Words {
    if SPEAKS_GERMAN.get() { &IN_GERMAN } else { &IN_ENGLISH }
}

/// A sentence without arguments.
pub fn say(id: &str) -> String {
    words().message(id, &FluentArgs::new())
}

/// A sentence with arguments.
pub fn say_with(id: &str, args: &FluentArgs) -> String {
    words().message(id, args)
}

/// Short form for arguments of a sentence: `args! { "name" => value }`.
#[macro_export]
macro_rules! args {
    ($($name:literal => $value:expr),* $(,)?) => {{
        #[allow(unused_mut)]
        let mut args = fluent_bundle::FluentArgs::new();
        $( args.set($name, $value); )*
        args
    }};
}

/// A number with the count of decimals to show, as an argument.
pub fn number(value: f64, decimals: usize) -> FluentValue<'static> {
    let scale = 10f64.powi(decimals.min(12) as i32);
    // Rounded here so that plural rules see the number that is shown.
    let rounded = if value.is_finite() { (value * scale).round() / scale } else { value };
    let options = FluentNumberOptions { minimum_fraction_digits: Some(decimals), ..Default::default() };
    FluentValue::Number(FluentNumber::new(rounded, options))
}

/// A number as it is shown: decimal point (a comma in German), narrow no-break space between thousands, a true minus.
pub fn digits(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return if value.is_nan() { "?".into() } else { if value > 0.0 { "∞" } else { "−∞" }.into() };
    }
    let plain = format!("{:.*}", decimals, value.abs());
    let (whole, rest) = plain.split_once('.').unwrap_or((&plain, ""));
    let mut out = String::new();
    if value < 0.0 && plain.bytes().any(|b| (b'1'..=b'9').contains(&b)) {
        out.push('−');
    }
    let count = whole.len();
    for (i, c) in whole.chars().enumerate() {
        // Four digits read well without a gap; a year-like figure should not get one.
        if i > 0 && (count - i) % 3 == 0 && count > 4 {
            out.push('\u{202f}');
        }
        out.push(c);
    }
    if !rest.is_empty() {
        out.push(if SPEAKS_GERMAN.get() { ',' } else { '.' });
        out.push_str(rest);
    }
    out
}

/// A large number with no more figures than its interval of this width earns (two of the width).
pub fn earned(value: f64, width: f64) -> f64 {
    if !(width.is_finite() && width >= 100.0) {
        return value;
    }
    let step = 10f64.powf(width.log10().floor() - 1.0);
    (value / step).round() * step
}

/// Decimals that show two figures of an interval this wide, at most `most`.
pub fn decimals_for(width: f64, most: usize) -> usize {
    if !(width.is_finite() && width > 0.0) {
        return most.min(1);
    }
    (1.0 - width.log10().floor()).clamp(0.0, most as f64) as usize
}

/// Trailing digits of a double that are noise of the representation are not shown.
fn shortest(value: f64) -> String {
    let text = format!("{}", (value * 1e6).round() / 1e6);
    let decimals = text.split_once('.').map_or(0, |(_, d)| d.len());
    digits(value, decimals)
}

impl Words {
    fn english() -> Self {
        Self::of("en", &[ENGLISH, additive::message::ENGLISH])
    }

    /// German; a sentence that no page shows stays English.
    fn german() -> Self {
        Self::of("de", &[ENGLISH, GERMAN, additive::message::GERMAN])
    }

    /// A catalogue of sources; of two sentences with one identifier the later counts.
    fn of(tag: &str, sources: &[&str]) -> Self {
        let mut bundle =
            FluentBundle::new_concurrent(vec![tag.parse::<LanguageIdentifier>().unwrap_or_default()]);
        bundle.set_use_isolating(false);
        bundle.set_formatter(Some(|value, _| match value {
            FluentValue::Number(n) => Some(match n.options.minimum_fraction_digits {
                Some(d) => digits(n.value, d),
                None => shortest(n.value),
            }),
            _ => None,
        }));
        for source in sources {
            // Broken entries are dropped by the parser; a test finds them.
            let resource = FluentResource::try_new((*source).to_owned()).unwrap_or_else(|(r, _)| r);
            bundle.add_resource_overriding(resource);
        }
        Self { bundle }
    }

    /// Whether the catalogue holds a message.
    #[cfg(test)]
    pub fn has(&self, id: &str) -> bool {
        self.bundle.get_message(id).is_some_and(|m| m.value().is_some())
    }

    /// A message by its identifier; the identifier itself where the catalogue lacks it.
    pub fn message(&self, id: &str, args: &FluentArgs) -> String {
        let Some(pattern) = self.bundle.get_message(id).and_then(|m| m.value()) else {
            return format!("[{id}]");
        };
        let mut errors = Vec::new();
        self.bundle.format_pattern(pattern, Some(args), &mut errors).into_owned()
    }

    /// A message of the estimate. Faults and observations get their words from the knowledge: `$name` is the label
    /// as part of a sentence; an observation also gives `$name-question` and `$name-how`; a list of faults inside a
    /// message gives `$name-repair`. A `$factor` is shown as a number above one with `$speaks` (for or against).
    pub fn text(&self, text: &Text, knowledge: &Knowledge) -> String {
        let mut args = FluentArgs::new();
        for (name, arg) in &text.args {
            match arg {
                Arg::Number(value, _) if *name == "factor" => {
                    // A factor below one reads better as one against.
                    let side = if *value < 1.0 { "against" } else { "for" };
                    let factor = if *value < 1.0 { 1.0 / value.max(1e-6) } else { *value };
                    args.set("speaks", self.message("speaks", &args! { "side" => side }));
                    args.set(*name, number(factor, usize::from(factor < 10.0)));
                }
                // A distance to come is never known to the kilometre.
                Arg::Number(value, decimals) if *name == "due" => {
                    args.set(*name, number(earned(*value, *value), *decimals))
                }
                Arg::Number(value, decimals) => args.set(*name, number(*value, *decimals)),
                Arg::Word(word) => args.set(*name, word.clone()),
                Arg::Fault(fault) => args.set(*name, within(known(&knowledge.fault(*fault).label))),
                Arg::Observation(id) => match knowledge.observation(id) {
                    Some(o) => {
                        args.set(*name, within(known(&o.label)));
                        args.set(format!("{name}-question"), known(&o.question).to_owned());
                        args.set(format!("{name}-how"), known(&o.how).to_owned());
                    }
                    None => args.set(*name, id.clone()),
                },
                Arg::Message(inner) => {
                    args.set(*name, self.text(inner, knowledge));
                    args.set(format!("{name}-repair"), repairs(inner, knowledge));
                }
            }
        }
        self.message(text.id, &args)
    }

    /// A message of the fluids' side.
    pub fn fluid(&self, message: &Message) -> String {
        let mut args = FluentArgs::new();
        for (name, argument) in &message.arguments {
            match argument {
                Argument::Number(n) => args.set(*name, *n),
                Argument::Text(t) => args.set(*name, t.clone()),
            }
        }
        self.message(message.key, &args)
    }
}

/// Words of the knowledge in the language in use.
fn known(text: &str) -> &str {
    if SPEAKS_GERMAN.get() { bench::words::Lang::De.k(text) } else { text }
}

/// Words that begin a German label and are no nouns.
const SMALL_IN_GERMAN: [&str; 14] = [
    "Aus", "Das", "Dem", "Den", "Der", "Die", "Ein", "Eine", "Jemand", "Kein", "Keine", "Mehr", "Weniger",
    "Zu",
];

/// A label as it stands inside a sentence: its first word loses the capital, unless the word is an abbreviation.
pub fn within(label: &str) -> String {
    if SPEAKS_GERMAN.get() && !label.split(' ').next().is_some_and(|w| SMALL_IN_GERMAN.contains(&w)) {
        return label.to_owned();
    }
    let mut chars = label.chars();
    match (chars.next(), chars.next()) {
        (Some(a), Some(b)) if a.is_uppercase() && !b.is_uppercase() => {
            a.to_lowercase().chain(std::iter::once(b)).chain(chars).collect()
        }
        _ => label.to_owned(),
    }
}

/// What mends the faults that a message names.
fn repairs(text: &Text, knowledge: &Knowledge) -> String {
    let list: Vec<&str> = text
        .args
        .values()
        .filter_map(|a| match a {
            Arg::Fault(f) => Some(known(&knowledge.fault(*f).repair.action)),
            _ => None,
        })
        .collect();
    list.join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::path::Path;

    #[test]
    fn regress_what_pages_say_is_german_too() {
        let ids = |text: &str| -> BTreeSet<String> {
            let lines = text.lines().filter(|l| l.starts_with(|c: char| c.is_ascii_lowercase()));
            lines.filter_map(|l| l.split_once(" =").map(|(id, _)| id.to_owned())).collect()
        };
        for text in [GERMAN, additive::message::GERMAN] {
            if let Err((_, errors)) = FluentResource::try_new(text.to_owned()) {
                panic!("{errors:?}");
            }
        }
        assert_eq!(ids(additive::message::ENGLISH), ids(additive::message::GERMAN));
        let (english, german) = (ids(ENGLISH), ids(GERMAN));
        let mut said = quoted_ids("../infer/src");
        said.extend(
            ["fig-pressure", "fig-axis", "fig-waterfall", "fig-life", "fig-fitted", "fig-as-new", "row-"]
                .iter()
                .flat_map(|start| english.iter().filter(move |id| id.starts_with(start)).cloned())
                .filter(|id| !matches!(id.as_str(), "fig-axis-said" | "fig-axis-came-true"))
                .filter(|id| !id.starts_with("row-") || POURED.contains(&id.as_str())),
        );
        let owed: Vec<_> = said.iter().filter(|id| english.contains(*id) && !german.contains(*id)).collect();
        assert!(owed.is_empty(), "no German in locales/de.ftl for {owed:#?}");
        let over: Vec<_> = german.difference(&english).collect();
        assert!(over.is_empty(), "in locales/de.ftl, not in locales/en.ftl: {over:#?}");
    }

    #[test]
    fn regress_german_numbers_and_labels() {
        let fault = Knowledge::built_in().fault(facts::FaultId::AdditiveEmpty).label.clone();
        in_language("de", || {
            assert_eq!(digits(12_345.5, 1), "12\u{202f}345,5");
            assert_eq!(within(known(&fault)), "das Additiv ist verbraucht");
        });
        assert_eq!(digits(1.5, 1), "1.5");
    }

    /// Rows of the drawing of the balance.
    const POURED: [&str; 5] =
        ["row-poured", "row-dosed-controller", "row-dosed-physics", "row-left-now", "row-unexplained"];

    /// Quoted words in a source that look like identifiers of messages.
    fn quoted_ids(folder: &str) -> BTreeSet<String> {
        fn read(folder: &Path, out: &mut String) {
            for entry in std::fs::read_dir(folder).expect("folder of sources").flatten() {
                let path = entry.path();
                if path.is_dir() {
                    read(&path, out);
                } else if path.extension().is_some_and(|e| e == "rs") {
                    let text = std::fs::read_to_string(&path).expect("source");
                    // Tests may use made-up identifiers.
                    out.push_str(text.split("#[cfg(test)]").next().unwrap_or_default());
                }
            }
        }
        let mut source = String::new();
        read(&Path::new(env!("CARGO_MANIFEST_DIR")).join(folder), &mut source);
        source
            .split('"')
            .skip(1)
            .filter(|w| {
                w.contains('-')
                    && w.len() > 4
                    && w.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
            })
            .map(str::to_owned)
            .collect()
    }

    const FAMILIES: [&str; 19] = [
        "balance",
        "caution",
        "plain",
        "problem",
        "proof",
        "question",
        "reason",
        "set",
        "sign",
        "why",
        "would",
        "next",
        "not",
        "burn",
        "because",
        "condition",
        "look",
        "reading",
        "figure",
    ];

    #[test]
    fn regress_every_message_of_the_estimate_has_words() {
        let used: BTreeSet<String> = quoted_ids("../infer/src")
            .into_iter()
            .filter(|id| FAMILIES.iter().any(|f| id.starts_with(&format!("{f}-"))))
            .collect();
        assert!(used.len() > 60, "the search for identifiers found only {}", used.len());
        let missing: Vec<_> = used.iter().filter(|id| !words().has(id)).collect();
        assert!(missing.is_empty(), "not in locales/en.ftl: {missing:#?}");
    }

    #[test]
    fn regress_every_message_of_this_program_has_words() {
        let source = quoted_ids("src");
        let prefixes = [
            "cli-",
            "head-",
            "row-",
            "fact-",
            "label-",
            "error-",
            "fig-",
            "decode-",
            "demo-",
            "out-",
            "fluid-",
            "regeneration-",
            "course-",
            "state-",
            "material-",
            "burn-",
            "ash-",
            "oil-",
            "next-",
            "col-",
            "note-",
            "page-",
        ];
        let missing: Vec<_> = source
            .iter()
            .filter(|id| prefixes.iter().any(|p| id.starts_with(p)) && !id.ends_with('-'))
            .filter(|id| !words().has(id))
            .collect();
        assert!(missing.is_empty(), "not in locales/en.ftl: {missing:#?}");
    }

    /// Nothing in this program helps to take a filter out of use; the one sentence that speaks of it forbids it.
    #[test]
    fn regress_no_sentence_proposes_to_remove_or_bypass_a_filter() {
        for line in ENGLISH.lines().chain(additive::message::ENGLISH.lines()) {
            let said = line.to_lowercase();
            let speaks =
                ["bypass", "delete", "gut the", "getting round", "taking it out", "remove the filter"];
            assert!(
                !speaks.iter().any(|w| said.contains(w)) || said.contains("forbidden"),
                "a sentence speaks of removing or bypassing: {line}"
            );
        }
    }

    #[test]
    fn regress_catalogue_parses_without_junk() {
        for source in [ENGLISH, additive::message::ENGLISH] {
            if let Err((_, errors)) = FluentResource::try_new(source.to_owned()) {
                panic!("{errors:?}");
            }
        }
    }

    #[test]
    fn analytic_numbers_are_written_as_people_read_them() {
        assert_eq!(digits(1234.5, 1), "1234.5");
        assert_eq!(digits(123_456.0, 0), "123\u{202f}456");
        assert_eq!(digits(-0.04, 1), "0.0");
        assert_eq!(digits(-2.25, 2), "−2.25");
        assert_eq!(digits(f64::NAN, 2), "?");
        assert_eq!(earned(93_013.0, 27_480.0), 93_000.0);
        assert_eq!(earned(659.0, 351.0), 660.0);
        assert_eq!(earned(12.3, 4.0), 12.3);
        assert_eq!(decimals_for(2.4, 2), 1);
        assert_eq!(decimals_for(0.3, 2), 2);
        assert_eq!(decimals_for(400.0, 2), 0);
    }

    #[test]
    fn regress_no_braces_or_identifiers_leak_into_a_sentence() {
        let knowledge = Knowledge::built_in();
        let inner = Text::new("set-one").with("a", Arg::Fault(facts::FaultId::ZeroError));
        let text = Text::new("plain-fault-found")
            .with("set", Arg::Message(Box::new(inner)))
            .number("percent", 81.4, 0);
        let said = words().text(&text, knowledge);
        assert!(said.contains("81") && !said.contains('{') && !said.contains("zero_error"), "{said}");
    }
}
