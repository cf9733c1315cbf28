//! Look-ahead over tests, repairs and the final test, with the plan without tests at the leaves.

use super::desk::Desk;
use super::order::{base_eur, plan};
use super::state::{Action, Rows, State};

/// How far to look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Depth {
    /// Steps ahead: 0 = repairs only, 1 = one test or repair, 2 = two.
    pub steps: usize,
    /// How many first steps are looked at with the full depth; the rest with one step.
    pub widen: usize,
}

impl Depth {
    /// Two steps, the eight best first steps in full.
    pub const USUAL: Self = Self { steps: 2, widen: 8 };

    /// Four steps where there is little to look at, else [`Depth::USUAL`].
    #[must_use]
    pub fn fitting(desk: &Desk) -> Self {
        if desk.tests.len() + desk.repairs.len() <= 16 { Self { steps: 4, widen: 16 } } else { Self::USUAL }
    }
}

/// A step with what it is expected to cost to a fixed car, itself included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    /// The step.
    pub action: Action,
    /// Expected cost to a fixed car, EUR.
    pub eur: f64,
}

/// Repairs at the head of the plan that are looked at as first steps.
const REPAIRS: usize = 3;

/// Price of taking a test here: itself, set-ups, what rules want first, EUR.
pub(crate) fn test_eur(desk: &Desk, state: &State, test: usize) -> f64 {
    desk.tests.get(test).map_or(f64::INFINITY, |t| {
        t.eur + desk.set_up_eur(t.set_ups, state.paid) + state.gate_eur(desk, t.set_ups)
    })
}

/// The least that the car can cost from here, were the fault set known, EUR.
pub(crate) fn bound(desk: &Desk, state: &State, paid: u32) -> f64 {
    state.belief.iter().map(|e| e.p * desk.known_eur(e.set, paid)).sum()
}

/// Share of the regret that a test's share of the entropy is taken to save: tests overlap, and what they
/// tell does not always change a step. A guess, checked in `docs/validation/next-step.md`.
const SAVED: f64 = 0.5;

/// The test that tells most per EUR, with what it may be expected to save net of its price, where that is
/// more than nothing.
///
/// Two steps of look-ahead see no way but the specialist where several tests are needed and none of them
/// alone would change the step. So the regret (what the plan without tests costs more than a car whose fault
/// set is known) is laid over the entropy: a test that takes away a share of the entropy is credited with
/// half that share of the regret. It is an estimate, not a bound, and made anew after every answer.
fn telling(desk: &Desk, rows: &Rows, state: &State, forbidden: u32, regret: f64) -> Option<(usize, f64)> {
    let entropy = entropy(state);
    if entropy < 1e-6 || regret <= 0.0 {
        return None;
    }
    let (rate, t, gain, eur) = desk
        .tests
        .iter()
        .enumerate()
        .filter(|(t, test)| test.set_ups & forbidden == 0 && state.open(desk, *t))
        .map(|(t, _)| {
            let gain = state.information(desk, rows, t);
            let eur = test_eur(desk, state, t);
            (gain / eur.max(1e-9), t, gain, eur)
        })
        .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))?;
    (SAVED * rate * regret > entropy).then_some((t, SAVED * gain / entropy * regret - eur))
}

fn entropy(state: &State) -> f64 {
    state.belief.iter().filter(|e| e.p > 0.0).map(|e| -e.p * e.p.ln()).sum()
}

/// The least from here with every set-up in place: quick, for pruning, EUR.
fn least(rows: &Rows, state: &State) -> f64 {
    state.belief.iter().map(|e| e.p * rows.known.get(e.row as usize).copied().unwrap_or(0.0)).sum()
}

/// Steps from here, the best first; the plan without tests gives the steps that no look-ahead priced.
pub(crate) fn ranked(desk: &Desk, rows: &Rows, state: &State, depth: Depth) -> Vec<Value> {
    let leaf = plan(desk, rows, state);
    let mut list = vec![Value { action: leaf.first, eur: leaf.eur }];
    let forbidden = state.forbidden(desk);
    if depth.steps == 0 {
        return list;
    }
    for (t, test) in desk.tests.iter().enumerate() {
        if state.open(desk, t) && test.set_ups & forbidden == 0 {
            let eur = after_test(desk, rows, state, t, 0);
            list.push(Value { action: Action::Test(t), eur });
        }
    }
    for action in acts(desk, state, &leaf.order, forbidden) {
        if let Some(eur) = after_act(desk, rows, state, action, 0) {
            put(&mut list, Value { action, eur });
        }
    }
    sort(&mut list);
    if depth.steps > 1 {
        // A first step that looks poor with one step ahead is seldom the best with two.
        for v in list.iter_mut().take(depth.widen) {
            let deeper = match v.action {
                Action::Test(t) => Some(after_test(desk, rows, state, t, depth.steps - 1)),
                other => after_act(desk, rows, state, other, depth.steps - 1),
            };
            v.eur = deeper.unwrap_or(v.eur);
        }
        sort(&mut list);
    }
    let acts_now = list.first().is_some_and(|v| !matches!(v.action, Action::Test(_)));
    let regret = leaf.eur - bound(desk, state, state.paid);
    // Three steps see for themselves what is worth finding out; one or two do not.
    if (acts_now || depth.steps < 3)
        && let Some((t, saved)) = telling(desk, rows, state, forbidden, regret)
    {
        let best = list.first().map_or(leaf.eur, |v| v.eur);
        list.retain(|v| v.action != Action::Test(t));
        list.insert(0, Value { action: Action::Test(t), eur: best - saved });
    }
    list
}

fn sort(list: &mut [Value]) {
    list.sort_by(|a, b| a.eur.total_cmp(&b.eur).then(a.action.cmp(&b.action)));
}

fn put(list: &mut Vec<Value>, value: Value) {
    match list.iter_mut().find(|v| v.action == value.action) {
        Some(v) => v.eur = v.eur.min(value.eur),
        None => list.push(value),
    }
}

/// Repairs and the final test that may be first steps.
fn acts(desk: &Desk, state: &State, order: &[usize], forbidden: u32) -> Vec<Action> {
    let allowed = |f: &usize| desk.repairs.get(*f).is_some_and(|r| r.set_ups & forbidden == 0);
    let mut out: Vec<Action> =
        order.iter().copied().filter(allowed).take(REPAIRS).map(Action::Repair).collect();
    if desk.final_set_ups & forbidden == 0 && state.sound() > 0.0 {
        out.push(Action::FinalTest);
    }
    out
}

/// Expected cost of the best from here on, EUR.
fn value(desk: &Desk, rows: &Rows, state: &State, steps: usize) -> f64 {
    if steps == 0 {
        return plan(desk, rows, state).eur;
    }
    let leaf = plan(desk, rows, state);
    let mut best = leaf.eur;
    let least = least(rows, state);
    if best - least < 0.5 {
        return best;
    }
    // The view of what is still to be found out is made anew where there is something to look at.
    let forbidden = state.forbidden(desk);
    for (t, test) in desk.tests.iter().enumerate() {
        // No plan is cheaper than the test and a car whose fault set is known.
        if test.set_ups & forbidden == 0 && state.open(desk, t) && test_eur(desk, state, t) + least < best {
            best = best.min(after_test(desk, rows, state, t, steps - 1));
        }
    }
    for action in acts(desk, state, &leaf.order, forbidden) {
        if let Some(eur) = after_act(desk, rows, state, action, steps - 1) {
            best = best.min(eur);
        }
    }
    best
}

/// A test and the best after each of its outcomes.
fn after_test(desk: &Desk, rows: &Rows, state: &State, test: usize, steps: usize) -> f64 {
    let mut eur = test_eur(desk, state, test);
    for (_, p, next) in state.outcomes(desk, rows, test) {
        eur += p * value(desk, rows, &next, steps);
    }
    eur
}

/// A repair with its final test (or the final test alone) and the best after it fails. `None` for what is
/// priced by the plan alone.
fn after_act(desk: &Desk, rows: &Rows, state: &State, action: Action, steps: usize) -> Option<f64> {
    let (spent, done) = match action {
        Action::Repair(f) => {
            let r = desk.repairs.get(f)?;
            let present = state.belief.iter().filter(|e| e.set.has(f)).map(|e| e.p).sum();
            let eur = base_eur(desk, state, f, present) + desk.set_up_eur(r.set_ups, state.paid);
            (eur, state.repair(desk, rows, f))
        }
        Action::FinalTest => (0.0, state.clone()),
        _ => return None,
    };
    if desk.final_set_ups & done.forbidden(desk) != 0 {
        return None;
    }
    let slipped: f64 = done
        .belief
        .iter()
        .filter(|e| !e.set.is_empty())
        .map(|e| e.p * (desk.come_back_eur + desk.refer_eur(e.set)))
        .sum();
    let mut eur = spent + desk.final_eur + desk.final_misses * slipped;
    if let Some((p, next)) = done.final_fails(desk) {
        eur += p * value(desk, rows, &next, steps);
    }
    Some(eur)
}
