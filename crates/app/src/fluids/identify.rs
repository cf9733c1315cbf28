//! Which fluid is this, and may it be poured.

use super::{Answer, Facts};
use crate::args;
use crate::failure::Failure;
use crate::text::{Page, of_100};
use crate::words::{number, say, say_with, words};
use additive::identify::{BeforePour, Identity, Observation, Pour, Test, identify, two_looks};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub const EXAMPLE: &str = include_str!("examples/identify.toml");

/// What was seen at the bench.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Question {
    #[serde(default)]
    seen: Vec<Observation>,
    #[serde(default)]
    weight: BTreeMap<String, f64>,
    pour: Option<Wanted>,
}

/// A pour about to begin.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Wanted {
    fluid: String,
    #[serde(default)]
    look: Vec<BeforePour>,
}

#[derive(Serialize)]
struct Found {
    #[serde(flatten)]
    identity: Identity,
    pour: Option<Pour>,
}

/// Name of a test as the files spell it.
fn word(test: Test) -> String {
    serde_json::to_value(test).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}

/// The answer.
pub fn answer(f: &Facts<Question>) -> Result<Answer, Failure> {
    let q = &f.facts;
    let identity = identify(&f.library, &q.weight, &q.seen).map_err(|e| f.physics(&e))?;
    let pour = q
        .pour
        .as_ref()
        .map(|p| two_looks(&f.library, &p.fluid, &p.look))
        .transpose()
        .map_err(|e| f.physics(&e))?;

    let mut page = Page::default();
    if let Some(pour) = &pour {
        match pour {
            Pour::Allowed { because } => page.strong(&words().fluid(because)),
            Pour::Missing { want } => page.strong(&words().fluid(want)),
            Pour::Blocked { because } => page.warning(&words().fluid(because)),
        }
    }
    page.strong(&words().fluid(&identity.reason));
    page.heading(&say("out-candidates"));
    let rows: Vec<Vec<String>> = identity
        .candidates
        .iter()
        .filter(|c| c.probability >= 0.005)
        .take(8)
        .map(|c| {
            let name = f.library.get(&c.fluid).map_or_else(|_| c.fluid.clone(), |l| l.name.clone());
            vec![of_100(c.probability), name, c.fluid.clone()]
        })
        .collect();
    page.table(&["col-of-100", "col-fluid", "col-id"].map(say), &rows, &[0]);
    if let Some((from, to)) = identity.urea_pct {
        page.line(&say_with("out-urea", &args! { "from" => number(from, 1), "to" => number(to, 1) }));
    }
    if !identity.next.is_empty() && identity.settled.is_none() {
        page.heading(&say("out-next-tests"));
        for t in &identity.next {
            page.item(&say_with(
                "out-test",
                &args! {
                    "test" => say(&format!("test-{}", word(t.test))),
                    "bits" => number(t.bits, 2),
                    "minutes" => number(t.minutes, 0),
                },
            ));
        }
    }
    Ok(Answer::new(&Found { identity, pour }, page))
}
