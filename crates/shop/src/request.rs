//! What is asked for: wishes to take a filter out of use, to hide it or to fool a test are told from lawful ones.
//!
//! A wish is free text. It is read by the words of `knowledge/requests.toml`, forgiving a slip of the hand, with the
//! things it is about, what is to be done to them, and why. Deliberately simple: the words that decided are given
//! back, so that a person sees why, and says it another way where it was misread. Nothing is done on the strength
//! of this reading except to answer.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::LazyLock;

const SCHEMA: &str = "sootwright.requests/1";

/// How a wish was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Nothing in it is against the law.
    Lawful,
    /// Lawful after work that is done and proven; the wish does not say that it is.
    AfterTheWork,
    /// To take a filter out of use, to hide it, or to fool sensors, codes, counters or a test.
    Unlawful,
}

/// A wish as it was read.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Request {
    /// The wish, word for word.
    pub asked: String,
    /// How it was read.
    pub verdict: Verdict,
    /// The words that decided, as they stand in the wish.
    pub because: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    schema: String,
    thing: BTreeMap<String, Vec<String>>,
    words: BTreeMap<String, Vec<String>>,
}

/// A row of one or more stems that follow each other.
type Phrase = Vec<String>;

struct Lexicon {
    thing: BTreeMap<String, Vec<Phrase>>,
    words: BTreeMap<String, Vec<Phrase>>,
    /// Every single word of every list: what is one of them is no slip for another.
    known: std::collections::BTreeSet<String>,
}

static LEXICON: LazyLock<Lexicon> = LazyLock::new(|| {
    let text = include_str!("../../../knowledge/requests.toml");
    match toml::from_str::<File>(text) {
        Ok(file) if file.schema == SCHEMA => {
            let split = |lists: BTreeMap<String, Vec<String>>| -> BTreeMap<String, Vec<Phrase>> {
                let phrase = |p: String| p.split(' ').map(str::to_owned).collect::<Phrase>();
                lists.into_iter().map(|(k, l)| (k, l.into_iter().map(phrase).collect())).collect()
            };
            let (thing, words) = (split(file.thing), split(file.words));
            let known = thing.values().chain(words.values()).flatten().flatten().cloned().collect();
            Lexicon { thing, words, known }
        }
        // No input reaches this: the text is part of the program and a test reads it.
        _ => unreachable!("the built-in words of requests are faulty"),
    }
});

/// Most words between the words of a phrase.
const GAP: usize = 3;

/// Reads a wish.
#[must_use]
pub fn read(asked: &str) -> Request {
    let tokens = tokens(asked);
    let wish = Wish { tokens: &tokens };
    let (verdict, because) = wish.judge();
    Request { asked: asked.trim().to_owned(), verdict, because }
}

/// A phrase found: first and last word of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Found {
    from: usize,
    to: usize,
}

struct Wish<'a> {
    tokens: &'a [String],
}

impl Wish<'_> {
    fn judge(&self) -> (Verdict, Vec<String>) {
        let things = |names: &[&str]| -> Vec<Found> {
            let of = names.iter().filter_map(|n| LEXICON.thing.get(*n)).flatten();
            let not_ours = self.all("not_ours");
            of.flat_map(|p| self.phrase(p))
                .filter(|t| !not_ours.iter().any(|n| n.from <= t.from && t.to <= n.to))
                .collect()
        };
        let told = |found: &[Found]| -> Vec<String> {
            let mut out: Vec<String> = Vec::new();
            for f in found {
                for i in [f.from, f.to] {
                    if let Some(t) = self.tokens.get(i).filter(|t| !out.contains(t)) {
                        out.push(t.clone());
                    }
                }
            }
            out
        };
        let hardware = things(&["filter", "catalyst", "sensor", "additive"]);
        let regeneration = things(&["regeneration"]);
        let records = things(&["code", "counter"]);
        let judges = things(&["controller"]);
        let (purpose, for_good) = (self.all("purpose"), self.all("for_good"));
        let meant =
            |list: &str| -> Vec<Found> { self.all(list).into_iter().filter(|f| !self.negated(*f)).collect() };
        let defeat: Vec<Found> = meant("defeat").into_iter().filter(|f| !self.of_the_engine(*f)).collect();
        let take_out: Vec<Found> =
            meant("take_out").into_iter().filter(|f| !self.of_the_engine(*f)).collect();
        let (reset, dodge, done) = (meant("reset"), self.all("dodge"), self.all("done"));
        let near = |act: &Found, things: &[Found]| things.iter().any(|t| distance(*act, *t) <= REACH);

        // What comes back to how it was built, or is only looked for, is no wish to defeat it.
        let whole_again = !purpose.is_empty() && for_good.is_empty();
        let restores = self.restores() && for_good.is_empty();
        let everything: Vec<Found> = [&hardware[..], &regeneration, &judges].concat();

        // Words such as "delete" and "remove" are those of every day for codes; there, they are a reset.
        let everyday =
            |f: &Found| reset.contains(f) && near(f, &records) && !nearer(*f, &everything, &records);
        let bad: Vec<Found> = defeat
            .iter()
            .filter(|f| near(f, &everything) || near(f, &records))
            .filter(|f| !everyday(f))
            .copied()
            .collect();
        if !bad.is_empty() && !restores {
            return (Verdict::Unlawful, told(&[&bad[..], &everything, &records].concat()));
        }
        // "Without taking it out" takes nothing out.
        let every_take_out = self.all("take_out");
        let of_an_act = |f: &Found| f.from == f.to && every_take_out.iter().any(|o| o.from == f.from + 1);
        let out: Vec<Found> = take_out
            .iter()
            .filter(|f| near(f, &hardware) && !everyday(f) && !of_an_act(f))
            .copied()
            .collect();
        if !out.is_empty() && !whole_again && !restores {
            return (Verdict::Unlawful, told(&[&out[..], &hardware, &for_good].concat()));
        }
        let unmended = self.all("unmended");
        if !dodge.is_empty() && !unmended.is_empty() && !judges.is_empty() && !whole_again {
            return (Verdict::Unlawful, told(&[&dodge[..], &judges, &unmended].concat()));
        }
        let again: Vec<Found> = reset.iter().filter(|f| near(f, &records)).copied().collect();
        if !again.is_empty() {
            if !dodge.is_empty() {
                return (Verdict::Unlawful, told(&[&again[..], &records, &dodge].concat()));
            }
            if done.is_empty() && purpose.is_empty() {
                return (Verdict::AfterTheWork, told(&[&again[..], &records].concat()));
            }
        }
        (Verdict::Lawful, Vec::new())
    }

    /// Words of putting back or of looking whether something was done.
    fn restores(&self) -> bool {
        const WAYS: [&[&str]; 15] = [
            &["refit"],
            &["put", "back"],
            &["restore"],
            &["reinstall"],
            &["original"],
            &["detect"],
            &["suspect"],
            &["whether"],
            &["was", "it"],
            &["verdacht"],
            &["feststellen"],
            &["ob"],
            &["zurueckruesten"],
            &["nachruesten"],
            &["wieder", "einbauen"],
        ];
        WAYS.iter().any(|w| !self.phrase(&w.iter().map(|s| (*s).to_owned()).collect::<Phrase>()).is_empty())
    }

    fn all(&self, list: &str) -> Vec<Found> {
        LEXICON.words.get(list).into_iter().flatten().flat_map(|p| self.phrase(p)).collect()
    }

    /// Every place where the words of a phrase follow each other.
    fn phrase(&self, phrase: &Phrase) -> Vec<Found> {
        let mut out = Vec::new();
        let Some((first, rest)) = phrase.split_first() else { return out };
        for (from, token) in self.tokens.iter().enumerate() {
            if !is(token, first) {
                continue;
            }
            let mut to = from;
            let all = rest.iter().all(|word| {
                let next = (to + 1..=to + 1 + GAP).find(|i| self.tokens.get(*i).is_some_and(|t| is(t, word)));
                to = next.unwrap_or(to);
                next.is_some()
            });
            if all {
                out.push(Found { from, to });
            }
        }
        out
    }

    /// Whether the act is what is not wanted: a *not* shortly before it, with nothing that turns it round between.
    fn negated(&self, act: Found) -> bool {
        let one = |list: &str, token: &str| {
            LEXICON.words.get(list).into_iter().flatten().any(|p| matches!(&p[..], [w] if w == token))
        };
        for i in (act.from.saturating_sub(5)..act.from).rev() {
            let Some(token) = self.tokens.get(i) else { continue };
            if token == "|" || one("negation_ends", token) {
                return false;
            }
            if one("negation", token) {
                // "I do not want a filter" says no to the filter, not to an act.
                return true;
            }
        }
        false
    }

    /// Whether the act is done to the engine or to the car (it is switched off during a regeneration).
    fn of_the_engine(&self, act: Found) -> bool {
        self.all("engine").iter().any(|e| distance(act, *e) <= 5)
            && self.tokens.get(act.from..=act.to).is_some_and(|words| {
                words.iter().any(|w| {
                    [
                        "switch",
                        "turn",
                        "off",
                        "ausschalten",
                        "ausgeschaltet",
                        "abschalten",
                        "abgeschaltet",
                        "ausmachen",
                    ]
                    .iter()
                    .any(|o| is(w, o))
                })
            })
    }
}

/// How far an act may stand from what it is done to, words.
const REACH: usize = 9;

fn distance(a: Found, b: Found) -> usize {
    b.from.saturating_sub(a.to).max(a.from.saturating_sub(b.to))
}

/// Whether something of `a` stands nearer than everything of `b`.
fn nearer(f: Found, a: &[Found], b: &[Found]) -> bool {
    let least = |list: &[Found]| list.iter().map(|t| distance(f, *t)).min().unwrap_or(usize::MAX);
    least(a) < least(b)
}

/// Words without accents, capitals and signs; letters typed apart are joined, figures in place of letters read.
fn tokens(text: &str) -> Vec<String> {
    let mut folded = String::new();
    let mut chars = text.chars().flat_map(char::to_lowercase).peekable();
    while let Some(c) = chars.next() {
        match c {
            'ä' => folded.push_str("ae"),
            'ö' => folded.push_str("oe"),
            'ü' => folded.push_str("ue"),
            'ß' => folded.push_str("ss"),
            'é' | 'è' | 'ê' => folded.push('e'),
            'á' | 'à' | 'â' => folded.push('a'),
            '\'' | '’' | '\u{ad}' | '\u{200b}' => {}
            c if c.is_alphanumeric() => folded.push(c),
            // The end of a clause, not the dot within D.P.F.
            ',' | ';' | '.' | '!' | '?' | ':' if chars.peek().is_none_or(|n| n.is_whitespace()) => {
                folded.push_str(" | ");
            }
            _ => folded.push(' '),
        }
    }
    let mut out: Vec<String> = Vec::new();
    let mut apart = String::new();
    for word in folded.split_whitespace() {
        if word.chars().count() == 1 && !["a", "i", "|"].contains(&word) {
            apart.push_str(word);
            continue;
        }
        if !apart.is_empty() {
            out.push(std::mem::take(&mut apart));
        }
        out.push(read_figures(word));
    }
    if !apart.is_empty() {
        out.push(apart);
    }
    out
}

/// "d3lete" is delete; P2463 and AUS 32 stay what they are.
fn read_figures(word: &str) -> String {
    let figures = word.chars().filter(char::is_ascii_digit).count();
    if figures == 0 || figures > 2 || word.chars().count() < 5 || word == "aus32" {
        return word.to_owned();
    }
    word.chars()
        .map(|c| match c {
            '0' => 'o',
            '1' => 'i',
            '3' => 'e',
            '4' => 'a',
            '5' => 's',
            c => c,
        })
        .collect()
}

/// Whether a word of the wish is this stem: as it is, with an ending, inside a compound, or with a slip of the hand.
fn is(token: &str, stem: &str) -> bool {
    let (length, wanted) = (token.chars().count(), stem.chars().count());
    if token == stem {
        return true;
    }
    if wanted >= 4 && token.starts_with(stem) && (length <= wanted + 4 || wanted >= 6) {
        return true;
    }
    // Compounds: Partikelfilterausbau, dpfdelete.
    if (wanted >= 6 || (wanted == 3 && matches!(stem, "dpf" | "fap" | "egr" | "agr"))) && token.contains(stem)
    {
        return true;
    }
    if wanted < 5 || LEXICON.known.contains(token) || length + 2 < wanted {
        return false;
    }
    // The stem against as much of the word as it is long, so that an ending costs nothing.
    let allowed = if wanted >= 8 { 2 } else { 1 };
    let same_start = token.chars().next() == stem.chars().next();
    (wanted.saturating_sub(1)..=wanted + 1).any(|n| {
        let head: String = token.chars().take(n).collect();
        let ending = length.saturating_sub(head.chars().count());
        ending <= 3 && (same_start || wanted >= 7) && strsim::osa_distance(&head, stem) <= allowed
    })
}
