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

    /// Three steps where there is little to look at, else [`Depth::USUAL`].
    #[must_use]
    pub fn fitting(desk: &Desk) -> Self {
        if desk.tests.len() + desk.repairs.len() <= 16 { Self { steps: 3, widen: 8 } } else { Self::USUAL }
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

/// What it costs to find out which fault set is present, as far as tests can tell.
///
/// A plan without tests is too dark a view of a leaf: with several tests to come, each of which alone would
/// change nothing, two steps of look-ahead see no way but the specialist. So a leaf is also priced as the
/// car with its fault set known, plus the best mix of money spent on tests and of regret (what the plan
/// without tests costs more than the known car) that is left when they took their share of the entropy away.
/// It is an estimate, not a bound: what it makes attractive must prove itself at the next step, when the
/// view is made anew with the tests that are left.
#[derive(Debug, Clone)]
pub(crate) struct Knowing {
    /// Money spent on the most telling tests, EUR, and the information they give, nats; both rising.
    curve: Vec<(f64, f64)>,
}

/// Share of their separate information that tests give together: they overlap. A guess, checked in
/// `docs/validation/next-step.md`.
const TOGETHER: f64 = 0.6;

impl Knowing {
    /// With the tests open here.
    pub(crate) fn new(desk: &Desk, rows: &Rows, state: &State) -> Self {
        let forbidden = state.forbidden(desk);
        let entropy = entropy(state);
        let mut tests: Vec<(f64, f64, u32)> = Vec::with_capacity(desk.tests.len());
        for (t, test) in desk.tests.iter().enumerate() {
            if test.set_ups & forbidden == 0 && state.open(desk, t) {
                let gain = state.information(desk, rows, t);
                if gain > 1e-4 {
                    let eur = test.eur + state.gate_eur(desk, test.set_ups);
                    tests.push((gain, eur, test.set_ups & !state.paid));
                }
            }
        }
        tests.sort_by(|a, b| (b.0 / b.1.max(1e-9)).total_cmp(&(a.0 / a.1.max(1e-9))));
        // Cheapest information first; a set-up is paid once.
        let (mut paid, mut gained, mut spent) = (state.paid, 0.0, 0.0);
        let mut curve = Vec::new();
        while gained < entropy && !tests.is_empty() {
            let mut best: (f64, u32) = (-1.0, 0);
            for i in 0..tests.len() {
                let missing = tests[i].2 & !paid;
                let (mut g, mut e) = (0.0, desk.set_up_eur(missing, 0));
                for t in tests.iter().filter(|t| t.2 & !paid & !missing == 0) {
                    g += t.0;
                    e += t.1;
                    if g / e.max(1e-9) > best.0 {
                        best = (g / e.max(1e-9), missing);
                    }
                }
            }
            let missing = best.1;
            spent += desk.set_up_eur(missing, 0);
            paid |= missing;
            for t in tests.iter().filter(|t| t.2 & !paid == 0) {
                gained += TOGETHER * t.0;
                spent += t.1;
                curve.push((spent, gained));
            }
            tests.retain(|t| t.2 & !paid != 0);
        }
        Self { curve }
    }

    /// The price of a leaf.
    fn leaf(&self, desk: &Desk, rows: &Rows, state: &State) -> f64 {
        let eur = plan(desk, rows, state).eur;
        let least = least(rows, state);
        let (regret, entropy) = (eur - least, entropy(state));
        let mut best = eur;
        for &(spent, gained) in &self.curve {
            if least + spent >= best {
                break;
            }
            best = best.min(least + spent + regret * (1.0 - gained / entropy.max(1e-9)).max(0.0));
        }
        best
    }
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
    let knowing = &Knowing::new(desk, rows, state);
    for (t, test) in desk.tests.iter().enumerate() {
        if state.open(desk, t) && test.set_ups & forbidden == 0 {
            let eur = after_test(desk, rows, state, t, 0, knowing);
            list.push(Value { action: Action::Test(t), eur });
        }
    }
    for action in acts(desk, state, &leaf.order, forbidden) {
        if let Some(eur) = after_act(desk, rows, state, action, 0, knowing) {
            put(&mut list, Value { action, eur });
        }
    }
    sort(&mut list);
    if depth.steps > 1 {
        // A first step that looks poor with one step ahead is seldom the best with two.
        for v in list.iter_mut().take(depth.widen) {
            let deeper = match v.action {
                Action::Test(t) => Some(after_test(desk, rows, state, t, depth.steps - 1, knowing)),
                other => after_act(desk, rows, state, other, depth.steps - 1, knowing),
            };
            v.eur = deeper.unwrap_or(v.eur);
        }
        sort(&mut list);
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
fn value(desk: &Desk, rows: &Rows, state: &State, steps: usize, knowing: &Knowing) -> f64 {
    if steps == 0 {
        return knowing.leaf(desk, rows, state);
    }
    let leaf = plan(desk, rows, state);
    let mut best = leaf.eur;
    let least = least(rows, state);
    if best - least < 0.5 {
        return best;
    }
    // The view of what is still to be found out is made anew where there is something to look at.
    let knowing = &Knowing::new(desk, rows, state);
    let forbidden = state.forbidden(desk);
    for (t, test) in desk.tests.iter().enumerate() {
        // No plan is cheaper than the test and a car whose fault set is known.
        if test.set_ups & forbidden == 0 && state.open(desk, t) && test_eur(desk, state, t) + least < best {
            best = best.min(after_test(desk, rows, state, t, steps - 1, knowing));
        }
    }
    for action in acts(desk, state, &leaf.order, forbidden) {
        if let Some(eur) = after_act(desk, rows, state, action, steps - 1, knowing) {
            best = best.min(eur);
        }
    }
    best
}

/// A test and the best after each of its outcomes.
fn after_test(desk: &Desk, rows: &Rows, state: &State, test: usize, steps: usize, knowing: &Knowing) -> f64 {
    let mut eur = test_eur(desk, state, test);
    for (_, p, next) in state.outcomes(desk, rows, test) {
        eur += p * value(desk, rows, &next, steps, knowing);
    }
    eur
}

/// A repair with its final test (or the final test alone) and the best after it fails. `None` for what is
/// priced by the plan alone.
fn after_act(
    desk: &Desk,
    rows: &Rows,
    state: &State,
    action: Action,
    steps: usize,
    knowing: &Knowing,
) -> Option<f64> {
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
        eur += p * value(desk, rows, &next, steps, knowing);
    }
    Some(eur)
}
