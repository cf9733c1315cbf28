//! Handing over: one page in plain words for the owner.

use super::{Answer, path_id};
use crate::args;
use crate::marks::Mark;
use crate::page::{Page, Place, Station, hidden, name, plate};
use crate::state::Bench;
use crate::who::Who;
use crate::words::num;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use maud::html;
use shop::record::Pouring;

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who, Path(id): Path<String>) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    let people = bench.people().await?;
    let workshop = bench.workshop().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let a = bench.answer(&v.car).await?;
    let seal = bench.records().seal_of(&v.id).await?;
    let k = bench.knowledge();
    let leading = a.fault_sets.first().filter(|s| !s.faults.is_empty() && s.probability > 0.5);
    let weight = |at: Pouring| v.job.weights.iter().rev().find(|w| w.2 == at).map(|w| w.3);
    let poured = weight(Pouring::After).zip(weight(Pouring::Before)).map(|(a, b)| a - b);
    let lot = v.job.looks.last();
    let left: Vec<_> = v.job.steps.iter().filter(|s| s.left.is_some()).collect();
    let sheet = html! {
        div.a4 {
            div.title {
                div { p.lab { (lang.t("for-the-owner-of")) } p.num.draw { (plate(&v.car.keeper, lang)) } }
                p.lab.right { (workshop.name) @if !workshop.phone.is_empty() { ", " (workshop.phone) } br; (lang.date(&date(now))) }
            }
            @if v.job.signed.is_none() { p.note.t16.noprint { b { (lang.t("hand-over-not-signed")) } } }
            h1.t16 {
                @match (&leading, a.proof.as_ref().map(|p| super::proof::verdict(p.verdict))) {
                    (_, Some("improved")) => (lang.t("owner-improved")),
                    (_, Some("worse")) => (lang.t("owner-worse")),
                    (_, Some("no-proven-change")) => (lang.t("owner-no-change")),
                    _ => (lang.t("owner-no-proof")),
                }
            }
            div.cols.t16 {
                div.c6 {
                    h2 { (lang.t("owner-complaint")) }
                    p { @if v.complaint.is_empty() { (lang.t("owner-no-complaint")) } @else { q { (v.complaint) } } }
                    h2.t16 { (lang.t("owner-wrong")) }
                    @match leading {
                        Some(s) => p { (s.faults.iter().map(|f| lang.k(&k.fault(*f).label)).collect::<Vec<_>>().join(" + ")) ": " (lang.tw("of-100", &args! { "p" => num(100.0 * s.probability, 0) })) "." },
                        None => p { (lang.t("owner-wrong-unsure")) },
                    }
                    h2.t16 { (lang.t("owner-did")) }
                    p { @for p in v.job.procedures.iter().filter_map(|p| bench.rules().procedure(p)) { (lang.k(&p.label)) ". " } }
                    @if let Some(g) = poured.filter(|g| *g > 0.0) {
                        p { (lang.tw("owner-poured", &args! { "gram" => num(g, 0), "lot" => lot.map_or("?".to_owned(), |l| l.lot.clone()) })) }
                    }
                }
                div.c6 {
                    h2 { (lang.t("owner-measured")) }
                    table { tbody {
                        tr { td { (lang.t("owner-soot")) } td.n { @if a.filter.soot_load_g_per_l.told { (super::readings::interval(a.filter.soot_load_g_per_l, "g/L", lang)) } @else { (lang.t("cannot-tell-word")) } } }
                        tr { td { (lang.t("owner-ash")) } td.n { @if a.filter.ash_load_g_per_l.told { (super::readings::interval(a.filter.ash_load_g_per_l, "g/L", lang)) } @else { (lang.t("cannot-tell-word")) } } }
                        @if let Some(b) = &a.additive { tr { td { (lang.t("owner-additive")) } td.n { @if b.left_l.told { (super::readings::interval(b.left_l, "L", lang)) } @else { (lang.t("cannot-tell-word")) } } } }
                        tr { td { (lang.t("owner-in-a-word")) } td.n { b { (lang.t(&format!("word-{}", a.proof.as_ref().map_or("cannot-tell", |p| super::proof::verdict(p.verdict))))) } } }
                    } }
                    @for words in super::due_words(&a, lang) { p.sub { (words) } }
                }
            }
            div.caution.t16 { (Mark::Stop.drawn()) p { b { (lang.t("two-fluids")) } (lang.t("two-fluids-why")) } }
            div.cols.t16 {
                div.c6 { h2 { (lang.t("owner-drive")) } p { (lang.t("owner-drive-how")) } }
                div.c6 {
                    h2 { (lang.t("owner-back")) } p { (lang.t("owner-back-when")) }
                    @if !left.is_empty() {
                        h2.t16 { (lang.t("owner-not-done")) }
                        @for s in left { p { (lang.k(&s.step.text)) @if let Some((_, why)) = &s.left { ": " (why) } } }
                    }
                }
            }
            div.signs.cols.t24 { div.c6 { div.sign {} p.lab { (lang.t("sign-workshop")) } } div.c6 { div.sign {} p.lab { (lang.t("sign-owner")) } } }
            div.stamp {
                div { small { (lang.t("seal-number")) } @match &seal { Some(s) => (s.number), None => "–" } }
                div { small { (lang.t("seal-by")) } @match &v.job.signed { Some(h) => (name(&people, &h.by, lang)), None => "–" } }
                div { small { (lang.t("field-odometer")) } @match v.car.odometer_km() { Some(km) => { (lang.n(km, 0)) " km" } None => "–" } }
                div { small { (lang.t("seal-code")) } span.code { @match &seal { Some(s) => (s.hash.get(..16).unwrap_or_default()), None => "–" } } }
            }
            @if v.job.signed.is_some() && v.job.handed_over.is_none() {
                form.t24.noprint method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                    (hidden(v.job.version, "handed_over", &format!("/job/{}/hand-over", v.id)))
                    div.stack { button.btn.go { (lang.t("hand-over-do")) } }
                }
            }
            @if let Some(h) = &v.job.handed_over {
                p.state.t16.noprint { (Mark::Done.drawn()) (lang.t("handed-over")) ", " (name(&people, &h.by, lang)) ", " (lang.when(h.at_ms, now)) }
                form.t16.noprint method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                    (hidden(v.job.version, "followed_up", &format!("/job/{}/hand-over", v.id)))
                    h2 { (lang.t("follow-up")) }
                    p.sub { (lang.t("follow-up-note")) }
                    div.picks.p3.t16 { @for w in ["well", "lamp", "no_answer"] { button.btn name="answer" value=(w) { (lang.t(&format!("follow-{}", w.replace('_', "-")))) } } }
                }
                @for (h, w) in &v.job.follow_ups { p.sub.noprint { (lang.t(&format!("follow-{}", w.replace('_', "-")))) ", " (name(&people, &h.by, lang)) ", " (lang.when(h.at_ms, now)) } }
            }
        }
    };
    Ok(Page::new(&who, &people, lang.t("station-hand-over"), Place::Car)
        .job(&v, Some(Station::HandOver))
        .draw(&sheet)
        .into_response())
}

/// `2031-05-02` of an instant, UTC.
#[must_use]
pub fn date(ms: i64) -> String {
    jiff::Timestamp::from_millisecond(ms)
        .map(|t| t.to_string().get(..10).unwrap_or_default().to_owned())
        .unwrap_or_default()
}

/// A distance to come is never known to the kilometre: two figures.
#[must_use]
pub fn round(km: f64) -> f64 {
    if !km.is_finite() || km.abs() < 100.0 {
        return km;
    }
    let step = 10f64.powf(km.abs().log10().floor() - 1.0);
    (km / step).round() * step
}
