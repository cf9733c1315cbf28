//! People: who works here. A person who left keeps the name on what was signed until it is erased.

use super::{Answer, on_to};
use crate::fail::Fail;
use crate::form::Form;
use crate::page::{Page, Place, name, words_field};
use crate::state::{Bench, Person};
use crate::who::Who;
use axum::extract::State;
use axum::response::IntoResponse;
use maud::html;
use shop::Id;

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who) -> Answer {
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let audit = bench.records().audit().await?;
    let sheet = html! {
        h1 { (lang.t("people-head")) }
        p.sub { (lang.t("people-note")) }
        ul.need.t16 { @for (id, p) in &people {
            li.three {
                span {}
                p { b { (p.name) } @if p.left { small { (lang.t("person-left")) } } }
                form method="post" action="/people" {
                    input type="hidden" name="person" value=(id);
                    input type="hidden" name="name" value=(p.name);
                    @if p.left { button.btn name="do" value="back" { (lang.t("person-back-do")) } }
                    @else { button.btn name="do" value="left" { (lang.t("person-left-do")) } }
                }
            }
        } }
        form.sec method="post" action="/people" {
            h2 { (lang.t("person-new")) }
            input type="hidden" name="person" value=(Bench::new_id());
            (words_field("name", &lang.t("field-name"), "", ""))
            div.stack.t16 { button.btn.go name="do" value="new" { (lang.t("person-new-do")) } }
        }
        details.sec {
            summary { h2 { (lang.t("audit-head")) } }
            p.sub { (lang.t("audit-note")) }
            div.tscroll tabindex="0" role="region" aria-label=(lang.t("audit-head")) { table {
                thead { tr { th { (lang.t("col-when")) } th { (lang.t("col-what")) } th { (lang.t("col-by")) } } }
                tbody { @for a in audit.iter().rev().take(40) { tr { td.nb { (lang.when(a.at_ms, now)) } td { (a.table) " " (lang.t(match (&a.before, &a.after) { (None, _) => "audit-new", (_, None) => "audit-erased", _ => "audit-changed" })) } td { (name(&people, &a.by, lang)) } } } }
            } }
        }
    };
    Ok(Page::new(&who, &people, lang.t("room-people"), Place::Duty).draw(&sheet).into_response())
}

/// Adds a person, or says that one left or came back. The first person signs for oneself.
pub async fn put(State(bench): State<Bench>, who: Who, axum::Form(f): axum::Form<Form>) -> Answer {
    let id: Id = f.id("person")?;
    let people = bench.people().await?;
    let by = match &who.duty {
        Some(d) => d.clone(),
        None if people.is_empty() => id.clone(),
        None => return Err(Fail::NobodyOnDuty),
    };
    let person = Person { name: f.owed("name")?, left: f.text("do") == "left" };
    bench.put("person", id.as_str(), &person.name, &person, &by).await?;
    Ok(on_to(if people.is_empty() { "/duty" } else { "/people" }))
}
