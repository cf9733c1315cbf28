//! A car: its facts, its balance, its jobs; facts can be added here at any time.

use super::{Answer, add, on_to, path_id, signer};
use crate::args;
use crate::fail::Fail;
use crate::form::Form;
use crate::marks::Mark;
use crate::page::{Page, Place, hidden, name, words_field};
use crate::state::{Bench, CarView, Keeper, People};
use crate::who::Who;
use crate::words::{Lang, num, typed};
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use maud::{Markup, html};
use serde_json::{Map, Value, json};
use shop::{Subject, What};

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who, Path(id): Path<String>) -> Answer {
    let car = bench.car(&path_id(&id)?, None).await?;
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let jobs = bench.records().jobs_of(&car.id).await?;
    let a = bench.answer(&car).await?;
    let open = jobs.iter().find(|j| j.open);
    let sheet = html! {
        (super::readings::answer(&bench, &car.warnings, &a, lang))
        div.pair.t16 {
            @match open {
                Some(j) => a.btn.go href={ "/job/" (j.subject.id()) } { (Mark::Now.drawn()) (lang.t("car-resume")) },
                None => a.btn.go href={ "/take-in?car=" (car.id) } { (Mark::Now.drawn()) (lang.t("room-take-in")) },
            }
        }
        div.sec.life {
            h2 { (lang.t("car-life")) }
            @if car.odometer_km().is_none() { p.sub { (lang.t("car-life-none")) } }
            (bench.house().life(lang, &a, &car.cases()))
            @for words in super::due_words(&a, lang) { p.sub { (words) } }
        }
        @if let Some(b) = &a.additive {
            div.sec {
                h2 { (lang.t("car-balance")) }
                (bench.house().balance(lang, b))
            }
        }
        div.sec { (bench.house().pressure(lang, &a)) (super::readings::regeneration(&a, lang)) }
        div.sec {
            h2 { (lang.t("car-jobs")) }
            table {
                thead { tr { th { (lang.t("col-opened")) } th { (lang.t("col-state")) } th.n { (lang.t("col-facts")) } } }
                tbody { @for j in &jobs { tr {
                    td { a href={ "/job/" (j.subject.id()) } { (lang.when(j.opened_ms, now)) } }
                    td { (lang.t(if j.open { "job-open" } else { "job-closed" })) }
                    td.n { (j.version) }
                } } }
            }
        }
        div.sec {
            h2 { (lang.t("car-facts")) }
            p.sub { (lang.t("car-facts-note")) }
            (facts(&car, &people, lang, now))
        }
        (tell_forms(&car, lang))
        details.sec {
            summary { h2 { (lang.t("car-keeper")) } }
            p.sub { (lang.t("car-keeper-note")) }
            form.act method="post" action={ "/car/" (car.id) "/keeper" } data-keep {
                (words_field("plate", &lang.t("field-plate"), "", &car.keeper.plate))
                (words_field("words", &lang.t("field-car-words"), &lang.t("field-car-words-note"), &car.keeper.words))
                (words_field("owner", &lang.t("field-owner"), "", &car.keeper.owner))
                (words_field("contact", &lang.t("field-contact"), "", &car.keeper.contact))
                div.pair.t16 {
                    button.btn name="do" value="keep" { (lang.t("keep")) }
                    button.btn name="do" value="erase" { (lang.t("keeper-erase")) }
                }
            }
        }
    };
    Ok(Page::new(&who, &people, crate::page::plate(&car.keeper, lang), Place::Car)
        .car(&car.id, &car.keeper, car.odometer_km())
        .draw(&sheet)
        .into_response())
}

/// A row of a table in words: its fields with their values.
fn row_words(row: &Value, lang: Lang) -> String {
    let Some(fields) = row.as_object() else { return row.to_string() };
    let list: Vec<String> = fields
        .iter()
        .map(|(k, v)| {
            let value = match v {
                Value::Number(n) => {
                    let text = n.to_string();
                    let text = text.strip_suffix(".0").unwrap_or(&text);
                    if lang == Lang::De { text.replace('.', ",") } else { text.to_owned() }
                }
                Value::String(s) => lang.k(&s.replace('_', " ")).to_owned(),
                Value::Bool(b) => lang.t(if *b { "yes" } else { "no" }),
                other => other.to_string(),
            };
            format!("{} {value}", lang.k(&k.replace('_', " ")))
        })
        .collect();
    list.join(", ")
}

fn facts(car: &CarView, people: &People, lang: Lang, now: i64) -> Markup {
    html! {
        div.tscroll tabindex="0" role="region" aria-label=(lang.t("car-facts")) {
            table {
                thead { tr { th { (lang.t("col-when")) } th { (lang.t("col-what")) } th { (lang.t("col-by")) } } }
                tbody { @for t in car.told.iter().rev().take(60) { tr {
                    td.nb { (lang.when(t.entry.happened_ms, now)) }
                    td { b { (lang.k(&t.table.replace('_', " "))) } ": " (row_words(&t.row, lang)) }
                    td { (name(people, &t.entry.by, lang)) }
                } } }
            }
        }
        @if car.told.len() > 60 { p.sub { (lang.tw("car-facts-more", &args! { "n" => num(car.told.len() as f64 - 60.0, 0) })) } }
    }
}

/// History rows that a workshop is told most often.
fn tell_forms(car: &CarView, lang: Lang) -> Markup {
    let form = |table: &str, inner: Markup| {
        html! {
            details.sec.thin {
                summary { h2 { (lang.t(&format!("tell-{}", table.replace('_', "-")))) } }
                form.act method="post" action={ "/car/" (car.id) "/tell" } data-keep {
                    (hidden(car.version, "told", &format!("/car/{}", car.id)))
                    input type="hidden" name="table" value=(table);
                    (inner)
                    button.btn { (lang.t("tell-do")) }
                }
            }
        }
    };
    let km = |id: &str| {
        html! {
            div.field {
                label for={ "km-" (id) } { b { (lang.t("field-at-odometer")) } }
                span.entry { input id={ "km-" (id) } name="n.odometer_km" inputmode="numeric" autocomplete="off"; span.unit { "km" } }
            }
        }
    };
    let number = |id: &str, name: &str, label: &str, unit: &str| {
        html! {
            div.field {
                label for={ (id) "-" (name) } { b { (lang.t(label)) } }
                span.entry { input id={ (id) "-" (name) } name={ "n." (name) } inputmode="decimal" autocomplete="off"; span.unit { (unit) } }
            }
        }
    };
    html! {
        div.sec { h2 { (lang.t("tell-head")) } p.sub { (lang.t("tell-note")) } }
        (form("refill", html! { (km("refill")) (number("refill", "volume_l", "field-poured", "L")) label.btn.l { input type="checkbox" name="b.full"; span { (lang.t("field-full")) } } label.btn.l { input type="checkbox" name="w.counter_reset" value="yes"; span { (lang.t("field-counter-reset")) } } }))
        (form("oil_change", html! { (km("oil")) (number("oil", "sulfated_ash_percent", "field-sulfated-ash", "%")) }))
        (form("fuel_used", html! { (number("fuel", "since_odometer_km", "field-since-odometer", "km")) (km("fuel")) (number("fuel", "fuel_l", "field-fuel", "L")) }))
        (form("regeneration", html! { (km("regeneration")) (number("regeneration", "duration_min", "field-duration", "min")) }))
        (form("filter_replaced", html! { (km("replaced")) }))
    }
}

/// Tables and fields that a form may tell.
const TELL: [&str; 5] = ["refill", "oil_change", "fuel_used", "regeneration", "filter_replaced"];

/// Adds a history row.
pub async fn tell(
    State(bench): State<Bench>,
    who: Who,
    Path(id): Path<String>,
    axum::Form(f): axum::Form<Form>,
) -> Answer {
    let id = path_id(&id)?;
    let table = f.owed("table")?;
    if !TELL.contains(&table.as_str()) {
        return Err(Fail::Field("table".into(), table));
    }
    let mut row = Map::new();
    for (k, v) in f.starting("n.") {
        if let Some(x) = typed(&v).map_err(|t| Fail::Field(k.clone(), t))? {
            row.insert(k, json!(x));
        }
    }
    for (k, v) in f.starting("w.") {
        row.insert(k, v.into());
    }
    for (k, _) in f.starting("b.") {
        row.insert(k, true.into());
    }
    let what = What::Told { table, row: Value::Object(row), job: None, file: None };
    add(&bench, &who, &f, Subject::Car(id.clone()), what).await?;
    Ok(on_to(f.text("back")))
}

/// Changes or erases what is known of a car's keeper.
pub async fn keeper(
    State(bench): State<Bench>,
    who: Who,
    Path(id): Path<String>,
    axum::Form(f): axum::Form<Form>,
) -> Answer {
    let by = signer(&who)?;
    let car = bench.car(&path_id(&id)?, None).await?;
    if f.text("do") == "erase" {
        let row = store::Plain {
            kind: "keeper".into(),
            id: car.id.to_string(),
            word: String::new(),
            body: String::new(),
        };
        bench.records().put(row, true, Some(&by), bench.now_ms()).await?;
        for job in bench.records().jobs_of(&car.id).await? {
            let row = store::Plain {
                kind: "complaint".into(),
                id: job.subject.id().to_string(),
                word: String::new(),
                body: String::new(),
            };
            bench.records().put(row, true, Some(&by), bench.now_ms()).await?;
        }
    } else {
        let keeper = Keeper {
            plate: f.text("plate").to_owned(),
            words: f.text("words").to_owned(),
            owner: f.text("owner").to_owned(),
            contact: f.text("contact").to_owned(),
        };
        bench.put("keeper", car.id.as_str(), &keeper.sought(), &keeper, &by).await?;
    }
    Ok(on_to(&format!("/car/{id}")))
}
