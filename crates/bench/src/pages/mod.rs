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
pub mod take_in;
pub mod ways;

use crate::fail::Fail;
use crate::form::Form;
use crate::state::Bench;
use crate::who::{Who, local};
use axum::response::{IntoResponse, Redirect, Response};
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

/// An identifier in a path.
///
/// # Errors
/// When it is none.
pub fn path_id(text: &str) -> Result<Id, Fail> {
    Id::parse(text).map_err(|_| Fail::NotFound)
}
