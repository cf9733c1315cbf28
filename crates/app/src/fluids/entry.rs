//! Values to enter after a fill, by their meaning, and the slips that a read-back shows.

use super::{Answer, Facts, sentences};
use crate::args;
use crate::failure::Failure;
use crate::text::Page;
use crate::words::{number, say, say_with, words};
use additive::entry::{
    AfterDry, DrySpell, Entries, Meaning, Situation, Slip, Told, Typed, after_dry_spell, after_first,
    entries, slips,
};
use serde::{Deserialize, Serialize};

pub const EXAMPLE: &str = include_str!("examples/entry.toml");

/// The situation, and what was typed so far.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Question {
    situation: Situation,
    typed: Option<Typed>,
    dry_spell: Option<DrySpell>,
}

#[derive(Serialize)]
struct Found {
    entries: Entries,
    after_first: Option<Told>,
    slips: Vec<SlipSaid>,
    after_dry_spell: Option<AfterDry>,
}

#[derive(Serialize)]
struct SlipSaid {
    slip: Slip,
    say: additive::Message,
}

fn meaning(m: Meaning) -> String {
    let id = serde_json::to_value(m).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default();
    say(&format!("meaning-{id}"))
}

/// The answer.
pub fn answer(f: &Facts<Question>) -> Result<Answer, Failure> {
    let found = find(&f.facts).map_err(|e| f.physics(&e))?;
    let w = words();
    let mut page = Page::default();
    if !found.slips.is_empty() {
        page.heading(&say("out-slips"));
        for s in &found.slips {
            page.warning(&w.fluid(&s.say));
        }
    } else if f.facts.typed.is_some_and(|t| t.read_back_ml.is_some()) {
        page.strong(&say("out-slips-none"));
    }
    if let Some(told) = &found.after_first {
        page.heading(&say("out-told"));
        page.strong(&w.fluid(&told.say));
        if let Some(e) = &told.next {
            page.item(&w.fluid(&e.say));
        }
    }
    let e = &found.entries;
    page.heading(&say("out-save-first"));
    for m in &e.save_first {
        page.item(&meaning(*m));
    }
    page.heading(&say("out-values"));
    for v in &e.entries {
        page.strong(&format!("{}: {}", meaning(v.meaning), w.fluid(&v.say)));
        if let Some(ml) = v.believes_after_ml {
            page.sub_item(&say_with("out-believes", &args! { "ml" => number(ml, 0) }));
        }
    }
    if !e.leave.is_empty() {
        page.heading(&say("out-leave"));
        for (m, why) in &e.leave {
            page.item(&format!("{}: {}", meaning(*m), w.fluid(why)));
        }
    }
    sentences(&mut page, "head-cautions", &e.say);
    if let Some(dry) = &found.after_dry_spell {
        sentences(&mut page, "out-dry", &dry.say);
    }
    Ok(Answer::new(&found, page))
}

fn find(q: &Question) -> additive::Result<Found> {
    let s = &q.situation;
    let first = q.typed.and_then(|t| t.quantity.zip(t.read_back_ml));
    let found = q.typed.map(|t| slips(s, &t)).transpose()?.unwrap_or_default();
    Ok(Found {
        entries: entries(s)?,
        after_first: first.map(|(typed, read)| after_first(s, typed, read)).transpose()?,
        slips: found.into_iter().map(|slip| SlipSaid { slip, say: slip.say() }).collect(),
        after_dry_spell: q.dry_spell.map(after_dry_spell).transpose()?,
    })
}
