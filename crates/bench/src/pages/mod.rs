//! The pages, one module each.

pub mod car;
pub mod due;
pub mod duty;
pub mod export;
pub mod faults;
pub mod find;
pub mod hand_over;
pub mod job;
pub mod now;
pub mod people;
pub mod proof;
pub mod readings;
pub mod recording;
pub mod settings;
pub mod shelf;
pub mod sources;
pub mod step;
pub mod tag;
pub mod take_in;
pub mod ways;

use crate::args;
use crate::fail::Fail;
use crate::form::Form;
use crate::state::Bench;
use crate::who::{Who, local};
use crate::words::{Lang, num};
use axum::response::{IntoResponse, Redirect, Response};
use infer::assessment::Assessment;
use shop::{Id, Subject, What};
use store::{Added, New};

/// An answer of a page.
pub type Answer = Result<Response, Fail>;

/// The person who signs.
///
/// # Errors
/// When nobody is on duty.
pub fn signer(who: &Who) -> Result<Id, Fail> {
    who.duty.clone().ok_or(Fail::NobodyOnDuty)
}

/// On to another page.
#[must_use]
pub fn on_to(path: &str) -> Response {
    Redirect::to(local(path)).into_response()
}

/// Adds the fact that a form of a page says.
///
/// # Errors
/// Why it is refused.
pub async fn add(bench: &Bench, who: &Who, f: &Form, subject: Subject, what: What) -> Result<Added, Fail> {
    let now = bench.now_ms();
    let corrects = match f.text("corrects") {
        "" => None,
        _ => Some(f.id("corrects")?),
    };
    let new = New {
        id: f.id("id")?,
        subject,
        expected: f.version()?,
        happened_ms: now,
        recorded_ms: now,
        by: signer(who)?,
        corrects,
        what,
    };
    bench.add(new).await
}

/// Rows as a CSV file, the first of them its head.
///
/// # Errors
/// When it cannot be written.
pub fn table_of_csv(rows: &[Vec<String>]) -> Answer {
    let bad = |e: &dyn std::fmt::Display| Fail::Machine(e.to_string());
    let mut out = csv::Writer::from_writer(Vec::new());
    for row in rows {
        out.write_record(row).map_err(|e| bad(&e))?;
    }
    let bytes = out.into_inner().map_err(|e| bad(&e))?;
    Ok(([(axum::http::header::CONTENT_TYPE, "text/csv; charset=utf-8")], bytes).into_response())
}

/// An identifier in a path.
///
/// # Errors
/// When it is none.
pub fn path_id(text: &str) -> Result<Id, Fail> {
    Id::parse(text).map_err(|_| Fail::NotFound)
}

/// When the additive and the ash fall due, a sentence each; where a window says nothing, why.
#[must_use]
pub fn due_words(a: &Assessment, lang: Lang) -> Vec<String> {
    use infer::due::{Says, What};
    let mut out = Vec::new();
    for d in a.due.iter().filter(|d| d.told) {
        let word = match d.what {
            What::Additive => "additive",
            What::Ash => "ash",
            What::Soot => continue,
        };
        let km = |x| num(hand_over::round(x), 0);
        match d.says {
            Says::Window => {}
            Says::NotBefore => {
                out.push(lang.tw(&format!("due-not-before-{word}"), &args! { "from" => km(d.km.p10) }));
                continue;
            }
            Says::Nothing => {
                out.push(lang.t(&format!("due-wide-{word}")));
                continue;
            }
        }
        let w = d.odometer_km.filter(|_| d.what == What::Ash).unwrap_or(d.km);
        let id = if d.what == What::Ash && d.odometer_km.is_some() { "due-at" } else { "due-in" };
        out.push(lang.tw(&format!("{id}-{word}"), &args! { "p10" => km(w.p10), "p90" => km(w.p90) }));
    }
    out
}
