//! Find: a plate, a lot, a word; and all jobs.

use super::Answer;
use crate::args;
use crate::form::Form;
use crate::page::{Page, Place, plate};
use crate::state::{Bench, Keeper, search_word};
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
    let mut complaints = Vec::new();
    let mut lots = Vec::new();
    let mut knowledge = Vec::new();
    if !word.is_empty() {
        for row in bench.records().find("keeper", &word, FOUND).await? {
            if let (Ok(id), Ok(keeper)) =
                (shop::Id::parse(&row.id), serde_json::from_str::<Keeper>(&row.body))
            {
                cars.push((keeper, id));
            }
        }
        for row in bench.records().find("complaint", &word, FOUND).await? {
            if let (Ok(id), Ok(said)) = (shop::Id::parse(&row.id), serde_json::from_str::<String>(&row.body))
            {
                complaints.push((id, said));
            }
        }
        lots = bench.lots_like(&word).await?;
        lots.truncate(FOUND as usize);
        let k = bench.knowledge();
        let said = |text: &str| search_word(text).contains(&word);
        knowledge.extend(
            k.faults()
                .iter()
                .filter(|f| said(lang.k(&f.label)))
                .map(|f| ("fault", f.id.clone(), lang.k(&f.label).to_owned())),
        );
        knowledge.extend(
            k.observations()
                .iter()
                .filter(|o| said(lang.k(&o.label)) || said(lang.k(&o.question)))
                .map(|o| ("observation", o.id.clone(), lang.k(&o.question).to_owned())),
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
            p.lead.t24 role="status" { (lang.tw("find-count", &args! { "n" => num((cars.len() + complaints.len() + lots.len() + knowledge.len()) as f64, 0) })) }
            @if !cars.is_empty() {
                div.sec { h2 { (lang.t("find-cars")) }
                    ul.waits { @for (k, id) in &cars { li { a.wait href={ "/car/" (id) } { span.pl { span.plate { (plate(k, lang)) } } span.what { (k.words) } } } } }
                }
            }
            @if !complaints.is_empty() {
                div.sec { h2 { (lang.t("find-complaints")) } ul.need { @for (id, said) in &complaints { li { span {} p { a href={ "/job/" (id) } { q { (said) } } } } } } }
            }
            @if !lots.is_empty() {
                div.sec { h2 { (lang.t("find-lots")) } ul.need { @for l in &lots { li { span {} p { a href={ "/lot/" (crate::web::encoded(&l.lot)) } { (l.lot) } small { (l.fluid.replace('-', " ")) } } } } } }
            }
            @if !knowledge.is_empty() {
                div.sec { h2 { (lang.t("find-knowledge")) } ul.need { @for (kind, id, text) in &knowledge { li { span {} p { a href={ "/sources#" (kind) "-" (id) } { (text) } } } } } }
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
    Ok(Page::new(&who, &people, lang.t("block-find"), Place::Find).hands().draw(&sheet).into_response())
}

/// Every job as CSV, the newest first.
pub async fn jobs_csv(State(bench): State<Bench>) -> Answer {
    let head = ["job", "opened", "plate", "car", "open", "facts"];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    let mut list = bench.records().all("job").await?;
    list.reverse();
    for part in list.chunks(500) {
        let keepers = bench.keepers(part.iter().filter_map(|s| s.about.as_ref())).await?;
        rows.extend(part.iter().map(|s| {
            let car = s.about.as_ref();
            vec![
                s.subject.id().to_string(),
                super::hand_over::date(s.opened_ms),
                car.and_then(|c| keepers.get(c)).map_or_else(String::new, |k| k.plate.clone()),
                car.map_or_else(String::new, ToString::to_string),
                s.open.to_string(),
                s.version.to_string(),
            ]
        }));
    }
    super::table_of_csv(&rows)
}

/// Jobs, the newest first, a sheet at a time.
pub async fn jobs(State(bench): State<Bench>, who: Who, Query(q): Query<Form>) -> Answer {
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let before = q.number("before")?.map_or(i64::MAX, |b| b as i64);
    let open_only = q.text("open") == "1";
    let list = if open_only {
        let mut open = bench.records().open("job").await?;
        open.retain(|s| s.opened_ms < before);
        open.reverse();
        open.truncate(FOUND as usize);
        open
    } else {
        bench.records().newest("job", before, FOUND).await?
    };
    let keepers = bench.keepers(list.iter().filter_map(|s| s.about.as_ref())).await?;
    let of = |s: &store::Standing| s.about.as_ref().and_then(|c| keepers.get(c)).cloned().unwrap_or_default();
    let rows: Vec<_> = list.iter().map(|s| (s, of(s))).collect();
    let older = (list.len() as u32 == FOUND).then(|| list.last().map(|s| s.opened_ms)).flatten();
    let filter = if open_only { "&open=1" } else { "" };
    let sheet = html! {
        h1 { (lang.t("room-jobs")) }
        nav.picks.p3.t16 aria-label=(lang.t("room-jobs")) {
            a.btn href="/jobs" aria-current=[(!open_only).then_some("true")] { (lang.t("due-all")) }
            a.btn href="/jobs?open=1" aria-current=[open_only.then_some("true")] { (lang.t("job-open")) }
            a.btn href="/jobs.csv" download { (lang.t("list-csv")) }
        }
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
        @if let Some(b) = older { div.t16 { a.btn href={ "/jobs?before=" (b) (filter) } { (lang.t("older")) } } }
    };
    Ok(Page::new(&who, &people, lang.t("room-jobs"), Place::Bench).draw(&sheet).into_response())
}
