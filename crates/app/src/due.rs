//! `sootwright due`: what comes, by odometer and date; `sootwright trips`: will this driving finish a burn.

use crate::cli::{DueOrder, TripsOrder};
use crate::failure::{Failure, Outcome};
use crate::inputs::Inputs;
use crate::output::{Due, Input, Program};
use crate::text::{Page, window_digits};
use crate::words::{number, say, say_with};
use crate::{args, assess, now, print, print_json};
use infer::due::Says;
use infer::trips::{self, Road, Trip};
use schemars::JsonSchema;
use serde::Serialize;

/// The value of `schema` of what comes.
const DUE_SCHEMA: &str = "sootwright.due/1";
/// The value of `schema` of a week judged.
const TRIPS_SCHEMA: &str = "sootwright.trips/1";

/// What comes.
#[derive(Serialize, JsonSchema)]
struct DueOutput {
    schema: &'static str,
    program: Program,
    made_at: String,
    inputs: Vec<Input>,
    /// Windows that hold eight times in ten, the nearest first.
    due: Vec<DueEntry>,
}

/// A window with its date.
#[derive(Serialize, JsonSchema)]
struct DueEntry {
    #[serde(flatten)]
    due: Due,
    /// Dates of the window, where the days are known.
    date: Option<[String; 3]>,
}

fn dates(days: &crate::output::Due3) -> Option<[String; 3]> {
    let today = jiff::Timestamp::now().as_second();
    let day = |d: Option<f64>| {
        let second = today + (d?.clamp(0.0, 36_500.0) * 86_400.0) as i64;
        jiff::Timestamp::from_second(second).ok()?.to_string().get(..10).map(str::to_owned)
    };
    Some([day(days.p10)?, day(days.p50)?, day(days.p90)?])
}

/// Runs `due`.
pub fn due(order: &DueOrder) -> Result<Outcome, Failure> {
    let inputs = Inputs::read(&order.case, order.knowledge.as_deref())?;
    let a = assess::assess(&inputs);
    let list: Vec<Due> = a.due.iter().map(Due::from).collect();
    if order.json {
        let due =
            list.into_iter().map(|due| DueEntry { date: due.days.as_ref().and_then(dates), due }).collect();
        let (schema, program) = (DUE_SCHEMA, Program::this());
        print_json(&DueOutput { schema, program, made_at: now(), inputs: inputs.list.clone(), due })?;
        return Ok(Outcome::Answered);
    }
    let mut page = Page::default();
    page.heading(&say("head-due"));
    for (d, out) in a.due.iter().zip(&list) {
        let shown = |w: infer::balance::Window| {
            let [from, best, to] = window_digits(w);
            (from, best, to)
        };
        let name = say(match d.what {
            infer::due::What::Additive => "label-due-additive",
            infer::due::What::Ash => "label-due-ash",
            infer::due::What::Soot => "label-due-soot",
        });
        let (from, best, to) = shown(d.km);
        let id = match (d.told, d.says) {
            (false, _) => "out-due-km-prior",
            (true, Says::Window) => "out-due-km",
            (true, Says::NotBefore) => "out-due-not-before",
            (true, Says::Nothing) => "out-due-nothing",
        };
        let beyond = d.km.p90 >= infer::due::HORIZON_KM;
        let to = if beyond { say("out-due-far") } else { to };
        page.strong(&say_with(id, &args! { "what" => name, "from" => from, "best" => best, "to" => to }));
        if d.says != Says::Window {
            continue;
        }
        if let Some(w) = d.odometer_km {
            let (from, best, to) = shown(w);
            page.sub_item(&say_with(
                "out-due-odometer",
                &args! { "from" => from, "best" => best, "to" => to },
            ));
        }
        if let Some([from, best, to]) = out.days.as_ref().and_then(dates) {
            page.sub_item(&say_with("out-due-date", &args! { "from" => from, "best" => best, "to" => to }));
        }
    }
    if a.due.iter().all(|d| d.days.is_none()) {
        page.line(&say("out-due-no-year"));
    }
    page.line(&say("out-due-note"));
    print(&page.finish())?;
    Ok(Outcome::Answered)
}

/// A week judged.
#[derive(Serialize, JsonSchema)]
struct TripsOutput {
    schema: &'static str,
    program: Program,
    made_at: String,
    /// Probability that a burn which is asked for finishes before the controller gives up.
    finishes: f64,
    km_per_week: f64,
    /// Longest stretch of warm, steady driving of any trip, minutes.
    longest_usable_min: f64,
    /// Minutes of steady driving, once a week, that make nine burns in ten finish; `null` where they do already.
    add_once_a_week_min: Option<f64>,
    /// With that trip.
    finishes_then: f64,
}

/// Reads `KM` or `KMxTIMES`: kilometres and times a week.
fn words(text: &str, road: Road) -> Result<Trip, Failure> {
    let wrong = || Failure::Usage(say_with("error-trips-words", &args! { "text" => text }));
    let (km, times) = text.split_once(['x', 'X']).unwrap_or((text, "1"));
    let read = |t: &str| {
        t.trim().replace(',', ".").parse::<f64>().ok().filter(|v| v.is_finite() && *v > 0.0 && *v < 3000.0)
    };
    Ok(trips::from_words(road, read(km).ok_or_else(wrong)?, read(times).ok_or_else(wrong)?))
}

/// Runs `trips`.
pub fn trips(order: &TripsOrder) -> Result<Outcome, Failure> {
    let mut week = Vec::new();
    for (list, road) in
        [(&order.town, Road::Town), (&order.country, Road::Country), (&order.motorway, Road::Motorway)]
    {
        for text in list {
            week.push(words(text, road)?);
        }
    }
    for path in &order.trace {
        let points = crate::simulate::speed(path)?;
        let trip = trips::from_speeds(&points, order.per_week);
        week.extend(trip);
    }
    let verdict = trips::judge(&week).ok_or_else(|| Failure::Usage(say("error-trips-none")))?;
    if order.json {
        print_json(&TripsOutput {
            schema: TRIPS_SCHEMA,
            program: Program::this(),
            made_at: now(),
            finishes: verdict.finishes,
            km_per_week: verdict.km_per_week,
            longest_usable_min: verdict.longest_min,
            add_once_a_week_min: verdict.added_min,
            finishes_then: verdict.finishes_then,
        })?;
        return Ok(Outcome::Answered);
    }
    let mut page = Page::default();
    page.heading(&say("head-trips"));
    let id = if verdict.finishes >= 0.9 {
        "out-trips-yes"
    } else if verdict.finishes >= 0.4 {
        "out-trips-sometimes"
    } else {
        "out-trips-no"
    };
    page.strong(&say_with(id, &args! { "p" => crate::text::of_100(verdict.finishes) }));
    page.line(&say_with(
        "out-trips-week",
        &args! { "km" => number(verdict.km_per_week, 0), "minutes" => number(verdict.longest_min, 0) },
    ));
    if let Some(minutes) = verdict.added_min {
        page.line(&say_with(
            "out-trips-add",
            &args! { "minutes" => number(minutes, 0), "p" => crate::text::of_100(verdict.finishes_then) },
        ));
    }
    page.line(&say("out-trips-note"));
    print(&page.finish())?;
    Ok(Outcome::Answered)
}
