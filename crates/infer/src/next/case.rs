//! The question about the next step, from a case and its assessment.

use super::{Depth, Desk, Question};
use crate::assess::Evidence;
use crate::assessment::Assessment;
use crate::network::{Answers, Member, Set};
use crate::observe::Seen;
use crate::safety::{SAFE_BELOW, Verdict};
use crate::typed;

/// What pressure readings under flow say in full.
const SAID_BY_FLOW: [&str; 3] = ["dp_2500_high", "dp_2500_near_zero", "dp_2500_negative"];
/// What a weighing of the reservoir says in full.
const SAID_BY_WEIGHING: [&str; 2] = ["counter_disagrees_with_measured_level", "reservoir_below_minimum"];
/// What a reservoir must be there for; the rest of an additive system's tests go with it.
const OF_THE_ADDITIVE: [&str; 15] = [
    "additive_line_air_or_foreign_fluid",
    "counter_disagrees_with_measured_level",
    "dose_comes_after_priming",
    "dose_test_no_delivery",
    "dtc_additive_circuit",
    "dtc_additive_level_low",
    "level_signal_fails_check",
    "pouch_leak_visible",
    "pump_silent_in_dose_test",
    "q_recent_additive_work",
    "reservoir_below_minimum",
    "simulated_refuel_gives_no_dose",
    "tank_or_line_leak_visible",
    "unit_reports_not_coded",
    "connector_or_wiring_damaged",
];

/// What is asked of the desk for this car. `ready` names set-ups that are in place.
#[must_use]
pub fn question(desk: &Desk, evidence: &Evidence, assessment: &Assessment, ready: &[&str]) -> Question {
    let case = evidence.case;
    let role = typed::current_role(case);
    let seen = Seen::new(case, evidence.recordings, evidence.knowledge, role, false);
    let answers = desk.network.answers(seen.answers.iter().map(|(o, yes)| (o.as_str(), *yes)));
    let mut closed: Vec<&str> = Vec::new();
    let now = || assessment.plot.points.iter().filter(|p| !p.before);
    if now().any(|p| p.flow_g_per_s <= 0.0) {
        closed.push("dp_key_on_offset");
    }
    if now().any(|p| p.flow_g_per_s > 0.0) {
        closed.extend(SAID_BY_FLOW);
    }
    if !case.reservoir_weighed.is_empty() {
        closed.extend(SAID_BY_WEIGHING);
    }
    if case.reservoir.kind == Some(facts::case::ReservoirKind::None) {
        closed.extend(OF_THE_ADDITIVE);
    }
    if seen.memory_read {
        // A memory that was read answers for every family of standard codes.
        let of_codes = evidence.knowledge.observations().iter().filter(|o| !o.codes.is_empty());
        closed.extend(of_codes.map(|o| o.id.as_str()));
    }
    let bit = |id: &str| desk.set_ups.iter().position(|s| s.id == id).map_or(0, |i| 1_u32 << i);
    // The same verdicts as everywhere: what is not shown safe for its soot is not proposed. Conditions that are
    // only open are looked at first, by the rules of the knowledge.
    let verdict = &assessment.regeneration;
    let mut barred = 0;
    if verdict.above >= SAFE_BELOW || verdict.service == Verdict::Unsafe {
        barred |= bit("service_regen");
    }
    if !verdict.may_load_engine() {
        barred |= bit("engine_hot") | bit("road_test");
    }
    Question {
        sets: assessment
            .fault_sets
            .iter()
            .map(|s| Member { set: Set::of(&s.faults), p: s.probability })
            .collect(),
        answers,
        closed: closed.iter().filter_map(|o| Some((desk.network.number(o)?, true))).collect::<Answers>(),
        paid: ready.iter().fold(0, |m, id| m | bit(id)),
        barred,
        depth: Depth::fitting(desk),
    }
}
