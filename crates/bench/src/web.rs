//! The router with everything around it: what may be asked from where, what comes with every answer.

use crate::fail::Fail;
use crate::page::{Page, Place};
use crate::state::Bench;
use crate::who::{Who, cookie};
use crate::{api, assets, pages};
use axum::Router;
use axum::body::Body;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use maud::html;
use std::sync::Arc;
use tower_http::csrf::CsrfLayer;
use tower_http::set_header::SetResponseHeaderLayer;

/// Largest form, bytes.
const FORM: usize = 256 * 1024;
/// Largest photo, bytes.
const PHOTO: usize = 16 * 1024 * 1024;
/// Largest recording or import, bytes.
const RECORDING: usize = 128 * 1024 * 1024;

/// Nothing but this server's own files, no script or style in the page, no frame, no other target of a form.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Every page and the interface for programs.
pub fn router(bench: Bench) -> Router {
    let set = |name: HeaderName, value: &'static str| {
        SetResponseHeaderLayer::if_not_present(name, HeaderValue::from_static(value))
    };
    let pages = Router::new()
        .route("/", get(pages::now::page))
        .route("/duty", get(pages::duty::page).post(pages::duty::choose))
        .route("/look", post(pages::duty::look))
        .route("/take-in", get(pages::take_in::page).post(pages::take_in::take_in))
        .route("/jobs", get(pages::find::jobs))
        .route("/jobs.csv", get(pages::find::jobs_csv))
        .route("/find", get(pages::find::page))
        .route("/car/{id}", get(pages::car::page))
        .route("/car/{id}/tell", post(pages::car::tell))
        .route("/car/{id}/keeper", post(pages::car::keeper))
        .route("/job/{id}", get(pages::job::entrance))
        .route("/job/{id}/fact", post(pages::job::fact))
        .route("/job/{id}/tag", get(pages::tag::page))
        .route("/job/{id}/readings", get(pages::readings::page).post(pages::readings::take))
        .route("/job/{id}/readings/try", post(pages::readings::attempt))
        .route("/job/{id}/recording", get(pages::recording::page))
        .route("/job/{id}/faults", get(pages::faults::page).post(pages::faults::answer))
        .route("/job/{id}/ways", get(pages::ways::page))
        .route("/job/{id}/steps", get(pages::job::page))
        .route("/job/{id}/step/{step}", get(pages::step::page))
        .route("/job/{id}/proof", get(pages::proof::page))
        .route("/job/{id}/hand-over", get(pages::hand_over::page))
        .route("/due", get(pages::due::page))
        .route("/due.csv", get(pages::due::csv))
        .route("/shelf", get(pages::shelf::page).post(pages::shelf::take))
        .route("/shelf/{id}/fact", post(pages::shelf::fact))
        .route("/lot/{lot}", get(pages::shelf::recall))
        .route("/sources", get(pages::sources::page))
        .route("/sources/own", post(pages::sources::own))
        .route("/people", get(pages::people::page).post(pages::people::put))
        .route("/settings", get(pages::settings::page).post(pages::settings::put))
        .route("/export", get(pages::export::page))
        .route("/export/records.jsonl", get(pages::export::json_lines))
        .route("/export/facts.csv", get(pages::export::csv))
        .route("/file/{hash}", get(pages::step::file))
        .route("/api", get(api::reference))
        .layer(DefaultBodyLimit::max(FORM));
    let uploads = Router::new()
        .route("/job/{id}/photo", post(pages::step::photo))
        .layer(DefaultBodyLimit::max(PHOTO))
        .merge(
            Router::new()
                .route("/job/{id}/recording/file", post(pages::recording::upload))
                .route("/import", post(pages::export::import))
                .layer(DefaultBodyLimit::max(RECORDING)),
        );
    pages
        .merge(uploads)
        .merge(api::router().layer(DefaultBodyLimit::max(FORM)))
        .fallback(async || Fail::NotFound)
        .layer(middleware::from_fn_with_state(bench.clone(), told))
        .route("/static/{tag}/{name}", get(assets::serve))
        .layer(CsrfLayer::new())
        .layer(middleware::from_fn(only_here))
        .layer(set(header::CACHE_CONTROL, "no-store"))
        .layer(set(header::CONTENT_SECURITY_POLICY, POLICY))
        .layer(set(header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .layer(set(header::REFERRER_POLICY, "same-origin"))
        .layer(set(HeaderName::from_static("cross-origin-opener-policy"), "same-origin"))
        .with_state(bench)
}

/// A foreign name that points at this machine is no way in.
async fn only_here(request: Request, next: Next) -> Response {
    let host = request
        .headers()
        .get(header::HOST)
        .and_then(|h| h.to_str().ok())
        .or_else(|| request.uri().authority().map(|a| a.as_str()))
        .unwrap_or_default();
    let name = host
        .rsplit_once(':')
        .map_or(host, |(n, port)| if port.bytes().all(|b| b.is_ascii_digit()) { n } else { host });
    if matches!(name, "localhost" | "127.0.0.1" | "[::1]") {
        next.run(request).await
    } else {
        (StatusCode::MISDIRECTED_REQUEST, "this bench answers to localhost and 127.0.0.1 only\n")
            .into_response()
    }
}

/// Writes what went wrong: a page for people, RFC 9457 for programs.
async fn told(State(bench): State<Bench>, request: Request, next: Next) -> Response {
    let here = request.uri().path_and_query().map_or_else(|| "/".to_owned(), ToString::to_string);
    let api = here.starts_with("/api/");
    let back = request
        .headers()
        .get(header::REFERER)
        .and_then(|r| r.to_str().ok())
        .and_then(|r| r.splitn(4, '/').nth(3))
        .map(|p| format!("/{p}"))
        .filter(|p| crate::who::local(p) == p)
        .unwrap_or_else(|| "/".into());
    let who = Who::of(request.headers(), here);
    let remembered = cookie(request.headers(), "duty").is_some();
    let response = next.run(request).await;
    let fail = response.extensions().get::<Arc<Fail>>().cloned();
    let status = response.status();
    let allowed = response.headers().get(header::ALLOW).cloned();
    let fail = match fail {
        Some(f) => f,
        // Refusals of the framework (a body that is no form, no JSON, too large) have a line of text.
        None if status.is_client_error() || status.is_server_error() => {
            let bytes = axum::body::to_bytes(response.into_body(), 4096).await.unwrap_or_default();
            let text = String::from_utf8_lossy(&bytes).into_owned();
            let reason = status.canonical_reason().unwrap_or("refused").to_owned();
            let why = if text.trim().is_empty() { reason } else { text };
            let mut answer = written(&bench, &who, &back, api, remembered, status, &Fail::Request(why)).await;
            if let Some(allow) = allowed {
                answer.headers_mut().insert(header::ALLOW, allow);
            }
            return answer;
        }
        None => return response,
    };
    written(&bench, &who, &back, api, remembered, fail.status(), &fail).await
}

async fn written(
    bench: &Bench,
    who: &Who,
    back: &str,
    api: bool,
    remembered: bool,
    status: StatusCode,
    fail: &Fail,
) -> Response {
    let words = fail.words(who.lang);
    if api {
        return problem(status, fail.kind(), &words);
    }
    let people = bench.people().await.unwrap_or_default();
    let nobody = matches!(fail, Fail::NobodyOnDuty) || (!remembered && who.duty.is_none());
    let sheet = html! {
        h1 { (who.lang.t(&format!("fail-head-{}", fail.kind()))) }
        p.sub.lead { (words) }
        div.stack.t24 {
            @if nobody && matches!(fail, Fail::NobodyOnDuty) {
                a.btn.go href={ "/duty?back=" (encoded(back)) } { (who.lang.t("choose-who-signs")) }
            }
            a.btn[matches!(fail, Fail::NobodyOnDuty)].btn.go[!matches!(fail, Fail::NobodyOnDuty)] href=(back) {
                (who.lang.t("back-to-where-you-were"))
            }
        }
    };
    (status, Page::new(who, &people, who.lang.t("fail-title"), Place::Bench).hands().draw(&sheet))
        .into_response()
}

/// A problem for programs.
#[must_use]
pub fn problem(status: StatusCode, kind: &str, detail: &str) -> Response {
    let body = serde_json::json!({
        "type": format!("/api#problem-{kind}"),
        "title": kind.replace('-', " "),
        "status": status.as_u16(),
        "detail": detail,
    });
    let mut response = Response::new(Body::from(body.to_string()));
    *response.status_mut() = status;
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
    response
}

/// Text for the query of an address.
#[must_use]
pub fn encoded(text: &str) -> String {
    let mut out = String::new();
    for b in text.bytes() {
        if b.is_ascii_alphanumeric() || matches!(b, b'/' | b'-' | b'_' | b'.') {
            out.push(char::from(b));
        } else {
            out.push_str(&format!("%{b:02X}"));
        }
    }
    out
}
