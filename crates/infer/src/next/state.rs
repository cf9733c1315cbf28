//! Where the work on one car stands: what may still be wrong, what was asked, what is set up.

use super::desk::Desk;
use crate::network::{Answers, Member, Set};
use std::collections::HashMap;

/// One step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Action {
    /// Ask or test: a place among the tests of the desk.
    Test(usize),
    /// Repair: the number of a fault.
    Repair(usize),
    /// Prove that nothing is left: the final test.
    FinalTest,
    /// Hand the car to a specialist.
    Refer,
}

/// A fault set that may be present now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Entry {
    pub(crate) set: Set,
    pub(crate) row: u32,
    pub(crate) p: f64,
}

/// Rows of probabilities of all observations, by fault set.
#[derive(Debug, Clone, Default)]
pub(crate) struct Rows {
    pub(crate) rows: Vec<Vec<f64>>,
    /// What the specialist asks, EUR.
    pub(crate) refer: Vec<f64>,
    /// The least when the set is known and every set-up is in place, EUR.
    pub(crate) known: Vec<f64>,
    place: HashMap<Set, u32>,
}

impl Rows {
    /// Rows of the sets and of all that repairs may leave of them.
    pub(crate) fn new(desk: &Desk, sets: impl Iterator<Item = Set>) -> Self {
        let mut out = Self::default();
        for set in sets {
            let faults: Vec<usize> = set.iter().collect();
            for bits in 0..1_u32 << faults.len().min(8) {
                let left = faults
                    .iter()
                    .enumerate()
                    .filter(|(i, _)| bits >> i & 1 == 1)
                    .fold(Set::NONE, |s, (_, f)| s.with(*f));
                if let std::collections::hash_map::Entry::Vacant(v) = out.place.entry(left) {
                    v.insert(out.rows.len() as u32);
                    out.rows.push(desk.network.row(left));
                    out.refer.push(desk.refer_eur(left));
                    out.known.push(desk.known_eur(left, u32::MAX));
                }
            }
        }
        out
    }

    fn of(&self, set: Set) -> u32 {
        self.place.get(&set).copied().unwrap_or_default()
    }
}

/// Where the work stands.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    pub(crate) belief: Vec<Entry>,
    /// Answers that belong to the car as it is: since the last repair.
    pub(crate) answers: Answers,
    /// Every answer ever given.
    pub(crate) asked: Answers,
    /// Set-ups in place.
    pub(crate) paid: u32,
    /// Repairs done.
    pub(crate) repaired: Set,
    /// Observations whose *yes* was taken away by a remedy.
    pub(crate) remedied: Answers,
    /// Observations that need not be made: facts of another kind say as much.
    pub(crate) closed: Answers,
    /// Set-ups that are barred whatever happens here.
    pub(crate) barred: u32,
}

/// Sets below this share are left out of look-ahead.
const NEGLIGIBLE: f64 = 1e-4;

impl State {
    /// The state before any step: fault sets as the assessment has them, answers that it has used already.
    pub(crate) fn new(rows: &Rows, sets: &[Member], answers: Answers, paid: u32) -> Self {
        let belief =
            sets.iter().map(|m| Entry { set: m.set, row: rows.of(m.set), p: m.p }).collect::<Vec<_>>();
        let mut out = Self {
            belief,
            answers,
            asked: answers,
            paid,
            repaired: Set::NONE,
            remedied: Answers::NONE,
            closed: Answers::NONE,
            barred: 0,
        };
        out.normalise();
        out
    }

    /// Fault sets that may be present now, with their probabilities.
    #[must_use]
    pub fn sets(&self) -> Vec<Member> {
        self.belief.iter().map(|e| Member { set: e.set, p: e.p }).collect()
    }

    /// Probability that nothing is left.
    #[must_use]
    pub fn sound(&self) -> f64 {
        self.belief.iter().filter(|e| e.set.is_empty()).map(|e| e.p).sum()
    }

    /// Whether a fault's repair was done.
    #[must_use]
    pub fn has_repaired(&self, fault: usize) -> bool {
        self.repaired.has(fault)
    }

    /// Whether any repair was done.
    #[must_use]
    pub fn any_repaired(&self) -> bool {
        !self.repaired.is_empty()
    }

    /// Set-ups in place, one bit each.
    #[must_use]
    pub fn in_place(&self) -> u32 {
        self.paid
    }

    /// Answers that belong to the car as it is.
    #[must_use]
    pub fn fresh(&self) -> Answers {
        self.answers
    }

    fn normalise(&mut self) {
        let total: f64 = self.belief.iter().map(|e| e.p).sum();
        if total > 0.0 {
            for e in &mut self.belief {
                e.p /= total;
            }
            self.belief.retain(|e| e.p > NEGLIGIBLE);
        }
    }

    /// Outcomes of a test: the observation that is *yes* (or none), its probability, and what stands then.
    pub(crate) fn outcomes(&self, desk: &Desk, rows: &Rows, test: usize) -> Vec<(Option<usize>, f64, State)> {
        let Some(t) = desk.tests.get(test) else { return Vec::new() };
        // By entry: probability that this or an earlier member is not yet yes.
        let mut left: Vec<f64> = self.belief.iter().map(|e| e.p).collect();
        let mut before = self.answers;
        let mut asked = self.asked;
        let mut out = Vec::with_capacity(t.observations.len() + 1);
        let mut push = |answers, asked, weights: Vec<f64>, yes| {
            let p: f64 = weights.iter().sum();
            if p > 1e-9 {
                let belief = self
                    .belief
                    .iter()
                    .zip(&weights)
                    .filter(|(_, w)| **w > NEGLIGIBLE * p)
                    .map(|(e, w)| Entry { p: w / p, ..*e })
                    .collect();
                let mut state = State {
                    belief,
                    answers,
                    asked,
                    paid: desk.after(t.set_ups, self.paid),
                    repaired: self.repaired,
                    remedied: self.remedied,
                    closed: self.closed,
                    barred: self.barred,
                };
                state.remedy(desk, t.set_ups);
                state.normalise();
                out.push((yes, p, state));
            }
        };
        for &o in &t.observations {
            if self.asked.get(o).is_some() {
                continue;
            }
            let mut yes = Vec::with_capacity(left.len());
            for (e, l) in self.belief.iter().zip(&mut left) {
                let q =
                    rows.rows.get(e.row as usize).map_or(0.5, |row| desk.network.next_yes(row, before, o));
                yes.push(*l * q);
                *l *= 1.0 - q;
            }
            push(before.with(o, true), asked.with(o, true), yes, Some(o));
            before = before.with(o, false);
            asked = asked.with(o, false);
        }
        push(before, asked, left, None);
        out
    }

    /// What a test is expected to tell about the fault set, nats.
    pub(crate) fn information(&self, desk: &Desk, rows: &Rows, test: usize) -> f64 {
        let Some(t) = desk.tests.get(test) else { return 0.0 };
        let mut left: Vec<f64> = self.belief.iter().map(|e| e.p).collect();
        let mut before = self.answers;
        let term = |x: f64| if x > 0.0 { x * x.ln() } else { 0.0 };
        // H(outcome) - H(outcome | set), outcome by outcome.
        let mut gain = 0.0;
        for &o in t.observations.iter().filter(|&&o| self.asked.get(o).is_none()) {
            let mut sum = 0.0;
            for (e, l) in self.belief.iter().zip(&mut left) {
                let q =
                    rows.rows.get(e.row as usize).map_or(0.5, |row| desk.network.next_yes(row, before, o));
                let yes = *l * q;
                sum += yes;
                gain += if e.p > 0.0 { e.p * term(yes / e.p) } else { 0.0 };
                *l -= yes;
            }
            gain -= term(sum);
            before = before.with(o, false);
        }
        for (e, l) in self.belief.iter().zip(&left) {
            gain += if e.p > 0.0 { e.p * term(l / e.p) } else { 0.0 };
        }
        (gain - term(left.iter().sum())).max(0.0)
    }

    /// What stands after a repair.
    pub(crate) fn repair(&self, desk: &Desk, rows: &Rows, fault: usize) -> State {
        let Some(r) = desk.repairs.get(fault) else { return self.clone() };
        let mut merged: HashMap<Set, f64> = HashMap::with_capacity(self.belief.len());
        for e in &self.belief {
            if e.set.has(fault) {
                *merged.entry(e.set.without(fault)).or_default() += e.p * r.works;
                *merged.entry(e.set).or_default() += e.p * (1.0 - r.works);
            } else {
                *merged.entry(e.set).or_default() += e.p;
            }
        }
        let mut belief: Vec<Entry> =
            merged.into_iter().map(|(set, p)| Entry { set, row: rows.of(set), p }).collect();
        belief.sort_by(|a, b| b.p.total_cmp(&a.p).then(a.set.cmp(&b.set)));
        let mut state = State {
            belief,
            answers: Answers::NONE,
            asked: self.asked,
            paid: desk.after(r.set_ups, self.paid),
            repaired: self.repaired.with(fault),
            remedied: self.remedied,
            closed: self.closed,
            // A repair changes what barred them; new facts must show it before anybody acts on it.
            barred: 0,
        };
        state.remedy(desk, r.set_ups);
        state.normalise();
        state
    }

    /// Probability that the final test fails, and what stands then. `None` when it cannot fail.
    pub(crate) fn final_fails(&self, desk: &Desk) -> Option<(f64, State)> {
        let p = (1.0 - self.sound()) * (1.0 - desk.final_misses);
        (p > 1e-9).then(|| {
            let mut state = self.clone();
            state.belief.retain(|e| !e.set.is_empty());
            state.paid = desk.after(desk.final_set_ups, self.paid) & !desk.end_with_drive();
            state.normalise();
            (p, state)
        })
    }

    /// Set-ups that rules forbid here, whatever is done about it; and for a set of needed set-ups what
    /// must be paid to take curable conditions away.
    pub(crate) fn forbidden(&self, desk: &Desk) -> u32 {
        desk.rules
            .iter()
            .filter(|r| self.holds_by_faults(r) || (self.holds_by_sight(r) && r.remedy_eur.is_none()))
            .fold(self.barred, |m, r| m | r.forbids)
    }

    /// Whether a rule's faults are too likely here. Faults that were repaired do not count: the proof of
    /// their repair is part of it.
    pub(crate) fn holds_by_faults(&self, rule: &super::RuleCost) -> bool {
        let open = |s: Set| s.iter().any(|f| rule.faults.has(f) && !self.repaired.has(f));
        !rule.faults.is_empty()
            && self.belief.iter().filter(|e| open(e.set)).map(|e| e.p).sum::<f64>() > rule.above
    }

    /// Whether something was seen that makes a rule hold.
    pub(crate) fn holds_by_sight(&self, rule: &super::RuleCost) -> bool {
        let cured = rule.faults.iter().any(|f| self.repaired.has(f));
        !cured
            && rule
                .while_yes
                .iter()
                .any(|&o| self.asked.get(o) == Some(true) && self.remedied.get(o) != Some(true))
    }

    /// Price of the remedies without which these set-ups may not be used, EUR.
    pub(crate) fn remedies_eur(&self, desk: &Desk, set_ups: u32) -> f64 {
        let mut done: Vec<usize> = Vec::new();
        let mut eur = 0.0;
        for r in desk.rules.iter().filter(|r| r.forbids & set_ups != 0 && self.holds_by_sight(r)) {
            if let Some(price) = r.remedy_eur
                && !r.while_yes.iter().any(|o| done.contains(o))
            {
                eur += price;
                done.extend(&r.while_yes);
            }
        }
        eur
    }

    /// Price of what rules want done before these set-ups are used, EUR: looks first, remedies.
    pub(crate) fn gate_eur(&self, desk: &Desk, set_ups: u32) -> f64 {
        if set_ups == 0 || desk.rules.is_empty() {
            return 0.0;
        }
        let mut looked: Vec<usize> = Vec::new();
        let mut eur = self.remedies_eur(desk, set_ups);
        for &t in desk.rules.iter().filter(|r| r.forbids & set_ups != 0).flat_map(|r| &r.look_first) {
            if self.open(desk, t) && !looked.contains(&t) {
                looked.push(t);
                eur += desk.tests.get(t).map_or(0.0, |t| t.eur);
            }
        }
        eur
    }

    /// The state with the remedies for these set-ups done.
    pub(crate) fn remedy(&mut self, desk: &Desk, set_ups: u32) {
        for r in desk.rules.iter().filter(|r| r.forbids & set_ups != 0 && r.remedy_eur.is_some()) {
            for &o in r.while_yes.iter().filter(|&&o| self.asked.get(o) == Some(true)) {
                self.remedied = self.remedied.with(o, true);
            }
        }
    }

    /// Tests that rules want first, before anything with these set-ups is done.
    pub(crate) fn look_first(&self, desk: &Desk, set_ups: u32) -> Option<usize> {
        desk.rules
            .iter()
            .filter(|r| r.forbids & set_ups != 0)
            .flat_map(|r| r.look_first.iter().copied())
            .find(|&t| self.open(desk, t))
    }

    /// Whether a test has something left to answer.
    pub(crate) fn open(&self, desk: &Desk, test: usize) -> bool {
        desk.tests.get(test).is_some_and(|t| {
            t.observations.iter().any(|&o| self.asked.get(o).is_none() && self.closed.get(o).is_none())
                && !t.observations.iter().any(|&o| self.asked.get(o) == Some(true))
        })
    }
}
