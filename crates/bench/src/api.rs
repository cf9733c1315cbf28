//! The same for programs: versioned JSON under `/api/v1`, its OpenAPI document made from this code, and a page
//! that a person can read.

use crate::fail::Fail;
use crate::page::{Page, Place};
use crate::state::Bench;
use crate::who::Who;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Json, Router};
use maud::html;
use schemars::generate::SchemaSettings;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use shop::record::Entry;
use shop::{Id, Subject, What};
use std::sync::LazyLock;
use store::{New, Standing};
use utoipa::{IntoParams, OpenApi, ToSchema};

/// A fact to be added.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewFact {
    /// Identifier, made by the sender: a UUID, version 7. A second send of the same fact does nothing.
    #[schema(format = "uuid")]
    pub id: String,
    /// How many facts of the subject the sender knew. Another count is a conflict. Left out: on top of what is there.
    pub expected_version: Option<u64>,
    /// When it happened, RFC 3339. Left out: now.
    #[schema(format = "date-time")]
    pub happened: Option<String>,
    /// The person who signs it.
    #[schema(format = "uuid")]
    pub by: String,
    /// The fact that this one replaces.
    #[schema(format = "uuid")]
    pub corrects: Option<String>,
    /// What it says: an object with `kind`, see the schema `What`.
    #[schema(value_type = Object)]
    pub what: Value,
}

/// A fact as it is kept.
#[derive(Debug, Serialize, ToSchema)]
pub struct Fact {
    /// The fact: identifier, subject, version, times, who signed it, what it says.
    #[schema(value_type = Object)]
    pub entry: Value,
    /// Hash over the hash before and this fact.
    pub hash: String,
    /// It was there already, nothing was done.
    pub repeated: bool,
}

/// Where a subject stands.
#[derive(Debug, Serialize, ToSchema)]
pub struct Stand {
    /// Identifier.
    pub id: String,
    /// Number of its facts.
    pub version: u64,
    /// A job's car.
    pub car: Option<String>,
    /// Not handed over yet; not blocked.
    pub open: bool,
    /// When it was opened, ms since 1970-01-01 UTC.
    pub opened_ms: i64,
    /// When its newest fact was recorded, ms since 1970-01-01 UTC.
    pub changed_ms: i64,
}

/// A person.
#[derive(Debug, Serialize, ToSchema)]
pub struct PersonOut {
    /// Identifier.
    pub id: String,
    /// Name.
    pub name: String,
    /// No longer here.
    pub left: bool,
}

/// A figure with its interval.
#[derive(Debug, Serialize, ToSchema)]
pub struct Figure {
    /// 5 % quantile.
    pub p05: f64,
    /// Median.
    pub p50: f64,
    /// 95 % quantile.
    pub p95: f64,
    /// Whether the facts tell it; if not, this is the prior and no answer.
    pub told: bool,
}

/// The answer to a car's facts.
#[derive(Debug, Serialize, ToSchema)]
pub struct AnswerOut {
    /// Soot, g per L of filter.
    pub soot_load_g_per_l: Figure,
    /// Ash, g per L of filter.
    pub ash_load_g_per_l: Figure,
    /// What the sensor shows at no flow, kPa.
    pub zero_kpa: Figure,
    /// Additive left, L.
    pub additive_left_l: Option<Figure>,
    /// Fault sets with their probability, the likeliest first; an empty set is no fault.
    pub fault_sets: Vec<FaultSetOut>,
    /// Whether the facts tell the fault set.
    pub fault_set_told: bool,
    /// `safe`, `not_shown_safe` or `unsafe`: a service regeneration.
    pub service_regeneration: String,
}

/// A fault set.
#[derive(Debug, Serialize, ToSchema)]
pub struct FaultSetOut {
    /// Faults by identifier.
    pub faults: Vec<String>,
    /// Probability.
    pub probability: f64,
}

/// What the check of the chain found.
#[derive(Debug, Serialize, ToSchema)]
pub struct Verified {
    /// Facts whose hash is right.
    pub facts: u64,
    /// Seals that fit their job and the seal before.
    pub seals: u64,
}

/// A problem (RFC 9457).
#[derive(Debug, Serialize, ToSchema)]
pub struct Problem {
    /// Address of the kind's description.
    pub r#type: String,
    /// The kind in words.
    pub title: String,
    /// Status.
    pub status: u16,
    /// What went wrong and what to do.
    pub detail: String,
}

/// What to list.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Listing {
    /// Open ones only.
    open: Option<bool>,
    /// Opened before this instant, ms since 1970-01-01 UTC.
    before_ms: Option<i64>,
    /// How many at most: 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    count: Option<u32>,
}

#[derive(OpenApi)]
#[openapi(
    info(
        title = "sootwright bench",
        version = "1",
        description = "Everything the pages do, for programs. Reads and adds facts of the workshop's records; never speaks to a vehicle."
    ),
    paths(
        list_jobs,
        one_job,
        job_facts,
        add_to_job,
        list_cars,
        one_car,
        car_facts,
        add_to_car,
        car_answer,
        list_due,
        find,
        list_lots,
        lot_facts,
        add_to_lot,
        list_people,
        verified
    ),
    components(schemas(
        NewFact,
        Fact,
        Stand,
        DueOut,
        ComingOut,
        Found,
        PersonOut,
        Figure,
        AnswerOut,
        FaultSetOut,
        Verified,
        Problem
    ))
)]
struct Document;

/// The document, with the kinds of facts as `shop` defines them.
static DOCUMENT: LazyLock<Value> = LazyLock::new(|| {
    let mut document = serde_json::to_value(Document::openapi()).unwrap_or_default();
    let settings = SchemaSettings::draft2020_12().with(|s| s.definitions_path = "/components/schemas".into());
    let mut generator = settings.into_generator();
    generator.subschema_for::<What>();
    generator.subschema_for::<Entry>();
    let kinds = generator.take_definitions(true);
    if let Some(schemas) = document.pointer_mut("/components/schemas").and_then(Value::as_object_mut) {
        for (name, schema) in kinds {
            schemas.insert(name, schema);
        }
        for (of, field, name) in [("NewFact", "what", "What"), ("Fact", "entry", "Entry")] {
            if let Some(place) =
                schemas.get_mut(of).and_then(|s| s.pointer_mut(&format!("/properties/{field}")))
            {
                *place = json!({ "$ref": format!("#/components/schemas/{name}") });
            }
        }
    }
    every_refusal(&mut document);
    document
});

/// What every operation may answer beside what it says itself: a path or query that cannot be read, a body too large.
fn every_refusal(document: &mut Value) {
    let problem = json!({
        "description": "The request cannot be read",
        "content": { "application/problem+json": { "schema": { "$ref": "#/components/schemas/Problem" } } },
    });
    let paths = document.get_mut("paths").and_then(Value::as_object_mut);
    for (method, op) in paths.into_iter().flatten().filter_map(|p| p.1.as_object_mut()).flatten() {
        let Some(responses) = op.get_mut("responses").and_then(Value::as_object_mut) else { continue };
        responses.entry("400").or_insert_with(|| problem.clone());
        if method == "post" {
            responses.entry("413").or_insert_with(|| problem.clone());
        }
    }
}

/// Routes of the interface.
pub fn router() -> Router<Bench> {
    Router::new()
        .route("/api/v1/openapi.json", get(async || Json(DOCUMENT.clone())))
        .route("/api/v1/jobs", get(list_jobs))
        .route("/api/v1/jobs/{id}", get(one_job))
        .route("/api/v1/jobs/{id}/facts", get(job_facts).post(add_to_job))
        .route("/api/v1/cars", get(list_cars))
        .route("/api/v1/cars/{id}", get(one_car))
        .route("/api/v1/cars/{id}/facts", get(car_facts).post(add_to_car))
        .route("/api/v1/cars/{id}/answer", get(car_answer))
        .route("/api/v1/due", get(list_due))
        .route("/api/v1/find", get(find))
        .route("/api/v1/lots", get(list_lots))
        .route("/api/v1/lots/{id}/facts", get(lot_facts).post(add_to_lot))
        .route("/api/v1/people", get(list_people))
        .route("/api/v1/verify", get(verified))
}

fn id(text: &str) -> Result<Id, Fail> {
    Id::parse(text).map_err(|_| Fail::NotFound)
}

fn stand(s: &Standing) -> Stand {
    Stand {
        id: s.subject.id().to_string(),
        version: s.version,
        car: s.about.as_ref().map(ToString::to_string),
        open: s.open,
        opened_ms: s.opened_ms,
        changed_ms: s.changed_ms,
    }
}

async fn list(bench: &Bench, kind: &str, l: &Listing) -> Result<Vec<Stand>, Fail> {
    let count = count(l.count)?;
    let found = if l.open == Some(true) {
        let mut open = bench.records().open(kind).await?;
        open.retain(|s| l.before_ms.is_none_or(|b| s.opened_ms < b));
        open.truncate(count as usize);
        open
    } else {
        bench.records().newest(kind, l.before_ms.unwrap_or(i64::MAX), count).await?
    };
    Ok(found.iter().map(stand).collect())
}

async fn facts_of(bench: &Bench, subject: Subject) -> Result<Json<Vec<Fact>>, Fail> {
    let facts = bench.records().facts(&subject).await?;
    if facts.is_empty() {
        return Err(Fail::NotFound);
    }
    Ok(Json(
        facts
            .into_iter()
            .map(|f| Fact {
                entry: serde_json::to_value(&f.entry).unwrap_or_default(),
                hash: f.hash,
                repeated: false,
            })
            .collect(),
    ))
}

async fn add(bench: &Bench, subject: Subject, new: NewFact) -> Result<Json<Fact>, Fail> {
    let bad = |name: &str, text: &str| Fail::Field(name.to_owned(), text.to_owned());
    let now = bench.now_ms();
    let by = Id::parse(&new.by).map_err(|_| bad("by", &new.by))?;
    if !bench.people().await?.contains_key(&by) {
        return Err(bad("by", &new.by));
    }
    let happened_ms = match &new.happened {
        None => now,
        Some(t) => t.parse::<jiff::Timestamp>().map_err(|_| bad("happened", t))?.as_millisecond(),
    };
    let what: What =
        serde_json::from_value(new.what).map_err(|e| Fail::Field("what".into(), e.to_string()))?;
    let corrects = match &new.corrects {
        None => None,
        Some(c) => Some(Id::parse(c).map_err(|_| bad("corrects", c))?),
    };
    let added = bench
        .add(New {
            id: Id::parse(&new.id).map_err(|_| bad("id", &new.id))?,
            subject,
            expected: new.expected_version,
            happened_ms,
            recorded_ms: now,
            by,
            corrects,
            what,
        })
        .await?;
    Ok(Json(Fact {
        entry: serde_json::to_value(&added.chained.entry).unwrap_or_default(),
        hash: added.chained.hash,
        repeated: added.repeated,
    }))
}

/// Jobs, the newest first.
#[utoipa::path(get, path = "/api/v1/jobs", params(Listing), responses((status = 200, body = Vec<Stand>), (status = 400, body = Problem, content_type = "application/problem+json")))]
async fn list_jobs(State(b): State<Bench>, Query(l): Query<Listing>) -> Result<Json<Vec<Stand>>, Fail> {
    Ok(Json(list(&b, "job", &l).await?))
}

/// A job as its facts leave it: steps, what is missing, looks, weights, values.
#[utoipa::path(get, path = "/api/v1/jobs/{id}", params(("id" = String, Path)), responses((status = 200, body = Object), (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn one_job(State(b): State<Bench>, Path(i): Path<String>) -> Result<Json<Value>, Fail> {
    let v = b.job(&id(&i)?).await?;
    let now = b.now_ms();
    let held: Vec<Value> = v
        .job
        .steps
        .iter()
        .filter(|s| !s.settled())
        .flat_map(|s| {
            let list = v.job.conditions(&s.step, now, b.rules(), &v.needs);
            list.into_iter()
                .filter(|c| c.lack.is_some())
                .map(move |c| json!({ "step": s.step.id, "interlock": c.interlock.id, "lacks": c.lack }))
        })
        .collect();
    Ok(Json(json!({ "id": v.id, "car": v.car.id, "job": v.job, "held": held })))
}

/// The facts of a job, in their order.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/facts", params(("id" = String, Path)), responses((status = 200, body = Vec<Fact>), (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn job_facts(State(b): State<Bench>, Path(i): Path<String>) -> Result<Json<Vec<Fact>>, Fail> {
    facts_of(&b, Subject::Job(id(&i)?)).await
}

/// Adds a fact to a job. Interlocks hold here as on the pages.
#[utoipa::path(post, path = "/api/v1/jobs/{id}/facts", params(("id" = String, Path)), request_body = NewFact, responses((status = 200, body = Fact), (status = 400, body = Problem, content_type = "application/problem+json"), (status = 404, body = Problem, content_type = "application/problem+json"), (status = 409, body = Problem, content_type = "application/problem+json"), (status = 415, body = Problem, content_type = "application/problem+json"), (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn add_to_job(
    State(b): State<Bench>,
    Path(i): Path<String>,
    Json(new): Json<NewFact>,
) -> Result<Json<Fact>, Fail> {
    add(&b, Subject::Job(id(&i)?), new).await
}

/// Cars, the newest first.
#[utoipa::path(get, path = "/api/v1/cars", params(Listing), responses((status = 200, body = Vec<Stand>), (status = 400, body = Problem, content_type = "application/problem+json")))]
async fn list_cars(State(b): State<Bench>, Query(l): Query<Listing>) -> Result<Json<Vec<Stand>>, Fail> {
    Ok(Json(list(&b, "car", &l).await?))
}

/// When something falls due.
#[derive(Debug, Serialize, ToSchema)]
pub struct ComingOut {
    /// `additive`, `ash` or `soot`.
    pub what: String,
    /// Early end, ms since 1970-01-01 UTC; early to late holds eight times in ten.
    pub from_ms: i64,
    /// Middle.
    pub middle_ms: i64,
    /// Late end.
    pub to_ms: i64,
}

/// A car that falls due.
#[derive(Debug, Serialize, ToSchema)]
pub struct DueOut {
    /// Car.
    pub car: String,
    /// Its place in the list: send it with the car as `from` and `after` to read on behind it.
    pub rank: i64,
    /// Additive left, L: 5, 50 and 95 % quantile.
    pub left_l: Option<Vec<f64>>,
    /// What comes, the nearest first.
    pub coming: Vec<ComingOut>,
}

/// Where to read on.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Behind {
    /// Rank of the last car read.
    from: Option<i64>,
    /// The last car read.
    after: Option<String>,
    /// How many at most: 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    count: Option<u32>,
}

fn count(asked: Option<u32>) -> Result<u32, Fail> {
    let count = asked.unwrap_or(50);
    if (1..=500).contains(&count) {
        Ok(count)
    } else {
        Err(Fail::Request("count lies between 1 and 500".into()))
    }
}

/// Every car that falls due, the first due first.
#[utoipa::path(get, path = "/api/v1/due", params(Behind), responses((status = 200, body = Vec<DueOut>)))]
async fn list_due(State(b): State<Bench>, Query(q): Query<Behind>) -> Result<Json<Vec<DueOut>>, Fail> {
    let from = (q.from.unwrap_or(i64::MIN), q.after.as_deref().unwrap_or_default());
    let rows = b.due_from(from, count(q.count)?).await?;
    let out = |r: crate::windows::Row| DueOut {
        car: r.car.to_string(),
        rank: r.rank,
        left_l: r.due.left_l.map(|l| l.to_vec()),
        coming: r
            .due
            .coming
            .into_iter()
            .map(|c| ComingOut { what: c.what, from_ms: c.from_ms, middle_ms: c.middle_ms, to_ms: c.to_ms })
            .collect(),
    };
    Ok(Json(rows.into_iter().map(out).collect()))
}

/// A car found by its plate.
#[derive(Debug, Serialize, ToSchema)]
pub struct Found {
    /// Car.
    pub car: String,
    /// Number plate.
    pub plate: String,
    /// The car in words.
    pub words: String,
}

/// What to look for.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Sought {
    /// A plate or a part of one.
    q: String,
    /// How many at most: 1 to 500.
    #[param(minimum = 1, maximum = 500)]
    count: Option<u32>,
}

/// Cars by plate.
#[utoipa::path(get, path = "/api/v1/find", params(Sought), responses((status = 200, body = Vec<Found>)))]
async fn find(State(b): State<Bench>, Query(q): Query<Sought>) -> Result<Json<Vec<Found>>, Fail> {
    let rows = b.records().find("keeper", &crate::state::search_word(&q.q), count(q.count)?).await?;
    let found = |r: store::Plain| {
        let k: crate::state::Keeper = serde_json::from_str(&r.body).ok()?;
        Some(Found { car: r.id, plate: k.plate, words: k.words })
    };
    Ok(Json(rows.into_iter().filter_map(found).collect()))
}

/// A car: its case as the facts leave it.
#[utoipa::path(get, path = "/api/v1/cars/{id}", params(("id" = String, Path)), responses((status = 200, body = Object), (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn one_car(State(b): State<Bench>, Path(i): Path<String>) -> Result<Json<Value>, Fail> {
    let c = b.car(&id(&i)?, None).await?;
    Ok(Json(json!({
        "id": c.id, "version": c.version, "plate": c.keeper.plate, "words": c.keeper.words,
        "case": c.case, "warnings": c.warnings,
    })))
}

/// The facts of a car, in their order.
#[utoipa::path(get, path = "/api/v1/cars/{id}/facts", params(("id" = String, Path)), responses((status = 200, body = Vec<Fact>), (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn car_facts(State(b): State<Bench>, Path(i): Path<String>) -> Result<Json<Vec<Fact>>, Fail> {
    facts_of(&b, Subject::Car(id(&i)?)).await
}

/// Adds a fact to a car: a row of a case file.
#[utoipa::path(post, path = "/api/v1/cars/{id}/facts", params(("id" = String, Path)), request_body = NewFact, responses((status = 200, body = Fact), (status = 400, body = Problem, content_type = "application/problem+json"), (status = 404, body = Problem, content_type = "application/problem+json"), (status = 409, body = Problem, content_type = "application/problem+json"), (status = 415, body = Problem, content_type = "application/problem+json"), (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn add_to_car(
    State(b): State<Bench>,
    Path(i): Path<String>,
    Json(new): Json<NewFact>,
) -> Result<Json<Fact>, Fail> {
    add(&b, Subject::Car(id(&i)?), new).await
}

fn figure(e: infer::assessment::Estimate) -> Figure {
    Figure { p05: e.p05, p50: e.p50, p95: e.p95, told: e.told }
}

/// The answer to a car's facts.
#[utoipa::path(get, path = "/api/v1/cars/{id}/answer", params(("id" = String, Path)), responses((status = 200, body = AnswerOut), (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn car_answer(State(b): State<Bench>, Path(i): Path<String>) -> Result<Json<AnswerOut>, Fail> {
    use infer::safety::Verdict;
    let c = b.car(&id(&i)?, None).await?;
    let a = b.answer(&c).await?;
    Ok(Json(AnswerOut {
        soot_load_g_per_l: figure(a.filter.soot_load_g_per_l),
        ash_load_g_per_l: figure(a.filter.ash_load_g_per_l),
        zero_kpa: figure(a.filter.zero_kpa),
        additive_left_l: a.additive.as_ref().map(|x| figure(x.left_l)),
        fault_sets: a
            .fault_sets
            .iter()
            .filter(|s| s.probability > 1e-4)
            .map(|s| FaultSetOut {
                faults: s.faults.iter().map(|f| f.id().to_owned()).collect(),
                probability: s.probability,
            })
            .collect(),
        fault_set_told: a.fault_set_told,
        service_regeneration: match a.regeneration.service {
            Verdict::Safe => "safe",
            Verdict::NotShownSafe => "not_shown_safe",
            Verdict::Unsafe => "unsafe",
        }
        .into(),
    }))
}

/// Lots, the newest first.
#[utoipa::path(get, path = "/api/v1/lots", params(Listing), responses((status = 200, body = Vec<Stand>), (status = 400, body = Problem, content_type = "application/problem+json")))]
async fn list_lots(State(b): State<Bench>, Query(l): Query<Listing>) -> Result<Json<Vec<Stand>>, Fail> {
    Ok(Json(list(&b, "lot", &l).await?))
}

/// The facts of a lot, in their order.
#[utoipa::path(get, path = "/api/v1/lots/{id}/facts", params(("id" = String, Path)), responses((status = 200, body = Vec<Fact>), (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn lot_facts(State(b): State<Bench>, Path(i): Path<String>) -> Result<Json<Vec<Fact>>, Fail> {
    facts_of(&b, Subject::Lot(id(&i)?)).await
}

/// Adds a fact to a lot.
#[utoipa::path(post, path = "/api/v1/lots/{id}/facts", params(("id" = String, Path)), request_body = NewFact, responses((status = 200, body = Fact), (status = 400, body = Problem, content_type = "application/problem+json"), (status = 404, body = Problem, content_type = "application/problem+json"), (status = 409, body = Problem, content_type = "application/problem+json"), (status = 415, body = Problem, content_type = "application/problem+json"), (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn add_to_lot(
    State(b): State<Bench>,
    Path(i): Path<String>,
    Json(new): Json<NewFact>,
) -> Result<Json<Fact>, Fail> {
    add(&b, Subject::Lot(id(&i)?), new).await
}

/// Everybody who works or worked here.
#[utoipa::path(get, path = "/api/v1/people", responses((status = 200, body = Vec<PersonOut>)))]
async fn list_people(State(b): State<Bench>) -> Result<Json<Vec<PersonOut>>, Fail> {
    let people = b.people().await?;
    Ok(Json(
        people
            .into_iter()
            .map(|(id, p)| PersonOut { id: id.to_string(), name: p.name, left: p.left })
            .collect(),
    ))
}

/// Checks every chain and every seal.
#[utoipa::path(get, path = "/api/v1/verify", responses((status = 200, body = Verified), (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn verified(State(b): State<Bench>) -> Result<Json<Verified>, Fail> {
    let (facts, seals) = b.records().verify().await?;
    Ok(Json(Verified { facts, seals }))
}

/// The document as a page.
pub async fn reference(State(bench): State<Bench>, who: Who) -> Result<Response, Fail> {
    let people = bench.people().await?;
    let lang = who.lang;
    let text = |v: &Value, key: &str| v.get(key).and_then(Value::as_str).unwrap_or_default().to_owned();
    let empty = serde_json::Map::new();
    let paths = DOCUMENT.get("paths").and_then(Value::as_object).unwrap_or(&empty);
    let schemas = DOCUMENT.pointer("/components/schemas").and_then(Value::as_object).unwrap_or(&empty);
    let kinds = schemas.get("What").and_then(|w| w.get("oneOf")).and_then(Value::as_array);
    let sheet = html! {
        h1 { (lang.t("api-head")) }
        p.sub { (lang.t("api-note")) " " a href="/api/v1/openapi.json" { "openapi.json" } }
        div.tscroll tabindex="0" role="region" aria-label=(lang.t("api-head")) { table.t16 {
            thead { tr { th { (lang.t("api-method")) } th { (lang.t("api-path")) } th { (lang.t("api-what")) } } }
            tbody lang="en" { @for (path, of) in paths { @for (method, op) in of.as_object().unwrap_or(&empty) {
                tr { td.draw { (method.to_uppercase()) } td.draw { (path) } td { (text(op, "summary")) (text(op, "description")) } }
            } } }
        } }
        div.sec {
            h2 { (lang.t("api-kinds")) }
            dl.kinds lang="en" { @for k in kinds.into_iter().flatten() {
                dt.draw { (k.pointer("/properties/kind/const").and_then(Value::as_str).unwrap_or_default()) }
                dd { (text(k, "description")) " "
                    @for (name, p) in k.get("properties").and_then(Value::as_object).unwrap_or(&empty).iter().filter(|(n, _)| *n != "kind") { span.say2 { b.draw { (name) } " " (text(p, "description")) " " } }
                }
            } }
        }
        div.sec {
            h2 { (lang.t("api-problems")) }
            dl.kinds { @for kind in ["not-found", "nobody-on-duty", "field", "facts", "upload", "request", "conflict", "identifier-taken", "refused", "unreadable", "machine"] {
                dt.draw #{ "problem-" (kind) } { (kind) } dd { (lang.t(&format!("fail-head-{kind}"))) }
            } }
        }
    };
    Ok(Page::new(&who, &people, lang.t("room-api"), Place::Find).draw(&sheet).into_response())
}
