//! The tag for the key of a car that must not be started: one sheet, read from across the yard.

use super::{Answer, path_id};
use crate::fail::Fail;
use crate::marks::Mark;
use crate::page::{Page, Place, name, plate};
use crate::state::Bench;
use crate::who::Who;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use maud::html;

/// The sheet; there is none for a car that may be started.
pub async fn page(State(bench): State<Bench>, who: Who, Path(id): Path<String>) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    let Some((hand, why)) = &v.job.lock else { return Err(Fail::NotFound) };
    let people = bench.people().await?;
    let workshop = bench.workshop().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let why = why.replace('_', "-");
    let sheet = html! {
        div.a4 {
            div.tagstop { (Mark::Stop.drawn()) p.tagwords { (lang.t("tag-words")) } }
            p.num.draw.t24 { (plate(&v.car.keeper, lang)) }
            p.lead { (v.car.keeper.words) }
            h1.t24 { (lang.t(&format!("lock-{why}-short"))) }
            p.lead.t16 { (lang.t(&format!("lock-{why}-why"))) }
            div.caution.t24 { (Mark::Stop.drawn()) p { b { (lang.t("tag-key")) } " " (lang.t("tag-lift")) } }
            div.stamp.t24 {
                div { small { (lang.t("tag-by")) } (name(&people, &hand.by, lang)) }
                div { small { (lang.t("col-when")) } (lang.when(hand.at_ms, now)) }
                div { small { (lang.t("tag-workshop")) } (workshop.name) }
                div { small { (lang.t("field-contact")) } (workshop.phone) }
            }
            div.signs.cols.t24 { div.c6 { div.sign {} p.lab { (lang.t("tag-lifted-by")) } } div.c6 { div.sign {} p.lab { (lang.t("tag-because")) } } }
            p.noprint.t24 { a.btn href={ "/job/" (v.id) "/steps" } { (lang.t("station-steps")) } }
        }
    };
    Ok(Page::new(&who, &people, lang.t("tag-words"), Place::Car)
        .hands()
        .job(&v, None)
        .draw(&sheet)
        .into_response())
}
