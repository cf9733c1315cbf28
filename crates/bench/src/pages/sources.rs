//! Sources: what the program knows, and where it comes from.

use super::Answer;
use crate::page::{Page, Place};
use crate::state::Bench;
use crate::who::Who;
use axum::extract::State;
use axum::response::IntoResponse;
use maud::html;

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who) -> Answer {
    let people = bench.people().await?;
    let lang = who.lang;
    let k = bench.knowledge();
    let mark = |m: facts::knowledge::Mark| {
        serde_json::to_value(m).ok().and_then(|v| v.as_str().map(|s| s.replace('_', " "))).unwrap_or_default()
    };
    let total: f64 = k.faults().iter().map(|f| f.prior_weight).sum::<f64>().max(1e-9);
    let sheet = html! {
        h1 { (lang.t("sources-head")) }
        p.sub { (lang.t("sources-note")) }
        div.sec {
            h2 { (lang.t("sources-faults")) }
            div.tscroll tabindex="0" role="region" aria-label=(lang.t("sources-faults")) { table {
                thead { tr { th { (lang.t("sources-fault")) } th.n { (lang.t("sources-share")) } th { (lang.t("sources-repair")) } th { (lang.t("sources-mark")) } } }
                tbody lang="en" { @for f in k.faults() { tr #{ "fault-" (f.id) } {
                    td { b { (f.label) } @if let Some(r) = &f.reason { br; span.say2 { (r) } } }
                    td.n { (lang.n(100.0 * f.prior_weight / total, 1)) " / 100" }
                    td { (f.repair.action) }
                    td { (mark(f.mark)) }
                } } }
            } }
        }
        div.sec {
            h2 { (lang.t("sources-observations")) }
            div.tscroll tabindex="0" role="region" aria-label=(lang.t("sources-observations")) { table {
                thead { tr { th { (lang.t("sources-question")) } th { (lang.t("sources-how")) } th.n { "min" } th { (lang.t("sources-mark")) } } }
                tbody lang="en" { @for o in k.observations() { tr #{ "observation-" (o.id) } { td { b { (o.question) } } td { (o.how) } td.n { (lang.n(o.minutes, 0)) } td { (mark(o.mark)) } } } }
            } }
        }
        div.sec {
            h2 { (lang.t("sources-fluids")) }
            div.tscroll tabindex="0" role="region" aria-label=(lang.t("sources-fluids")) { table {
                thead { tr { th { (lang.t("col-fluid")) } th.n { (lang.t("sources-density")) } th { (lang.t("sources-source")) } } }
                tbody lang="en" { @for f in bench.fluids().iter() { tr { td { b { (f.name) } } td.n { @match f.density_kg_m3(20.0) { Ok(d) => { (lang.n(d.low, 0)) " – " (lang.n(d.high, 0)) } Err(_) => "–" } } td { (f.density.first().map_or("", |d| d.source.as_str())) } } } }
            } }
        }
    };
    let page = Page {
        who: &who,
        people: &people,
        title: lang.t("room-sources"),
        place: Place::Find,
        hands: false,
        job: None,
        car: None,
        scripts: &[],
    };
    Ok(page.draw(&sheet).into_response())
}
