//! Due: who is called back, and when.

use super::{Answer, table_of_csv};
use crate::args;
use crate::form::Form;
use crate::page::{Page, Place, plate};
use crate::state::{Bench, Keeper};
use crate::who::Who;
use crate::windows::{BATCH, Coming, Row};
use crate::words::{Lang, num};
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use maud::{Markup, html};
use std::sync::atomic::Ordering;

/// Cars on a sheet.
const CARS: u32 = 60;
/// Days ahead that the drawing shows.
const AHEAD: f64 = 365.0;
const DAY_MS: f64 = 86_400_000.0;

/// Words of what may fall due, for the filter.
pub const WHAT: [&str; 3] = ["additive", "ash", "soot"];

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who, Query(q): Query<Form>) -> Answer {
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let what = WHAT.into_iter().find(|w| *w == q.text("what"));
    let from = q.number("from")?.map_or(i64::MIN, |f| f as i64);
    let after = q.text("after");
    let all = bench.due_from((from, after), CARS).await?;
    let next = all.last().filter(|_| all.len() == CARS as usize).map(|r| (r.rank, r.car.clone()));
    let owed = bench.owed().load(Ordering::Relaxed);
    let mut rows = Vec::new();
    let keepers = bench.keepers(all.iter().map(|r| &r.car)).await?;
    for r in all {
        let Some(c) = r.due.coming.iter().find(|c| what.is_none_or(|w| c.what == w)).cloned() else {
            continue;
        };
        let keeper = keepers.get(&r.car).cloned().unwrap_or_default();
        rows.push((r, c, keeper));
    }
    let days = |at: i64| (at - now) as f64 / DAY_MS;
    let soon = rows.iter().filter(|r| days(r.1.from_ms) < 30.0).count();
    let filter = what.map_or(String::new(), |w| format!("&what={w}"));
    let sheet = html! {
        h1 { (lang.tw("due-head", &args! { "n" => num(soon as f64, 0) })) }
        p.sub { (lang.t("due-note")) }
        @if owed > 0 { p.note.t16 role="status" { @if owed < BATCH as usize { (lang.tw("due-owed", &args! { "n" => num(owed as f64, 0) })) } @else { (lang.t("due-owed-many")) } } }
        nav.picks.p3.t16 aria-label=(lang.t("due-filter")) {
            a.btn href="/due" aria-current=[what.is_none().then_some("true")] { (lang.t("due-all")) }
            @for w in WHAT { a.btn href={ "/due?what=" (w) } aria-current=[(what == Some(w)).then_some("true")] { (lang.t(&format!("due-what-{w}"))) } }
            a.btn href="/due.csv" download { (lang.t("list-csv")) }
        }
        @if rows.is_empty() { p.note.t16 { (lang.t("due-none")) } }
        ul.waits.t16 { @for (r, c, k) in &rows { (row(r, c, k, days, lang)) } }
        @if let Some((rank, car)) = next { div.t16 { a.btn href={ "/due?from=" (rank) "&after=" (car) (filter) } { (lang.t("due-later")) } } }
    };
    Ok(Page::new(&who, &people, lang.t("block-due"), Place::Due).draw(&sheet).into_response())
}

fn row(r: &Row, c: &Coming, k: &Keeper, days: impl Fn(i64) -> f64, lang: Lang) -> Markup {
    let d = (days(c.from_ms), days(c.middle_ms), days(c.to_ms));
    let left = r.due.left_l.filter(|_| c.what == "additive");
    let x = |days: f64| (4.0 + days.clamp(0.0, AHEAD) / AHEAD * 396.0).round();
    let label = lang.tw("due-days", &args! { "p10" => num(d.0.max(0.0), 0), "p90" => num(d.2.max(0.0), 0) });
    html! {
        li { a.wait href={ "/car/" (r.car) } {
            span.pl { span.plate { (plate(k, lang)) } }
            span.what { b { (k.words) } small { (lang.t(&format!("due-what-{}", c.what))) @if let Some([p05, p50, p95]) = left { ", " (super::readings::interval(infer::assessment::Estimate { p05, p50, p95, told: true }, "L", lang)) } } }
            span.strip {
                svg viewBox="0 0 404 44" width="404" height="44" role="img" aria-label=(label) {
                    path class="ax2" d="M4 36h396" {}
                    @for t in 0..=12 { path class="ax" d=(format!("M{} 36v5", 4 + 33 * t)) {} }
                    path class="pen" d=(format!("M{} 8v24M{} 8v24M{} 20H{}", x(d.0), x(d.2), x(d.0), x(d.2))) {}
                    path class="pen2" d=(format!("M{} 10v20", x(d.1))) {}
                }
            }
            span.t { @if d.0 <= 0.0 { (lang.t("due-now")) } @else { (lang.n(d.0.round(), 0)) small { " " (lang.t("days")) } } }
        } }
    }
}

/// The whole list as CSV.
pub async fn csv(State(bench): State<Bench>) -> Answer {
    let mut rows =
        vec![["plate", "car", "what", "from", "middle", "to", "additive_left_l"].map(str::to_owned).to_vec()];
    let (mut rank, mut after) = (i64::MIN, String::new());
    loop {
        let all = bench.due_from((rank, &after), 500).await?;
        let Some(last) = all.last() else { break };
        (rank, after) = (last.rank, last.car.to_string());
        let keepers = bench.keepers(all.iter().map(|r| &r.car)).await?;
        for r in &all {
            let plate = keepers.get(&r.car).map_or_else(String::new, |k| k.plate.clone());
            for c in &r.due.coming {
                let day = super::hand_over::date;
                let left = r.due.left_l.filter(|_| c.what == "additive");
                rows.push(vec![
                    plate.clone(),
                    r.car.to_string(),
                    c.what.clone(),
                    day(c.from_ms),
                    day(c.middle_ms),
                    day(c.to_ms),
                    left.map_or_else(String::new, |l| format!("{:.3}", l[1])),
                ]);
            }
        }
    }
    table_of_csv(&rows)
}
