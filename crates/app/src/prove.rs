//! `sootwright prove`: did the work help, by everything a case holds of before and after.

use crate::cli::ProveOrder;
use crate::failure::{Failure, Outcome};
use crate::inputs::Inputs;
use crate::output::{Input, Program, Proof, Verdict};
use crate::text::Page;
use crate::words::{digits, number, say, say_with, words};
use crate::{args, assess, now, print, print_json};
use facts::Moment;
use facts::case::{Case, Point, Quantity, Role};
use facts::inspection::{Basis, Inspected, built_in};
use infer::assessment::ProofVerdict;
use infer::proof::additive::{FillByWeight, fills};
use infer::proof::inspection::{Against, Judged, judge};
use infer::proof::points::{PointProof, points};
use schemars::JsonSchema;
use serde::Serialize;

/// The value of `schema` of a proof.
const SCHEMA: &str = "sootwright.proof/1";

#[derive(Serialize, JsonSchema)]
struct ProofOutput {
    schema: &'static str,
    program: Program,
    made_at: String,
    inputs: Vec<Input>,
    /// Viscous resistance after over before; `null` where nothing says before and after.
    pressure: Option<Proof>,
    /// Typed points, before and after.
    points: Vec<PointOutput>,
    /// Particle number and opacity against the limits.
    inspection: Vec<JudgedOutput>,
    /// Fills with a weighing before and after.
    additive_by_weight: Vec<FillOutput>,
    /// Codes after the work; weak either way.
    codes: CodesOutput,
}

#[derive(Serialize, JsonSchema)]
struct PointOutput {
    /// `hot_idle`, `held` or `road`.
    point: &'static str,
    engine_speed_rpm: Option<f64>,
    gauge: bool,
    before_kpa: f64,
    after_kpa: f64,
    fall_kpa: f64,
    /// Expanded uncertainty of the fall, coverage factor 2.
    expanded_kpa: f64,
    flow_read: bool,
    verdict: Verdict,
}

#[derive(Serialize, JsonSchema)]
struct JudgedOutput {
    quantity: String,
    before: bool,
    value: f64,
    expanded: f64,
    against: Vec<AgainstOutput>,
    /// Limits that may hold and lack first registration or emission class.
    open: usize,
}

#[derive(Serialize, JsonSchema)]
struct AgainstOutput {
    verdict: &'static str,
    limit: f64,
    condition: String,
    country: String,
    binding: bool,
    source: String,
}

#[derive(Serialize, JsonSchema)]
struct FillOutput {
    odometer_km: Option<f64>,
    rise_g: f64,
    poured_g: Option<f64>,
    expanded_g: f64,
    agrees: Option<bool>,
}

#[derive(Serialize, JsonSchema)]
struct CodesOutput {
    /// Read after the work at all.
    read: bool,
    stored: Vec<String>,
    /// The memory was cleared: an empty one then proves nothing.
    cleared: bool,
}

fn codes(case: &Case) -> CodesOutput {
    let after: Vec<_> = case.fault_memory.iter().filter(|m| m.role == Some(Role::After)).collect();
    let mut stored: Vec<String> = after.iter().flat_map(|m| m.codes.iter().cloned()).collect();
    stored.sort();
    stored.dedup();
    CodesOutput {
        read: !after.is_empty(),
        stored,
        cleared: case.fault_memory.iter().any(|m| m.cleared == Some(true)),
    }
}

fn verdict_word(v: ProofVerdict) -> String {
    say(match v {
        ProofVerdict::Improved => "out-verdict-improved",
        ProofVerdict::Worse => "out-verdict-worse",
        ProofVerdict::NoProvenChange => "out-verdict-no-change",
        ProofVerdict::CannotTell => "out-verdict-cannot-tell",
    })
}

fn point_id(p: Point) -> &'static str {
    match p {
        Point::KeyOn => "key_on",
        Point::HotIdle => "hot_idle",
        Point::Held => "held",
        Point::Road => "road",
    }
}

fn point_row(p: &PointProof) -> Vec<String> {
    let speed = p.engine_speed_rpm.map_or_else(String::new, |n| format!(" {} rpm", digits(n, 0)));
    vec![
        format!("{}{speed}", point_id(p.point).replace('_', " ")),
        digits(p.before_kpa.0, 2),
        digits(p.after_kpa.0, 2),
        digits(p.before_kpa.0 - p.after_kpa.0, 2),
        digits(p.expanded_kpa, 2),
        verdict_word(p.verdict),
    ]
}

fn judged_lines(page: &mut Page, j: &Judged) {
    let particles = j.quantity == Quantity::ParticleNumber;
    let decimals = if particles { 0 } else { 2 };
    let id = if particles { "out-judged-particles" } else { "out-judged-opacity" };
    page.strong(&say_with(
        id,
        &args! {
            "value" => number(j.value, decimals),
            "expanded" => number(j.expanded, decimals),
            "when" => say(if j.before { "out-when-before" } else { "out-when-after" }),
        },
    ));
    for (limit, verdict) in &j.against {
        let id = match verdict {
            Against::Pass => "out-against-pass",
            Against::PassWithRemark => "out-against-pass-with-remark",
            Against::Fail => "out-against-fail",
            Against::Inconclusive => "out-against-inconclusive",
        };
        let mut line = say_with(
            id,
            &args! {
                "limit" => number(limit.limit, if particles { 0 } else { 1 }),
                "remark" => number(limit.remark_above.unwrap_or(limit.limit), 0),
                "condition" => limit.condition.clone(),
                "country" => limit.country.clone(),
                "source" => limit.source.clone(),
            },
        );
        for (yes, id) in
            [(!limit.binding, "out-against-not-binding"), (limit.mark == Basis::Memory, "out-against-memory")]
        {
            if yes {
                line.push(' ');
                line.push_str(&say(id));
            }
        }
        page.sub_item(&line);
    }
    if j.open > 0 {
        page.sub_item(&say_with("out-judged-open", &args! { "count" => number(j.open as f64, 0) }));
    } else if j.against.is_empty() {
        page.sub_item(&say("out-judged-none"));
    }
}

fn fill_line(f: &FillByWeight) -> String {
    let id = match f.agrees {
        Some(true) => "out-fill-agrees",
        Some(false) => "out-fill-differs",
        None => "out-fill-alone",
    };
    let args = args! {
        "rise" => number(f.rise_g, 0),
        "poured" => number(f.poured_g.unwrap_or(f64::NAN), 0),
        "expanded" => number(f.expanded_g, 0),
    };
    say_with(id, &args)
}

/// Runs `prove`.
pub fn prove(order: &ProveOrder) -> Result<Outcome, Failure> {
    let inputs = Inputs::read(&order.case, order.knowledge.as_deref())?;
    let registered = match &order.registered {
        Some(text) => Some(Moment::parse(text).map_err(Failure::Usage)?),
        None => None,
    };
    let a = assess::assess(&inputs);
    // Of a life the last visit is proven.
    let visits = inputs.visits();
    let case = visits.last().map_or(&inputs.case, |v| v.case);
    let of = Inspected { country: order.country.as_deref(), registered, euro: order.euro, day: None };
    let points = points(case);
    let judged = judge(case, built_in(), &of, order.plate);
    let fills = fills(case);
    let codes = codes(case);
    if order.json {
        let point = |p: &PointProof| PointOutput {
            point: point_id(p.point),
            engine_speed_rpm: p.engine_speed_rpm,
            gauge: p.gauge,
            before_kpa: p.before_kpa.0,
            after_kpa: p.after_kpa.0,
            fall_kpa: p.before_kpa.0 - p.after_kpa.0,
            expanded_kpa: p.expanded_kpa,
            flow_read: p.flow_read,
            verdict: p.verdict.into(),
        };
        let against = |(l, v): &(facts::inspection::InspectionLimit, Against)| AgainstOutput {
            verdict: v.name(),
            limit: l.limit,
            condition: l.condition.clone(),
            country: l.country.clone(),
            binding: l.binding,
            source: l.source.clone(),
        };
        print_json(&ProofOutput {
            schema: SCHEMA,
            program: Program::this(),
            made_at: now(),
            inputs: inputs.list.clone(),
            pressure: a.proof.as_ref().map(|p| Proof::of(p, inputs.knowledge())),
            points: points.iter().map(point).collect(),
            inspection: judged
                .iter()
                .map(|j| JudgedOutput {
                    quantity: j.quantity.id(),
                    before: j.before,
                    value: j.value,
                    expanded: j.expanded,
                    against: j.against.iter().map(against).collect(),
                    open: j.open,
                })
                .collect(),
            additive_by_weight: fills
                .iter()
                .map(|f| FillOutput {
                    odometer_km: f.odometer_km,
                    rise_g: f.rise_g,
                    poured_g: f.poured_g,
                    expanded_g: f.expanded_g,
                    agrees: f.agrees,
                })
                .collect(),
            codes,
        })?;
        return Ok(Outcome::Answered);
    }
    let mut page = Page::default();
    page.heading(&say("head-prove"));
    match &a.proof {
        Some(p) => page.strong(&words().text(&p.reason, inputs.knowledge())),
        None => page.line(&say("out-prove-nothing")),
    }
    if !points.is_empty() {
        page.heading(&say("head-prove-points"));
        let header =
            ["col-point", "col-before", "col-after", "col-fall", "col-expanded", "col-verdict"].map(say);
        let rows: Vec<Vec<String>> = points.iter().map(point_row).collect();
        page.table(&header, &rows, &[1, 2, 3, 4]);
        page.line(&say("out-prove-points-note"));
    }
    if !judged.is_empty() {
        page.heading(&say("head-prove-inspection"));
        judged.iter().for_each(|j| judged_lines(&mut page, j));
        page.line(&say("out-judged-note"));
        if judged.iter().any(|j| j.quantity == Quantity::Opacity) {
            page.line(&say("out-judged-smoke"));
        }
    }
    if !fills.is_empty() {
        page.heading(&say("head-prove-additive"));
        fills.iter().for_each(|f| page.item(&fill_line(f)));
        page.line(&say("out-fill-dose"));
    }
    if codes.read || codes.cleared {
        page.heading(&say("head-prove-weak"));
        let line = match (&codes.stored[..], codes.cleared) {
            ([], true) => say("out-weak-cleared"),
            ([], false) => say("out-weak-empty"),
            (list, _) => say_with("out-weak-codes", &args! { "codes" => list.join(", ") }),
        };
        page.item(&line);
        page.item(&say("out-weak-monitors"));
    }
    print(&page.finish())?;
    Ok(Outcome::Answered)
}
