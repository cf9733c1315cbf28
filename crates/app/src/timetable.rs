//! `sootwright timetable`: several cars laid over people and lifts, one car's waiting being another's work.

use crate::assess::assess;
use crate::cli::TimetableOrder;
use crate::failure::{Failure, Outcome};
use crate::inputs::{Inputs, read_procedures};
use crate::output::{Input, Program};
use crate::text::Page;
use crate::words::{number, say, say_with, within};
use crate::{args, now, print, print_json};
use facts::FaultId;
use schemars::JsonSchema;
use serde::Serialize;
use shop::procedure::Step;
use shop::{Timetable, plan, timetable};

/// The value of `schema` that this version writes.
pub const SCHEMA: &str = "sootwright.timetable/1";

/// One timetable over several cars.
#[derive(Serialize, JsonSchema)]
#[schemars(title = "Timetable")]
pub struct Output {
    /// Always `sootwright.timetable/1`.
    pub schema: String,
    /// What wrote this.
    pub program: Program,
    /// When it was written, UTC, RFC 3339.
    pub made_at: String,
    /// What it was made from.
    pub inputs: Vec<Input>,
    /// People who work.
    pub people: usize,
    /// Lifts.
    pub lifts: usize,
    /// The cars, in the order of the slots' numbers.
    pub cars: Vec<Car>,
    /// The timetable.
    pub timetable: Timetable,
}

/// A car of a timetable.
#[derive(Serialize, JsonSchema)]
pub struct Car {
    /// Its name: the title of the case, or its file.
    pub name: String,
    /// Faults that are mended.
    pub faults: Vec<FaultId>,
    /// The same in plain words.
    pub what: String,
    /// Whether they were named on the command line; else they are the likeliest set.
    pub accepted: bool,
    /// Its steps; `after` names what must be done before.
    pub steps: Vec<Step>,
}

/// Runs the command.
pub fn run(order: &TimetableOrder) -> Result<Outcome, Failure> {
    let mut accepted: Vec<Vec<FaultId>> = vec![Vec::new(); order.cases.len()];
    for given in &order.fault {
        let parts =
            given.split_once('=').and_then(|(n, id)| Some((n.trim().parse::<usize>().ok()?, id.trim())));
        let Some((n, id)) = parts.filter(|(n, _)| (1..=accepted.len()).contains(n)) else {
            return Err(Failure::Usage(say_with("error-car-fault", &args! { "given" => given.clone() })));
        };
        match FaultId::from_id(id) {
            Some(f) => accepted[n - 1].push(f),
            None => return Err(Failure::Usage(say_with("error-no-fault", &args! { "id" => id.to_owned() }))),
        }
    }
    let procedures = read_procedures(order.knowledge.as_deref())?;
    let (mut cars, mut list) = (Vec::new(), Vec::<Input>::new());
    for (path, mut faults) in order.cases.iter().zip(accepted) {
        let inputs = Inputs::read(path, order.knowledge.as_deref())?;
        let named = !faults.is_empty();
        if !named {
            faults = assess(&inputs).fault_sets.first().map(|s| s.faults.clone()).unwrap_or_default();
        }
        let refuse = |e: shop::procedure::Fault| Failure::Refused(format!("{}: {e}", path.display()));
        let made = plan(&crate::plan::parts(&faults, &procedures, inputs.knowledge())).map_err(refuse)?;
        for input in &inputs.list {
            if !list.contains(input) {
                list.push(input.clone());
            }
        }
        let labels: Vec<String> =
            faults.iter().map(|f| within(&inputs.knowledge().fault(*f).label)).collect();
        cars.push(Car {
            what: if labels.is_empty() {
                say("out-next-no-fault")
            } else {
                labels.join(&say("out-next-and"))
            },
            name: inputs.case.title.clone().unwrap_or_else(|| path.display().to_string()),
            faults,
            accepted: named,
            steps: made.steps.into_iter().map(|s| s.step).collect(),
        });
    }
    let steps: Vec<Vec<Step>> = cars.iter().map(|c| c.steps.clone()).collect();
    let (people, lifts) = (order.people.max(1), order.lifts.max(1));
    let timetable = timetable(&steps, people, lifts);
    let out = Output {
        schema: SCHEMA.into(),
        program: Program::this(),
        made_at: now(),
        inputs: list,
        people,
        lifts,
        cars,
        timetable,
    };
    if order.json {
        print_json(&out)?;
    } else {
        print(&page(&out).finish())?;
    }
    Ok(Outcome::Answered)
}

/// Hours and minutes after the begin.
fn clock(minutes: f64) -> String {
    let m = minutes.round().max(0.0) as u64;
    format!("{}:{:02}", m / 60, m % 60)
}

fn page(out: &Output) -> Page {
    let t = &out.timetable;
    let mut page = Page::default();
    page.heading(&say("head-timetable"));
    for (i, c) in out.cars.iter().enumerate() {
        let id = if c.accepted { "out-timetable-car" } else { "out-timetable-car-likeliest" };
        page.item(&say_with(
            id,
            &args! { "number" => i + 1, "name" => c.name.clone(), "what" => c.what.clone() },
        ));
    }
    page.strong(&say_with(
        "out-timetable-end",
        &args! {
            "end" => clock(t.end_min), "bound" => clock(t.bound_min), "one" => clock(t.one_by_one_min),
            "over" => number(if t.bound_min > 0.0 { 100.0 * (t.end_min / t.bound_min - 1.0) } else { 0.0 }, 0),
        },
    ));
    let rows: Vec<Vec<String>> = t
        .slots
        .iter()
        .map(|s| {
            let step = out.cars.get(s.car).and_then(|c| c.steps.iter().find(|x| x.id == s.step));
            let waits = s.end_min > s.hands_end_min + 1e-9;
            vec![
                clock(s.start_min),
                clock(s.hands_end_min),
                if waits { clock(s.end_min) } else { String::new() },
                format!("{}", s.car + 1),
                format!("{}", s.person + 1),
                s.lift.map_or_else(String::new, |l| format!("{}", l + 1)),
                step.map_or_else(|| s.step.clone(), |x| x.text.clone()),
            ]
        })
        .collect();
    let head =
        ["col-from", "col-hands-to", "col-waits-to", "col-car-number", "col-person", "col-lift", "col-step"];
    page.table(&head.map(say), &rows, &[0, 1, 2, 3, 4, 5]);
    page.line(&say("out-timetable-note"));
    page
}
