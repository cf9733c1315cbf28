//! The advice with its reasons: what to do, what each answer would do, what moved the faults, what would
//! change the mind, what remains.

use super::desk::Desk;
use super::look::{Depth, Value, bound, ranked, test_eur};
use super::order::{base_eur, plan};
use super::state::{Action, Rows, State};
use crate::network::{Answers, Member, Set, marginals};

/// Fault sets that planning looks at.
const SETS: usize = 200;
/// Probability that may be left out of planning.
const LEFT_OUT: f64 = 5e-4;
/// Steps listed beside the best.
const LISTED: usize = 6;

/// A step, what it costs by itself, and what the car then costs in all.
#[derive(Debug, Clone, PartialEq)]
pub struct Alternative {
    /// The step.
    pub action: Action,
    /// Price of the step itself with its missing set-ups, EUR.
    pub step_eur: f64,
    /// Working time of the step with its missing set-ups, minutes.
    pub step_minutes: f64,
    /// Missing set-ups, by place.
    pub set_ups: Vec<usize>,
    /// Expected cost to a fixed car with this step first, EUR.
    pub eur: f64,
}

/// Why a step may not be done yet, or not at all.
#[derive(Debug, Clone, PartialEq)]
pub enum Gate {
    /// A rule (by its place) wants this test (by its place) first.
    LookFirst {
        /// Rule.
        rule: usize,
        /// Test.
        test: usize,
    },
    /// A rule forbids it until its remedy is done.
    Remedy {
        /// Rule.
        rule: usize,
    },
    /// A rule forbids it as things stand.
    Forbidden {
        /// Rule.
        rule: usize,
    },
}

/// What one answer to the proposed test would do.
#[derive(Debug, Clone, PartialEq)]
pub struct AnswerEffect {
    /// The observation that is *yes*; `None` = none of them.
    pub yes: Option<usize>,
    /// How likely this answer is.
    pub p: f64,
    /// The likeliest fault set then.
    pub leading: Set,
    /// Its probability then.
    pub leading_p: f64,
    /// The step after it.
    pub then: Action,
    /// Expected cost from then on, EUR.
    pub eur: f64,
}

/// How one answer moved a fault.
#[derive(Debug, Clone, PartialEq)]
pub struct Move {
    /// The observation.
    pub observation: usize,
    /// Its answer.
    pub yes: bool,
    /// Probability of the fault without this answer, all else as it is.
    pub without: f64,
    /// Probability with it.
    pub with: f64,
}

/// An answer not yet given that would change the mind.
#[derive(Debug, Clone, PartialEq)]
pub struct MindChanger {
    /// Place of the test.
    pub test: usize,
    /// The observation that would be *yes*; `None` = none of them.
    pub yes: Option<usize>,
    /// How likely that answer is.
    pub p: f64,
    /// Probability of the leading fault set then.
    pub leading_then: f64,
    /// The set that would lead then.
    pub leader_then: Set,
}

/// The advice.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// The step to take now. Where a rule wants a look first, that look.
    pub step: Alternative,
    /// The step that it is a look for, and why.
    pub for_the_sake_of: Option<(Action, Gate)>,
    /// Other first steps, the best first.
    pub others: Vec<Alternative>,
    /// Expected cost of the plan without any further test, EUR.
    pub without_tests_eur: f64,
    /// No plan can cost less than this on average: the cost were the fault set known now, EUR.
    pub bound_eur: f64,
    /// What the answers to the proposed test would do; empty for other steps.
    pub answers: Vec<AnswerEffect>,
    /// Order in which faults would be repaired without further tests.
    pub order: Vec<usize>,
    /// The fault sets planning looked at, the likeliest first.
    pub sets: Vec<Member>,
    /// Probability of sets that planning left out.
    pub left_out: f64,
    /// What moved the likeliest fault, the strongest first.
    pub moves: Vec<Move>,
    /// What would change the mind, the likeliest first.
    pub mind_changers: Vec<MindChanger>,
    /// Rules that forbid something now.
    pub gates: Vec<Gate>,
}

/// What is asked for.
#[derive(Debug, Clone)]
pub struct Question {
    /// Fault sets of the one posterior, with their probabilities.
    pub sets: Vec<Member>,
    /// Answers that the posterior has used already.
    pub answers: Answers,
    /// Observations that need not be made, since facts of another kind say as much.
    pub closed: Answers,
    /// Set-ups in place, one bit each.
    pub paid: u32,
    /// Set-ups that must not be proposed, one bit each, beside those that the rules forbid.
    pub barred: u32,
    /// How far to look.
    pub depth: Depth,
}

/// Everything about the next step. `None` when there is no fault set at all.
#[must_use]
pub fn advise(desk: &Desk, question: &Question) -> Option<Advice> {
    let (kept, left_out) = likeliest(&question.sets);
    if kept.is_empty() {
        return None;
    }
    let rows = Rows::new(desk, kept.iter().map(|m| m.set));
    let mut state = State::new(&rows, &kept, question.answers, question.paid);
    state.closed = question.closed;
    state.barred = question.barred;
    let list = ranked(desk, &rows, &state, question.depth);
    let best = *list.first()?;
    let (action, for_the_sake_of) = gated(desk, &state, best.action);
    let leaf = plan(desk, &rows, &state);
    let others = list
        .iter()
        .filter(|v| v.action != action)
        .take(LISTED)
        .map(|v| alternative(desk, &state, *v))
        .collect();
    let sets = state.sets();
    let leading = sets.first().map_or(Set::NONE, |m| m.set);
    Some(Advice {
        step: alternative(desk, &state, Value { action, eur: best.eur }),
        for_the_sake_of,
        others,
        without_tests_eur: leaf.eur,
        bound_eur: bound(desk, &state, state.paid),
        answers: effects(desk, &rows, &state, action),
        order: leaf.order,
        left_out,
        moves: moves(desk, &rows, &state, likeliest_fault(&sets)),
        mind_changers: mind_changers(desk, &rows, &state, leading),
        gates: gates(desk, &state),
        sets,
    })
}

/// The next step alone, for whoever plays a whole car through.
#[derive(Debug, Clone)]
pub struct Player<'a> {
    desk: &'a Desk,
    rows: Rows,
    depth: Depth,
}

impl<'a> Player<'a> {
    /// A player and the state before the first step.
    #[must_use]
    pub fn new(desk: &'a Desk, sets: &[Member], answers: Answers, depth: Depth) -> (Self, State) {
        let (kept, _) = likeliest(sets);
        let rows = Rows::new(desk, kept.iter().map(|m| m.set));
        let state = State::new(&rows, &kept, answers, 0);
        (Self { desk, rows, depth }, state)
    }
    /// The step to take. What a rule wants first comes first.
    #[must_use]
    pub fn step(&self, state: &State) -> Action {
        let best =
            ranked(self.desk, &self.rows, state, self.depth).first().map_or(Action::Refer, |v| v.action);
        gated(self.desk, state, best).0
    }
    /// What a rule wants done before this step, if anything; else the step itself.
    #[must_use]
    pub fn gated(&self, state: &State, action: Action) -> Action {
        gated(self.desk, state, action).0
    }
    /// Whether rules let this step be done here.
    #[must_use]
    pub fn allowed(&self, state: &State, action: Action) -> bool {
        needs(self.desk, action) & state.forbidden(self.desk) == 0
    }
    /// Price of the step here with its missing set-ups and remedies, EUR.
    #[must_use]
    pub fn eur(&self, state: &State, action: Action) -> f64 {
        match action {
            Action::Test(t) => test_eur(self.desk, state, t),
            Action::Repair(f) => self.desk.repairs.get(f).map_or(0.0, |r| {
                r.eur
                    + r.waiting_eur
                    + self.desk.set_up_eur(r.set_ups, state.paid)
                    + state.gate_eur(self.desk, r.set_ups)
            }),
            Action::FinalTest => self.desk.final_eur,
            Action::Refer => 0.0,
        }
    }
    /// What stands after a test was answered. `yes` = the observation that is *yes*, none of them without.
    #[must_use]
    pub fn answered(&self, state: &State, test: usize, yes: Option<usize>) -> State {
        let mut all = state.outcomes(self.desk, &self.rows, test);
        match all.iter().position(|o| o.0 == yes) {
            Some(i) => all.swap_remove(i).2,
            // An answer that no set here can give: only that it was asked is kept.
            None => {
                let mut s = state.clone();
                for &o in self.desk.tests.get(test).map_or(&[][..], |t| &t.observations) {
                    s.asked = s.asked.with(o, yes == Some(o));
                }
                s.paid = self.desk.after(self.desk.tests.get(test).map_or(0, |t| t.set_ups), s.paid);
                s
            }
        }
    }
    /// What stands after a repair.
    #[must_use]
    pub fn repaired(&self, state: &State, fault: usize) -> State {
        state.repair(self.desk, &self.rows, fault)
    }
    /// What stands after a failed final test; `None` where it could not fail.
    #[must_use]
    pub fn failed(&self, state: &State) -> Option<State> {
        state.final_fails(self.desk).map(|f| f.1)
    }
    /// Whether a test has something left to answer.
    #[must_use]
    pub fn open(&self, state: &State, test: usize) -> bool {
        state.open(self.desk, test)
    }
    /// Expected cost of the plan without tests from here, EUR, its first step, and the order of repairs.
    #[must_use]
    pub fn plan(&self, state: &State) -> (f64, Action, Vec<usize>) {
        let p = plan(self.desk, &self.rows, state);
        (p.eur, p.first, p.order)
    }
    /// What a test is expected to tell about the fault set, nats.
    #[must_use]
    pub fn information(&self, state: &State, test: usize) -> f64 {
        state.information(self.desk, &self.rows, test)
    }
    /// Outcomes of a test: what is *yes*, its probability, what stands then.
    #[must_use]
    pub fn outcomes(&self, state: &State, test: usize) -> Vec<(Option<usize>, f64, State)> {
        state.outcomes(self.desk, &self.rows, test)
    }
    /// Least expected cost from here, EUR.
    #[must_use]
    pub fn bound(&self, state: &State) -> f64 {
        bound(self.desk, state, state.paid)
    }
}

fn likeliest(sets: &[Member]) -> (Vec<Member>, f64) {
    let mut sorted: Vec<Member> = sets.iter().copied().filter(|m| m.p > 0.0).collect();
    sorted.sort_by(|a, b| b.p.total_cmp(&a.p).then(a.set.cmp(&b.set)));
    let total: f64 = sorted.iter().map(|m| m.p).sum();
    let mut seen = 0.0;
    let mut kept = Vec::new();
    for m in sorted {
        if kept.len() >= SETS || seen > (1.0 - LEFT_OUT) * total {
            break;
        }
        seen += m.p;
        kept.push(m);
    }
    (kept, if total > 0.0 { 1.0 - seen / total } else { 0.0 })
}

fn needs(desk: &Desk, action: Action) -> u32 {
    match action {
        Action::Test(t) => desk.tests.get(t).map_or(0, |t| t.set_ups),
        Action::Repair(f) => desk.repairs.get(f).map_or(0, |r| r.set_ups),
        Action::FinalTest => desk.final_set_ups,
        Action::Refer => 0,
    }
}

/// The step, or the look that a rule wants before it.
fn gated(desk: &Desk, state: &State, action: Action) -> (Action, Option<(Action, Gate)>) {
    let set_ups = needs(desk, action);
    match state.look_first(desk, set_ups) {
        Some(test) if action != Action::Test(test) => {
            let rule = desk
                .rules
                .iter()
                .find(|r| r.forbids & set_ups != 0 && r.look_first.contains(&test))
                .map_or(0, |r| r.index);
            (Action::Test(test), Some((action, Gate::LookFirst { rule, test })))
        }
        _ => {
            let remedy = desk
                .rules
                .iter()
                .find(|r| r.forbids & set_ups != 0 && r.remedy_eur.is_some() && state.holds_by_sight(r));
            (action, remedy.map(|r| (action, Gate::Remedy { rule: r.index })))
        }
    }
}

fn alternative(desk: &Desk, state: &State, value: Value) -> Alternative {
    let needed = needs(desk, value.action);
    let missing = needed & !state.paid;
    let (eur, minutes) = match value.action {
        Action::Test(t) => (test_eur(desk, state, t), desk.tests.get(t).map_or(0.0, |t| t.minutes)),
        Action::Repair(f) => {
            let present = state.belief.iter().filter(|e| e.set.has(f)).map(|e| e.p).sum();
            let eur = base_eur(desk, state, f, present) + desk.set_up_eur(needed, state.paid);
            (eur, desk.repairs.get(f).map_or(0.0, |r| r.minutes))
        }
        Action::FinalTest => (desk.final_eur, desk.final_minutes),
        Action::Refer => (state.belief.iter().map(|e| e.p * desk.refer_eur(e.set)).sum(), 0.0),
    };
    // The final test brings its own drive.
    let set_ups: Vec<usize> = if value.action == Action::FinalTest {
        Vec::new()
    } else {
        (0..desk.set_ups.len()).filter(|i| missing & (1 << i) != 0).collect()
    };
    let bringing: f64 = set_ups.iter().map(|&i| desk.set_ups[i].minutes).sum();
    Alternative {
        action: value.action,
        step_eur: eur,
        step_minutes: minutes + bringing,
        set_ups,
        eur: value.eur,
    }
}

fn effects(desk: &Desk, rows: &Rows, state: &State, action: Action) -> Vec<AnswerEffect> {
    let Action::Test(test) = action else { return Vec::new() };
    let mut out: Vec<AnswerEffect> = state
        .outcomes(desk, rows, test)
        .into_iter()
        .map(|(yes, p, next)| {
            let list = ranked(desk, rows, &next, Depth { steps: 1, widen: 0 });
            let best = list.first().copied().unwrap_or(Value { action: Action::Refer, eur: 0.0 });
            let leading = top(&next);
            AnswerEffect {
                yes,
                p,
                leading: leading.set,
                leading_p: leading.p,
                then: gated(desk, &next, best.action).0,
                eur: best.eur,
            }
        })
        .collect();
    out.sort_by(|a, b| a.yes.is_none().cmp(&b.yes.is_none()).then(b.p.total_cmp(&a.p)));
    out
}

fn top(state: &State) -> Member {
    let best = state.belief.iter().max_by(|a, b| a.p.total_cmp(&b.p).then(b.set.cmp(&a.set)));
    best.map_or(Member { set: Set::NONE, p: 0.0 }, |e| Member { set: e.set, p: e.p })
}

/// The fault with the highest marginal.
fn likeliest_fault(sets: &[Member]) -> Option<usize> {
    let m = marginals(sets);
    (0..m.len()).max_by(|&a, &b| m[a].total_cmp(&m[b]).then(b.cmp(&a))).filter(|&f| m[f] > 0.0)
}

/// What each answer did to a fault: its probability with that one answer taken out again.
fn moves(desk: &Desk, rows: &Rows, state: &State, fault: Option<usize>) -> Vec<Move> {
    let Some(fault) = fault else { return Vec::new() };
    let with: f64 = state.belief.iter().filter(|e| e.set.has(fault)).map(|e| e.p).sum();
    let mut out: Vec<Move> = Vec::new();
    for (o, yes) in state.answers.iter() {
        let rest: Answers = state.answers.iter().filter(|a| a.0 != o).collect();
        let (mut present, mut all) = (0.0, 0.0);
        for e in &state.belief {
            let Some(row) = rows.rows.get(e.row as usize) else { continue };
            let told = desk.network.likelihood(row, state.answers);
            let w = e.p * desk.network.likelihood(row, rest) / told.max(1e-300);
            all += w;
            if e.set.has(fault) {
                present += w;
            }
        }
        out.push(Move { observation: o, yes, without: if all > 0.0 { present / all } else { 0.0 }, with });
    }
    let strength = |m: &Move| {
        let logit = |p: f64| (p.clamp(1e-9, 1.0 - 1e-9) / (1.0 - p.clamp(1e-9, 1.0 - 1e-9))).ln();
        (logit(m.with) - logit(m.without)).abs()
    };
    out.sort_by(|a, b| strength(b).total_cmp(&strength(a)).then(a.observation.cmp(&b.observation)));
    out
}

/// Answers after which another fault set would lead.
fn mind_changers(desk: &Desk, rows: &Rows, state: &State, leading: Set) -> Vec<MindChanger> {
    let forbidden = state.forbidden(desk);
    let mut out = Vec::new();
    for (t, test) in desk.tests.iter().enumerate() {
        if !state.open(desk, t) || test.set_ups & forbidden != 0 {
            continue;
        }
        for (yes, p, next) in state.outcomes(desk, rows, t) {
            let leader = top(&next);
            if leader.set != leading {
                let then = next.belief.iter().filter(|e| e.set == leading).map(|e| e.p).sum();
                out.push(MindChanger { test: t, yes, p, leading_then: then, leader_then: leader.set });
            }
        }
    }
    out.sort_by(|a, b| b.p.total_cmp(&a.p).then(a.test.cmp(&b.test)));
    out
}

fn gates(desk: &Desk, state: &State) -> Vec<Gate> {
    desk.rules
        .iter()
        .filter_map(|r| {
            let seen = state.holds_by_sight(r);
            if state.holds_by_faults(r) || (seen && r.remedy_eur.is_none()) {
                Some(Gate::Forbidden { rule: r.index })
            } else if seen {
                Some(Gate::Remedy { rule: r.index })
            } else {
                None
            }
        })
        .collect()
}
