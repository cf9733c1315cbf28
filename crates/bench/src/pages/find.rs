//! Find: a plate, a lot, a word; and all jobs.

use super::Answer;
use crate::args;
use crate::form::Form;
use crate::page::{Page, Place, plate};
use crate::state::{Bench, search_word};
use crate::who::Who;
use crate::words::num;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use maud::html;

/// Found at most, of each kind.
const FOUND: u32 = 50;

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who, Query(q): Query<Form>) -> Answer {
    let people = bench.people().await?;
    let lang = who.lang;
    let word = search_word(q.text("q"));
    let mut cars = Vec::new();
    let mut lots = Vec::new();
    let mut knowledge = Vec::new();
    if !word.is_empty() {
        for row in bench.records().find("keeper", &word, FOUND).await? {
            if let Ok(id) = shop::Id::parse(&row.id) {
                cars.push((bench.keeper(&id).await?, id));
            }
        }
        lots = super::shelf::lots(&bench).await?;
        lots.retain(|l| search_word(&l.lot).contains(&word));
        let k = bench.knowledge();
        let said = |text: &str| search_word(text).contains(&word);
        knowledge.extend(
            k.faults().iter().filter(|f| said(&f.label)).map(|f| ("fault", f.id.clone(), f.label.clone())),
        );
        knowledge.extend(
            k.observations()
                .iter()
                .filter(|o| said(&o.label) || said(&o.question))
                .map(|o| ("observation", o.id.clone(), o.question.clone())),
        );
        knowledge.truncate(FOUND as usize);
    }
    let sheet = html! {
        h1 { (lang.t("find-head")) }
        form.find method="get" action="/find" role="search" {
            label for="q" { (lang.t("find-label")) }
            input.words-in #q name="q" type="search" autocomplete="off" value=(q.text("q"));
            button.btn.go { (lang.t("find-do")) }
        }
        @if !word.is_empty() {
            p.lead.t24 role="status" { (lang.tw("find-count", &args! { "n" => num((cars.len() + lots.len() + knowledge.len()) as f64, 0) })) }
            @if !cars.is_empty() {
                div.sec { h2 { (lang.t("find-cars")) }
                    ul.waits { @for (k, id) in &cars { li { a.wait href={ "/car/" (id) } { span.pl { span.plate { (plate(k, lang)) } } span.what { (k.words) } } } } }
                }
            }
            @if !lots.is_empty() {
                div.sec { h2 { (lang.t("find-lots")) } ul.need { @for l in &lots { li { span {} p { a href={ "/lot/" (crate::web::encoded(&l.lot)) } { (l.lot) } small { (l.fluid.replace('-', " ")) } } } } } }
            }
            @if !knowledge.is_empty() {
                div.sec { h2 { (lang.t("find-knowledge")) } ul.need lang="en" { @for (kind, id, text) in &knowledge { li { span {} p { a href={ "/sources#" (kind) "-" (id) } { (text) } } } } } }
            }
        }
        nav.sec aria-label=(lang.t("other-rooms")) {
            h2 { (lang.t("other-rooms")) }
            div.picks.p3.t16 {
                @for (href, id) in [("/due", "block-due"), ("/shelf", "block-shelf"), ("/jobs", "room-jobs"), ("/sources", "room-sources"), ("/people", "room-people"), ("/settings", "room-settings"), ("/export", "room-export"), ("/api", "room-api")] {
                    a.btn href=(href) { (lang.t(id)) }
                }
            }
        }
    };
    let page = Page {
        who: &who,
        people: &people,
        title: lang.t("block-find"),
        place: Place::Find,
        hands: true,
        job: None,
        car: None,
        scripts: &[],
    };
    Ok(page.draw(&sheet).into_response())
}

/// Jobs, the newest first, a sheet at a time.
pub async fn jobs(State(bench): State<Bench>, who: Who, Query(q): Query<Form>) -> Answer {
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let before = q.number("before")?.map_or(i64::MAX, |b| b as i64);
    let list = bench.records().newest("job", before, FOUND).await?;
    let mut rows = Vec::new();
    for s in &list {
        let keeper = match &s.about {
            Some(car) => bench.keeper(car).await?,
            None => crate::state::Keeper::default(),
        };
        rows.push((s, keeper));
    }
    let older = (list.len() as u32 == FOUND).then(|| list.last().map(|s| s.opened_ms)).flatten();
    let sheet = html! {
        h1 { (lang.t("room-jobs")) }
        div.tscroll tabindex="0" role="region" aria-label=(lang.t("room-jobs")) {
            table.t16 {
                thead { tr { th { (lang.t("col-opened")) } th { (lang.t("field-plate")) } th { (lang.t("field-car-words")) } th { (lang.t("col-state")) } th.n { (lang.t("col-facts")) } } }
                tbody { @for (s, k) in &rows { tr {
                    td.nb { a href={ "/job/" (s.subject.id()) } { (lang.when(s.opened_ms, now)) } }
                    td.nb { (plate(k, lang)) }
                    td { (k.words) }
                    td { (lang.t(if s.open { "job-open" } else { "job-closed" })) }
                    td.n { (s.version) }
                } } }
            }
        }
        @if let Some(b) = older { div.t16 { a.btn href={ "/jobs?before=" (b) } { (lang.t("older")) } } }
    };
    let page = Page {
        who: &who,
        people: &people,
        title: lang.t("room-jobs"),
        place: Place::Bench,
        hands: false,
        job: None,
        car: None,
        scripts: &[],
    };
    Ok(page.draw(&sheet).into_response())
}
