//! A job as its facts leave it, and what may be added to them.
//!
//! The state is nothing but its facts played back. [`permit`] says whether one more fact may be added; a fact
//! that takes an earlier one back may not leave a ticked step without its interlock.

use crate::interlock::{Holds, Interlock, Interlocks};
use crate::plan;
use crate::procedure::{Fault, Procedure, Procedures, Step};
use crate::record::{Entry, Id, Look, Pouring, Subject, What, counting};
use facts::{FaultId, Knowledge, Moment};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A fact may be dated this much after the records' own clock, ms: two devices' clocks differ.
const CLOCKS_DIFFER_MS: i64 = 5 * 60_000;
/// A scale may lose this much between two weighings of an untouched thing, g: one step up or down and a draught.
const SCALE_G: f64 = 3.0;

/// What work is done by.
#[derive(Debug, Clone)]
pub struct Rules {
    /// Procedures.
    pub procedures: Procedures,
    /// Interlocks.
    pub interlocks: Interlocks,
    /// For faults without a procedure of their own.
    pub knowledge: Knowledge,
}

impl Rules {
    /// The rules this version was built with.
    ///
    /// # Errors
    /// None in a tested build.
    pub fn built_in() -> Result<Self, Fault> {
        Ok(Self {
            procedures: Procedures::built_in()?,
            interlocks: Interlocks::built_in()?,
            knowledge: Knowledge::built_in().clone(),
        })
    }

    /// A procedure by its identifier, or the one that mends the fault of that identifier.
    #[must_use]
    pub fn procedure(&self, id: &str) -> Option<Procedure> {
        self.procedures
            .procedure(id)
            .cloned()
            .or_else(|| FaultId::from_id(id).map(|f| self.procedures.mending(f, &self.knowledge)))
    }

    /// Steps of several procedures in one order.
    ///
    /// # Errors
    /// A procedure that is not there, or steps in a ring.
    pub fn steps(&self, ids: &[String]) -> Result<Vec<(Step, Vec<String>)>, Fault> {
        let mut parts = Vec::new();
        for id in ids {
            parts.push(self.procedure(id).ok_or_else(|| Fault::Missing {
                place: "the plan".into(),
                kind: "procedure",
                name: id.clone(),
            })?);
        }
        let order = plan(&parts)?;
        let planned: BTreeSet<&str> = order.steps.iter().map(|s| s.step.id.as_str()).collect();
        let mut before: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
        for p in &parts {
            for (i, s) in p.step.iter().enumerate() {
                let of = before.entry(&s.id).or_default();
                if s.after.is_empty() {
                    of.extend(i.checked_sub(1).and_then(|i| p.step.get(i)).map(|s| s.id.as_str()));
                } else {
                    of.extend(s.after.iter().map(String::as_str).filter(|a| planned.contains(a)));
                }
            }
        }
        Ok(order
            .steps
            .iter()
            .map(|s| {
                let after = before.get(s.step.id.as_str()).into_iter().flatten();
                (s.step.clone(), after.map(|a| (*a).to_owned()).collect())
            })
            .collect())
    }
}

/// What the car's record says about the fluid it takes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Needs {
    /// Fluids that are right for the car, by identifier; empty when the record does not say.
    pub right: BTreeSet<String>,
    /// Density of fluids at 20 degC, kg/m3: lowest and highest that is still that fluid.
    pub density: BTreeMap<String, (f64, f64)>,
}

/// Who and when.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hand {
    /// Identifier of the fact.
    pub fact: Id,
    /// The person.
    pub by: Id,
    /// When it happened, ms since 1970.
    pub at_ms: i64,
}

/// A look at a fluid.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Seen {
    /// Who and when.
    pub hand: Hand,
    /// Fluid.
    pub fluid: String,
    /// Lot.
    pub lot: String,
    /// Last day of use.
    pub expiry: Option<String>,
    /// How.
    pub how: Look,
}

/// Why a condition does not hold.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "lack", rename_all = "snake_case")]
pub enum Lack {
    /// The car's record does not say which fluid it takes.
    FluidNotOnRecord,
    /// Nobody looked at the container.
    FirstLook,
    /// Only one independent look: a scan, another person or a weighed density is owed.
    SecondLook,
    /// The container holds another fluid than the car takes.
    WrongFluid {
        /// What it says it is.
        fluid: String,
    },
    /// Looks at one lot disagree about what it is.
    LooksDisagree,
    /// Its last day of use is over.
    Expired {
        /// Last day.
        expiry: String,
    },
    /// The weighed density is not that of the fluid.
    Density {
        /// kg/m3.
        found: f64,
    },
    /// A photo is owed.
    Photo,
    /// A person's word is owed.
    Word,
    /// A weight is owed.
    Weight,
    /// The weight after is below the one before: something ran out.
    WeightFell {
        /// g.
        by_g: f64,
    },
    /// The clock was not started.
    Clock,
    /// The clock runs.
    Waiting {
        /// Until, ms since 1970.
        until_ms: i64,
    },
    /// Old values are owed.
    Saved,
    /// What was typed is owed.
    Entered,
    /// What the controller shows afterwards is owed.
    ReadBack,
    /// The controller shows something else than was typed.
    ReadBackDiffers {
        /// Meaning.
        meaning: String,
    },
}

/// An interlock of a step with whether it holds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Condition {
    /// The interlock.
    pub interlock: Interlock,
    /// Why it does not hold; none when it holds.
    pub lack: Option<Lack>,
    /// What made it hold, or what has been done for it so far.
    pub hands: Vec<Hand>,
}

/// Why a fact is refused.
#[derive(Debug, Clone, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "refusal", rename_all = "snake_case")]
pub enum Refusal {
    /// The kind of fact does not belong to this kind of subject.
    #[error("this kind of fact does not belong to this subject")]
    NotHere,
    /// The subject does not begin with its opening fact.
    #[error("the first fact must open the subject, and only the first may")]
    Opening,
    /// The date lies in the future.
    #[error("the fact is dated in the future")]
    Future,
    /// Do not start: a named person must lift the lock first.
    #[error("the car is locked: nobody starts it or works on until a named person lifts the lock")]
    Locked,
    /// There is no lock to lift, or one already.
    #[error("the lock is already as asked")]
    LockAsAsked,
    /// A reason is owed.
    #[error("a reason is owed")]
    Reason,
    /// The job is signed.
    #[error("the job is signed; what was signed stays")]
    Signed,
    /// The job is not signed yet.
    #[error("the job is not signed yet")]
    NotSigned,
    /// The step is not in the plan.
    #[error("the step {step:?} is not in the plan of this job")]
    NoStep {
        /// Step.
        step: String,
    },
    /// The interlock does not belong to the step.
    #[error("the step has no interlock {interlock:?}")]
    NoInterlock {
        /// Interlock.
        interlock: String,
    },
    /// The step is done or left out already.
    #[error("the step is settled already")]
    Settled,
    /// A step before it is open.
    #[error("the step {step:?} comes first")]
    Before {
        /// Step.
        step: String,
    },
    /// An interlock does not hold.
    #[error("held: the interlock {interlock:?} does not hold")]
    Held {
        /// Interlock.
        interlock: String,
        /// What it lacks.
        lack: Lack,
    },
    /// The step has a safety interlock: it cannot be left out.
    #[error("the step has a safety interlock and cannot be left out; change the plan instead")]
    Safety {
        /// Interlock.
        interlock: String,
    },
    /// Steps are open.
    #[error("steps are open: {step:?}")]
    Open {
        /// The first open step.
        step: String,
    },
    /// There is nothing to sign: no plan, and no quote that was declined.
    #[error("there is nothing to sign: no plan of work, and no quote that was declined")]
    Nothing,
    /// A procedure is not known.
    #[error("the plan cannot be made: {why}")]
    Plan {
        /// Why.
        why: String,
    },
    /// A settled step is missing in the new plan, or a ticked step would lose what it rests on.
    #[error("the ticked step {step:?} rests on what this would take away")]
    RestsOn {
        /// Step.
        step: String,
    },
    /// The fact to be corrected is not there or counts no longer.
    #[error("there is no fact of that identifier that still counts")]
    NoFact,
    /// A number is no number or out of every range.
    #[error("{what} is {value}: not possible")]
    Impossible {
        /// What.
        what: String,
        /// The number.
        value: f64,
    },
}

/// A step of a job.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JobStep {
    /// The step.
    pub step: Step,
    /// Steps that come before.
    pub after: Vec<String>,
    /// Ticked by whom.
    pub done: Option<Hand>,
    /// Left out by whom, and why.
    pub left: Option<(Hand, String)>,
}

impl JobStep {
    /// Done or left out.
    #[must_use]
    pub fn settled(&self) -> bool {
        self.done.is_some() || self.left.is_some()
    }
}

/// A proof item kept.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Kept {
    /// Who and when.
    pub hand: Hand,
    /// Step.
    pub step: String,
    /// Item in words.
    pub item: String,
    /// Hash of the file.
    pub file: Option<String>,
    /// What was seen.
    pub note: Option<String>,
}

/// Values by meaning, with who and when.
pub type Values = Option<(Hand, BTreeMap<String, String>)>;

/// A job as its facts leave it.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Job {
    /// Number of facts.
    pub version: u64,
    /// The car.
    pub car: Option<Id>,
    /// Who opened it.
    pub opened: Option<Hand>,
    /// Answers of the triage.
    pub triage: BTreeMap<String, bool>,
    /// Do not start: why.
    pub lock: Option<(Hand, String)>,
    /// The last lock that was lifted, and why.
    pub lifted: Option<(Hand, String)>,
    /// Procedures.
    pub procedures: Vec<String>,
    /// Steps in order.
    pub steps: Vec<JobStep>,
    /// Looks at fluids.
    pub looks: Vec<Seen>,
    /// Words given, by step and interlock.
    #[serde(skip)]
    pub words: BTreeMap<(String, String), Hand>,
    /// Proof items.
    pub proof: Vec<Kept>,
    /// Weights: step, when in the pouring, g.
    pub weights: Vec<(Hand, String, Pouring, f64)>,
    /// Clocks by step: start and minutes.
    pub clocks: BTreeMap<String, (Hand, f64)>,
    /// Old values.
    pub saved: Values,
    /// Values typed.
    pub entered: Values,
    /// Values read back.
    pub read_back: Values,
    /// The owner's answer: way, price with tax, currency, accepted.
    pub answer: Option<(Hand, String, f64, String, bool)>,
    /// Signed.
    pub signed: Option<Hand>,
    /// Back with its owner.
    pub handed_over: Option<Hand>,
    /// Heard afterwards.
    pub follow_ups: Vec<(Hand, String)>,
    /// Ticked steps whose conditions did not hold when they were ticked.
    #[serde(skip)]
    unsound: Vec<String>,
}

impl Job {
    /// Plays facts back.
    #[must_use]
    pub fn of(entries: &[Entry], rules: &Rules, needs: &Needs) -> Self {
        let mut job = Self::default();
        for e in counting(entries) {
            job.take(e, rules, needs);
        }
        job.version = entries.last().map_or(0, |e| e.version);
        job
    }

    fn take(&mut self, e: &Entry, rules: &Rules, needs: &Needs) {
        let hand = Hand { fact: e.id.clone(), by: e.by.clone(), at_ms: e.happened_ms };
        match &e.what {
            What::JobOpened { car, triage } => {
                self.car = Some(car.clone());
                self.triage.clone_from(triage);
                self.opened = Some(hand);
            }
            What::Locked { why } => self.lock = Some((hand, why.clone())),
            What::Unlocked { because } => {
                self.lock = None;
                self.lifted = Some((hand, because.clone()));
            }
            What::Planned { procedures } => {
                let Ok(steps) = rules.steps(procedures) else { return };
                let old = std::mem::take(&mut self.steps);
                self.procedures.clone_from(procedures);
                self.steps = steps
                    .into_iter()
                    .map(|(step, after)| {
                        let was = old.iter().find(|o| o.step.id == step.id);
                        JobStep {
                            done: was.and_then(|o| o.done.clone()),
                            left: was.and_then(|o| o.left.clone()),
                            step,
                            after,
                        }
                    })
                    .collect();
            }
            What::Answered { way, gross, currency, accepted } => {
                self.answer = Some((hand, way.clone(), *gross, currency.clone(), *accepted));
            }
            What::Looked { fluid, lot, expiry, how } => self.looks.push(Seen {
                hand,
                fluid: fluid.clone(),
                lot: lot.clone(),
                expiry: expiry.clone(),
                how: how.clone(),
            }),
            What::Confirmed { step, interlock } => {
                self.words.insert((step.clone(), interlock.clone()), hand);
            }
            What::ProofKept { step, item, file, note } => self.proof.push(Kept {
                hand,
                step: step.clone(),
                item: item.clone(),
                file: file.clone(),
                note: note.clone(),
            }),
            What::Weighed { step, at, gross_g } => self.weights.push((hand, step.clone(), *at, *gross_g)),
            What::ClockStarted { step, minutes } => {
                self.clocks.insert(step.clone(), (hand, *minutes));
            }
            What::ValuesSaved { values } => self.saved = Some((hand, values.clone())),
            What::ValuesEntered { values } => {
                self.entered = Some((hand, values.clone()));
                // What was read back before is no longer about what was typed.
                self.read_back = None;
            }
            What::ValuesReadBack { values } => self.read_back = Some((hand, values.clone())),
            What::StepDone { step } => {
                if self.may_tick(step, e.happened_ms, rules, needs).is_err() {
                    self.unsound.push(step.clone());
                }
                if let Some(s) = self.steps.iter_mut().find(|s| s.step.id == *step) {
                    s.done = Some(hand);
                }
            }
            What::StepLeft { step, because } => {
                if let Some(s) = self.steps.iter_mut().find(|s| s.step.id == *step) {
                    s.left = Some((hand, because.clone()));
                }
            }
            What::Signed {} => self.signed = Some(hand),
            What::HandedOver {} => self.handed_over = Some(hand),
            What::FollowedUp { answer } => self.follow_ups.push((hand, answer.clone())),
            What::CarOpened {}
            | What::Told { .. }
            | What::Withdrawn { .. }
            | What::LotTaken { .. }
            | What::LotBlocked { .. }
            | What::LotUsed { .. } => {}
        }
    }

    /// A step of the plan.
    #[must_use]
    pub fn step(&self, id: &str) -> Option<&JobStep> {
        self.steps.iter().find(|s| s.step.id == id)
    }

    /// The first open step whose predecessors are settled.
    #[must_use]
    pub fn next_step(&self) -> Option<&JobStep> {
        self.steps.iter().find(|s| !s.settled() && self.before(s).is_none())
    }

    /// The first open step that must come before.
    #[must_use]
    pub fn before(&self, step: &JobStep) -> Option<&JobStep> {
        step.after.iter().filter_map(|a| self.step(a)).find(|s| !s.settled())
    }

    /// All interlocks of a step with whether they hold at a moment.
    #[must_use]
    pub fn conditions(&self, step: &Step, at_ms: i64, rules: &Rules, needs: &Needs) -> Vec<Condition> {
        rules
            .interlocks
            .of(step)
            .into_iter()
            .map(|interlock| {
                let (lack, hands) = self.holds(step, &interlock, at_ms, needs);
                Condition { interlock, lack, hands }
            })
            .collect()
    }

    fn holds(&self, step: &Step, i: &Interlock, at_ms: i64, needs: &Needs) -> (Option<Lack>, Vec<Hand>) {
        let word = self.words.get(&(step.id.clone(), i.id.clone()));
        let weight = |at: Pouring| self.weights.iter().rev().find(|w| w.1 == step.id && w.2 == at);
        match i.holds {
            Holds::TwoLooks => self.two_looks(at_ms, needs),
            Holds::Photo => {
                let hands: Vec<Hand> = self
                    .proof
                    .iter()
                    .filter(|p| p.step == step.id && p.file.is_some())
                    .map(|p| p.hand.clone())
                    .collect();
                (hands.is_empty().then_some(Lack::Photo), hands)
            }
            Holds::Confirmed => (word.is_none().then_some(Lack::Word), word.into_iter().cloned().collect()),
            Holds::WeighedBefore => match weight(Pouring::Before) {
                Some(w) => (None, vec![w.0.clone()]),
                None => (Some(Lack::Weight), Vec::new()),
            },
            Holds::WeighedAfter => match (weight(Pouring::Before), weight(Pouring::After)) {
                (Some(b), Some(a)) if a.3 + SCALE_G < b.3 => {
                    (Some(Lack::WeightFell { by_g: b.3 - a.3 }), vec![a.0.clone()])
                }
                (_, Some(a)) => (None, vec![a.0.clone()]),
                (_, None) => (Some(Lack::Weight), Vec::new()),
            },
            Holds::Waited => match self.clocks.get(&step.id) {
                None => (Some(Lack::Clock), Vec::new()),
                Some((start, _)) => {
                    let until_ms = start.at_ms + minutes_ms(i.minutes);
                    match word {
                        Some(w) if w.at_ms >= until_ms => (None, vec![start.clone(), w.clone()]),
                        _ if at_ms < until_ms => (Some(Lack::Waiting { until_ms }), vec![start.clone()]),
                        _ => (Some(Lack::Word), vec![start.clone()]),
                    }
                }
            },
            Holds::ValuesSaved => match &self.saved {
                Some((h, v)) if !v.is_empty() => (None, vec![h.clone()]),
                _ => (Some(Lack::Saved), Vec::new()),
            },
            Holds::ValuesReadBack => match (&self.entered, &self.read_back) {
                (Some((h, typed)), Some((r, shown))) if !typed.is_empty() => {
                    let differs = typed
                        .iter()
                        .find(|(k, v)| shown.get(*k).is_none_or(|s| !same_number(s, v)))
                        .map(|(k, _)| Lack::ReadBackDiffers { meaning: k.clone() });
                    (differs, vec![h.clone(), r.clone()])
                }
                (Some((h, typed)), None) if !typed.is_empty() => (Some(Lack::ReadBack), vec![h.clone()]),
                _ => (Some(Lack::Entered), Vec::new()),
            },
        }
    }

    /// Two independent looks at the container looked at last: the first by its label or a scan; the second by a
    /// scan, by another person, or by a weighed density. Never against a label that disagrees.
    fn two_looks(&self, at_ms: i64, needs: &Needs) -> (Option<Lack>, Vec<Hand>) {
        if needs.right.is_empty() {
            return (Some(Lack::FluidNotOnRecord), Vec::new());
        }
        let Some(last) = self.looks.last() else { return (Some(Lack::FirstLook), Vec::new()) };
        let looks: Vec<&Seen> = self.looks.iter().filter(|l| l.lot == last.lot).collect();
        let hands: Vec<Hand> = looks.iter().map(|l| l.hand.clone()).collect();
        if let Some(wrong) = looks.iter().find(|l| !needs.right.contains(&l.fluid)) {
            return (Some(Lack::WrongFluid { fluid: wrong.fluid.clone() }), hands);
        }
        if looks.iter().any(|l| l.fluid != last.fluid) {
            return (Some(Lack::LooksDisagree), hands);
        }
        let today = at_ms.div_euclid(86_400_000);
        if let Some(expiry) = looks
            .iter()
            .filter_map(|l| l.expiry.as_ref())
            .find(|e| Moment::parse(e).is_ok_and(|m| m.day() < today))
        {
            return (Some(Lack::Expired { expiry: expiry.clone() }), hands);
        }
        for l in &looks {
            if let Some(found) = density_kg_m3(&l.how) {
                let within =
                    needs.density.get(&l.fluid).is_some_and(|(low, high)| (*low..=*high).contains(&found));
                if !within {
                    return (Some(Lack::Density { found }), hands);
                }
            }
        }
        let labelled: Vec<&&Seen> = looks.iter().filter(|l| !matches!(l.how, Look::Density { .. })).collect();
        if labelled.is_empty() {
            return (Some(Lack::FirstLook), hands);
        }
        let people: BTreeSet<&Id> = labelled.iter().map(|l| &l.hand.by).collect();
        let kinds: BTreeSet<u8> = looks.iter().map(|l| kind(&l.how)).collect();
        ((people.len() < 2 && kinds.len() < 2).then_some(Lack::SecondLook), hands)
    }

    fn may_tick(&self, id: &str, at_ms: i64, rules: &Rules, needs: &Needs) -> Result<(), Refusal> {
        let step = self.step(id).ok_or_else(|| Refusal::NoStep { step: id.to_owned() })?;
        if step.settled() {
            return Err(Refusal::Settled);
        }
        if let Some(b) = self.before(step) {
            return Err(Refusal::Before { step: b.step.id.clone() });
        }
        match self.conditions(&step.step, at_ms, rules, needs).into_iter().find_map(|c| {
            let lack = c.lack?;
            Some(Refusal::Held { interlock: c.interlock.id, lack })
        }) {
            Some(held) => Err(held),
            None => Ok(()),
        }
    }
}

fn kind(look: &Look) -> u8 {
    match look {
        Look::Label => 0,
        Look::Scan => 1,
        Look::Density { .. } => 2,
    }
}

/// Density at 20 degC of a weighed volume, kg/m3, by the hydrocarbon carriers' about -0.8 kg/m3 per kelvin
/// (common practice).
fn density_kg_m3(look: &Look) -> Option<f64> {
    match look {
        Look::Density { volume_ml, mass_g, degc } if *volume_ml > 0.0 => {
            Some(1000.0 * mass_g / volume_ml + 0.8 * (degc - 20.0))
        }
        _ => None,
    }
}

fn minutes_ms(minutes: f64) -> i64 {
    (minutes * 60_000.0) as i64
}

/// Two entries are the same when their numbers are, however they were typed.
fn same_number(a: &str, b: &str) -> bool {
    let number = |s: &str| s.trim().replace(',', ".").parse::<f64>().ok();
    match (number(a), number(b)) {
        (Some(a), Some(b)) => a == b,
        _ => a.trim() == b.trim(),
    }
}

fn reason(text: &str) -> Result<(), Refusal> {
    if text.trim().is_empty() { Err(Refusal::Reason) } else { Ok(()) }
}

fn possible(what: &str, value: f64, most: f64) -> Result<(), Refusal> {
    if value.is_finite() && (0.0..=most).contains(&value) {
        Ok(())
    } else {
        Err(Refusal::Impossible { what: what.to_owned(), value })
    }
}

/// Whether a fact may be added to the facts of its subject.
///
/// # Errors
/// Why not.
pub fn permit(before: &[Entry], new: &Entry, rules: &Rules, needs: &Needs) -> Result<(), Refusal> {
    if !new.what.fits(&new.subject) {
        return Err(Refusal::NotHere);
    }
    let opens = matches!(new.what, What::CarOpened {} | What::JobOpened { .. } | What::LotTaken { .. });
    if opens != before.is_empty() {
        return Err(Refusal::Opening);
    }
    if new.happened_ms > new.recorded_ms + CLOCKS_DIFFER_MS {
        return Err(Refusal::Future);
    }
    if let Some(target) = &new.corrects {
        let found = counting(before).into_iter().find(|e| e.id == *target).ok_or(Refusal::NoFact)?;
        let opening = before.first().is_some_and(|f| f.id == *target);
        if opening || matches!(found.what, What::Signed {} | What::HandedOver {}) {
            return Err(Refusal::Signed);
        }
    } else if matches!(new.what, What::Withdrawn { .. }) {
        return Err(Refusal::NoFact);
    }
    if let What::Withdrawn { because } = &new.what {
        reason(because)?;
    }
    match &new.subject {
        Subject::Car(_) => Ok(()),
        Subject::Lot(_) => match &new.what {
            What::LotTaken { volume_ml, .. } | What::LotUsed { volume_ml, .. } => {
                possible("volume_ml", *volume_ml, 1e6)
            }
            What::LotBlocked { because } => reason(because),
            _ => Ok(()),
        },
        Subject::Job(_) => permit_job(before, new, rules, needs),
    }
}

fn permit_job(before: &[Entry], new: &Entry, rules: &Rules, needs: &Needs) -> Result<(), Refusal> {
    let job = Job::of(before, rules, needs);
    let planned =
        |step: &str| job.step(step).map(|_| ()).ok_or_else(|| Refusal::NoStep { step: step.to_owned() });
    let unlocked = || if job.lock.is_some() { Err(Refusal::Locked) } else { Ok(()) };
    if job.signed.is_some() && !matches!(new.what, What::HandedOver {} | What::FollowedUp { .. }) {
        return Err(Refusal::Signed);
    }
    match &new.what {
        What::Locked { .. } if job.lock.is_some() => return Err(Refusal::LockAsAsked),
        What::Unlocked { because } => {
            reason(because)?;
            if job.lock.is_none() {
                return Err(Refusal::LockAsAsked);
            }
        }
        What::Planned { procedures } => {
            let steps = rules.steps(procedures).map_err(|e| Refusal::Plan { why: e.to_string() })?;
            let gone =
                job.steps.iter().find(|s| s.done.is_some() && !steps.iter().any(|(n, _)| n.id == s.step.id));
            if let Some(s) = gone {
                return Err(Refusal::RestsOn { step: s.step.id.clone() });
            }
        }
        What::Answered { gross, .. } => possible("gross", *gross, 1e7)?,
        What::Looked { how: Look::Density { volume_ml, mass_g, degc }, .. } => {
            possible("volume_ml", *volume_ml, 1e5)?;
            possible("mass_g", *mass_g, 1e5)?;
            possible("degc", *degc, 90.0)?;
        }
        What::Confirmed { step, interlock } => {
            unlocked()?;
            planned(step)?;
            let s = job.step(step).ok_or_else(|| Refusal::NoStep { step: step.clone() })?;
            let i = rules
                .interlocks
                .of(&s.step)
                .into_iter()
                .find(|i| i.id == *interlock)
                .ok_or_else(|| Refusal::NoInterlock { interlock: interlock.clone() })?;
            if i.holds == Holds::Waited {
                // A look before the time is up is no look.
                let held = |lack| Refusal::Held { interlock: i.id.clone(), lack };
                let (start, _) = job.clocks.get(step).ok_or_else(|| held(Lack::Clock))?;
                let until_ms = start.at_ms + minutes_ms(i.minutes);
                if new.happened_ms < until_ms {
                    return Err(held(Lack::Waiting { until_ms }));
                }
            }
        }
        What::ProofKept { step, .. } => planned(step)?,
        What::Weighed { step, gross_g, .. } => {
            unlocked()?;
            planned(step)?;
            possible("gross_g", *gross_g, 1e5)?;
        }
        What::ClockStarted { step, minutes } => {
            unlocked()?;
            planned(step)?;
            possible("minutes", *minutes, 1e5)?;
        }
        What::ValuesEntered { .. } => {
            unlocked()?;
            if job.saved.is_none() {
                return Err(Refusal::Held { interlock: "values_saved".into(), lack: Lack::Saved });
            }
        }
        What::StepDone { step } => {
            unlocked()?;
            job.may_tick(step, new.happened_ms, rules, needs)?;
        }
        What::StepLeft { step, because } => {
            unlocked()?;
            reason(because)?;
            let s = job.step(step).ok_or_else(|| Refusal::NoStep { step: step.clone() })?;
            if s.settled() {
                return Err(Refusal::Settled);
            }
            if let Some(i) = rules.interlocks.of(&s.step).into_iter().find(|i| i.safety) {
                return Err(Refusal::Safety { interlock: i.id });
            }
        }
        What::Signed {} => {
            unlocked()?;
            if let Some(s) = job.steps.iter().find(|s| !s.settled()) {
                return Err(Refusal::Open { step: s.step.id.clone() });
            }
            let declined = job.answer.as_ref().is_some_and(|a| !a.4);
            if job.steps.is_empty() && !declined {
                return Err(Refusal::Nothing);
            }
        }
        What::HandedOver {} if job.signed.is_none() => return Err(Refusal::NotSigned),
        What::HandedOver {} if job.handed_over.is_some() => return Err(Refusal::Settled),
        _ => {}
    }
    if new.corrects.is_some() {
        let mut after = before.to_vec();
        after.push(new.clone());
        if let Some(step) = Job::of(&after, rules, needs).unsound.first() {
            return Err(Refusal::RestsOn { step: step.clone() });
        }
    }
    Ok(())
}
