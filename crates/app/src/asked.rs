//! What is asked for, answered: a wish that the law forbids gets the law in general terms and the lawful ways.

use crate::args;
use crate::text::{Page, of_100};
use crate::words::{number, say, say_with};
use schemars::JsonSchema;
use serde::Serialize;
use shop::Choice;
use shop::request::{Request, Verdict, read};

/// A wish with its answer.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Asked {
    /// The wish as it was read.
    #[serde(flatten)]
    pub request: Request,
    /// The answer in plain words; empty where nothing speaks against the wish.
    pub answer: Vec<String>,
}

impl Asked {
    /// Reads a wish.
    pub fn new(text: &str) -> Self {
        let request = read(text);
        let words = args! { "words" => request.because.join(", ") };
        let answer = match request.verdict {
            Verdict::Lawful => Vec::new(),
            Verdict::AfterTheWork => vec![say_with("out-asked-after", &words)],
            Verdict::Unlawful => vec![
                say_with("out-asked-refused", &words),
                say("out-asked-law"),
                say("out-asked-sources"),
                say("out-asked-instead"),
            ],
        };
        Self { request, answer }
    }

    /// Whether it is refused.
    pub fn refused(&self) -> bool {
        self.request.verdict == Verdict::Unlawful
    }

    /// The wish with its answer, before everything else.
    pub fn tell(&self, page: &mut Page) {
        page.line(&say_with("out-asked", &args! { "asked" => self.request.asked.clone() }));
        if self.answer.is_empty() {
            page.line(&say("out-asked-lawful"));
        }
        for (i, a) in self.answer.iter().enumerate() {
            if i == 0 { page.warning(a) } else { page.line(a) }
        }
    }
}

/// Ways side by side, as items; those that will not cure say so.
pub fn tell_ways(ways: &[Choice], page: &mut Page) {
    page.heading(&say("head-ways"));
    for w in ways {
        page.item(&say_with(
            "out-way",
            &args! {
                "label" => w.label.clone(), "gross" => number(w.quote.gross, 0),
                "currency" => w.quote.currency.clone(), "minutes" => number(w.plan.hands_on_min, 0),
                "hours" => number(w.plan.through_min / 60.0, 0),
                "cures" => of_100(w.cures), "back" => of_100(w.comes_back),
            },
        ));
        if w.will_not_cure {
            page.sub_item(&say_with("out-way-no-cure", &args! { "label" => w.label.clone() }));
        }
    }
}
