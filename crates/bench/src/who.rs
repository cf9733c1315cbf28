//! Who asks: language, person on duty, theme; and where the request may come from.

use crate::words::Lang;
use axum::extract::FromRequestParts;
use axum::http::HeaderMap;
use axum::http::header::{ACCEPT_LANGUAGE, COOKIE};
use axum::http::request::Parts;
use shop::Id;
use std::convert::Infallible;

/// Who asks.
#[derive(Debug, Clone)]
pub struct Who {
    /// Language of the pages.
    pub lang: Lang,
    /// `light`, `dark`, or none: as the system has it.
    pub theme: Option<&'static str>,
    /// The person on duty, by identifier.
    pub duty: Option<Id>,
    /// Path and query of the page.
    pub here: String,
}

/// The value of a cookie.
#[must_use]
pub fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|v| v.to_str().ok())
        .flat_map(|v| v.split(';'))
        .find_map(|pair| pair.trim().strip_prefix(name)?.strip_prefix('='))
}

impl Who {
    /// From the head of a request.
    #[must_use]
    pub fn of(headers: &HeaderMap, here: String) -> Self {
        let accepted = headers.get(ACCEPT_LANGUAGE).and_then(|v| v.to_str().ok()).and_then(Lang::of);
        Self {
            lang: cookie(headers, "lang").and_then(Lang::of).or(accepted).unwrap_or(Lang::En),
            theme: match cookie(headers, "theme") {
                Some("light") => Some("light"),
                Some("dark") => Some("dark"),
                _ => None,
            },
            duty: cookie(headers, "duty").and_then(|d| Id::parse(d).ok()),
            here,
        }
    }
}

impl<S: Sync> FromRequestParts<S> for Who {
    type Rejection = Infallible;
    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        let here = parts.uri.path_and_query().map_or_else(|| "/".into(), ToString::to_string);
        Ok(Self::of(&parts.headers, here))
    }
}

/// A path on this server, to go back to; `/` for anything else.
#[must_use]
pub fn local(path: &str) -> &str {
    let safe = path.starts_with('/')
        && !path.starts_with("//")
        && path.bytes().all(|b| b.is_ascii_graphic() && b != b'\\');
    if safe { path } else { "/" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_only_paths_of_this_server_are_gone_back_to() {
        assert_eq!(local("/job/1?x=2"), "/job/1?x=2");
        for bad in ["//evil.example", "https://evil.example", "/\\evil", "/a\r\nSet-Cookie: x", ""] {
            assert_eq!(local(bad), "/", "{bad:?}");
        }
    }
}
