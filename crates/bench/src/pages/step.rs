//! One step at a time: what, why it is held, what is missing, done.

use super::{Answer, add, on_to, path_id};
use crate::args;
use crate::fail::{Fail, interlock_words, lack};
use crate::form::Form;
use crate::marks::Mark;
use crate::page::{Page, Place, Station, field, hidden, name, words_field};
use crate::photo;
use crate::state::{Bench, JobView, People, Workshop};
use crate::who::Who;
use crate::words::{Lang, num};
use additive::Uncertain;
use additive::entry::{Controller, Entries, FilterWork, Meaning, Situation, VolumeUnit, Work};
use additive::live::{LiveFill, Status, Target, Weight};
use additive::transfer::{Bottle, Fill, FillPlan, Receiver};
use axum::extract::{Multipart, Path, State};
use axum::http::header;
use axum::response::IntoResponse;
use maud::{Markup, html};
use shop::interlock::Holds;
use shop::record::Pouring;
use shop::work::{Condition, JobStep};
use shop::{Subject, What};

/// The sheet of a step.
pub async fn page(State(bench): State<Bench>, who: Who, Path((id, step)): Path<(String, String)>) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    let people = bench.people().await?;
    let workshop = bench.workshop().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let Some(s) = v.job.step(&step) else { return Err(Fail::NotFound) };
    let place = v.job.steps.iter().position(|o| o.step.id == step).unwrap_or(0) + 1;
    let conditions = v.job.conditions(&s.step, now, bench.rules(), &v.needs);
    let missing = conditions.iter().filter(|c| c.lack.is_some()).count();
    let open = !s.settled() && v.job.lock.is_none() && v.job.signed.is_none();
    let before = v.job.before(s);
    let sheet = html! {
        @if v.job.lock.is_some() { (super::job::lock_sheet(&v, &people, lang, now)) }
        div.stepgrid data-now=(now) {
            div {
                p.lab {
                    (lang.tw("step-place", &args! { "n" => num(place as f64, 0), "all" => num(v.job.steps.len() as f64, 0), "minutes" => num(s.step.hands_on_min, 0) }))
                    @if !s.step.tools.is_empty() { " " (lang.list(&s.step.tools)) }
                }
                h1.do { (lang.k(&s.step.text)) }
                @for c in &s.step.cautions {
                    div.caution.t16 {
                        (Mark::Stop.drawn())
                        p { @if !s.step.ppe.is_empty() { b { (sentence(&lang.list(&s.step.ppe))) } } (sentence(lang.k(c))) }
                    }
                }
                @if s.step.cautions.is_empty() && !s.step.ppe.is_empty() {
                    div.caution.t16 { (Mark::Stop.drawn()) p { b { (sentence(&lang.list(&s.step.ppe))) } } }
                }
                @if step == "fill" { (fill(&bench, &v, &workshop, lang)) }
                @if step.starts_with("enter_additive") { (values(&bench, &v, lang)) }
                @if step.starts_with("enter_filter") { (filter_values(&v, lang)) }
            }
            div {
                (head(s, missing, before, &people, lang, now))
                ul.need.t8 {
                    @for c in &conditions { (condition(&bench, &v, s, c, open, &people, lang, now)) }
                    (proof_items(&v, s, open, &conditions, &people, lang, now))
                }
                @if open { (finish(&v, s, &conditions, before, lang)) }
                @if let Some(h) = &s.done && v.job.signed.is_none() {
                    (undo(&v, &step, h.fact.as_str(), lang))
                }
            }
        }
    };
    Ok(Page::new(&who, &people, lang.t("station-steps"), Place::Car)
        .hands()
        .job(&v, Some(Station::Steps))
        .scripts(&["clock.js"])
        .draw(&sheet)
        .into_response())
}

fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let mut out: String = chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect());
    if !out.ends_with('.') {
        out.push('.');
    }
    out.push(' ');
    out
}

fn head(
    s: &JobStep,
    missing: usize,
    before: Option<&JobStep>,
    people: &People,
    lang: Lang,
    now: i64,
) -> Markup {
    let by = |h: &shop::work::Hand| format!("{}, {}", name(people, &h.by, lang), lang.when(h.at_ms, now));
    html! {
        @if let Some(h) = &s.done {
            p.state { (Mark::Done.drawn()) (lang.t("state-done")) ", " (by(h)) }
        } @else if let Some((h, why)) = &s.left {
            p.state { (Mark::NotDone.drawn()) (lang.t("state-not-done")) " " (why) }
            p.sub { (by(h)) }
        } @else if let Some(b) = before {
            p.state { (Mark::ToCome.drawn()) (lang.t("state-first")) }
            p.sub { (lang.k(&b.step.text)) }
        } @else if missing > 0 {
            p.state.wax { (Mark::Held.drawn()) (lang.tw("state-held", &args! { "n" => num(missing as f64, 0) })) }
        } @else {
            p.state { (Mark::Now.drawn()) (lang.t("state-now")) }
        }
    }
}

/// A small form of the step: hidden fields, what belongs to it, one button.
fn act(v: &JobView, step: &str, kind: &str, inner: &Markup, button: &str, ink: bool) -> Markup {
    html! {
        form.act method="post" action={ "/job/" (v.id) "/fact" } data-keep {
            (hidden(v.job.version, kind, &format!("/job/{}/step/{step}", v.id)))
            input type="hidden" name="step" value=(step);
            (inner)
            button.btn.go[ink] { (button) }
        }
    }
}

#[allow(clippy::too_many_arguments)]
fn condition(
    bench: &Bench,
    v: &JobView,
    s: &JobStep,
    c: &Condition,
    open: bool,
    people: &People,
    lang: Lang,
    now: i64,
) -> Markup {
    let step = s.step.id.as_str();
    let waiting = matches!(c.lack, Some(shop::work::Lack::Waiting { .. }));
    let mark = match &c.lack {
        None => Mark::Done,
        Some(shop::work::Lack::Waiting { until_ms }) => {
            let whole = (c.interlock.minutes * 60_000.0).max(1.0);
            let over = 1.0 - (until_ms - now) as f64 / whole;
            Mark::Waiting((over * 10.0).clamp(0.0, 10.0) as u8)
        }
        Some(_) => Mark::Held,
    };
    let none = html! {};
    html! {
        li {
            (mark.drawn())
            div {
                p { @if c.lack.is_some() { b { (interlock_words(&c.interlock.id, lang)) } } @else { (interlock_words(&c.interlock.id, lang)) } }
                @for h in &c.hands { small { (name(people, &h.by, lang)) ", " (lang.when(h.at_ms, now)) } }
                @if let Some(l) = &c.lack {
                    @if let shop::work::Lack::Waiting { until_ms } = l {
                        p.clock { span.num data-until=(until_ms) data-over=(lang.t("clock-over")) data-reload { (lang.n(((until_ms - now) as f64 / 60_000.0).ceil(), 0)) } " " (lang.t("minutes-left")) }
                        small { (lang.t("clock-note")) }
                    } @else {
                        small { (lack(l, lang, now)) @if c.interlock.safety { " " (lang.t("no-way-round")) } }
                    }
                }
            }
            @if open && c.lack.is_some() && !waiting {
                @match c.interlock.holds {
                    Holds::Confirmed => {
                        (act(v, step, "confirmed", &html! { input type="hidden" name="interlock" value=(c.interlock.id); }, &lang.t("i-looked-it-holds"), false))
                    }
                    Holds::Photo => (photo_form(v, step, &interlock_words(&c.interlock.id, lang), lang)),
                    Holds::WeighedBefore => {
                        (act(v, step, "weighed", &html! { input type="hidden" name="at" value="before"; (field("gross_g", &lang.t("field-weight-before"), &lang.t("field-weight-note"), "g", "")) }, &lang.t("note-weight"), false))
                    }
                    // Nothing can be weighed after before it was weighed before.
                    Holds::WeighedAfter if !v.job.weights.iter().any(|w| w.1 == step && w.2 == Pouring::Before) => (none),
                    Holds::WeighedAfter => {
                        (act(v, step, "weighed", &html! { input type="hidden" name="at" value="after"; (field("gross_g", &lang.t("field-weight-after"), &lang.t("field-weight-note"), "g", "")) }, &lang.t("note-weight"), false))
                    }
                    Holds::Waited => {
                        @if v.job.clocks.contains_key(step) {
                            (act(v, step, "confirmed", &html! { input type="hidden" name="interlock" value=(c.interlock.id); }, &lang.t("looked-dry"), true))
                        } @else {
                            (act(v, step, "clock_started", &html! { input type="hidden" name="minutes" value=(c.interlock.minutes); }, &lang.tw("start-clock", &args! { "minutes" => num(c.interlock.minutes, 0) }), true))
                        }
                    }
                    Holds::TwoLooks => (looks(bench, v, step, lang)),
                    Holds::ValuesSaved => (values_form(v, step, "values_saved", &lang.t("values-save-do"), None, lang)),
                    Holds::ValuesReadBack => {
                        @if v.job.saved.is_none() { (none) }
                        @else if v.job.entered.is_none() { (values_form(v, step, "values_entered", &lang.t("values-entered-do"), None, lang)) }
                        @else {
                            (values_form(v, step, "values_read_back", &lang.t("values-read-back-do"), v.job.entered.as_ref().map(|e| e.1.keys().cloned().collect()), lang))
                        }
                    }
                }
            }
        }
    }
}

/// Looking at the container: by scan, by label, by weighed density.
fn looks(bench: &Bench, v: &JobView, step: &str, lang: Lang) -> Markup {
    let fluids = html! {
        div.field.col {
            label for="fluid" { b { (lang.t("field-fluid-label")) } small { (lang.t("field-fluid-label-note")) } }
            select.words-in #fluid name="fluid" required {
                option value="" { (lang.t("choose")) }
                @for f in bench.fluids().iter().filter(|f| f.generation.is_some() || f.id == "aus-32" || f.id == "other-liquid") {
                    option value=(f.id) { (f.name) }
                }
            }
        }
    };
    let last = v.job.looks.last();
    html! {
        details.look open[last.is_none()] {
            summary.btn.go[true] { (lang.t(if last.is_some() { "look-second" } else { "look-first" })) }
            form.act method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                (hidden(v.job.version, "looked", &format!("/job/{}/step/{step}", v.id)))
                (fluids)
                (words_field("code", &lang.t("field-code"), &lang.t("field-code-note"), ""))
                button.btn name="how" value="scan" { (lang.t("look-scan")) }
                (words_field("lot", &lang.t("field-lot"), "", last.map_or("", |l| l.lot.as_str())))
                (words_field("expiry", &lang.t("field-expiry"), "2031-05-02", last.and_then(|l| l.expiry.as_deref()).unwrap_or("")))
                button.btn name="how" value="label" { (lang.t("look-label")) }
                p.sub { (lang.t("look-density-note")) }
                (field("volume_ml", &lang.t("field-sample-volume"), "", "mL", ""))
                (field("mass_g", &lang.t("field-sample-mass"), "", "g", ""))
                (field("degc", &lang.t("field-sample-temperature"), "", "°C", ""))
                button.btn name="how" value="density" { (lang.t("look-density")) }
            }
        }
    }
}

fn photo_form(v: &JobView, step: &str, item: &str, lang: Lang) -> Markup {
    html! {
        form.act method="post" action={ "/job/" (v.id) "/photo" } enctype="multipart/form-data" {
            (hidden(v.job.version, "photo", &format!("/job/{}/step/{step}", v.id)))
            input type="hidden" name="step" value=(step);
            input type="hidden" name="item" value=(item);
            label.btn.l.filepick { span { (lang.t("photo-choose")) } input type="file" name="file" accept="image/jpeg,image/png" capture="environment" required; }
            button.btn { (lang.t("photo-keep")) }
        }
    }
}

fn proof_items(
    v: &JobView,
    s: &JobStep,
    open: bool,
    conditions: &[Condition],
    people: &People,
    lang: Lang,
    now: i64,
) -> Markup {
    let kept: Vec<_> = v.job.proof.iter().filter(|p| p.step == s.step.id).collect();
    let asked = !conditions.iter().any(|c| c.interlock.holds == Holds::Photo)
        || kept.iter().any(|p| p.file.is_some());
    html! {
        @for p in &kept {
            li {
                (Mark::Done.drawn())
                div {
                    p { (lang.k(&p.item)) @if let Some(n) = &p.note { ": " b { (n) } } }
                    small { (name(people, &p.hand.by, lang)) ", " (lang.when(p.hand.at_ms, now)) }
                    @if let Some(hash) = &p.file { a.photo href={ "/file/" (hash) } { img src={ "/file/" (hash) } alt={ (lang.t("photo-of")) " " (lang.k(&p.item)) } loading="lazy"; } }
                }
            }
        }
        @for item in s.step.proof.iter().filter(|i| !kept.iter().any(|p| p.item == **i)) {
            li {
                (Mark::Wanted.drawn())
                p { (sentence(lang.k(item))) small { (lang.t("proof-wanted")) } }
                @if open && asked {
                    details.look {
                        summary.btn { (lang.t("proof-note")) }
                        (act(v, &s.step.id, "proof_kept", &html! {
                            input type="hidden" name="item" value=(item);
                            div.field.col { label for={ "note-" (item.len()) } { b { (lang.t("proof-what")) } } input.words-in id={ "note-" (item.len()) } name="note" autocomplete="off" required; }
                        }, &lang.t("proof-keep"), false))
                        (photo_form(v, &s.step.id, item, lang))
                    }
                }
            }
        }
    }
}

fn finish(
    v: &JobView,
    s: &JobStep,
    conditions: &[Condition],
    before: Option<&JobStep>,
    lang: Lang,
) -> Markup {
    let step = s.step.id.as_str();
    let held = conditions.iter().find(|c| c.lack.is_some());
    let safety = conditions.iter().any(|c| c.interlock.safety);
    html! {
        div.stack.t24 {
            @if let Some(b) = before {
                a.btn.go href={ "/job/" (v.id) "/step/" (b.step.id) } { (lang.t("go-to-first")) }
            } @else if let Some(c) = held {
                button.btn.held type="button" aria-disabled="true" aria-describedby="held-why" {
                    span { (Mark::Held.drawn()) " " (lang.tw("done-once", &args! { "what" => interlock_words(&c.interlock.id, lang) })) }
                }
                p.sub #held-why { (lang.t("held-why")) }
            } @else {
                form method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                    (hidden(v.job.version, "step_done", &format!("/job/{}", v.id)))
                    input type="hidden" name="step" value=(step);
                    button.btn.go { (Mark::Now.drawn()) (lang.t("step-done-do")) }
                }
            }
        }
        @if !safety && before.is_none() {
            details.sec.thin {
                summary { h2 { (lang.t("not-done-because")) } }
                form.act method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                    (hidden(v.job.version, "step_left", &format!("/job/{}", v.id)))
                    input type="hidden" name="step" value=(step);
                    div.pair {
                        @for why in ["because-not-needed", "because-done-elsewhere", "because-no-tool", "because-owner"] {
                            button.btn.l name="because" value=(lang.t(why)) { (lang.t(why)) }
                        }
                    }
                }
                form.act method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                    (hidden(v.job.version, "step_left", &format!("/job/{}", v.id)))
                    input type="hidden" name="step" value=(step);
                    (words_field("because", &lang.t("because-words"), "", ""))
                    button.btn { (lang.t("step-left-do")) }
                }
            }
        } @else if safety {
            p.sub.t16 { (lang.t("safety-no-leave")) }
        }
    }
}

fn undo(v: &JobView, step: &str, fact: &str, lang: Lang) -> Markup {
    html! {
        details.sec.thin {
            summary { h2 { (lang.t("undo-head")) } }
            p.sub { (lang.t("undo-note")) }
            form.act method="post" action={ "/job/" (v.id) "/fact" } data-keep {
                (hidden(v.job.version, "withdrawn", &format!("/job/{}/step/{step}", v.id)))
                input type="hidden" name="corrects" value=(fact);
                (words_field("because", &lang.t("because-words"), "", ""))
                button.btn { (lang.t("undo-do")) }
            }
        }
    }
}

/// The live fill: minutes left, stop mark, alarms, from the weights noted.
pub struct Running {
    /// The plan.
    pub plan: FillPlan,
    /// After the last weight; none before the first.
    pub status: Option<Status>,
}

/// The fill of a job as far as its weights tell; none when the set-up was not measured.
#[must_use]
pub fn running(bench: &Bench, v: &JobView, w: &Workshop) -> Option<Result<Running, additive::Error>> {
    let (bore, tube, head, area) = (w.bore_mm?, w.tube_m?, w.head_cm?, w.bottle_cm2?);
    let fluid = bench.fluids().get(v.car.case.reservoir.fluid.as_deref()?).ok()?;
    let capacity_l = v.car.case.reservoir.capacity_l?;
    let density = fluid.density_kg_m3(20.0).ok()?.middle();
    let weights: Vec<_> = v.job.weights.iter().filter(|w| w.1 == "fill").collect();
    let first = weights.iter().find(|w| w.2 == Pouring::Before);
    let tare = v.car.case.reservoir.tare_g;
    // What it holds before, where scale and empty weight tell it; else all of it is thought to be poured.
    let held_l = match (first, tare) {
        (Some(f), Some(t)) => ((f.3 - t) / density).max(0.0),
        _ => 0.0,
    };
    let volume_l = capacity_l - held_l;
    if volume_l <= 0.01 {
        return None;
    }
    let fill = Fill {
        volume_l,
        // How far a rule and a measuring tape may be off: expert guess.
        bore_mm: Uncertain::new(bore, 0.1),
        length_m: Uncertain::new(tube, 0.02),
        fittings_k: Uncertain::new(5.0, 1.5),
        head_cm: Uncertain::new(head, 3.0),
        bottle_area_cm2: Uncertain::new(area, area * 0.1),
        bottle: Bottle::Vented,
        receiver: Receiver::Pouch,
        degc: v.car.case.ambient.temperature_degc.unwrap_or(20.0),
        press_kpa: None,
    };
    let run = || {
        let plan = fill.plan(fluid)?;
        let (Some(minutes), Some(first)) = (plan.minutes, first) else {
            return Ok(Running { plan, status: None });
        };
        let setup = fill.best_setup(fluid)?;
        let course = setup.course(volume_l / 1000.0, 60)?;
        let target = Target::of(&course, minutes, setup.density_kg_m3, plan.tube_g, 1.0, None)?;
        let mut live = LiveFill::new(target)?;
        let mut status = None;
        for w in &weights {
            let time_s = (w.0.at_ms - first.0.at_ms) as f64 / 1000.0;
            let weight = Weight { time_s, receiver_g: Some(w.3), bottle_g: None };
            // A weight dated before the first is left out of the pace; it stays among the facts.
            if let Ok(s) = live.push(weight) {
                status = Some(s);
            }
        }
        Ok(Running { plan, status })
    };
    Some(run())
}

fn fill(bench: &Bench, v: &JobView, w: &Workshop, lang: Lang) -> Markup {
    let began = v.job.weights.iter().any(|w| w.1 == "fill" && w.2 == Pouring::Before);
    let ended = v.job.weights.iter().any(|w| w.1 == "fill" && w.2 == Pouring::After);
    let spread = |e: additive::estimate::Estimate| {
        args! { "p50" => num(e.p50, 0), "p05" => num(e.p05, 0), "p95" => num(e.p95, 0) }
    };
    html! {
        div.sec {
            h2 { (lang.t("fill-head")) }
            @match running(bench, v, w) {
                None => p.sub { (lang.t("fill-not-measured")) " " a href="/settings" { (lang.t("room-settings")) } },
                Some(Err(e)) => p.sub lang="en" { (e.to_string()) },
                Some(Ok(r)) => {
                    @match &r.status {
                        Some(s) => {
                            @if s.state.is_alarm() {
                                div.caution role="alert" { (Mark::Stop.drawn()) p { b { (bench.house().message(lang, &s.say)) } } }
                            }
                            div.fnum {
                                @if let Some(m) = s.minutes_left {
                                    div { p.lab { (lang.t("fill-minutes-left")) } p.big { (lang.n(m.p50, 0)) small { "min" } } p.iv { (lang.tw("to", &spread(m))) } }
                                }
                                @if let Some(g) = s.stop_receiver_g {
                                    div { p.lab { (lang.t("fill-stop-at")) } p.num.draw { (lang.n(g, 0)) small { "g" } } }
                                }
                                div { p.lab { (lang.t("fill-moved")) } p.num { (lang.n(s.moved_l, 2)) small { "L" } } }
                            }
                            @if !s.state.is_alarm() { p.sub { (bench.house().message(lang, &s.say)) } }
                        }
                        None => {
                            @match r.plan.minutes {
                                Some(m) => p.lead { (lang.tw("fill-plan", &spread(m))) },
                                None => p.lead { (lang.t("fill-stops-itself")) },
                            }
                            @for say in &r.plan.say { p.sub { (bench.house().message(lang, say)) } }
                        }
                    }
                }
            }
            @if began && !ended && v.job.lock.is_none() && v.job.signed.is_none() {
                (act(v, "fill", "weighed", &html! { input type="hidden" name="at" value="during"; (field("during", &lang.t("field-weight-now"), &lang.t("field-weight-now-note"), "g", "")) }, &lang.t("note-weight"), false))
            }
        }
    }
}

const MEANINGS: [(&str, &str); 4] =
    [("held_now", "mL"), ("added_now", "mL"), ("distance_since_fill", "km"), ("filter_received", "")];

fn values_form(
    v: &JobView,
    step: &str,
    kind: &str,
    button: &str,
    only: Option<Vec<String>>,
    lang: Lang,
) -> Markup {
    let saving = kind == "values_saved";
    let shown = MEANINGS.iter().filter(|(m, _)| match &only {
        Some(list) => list.iter().any(|o| o == m),
        None => !(saving && *m == "added_now"),
    });
    act(
        v,
        step,
        kind,
        &html! {
            p.sub { (lang.t(&format!("values-{}-note", kind.replace("values_", "").replace('_', "-")))) }
            @for (m, unit) in shown {
                (field(&format!("v.{m}"), &lang.t(&format!("value-{}", m.replace('_', "-"))), "", unit, ""))
            }
        },
        button,
        true,
    )
}

/// What to enter after a fill, by meaning, for each of the two kinds of controller.
#[must_use]
pub fn entries(bench: &Bench, v: &JobView) -> Option<[Result<Entries, additive::Error>; 2]> {
    let fluid = bench.fluids().get(v.car.case.reservoir.fluid.as_deref()?).ok()?;
    let density = fluid.density_kg_m3(20.0).ok()?;
    let weight = |at: Pouring| v.job.weights.iter().rev().find(|w| w.1 == "fill" && w.2 == at).map(|w| w.3);
    let after = weight(Pouring::After)?;
    let tare = v.car.case.reservoir.tare_g?;
    let ml = |g: f64| 1e6 * g / 1000.0 / density.middle();
    let weighed = ml(after - tare);
    // A rectangle as wide as the density is known, and the scale's own gram or two.
    let sigma = weighed * (density.high - density.low) / density.middle() / 12f64.sqrt() + ml(2.0);
    let saved = |m: &str| {
        v.job.saved.as_ref().and_then(|s| s.1.get(m)).and_then(|t| crate::words::typed(t).ok().flatten())
    };
    let situation = |controller| Situation {
        controller,
        unit: VolumeUnit::Millilitre,
        believed_ml: saved("held_now"),
        weighed_ml: Uncertain::new(weighed.max(0.0), sigma),
        poured_ml: weight(Pouring::Before).map(|b| ml(after - b).max(0.0)),
        capacity_ml: v.car.case.reservoir.capacity_l.map(|l| 1000.0 * l),
        work: Work::Filled,
        filter: FilterWork::Untouched,
        asks_distance: true,
        filter_received: saved("filter_received"),
        filter_ash_g: None,
    };
    Some([Controller::Sets, Controller::Adds].map(|c| additive::entry::entries(&situation(c))))
}

fn values(bench: &Bench, v: &JobView, lang: Lang) -> Markup {
    let Some(both) = entries(bench, v) else {
        return html! { p.note.t24 { (lang.t("values-owed")) } };
    };
    let [sets, adds] = both;
    html! {
        @for (kind, entries) in [("sets", sets), ("adds", adds)] {
            div.sec {
                h2 { (lang.t(&format!("values-{kind}"))) }
                @match entries {
                    Err(e) => p.sub lang="en" { (e.to_string()) },
                    Ok(e) => {
                        @for one in &e.entries {
                            div.val {
                                p {
                                    b { (lang.t(&format!("value-{}", meaning(one.meaning)))) }
                                    br;
                                    span.say2 { (bench.house().message(lang, &one.say)) }
                                    @if let Some(ml) = one.believes_after_ml { br; span.say2 { (lang.tw("values-believes", &args! { "ml" => num(ml, 0) })) } }
                                }
                                p.n { (lang.n(one.value, 0)) small { (one.unit) } }
                            }
                        }
                        @for (m, why) in &e.leave {
                            p.note.t16 { b { (lang.t("values-leave")) " " (lang.t(&format!("value-{}", meaning(*m)))) ". " } (bench.house().message(lang, why)) }
                        }
                    }
                }
            }
        }
        p.note.t16 { (lang.t("values-unclear")) }
    }
}

fn filter_values(_: &JobView, lang: Lang) -> Markup {
    html! { p.note.t24 { (lang.t("values-filter")) } }
}

fn meaning(m: Meaning) -> &'static str {
    match m {
        Meaning::HeldNow => "held-now",
        Meaning::AddedNow => "added-now",
        Meaning::DistanceSinceFill => "distance-since-fill",
        Meaning::FilterReceived => "filter-received",
        Meaning::FilterAsh => "filter-ash",
    }
}

/// Takes a photo: place and time of the camera are stripped, the picture is kept under its hash.
pub async fn photo(
    State(bench): State<Bench>,
    who: Who,
    Path(id): Path<String>,
    mut body: Multipart,
) -> Answer {
    let id = path_id(&id)?;
    let mut f = Form::default();
    let mut file = None;
    let bad = |e: axum::extract::multipart::MultipartError| Fail::Request(e.body_text());
    while let Some(part) = body.next_field().await.map_err(bad)? {
        let name = part.name().unwrap_or_default().to_owned();
        if name == "file" {
            file = Some(part.bytes().await.map_err(bad)?);
        } else {
            f.0.insert(name, part.text().await.map_err(bad)?);
        }
    }
    let bytes = file.ok_or(Fail::Upload("upload-photo"))?;
    let clean = photo::stripped(&bytes).ok_or(Fail::Upload("upload-photo"))?;
    let hash = bench.records().files().keep(&clean)?;
    let what = What::ProofKept { step: f.owed("step")?, item: f.owed("item")?, file: Some(hash), note: None };
    add(&bench, &who, &f, Subject::Job(id.clone()), what).await?;
    Ok(on_to(f.text("back")))
}

/// A kept photo, under the hash of its content.
pub async fn file(State(bench): State<Bench>, Path(hash): Path<String>) -> Answer {
    let bytes = bench.records().files().get(&hash)?.ok_or(Fail::NotFound)?;
    // Only pictures are shown; a recording is handed out as bytes.
    let kind = photo::kind(&bytes).unwrap_or("application/octet-stream");
    Ok((
        [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "private, max-age=31536000, immutable")],
        bytes,
    )
        .into_response())
}
