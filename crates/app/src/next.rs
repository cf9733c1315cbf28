//! `sootwright next`: the step with the least expected cost to a fixed car, and why.

use crate::asked::{Asked, tell_ways};
use crate::assess::assess;
use crate::cli::Next;
use crate::failure::{Failure, Outcome};
use crate::inputs::{Inputs, read_procedures};
use crate::output::{Input, Program};
use crate::plan::read_settings;
use crate::text::{Page, of_100};
use crate::words::{number, say, say_with, within};
use crate::{args, now, print, print_json};
use facts::{FaultId, Knowledge};
use infer::Evidence;
use infer::network::Set;
use infer::next::{Action, Advice, Alternative, Desk, Gate, advise, question};
use schemars::JsonSchema;
use serde::Serialize;
use shop::{Choice, choices};

/// The value of `schema` that this version writes.
pub const SCHEMA: &str = "sootwright.next/1";

/// Runs the command.
pub fn run(order: &Next) -> Result<Outcome, Failure> {
    let inputs = Inputs::read(&order.case, order.knowledge.as_deref())?;
    let knowledge = inputs.knowledge();
    let desk = Desk::new(knowledge).map_err(|e| Failure::Refused(e.to_string()))?;
    for ready in &order.ready {
        if knowledge.set_up(ready).is_none() {
            let known: Vec<&str> = knowledge.set_ups().iter().map(|s| s.id.as_str()).collect();
            return Err(Failure::Usage(say_with(
                "error-no-set-up",
                &args! { "id" => ready.clone(), "known" => known.join(", ") },
            )));
        }
    }
    let assessment = assess(&inputs);
    let evidence =
        Evidence { case: &inputs.case, recordings: &inputs.recordings, knowledge: inputs.knowledge() };
    let ready: Vec<&str> = order.ready.iter().map(String::as_str).collect();
    let question = question(&desk, &evidence, &assessment, &ready);
    let Some(advice) = advise(&desk, &question) else {
        return Err(Failure::Refused(say("error-no-fault-set")));
    };
    let teller = Teller { desk: &desk, knowledge, barred: question.barred };
    let asked = order.asked.as_deref().map(Asked::new);
    let mut list = inputs.list.clone();
    let mut ways = Vec::new();
    if asked.as_ref().is_some_and(Asked::refused) {
        let settings = read_settings(order.settings.as_deref(), &mut list)?;
        let sets: Vec<(Vec<FaultId>, f64)> =
            assessment.fault_sets.iter().map(|s| (s.faults.clone(), s.probability)).collect();
        let procedures = read_procedures(order.knowledge.as_deref())?;
        ways = choices(&procedures, &sets, &settings).map_err(|e| Failure::Refused(e.to_string()))?;
    }
    if order.json {
        print_json(&Output { asked, lawful_ways: ways, ..teller.output(&advice, list) })?;
    } else {
        let mut page = Page::default();
        if let Some(a) = &asked {
            a.tell(&mut page);
        }
        if !ways.is_empty() {
            tell_ways(&ways, &mut page);
            if order.settings.is_none() {
                page.warning(&say("out-quote-invented"));
            }
        }
        teller.page(&advice, &mut page);
        print(&page.finish())?;
    }
    Ok(Outcome::Answered)
}

/// The next step of one car.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "Next step")]
pub struct Output {
    /// Always `sootwright.next/1`.
    pub schema: String,
    /// What wrote this.
    pub program: Program,
    /// When it was written, UTC, RFC 3339.
    pub made_at: String,
    /// What it was made from.
    pub inputs: Vec<Input>,
    /// The step to take now.
    pub step: Step,
    /// The step that this one must come before, and why, where a safety rule wants a look first.
    pub before: Option<Before>,
    /// Other first steps, the best first.
    pub others: Vec<Step>,
    /// Expected cost to a fixed car without any further test, EUR.
    pub without_tests_eur: f64,
    /// No way of choosing steps can cost less on average: the cost were the fault set known now, EUR.
    pub bound_eur: f64,
    /// What each answer to the proposed test would do.
    pub answers: Vec<Effect>,
    /// What moved the likeliest fault, the strongest first.
    pub moves: Vec<Moved>,
    /// Answers that would change the mind, the likeliest first.
    pub would_change: Vec<Changer>,
    /// Fault sets that remain possible.
    pub remain: Vec<Remains>,
    /// Probability of sets left out of planning.
    pub left_out: f64,
    /// Order of repairs without further tests.
    pub order: Vec<String>,
    /// Safety rules that hold now.
    pub rules: Vec<String>,
    /// Set-ups that are not proposed, since they are not shown safe.
    pub not_shown_safe: Vec<String>,
    /// What was asked for, and the answer.
    pub asked: Option<Asked>,
    /// Lawful ways with their prices, where what was asked for is refused.
    pub lawful_ways: Vec<Choice>,
}

/// A step.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Step {
    /// `ask`, `test`, `repair`, `final_test` or `refer`.
    pub kind: &'static str,
    /// Observations it answers, or the fault it repairs.
    pub ids: Vec<String>,
    /// Plain words.
    pub text: String,
    /// Set-ups to bring about first.
    pub set_ups: Vec<String>,
    /// Working time with set-ups, minutes.
    pub minutes: f64,
    /// Price of the step with set-ups, standing car and expected damage, EUR.
    pub step_eur: f64,
    /// Expected cost to a fixed car with this step first, EUR.
    pub expected_eur: f64,
}

/// The step that a look comes before.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Before {
    /// Plain words.
    pub text: String,
    /// The rule.
    pub rule: String,
}

/// What an answer does.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Effect {
    /// The observation that is yes; `null` = no.
    pub yes: Option<String>,
    /// Probability of this answer.
    pub probability: f64,
    /// The likeliest fault set then.
    pub faults: Vec<String>,
    /// Its probability then.
    pub fault_probability: f64,
    /// The step then, in plain words.
    pub then: String,
    /// Expected cost from then on, EUR.
    pub expected_eur: f64,
}

/// What one answer did to the likeliest fault.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Moved {
    /// The observation.
    pub observation: String,
    /// Its answer.
    pub yes: bool,
    /// Probability of the likeliest fault without this answer.
    pub without: f64,
    /// Probability with it.
    pub with: f64,
}

/// An answer that would change the mind.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Changer {
    /// Observations of the test.
    pub observations: Vec<String>,
    /// The one that would be yes; `null` = no.
    pub yes: Option<String>,
    /// Probability of this answer.
    pub probability: f64,
    /// The fault set that would lead then.
    pub faults: Vec<String>,
}

/// A fault set that remains.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Remains {
    /// Faults; empty = none.
    pub faults: Vec<String>,
    /// Probability.
    pub probability: f64,
}

/// Words for numbers.
struct Teller<'a> {
    desk: &'a Desk,
    knowledge: &'a Knowledge,
    barred: u32,
}

fn ids(set: Set) -> Vec<String> {
    set.faults().iter().map(|f| f.id().to_owned()).collect()
}

impl Teller<'_> {
    fn observations(&self, test: usize) -> Vec<String> {
        let of = self.desk.tests.get(test).map_or(&[][..], |t| &t.observations);
        of.iter().filter_map(|&o| self.desk.network.observations().get(o).cloned()).collect()
    }

    fn observation(&self, o: usize) -> String {
        self.desk.network.observations().get(o).cloned().unwrap_or_default()
    }

    fn label(&self, o: usize) -> String {
        let id = self.observation(o);
        self.knowledge.observation(&id).map_or(id, |x| within(&x.label))
    }

    fn set(&self, set: Set) -> String {
        let labels: Vec<String> =
            set.faults().iter().map(|f| within(&self.knowledge.fault(*f).label)).collect();
        if labels.is_empty() { say("out-next-no-fault") } else { labels.join(&say("out-next-and")) }
    }

    fn kind(&self, action: Action) -> &'static str {
        match action {
            Action::Test(t) => {
                let ask = self.observations(t).iter().all(|id| {
                    let kind = self.knowledge.observation(id).map(|o| o.kind);
                    kind == Some(facts::knowledge::ObservationKind::Question)
                });
                if ask { "ask" } else { "test" }
            }
            Action::Repair(_) => "repair",
            Action::FinalTest => "final_test",
            Action::Refer => "refer",
        }
    }

    /// A step in plain words.
    fn action(&self, action: Action) -> String {
        match action {
            Action::Test(t) => {
                let of = self.observations(t);
                let Some(o) = of.first().and_then(|id| self.knowledge.observation(id)) else {
                    return of.join(", ");
                };
                if of.len() == 1 {
                    return o.question.clone();
                }
                let states: Vec<String> = of
                    .iter()
                    .filter_map(|id| self.knowledge.observation(id))
                    .map(|o| within(&o.label))
                    .collect();
                say_with("out-next-which-of", &args! { "states" => states.join("; ") })
            }
            Action::Repair(f) => FaultId::ALL.get(f).map_or_else(String::new, |f| {
                let fault = self.knowledge.fault(*f);
                say_with(
                    "out-next-repair",
                    &args! { "fault" => within(&fault.label), "action" => fault.repair.action.clone() },
                )
            }),
            Action::FinalTest => say("out-next-final-test"),
            Action::Refer => say("out-next-refer"),
        }
    }

    fn set_ups(&self, a: &Alternative) -> Vec<String> {
        a.set_ups.iter().filter_map(|&i| self.desk.set_ups.get(i)).map(|s| s.id.clone()).collect()
    }

    fn barred(&self) -> Vec<String> {
        let barred = |i: &usize| self.barred & (1 << i) != 0;
        (0..self.desk.set_ups.len()).filter(barred).map(|i| self.desk.set_ups[i].id.clone()).collect()
    }

    fn rule(&self, rule: usize) -> String {
        self.knowledge.rules().get(rule).map_or_else(String::new, |r| r.label.clone())
    }

    fn gate(&self, gate: &Gate) -> String {
        match gate {
            Gate::LookFirst { rule, .. } | Gate::Forbidden { rule } => self.rule(*rule),
            Gate::Remedy { rule } => {
                let remedy = self.knowledge.rules().get(*rule).and_then(|r| r.remedy.clone());
                say_with(
                    "out-next-remedy",
                    &args! { "rule" => self.rule(*rule), "remedy" => remedy.unwrap_or_default() },
                )
            }
        }
    }

    fn step(&self, a: &Alternative) -> Step {
        Step {
            kind: self.kind(a.action),
            ids: match a.action {
                Action::Test(t) => self.observations(t),
                Action::Repair(f) => FaultId::ALL.get(f).map(|f| f.id().to_owned()).into_iter().collect(),
                Action::FinalTest | Action::Refer => Vec::new(),
            },
            text: self.action(a.action),
            set_ups: self.set_ups(a),
            minutes: a.step_minutes,
            step_eur: a.step_eur,
            expected_eur: a.eur,
        }
    }

    fn output(&self, a: &Advice, inputs: Vec<Input>) -> Output {
        Output {
            schema: SCHEMA.into(),
            program: Program::this(),
            made_at: now(),
            inputs,
            step: self.step(&a.step),
            before: a
                .for_the_sake_of
                .as_ref()
                .map(|(action, gate)| Before { text: self.action(*action), rule: self.gate(gate) }),
            others: a.others.iter().map(|o| self.step(o)).collect(),
            without_tests_eur: a.without_tests_eur,
            bound_eur: a.bound_eur,
            answers: a
                .answers
                .iter()
                .map(|e| Effect {
                    yes: e.yes.map(|o| self.observation(o)),
                    probability: e.p,
                    faults: ids(e.leading),
                    fault_probability: e.leading_p,
                    then: self.action(e.then),
                    expected_eur: e.eur,
                })
                .collect(),
            moves: a
                .moves
                .iter()
                .map(|m| Moved {
                    observation: self.observation(m.observation),
                    yes: m.yes,
                    without: m.without,
                    with: m.with,
                })
                .collect(),
            would_change: a
                .mind_changers
                .iter()
                .map(|c| Changer {
                    observations: self.observations(c.test),
                    yes: c.yes.map(|o| self.observation(o)),
                    probability: c.p,
                    faults: ids(c.leader_then),
                })
                .collect(),
            remain: a.sets.iter().map(|m| Remains { faults: ids(m.set), probability: m.p }).collect(),
            left_out: a.left_out,
            order: a.order.iter().filter_map(|&f| FaultId::ALL.get(f)).map(|f| f.id().to_owned()).collect(),
            rules: a.gates.iter().map(|g| self.gate(g)).collect(),
            not_shown_safe: self.barred(),
            asked: None,
            lawful_ways: Vec::new(),
        }
    }

    fn page(&self, a: &Advice, page: &mut Page) {
        page.heading(&say("head-next"));
        page.strong(&self.action(a.step.action));
        if let Action::Test(t) = a.step.action
            && let Some(o) = self.observations(t).first().and_then(|id| self.knowledge.observation(id))
        {
            page.line(&say_with("out-next-how", &args! { "how" => o.how.clone(), "who" => o.who.clone() }));
        }
        if let Action::Repair(f) = a.step.action
            && let Some(f) = FaultId::ALL.get(f)
        {
            let proof = self.knowledge.fault(*f).repair.proof.clone();
            page.line(&say_with("out-next-proof", &args! { "proof" => proof }));
        }
        for s in a.step.set_ups.iter().filter_map(|&i| self.knowledge.set_ups().get(i)) {
            page.item(&say_with(
                "out-next-set-up",
                &args! { "label" => s.label.clone(), "minutes" => number(s.minutes, 0) },
            ));
        }
        if let Some((action, gate)) = &a.for_the_sake_of {
            let id = if *action == a.step.action { "out-next-with-remedy" } else { "out-next-first" };
            page.warning(&say_with(
                id,
                &args! { "action" => self.action(*action), "rule" => self.gate(gate) },
            ));
        }
        page.line(&say_with(
            "out-next-cost",
            &args! {
                "minutes" => number(a.step.step_minutes, 0), "step" => number(a.step.step_eur, 0),
                "expected" => number(a.step.eur, 0), "bare" => number(a.without_tests_eur, 0),
                "bound" => number(a.bound_eur, 0),
            },
        ));
        if !a.answers.is_empty() {
            page.heading(&say("head-next-answers"));
            for e in &a.answers {
                let answer = match e.yes {
                    Some(o) if a.answers.len() > 2 => self.label(o),
                    Some(_) => say("out-next-yes"),
                    None if a.answers.len() > 2 => say("out-next-none-of-these"),
                    None => say("out-next-no"),
                };
                page.item(&say_with(
                    "out-next-answer",
                    &args! {
                        "answer" => answer, "p" => of_100(e.p), "set" => self.set(e.leading),
                        "then-p" => of_100(e.leading_p), "then" => self.action(e.then),
                        "eur" => number(e.eur, 0),
                    },
                ));
            }
        }
        page.heading(&say("head-next-remain"));
        for m in a.sets.iter().take(6) {
            page.item(&say_with("out-next-set", &args! { "set" => self.set(m.set), "p" => of_100(m.p) }));
        }
        let told: Vec<_> = a.moves.iter().filter(|m| (m.with - m.without).abs() > 0.005).take(5).collect();
        if !told.is_empty() {
            page.heading(&say("head-next-moved"));
            for m in told {
                let id = if m.yes { "out-next-moved-yes" } else { "out-next-moved-no" };
                page.item(&say_with(
                    id,
                    &args! {
                        "observation" => self.label(m.observation), "without" => of_100(m.without),
                        "with" => of_100(m.with),
                    },
                ));
            }
        }
        if !a.mind_changers.is_empty() {
            page.heading(&say("head-next-change"));
            for c in a.mind_changers.iter().take(5) {
                let answer = match c.yes {
                    Some(o) => say_with("out-next-if", &args! { "label" => self.label(o) }),
                    None => {
                        let of = self.desk.tests.get(c.test).and_then(|t| t.observations.first());
                        say_with(
                            "out-next-if-not",
                            &args! { "label" => of.map_or_else(String::new, |&o| self.label(o)) },
                        )
                    }
                };
                page.item(&say_with(
                    "out-next-changer",
                    &args! { "answer" => answer, "p" => of_100(c.p), "set" => self.set(c.leader_then) },
                ));
            }
        }
        page.heading(&say("head-next-others"));
        for o in a.others.iter().take(4) {
            page.item(&say_with(
                "out-next-other",
                &args! {
                    "action" => self.action(o.action), "minutes" => number(o.step_minutes, 0),
                    "eur" => number(o.eur, 0), "more" => number((o.eur - a.step.eur).max(0.0), 0),
                },
            ));
        }
        let barred: Vec<&str> = self
            .knowledge
            .set_ups()
            .iter()
            .enumerate()
            .filter(|(i, _)| self.barred & (1 << i) != 0)
            .map(|(_, s)| s.label.as_str())
            .collect();
        if !barred.is_empty() {
            page.warning(&say_with("out-next-barred", &args! { "set-ups" => barred.join("; ") }));
        }
        if !a.gates.is_empty() {
            page.heading(&say("head-next-rules"));
            for g in &a.gates {
                page.warning(&self.gate(g));
            }
        }
        page.line(&say("out-next-guesses"));
    }
}

/// The JSON Schema of [`Output`].
pub fn schema() -> serde_json::Value {
    crate::output::named_schema(&schemars::schema_for!(Output), SCHEMA)
}
