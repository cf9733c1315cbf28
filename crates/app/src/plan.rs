//! `sootwright plan`: the plan of work for accepted faults, ways side by side, the quote.

use crate::asked::{Asked, tell_ways};
use crate::assess::assess;
use crate::cli::PlanOrder;
use crate::failure::{Failure, Outcome};
use crate::inputs::{Inputs, read_procedures, read_text};
use crate::output::{Input, Program};
use crate::text::{Page, of_100};
use crate::words::{number, say, say_with, within};
use crate::{args, now, print, print_json};
use facts::{FaultId, Knowledge};
use schemars::JsonSchema;
use serde::Serialize;
use shop::options::Choice;
use shop::procedure::{Procedure, Procedures};
use shop::{Plan, Quote, Settings, choices, plan, quote};
use std::path::Path;

/// Figures of an invented workshop, used where none of one's own are given.
const EXAMPLE: &str = include_str!("../../../knowledge/workshop-example.toml");

/// The procedure for a car without a fault.
const NOTHING_TO_MEND: &str = "no_fault";

/// The value of `schema` that this version writes.
pub const SCHEMA: &str = "sootwright.plan/1";

/// The plan of work for one car.
#[derive(Serialize, JsonSchema)]
#[schemars(title = "Plan of work")]
pub struct Output {
    /// Always `sootwright.plan/1`.
    pub schema: String,
    /// What wrote this.
    pub program: Program,
    /// When it was written, UTC, RFC 3339.
    pub made_at: String,
    /// What it was made from.
    pub inputs: Vec<Input>,
    /// Faults that the plan mends.
    pub faults: Vec<FaultId>,
    /// Whether the faults were named on the command line; else they are the likeliest set.
    pub accepted: bool,
    /// The plan.
    pub plan: Plan,
    /// Its price.
    pub quote: Quote,
    /// The prices are those of an invented workshop.
    pub prices_invented: bool,
    /// Ways side by side.
    pub ways: Vec<Choice>,
    /// What was asked for, and the answer.
    pub asked: Option<Asked>,
}

/// The JSON Schema of [`Output`].
pub fn schema() -> serde_json::Value {
    crate::output::named_schema(&schemars::schema_for!(Output), SCHEMA)
}

/// Runs the command.
pub fn run(order: &PlanOrder) -> Result<Outcome, Failure> {
    let inputs = Inputs::read(&order.case, order.knowledge.as_deref())?;
    let knowledge = inputs.knowledge();
    let mut list = inputs.list.clone();
    let settings = read_settings(order.settings.as_deref(), &mut list)?;
    let procedures = read_procedures(order.knowledge.as_deref())?;
    let assessment = assess(&inputs);
    let sets: Vec<(Vec<FaultId>, f64)> =
        assessment.fault_sets.iter().map(|s| (s.faults.clone(), s.probability)).collect();
    let mut faults = Vec::new();
    for id in &order.fault {
        match FaultId::from_id(id) {
            Some(f) => faults.push(f),
            None => return Err(Failure::Usage(say_with("error-no-fault", &args! { "id" => id.clone() }))),
        }
    }
    let asked = order.asked.as_deref().map(Asked::new);
    let accepted = !faults.is_empty();
    let leading = sets.first().cloned().unwrap_or_default();
    if !accepted {
        faults.clone_from(&leading.0);
    }
    // Accepted faults are taken as given when ways are set side by side.
    let judged = if accepted { vec![(faults.clone(), 1.0)] } else { sets };
    let parts = parts(&faults, &procedures, knowledge);
    let refuse = |e: shop::procedure::Fault| Failure::Refused(e.to_string());
    let made = plan(&parts).map_err(refuse)?;
    let priced = quote(&made, &settings);
    let ways = choices(&procedures, &judged, &settings).map_err(refuse)?;
    if order.json {
        print_json(&Output {
            schema: SCHEMA.into(),
            program: Program::this(),
            made_at: now(),
            inputs: list,
            faults,
            accepted,
            plan: made,
            quote: priced,
            prices_invented: order.settings.is_none(),
            ways,
            asked,
        })?;
    } else {
        let chance = (!accepted).then_some(leading.1);
        let mut told = Page::default();
        if let Some(a) = &asked {
            a.tell(&mut told);
        }
        page(&mut told, &faults, chance, knowledge, &made, &priced, &ways, order.settings.is_none());
        print(&told.finish())?;
    }
    Ok(Outcome::Answered)
}

/// The procedures that mend faults; without a fault, what is done then.
pub fn parts(faults: &[FaultId], procedures: &Procedures, knowledge: &Knowledge) -> Vec<Procedure> {
    let mut parts: Vec<Procedure> = faults.iter().map(|f| procedures.mending(*f, knowledge)).collect();
    if parts.is_empty() {
        parts.extend(procedures.procedure(NOTHING_TO_MEND).cloned());
    }
    parts
}

/// The workshop's own figures, or those of an invented one.
pub fn read_settings(path: Option<&Path>, list: &mut Vec<Input>) -> Result<Settings, Failure> {
    match path {
        None => Settings::read(EXAMPLE),
        Some(path) => {
            let (text, hash) = read_text(path)?;
            let shown = path.display().to_string();
            list.push(Input { path: shown.clone(), kind: "settings".into(), blake3: hash });
            Settings::read(&text).map_err(|e| format!("{shown}: {e}"))
        }
    }
    .map_err(Failure::Refused)
}

#[allow(clippy::too_many_arguments)] // one page, drawn once
fn page(
    page: &mut Page,
    faults: &[FaultId],
    chance: Option<f64>,
    knowledge: &Knowledge,
    made: &Plan,
    priced: &Quote,
    ways: &[Choice],
    invented: bool,
) {
    page.heading(&say("head-plan"));
    let labels: Vec<String> = faults.iter().map(|f| within(&knowledge.fault(*f).label)).collect();
    let what = if labels.is_empty() { say("out-next-no-fault") } else { labels.join(&say("out-next-and")) };
    match chance {
        Some(p) => page.strong(&say_with("out-plan-likeliest", &args! { "what" => what, "p" => of_100(p) })),
        None => page.strong(&say_with("out-plan-accepted", &args! { "what" => what })),
    }
    if faults.is_empty() {
        page.line(&knowledge.none().repair.action);
    }
    page.line(&say_with(
        "out-plan-times",
        &args! {
            "hands" => number(made.hands_on_min, 0), "free" => number(made.free_min, 0),
            "through" => number(made.through_min, 0), "critical" => number(made.critical_min, 0),
        },
    ));
    for (i, s) in made.steps.iter().enumerate() {
        let id = if s.step.wait_min > 0.0 { "out-plan-step-wait" } else { "out-plan-step" };
        page.item(&say_with(
            id,
            &args! {
                "number" => i + 1, "text" => s.step.text.clone(), "hands" => number(s.step.hands_on_min, 0),
                "wait" => number(s.step.wait_min, 0),
            },
        ));
        let lists = [
            ("out-plan-interlocks", &s.step.interlocks),
            ("out-plan-ppe", &s.step.ppe),
            ("out-plan-tools", &s.step.tools),
            ("out-plan-parts", &s.step.parts),
            ("out-plan-fluids", &s.step.fluids),
            ("out-plan-enter", &s.step.enter),
            ("out-plan-proof", &s.step.proof),
        ];
        for (id, list) in lists.into_iter().filter(|l| !l.1.is_empty()) {
            page.sub_item(&say_with(id, &args! { "list" => list.join("; ") }));
        }
        for c in &s.step.cautions {
            page.warning(c);
        }
        if let Some(source) = &s.step.source {
            page.sub_item(&say_with("out-plan-source", &args! { "source" => source.clone() }));
        }
    }
    page.heading(&say("head-quote"));
    for l in &priced.lines {
        let name = if l.kind == "labour" { say("out-quote-labour") } else { l.id.clone() };
        page.item(&say_with(
            "out-quote-line",
            &args! {
                "name" => name, "quantity" => number(l.quantity, 2), "net" => number(l.net, 2),
                "currency" => priced.currency.clone(),
            },
        ));
    }
    page.strong(&say_with(
        "out-quote-sum",
        &args! {
            "net" => number(priced.net, 2), "tax" => number(priced.tax, 2), "gross" => number(priced.gross, 2),
            "currency" => priced.currency.clone(), "days" => i64::from(priced.valid_days),
        },
    ));
    if invented {
        page.warning(&say("out-quote-invented"));
    }
    if !priced.unpriced.is_empty() {
        page.warning(&say_with("out-quote-unpriced", &args! { "list" => priced.unpriced.join(", ") }));
    }
    page.line(&say("out-quote-not-included"));
    page.line(&say("out-quote-extra-finds"));
    tell_ways(ways, page);
    page.line(&say("out-plan-law"));
    page.line(&say("out-plan-maker"));
}
