//! Proof: before and after, and the signature.

use super::{Answer, path_id};
use crate::args;
use crate::marks::Mark;
use crate::page::{Page, Place, Station, hidden, name};
use crate::state::Bench;
use crate::who::Who;
use crate::words::num;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use infer::assessment::ProofVerdict;
use maud::html;

/// The word of a verdict, as part of an identifier.
#[must_use]
pub fn verdict(v: ProofVerdict) -> &'static str {
    match v {
        ProofVerdict::Improved => "improved",
        ProofVerdict::NoProvenChange => "no-proven-change",
        ProofVerdict::Worse => "worse",
        ProofVerdict::CannotTell => "cannot-tell",
    }
}

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who, Path(id): Path<String>) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let a = bench.answer(&v.car).await?;
    let seal = bench.records().seal_of(&v.id).await?;
    let open = v.job.steps.iter().find(|s| !s.settled());
    let sheet = html! {
        div.a4 {
            @match &a.proof {
                Some(p) => {
                    h1 { (lang.t(&format!("proof-{}", verdict(p.verdict)))) }
                    p.sub { (bench.house().text(lang, &p.reason)) }
                    @if p.ratio.told {
                        p.lead.t16 { (lang.t("proof-ratio")) " " b { (super::readings::interval(p.ratio, "", lang)) } ". " (lang.tw("proof-chance", &args! { "p" => num(100.0 * p.improved_probability, 0) })) }
                    }
                }
                None => {
                    h1 { (lang.t("proof-owed")) }
                    p.sub { (lang.t("proof-owed-note")) }
                }
            }
            @if v.job.signed.is_none() {
                div.stack.t16.noprint {
                    a.btn.go[a.proof.is_none()] href={ "/job/" (v.id) "/readings?role=after" } { (lang.t("proof-type-after")) }
                    a.btn href={ "/job/" (v.id) "/recording" } { (lang.t("to-recording")) }
                }
            }
            (bench.house().pressure(lang, &a))
            div.sec {
                h2 { (lang.t("proof-steps")) }
                ul.need.t8 {
                    @for s in &v.job.steps {
                        li {
                            ((if s.done.is_some() { Mark::Done } else if s.left.is_some() { Mark::NotDone } else { Mark::ToCome }).drawn())
                            p {
                                (lang.k(&s.step.text))
                                @if let Some(h) = &s.done { small { (name(&people, &h.by, lang)) ", " (lang.when(h.at_ms, now)) } }
                                @if let Some((h, why)) = &s.left { small { (lang.t("state-not-done")) " " (why) ". " (name(&people, &h.by, lang)) } }
                                @for k in v.job.proof.iter().filter(|k| k.step == s.step.id) { small { (lang.k(&k.item)) @if let Some(n) = &k.note { ": " (n) } @if k.file.is_some() { ": " (lang.t("photo-kept")) } } }
                            }
                        }
                    }
                }
            }
            @if let Some((h, why)) = &v.job.lifted { p.note.t16 { (lang.t("lock-was-lifted")) " " (why) ". " (name(&people, &h.by, lang)) ", " (lang.when(h.at_ms, now)) } }
            @if let Some(s) = &seal {
                div.stamp {
                    div { small { (lang.t("seal-number")) } (s.number) }
                    div { small { (lang.t("seal-by")) } @if let Some(h) = &v.job.signed { (name(&people, &h.by, lang)) } }
                    div { small { (lang.t("seal-when")) } @if let Some(h) = &v.job.signed { (lang.when(h.at_ms, now)) } }
                    div { small { (lang.t("seal-code")) } span.code { (s.hash.get(..16).unwrap_or_default()) } }
                }
                div.stack.t24.noprint { a.btn.go href={ "/job/" (v.id) "/hand-over" } { (lang.t("station-hand-over")) } }
            } @else if let Some(s) = open {
                div.stack.t24.noprint { a.btn href={ "/job/" (v.id) "/step/" (s.step.id) } { (lang.t("sign-open")) } }
            } @else if v.job.lock.is_none() {
                form.t24.noprint method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                    (hidden(v.job.version, "signed", &format!("/job/{}/hand-over", v.id)))
                    p.sub { (lang.t("sign-note")) }
                    div.stack.t16 { button.btn.go[a.proof.is_some()] { (lang.t("sign-do")) } }
                }
            }
        }
    };
    Ok(Page::new(&who, &people, lang.t("station-proof"), Place::Car)
        .job(&v, Some(Station::Proof))
        .draw(&sheet)
        .into_response())
}
