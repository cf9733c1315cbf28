//! Sources: what the program knows, and where it comes from.

use super::{Answer, on_to, signer};
use crate::fail::Fail;
use crate::form::Form;
use crate::overlay::{self, Number, Own};
use crate::page::{Page, Place, field, name, words_field};
use crate::state::{Bench, People};
use crate::who::Who;
use crate::words::Lang;
use axum::extract::State;
use axum::response::IntoResponse;
use facts::Knowledge;
use maud::{Markup, html};

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who) -> Answer {
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let k = bench.knowledge();
    let own = overlay::all(bench.records()).await?;
    let mark = |m: facts::knowledge::Mark| {
        serde_json::to_value(m)
            .ok()
            .and_then(|v| v.as_str().map(|s| s.replace('_', " ")))
            .map(|m| lang.k(&m).to_owned())
            .unwrap_or_default()
    };
    let total: f64 = k.faults().iter().map(|f| f.prior_weight).sum::<f64>().max(1e-9);
    let sheet = html! {
        h1 { (lang.t("sources-head")) }
        p.sub { (lang.t("sources-note")) }
        (own_numbers(&bench, &own, &people, lang, now))
        div.sec {
            h2 { (lang.t("sources-faults")) }
            div.tscroll tabindex="0" role="region" aria-label=(lang.t("sources-faults")) { table {
                thead { tr { th { (lang.t("sources-fault")) } th.n { (lang.t("sources-share")) } th { (lang.t("sources-repair")) } th { (lang.t("sources-mark")) } } }
                tbody { @for f in k.faults() { tr #{ "fault-" (f.id) } {
                    td { b { (lang.k(&f.label)) } @if let Some(r) = &f.reason { br; span.say2 { (lang.k(r)) } } }
                    td.n { (lang.n(100.0 * f.prior_weight / total, 1)) " / 100" }
                    td { (lang.k(&f.repair.action)) }
                    td { (mark(f.mark)) }
                } } }
            } }
        }
        div.sec {
            h2 { (lang.t("sources-observations")) }
            div.tscroll tabindex="0" role="region" aria-label=(lang.t("sources-observations")) { table {
                thead { tr { th { (lang.t("sources-question")) } th { (lang.t("sources-how")) } th.n { "min" } th { (lang.t("sources-mark")) } } }
                tbody { @for o in k.observations() { tr #{ "observation-" (o.id) } { td { b { (lang.k(&o.question)) } } td { (lang.k(&o.how)) } td.n { (lang.n(o.minutes, 0)) } td { (mark(o.mark)) } } } }
            } }
        }
        div.sec {
            h2 { (lang.t("sources-fluids")) }
            div.tscroll tabindex="0" role="region" aria-label=(lang.t("sources-fluids")) { table {
                thead { tr { th { (lang.t("col-fluid")) } th.n { (lang.t("sources-density")) } th { (lang.t("sources-source")) } } }
                tbody { @for f in bench.fluids().iter() { tr { td { b { (lang.k(&f.name)) } } td.n { @match f.density_kg_m3(20.0) { Ok(d) => { (lang.n(d.low, 0)) " – " (lang.n(d.high, 0)) } Err(_) => "–" } } td lang="en" { (f.density.first().map_or("", |d| d.source.as_str())) } } } }
            } }
        }
    };
    Ok(Page::new(&who, &people, lang.t("room-sources"), Place::Find).draw(&sheet).into_response())
}

/// Of what a number is, in words.
fn of_what(o: &Own, k: &Knowledge, lang: Lang) -> String {
    let fault = k.faults().iter().find(|f| f.id == o.fault).map(|f| lang.k(&f.label));
    let look = k.observation(&o.observation).map(|o| lang.k(&o.label));
    let parts: Vec<&str> = fault.into_iter().chain(look).collect();
    parts.join(" · ")
}

fn own_numbers(bench: &Bench, own: &[(Own, bool)], people: &People, lang: Lang, now: i64) -> Markup {
    let k = bench.knowledge();
    html! {
        div.sec #own {
            h2 { (lang.t("own-head")) }
            p.sub { (lang.t("own-note")) }
            @if !own.is_empty() {
                div.tscroll tabindex="0" role="region" aria-label=(lang.t("own-head")) { table.t16 {
                    thead { tr { th { (lang.t("col-when")) } th { (lang.t("own-what")) } th.n { (lang.t("own-value")) } th { (lang.t("sources-source")) } th { (lang.t("col-by")) } th { (lang.t("col-state")) } } }
                    tbody { @for (o, counts) in own.iter().rev() { tr {
                        td.nb { (lang.when(o.at_ms, now)) }
                        td { (lang.t(&format!("own-{}", o.number.word()))) ": " (of_what(o, k, lang)) }
                        td.n { @match o.value { Some(v) => (lang.n(v, decimals(v))), None => "–" } }
                        td { (o.source) }
                        td { (name(people, &o.by, lang)) }
                        td { (lang.t(if *counts { "own-counts" } else if o.value.is_none() { "own-taken-back" } else { "own-replaced" })) }
                    } } }
                } }
            }
            details {
                summary.btn { (lang.t("own-do")) }
                form.act method="post" action="/sources/own" data-keep {
                    input type="hidden" name="id" value=(Bench::new_id());
                    div.field.col { label for="number" { b { (lang.t("own-which")) } }
                        select.words-in #number name="number" required { @for (_, w) in Number::ALL { option value=(w) { (lang.t(&format!("own-{w}"))) } } } }
                    div.field.col { label for="fault" { b { (lang.t("sources-fault")) } small { (lang.t("own-fault-note")) } }
                        select.words-in #fault name="fault" { option value="" { "–" } @for f in k.faults() { option value=(f.id) { (lang.k(&f.label)) } } } }
                    div.field.col { label for="observation" { b { (lang.t("sources-question")) } small { (lang.t("own-look-note")) } }
                        select.words-in #observation name="observation" { option value="" { "–" } @for o in k.observations() { option value=(o.id) { (lang.k(&o.label)) } } } }
                    (field("value", &lang.t("own-value"), &lang.t("own-value-note"), "", ""))
                    (words_field("source", &lang.t("sources-source"), &lang.t("own-source-note"), ""))
                    button.btn { (lang.t("own-keep")) }
                }
            }
        }
    }
}

fn decimals(v: f64) -> usize {
    if v == 0.0 { 0 } else { (2.0 - v.abs().log10().floor()).clamp(0.0, 6.0) as usize }
}

/// Keeps a number of the workshop's own, when the knowledge with it passes the check.
pub async fn own(State(bench): State<Bench>, who: Who, axum::Form(f): axum::Form<Form>) -> Answer {
    let by = signer(&who)?;
    let id = f.id("id")?;
    let word = f.owed("number")?;
    let Some((number, _)) = Number::ALL.into_iter().find(|n| n.1 == word) else {
        return Err(Fail::Field("number".into(), word));
    };
    let (of_fault, of_look) = match number {
        Number::Weight => (true, false),
        Number::Minutes | Number::Background => (false, true),
        Number::Likelihood => (true, true),
    };
    let part = |name: &str, wanted: bool| if wanted { f.owed(name) } else { Ok(String::new()) };
    let own = Own {
        at_ms: bench.now_ms(),
        by: by.clone(),
        number,
        fault: part("fault", of_fault)?,
        observation: part("observation", of_look)?,
        value: f.number("value")?,
        source: f.owed("source")?,
    };
    let k = bench.knowledge();
    let known = k.faults().iter().any(|x| x.id == own.fault) || !of_fault;
    if !known || (of_look && k.observation(&own.observation).is_none()) {
        return Err(Fail::Field("observation".into(), own.observation));
    }
    let counting: Vec<Own> =
        overlay::all(bench.records()).await?.into_iter().filter(|o| o.1).map(|o| o.0).collect();
    overlay::laid_over(Knowledge::built_in(), counting.iter().chain([&own])).map_err(Fail::Facts)?;
    bench.put(overlay::KIND, id.as_str(), "", &own, &by).await?;
    Ok(on_to("/sources#own"))
}
