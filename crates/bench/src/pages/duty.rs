//! Who signs, language and light: two touches.

use super::{Answer, on_to};
use crate::fail::Fail;
use crate::form::Form;
use crate::page::{Page, Place};
use crate::state::Bench;
use crate::who::{Who, local};
use axum::extract::{Query, State};
use axum::http::HeaderValue;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Response};
use maud::html;

/// Choose who signs.
pub async fn page(State(bench): State<Bench>, who: Who, Query(q): Query<Form>) -> Answer {
    let lang = who.lang;
    let people = bench.people().await?;
    let back = local(q.text("back")).to_owned();
    let sheet = html! {
        h1 { (lang.t("duty-head")) }
        p.sub { (lang.t("duty-sub")) }
        form method="post" action="/duty" {
            input type="hidden" name="back" value=(back);
            div.picks.p3.t16 {
                @for (id, p) in people.iter().filter(|(_, p)| !p.left) {
                    button.btn.l.pick name="person" value=(id) aria-pressed=(who.duty.as_ref() == Some(id)) { (p.name) }
                }
            }
        }
        @if people.is_empty() { p.note.t24 { (lang.t("duty-nobody-yet")) } }
        div.t24 { a.btn href="/people" { (lang.t("room-people")) } }
        div.sec {
            h2 { (lang.t("look-head")) }
            form method="post" action="/look" {
                input type="hidden" name="back" value=(back);
                div.picks.p3.t16 {
                    button.btn name="lang" value="en" aria-pressed=(lang.tag() == "en") lang="en" { "English" }
                    button.btn name="lang" value="de" aria-pressed=(lang.tag() == "de") lang="de" { "Deutsch" }
                }
                div.picks.p3.t16 {
                    button.btn name="theme" value="light" aria-pressed=(who.theme == Some("light")) { (lang.t("theme-light")) }
                    button.btn name="theme" value="dark" aria-pressed=(who.theme == Some("dark")) { (lang.t("theme-dark")) }
                    button.btn name="theme" value="system" aria-pressed=(who.theme.is_none()) { (lang.t("theme-system")) }
                }
            }
        }
        nav.sec.others aria-label=(lang.t("other-rooms")) {
            h2 { (lang.t("other-rooms")) }
            div.picks.p3.t16 {
                @for (href, id) in [("/due", "block-due"), ("/shelf", "block-shelf"), ("/jobs", "room-jobs"), ("/sources", "room-sources"), ("/settings", "room-settings"), ("/export", "room-export")] {
                    a.btn href=(href) { (lang.t(id)) }
                }
            }
        }
    };
    Ok(Page::new(&who, &people, lang.t("duty-title"), Place::Duty).hands().draw(&sheet).into_response())
}

fn with_cookie(back: &str, name: &str, value: &str) -> Result<Response, Fail> {
    let mut response = on_to(back);
    // Readable by no script, sent from this server's own pages alone.
    let text = format!("{name}={value}; Path=/; HttpOnly; SameSite=Strict; Max-Age=31536000");
    let value = HeaderValue::from_str(&text).map_err(|e| Fail::Request(e.to_string()))?;
    response.headers_mut().append(SET_COOKIE, value);
    Ok(response)
}

/// Keeps who signs on this device.
pub async fn choose(State(bench): State<Bench>, axum::Form(f): axum::Form<Form>) -> Answer {
    let id = f.id("person")?;
    if bench.people().await?.get(&id).is_none_or(|p| p.left) {
        return Err(Fail::NotFound);
    }
    with_cookie(f.text("back"), "duty", id.as_str())
}

/// Keeps language or light on this device.
pub async fn look(axum::Form(f): axum::Form<Form>) -> Answer {
    match (f.text("lang"), f.text("theme")) {
        (l @ ("en" | "de"), _) => with_cookie(f.text("back"), "lang", l),
        (_, t @ ("light" | "dark" | "system")) => with_cookie(f.text("back"), "theme", t),
        _ => Err(Fail::Field("lang".into(), f.text("lang").into())),
    }
}
