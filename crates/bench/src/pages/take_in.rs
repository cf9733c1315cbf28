//! Taking a car in: the complaint word for word, the triage, which system it has.

use super::{Answer, on_to, signer};
use crate::fail::Fail;
use crate::form::{Form, derived};
use crate::marks::Mark;
use crate::page::{Page, Place, field, hidden, words_field};
use crate::state::{Bench, Keeper, search_word};
use crate::who::Who;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use maud::{Markup, html};
use serde_json::{Map, Value, json};
use shop::{Id, Subject, What};
use std::collections::BTreeMap;
use store::New;

/// Questions of the triage in their order: the first *yes* decides. `trade reference 1.2 step 3`.
pub const TRIAGE: [&str; 4] = ["wrong_fluid", "oil_or_noise", "leak", "soot_over_limit"];

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who, Query(q): Query<Form>) -> Answer {
    let lang = who.lang;
    let people = bench.people().await?;
    // A car that was here before brings its words along.
    let known = match q.text("car") {
        "" => None,
        _ => Some(bench.car(&q.id("car")?, None).await?),
    };
    let keeper = known.as_ref().map(|c| c.keeper.clone()).unwrap_or_default();
    let concentrates: Vec<(String, String)> = bench
        .fluids()
        .iter()
        .filter(|f| f.generation.is_some())
        .map(|f| (f.id.clone(), who.lang.k(&f.name).to_owned()))
        .collect();
    let km = known.as_ref().and_then(|c| c.odometer_km());
    let sheet = html! {
        h1 { (lang.t("take-in-head")) }
        p.sub { (lang.t("take-in-sub")) }
        form method="post" action="/take-in" {
            (hidden(known.as_ref().map_or(0, |c| c.version), "job_opened", ""))
            @if let Some(c) = &known { input type="hidden" name="car" value=(c.id); }
            div.cols.t16 {
                div.c7 {
                    (words_field("plate", &lang.t("field-plate"), "", &keeper.plate))
                    (words_field("words", &lang.t("field-car-words"), &lang.t("field-car-words-note"), &keeper.words))
                    div.field.col.t16 {
                        label for="complaint" { b { (lang.t("field-complaint")) } small { (lang.t("field-complaint-note")) } }
                        textarea.words-in #complaint name="complaint" rows="3" {}
                    }
                    (field("odometer_km", &lang.t("field-odometer"), &km.map(|k| format!("{} km", lang.n(k, 0))).unwrap_or_default(), "km", ""))
                    div.sec.thin {
                        h2 { (lang.t("take-in-owner")) }
                        p.sub { (lang.t("take-in-owner-note")) }
                        (words_field("owner", &lang.t("field-owner"), "", &keeper.owner))
                        (words_field("contact", &lang.t("field-contact"), "", &keeper.contact))
                    }
                }
                div.c5 {
                    h2 { (lang.t("triage-head")) }
                    ol.need.triage.t8 {
                        @for q in TRIAGE { (triage(q, lang)) }
                    }
                    p.note.t16 { (lang.t("take-in-complaint-note")) }
                }
            }
            @if known.is_none() {
                div.sec {
                    h2 { (lang.t("take-in-system")) }
                    p.sub { (lang.t("take-in-system-note")) }
                    div.cols.t16 {
                        div.c6 {
                            (choose("reservoir_kind", &lang.t("field-reservoir"), &[("", lang.t("not-looked")), ("pouch", lang.t("pouch")), ("tank", lang.t("tank")), ("none", lang.t("no-additive"))]))
                            div.field.col.t16 {
                                label for="fluid" { b { (lang.t("field-fluid")) } small { (lang.t("field-fluid-note")) } }
                                select.words-in #fluid name="fluid" {
                                    option value="" { (lang.t("not-looked")) }
                                    @for (id, name) in &concentrates { option value=(id) { (name) } }
                                }
                            }
                            (field("capacity_l", &lang.t("field-capacity"), "", "L", ""))
                            (field("tare_g", &lang.t("field-tare"), &lang.t("field-tare-note"), "g", ""))
                        }
                        div.c6 {
                            (choose("material", &lang.t("field-material"), &[("", lang.t("not-looked")), ("cordierite", lang.t("cordierite")), ("silicon_carbide", lang.t("silicon-carbide"))]))
                            (field("volume_l", &lang.t("field-volume"), "", "L", ""))
                            (field("displacement_l", &lang.t("field-displacement"), "", "L", ""))
                        }
                    }
                }
            }
            div.stack.t24 { button.btn.go { (Mark::Now.drawn()) (lang.t("take-in-do")) } }
        }
    };
    let page = Page {
        who: &who,
        people: &people,
        title: lang.t("room-take-in"),
        place: Place::Car,
        hands: false,
        job: None,
        car: known.as_ref().map(|c| (&c.id, &c.keeper, c.odometer_km())),
        scripts: &[],
    };
    Ok(page.draw(&sheet).into_response())
}

fn triage(q: &str, lang: crate::words::Lang) -> Markup {
    let id = q.replace('_', "-");
    html! {
        li {
            fieldset {
                legend { (lang.t(&format!("triage-{id}"))) small { (lang.t(&format!("triage-{id}-yes"))) } }
                div.radios {
                    @for (value, word) in [("no", "no"), ("yes", "yes"), ("unknown", "not-known")] {
                        label.btn { input type="radio" name={ "t." (q) } value=(value) checked[value == "unknown" && q == "soot_over_limit"] required; span { (lang.t(word)) } }
                    }
                }
            }
        }
    }
}

/// One of a few, side by side.
#[must_use]
pub fn choose(name: &str, label: &str, of: &[(&str, String)]) -> Markup {
    html! {
        fieldset.choose.t16 {
            legend { (label) }
            div.radios {
                @for (i, (value, word)) in of.iter().enumerate() {
                    label.btn { input type="radio" name=(name) value=(value) checked[i == 0]; span { (word) } }
                }
            }
        }
    }
}

/// The lock that the answers of a triage put on: the first that is not answered with *no*. What nobody knows about
/// a wrong fluid counts as *yes*; the soot is not known before the first readings.
#[must_use]
pub fn lock(triage: &BTreeMap<String, String>) -> Option<&'static str> {
    let answer = |q: &str| triage.get(q).map_or("unknown", String::as_str);
    if answer("wrong_fluid") != "no" {
        return Some("wrong_fluid");
    }
    TRIAGE.into_iter().find(|q| answer(q) == "yes")
}

/// Rows of a table from fields of a form.
fn row(f: &Form, numbers: &[&str], words: &[(&str, &str)]) -> Result<Map<String, Value>, Fail> {
    let mut row = Map::new();
    for n in numbers {
        if let Some(v) = f.number(n)? {
            row.insert((*n).to_owned(), json!(v));
        }
    }
    for (key, field) in words {
        if !f.text(field).is_empty() {
            row.insert((*key).to_owned(), f.text(field).into());
        }
    }
    Ok(row)
}

/// Takes a car in: its plain row, its facts, its job, and the lock that the triage asks for.
pub async fn take_in(State(bench): State<Bench>, who: Who, axum::Form(f): axum::Form<Form>) -> Answer {
    let by = signer(&who)?;
    let form = f.id("id")?;
    let now = bench.now_ms();
    let word = search_word(&f.owed("plate")?);
    let known = match f.text("car") {
        "" => {
            let plate =
                |r: &store::Plain| serde_json::from_str::<Keeper>(&r.body).map(|k| search_word(&k.plate));
            let rows = bench.records().find("keeper", &word, 500).await?;
            rows.into_iter().find(|r| plate(r).is_ok_and(|p| p == word))
        }
        id => bench.records().plain("keeper", id).await?,
    };
    let car = match &known {
        Some(row) => Id::parse(&row.id).map_err(Fail::Request)?,
        None => derived(&form, "car"),
    };
    let job = derived(&form, "job");
    let fact = |word: &str, subject: Subject, what: What| New {
        id: derived(&form, word),
        subject,
        expected: None,
        happened_ms: now,
        recorded_ms: now,
        by: by.clone(),
        corrects: None,
        what,
    };
    if bench.records().standing(&Subject::Job(job.clone())).await?.is_some() {
        // The form was sent before: nothing is done twice.
        return Ok(on_to(&format!("/job/{job}")));
    }
    let on_car = || Subject::Car(car.clone());
    let told = |table: &str, row: Map<String, Value>| What::Told {
        table: table.into(),
        row: Value::Object(row),
        job: Some(job.clone()),
        file: None,
    };
    let mut rows = vec![
        ("car", row(&f, &["odometer_km", "displacement_l"], &[])?),
        ("reservoir", row(&f, &["capacity_l", "tare_g"], &[("kind", "reservoir_kind"), ("fluid", "fluid")])?),
        ("filter", row(&f, &["volume_l"], &[("material", "material")])?),
        ("odometer_note", row(&f, &["odometer_km"], &[])?),
    ];
    rows.retain(|(_, r)| !r.is_empty());
    if known.is_none() {
        // An invalid row must not leave half a car behind: all rows are judged together first.
        let judged: Vec<_> = rows
            .iter()
            .map(|(t, r)| crate::state::ToldRow {
                entry: shop::Entry {
                    id: form.clone(),
                    subject: on_car(),
                    version: 1,
                    happened_ms: now,
                    recorded_ms: now,
                    by: by.clone(),
                    corrects: None,
                    what: What::CarOpened {},
                },
                table: (*t).to_owned(),
                row: Value::Object(r.clone()),
                job: Some(job.clone()),
                file: None,
            })
            .collect();
        crate::state::read_case(&judged, Some(&job)).map_err(Fail::Facts)?;
        bench.add(fact("opened", on_car(), What::CarOpened {})).await?;
    }
    for (table, r) in rows {
        bench.add(fact(table, on_car(), told(table, r))).await?;
    }
    let keeper = Keeper {
        plate: f.text("plate").to_owned(),
        words: f.text("words").to_owned(),
        owner: f.text("owner").to_owned(),
        contact: f.text("contact").to_owned(),
    };
    bench.put("keeper", car.as_str(), &keeper.sought(), &keeper, &by).await?;
    if !f.text("complaint").is_empty() {
        bench.put("complaint", job.as_str(), f.text("complaint"), &f.text("complaint"), &by).await?;
    }
    let answers = f.starting("t.");
    let triage = answers
        .iter()
        .filter(|(_, v)| v.as_str() != "unknown")
        .map(|(k, v)| (k.clone(), v == "yes"))
        .collect();
    let on_job = || Subject::Job(job.clone());
    bench.add(fact("job", on_job(), What::JobOpened { car: car.clone(), triage })).await?;
    if let Some(why) = lock(&answers) {
        bench.add(fact("lock", on_job(), What::Locked { why: why.into() })).await?;
    }
    Ok(on_to(&format!("/job/{job}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_the_first_yes_decides_and_an_unknown_fluid_is_a_yes() {
        let of = |list: &[(&str, &str)]| {
            lock(&list.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect())
        };
        assert_eq!(of(&[("wrong_fluid", "no"), ("oil_or_noise", "no"), ("leak", "no")]), None);
        assert_eq!(of(&[("wrong_fluid", "unknown")]), Some("wrong_fluid"));
        assert_eq!(of(&[]), Some("wrong_fluid"));
        assert_eq!(of(&[("wrong_fluid", "no"), ("leak", "yes")]), Some("leak"));
        assert_eq!(of(&[("wrong_fluid", "no"), ("soot_over_limit", "unknown")]), None);
    }
}
