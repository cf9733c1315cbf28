//! What may be wrong, and the next question: what each answer would do.

use super::{Answer, add, on_to, path_id};
use crate::args;
use crate::fail::Fail;
use crate::form::Form;
use crate::marks::Mark;
use crate::page::{Page, Place, Station, hidden};
use crate::state::{Bench, JobView};
use crate::who::Who;
use crate::words::{Lang, num};
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use facts::{FaultId, Knowledge};
use infer::Evidence;
use infer::assessment::Assessment;
use infer::network::Set;
use infer::next::{Action, Advice, Desk, Gate, advise, question};
use maud::{Markup, html};
use serde_json::json;
use shop::{Subject, What};
use std::sync::Arc;

/// The advice with the desk its numbers stand for.
struct Told {
    desk: Desk,
    advice: Option<Advice>,
}

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who, Path(id): Path<String>) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    let people = bench.people().await?;
    let lang = who.lang;
    let a = bench.answer(&v.car).await?;
    let told = next(&bench, &v, &a).await?;
    let k = bench.knowledge();
    let sheet = html! {
        @if v.job.lock.is_some() { p.note { b { (lang.t("locked-note")) } } }
        @match &told.advice {
            None => h1 { (lang.t("faults-no-advice")) },
            Some(advice) => (ask(&told.desk, advice, &v, k, lang)),
        }
        div.cols {
            div.c7.sec {
                h2 { (lang.t("faults-head")) }
                (ranking(&a, k, lang))
                p.sub { (lang.t(if a.fault_set_told { "faults-told" } else { "faults-not-told" })) }
            }
            div.c5.sec {
                h2 { (lang.t("faults-why")) }
                ul.need.t8 { @for w in a.why.iter().take(8) { li { (Mark::Done.drawn()) p { (bench.house().text(lang, w)) } } } }
                (given(&v, k, lang))
            }
        }
        div.stack.t24 { a.btn href={ "/job/" (v.id) "/ways" } { (lang.t("to-ways")) } }
    };
    Ok(Page::new(&who, &people, lang.t("station-faults"), Place::Car)
        .hands()
        .job(&v, Some(Station::Faults))
        .draw(&sheet)
        .into_response())
}

async fn next(bench: &Bench, v: &JobView, a: &Arc<Assessment>) -> Result<Told, Fail> {
    let (bench, case, files, a) = (bench.clone(), v.car.case.clone(), v.car.files.clone(), a.clone());
    tokio::task::spawn_blocking(move || {
        let mut recordings = Vec::new();
        for f in &files {
            recordings.push(match f {
                Some(hash) => bench.recording(hash)?.map(|r| (*r).clone()),
                None => None,
            });
        }
        let evidence = Evidence { case: &case, recordings: &recordings, knowledge: bench.knowledge() };
        let desk = Desk::new(bench.knowledge()).map_err(|e| Fail::Machine(format!("{e:?}")))?;
        let asked = question(&desk, &evidence, &a, &[]);
        let advice = advise(&desk, &asked);
        Ok(Told { desk, advice })
    })
    .await
    .map_err(|e| Fail::Machine(e.to_string()))?
}

fn observations(desk: &Desk, test: usize) -> Vec<String> {
    desk.tests
        .get(test)
        .map_or(&[][..], |t| &t.observations)
        .iter()
        .filter_map(|&o| desk.network.observations().get(o).cloned())
        .collect()
}

fn set_words(set: Set, k: &Knowledge, lang: Lang) -> String {
    let labels: Vec<&str> = set.faults().iter().map(|f| lang.k(&k.fault(*f).label)).collect();
    if labels.is_empty() { lang.t("no-fault") } else { labels.join(" + ") }
}

fn action_words(desk: &Desk, action: Action, k: &Knowledge, lang: Lang) -> String {
    match action {
        Action::Test(t) => {
            let list: Vec<String> = observations(desk, t)
                .iter()
                .filter_map(|id| k.observation(id))
                .map(|o| lang.k(&o.question).to_owned())
                .collect();
            list.join(" / ")
        }
        Action::Repair(f) => FaultId::ALL.get(f).map_or_else(String::new, |f| {
            lang.tw("next-repair", &args! { "fault" => lang.k(&k.fault(*f).label).to_owned() })
        }),
        Action::FinalTest => lang.t("next-final-test"),
        Action::Refer => lang.t("next-refer"),
    }
}

fn ask(desk: &Desk, advice: &Advice, v: &JobView, k: &Knowledge, lang: Lang) -> Markup {
    let action = advice.step.action;
    let minutes = args! { "minutes" => num(advice.step.step_minutes, 0) };
    let label = |id: &str| k.set_ups().iter().find(|s| s.id == id).map(|s| s.label.as_str());
    let sets: Vec<&str> = advice
        .step
        .set_ups
        .iter()
        .filter_map(|i| desk.set_ups.get(*i))
        .filter_map(|s| label(&s.id))
        .collect();
    html! {
        p.lab { (lang.tw("next-minutes", &minutes)) @if !sets.is_empty() { " " (lang.t("next-set-ups")) " " (lang.list(&sets)) } }
        h1 { (action_words(desk, action, k, lang)) }
        @if let Some((for_action, gate)) = &advice.for_the_sake_of {
            p.sub { (lang.t("next-before")) " " (action_words(desk, *for_action, k, lang)) ". "
                @let rule = match gate { Gate::LookFirst { rule, .. } | Gate::Remedy { rule } | Gate::Forbidden { rule } => *rule };
                (k.rules().get(rule).map_or("", |r| lang.k(&r.label)))
            }
        }
        @if let Action::Test(t) = action {
            @for id in observations(desk, t) {
                @if let Some(o) = k.observation(&id) {
                    p.sub { b { (lang.k(&o.label)) ". " } (lang.k(&o.how)) }
                    @if v.job.signed.is_none() && v.job.lock.is_none() {
                        form.act.answers method="post" action={ "/job/" (v.id) "/faults" } data-keep {
                            (hidden(v.car.version, "told", &format!("/job/{}/faults", v.id)))
                            input type="hidden" name="observation" value=(id);
                            div.picks.p3 {
                                @for (word, text) in [("yes", "yes"), ("no", "no"), ("not_done", "not-done-short")] {
                                    button.btn name="answer" value=(word) { (lang.t(text)) }
                                }
                            }
                        }
                    }
                }
            }
            div.ans {
                @for e in &advice.answers {
                    div.ansrow {
                        p {
                            b { @match e.yes { Some(o) if advice.answers.len() > 2 => { (desk.network.observations().get(o).and_then(|id| k.observation(id)).map_or("", |o| lang.k(&o.label))) } Some(_) => (lang.t("yes")), None => (lang.t("no")) } }
                            " " (lang.tw("answer-chance", &args! { "p" => num(100.0 * e.p, 0) }))
                        }
                        p { (set_words(e.leading, k, lang)) ", " (lang.tw("of-100", &args! { "p" => num(100.0 * e.leading_p, 0) })) br; span.say2 { (lang.t("then")) " " (action_words(desk, e.then, k, lang)) } }
                    }
                }
            }
        } @else if let Action::Repair(_) = action {
            p.sub { (lang.t("next-repair-note")) }
        }
        @if !advice.others.is_empty() {
            details.sec.thin {
                summary { h2 { (lang.t("next-others")) } }
                ul.need { @for o in advice.others.iter().take(5) { li { (Mark::ToCome.drawn()) p { (action_words(desk, o.action, k, lang)) small { (lang.tw("next-minutes", &args! { "minutes" => num(o.step_minutes, 0) })) } } } } }
            }
        }
    }
}

/// Faults by probability: solid to the best figure, with a rule of tenths.
#[must_use]
pub fn ranking(a: &Assessment, k: &Knowledge, lang: Lang) -> Markup {
    let list: Vec<_> = a.faults.iter().filter(|(_, p)| *p >= 0.01).take(8).collect();
    html! {
        div.causes.t8 {
            @for (f, p) in list {
                @let label = f.map_or_else(|| lang.t("no-fault"), |f| lang.k(&k.fault(f).label).to_owned());
                div.cause {
                    span.rank { (Mark::ToCome.drawn()) }
                    p { (label) }
                    p.n { (lang.n(100.0 * p, 0)) span.of { " / 100" } }
                    svg.bar viewBox="0 0 330 18" width="330" height="18" role="img" aria-label={ (lang.n(100.0 * p, 0)) " / 100" } {
                        rect class="dot" x="0" y="1" width=(format!("{:.1}", 330.0 * p)) height="8" {}
                        @for t in 0..=10 { path class="ax" d=(format!("M{0} 11v5", 33 * t)) {} }
                        path class="ax" d="M0 11h330" {}
                    }
                }
            }
        }
    }
}

fn given(v: &JobView, k: &Knowledge, lang: Lang) -> Markup {
    let list: Vec<_> =
        v.car.told.iter().filter(|t| t.table == "observation" && t.job.as_ref() == Some(&v.id)).collect();
    html! {
        @if !list.is_empty() {
            h2.t24 { (lang.t("answers-given")) }
            ul.need.t8 {
                @for t in list {
                    @let text = |key: &str| t.row.get(key).and_then(|x| x.as_str()).unwrap_or_default().to_owned();
                    li { (Mark::Done.drawn()) p { (k.observation(&text("id")).map_or_else(|| text("id"), |o| lang.k(&o.question).to_owned())) " " b { (lang.t(match text("answer").as_str() { "yes" => "yes", "no" => "no", _ => "not-done-short" })) } } }
                }
            }
        }
    }
}

/// Keeps an answer; a second answer to the same question replaces the first.
pub async fn answer(
    State(bench): State<Bench>,
    who: Who,
    Path(id): Path<String>,
    axum::Form(mut f): axum::Form<Form>,
) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    super::job::still_open(&v)?;
    let observation = f.owed("observation")?;
    if bench.knowledge().observation(&observation).is_none() {
        return Err(Fail::Field("observation".into(), observation));
    }
    let answer = match f.text("answer") {
        a @ ("yes" | "no" | "not_done") => a.to_owned(),
        other => return Err(Fail::Field("answer".into(), other.to_owned())),
    };
    let mut row = json!({ "id": observation, "answer": answer });
    if answer == "not_done"
        && let Some(o) = row.as_object_mut()
    {
        o.insert("because".into(), "not said".into());
    }
    let same = |t: &&crate::state::ToldRow| {
        t.table == "observation"
            && t.job.as_ref() == Some(&v.id)
            && t.row.get("id").and_then(|x| x.as_str()) == Some(observation.as_str())
    };
    if let Some(old) = v.car.told.iter().find(same)
        && Some(old.entry.id.as_str()) != Some(f.text("id"))
    {
        f.0.insert("corrects".into(), old.entry.id.to_string());
    }
    let what = What::Told { table: "observation".into(), row, job: Some(v.id.clone()), file: None };
    add(&bench, &who, &f, Subject::Car(v.car.id.clone()), what).await?;
    Ok(on_to(f.text("back")))
}
