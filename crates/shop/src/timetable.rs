//! Several cars at once: one timetable over cars, people and lifts, in which one car's waiting is another's work.
//!
//! A job-shop problem, whose optimum is hard to find. Here: list scheduling (whoever is free takes a step that can
//! begin first) tried with several orders of urgency, the best kept, beside a lower bound that no timetable can beat.

use crate::procedure::Step;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// One step in a timetable.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Slot {
    /// Place of the car.
    pub car: usize,
    /// Identifier of the step.
    pub step: String,
    /// Who does it, counted from 0.
    pub person: usize,
    /// The lift that the car stands on, counted from 0, where the step wants one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lift: Option<usize>,
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
    /// When each car is done, minutes.
    pub cars_end_min: Vec<f64>,
    /// No timetable for these cars, people and lifts can end before this, minutes.
    pub bound_min: f64,
    /// When it would end were one car done after the other, minutes.
    pub one_by_one_min: f64,
}

/// A wait from which a car comes down from the lift, minutes (a choice: half a working day; it is pushed aside).
pub const DOWN_FROM_MIN: f64 = 240.0;

/// Most cars for which every order of urgency is tried; beyond it, [`TRIES`] of them.
const ALL_ORDERS_UP_TO: usize = 5;
/// Orders of urgency tried for many cars.
const TRIES: usize = 120;

/// Lays the steps of several cars over each other so that one's waiting is another's work.
///
/// `after` of each step names every step of its car that comes before ([`plan`](crate::plan()) fills it in). Nobody is in
/// two places, nobody leaves an attended step, and a car that has begun with steps on a lift keeps the lift until its
/// last of them, or until a wait of [`DOWN_FROM_MIN`] or more. Waits run on the clock: nights and days off are not cut out.
/// Of the timetables tried the one is kept with the least sum of when all cars are done and when a car is done on
/// average: nobody gains from a car that stands until evening because another one may.
#[must_use]
pub fn timetable(cars: &[Vec<Step>], people: usize, lifts: usize) -> Timetable {
    let (people, lifts) = (people.max(1), lifts.max(1));
    let shop: Vec<Car> = cars.iter().map(|steps| Car::new(steps)).collect();
    let mut best = Timetable::default();
    let mut first = true;
    for urgency in orders(shop.len()) {
        for rule in [Rule::CarFirst, Rule::LongestTail] {
            let made = dispatch(&shop, &urgency, rule, people, lifts);
            if first || merit(&made) < merit(&best) {
                best = made;
                first = false;
            }
        }
    }
    best.bound_min = bound(&shop, people, lifts);
    if shop.len() > 1 {
        best.one_by_one_min =
            cars.iter().map(|c| timetable(std::slice::from_ref(c), people, lifts).end_min).sum();
        let after_each_other = one_by_one(cars, people, lifts, best.bound_min);
        if merit(&after_each_other) < merit(&best) {
            return after_each_other;
        }
    } else {
        best.one_by_one_min = best.end_min;
    }
    best.slots.sort_by(|a, b| a.start_min.total_cmp(&b.start_min).then(a.car.cmp(&b.car)));
    best
}

/// What is made small: when all cars are done and when a car is done on average, minutes.
fn merit(t: &Timetable) -> f64 {
    t.end_min + t.cars_end_min.iter().sum::<f64>() / t.cars_end_min.len().max(1) as f64
}

fn one_by_one(cars: &[Vec<Step>], people: usize, lifts: usize, bound_min: f64) -> Timetable {
    let mut out = Timetable { bound_min, ..Timetable::default() };
    for (car, steps) in cars.iter().enumerate() {
        let at = out.end_min;
        let alone = timetable(std::slice::from_ref(steps), people, lifts);
        out.slots.extend(alone.slots.into_iter().map(|s| Slot {
            car,
            start_min: s.start_min + at,
            hands_end_min: s.hands_end_min + at,
            end_min: s.end_min + at,
            ..s
        }));
        out.end_min = at + alone.end_min;
        out.cars_end_min.push(out.end_min);
    }
    out.one_by_one_min = out.end_min;
    out
}

/// Which of the steps that can begin at the same moment is taken.
#[derive(Clone, Copy)]
enum Rule {
    /// That of the most urgent car.
    CarFirst,
    /// That with the longest chain of work and waiting behind it, the most urgent car among equals.
    LongestTail,
}

/// A car with its steps by number.
struct Car<'a> {
    steps: &'a [Step],
    /// Numbers of the steps before each.
    before: Vec<Vec<usize>>,
    /// Time from the begin of each step to the end of the car at the earliest.
    tail: Vec<f64>,
}

impl<'a> Car<'a> {
    fn new(steps: &'a [Step]) -> Self {
        let number: BTreeMap<&str, usize> =
            steps.iter().enumerate().map(|(i, s)| (s.id.as_str(), i)).collect();
        let before: Vec<Vec<usize>> = steps
            .iter()
            .map(|s| s.after.iter().filter_map(|a| number.get(a.as_str()).copied()).collect())
            .collect();
        let mut tail: Vec<f64> = steps.iter().map(lasts).collect();
        // As often as there are steps: longer chains there cannot be, and a ring ends all the same.
        for _ in steps {
            let mut changed = false;
            for (i, step_before) in before.iter().enumerate() {
                for &b in step_before {
                    let longer = steps.get(b).map_or(0.0, lasts) + tail[i];
                    if longer > tail[b] {
                        tail[b] = longer;
                        changed = true;
                    }
                }
            }
            if !changed {
                break;
            }
        }
        Self { steps, before, tail }
    }

    /// Whether a step cannot begin before another has ended, by whatever steps between.
    fn waits_for(&self, step: usize, other: usize) -> bool {
        let mut seen = vec![false; self.steps.len()];
        let mut open = vec![step];
        while let Some(at) = open.pop() {
            for &b in &self.before[at] {
                if b == other {
                    return true;
                }
                if !std::mem::replace(&mut seen[b], true) {
                    open.push(b);
                }
            }
        }
        false
    }

    /// The longest chain of steps on the lift.
    fn lift_chain(&self) -> f64 {
        let on_lift: Vec<Step> = self.steps.iter().filter(|s| s.lift).cloned().collect();
        Car::new(&on_lift).tail.iter().copied().fold(0.0, f64::max)
    }
}

fn lasts(s: &Step) -> f64 {
    s.hands_on_min + s.wait_min
}

/// Time for which a step holds a person.
fn holds(s: &Step) -> f64 {
    if s.attended { lasts(s) } else { s.hands_on_min }
}

/// The longest chain of any car; all hands over all people; all chains on lifts over all lifts.
fn bound(shop: &[Car], people: usize, lifts: usize) -> f64 {
    let longest = shop.iter().flat_map(|c| c.tail.iter().copied()).fold(0.0, f64::max);
    let hands: f64 = shop.iter().flat_map(|c| c.steps).map(holds).sum();
    let lifted: f64 = shop.iter().map(Car::lift_chain).sum();
    longest.max(hands / people as f64).max(lifted / lifts as f64)
}

/// Orders of urgency: all of them for few cars, else the given one, its rotations and shuffles.
fn orders(cars: usize) -> Vec<Vec<usize>> {
    let given: Vec<usize> = (0..cars).collect();
    if cars <= ALL_ORDERS_UP_TO {
        let mut out = vec![Vec::new()];
        for car in 0..cars {
            out = out
                .into_iter()
                .flat_map(|o: Vec<usize>| {
                    (0..=o.len()).map(move |at| {
                        let mut o = o.clone();
                        o.insert(at, car);
                        o
                    })
                })
                .collect();
        }
        return out;
    }
    let mut out = vec![given.clone()];
    // A fixed sequence, so that the same cars give the same timetable.
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    while out.len() < TRIES {
        let mut o = given.clone();
        for i in (1..o.len()).rev() {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            o.swap(i, (state >> 33) as usize % (i + 1));
        }
        out.push(o);
    }
    out
}

fn dispatch(shop: &[Car], urgency: &[usize], rule: Rule, people: usize, lifts: usize) -> Timetable {
    let mut free = vec![0.0_f64; people];
    let mut lift_free = vec![0.0_f64; lifts];
    let mut lift_of: Vec<Option<usize>> = vec![None; shop.len()];
    let mut lift_since = vec![0.0_f64; shop.len()];
    let mut ended: Vec<Vec<Option<f64>>> = shop.iter().map(|c| vec![None; c.steps.len()]).collect();
    let mut rank = vec![0_usize; shop.len()];
    for (place, &car) in urgency.iter().enumerate() {
        rank[car] = place;
    }
    let least = |list: &[f64]| list.iter().copied().fold(f64::INFINITY, f64::min);
    let mut out = Timetable { cars_end_min: vec![0.0; shop.len()], ..Timetable::default() };
    loop {
        // (moment, urgency) of the best step so far, with car and number.
        let mut best: Option<((f64, f64, usize), usize, usize)> = None;
        let hands = least(&free);
        for (c, car) in shop.iter().enumerate() {
            for (i, s) in car.steps.iter().enumerate().filter(|(i, _)| ended[c][*i].is_none()) {
                let ready = car.before[i].iter().try_fold(0.0_f64, |t, &b| ended[c][b].map(|e| t.max(e)));
                let Some(mut at) = ready else { continue };
                if s.lift {
                    // A car that has its lift may not go up on it before the car ahead came down.
                    at = at.max(if lift_of[c].is_some() { lift_since[c] } else { least(&lift_free) });
                }
                if !at.is_finite() {
                    continue;
                }
                at = at.max(hands);
                let key = match rule {
                    Rule::CarFirst => (at, rank[c] as f64, i),
                    Rule::LongestTail => (at, -car.tail[i], rank[c]),
                };
                let sooner = best.as_ref().is_none_or(|(k, _, _)| {
                    key.0.total_cmp(&k.0).then(key.1.total_cmp(&k.1)).then(key.2.cmp(&k.2)).is_lt()
                });
                if sooner {
                    best = Some((key, c, i));
                }
            }
        }
        let Some(((start, _, _), c, i)) = best else { break };
        let Some(s) = shop.get(c).and_then(|car| car.steps.get(i)) else { break };
        // Of those who are free by then, whoever became free last: the others can begin elsewhere sooner.
        let who = (0..free.len()).filter(|p| free[*p] <= start).max_by(|a, b| free[*a].total_cmp(&free[*b]));
        let Some(person) = who else { break };
        let hands_end = start + s.hands_on_min;
        let end = start + lasts(s);
        free[person] = start + holds(s);
        ended[c][i] = Some(end);
        if s.lift && lift_of[c].is_none() {
            let lift = (0..lift_free.len())
                .filter(|l| lift_free[*l] <= start)
                .max_by(|a, b| lift_free[*a].total_cmp(&lift_free[*b]));
            lift_of[c] = lift;
            if let Some(l) = lift {
                lift_since[c] = lift_free[l];
                lift_free[l] = f64::INFINITY;
            }
        }
        let lift = if s.lift { lift_of[c] } else { None };
        // A filter that is away for days holds no lift: the car comes down, unless it has work on it meanwhile.
        let long = s.wait_min >= DOWN_FROM_MIN && !s.lift;
        let mut on_lift =
            (0..shop[c].steps.len()).filter(|&j| shop[c].steps[j].lift && ended[c][j].is_none());
        if let Some(l) = lift_of[c]
            && on_lift.all(|j| long && shop[c].waits_for(j, i))
        {
            // The last step on the lift to be given out need not be the last to end.
            let down = shop[c].steps.iter().zip(&ended[c]).filter(|(s, _)| s.lift).filter_map(|(_, e)| *e);
            lift_free[l] = down.fold(0.0, f64::max);
            lift_of[c] = None;
        }
        out.end_min = out.end_min.max(end);
        out.cars_end_min[c] = out.cars_end_min[c].max(end);
        out.slots.push(Slot {
            car: c,
            step: s.id.clone(),
            person,
            lift,
            start_min: start,
            hands_end_min: hands_end,
            end_min: end,
        });
    }
    out
}
