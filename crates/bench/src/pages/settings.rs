//! Settings: the workshop's own figures and its price list.

use super::{Answer, on_to, signer};
use crate::form::Form;
use crate::page::{Page, Place, field, words_field};
use crate::state::{Bench, Workshop};
use crate::who::Who;
use crate::words::Lang;
use axum::extract::State;
use axum::response::IntoResponse;
use maud::html;
use std::collections::BTreeSet;

fn text(x: f64, lang: Lang) -> String {
    let t = format!("{x}");
    if lang == Lang::De { t.replace('.', ",") } else { t }
}

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who) -> Answer {
    let people = bench.people().await?;
    let lang = who.lang;
    let w = bench.workshop().await?;
    let prices = bench.prices().await?.price;
    let ids: BTreeSet<&str> = bench
        .rules()
        .procedures
        .procedure
        .iter()
        .flat_map(|p| &p.step)
        .flat_map(|s| s.parts.iter().chain(&s.fluids))
        .map(String::as_str)
        .collect();
    let some = |x: Option<f64>| x.map(|x| text(x, lang)).unwrap_or_default();
    let sheet = html! {
        h1 { (lang.t("settings-head")) }
        p.sub { (lang.t("settings-note")) }
        form method="post" action="/settings" {
            div.cols.t16 {
                div.c6 {
                    h2 { (lang.t("settings-workshop")) }
                    (words_field("name", &lang.t("field-workshop"), "", &w.name))
                    (words_field("phone", &lang.t("field-phone"), "", &w.phone))
                    (words_field("currency", &lang.t("field-currency"), "", &w.currency))
                    (field("labour_per_hour", &lang.t("field-labour"), &lang.t("before-tax"), "/ h", &text(w.labour_per_hour, lang)))
                    (field("tax_percent", &lang.t("field-tax"), "", "%", &text(w.tax_percent, lang)))
                    (field("valid_days", &lang.t("field-valid"), "", "d", &w.valid_days.to_string()))
                }
                div.c6 {
                    h2 { (lang.t("settings-fill")) }
                    p.sub { (lang.t("settings-fill-note")) }
                    (field("bore_mm", &lang.t("field-bore"), "", "mm", &some(w.bore_mm)))
                    (field("tube_m", &lang.t("field-tube"), "", "m", &some(w.tube_m)))
                    (field("head_cm", &lang.t("field-head"), "", "cm", &some(w.head_cm)))
                    (field("bottle_cm2", &lang.t("field-bottle"), "", "cm²", &some(w.bottle_cm2)))
                    h2.t24 { (lang.t("settings-prices")) }
                    p.sub { (lang.t("before-tax")) }
                    @for id in ids { (field(&format!("price.{id}"), lang.k(&id.replace('_', " ")), "", &w.currency, &some(prices.get(id).copied()))) }
                }
            }
            div.stack.t24 { button.btn.go { (lang.t("keep")) } }
        }
    };
    Ok(Page::new(&who, &people, lang.t("room-settings"), Place::Duty).draw(&sheet).into_response())
}

/// Keeps the settings, with an audit row for each that changed.
pub async fn put(State(bench): State<Bench>, who: Who, axum::Form(f): axum::Form<Form>) -> Answer {
    let by = signer(&who)?;
    let range = |name: &str, most: f64| match f.number(name)? {
        Some(x) if !(0.0..=most).contains(&x) => {
            Err(crate::Fail::Field(name.to_owned(), f.text(name).to_owned()))
        }
        other => Ok(other),
    };
    let new = Workshop {
        name: f.text("name").to_owned(),
        phone: f.text("phone").to_owned(),
        currency: f.owed("currency")?,
        labour_per_hour: range("labour_per_hour", 1e4)?.unwrap_or(0.0),
        tax_percent: range("tax_percent", 100.0)?.unwrap_or(0.0),
        valid_days: range("valid_days", 3650.0)?.unwrap_or(14.0) as u32,
        bore_mm: range("bore_mm", 50.0)?,
        tube_m: range("tube_m", 20.0)?,
        head_cm: range("head_cm", 500.0)?,
        bottle_cm2: range("bottle_cm2", 2000.0)?,
    };
    if new != bench.workshop().await? {
        bench.put("setting", "workshop", "", &new, &by).await?;
    }
    let old = bench.prices().await?.price;
    for id in f.0.keys().filter_map(|k| k.strip_prefix("price.")) {
        let price = range(&format!("price.{id}"), 1e6)?;
        if price != old.get(id).copied()
            && let Some(p) = price
        {
            bench.put("price", id, id, &p, &by).await?;
        }
    }
    Ok(on_to("/settings"))
}
