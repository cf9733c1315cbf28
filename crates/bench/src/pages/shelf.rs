//! The shelf: lots, and which cars got one.

use super::{Answer, add, on_to, path_id, signer};
use crate::args;
use crate::fail::Fail;
use crate::form::{Form, derived, scanned};
use crate::marks::Mark;
use crate::page::{Page, Place, field, hidden, plate, words_field};
use crate::state::Bench;
use crate::who::Who;
use crate::words::num;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use maud::html;
use shop::record::counting;
use shop::{Entry, Id, Subject, What};

/// A container on the shelf.
pub struct Lot {
    /// Identifier.
    pub id: Id,
    /// Number of its facts.
    pub version: u64,
    /// Fluid.
    pub fluid: String,
    /// Lot as printed.
    pub lot: String,
    /// Last day of use.
    pub expiry: Option<String>,
    /// Content when it came, mL.
    pub volume_ml: f64,
    /// What went into cars: job, car, mL.
    pub used: Vec<(Id, Id, f64)>,
    /// Why it is blocked.
    pub blocked: Option<String>,
}

impl Lot {
    /// From its facts.
    #[must_use]
    pub fn of(id: Id, entries: &[Entry]) -> Option<Self> {
        let What::LotTaken { fluid, lot, expiry, volume_ml } = &entries.first()?.what else { return None };
        let mut out = Self {
            id,
            version: entries.len() as u64,
            fluid: fluid.clone(),
            lot: lot.clone(),
            expiry: expiry.clone(),
            volume_ml: *volume_ml,
            used: Vec::new(),
            blocked: None,
        };
        for e in counting(entries) {
            match &e.what {
                What::LotUsed { job, car, volume_ml } => {
                    out.used.push((job.clone(), car.clone(), *volume_ml));
                }
                What::LotBlocked { because } => out.blocked = Some(because.clone()),
                _ => {}
            }
        }
        Some(out)
    }

    /// What is left by the book, mL.
    #[must_use]
    pub fn left_ml(&self) -> f64 {
        self.volume_ml - self.used.iter().map(|u| u.2).sum::<f64>()
    }
}

/// Every lot, the first to expire first.
///
/// # Errors
/// When the records cannot be read.
pub async fn lots(bench: &Bench) -> Result<Vec<Lot>, Fail> {
    let mut out = Vec::new();
    for s in bench.records().all("lot").await? {
        let facts = bench.records().facts(&s.subject).await?;
        let entries: Vec<Entry> = facts.into_iter().map(|f| f.entry).collect();
        out.extend(Lot::of(s.subject.id().clone(), &entries));
    }
    let end = |l: &Lot| l.expiry.clone().unwrap_or_else(|| "9999".into());
    out.sort_by_key(end);
    Ok(out)
}

/// The sheet.
pub async fn page(State(bench): State<Bench>, who: Who) -> Answer {
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let today = super::hand_over::date(now);
    let lots = lots(&bench).await?;
    let usable =
        |l: &&Lot| l.blocked.is_none() && l.left_ml() > 1.0 && l.expiry.as_ref().is_none_or(|e| *e >= today);
    let ready: f64 = lots.iter().filter(usable).map(Lot::left_ml).sum();
    let fluid = |id: &str| bench.fluids().get(id).map_or_else(|_| id.to_owned(), |f| f.name.clone());
    let sheet = html! {
        h1 { (lang.tw("shelf-head", &args! { "l" => num(ready / 1000.0, 1), "n" => num(lots.iter().filter(usable).count() as f64, 0) })) }
        p.sub { (lang.t("shelf-note")) }
        div.tscroll tabindex="0" role="region" aria-label=(lang.t("block-shelf")) {
            table.lots.t16 {
                thead { tr { th { (lang.t("field-lot")) } th { (lang.t("col-fluid")) } th { (lang.t("field-expiry")) } th.n { (lang.t("col-left")) } th { (lang.t("col-state")) } } }
                tbody { @for l in &lots { tr {
                    td { a.draw href={ "/lot/" (crate::web::encoded(&l.lot)) } { b { (l.lot) } } }
                    td { (lang.k(&fluid(&l.fluid))) }
                    td.nb { (l.expiry.as_ref().map_or_else(|| "–".to_owned(), |e| lang.date(e))) }
                    td.n {
                        (lang.n(l.left_ml().max(0.0), 0)) " mL"
                        svg.level viewBox="0 0 60 10" width="60" height="10" aria-hidden="true" { rect class="hole" x=".5" y=".5" width="59" height="9" {} rect class="dot" x=".5" y=".5" width=(format!("{:.1}", 59.0 * (l.left_ml() / l.volume_ml.max(1.0)).clamp(0.0, 1.0))) height="9" {} }
                    }
                    td {
                        @if let Some(why) = &l.blocked { span.state.wax { (Mark::Held.drawn()) (lang.t("lot-blocked")) } small.say2 { " " (why) } }
                        @else if l.expiry.as_ref().is_some_and(|e| *e < today) { span.state.wax { (Mark::Held.drawn()) (lang.t("lot-expired")) } }
                        @else if l.left_ml() <= 1.0 { (lang.t("lot-empty")) }
                        @else { (lang.t("lot-ready")) }
                    }
                } } }
            }
        }
        form.sec method="post" action="/shelf" data-keep {
            h2 { (lang.t("shelf-take")) }
            (hidden(0, "lot_taken", "/shelf"))
            div.field.col.t8 {
                label for="fluid" { b { (lang.t("col-fluid")) } }
                select.words-in #fluid name="fluid" required { option value="" { (lang.t("choose")) } @for f in bench.fluids().iter().filter(|f| f.generation.is_some() || f.id == "aus-32") { option value=(f.id) { (lang.k(&f.name)) } } }
            }
            (words_field("code", &lang.t("field-code"), &lang.t("field-code-note"), ""))
            (words_field("lot", &lang.t("field-lot"), "", ""))
            (words_field("expiry", &lang.t("field-expiry"), "2031-05-02", ""))
            (field("volume_ml", &lang.t("field-content"), "", "mL", ""))
            div.stack.t16 { button.btn.go { (lang.t("shelf-take-do")) } }
        }
    };
    Ok(Page::new(&who, &people, lang.t("block-shelf"), Place::Shelf).draw(&sheet).into_response())
}

/// A container comes onto the shelf.
pub async fn take(State(bench): State<Bench>, who: Who, axum::Form(f): axum::Form<Form>) -> Answer {
    signer(&who)?;
    let fluid = f.owed("fluid")?;
    if bench.fluids().get(&fluid).is_err() {
        return Err(Fail::Field("fluid".into(), fluid));
    }
    let (lot, expiry) = match scanned(f.text("code")) {
        Some(s) => (s.lot, s.expiry),
        None => (f.owed("lot")?, Some(f.text("expiry").to_owned()).filter(|e| !e.is_empty())),
    };
    if let Some(e) = &expiry
        && facts::Moment::parse(e).is_err()
    {
        return Err(Fail::Field("expiry".into(), e.clone()));
    }
    let what = What::LotTaken { fluid, lot, expiry, volume_ml: f.owed_number("volume_ml")? };
    let id = derived(&f.id("id")?, "lot");
    add(&bench, &who, &f, Subject::Lot(id), what).await?;
    Ok(on_to("/shelf"))
}

/// Blocks a container.
pub async fn fact(
    State(bench): State<Bench>,
    who: Who,
    Path(id): Path<String>,
    axum::Form(f): axum::Form<Form>,
) -> Answer {
    let what = What::LotBlocked { because: f.owed("because")? };
    add(&bench, &who, &f, Subject::Lot(path_id(&id)?), what).await?;
    Ok(on_to(f.text("back")))
}

/// Which cars got this lot? From looks at fills that were done, and from refill rows.
pub async fn recall(State(bench): State<Bench>, who: Who, Path(lot): Path<String>) -> Answer {
    let people = bench.people().await?;
    let (lang, now) = (who.lang, bench.now_ms());
    let mut rows = Vec::new();
    let mut here = Vec::new();
    for l in lots(&bench).await?.into_iter().filter(|l| l.lot == lot) {
        for (job, car, ml) in &l.used {
            let keeper = bench.keeper(car).await?;
            let at = bench.records().standing(&Subject::Job(job.clone())).await?.map_or(0, |s| s.opened_ms);
            rows.push((job.clone(), keeper, at, *ml));
        }
        here.push(l);
    }
    if here.is_empty() {
        return Err(Fail::NotFound);
    }
    rows.sort_by_key(|r| std::cmp::Reverse(r.2));
    let back = format!("/lot/{}", crate::web::encoded(&lot));
    let sheet = html! {
        h1 { (lang.tw("recall-head", &args! { "lot" => lot.clone(), "n" => num(rows.len() as f64, 0) })) }
        table.t16 {
            thead { tr { th { (lang.t("field-plate")) } th { (lang.t("field-contact")) } th { (lang.t("col-when")) } th.n { (lang.t("field-poured")) } } }
            tbody { @for (job, k, at, ml) in &rows { tr { td { a href={ "/job/" (job) "/proof" } { (plate(k, lang)) } } td { (k.owner) " " (k.contact) } td.nb { (lang.when(*at, now)) } td.n { (lang.n(*ml, 0)) " mL" } } } }
        }
        @for l in &here {
            @if let Some(why) = &l.blocked { p.state.wax.t24 { (Mark::Held.drawn()) (lang.t("lot-blocked")) ": " (why) } }
            @else {
                form.sec.act method="post" action={ "/shelf/" (l.id) "/fact" } data-keep {
                    h2 { (lang.t("lot-block")) }
                    (hidden(l.version, "lot_blocked", &back))
                    div.field.col { label for={ "b-" (l.id) } { b { (lang.t("because-words")) } } input.words-in id={ "b-" (l.id) } name="because" required autocomplete="off"; }
                    button.btn { (lang.t("lot-block-do")) }
                }
            }
        }
        p.sub.t16 { a href="/shelf" { (lang.t("block-shelf")) } }
    };
    Ok(Page::new(&who, &people, lot.clone(), Place::Shelf).draw(&sheet).into_response())
}
