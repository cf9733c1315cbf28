//! A job: where it stands, its plan, the do-not-start lock.

use super::{Answer, add, on_to, path_id};
use crate::args;
use crate::fail::Fail;
use crate::form::{Form, derived, job_fact};
use crate::marks::Mark;
use crate::page::{Page, Place, Station, hidden, name};
use crate::state::{Bench, JobView, People};
use crate::who::Who;
use crate::words::{Lang, num};
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use maud::{Markup, html};
use serde_json::json;
use shop::record::Pouring;
use shop::{Entry, Id, Subject, What};
use store::New;

/// Resumes a job exactly where it was left.
pub async fn entrance(State(bench): State<Bench>, Path(id): Path<String>) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    let told = |table: &str| v.car.told.iter().any(|t| t.table == table && t.job.as_ref() == Some(&v.id));
    let to = if v.job.lock.is_some() {
        "steps".to_owned()
    } else if v.job.signed.is_some() {
        "hand-over".to_owned()
    } else if let Some(s) = v.job.next_step() {
        format!("step/{}", s.step.id)
    } else if !v.job.steps.is_empty() {
        "proof".to_owned()
    } else if v.job.answer.is_some() {
        "steps".to_owned()
    } else if told("reading") || told("recording") {
        "faults".to_owned()
    } else {
        "readings".to_owned()
    };
    Ok(on_to(&format!("/job/{id}/{to}")))
}

/// Adds a fact to a job.
pub async fn fact(
    State(bench): State<Bench>,
    who: Who,
    Path(id): Path<String>,
    axum::Form(f): axum::Form<Form>,
) -> Answer {
    let id = path_id(&id)?;
    let what = job_fact(&f)?;
    let filled = matches!(&what, What::StepDone { step } if step == "fill");
    let added = add(&bench, &who, &f, Subject::Job(id.clone()), what).await?;
    if filled {
        poured(&bench, &id, &added.chained.entry).await?;
    }
    Ok(on_to(
        match f.text("back") {
            "" => format!("/job/{id}"),
            back => back.to_owned(),
        }
        .as_str(),
    ))
}

/// What a fill means for the car's life and for the shelf: a refill by weight, and a container that holds less.
/// Each has an identifier made from the tick, so that a second send adds nothing.
///
/// # Errors
/// When a fact is refused.
pub async fn poured(bench: &Bench, id: &Id, tick: &Entry) -> Result<(), Fail> {
    let v = bench.job(id).await?;
    let weight = |at: Pouring| v.job.weights.iter().rev().find(|w| w.1 == "fill" && w.2 == at).map(|w| w.3);
    let (Some(before), Some(after), Some(look)) =
        (weight(Pouring::Before), weight(Pouring::After), v.job.looks.last())
    else {
        return Ok(());
    };
    let mass_g = (after - before).max(0.0);
    let fact = |word: &str, subject: Subject, what: What| New {
        id: derived(&tick.id, word),
        subject,
        expected: None,
        happened_ms: tick.happened_ms,
        recorded_ms: tick.recorded_ms,
        by: tick.by.clone(),
        corrects: None,
        what,
    };
    let mut rows = vec![("refill", json!({ "mass_g": mass_g, "lot": look.lot }))];
    if v.car.case.reservoir.tare_g.is_some() {
        rows.push(("reservoir_weighed", json!({ "gross_g": after, "order": 1 })));
    }
    for (table, mut row) in rows {
        if let (Some(km), Some(o)) = (v.car.odometer_km(), row.as_object_mut()) {
            o.insert("odometer_km".into(), json!(km));
        }
        let what = What::Told { table: table.into(), row, job: Some(v.id.clone()), file: None };
        bench.add(fact(table, Subject::Car(v.car.id.clone()), what)).await?;
    }
    let Some(density) = bench.fluids().get(&look.fluid).ok().and_then(|f| f.density_kg_m3(20.0).ok()) else {
        return Ok(());
    };
    let lots = super::shelf::lots(bench).await?;
    if let Some(lot) = lots.iter().find(|l| l.lot == look.lot && l.fluid == look.fluid) {
        let what = What::LotUsed {
            job: v.id.clone(),
            car: v.car.id.clone(),
            volume_ml: 1000.0 * mass_g / density.middle(),
        };
        bench.add(fact("lot", Subject::Lot(lot.id.clone()), what)).await?;
    }
    Ok(())
}

/// The lock, as the top of a page; nothing when there is none.
#[must_use]
pub fn lock_sheet(v: &JobView, people: &People, lang: Lang, now_ms: i64) -> Markup {
    let Some((hand, why)) = &v.job.lock else { return html! {} };
    let id = why.replace('_', "-");
    let back = format!("/job/{}/steps", v.id);
    html! {
        div.lockhead {
            (Mark::Stop.drawn())
            div {
                h1 { (lang.t(&format!("lock-{id}"))) }
                p.sub { (lang.t(&format!("lock-{id}-why"))) }
                p.sub { (lang.tw("lock-by", &args! { "name" => name(people, &hand.by, lang), "when" => lang.when(hand.at_ms, now_ms) })) }
            }
        }
        div.stack.t16 { a.btn.go href={ "/job/" (v.id) "/tag" } { (lang.t("tag-do")) } }
        div.sec {
            h2 { (lang.t("lock-lift")) }
            p.sub { (lang.t("lock-lift-note")) }
            form method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                (hidden(v.job.version, "unlocked", &back))
                div.field.col { label for="because" { b { (lang.t("lock-because")) } } input.words-in #because name="because" required autocomplete="off"; }
                div.stack.t16 { button.btn { (lang.t("lock-lift-do")) } }
            }
        }
    }
}

/// The plan of the job: what to do, what is done.
pub async fn page(State(bench): State<Bench>, who: Who, Path(id): Path<String>) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let next = v.job.next_step();
    let done = v.job.steps.iter().filter(|s| s.settled()).count();
    let left_min: f64 = v.job.steps.iter().filter(|s| !s.settled()).map(|s| s.step.hands_on_min).sum();
    let sheet = html! {
        @if v.job.lock.is_some() {
            (lock_sheet(&v, &people, lang, now))
        } @else if v.job.steps.is_empty() {
            h1 { (lang.t("steps-none")) }
            p.sub { (lang.t("steps-none-note")) }
        } @else {
            h1 {
                (lang.tw("steps-head", &args! { "done" => num(done as f64, 0), "all" => num(v.job.steps.len() as f64, 0), "minutes" => num(left_min, 0) }))
            }
            @if let Some(s) = next {
                div.stack.t16 { a.btn.go href={ "/job/" (v.id) "/step/" (s.step.id) } { (Mark::Now.drawn()) (lang.k(&s.step.text)) } }
            } @else if v.job.signed.is_none() {
                div.stack.t16 { a.btn.go href={ "/job/" (v.id) "/proof" } { (lang.t("steps-to-proof")) } }
            }
        }
        @if !v.job.steps.is_empty() {
            ol.need.t24 {
                @for s in &v.job.steps {
                    @let mark = if s.done.is_some() { Mark::Done } else if s.left.is_some() { Mark::NotDone } else if v.job.lock.is_some() { Mark::Held } else if next.is_some_and(|n| n.step.id == s.step.id) { Mark::Now } else { Mark::ToCome };
                    li {
                        (mark.drawn())
                        p {
                            a href={ "/job/" (v.id) "/step/" (s.step.id) } { (lang.k(&s.step.text)) }
                            @if let Some(h) = &s.done { small { (lang.t("state-done")) ", " (name(&people, &h.by, lang)) ", " (lang.when(h.at_ms, now)) } }
                            @if let Some((h, why)) = &s.left { small { (lang.t("state-not-done")) " " (why) ". " (name(&people, &h.by, lang)) ", " (lang.when(h.at_ms, now)) } }
                            @if !s.settled() { small { (lang.tw("minutes-of-hands", &args! { "n" => num(s.step.hands_on_min, 0) })) } }
                        }
                    }
                }
            }
        }
        @if v.job.signed.is_none() && v.job.lock.is_none() {
            (planning(&bench, &v, lang))
            (locking(&v, lang))
        }
    };
    Ok(Page::new(&who, &people, lang.t("station-steps"), Place::Car)
        .hands()
        .job(&v, Some(Station::Steps))
        .draw(&sheet)
        .into_response())
}

fn planning(bench: &Bench, v: &JobView, lang: Lang) -> Markup {
    html! {
        details.sec open[v.job.steps.is_empty()] {
            summary { h2 { (lang.t("plan-head")) } }
            p.sub { (lang.t("plan-note")) }
            form method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                (hidden(v.job.version, "planned", &format!("/job/{}", v.id)))
                div.checks.t16 {
                    @for p in &bench.rules().procedures.procedure {
                        label.btn.l { input type="checkbox" name={ "p." (p.id) } checked[v.job.procedures.contains(&p.id)]; span { (lang.k(&p.label)) } }
                    }
                }
                div.stack.t16 { button.btn.go[v.job.steps.is_empty()] { (lang.t("plan-do")) } }
            }
        }
    }
}

fn locking(v: &JobView, lang: Lang) -> Markup {
    html! {
        details.sec {
            summary { h2 { (lang.t("wrong-head")) } }
            p.sub { (lang.t("wrong-note")) }
            form method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                (hidden(v.job.version, "locked", &format!("/job/{}/steps", v.id)))
                div.pair.t16 {
                    @for why in ["wrong_fluid", "oil_or_noise", "leak"] {
                        button.btn.l name="why" value=(why) { (Mark::Stop.drawn()) (lang.t(&format!("lock-{}-short", why.replace('_', "-")))) }
                    }
                }
            }
        }
    }
}

/// The job that is not open any more, for other pages.
///
/// # Errors
/// When it is signed.
pub fn still_open(v: &JobView) -> Result<(), Fail> {
    if v.job.signed.is_some() { Err(shop::Refusal::Signed.into()) } else { Ok(()) }
}
