//! The plan of work: steps of several procedures in one order, their times, and several cars at once.

use crate::procedure::{Fault, Procedure, Step};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A step with its times in a plan.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Planned {
    /// The step.
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
    for p in procedures {
        for (i, s) in p.step.iter().enumerate() {
            match order.iter_mut().find(|o| o.id == s.id) {
                Some(there) => join(there, s),
                None => order.push(s.clone()),
            }
            let of = before.entry(&s.id).or_default();
            if s.after.is_empty() {
                of.extend(i.checked_sub(1).and_then(|i| p.step.get(i)).map(|s| s.id.as_str()));
            } else {
                of.extend(s.after.iter().map(String::as_str));
            }
        }
    }
    for holder in procedures {
        for gate in holder.step.iter().filter(|s| s.others_wait) {
            // Two procedures that both hold the others back do not hold each other back.
            for p in procedures.iter().filter(|p| !p.step.iter().any(|s| s.others_wait)) {
                for s in p.step.iter().filter(|s| !holder.step.iter().any(|h| h.id == s.id)) {
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
        steps.push(Planned { step: s.clone(), start_min: start, end_min: stop, slack_min: 0.0 });
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
    let one = timetable(&[steps.iter().map(|s| s.step.clone()).collect()], &before_of(&before), 1, 1);
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

fn before_of(before: &BTreeMap<&str, BTreeSet<&str>>) -> BTreeMap<String, BTreeSet<String>> {
    before.iter().map(|(k, v)| ((*k).to_owned(), v.iter().map(|s| (*s).to_owned()).collect())).collect()
}

/// One step in a timetable.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Slot {
    /// Place of the car.
    pub car: usize,
    /// Identifier of the step.
    pub step: String,
    /// Who does it, counted from 0.
    pub person: usize,
    /// Hands begin, minutes.
    pub start_min: f64,
    /// Hands end, minutes.
    pub hands_end_min: f64,
    /// The step ends, minutes.
    pub end_min: f64,
}

/// Several cars worked on by several people.
#[derive(Debug, Clone, PartialEq, Serialize, Default, JsonSchema)]
pub struct Timetable {
    /// Steps in the order of their starts.
    pub slots: Vec<Slot>,
    /// When the last one ends, minutes.
    pub end_min: f64,
}

/// Lays cars over each other so that one's waiting is another's work: whoever is free takes the step that
/// can start first; of those the one of the car with most work left. A car that has begun with steps on a
/// lift keeps the lift until its last of them. Not the optimum, which is a job-shop problem; never worse
/// than one car after the other by more than a step's waiting.
#[must_use]
pub fn timetable(
    cars: &[Vec<Step>],
    before: &BTreeMap<String, BTreeSet<String>>,
    people: usize,
    lifts: usize,
) -> Timetable {
    let mut free = vec![0.0_f64; people.max(1)];
    let mut lift_free = vec![0.0_f64; lifts.max(1)];
    let mut lift_of: Vec<Option<usize>> = vec![None; cars.len()];
    let mut ended: Vec<BTreeMap<&str, f64>> = vec![BTreeMap::new(); cars.len()];
    let mut out = Timetable::default();
    loop {
        let mut best: Option<(f64, f64, usize, usize)> = None;
        for (c, steps) in cars.iter().enumerate() {
            let left: f64 = steps
                .iter()
                .filter(|s| !ended[c].contains_key(s.id.as_str()))
                .map(|s| s.hands_on_min + s.wait_min)
                .sum();
            for (i, s) in steps.iter().enumerate().filter(|(_, s)| !ended[c].contains_key(s.id.as_str())) {
                let wanted = before.get(&s.id);
                let of_car = |b: &str| steps.iter().any(|s| s.id == b);
                let ready = wanted
                    .into_iter()
                    .flatten()
                    .filter(|b| of_car(b))
                    .try_fold(0.0_f64, |t, b| ended[c].get(b.as_str()).map(|e| t.max(*e)));
                let Some(mut at) = ready else { continue };
                if s.lift && lift_of[c].is_none() {
                    at = at.max(lift_free.iter().copied().fold(f64::INFINITY, f64::min));
                }
                if !at.is_finite() {
                    continue;
                }
                at = at.max(free.iter().copied().fold(f64::INFINITY, f64::min));
                let better = best.is_none_or(|(t, l, _, _)| at < t || (at == t && left > l));
                if better {
                    best = Some((at, left, c, i));
                }
            }
        }
        let Some((_, _, c, i)) = best else { break };
        let Some(s) = cars.get(c).and_then(|steps| steps.get(i)) else { break };
        let start = best.map_or(0.0, |b| b.0);
        let person = (0..free.len()).min_by(|a, b| free[*a].total_cmp(&free[*b])).unwrap_or(0);
        let hands_end = start + s.hands_on_min;
        let end = hands_end + s.wait_min;
        free[person] = if s.attended { end } else { hands_end };
        ended[c].insert(&s.id, end);
        if s.lift && lift_of[c].is_none() {
            let lift = (0..lift_free.len()).min_by(|a, b| lift_free[*a].total_cmp(&lift_free[*b]));
            lift_of[c] = lift;
            if let Some(l) = lift {
                lift_free[l] = f64::INFINITY;
            }
        }
        if let Some(l) = lift_of[c]
            && !cars[c].iter().any(|s| s.lift && !ended[c].contains_key(s.id.as_str()))
            && lift_free[l].is_infinite()
        {
            lift_free[l] = end;
            lift_of[c] = None;
        }
        out.end_min = out.end_min.max(end);
        out.slots.push(Slot {
            car: c,
            step: s.id.clone(),
            person,
            start_min: start,
            hands_end_min: hands_end,
            end_min: end,
        });
    }
    out.slots.sort_by(|a, b| a.start_min.total_cmp(&b.start_min).then(a.car.cmp(&b.car)));
    out
}
