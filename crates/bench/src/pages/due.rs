//! Due: who is called back, and when.

use super::Answer;
use crate::args;
use crate::page::{Page, Place, plate};
use crate::state::Bench;
use crate::who::Who;
use crate::words::num;
use axum::extract::State;
use axum::response::IntoResponse;
use maud::html;

/// Cars looked at: those whose facts changed last. More are found by their plate.
const CARS: u32 = 60;
/// Days ahead that the list shows.
const AHEAD: f64 = 365.0;

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who) -> Answer {
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let mut rows = Vec::new();
    for s in bench.records().newest("car", i64::MAX, CARS).await? {
        let car = bench.car(s.subject.id(), None).await?;
        let a = bench.answer(&car.case, &car.files).await?;
        let Some(b) = a.additive.as_ref().filter(|b| b.left_l.told) else { continue };
        // The answer speaks of the day of the newest facts: days that passed since then are taken off.
        let passed = (now - s.changed_ms).max(0) as f64 / 86_400_000.0;
        let days = (b.due_days.p10 - passed, b.due_days.p50 - passed, b.due_days.p90 - passed);
        if days.0 < AHEAD {
            rows.push((car, b.clone(), days));
        }
    }
    rows.sort_by(|x, y| x.2.0.total_cmp(&y.2.0));
    let soon = rows.iter().filter(|r| r.2.0 < 30.0).count();
    let sheet = html! {
        h1 { (lang.tw("due-head", &args! { "n" => num(soon as f64, 0) })) }
        p.sub { (lang.t("due-note")) }
        @if rows.is_empty() { p.note.t16 { (lang.t("due-none")) } }
        ul.waits.t16 {
            @for (car, b, d) in &rows {
                li { a.wait href={ "/car/" (car.id) } {
                    span.pl { span.plate { (plate(&car.keeper, lang)) } }
                    span.what { b { (car.keeper.words) } small { (super::readings::interval(b.left_l, "L", lang)) } }
                    span.strip {
                        @let x = |days: f64| (4.0 + days.clamp(0.0, AHEAD) / AHEAD * 396.0).round();
                        svg viewBox="0 0 404 44" width="404" height="44" role="img" aria-label=(lang.tw("due-days", &args! { "p10" => num(d.0.max(0.0), 0), "p90" => num(d.2.max(0.0), 0) })) {
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
    };
    let page = Page {
        who: &who,
        people: &people,
        title: lang.t("block-due"),
        place: Place::Due,
        hands: false,
        job: None,
        car: None,
        scripts: &[],
    };
    Ok(page.draw(&sheet).into_response())
}
