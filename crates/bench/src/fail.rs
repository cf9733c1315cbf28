//! What goes wrong, for a page and for a program (RFC 9457).

use crate::args;
use crate::words::Lang;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use shop::work::{Lack, Refusal};
use store::Error;

/// What went wrong.
#[derive(Debug)]
pub enum Fail {
    /// There is no such thing.
    NotFound,
    /// Nobody is on duty: choose who signs first.
    NobodyOnDuty,
    /// A field that cannot be read: its name and what was sent.
    Field(String, String),
    /// A case that a fact would make contradictory or impossible, in words.
    Facts(Vec<String>),
    /// An upload that is not of the kind asked for.
    Upload(&'static str),
    /// The request cannot be understood, in words.
    Request(String),
    /// The records.
    Records(Error),
    /// The machine.
    Machine(String),
}

impl From<Error> for Fail {
    fn from(e: Error) -> Self {
        Self::Records(e)
    }
}

impl From<Refusal> for Fail {
    fn from(e: Refusal) -> Self {
        Self::Records(Error::Refused(e))
    }
}

impl Fail {
    /// Status of the answer.
    #[must_use]
    pub fn status(&self) -> StatusCode {
        match self {
            Self::NotFound => StatusCode::NOT_FOUND,
            Self::NobodyOnDuty => StatusCode::FORBIDDEN,
            Self::Field(..) | Self::Facts(_) | Self::Records(Error::Refused(_)) => {
                StatusCode::UNPROCESSABLE_ENTITY
            }
            Self::Upload(_) => StatusCode::UNSUPPORTED_MEDIA_TYPE,
            Self::Request(_) => StatusCode::BAD_REQUEST,
            Self::Records(Error::Conflict { .. } | Error::Taken(_)) => StatusCode::CONFLICT,
            Self::Records(Error::Unreadable(_) | Error::Broken(_)) => StatusCode::UNPROCESSABLE_ENTITY,
            Self::Records(_) | Self::Machine(_) => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    /// The kind, a word for programs: last part of the problem's type.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::NotFound => "not-found",
            Self::NobodyOnDuty => "nobody-on-duty",
            Self::Field(..) => "field",
            Self::Facts(_) => "facts",
            Self::Upload(_) => "upload",
            Self::Request(_) => "request",
            Self::Records(Error::Conflict { .. }) => "conflict",
            Self::Records(Error::Taken(_)) => "identifier-taken",
            Self::Records(Error::Refused(_)) => "refused",
            Self::Records(Error::Unreadable(_) | Error::Broken(_)) => "unreadable",
            Self::Records(_) | Self::Machine(_) => "machine",
        }
    }

    /// What to say, in a line or more.
    #[must_use]
    pub fn words(&self, lang: Lang) -> String {
        match self {
            Self::NotFound => lang.t("fail-not-found"),
            Self::NobodyOnDuty => lang.t("fail-nobody"),
            Self::Field(name, text) => {
                lang.tw("fail-field", &args! { "name" => name.clone(), "text" => text.clone() })
            }
            Self::Facts(list) => list.join(" "),
            Self::Upload(id) => lang.t(id),
            Self::Request(why) => why.clone(),
            Self::Records(Error::Conflict { .. }) => lang.t("fail-conflict"),
            Self::Records(Error::Refused(r)) => refusal(r, lang),
            Self::Records(e) => e.to_string(),
            Self::Machine(why) => why.clone(),
        }
    }
}

/// Why a fact was refused, in words.
#[must_use]
pub fn refusal(r: &Refusal, lang: Lang) -> String {
    let id = match r {
        Refusal::Held { interlock, lack: why } => {
            return lang.tw(
                "refused-held",
                &args! { "what" => interlock_words(interlock, lang), "why" => lack(why, lang, 0) },
            );
        }
        Refusal::Locked => "refused-locked",
        Refusal::LockAsAsked => "refused-lock-as-asked",
        Refusal::Reason => "refused-reason",
        Refusal::Signed => "refused-signed",
        Refusal::NotSigned => "refused-not-signed",
        Refusal::Settled => "refused-settled",
        Refusal::Safety { .. } => "refused-safety",
        Refusal::Open { .. } => "refused-open",
        Refusal::Before { .. } => "refused-before",
        Refusal::RestsOn { .. } => "refused-rests-on",
        Refusal::Nothing => "refused-nothing",
        Refusal::Future => "refused-future",
        Refusal::Impossible { .. } => "refused-impossible",
        Refusal::NotHere
        | Refusal::Opening
        | Refusal::NoStep { .. }
        | Refusal::NoInterlock { .. }
        | Refusal::Plan { .. }
        | Refusal::NoFact => return r.to_string(),
    };
    lang.t(id)
}

/// An interlock in words: from the catalogue, else the step's own words, which are its identifier.
#[must_use]
pub fn interlock_words(id: &str, lang: Lang) -> String {
    let plain = id.bytes().all(|b| b.is_ascii_lowercase() || b == b'_');
    if plain && let Some(words) = lang.maybe(&format!("interlock-{}", id.replace('_', "-"))) {
        return words;
    }
    let mut chars = lang.k(id).chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// What an interlock lacks, in words.
#[must_use]
pub fn lack(lack: &Lack, lang: Lang, now_ms: i64) -> String {
    match lack {
        Lack::FluidNotOnRecord => lang.t("lack-not-on-record"),
        Lack::FirstLook => lang.t("lack-first-look"),
        Lack::SecondLook => lang.t("lack-second-look"),
        Lack::WrongFluid { fluid } => lang.tw("lack-wrong-fluid", &args! { "fluid" => fluid.clone() }),
        Lack::LooksDisagree => lang.t("lack-disagree"),
        Lack::Expired { expiry } => lang.tw("lack-expired", &args! { "date" => lang.date(expiry) }),
        Lack::Density { found } => {
            lang.tw("lack-density", &args! { "found" => crate::words::num(*found, 0) })
        }
        Lack::Photo => lang.t("lack-photo"),
        Lack::Word => lang.t("lack-word"),
        Lack::Weight => lang.t("lack-weight"),
        Lack::WeightFell { by_g } => {
            lang.tw("lack-weight-fell", &args! { "gram" => crate::words::num(*by_g, 0) })
        }
        Lack::Clock => lang.t("lack-clock"),
        Lack::Waiting { until_ms } if now_ms > 0 => {
            let minutes = ((until_ms - now_ms) as f64 / 60_000.0).ceil().max(0.0);
            lang.tw("lack-waiting-minutes", &args! { "minutes" => crate::words::num(minutes, 0) })
        }
        Lack::Waiting { .. } => lang.t("lack-waiting"),
        Lack::Saved => lang.t("lack-saved"),
        Lack::Entered => lang.t("lack-entered"),
        Lack::ReadBack => lang.t("lack-read-back"),
        Lack::ReadBackDiffers { meaning } => {
            let words = lang.maybe(&format!("value-{}", meaning.replace('_', "-")));
            lang.tw("lack-differs", &args! { "what" => words.unwrap_or_else(|| meaning.clone()) })
        }
    }
}

impl IntoResponse for Fail {
    fn into_response(self) -> Response {
        // A layer that knows the reader's language and whether a page or a program asked writes the body.
        let mut response = self.status().into_response();
        response.extensions_mut().insert(std::sync::Arc::new(self));
        response
    }
}
