//! Typed readings: the first way in. The answer at the top changes as they are entered.

use super::{Answer, on_to, path_id, signer};
use crate::args;
use crate::fail::Fail;
use crate::form::{Form, derived};
use crate::marks::Mark;
use crate::page::{Page, Place, Station, field, hidden};
use crate::state::{Bench, CarView, JobView, ToldRow, read_case};
use crate::who::Who;
use crate::words::{Lang, num};
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;
use infer::assessment::{Assessment, Estimate};
use maud::{Markup, PreEscaped, html};
use serde_json::{Value, json};
use shop::{Entry, Id, Subject, What};
use store::New;

/// A reading that can be typed.
struct Slot {
    name: &'static str,
    table: &'static str,
    unit: &'static str,
    group: &'static str,
    /// Least and most that is usual: outside, a second look is asked for, nothing is blocked. Common practice.
    usual: (f64, f64),
}

const SLOTS: [Slot; 9] = [
    Slot { name: "key_on", table: "reading", unit: "hPa", group: "gauge", usual: (-5.0, 5.0) },
    Slot { name: "hot_idle", table: "reading", unit: "hPa", group: "gauge", usual: (0.0, 40.0) },
    Slot { name: "held_2500", table: "reading", unit: "hPa", group: "gauge", usual: (2.0, 300.0) },
    Slot { name: "coolant", table: "reading", unit: "°C", group: "gauge", usual: (60.0, 110.0) },
    Slot { name: "controller_soot", table: "reading", unit: "g", group: "controller", usual: (0.0, 60.0) },
    Slot {
        name: "since_regeneration",
        table: "reading",
        unit: "km",
        group: "controller",
        usual: (0.0, 3000.0),
    },
    Slot { name: "additive_left", table: "reading", unit: "mL", group: "controller", usual: (0.0, 5000.0) },
    Slot { name: "fuel_level", table: "reading", unit: "%", group: "controller", usual: (0.0, 100.0) },
    Slot { name: "weighed", table: "reservoir_weighed", unit: "g", group: "scale", usual: (100.0, 6000.0) },
];

/// The row of a case that a typed number makes. `role`: before or after the work.
fn row(slot: &Slot, value: f64, role: &str) -> Value {
    let reading = |point: Option<&str>, quantity: &str, unit: &str| {
        let mut row = json!({ "quantity": quantity, "value": value, "unit": unit, "role": role });
        if let (Some(p), Some(o)) = (point, row.as_object_mut()) {
            o.insert("point".into(), p.into());
            if p == "held" {
                o.insert("engine_speed_rpm".into(), json!(2500.0));
            }
        }
        row
    };
    match slot.name {
        "key_on" => reading(Some("key_on"), "differential_pressure", "hPa"),
        "hot_idle" => reading(Some("hot_idle"), "differential_pressure", "hPa"),
        "held_2500" => reading(Some("held"), "differential_pressure", "hPa"),
        "coolant" => reading(Some("hot_idle"), "coolant_temperature", "degC"),
        "controller_soot" => reading(None, "controller_soot", "g"),
        "since_regeneration" => reading(None, "distance_since_regeneration", "km"),
        "additive_left" => reading(None, "additive_left", "mL"),
        "fuel_level" => reading(None, "fuel_level", "%"),
        _ => json!({ "gross_g": value }),
    }
}

/// Whether a row of the records is this slot's.
fn is_of(slot: &Slot, t: &ToldRow, role: &str) -> bool {
    if t.table != slot.table {
        return false;
    }
    if slot.table == "reservoir_weighed" {
        return true;
    }
    let sample = row(slot, 0.0, role);
    let side = |r: &Value| match r.get("role").and_then(Value::as_str) {
        Some("after") => "after",
        _ => "before",
    };
    let unit = |r: &Value| r.get("unit").and_then(Value::as_str).unwrap_or_default().to_owned();
    let same = ["point", "quantity", "engine_speed_rpm"].iter().all(|k| sample.get(k) == t.row.get(k));
    same && side(&t.row) == role && (unit(&sample) == unit(&t.row) || factor(&unit(&t.row)).is_some())
}

/// Hectopascal in one of a unit of pressure.
fn factor(unit: &str) -> Option<f64> {
    match unit {
        "hPa" | "mbar" => Some(1.0),
        "kPa" => Some(10.0),
        "Pa" => Some(0.01),
        _ => None,
    }
}

/// The number of a row in the unit of its slot.
fn value_of(t: &ToldRow) -> Option<f64> {
    let value = t.row.get("value").or_else(|| t.row.get("gross_g")).and_then(Value::as_f64)?;
    let unit = t.row.get("unit").and_then(Value::as_str).unwrap_or_default();
    Some(value * factor(unit).unwrap_or(1.0))
}

/// Whether what stands in the field is what is kept: a number that went through another unit and back is the same.
fn unchanged(new: Option<f64>, old: Option<f64>) -> bool {
    match (new, old) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-6 * (1.0 + b.abs()),
        (None, None) => true,
        _ => false,
    }
}

fn kept<'a>(v: &'a JobView, slot: &Slot, role: &str) -> Option<&'a ToldRow> {
    v.car.told.iter().rev().find(|t| t.job.as_ref() == Some(&v.id) && is_of(slot, t, role))
}

fn role(f: &Form) -> &'static str {
    if f.text("role") == "after" { "after" } else { "before" }
}

/// The sheet.
pub async fn page(
    State(bench): State<Bench>,
    who: Who,
    Path(id): Path<String>,
    Query(q): Query<Form>,
) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    let people = bench.people().await?;
    let lang = who.lang;
    let role = role(&q);
    let a = bench.answer(&v.car).await?;
    let open = v.job.signed.is_none();
    let sheet = html! {
        @if v.job.lock.is_some() { p.note { b { (lang.t("locked-note")) } " " a href={ "/job/" (v.id) "/steps" } { (lang.t("station-steps")) } } }
        div #answer aria-live="polite" { (answer(&bench, &v.car.warnings, &a, lang)) }
        div.cols.t16 {
            div.c5.fields {
                p.sub { (lang.t(if role == "after" { "readings-after-note" } else { "readings-note" })) }
                form method="post" action={ "/job/" (v.id) "/readings" } data-keep data-live={ "/job/" (v.id) "/readings/try" } {
                    (hidden(v.car.version, "told", &format!("/job/{}/readings?role={role}", v.id)))
                    input type="hidden" name="role" value=(role);
                    @for group in ["gauge", "controller", "scale"] {
                        h2.t24 { (lang.t(&format!("readings-{group}"))) }
                        @for s in SLOTS.iter().filter(|s| s.group == group) {
                            @let id = s.name.replace('_', "-");
                            @let known = kept(&v, s, role);
                            @let value = known.and_then(value_of);
                            (field(s.name, &lang.t(&format!("reading-{id}")), &lang.maybe(&format!("reading-{id}-note")).unwrap_or_default(), s.unit, &value.map(|x| shown(x, lang)).unwrap_or_default()))
                            @if let Some(x) = value && !(s.usual.0..=s.usual.1).contains(&x) {
                                p.unusual { (Mark::Wanted.drawn()) (unusual(s, x, lang)) }
                            }
                        }
                        @if group == "gauge" { p.note { b { (lang.t("held-caution")) } " " (lang.t("held-caution-why")) } }
                    }
                    @if open { div.stack.t24 { button.btn.go { (lang.t("readings-keep")) } } }
                }
            }
            div.c7 {
                (bench.house().pressure(lang, &a))
                (next_readings(&bench, &a, lang))
                (regeneration(&a, lang))
                div.stack.t24 {
                    @if role == "before" { a.btn href={ "/job/" (v.id) "/faults" } { (lang.t("to-faults")) } }
                    @else { a.btn href={ "/job/" (v.id) "/proof" } { (lang.t("to-proof")) } }
                    a.btn href={ "/job/" (v.id) "/recording" } { (lang.t("to-recording")) }
                }
            }
        }
    };
    Ok(Page::new(&who, &people, lang.t("station-readings"), Place::Car)
        .hands()
        .job(&v, Some(Station::Readings))
        .scripts(&["live.js"])
        .draw(&sheet)
        .into_response())
}

/// A number as it was typed, in the reader's marks.
fn shown(x: f64, lang: Lang) -> String {
    let text = format!("{}", (x * 1e4).round() / 1e4);
    if lang == Lang::De { text.replace('.', ",") } else { text }
}

fn unusual(s: &Slot, x: f64, lang: Lang) -> String {
    lang.tw(
        "reading-unusual",
        &args! { "value" => shown(x, lang), "unit" => s.unit, "low" => shown(s.usual.0, lang), "high" => shown(s.usual.1, lang) },
    )
}

/// "4.6 g/L (3.7 to 5.6)" with no more digits than the interval earns.
#[must_use]
pub fn interval(e: Estimate, unit: &str, lang: Lang) -> String {
    let width = e.p95 - e.p05;
    let d = if width > 0.0 && width.is_finite() {
        (1.0 - width.log10().floor()).clamp(0.0, 2.0) as usize
    } else {
        1
    };
    lang.tw(
        "interval",
        &args! { "p50" => num(e.p50, d), "p05" => num(e.p05, d), "p95" => num(e.p95, d), "unit" => unit },
    )
}

/// The sentence at the top, and what could not be told.
#[must_use]
pub fn answer(bench: &Bench, warnings: &[String], a: &Assessment, lang: Lang) -> Markup {
    let soot = a.filter.soot_load_g_per_l;
    let unsure = html! {
        @for w in warnings { p.unusual { (Mark::Wanted.drawn()) span lang="en" { (w) } } }
        @for p in &a.problems { p.unusual { (Mark::Wanted.drawn()) (bench.house().text(lang, p)) } }
    };
    html! {
        @if soot.told {
            h1 { (PreEscaped(bold(&lang.tw("answer-soot", &soot_args(soot))))) }
        } @else {
            h1 { (Mark::CannotTell.drawn()) " " b { (lang.t("cannot-tell")) } " " (lang.t("answer-no-soot")) }
            p.sub { (lang.tw("answer-prior", &soot_args(soot))) }
        }
        @if let Some(b) = &a.additive {
            p.sub {
                @if b.left_l.told { (lang.t("answer-additive")) " " b { (interval(b.left_l, "L", lang)) } "." }
                @else { (lang.t("answer-no-additive")) }
            }
        }
        (unsure)
    }
}

fn soot_args(e: Estimate) -> fluent_bundle::FluentArgs<'static> {
    let d = usize::from(e.p95 - e.p05 < 20.0);
    args! { "p50" => num(e.p50, d), "p05" => num(e.p05, d), "p95" => num(e.p95, d) }
}

/// `*word*` in a sentence of the catalogue is set in bold; everything else is escaped.
#[must_use]
pub fn bold(text: &str) -> String {
    let mut out = String::new();
    for (i, part) in text.split('*').enumerate() {
        let safe = html! { (part) }.into_string();
        if i % 2 == 1 {
            out += "<b>";
            out += &safe;
            out += "</b>";
        } else {
            out += &safe;
        }
    }
    out
}

fn next_readings(bench: &Bench, a: &Assessment, lang: Lang) -> Markup {
    html! {
        @if !a.cannot_tell.is_empty() {
            div.sec {
                h2 { (lang.t("open-questions")) }
                ul.need.t8 {
                    @for q in &a.cannot_tell {
                        li { (Mark::CannotTell.drawn()) p { (bench.house().text(lang, &q.question)) small { (bench.house().text(lang, &q.reason)) } @for w in q.would_decide.iter().take(2) { small { (bench.house().text(lang, w)) } } } }
                    }
                }
            }
        }
    }
}

/// May a service regeneration be started.
#[must_use]
pub fn regeneration(a: &Assessment, lang: Lang) -> Markup {
    use infer::safety::Verdict;
    let r = &a.regeneration;
    let (id, mark) = match r.service {
        Verdict::Safe => ("regeneration-safe", Mark::Done),
        Verdict::NotShownSafe => ("regeneration-not-shown-safe", Mark::CannotTell),
        Verdict::Unsafe => ("regeneration-unsafe", Mark::Stop),
    };
    html! {
        div.sec {
            p.state { (mark.drawn()) (lang.t(id)) }
            p.sub {
                (lang.tw("regeneration-above", &args! { "p" => num(100.0 * r.above, 0), "load" => num(r.safe_load, 1) }))
            }
        }
    }
}

/// A fact to come: its identifier, the fact it replaces, its slot, the number (none: taken out).
type Change = (Id, Option<Id>, &'static Slot, Option<f64>);

/// Facts that a form of readings makes, beside those it replaces.
fn typed(f: &Form, v: &JobView, form: &Id) -> Result<Vec<Change>, Fail> {
    let role = role(f);
    let mut out = Vec::new();
    for s in &SLOTS {
        let new = f.number(s.name)?;
        let old = kept(v, s, role);
        if !unchanged(new, old.and_then(value_of)) && f.0.contains_key(s.name) {
            out.push((derived(form, s.name), old.map(|t| t.entry.id.clone()), s, new));
        }
    }
    Ok(out)
}

/// The answer with what is typed, before it is kept.
pub async fn attempt(
    State(bench): State<Bench>,
    who: Who,
    Path(id): Path<String>,
    axum::Form(f): axum::Form<Form>,
) -> Answer {
    let v = bench.job(&path_id(&id)?).await?;
    let role = role(&f);
    let changes = typed(&f, &v, &f.id("id")?)?;
    let replaced: Vec<&Id> = changes.iter().filter_map(|c| c.1.as_ref()).collect();
    let mut told: Vec<ToldRow> =
        v.car.told.iter().filter(|t| !replaced.contains(&&t.entry.id)).cloned().collect();
    for (id, _, slot, value) in &changes {
        let Some(value) = value else { continue };
        let row = row(slot, *value, role);
        let what =
            What::Told { table: slot.table.into(), row: row.clone(), job: Some(v.id.clone()), file: None };
        let now = bench.now_ms();
        let by = who.duty.clone().unwrap_or_else(|| id.clone());
        told.push(ToldRow {
            entry: Entry {
                id: id.clone(),
                subject: Subject::Car(v.car.id.clone()),
                version: 0,
                happened_ms: now,
                recorded_ms: now,
                by,
                corrects: None,
                what,
            },
            table: slot.table.into(),
            row,
            job: Some(v.id.clone()),
            file: None,
        });
    }
    let (case, warnings) = read_case(&told, Some(&v.id)).map_err(Fail::Facts)?;
    let a = bench.attempt(&CarView { case, ..v.car.clone() }).await?;
    let lang = who.lang;
    let odd = changes.iter().filter_map(|(_, _, s, x)| {
        x.filter(|x| !(s.usual.0..=s.usual.1).contains(x)).map(|x| unusual(s, x, lang))
    });
    let fragment = html! {
        (answer(&bench, &warnings, &a, lang))
        @for text in odd { p.unusual { (Mark::Wanted.drawn()) (text) } }
    };
    Ok(axum::response::Html(fragment.into_string()).into_response())
}

/// Keeps what was typed: a new number replaces the old one, which stays among the facts.
pub async fn take(
    State(bench): State<Bench>,
    who: Who,
    Path(id): Path<String>,
    axum::Form(f): axum::Form<Form>,
) -> Answer {
    let by = signer(&who)?;
    let v = bench.job(&path_id(&id)?).await?;
    super::job::still_open(&v)?;
    let form = f.id("id")?;
    let known = f.version()?;
    // A form that was sent before has facts in the records already; what is still missing of it follows.
    let again = v.car.told.iter().any(|t| SLOTS.iter().any(|s| t.entry.id == derived(&form, s.name)));
    if !again && known.is_some_and(|k| k != v.car.version) {
        return Err(store::Error::Conflict { expected: known.unwrap_or(0), found: v.car.version }.into());
    }
    let now = bench.now_ms();
    for (expected, (id, corrects, slot, value)) in (v.car.version..).zip(typed(&f, &v, &form)?) {
        let what = match value {
            Some(x) => What::Told {
                table: slot.table.into(),
                row: row(slot, x, role(&f)),
                job: Some(v.id.clone()),
                file: None,
            },
            None => What::Withdrawn { because: "reading taken out".into() },
        };
        let new = New {
            id,
            subject: Subject::Car(v.car.id.clone()),
            expected: Some(expected),
            happened_ms: now,
            recorded_ms: now,
            by: by.clone(),
            corrects,
            what,
        };
        bench.add(new).await?;
    }
    Ok(on_to(f.text("back")))
}
