//! A wrong fluid in a vessel.

use super::{Answer, Facts, sentences};
use crate::args;
use crate::failure::Failure;
use crate::text::Page;
use crate::words::{number, say, say_with, words};
use additive::mixup::{MixUp, concentration_sentence, triage};

pub const EXAMPLE: &str = include_str!("examples/mixup.toml");

/// The answer: the lock first, then what to do, then why.
pub fn answer(f: &Facts<MixUp>) -> Result<Answer, Failure> {
    let t = triage(&f.facts).map_err(|e| f.physics(&e))?;
    let w = words();
    let mut page = Page::default();
    if t.lock.do_not_start {
        page.warning(&say("out-lock"));
    } else if t.lock.hold_work {
        page.warning(&say("out-hold"));
    }
    page.strong(&w.fluid(&t.lock.reason));
    if let Some(c) = &t.concentration {
        page.line(&w.fluid(&concentration_sentence(c)));
        if let Some(times) = c.times_usual {
            page.line(&say_with(
                "out-times-usual",
                &args! { "p50" => number(times.p50, 1), "p05" => number(times.p05, 1), "p95" => number(times.p95, 1) },
            ));
        }
    }
    sentences(&mut page, "out-now", &t.now);
    sentences(&mut page, "out-never", &t.never);
    sentences(&mut page, "out-samples", &t.samples);
    sentences(&mut page, "out-endangers", &t.endangers);
    sentences(&mut page, "out-lifted", &t.lock.lifted_after);
    page.heading(&say("out-waste"));
    for waste in &t.waste {
        let id = if waste.hazardous { "out-waste-hazardous" } else { "out-waste-plain" };
        page.item(&say_with(id, &args! { "code" => waste.code, "say" => w.fluid(&waste.say) }));
    }
    sentences(&mut page, "head-cautions", &t.say);
    Ok(Answer::new(&t, page))
}
