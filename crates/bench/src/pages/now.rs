//! The bench: what waits, and what hands can do now.

use super::Answer;
use crate::args;
use crate::marks::Mark;
use crate::page::{Page, Place, name};
use crate::state::{Bench, JobView};
use crate::who::Who;
use crate::words::{Lang, num};
use axum::extract::State;
use axum::response::IntoResponse;
use maud::{Markup, PreEscaped, html};

/// One open job as the bench sees it.
struct Row {
    view: JobView,
    /// The running wait that ends last at this car: start and end, ms.
    wait: Option<(i64, i64)>,
    /// A wait that is over and whose step is still open.
    called: bool,
}

impl Row {
    fn of(view: JobView, now: i64) -> Self {
        let clocks = || {
            view.job
                .clocks
                .iter()
                .filter(|(step, _)| view.job.step(step).is_some_and(|s| !s.settled()))
                .map(|(_, (hand, minutes))| (hand.at_ms, hand.at_ms + (minutes * 60_000.0) as i64))
        };
        let wait = clocks().filter(|(_, end)| *end > now).max_by_key(|(_, end)| *end);
        let called = wait.is_none() && clocks().any(|(_, end)| end <= now);
        Self { wait, called, view }
    }

    fn state(&self, now: i64) -> Mark {
        if self.view.job.lock.is_some() {
            return Mark::Held;
        }
        match self.wait {
            Some((start, end)) => {
                let share = (now - start) as f64 / ((end - start) as f64).max(1.0);
                Mark::Waiting((share * 10.0).clamp(0.0, 10.0) as u8)
            }
            None => Mark::Now,
        }
    }

    fn hands_min(&self) -> f64 {
        self.view.job.next_step().map_or(10.0, |s| s.step.hands_on_min)
    }
}

/// The row to work on now: a wait that called first, then the oldest job whose next step fits before the nearest wait
/// calls; none when nothing fits.
fn first(rows: &[Row], now: i64) -> Option<&Row> {
    let free = || rows.iter().filter(|r| r.view.job.lock.is_none() && r.wait.is_none());
    if let Some(called) = free().find(|r| r.called) {
        return Some(called);
    }
    let gap = rows.iter().filter_map(|r| r.wait).map(|(_, end)| end).min();
    let gap_min = gap.map_or(f64::INFINITY, |end| (end - now) as f64 / 60_000.0);
    free().find(|r| r.hands_min() <= gap_min).or_else(|| if gap.is_none() { free().next() } else { None })
}

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who) -> Answer {
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let mut rows = Vec::new();
    let open = bench.records().open("job").await?;
    let more = open.len().saturating_sub(40);
    for view in bench.jobs(open.get(..40).unwrap_or(&open)).await? {
        rows.push(Row::of(view, now));
    }
    let nearest = rows.iter().filter_map(|r| r.wait.map(|w| (r, w.1))).min_by_key(|(_, end)| *end);
    let pick = first(&rows, now);
    let minutes = |end: i64| num(((end - now) as f64 / 60_000.0).ceil(), 0);
    let sheet = html! {
        div.first data-now=(now) {
            div {
                h1 {
                    @match (pick, nearest) {
                        (Some(p), Some((n, end))) => (PreEscaped(super::readings::bold(&lang.tw("now-gap", &args! { "minutes" => minutes(end), "waits" => called(n, lang), "car" => called(p, lang) })))),
                        (Some(p), None) => (PreEscaped(super::readings::bold(&lang.tw("now-free", &args! { "car" => called(p, lang) })))),
                        (None, Some((n, end))) => (PreEscaped(super::readings::bold(&lang.tw("now-wait", &args! { "minutes" => minutes(end), "waits" => called(n, lang) })))),
                        (None, None) => (lang.t("now-empty")),
                    }
                }
                @if let Some(s) = pick.and_then(|p| p.view.job.next_step()) { p.sub { (lang.k(&s.step.text)) } }
            }
            @match pick {
                Some(p) => a.btn.go href={ "/job/" (p.view.id) } { (Mark::Now.drawn()) (lang.t("now-go")) },
                None => a.btn.go href="/take-in" { (Mark::Now.drawn()) (lang.t("room-take-in")) },
            }
        }
        @if !rows.is_empty() {
            div.sec {
                div.row.between { h2 { (lang.tw("now-cars", &args! { "n" => num(rows.len() as f64, 0) })) } p.lab.wideonly { (lang.t("now-legend")) } }
                ul.waits { @for r in &rows { (row(r, &rows, &people, lang, now)) } }
                @if more > 0 { p.sub { a href="/jobs" { (lang.tw("now-more", &args! { "n" => num(more as f64, 0) })) } } }
            }
        }
        div.picks.p3.t24 {
            @if pick.is_some() { a.btn href="/take-in" { (lang.t("room-take-in")) } }
            a.btn href="/find" { (lang.t("block-find")) }
            a.btn href="/jobs" { (lang.t("room-jobs")) }
        }
    };
    Ok(Page::new(&who, &people, lang.t("block-bench"), Place::Bench)
        .hands()
        .scripts(&["clock.js"])
        .draw(&sheet)
        .into_response())
}

/// What a car is called: its words, else its plate.
fn called(r: &Row, lang: Lang) -> String {
    let k = &r.view.car.keeper;
    let words = k.words.split(',').next().unwrap_or_default();
    if words.is_empty() {
        crate::page::plate(k, lang)
    } else {
        lang.tw("the-car", &args! { "words" => words.to_owned() })
    }
}

fn row(r: &Row, _: &[Row], people: &crate::state::People, lang: Lang, now: i64) -> Markup {
    let v = &r.view;
    let what = if let Some((_, why)) = &v.job.lock {
        lang.t(&format!("lock-{}", why.replace('_', "-")))
    } else if let Some(s) = v.job.next_step() {
        lang.k(&s.step.text).to_owned()
    } else if v.job.signed.is_some() {
        lang.t("now-hand-over")
    } else if !v.job.steps.is_empty() {
        lang.t("now-prove")
    } else if v.job.answer.is_some() {
        lang.t("now-plan")
    } else if v.car.told.iter().any(|t| t.table == "reading" && t.job.as_ref() == Some(&v.id)) {
        lang.t("now-find")
    } else {
        lang.t("now-read")
    };
    let by = v.job.opened.as_ref().map(|h| name(people, &h.by, lang)).unwrap_or_default();
    html! {
        li { a.wait href={ "/job/" (v.id) } {
            span.pl { (r.state(now).drawn()) span.plate { (crate::page::plate(&v.car.keeper, lang)) } }
            span.what { b { (what) } small { (v.car.keeper.words) @if !by.is_empty() { ", " (by) } } }
            span.strip { (strip(r, lang, now)) }
            span.t {
                @match r.wait {
                    Some((_, end)) => { span data-until=(end) data-over=(lang.t("clock-over")) { (lang.n(((end - now) as f64 / 60_000.0).ceil(), 0)) } small { " min" } }
                    None if v.job.lock.is_some() => (lang.t("state-held-word")),
                    None => (lang.t("now-word")),
                }
            }
        } }
    }
}

/// The next hour of one car: outline = waiting, ink = hands needed.
fn strip(r: &Row, lang: Lang, now: i64) -> Markup {
    let x = |min: f64| (4.0 + min.clamp(0.0, 60.0) * 6.6).round();
    let label = match r.wait {
        Some((_, end)) => {
            lang.tw("strip-wait", &args! { "minutes" => num(((end - now) as f64 / 60_000.0).ceil(), 0) })
        }
        None if r.view.job.lock.is_some() => lang.t("state-held-word"),
        None => lang.tw("strip-hands", &args! { "minutes" => num(r.hands_min(), 0) }),
    };
    html! {
        svg viewBox="0 0 404 44" width="404" height="44" role="img" aria-label=(label) {
            path class="ax2" d="M4 36h396" {}
            @for t in 1..=6 { path class="ax" d=(format!("M{} 36v5", 4 + 66 * t)) {} }
            path class="pen2" d="M4 2v40" {}
            @match r.wait {
                Some((_, end)) => {
                    @let w = x((end - now) as f64 / 60_000.0);
                    path class="pen" d=(format!("M4 10H{w}V28H4z")) {}
                    path class="pen2" d=(format!("M{w} 6V32")) {}
                }
                None if r.view.job.lock.is_none() => path class="dot" d=(format!("M10 10H{}V28H10z", x(r.hands_min()).max(16.0))) {},
                None => {}
            }
        }
    }
}
