//! The words of the answer: plain sentences, why, what would help, what to beware of. Message identifiers
//! only; the sentences are in the catalogue.

use crate::assess::View;
use crate::assessment::{Arg, Assessment, MissingFact, OpenQuestion, Text};
use crate::burns::BurnEnd;
use crate::dilution::ACT_PERCENT;
use crate::hypothesis::EngineMode;
use crate::information::{
    Asked, Figure, coordinate_shrinks, distance_shrinks, named, next_readings, typed_reading_shrinks,
};
use crate::joint::{Additive, Joint};
use crate::posterior::Draws;
use crate::prior::coordinate as at;
use crate::safety::{SAFE_BELOW, substrate};
use facts::case::{Point, Quantity};
use facts::{FaultId, Knowledge};

/// Fault sets above this probability may be named as the finding.
const FINDING: f64 = 0.5;

pub(crate) fn fill(
    out: &mut Assessment,
    view: &View,
    joint: &Joint,
    additive: &Additive,
    draws: &Draws,
    before: &Draws,
    knowledge: &Knowledge,
) {
    let open = open_figures(out);
    let asked = Asked {
        case: view.case,
        priors: &view.priors,
        standard: &view.standard,
        draws,
        regeneration: &out.regeneration,
        additive: out.additive.as_ref(),
        open: &open,
        connected: !view.rows.is_empty() || !view.case.fault_memory.is_empty(),
        coolant_degc: view.coolant_degc,
    };
    out.missing = missing(view, &asked, before);
    out.readings = next_readings(&asked);
    out.why = why(out, view, joint, additive, knowledge);
    let test = next_test(out, joint, knowledge);
    out.plain = plain(out, substrate(view.case), test.as_ref());
    out.cautions = cautions(out, view);
    out.cannot_tell = open_questions(out, view, joint, test.as_ref());
    if joint.effective() < 60.0 {
        out.problems.push(Text::new("problem-few-samples").number("effective", joint.effective(), 0));
    }
}

/// What the facts leave open among the figures that a reading could narrow.
fn open_figures(out: &Assessment) -> Vec<Figure> {
    let f = &out.filter;
    let mut open = Vec::new();
    // A told soot load that leaves the regeneration open is still a question.
    if !f.soot_load_g_per_l.told || out.regeneration.above >= SAFE_BELOW {
        open.push(Figure::Soot);
    }
    if !f.ash_load_g_per_l.told {
        open.push(Figure::Ash);
    }
    if !f.zero_kpa.told {
        open.push(Figure::Zero);
    }
    if !out.fault_set_told || out.fault_sets.first().is_none_or(|s| s.probability < FINDING) {
        open.push(Figure::Sensor);
    }
    if out.additive.as_ref().is_some_and(|b| !b.left_l.told) {
        open.push(Figure::Additive);
    }
    open
}

fn fault_list(faults: &[FaultId]) -> Text {
    match faults {
        [] => Text::new("set-none"),
        [a] => Text::new("set-one").with("a", Arg::Fault(*a)),
        [a, b] => Text::new("set-two").with("a", Arg::Fault(*a)).with("b", Arg::Fault(*b)),
        [a, b, c, ..] => Text::new("set-three")
            .with("a", Arg::Fault(*a))
            .with("b", Arg::Fault(*b))
            .with("c", Arg::Fault(*c)),
    }
}

fn nested(text: Text) -> Arg {
    Arg::Message(Box::new(text))
}

fn plain(out: &Assessment, material: wallflow::media::Material, test: Option<&(String, f64)>) -> Vec<Text> {
    let mut say = Vec::new();
    let percent = |p: f64| 100.0 * p;
    if let Some(top) = out.fault_sets.first() {
        let text = if !out.fault_set_told && top.probability < FINDING {
            Text::new("plain-fault-open")
        } else if top.probability >= FINDING {
            Text::new("plain-fault-found")
        } else {
            Text::new("plain-fault-likeliest")
        };
        say.push(text.with("set", nested(fault_list(&top.faults))).number(
            "percent",
            percent(top.probability),
            0,
        ));
        if let Some(second) = out.fault_sets.get(1).filter(|s| s.probability > 0.05) {
            say.push(Text::new("plain-fault-else").with("set", nested(fault_list(&second.faults))).number(
                "percent",
                percent(second.probability),
                0,
            ));
        }
    }
    let soot = out.filter.soot_load_g_per_l;
    say.push(if soot.told {
        Text::new("plain-soot")
            .number("p50", soot.p50, 1)
            .number("p05", soot.p05, 1)
            .number("p95", soot.p95, 1)
    } else {
        Text::new("plain-soot-open").number("p05", soot.p05, 1).number("p95", soot.p95, 1)
    });
    if let Some(b) = &out.additive {
        let left = b.left_l;
        say.push(if left.told {
            let planned = crate::due::says(b.due_km) == crate::due::Says::Window;
            Text::new(if planned { "plain-additive-left" } else { "plain-additive-left-only" })
                .number("p50", left.p50, 2)
                .number("p05", left.p05, 2)
                .number("p95", left.p95, 2)
                .number("due", b.due_km.p50.max(0.0), 0)
        } else {
            Text::new("plain-additive-open").number("p05", left.p05, 2).number("p95", left.p95, 2)
        });
    }
    match (out.fault_sets.first(), test) {
        (Some(top), _) if top.probability > 0.8 && top.faults.is_empty() => {
            say.push(Text::new("plain-next-no-fault"));
        }
        // The usual cure of soot is a regeneration; it waits until the load is shown to be safe for it.
        (Some(top), _)
            if top.probability > 0.8
                && top
                    .faults
                    .iter()
                    .any(|f| matches!(f, FaultId::SootShortTrips | FaultId::RegenerationIncomplete))
                && soot.p95 > wallflow::limits::safe_soot_load(material) =>
        {
            say.push(Text::new("plain-next-soot-first").number("p95", soot.p95, 1));
        }
        (Some(top), _) if top.probability > 0.8 => {
            say.push(Text::new("plain-next-repair").with("set", nested(fault_list(&top.faults))));
        }
        (_, Some((id, minutes))) => say.push(
            Text::new("plain-next-test")
                .with("observation", Arg::Observation(id.clone()))
                .number("minutes", *minutes, 0),
        ),
        _ => say.push(Text::new("plain-next-read-pressure")),
    }
    say.push(not_to_do(out, material));
    say
}

fn probability(out: &Assessment, f: FaultId) -> f64 {
    out.faults.iter().find(|x| x.0 == Some(f)).map_or(0.0, |x| x.1)
}

fn not_to_do(out: &Assessment, material: wallflow::media::Material) -> Text {
    let soot = out.filter.soot_load_g_per_l;
    let reading: f64 = [
        FaultId::ZeroError,
        FaultId::HoseOffUpstream,
        FaultId::HoseOffDownstream,
        FaultId::HosesSwapped,
        FaultId::HoseLeaking,
        FaultId::HoseBlocked,
        FaultId::SensorFrozen,
    ]
    .iter()
    .map(|f| probability(out, *f))
    .sum();
    if probability(out, FaultId::Aus32InFuel) > 0.05 {
        Text::new("plain-not-start")
    } else if soot.p95 > wallflow::limits::safe_soot_load(material) {
        Text::new("plain-not-regenerate").number("p95", soot.p95, 1)
    } else if probability(out, FaultId::AshFull) > 0.5 {
        Text::new("plain-not-burn-ash")
    } else if reading > 0.4 {
        Text::new("plain-not-condemn-filter")
    } else {
        Text::new("plain-not-clear-codes")
    }
}

fn why(
    out: &Assessment,
    view: &View,
    joint: &Joint,
    additive: &Additive,
    knowledge: &Knowledge,
) -> Vec<Text> {
    let Some(top) = out.fault_sets.first() else { return Vec::new() };
    // Against what: no fault, or the runner-up where no fault is the finding.
    let against: Vec<FaultId> = if top.faults.is_empty() {
        out.fault_sets.get(1).map_or_else(Vec::new, |s| s.faults.clone())
    } else {
        Vec::new()
    };
    let filter_side = |set: &[FaultId]| {
        let f: Vec<FaultId> = set.iter().copied().filter(|f| !crate::hypothesis::is_additive(*f)).collect();
        joint.hypotheses.iter().position(|h| h.faults == f)
    };
    let mut scored: Vec<(f64, Text)> = Vec::new();
    if let (Some(i), Some(j)) = (filter_side(&top.faults), filter_side(&against)) {
        let (a, b) = (&joint.hypotheses[i], &joint.hypotheses[j]);
        let gain = joint.parts(i).1 - joint.parts(j).1;
        if !view.rows.is_empty() {
            scored.push((gain, Text::new("why-pressure").number("factor", factor(gain), 1)));
        }
        let mode = |m: EngineMode| EngineMode::ALL.iter().position(|x| *x == m).unwrap_or(0);
        for s in &view.signs.list {
            let gain = s.log_likelihood[mode(a.engine)] - s.log_likelihood[mode(b.engine)];
            scored.push((
                gain,
                Text::new("why-sign")
                    .with("sign", nested(Text::new(s.name)))
                    .number("value", s.value, 2)
                    .number("factor", factor(gain), 1),
            ));
        }
    }
    let other: Vec<f64> = joint.seen.each(&against, knowledge).map(|x| x.2).collect();
    for ((id, yes, log), other) in joint.seen.each(&top.faults, knowledge).zip(other) {
        let text = if yes { Text::new("why-observed") } else { Text::new("why-not-observed") };
        scored.push((
            log - other,
            text.with("observation", Arg::Observation(id.to_owned())).number(
                "factor",
                factor(log - other),
                1,
            ),
        ));
    }
    let balance = |set: &[FaultId]| {
        let a = set.iter().copied().find(|f| crate::hypothesis::is_additive(*f));
        additive.weight(a)
    };
    let gain = balance(&top.faults) - balance(&against);
    scored.push((gain, Text::new("why-balance").number("factor", factor(gain), 1)));
    scored.retain(|s| s.0.abs() > 0.25 && s.0.is_finite());
    scored.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
    let mut out: Vec<Text> = scored.into_iter().take(7).map(|s| s.1).collect();
    out.extend(joint.seen.other_codes.iter().map(|c| Text::new("why-code-of-maker").word("code", c.clone())));
    out
}

/// A likelihood ratio as people read it: capped, since nobody's table is good for more than a thousand.
fn factor(log: f64) -> f64 {
    log.clamp(-6.9, 6.9).exp()
}

/// The observation not yet made that is expected to tell most about the fault set per minute.
fn next_test(out: &Assessment, joint: &Joint, knowledge: &Knowledge) -> Option<(String, f64)> {
    let sets: Vec<(&[FaultId], f64)> = out
        .fault_sets
        .iter()
        .filter(|s| s.probability > 1e-3)
        .map(|s| (&s.faults[..], s.probability))
        .collect();
    let entropy = |p: f64| if p <= 0.0 || p >= 1.0 { 0.0 } else { -p * p.ln() - (1.0 - p) * (1.0 - p).ln() };
    knowledge
        .observations()
        .iter()
        .filter(|o| !joint.seen.answers.contains_key(&o.id))
        // A service regeneration is no test: it needs its own safety verdict first.
        .filter(|o| o.set_up.as_deref() != Some("service_regen"))
        .map(|o| {
            let total: f64 = sets.iter().map(|s| s.1).sum::<f64>().max(1e-9);
            let (mut yes, mut within) = (0.0, 0.0);
            for (faults, p) in &sets {
                let q = knowledge.probability_given_set(faults, &o.id) * 0.98 + 0.01;
                yes += p / total * q;
                within += p / total * entropy(q);
            }
            let set_up = o.set_up.as_deref().and_then(|s| knowledge.set_up(s)).map_or(0.0, |s| s.minutes);
            let minutes = o.minutes + set_up;
            ((entropy(yes) - within) / (minutes + 2.0), o.id.clone(), minutes)
        })
        .filter(|x| x.0 > 1e-4)
        .max_by(|a, b| a.0.total_cmp(&b.0).then_with(|| b.1.cmp(&a.1)))
        .map(|x| (x.1, x.2))
}

fn missing(view: &View, asked: &Asked, before: &Draws) -> Vec<MissingFact> {
    let case = view.case;
    let coordinate = |j: usize| coordinate_shrinks(asked.draws, j);
    let key_on =
        case.reading.iter().any(|r| r.point == Some(Point::KeyOn)) || view.rows.iter().any(|r| r.0[1] == 0.0);
    let flowing = view.rows.iter().any(|r| r.0[1] > 0.0);
    let has = |q: Quantity| case.reading.iter().any(|r| r.quantity == q);
    let f = &case.filter;
    let no_size = f.volume_l.is_none() && f.diameter_mm.is_none() && f.oval_long_axis_mm.is_none();
    let no_flow = !has(Quantity::IntakeAirMassFlow) && view.data.mean_k.is_some();
    let list: [(&'static str, bool, &dyn Fn() -> f64); 10] = [
        ("filter.material", f.material.is_none(), &|| coordinate(at::WALL)),
        ("filter.cell_density_cpsi", f.cell_density_cpsi.is_none(), &|| coordinate(at::CELLS)),
        ("filter.volume_l", no_size, &|| coordinate(at::VOLUME)),
        ("filter.fitted_odometer_km", f.fitted_odometer_km.is_none(), &|| coordinate(at::ASH)),
        ("reading.differential_pressure.key_on", !key_on, &|| typed_reading_shrinks(asked, Point::KeyOn)),
        ("reading.differential_pressure.held", !flowing, &|| typed_reading_shrinks(asked, Point::Held)),
        ("reading.exhaust_temperature_before", flowing && !has(Quantity::ExhaustTemperatureBefore), &|| {
            coordinate(at::HEAT)
        }),
        ("reading.intake_air_mass_flow", no_flow, &|| coordinate(at::FLOW)),
        ("reading.distance_since_regeneration", view.priors.since_km.is_none(), &|| {
            distance_shrinks(asked.draws, before)
        }),
        ("sensor.plumbing", flowing && case.sensor.plumbing.is_none(), &|| coordinate(at::CONES)),
    ];
    let mut out: Vec<MissingFact> = list
        .into_iter()
        .filter(|l| l.1)
        .map(|(key, _, shrinks)| MissingFact { key, shrinks: shrinks(), figure: "soot_load_g_per_l" })
        .filter(|m| m.shrinks > 0.005)
        .collect();
    out.sort_by(|a, b| b.shrinks.total_cmp(&a.shrinks).then(a.key.cmp(b.key)));
    out
}

fn cautions(out: &Assessment, view: &View) -> Vec<Text> {
    let mut say = Vec::new();
    if out.filter.soot_load_g_per_l.p95 > 2.0 {
        say.push(Text::new("caution-hot-exhaust"));
    }
    if view.rows.iter().all(|r| r.0[1] == 0.0) {
        say.push(Text::new("caution-held-speed"));
    }
    if out.additive.is_some() {
        say.push(Text::new("caution-two-fluids"));
        say.push(Text::new("caution-no-flame"));
        say.push(Text::new("caution-lift"));
    }
    if probability(out, FaultId::AshFull) > 0.2 {
        say.push(Text::new("caution-ash-dust"));
    }
    if out.burns.iter().any(|b| b.end == BurnEnd::Runaway) {
        say.push(Text::new("caution-runaway"));
    }
    if out.fuel_in_oil.is_some_and(|x| x.percent[2] > ACT_PERCENT) {
        say.push(Text::new("caution-fuel-in-oil"));
    }
    say.push(Text::new("caution-oil-level"));
    say.push(Text::new("caution-maker-first"));
    say
}

fn open_questions(
    out: &Assessment,
    view: &View,
    joint: &Joint,
    test: Option<&(String, f64)>,
) -> Vec<OpenQuestion> {
    let mut list = Vec::new();
    let flowing = view.rows.iter().any(|r| r.0[1] > 0.0);
    let f = &out.filter;
    let mut would = narrowing(out, Figure::Soot);
    if view.priors.since_km.is_none() {
        would.push(Text::new("would-distance-since"));
    }
    if !f.soot_load_g_per_l.told {
        let reason = if !flowing {
            Text::new("reason-no-pressure")
        } else if view.data.constant == Some(true) {
            Text::new("reason-constant")
        } else if spread_of_flow(view) < 1.6 {
            Text::new("reason-one-flow")
        } else {
            Text::new("reason-sensor-doubt")
        };
        list.push(OpenQuestion { question: Text::new("question-soot"), reason, would_decide: would });
    }
    if !f.ash_mass_g.told {
        list.push(OpenQuestion {
            question: Text::new("question-ash"),
            reason: Text::new("reason-ash-and-soot-alike"),
            would_decide: narrowing(out, Figure::Ash),
        });
    }
    if !f.zero_kpa.told {
        list.push(OpenQuestion {
            question: Text::new("question-zero"),
            reason: Text::new("reason-no-engine-off"),
            would_decide: narrowing(out, Figure::Zero),
        });
    }
    let top = out.fault_sets.first().map_or(0.0, |s| s.probability);
    if !out.fault_set_told || top < FINDING {
        let would_decide = test
            .map(|(id, m)| {
                Text::new("would-observe")
                    .with("observation", Arg::Observation(id.clone()))
                    .number("minutes", *m, 0)
            })
            .into_iter()
            .collect();
        list.push(OpenQuestion {
            question: Text::new("question-fault"),
            reason: if joint.seen.memory_read {
                Text::new("reason-facts-fit-several")
            } else {
                Text::new("reason-memory-not-read")
            },
            would_decide,
        });
    }
    if let Some(b) = &out.additive {
        list.extend(b.cannot_tell.iter().cloned());
    }
    list
}

/// The readings that narrow one figure, the most telling per minute first.
fn narrowing(out: &Assessment, figure: Figure) -> Vec<Text> {
    let mut list: Vec<(f64, Text)> = out
        .readings
        .iter()
        .filter_map(|r| {
            let share = r.narrows.iter().find(|n| n.0 == figure)?.1;
            let text = Text::new("would-narrow")
                .with("what", nested(r.what.clone()))
                .with("figure", named(figure))
                .number("percent", 100.0 * share, 0)
                .number("minutes", r.minutes, 0);
            Some((share / r.minutes.max(1.0), text))
        })
        .collect();
    list.sort_by(|a, b| b.0.total_cmp(&a.0));
    list.into_iter().take(4).map(|x| x.1).collect()
}

fn spread_of_flow(view: &View) -> f64 {
    let flows: Vec<f64> = view.points.iter().map(|p| p.flow_g_per_s).filter(|f| *f > 0.0).collect();
    let (lo, hi) = flows.iter().fold((f64::MAX, 0.0_f64), |(l, h), f| (l.min(*f), h.max(*f)));
    if hi > 0.0 { hi / lo.max(1e-6) } else { 1.0 }
}
