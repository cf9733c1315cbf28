//! The plan of work: steps of several procedures in one order, and their times.

use crate::procedure::{Fault, Procedure, Step};
use crate::timetable::timetable;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A step with its times in a plan.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Planned {
    /// The step; `after` names every step of this plan that must be done before.
    pub step: Step,
    /// Earliest start after the work begins, minutes.
    pub start_min: f64,
    /// Earliest end, minutes.
    pub end_min: f64,
    /// How late it may be without making the whole later, minutes; 0 = on the critical path.
    pub slack_min: f64,
}

/// A plan of work for one car.
#[derive(Debug, Clone, PartialEq, Serialize, Default, JsonSchema)]
pub struct Plan {
    /// Steps in an order in which they can be done.
    pub steps: Vec<Planned>,
    /// Time of hands, minutes.
    pub hands_on_min: f64,
    /// Time during which nobody is needed at this car and another one can be worked on, minutes.
    pub free_min: f64,
    /// From begin to end for one person, minutes.
    pub through_min: f64,
    /// From begin to end when every step starts as early as it may (more hands), minutes.
    pub critical_min: f64,
}

/// Joins procedures into one plan. A step that several share (by its identifier) is done once, after all
/// that any of them wants before it, with what any of them wants of it; a step without `after` comes after the one
/// before it in its procedure. While a step on which others wait is not done, no other procedure begins.
///
/// # Errors
/// [`Fault::Ring`] when steps wait for each other.
pub fn plan(procedures: &[Procedure]) -> Result<Plan, Fault> {
    let mut order: Vec<Step> = Vec::new();
    let mut before: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    let has = |p: &Procedure, id: &str| p.step.iter().any(|s| s.id == id);
    let holds = |p: &Procedure| p.step.iter().any(|s| s.others_wait);
    for p in procedures {
        for (i, s) in p.step.iter().enumerate() {
            match order.iter_mut().find(|o| o.id == s.id) {
                Some(there) => join(there, s),
                None => order.push(s.clone()),
            }
            // A step of a procedure that holds this one back cannot wait for a step that is held back.
            let holder = procedures.iter().find(|h| holds(h) && !holds(p) && has(h, &s.id));
            let first = |id: &&str| holder.is_none_or(|h| has(h, id));
            let of = before.entry(&s.id).or_default();
            if s.after.is_empty() {
                of.extend(i.checked_sub(1).and_then(|i| p.step.get(i)).map(|s| s.id.as_str()).filter(first));
            } else {
                of.extend(s.after.iter().map(String::as_str).filter(first));
            }
        }
    }
    for holder in procedures {
        for gate in holder.step.iter().filter(|s| s.others_wait) {
            // Two procedures that both hold the others back do not hold each other back.
            for p in procedures.iter().filter(|p| !holds(p)) {
                for s in p.step.iter().filter(|s| !has(holder, &s.id)) {
                    before.entry(&s.id).or_default().insert(&gate.id);
                }
            }
        }
    }
    let known: BTreeSet<&str> = order.iter().map(|s| s.id.as_str()).collect();
    let mut end: BTreeMap<&str, f64> = BTreeMap::new();
    let mut steps: Vec<Planned> = Vec::new();
    while steps.len() < order.len() {
        let ready = order.iter().find(|s| {
            !end.contains_key(s.id.as_str())
                && before[s.id.as_str()].iter().all(|b| !known.contains(b) || end.contains_key(b))
        });
        let Some(s) = ready else {
            return Err(Fault::Ring(procedures.iter().map(|p| p.id.as_str()).collect::<Vec<_>>().join(", ")));
        };
        let start = before[s.id.as_str()].iter().filter_map(|b| end.get(b)).copied().fold(0.0, f64::max);
        let stop = start + s.hands_on_min + s.wait_min;
        end.insert(&s.id, stop);
        let mut step = s.clone();
        step.after =
            before[s.id.as_str()].iter().filter(|b| known.contains(*b)).map(|b| (*b).to_owned()).collect();
        steps.push(Planned { step, start_min: start, end_min: stop, slack_min: 0.0 });
    }
    let critical_min = steps.iter().map(|s| s.end_min).fold(0.0, f64::max);
    // Backwards: the latest end of a step is the earliest latest start of what waits for it.
    let mut latest: BTreeMap<String, f64> = BTreeMap::new();
    for i in (0..steps.len()).rev() {
        let id = steps[i].step.id.clone();
        let due = steps
            .iter()
            .filter(|s| before.get(s.step.id.as_str()).is_some_and(|b| b.contains(id.as_str())))
            .filter_map(|s| latest.get(&s.step.id).map(|e| e - (s.end_min - s.start_min)))
            .fold(critical_min, f64::min);
        steps[i].slack_min = due - steps[i].end_min;
        latest.insert(id, due);
    }
    let one = timetable(&[steps.iter().map(|s| s.step.clone()).collect()], 1, 1);
    Ok(Plan {
        hands_on_min: steps.iter().map(|s| s.step.hands_on_min).sum(),
        free_min: steps.iter().filter(|s| !s.step.attended).map(|s| s.step.wait_min).sum(),
        through_min: one.end_min,
        critical_min,
        steps,
    })
}

/// What another procedure wants of a step that is done once for both.
fn join(there: &mut Step, more: &Step) {
    if !there.text.contains(&more.text) {
        there.text = format!("{}; {}", there.text, more.text);
    }
    there.hands_on_min = there.hands_on_min.max(more.hands_on_min);
    there.wait_min = there.wait_min.max(more.wait_min);
    there.attended |= more.attended;
    there.lift |= more.lift;
    there.others_wait |= more.others_wait;
    there.source = there.source.take().or_else(|| more.source.clone());
    for (list, more) in [
        (&mut there.tools, &more.tools),
        (&mut there.parts, &more.parts),
        (&mut there.fluids, &more.fluids),
        (&mut there.ppe, &more.ppe),
        (&mut there.cautions, &more.cautions),
        (&mut there.interlocks, &more.interlocks),
        (&mut there.proof, &more.proof),
        (&mut there.enter, &more.enter),
    ] {
        for item in more {
            if !list.contains(item) {
                list.push(item.clone());
            }
        }
    }
}
