//! The words of the answer: plain sentences, why, what would help, what to beware of. Message identifiers
//! only; the sentences are in the catalogue.

use crate::assess::{Additive, Joint, View};
use crate::assessment::{Arg, Assessment, MissingFact, OpenQuestion, Text};
use crate::hypothesis::EngineMode;
use crate::posterior::Draws;
use crate::prior::coordinate as at;
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
    knowledge: &Knowledge,
) {
    out.missing = missing(view, draws, out.filter.soot_load_g_per_l.told);
    out.why = why(out, view, joint, additive, knowledge);
    let test = next_test(out, joint, knowledge);
    out.plain = plain(out, substrate(view.case), test.as_ref());
    out.cautions = cautions(out, view);
    out.cannot_tell = open_questions(out, view, joint, test.as_ref());
    if joint.effective() < 60.0 {
        out.problems.push(Text::new("problem-few-samples").number("effective", joint.effective(), 0));
    }
}

/// The substrate for safety limits; an unknown one gets the lowest.
fn substrate(case: &facts::Case) -> wallflow::media::Material {
    use facts::case::Material as Given;
    use wallflow::media::Material as M;
    match case.filter.material {
        Some(Given::Cordierite) => M::Cordierite,
        Some(Given::SiliconCarbide) => M::SiliconCarbide,
        Some(Given::AluminiumTitanate) => M::AluminiumTitanate,
        None => M::Unknown,
    }
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
            Text::new("plain-additive-left")
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
        additive.weight.iter().find(|w| w.0 == a).map_or(0.0, |w| w.1)
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

fn missing(view: &View, draws: &Draws, soot_told: bool) -> Vec<MissingFact> {
    let case = view.case;
    let log_soot: Vec<f64> = draws.soot.iter().map(|s| s.max(1e-3).ln()).collect();
    let explained = |of: &dyn Fn(usize) -> f64| {
        let w = &draws.weight;
        let sum: f64 = w.iter().sum::<f64>().max(1e-300);
        let mean = |f: &dyn Fn(usize) -> f64| (0..w.len()).map(|i| w[i] * f(i)).sum::<f64>() / sum;
        let (mx, my) = (mean(of), mean(&|i| log_soot[i]));
        let vx = mean(&|i| (of(i) - mx).powi(2));
        let vy = mean(&|i| (log_soot[i] - my).powi(2));
        let c = mean(&|i| (of(i) - mx) * (log_soot[i] - my));
        if vx * vy > 0.0 { (c * c / (vx * vy)).clamp(0.0, 0.999) } else { 0.0 }
    };
    let coordinate = |j: usize| explained(&|i| draws.x[i][j]);
    let key_on =
        case.reading.iter().any(|r| r.point == Some(Point::KeyOn)) || view.rows.iter().any(|r| r.0[1] == 0.0);
    let has = |q: Quantity| case.reading.iter().any(|r| r.quantity == q);
    let f = &case.filter;
    let mut list: Vec<(&'static str, bool, f64)> = vec![
        ("filter.material", f.material.is_none(), coordinate(at::WALL)),
        ("filter.cell_density_cpsi", f.cell_density_cpsi.is_none(), coordinate(at::CELLS)),
        (
            "filter.volume_l",
            f.volume_l.is_none() && f.diameter_mm.is_none() && f.oval_long_axis_mm.is_none(),
            coordinate(at::VOLUME),
        ),
        ("filter.fitted_odometer_km", f.fitted_odometer_km.is_none(), coordinate(at::ASH)),
        ("reading.differential_pressure.key_on", !key_on, explained(&|i| draws.zero[i])),
        (
            "reading.exhaust_temperature_before",
            !has(Quantity::ExhaustTemperatureBefore),
            coordinate(at::HEAT),
        ),
        (
            "reading.intake_air_mass_flow",
            !has(Quantity::IntakeAirMassFlow) && view.data.mean_k.is_some(),
            coordinate(at::FLOW),
        ),
        ("sensor.plumbing", case.sensor.plumbing.is_none(), coordinate(at::CONES)),
    ];
    if view.priors.since_km.is_none() {
        // Of the spread of a load by distance, 0.8² of 0.8² + 0.55² is the unknown distance (the spreads of
        // the soot prior); that readings already took six tenths of it is an expert guess.
        let share: f64 = 0.64 / (0.64 + 0.3);
        list.push(("reading.distance_since_regeneration", true, share * if soot_told { 0.4 } else { 1.0 }));
    }
    if view.rows.iter().all(|r| r.0[1] == 0.0) {
        // Without any reading under flow, one of them takes about half of the spread: expert guess.
        list.push(("reading.differential_pressure.held", true, 0.5));
    }
    let mut out: Vec<MissingFact> = list
        .into_iter()
        .filter(|l| l.1)
        .map(|(key, _, r2)| MissingFact {
            key,
            shrinks: 1.0 - (1.0 - r2).sqrt(),
            figure: "soot_load_g_per_l",
        })
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
    let key_on = view.rows.iter().any(|r| r.0[1] == 0.0);
    let f = &out.filter;
    let mut would: Vec<Text> = Vec::new();
    if !key_on {
        would.push(Text::new("would-key-on"));
    }
    if flowing {
        would.push(Text::new("would-recording-drive"));
        would.push(Text::new("would-after-regeneration"));
    } else {
        would.push(Text::new("would-held-reading"));
        would.push(Text::new("would-recording-drive"));
    }
    if view.priors.since_km.is_none() {
        would.push(Text::new("would-distance-since"));
    }
    would.push(Text::new("would-weigh-filter"));
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
        list.push(OpenQuestion { question: Text::new("question-soot"), reason, would_decide: would.clone() });
    }
    if !f.ash_mass_g.told {
        list.push(OpenQuestion {
            question: Text::new("question-ash"),
            reason: Text::new("reason-ash-and-soot-alike"),
            would_decide: vec![Text::new("would-after-regeneration"), Text::new("would-weigh-filter")],
        });
    }
    if !f.zero_kpa.told {
        list.push(OpenQuestion {
            question: Text::new("question-zero"),
            reason: Text::new("reason-no-engine-off"),
            would_decide: vec![Text::new("would-key-on")],
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

fn spread_of_flow(view: &View) -> f64 {
    let flows: Vec<f64> = view.points.iter().map(|p| p.flow_g_per_s).filter(|f| *f > 0.0).collect();
    let (lo, hi) = flows.iter().fold((f64::MAX, 0.0_f64), |(l, h), f| (l.min(*f), h.max(*f)));
    if hi > 0.0 { hi / lo.max(1e-6) } else { 1.0 }
}
