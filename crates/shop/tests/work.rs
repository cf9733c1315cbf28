//! No step is ticked without its interlock, whatever is sent in whatever order.

use proptest::prelude::*;
use shop::record::{Entry, Id, Look, Pouring, Subject, What};
use shop::work::{Job, Lack, Needs, Refusal, Rules, permit};
use std::collections::{BTreeMap, BTreeSet};

fn id(n: u8) -> Id {
    Id::v7(1_700_000_000_000, &[n; 10])
}

const T0: i64 = 1_900_000_000_000;

fn needs() -> Needs {
    Needs {
        right: BTreeSet::from(["iron-3".to_owned()]),
        density: BTreeMap::from([("iron-3".to_owned(), (780.0, 900.0))]),
    }
}

fn entry(version: u64, minute: i64, by: u8, what: What) -> Entry {
    let mut fact = [0; 10];
    fact[..8].copy_from_slice(&version.to_be_bytes());
    Entry {
        id: Id::v7(T0 as u64, &fact),
        subject: Subject::Job(id(1)),
        version,
        happened_ms: T0 + minute * 60_000,
        recorded_ms: T0 + minute * 60_000,
        by: id(by),
        corrects: None,
        what,
    }
}

fn opened() -> What {
    What::JobOpened { car: id(9), triage: BTreeMap::new() }
}

fn done(step: &str) -> What {
    What::StepDone { step: step.into() }
}

fn word(step: &str, interlock: &str) -> What {
    What::Confirmed { step: step.into(), interlock: interlock.into() }
}

fn looked(fluid: &str, lot: &str, how: Look) -> What {
    What::Looked { fluid: fluid.into(), lot: lot.into(), expiry: None, how }
}

fn values(list: &[(&str, &str)]) -> BTreeMap<String, String> {
    list.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect()
}

/// A bench with a log, which takes what is permitted.
struct Log {
    rules: Rules,
    log: Vec<Entry>,
    minute: i64,
}

impl Log {
    fn new() -> Self {
        let mut log = Self { rules: Rules::built_in().expect("rules"), log: Vec::new(), minute: 0 };
        log.send(1, opened()).expect("opened");
        log.send(1, What::Planned { procedures: vec!["refill".into()] }).expect("planned");
        log
    }
    fn send(&mut self, by: u8, what: What) -> Result<(), Refusal> {
        let e = entry(self.log.len() as u64 + 1, self.minute, by, what);
        permit(&self.log, &e, &self.rules, &needs())?;
        self.log.push(e);
        Ok(())
    }
    fn take_back(&mut self, what: impl Fn(&What) -> bool) -> Result<(), Refusal> {
        let target = self.log.iter().find(|e| what(&e.what)).expect("such a fact").id.clone();
        let mut e = entry(
            self.log.len() as u64 + 1,
            self.minute,
            1,
            What::Withdrawn { because: "slip of the finger".into() },
        );
        e.corrects = Some(target);
        permit(&self.log, &e, &self.rules, &needs())?;
        self.log.push(e);
        Ok(())
    }
    fn job(&self) -> Job {
        Job::of(&self.log, &self.rules, &needs())
    }
    /// Everything up to the fill's own interlocks.
    fn up_to_the_fill(&mut self) {
        for step in ["before_readings", "battery_support", "lift_up", "reservoir_down"] {
            if step == "battery_support" {
                self.send(1, word(step, "voltage above 12.2 V")).expect("voltage");
            }
            self.send(1, done(step)).expect(step);
        }
        self.send(
            1,
            What::ProofKept {
                step: "inspect_pouch".into(),
                item: "pouch".into(),
                file: Some("ab".into()),
                note: None,
            },
        )
        .expect("photo");
        self.send(1, word("inspect_pouch", "pouch_dry")).expect("dry");
        self.send(1, word("fill", "pouch dry on all seams")).expect("dry");
        self.send(1, done("inspect_pouch")).expect("inspected");
    }
}

#[test]
fn property_the_fluid_wants_two_independent_looks() {
    let second = |by: u8, look: What| {
        let mut l = Log::new();
        l.up_to_the_fill();
        l.send(1, looked("iron-3", "A1", Look::Label)).expect("look");
        l.send(by, look).expect("look");
        l.send(1, done("compare_fluid"))
    };
    let held = |r: Result<(), Refusal>| match r {
        Err(Refusal::Held { lack, .. }) => lack,
        other => panic!("not held: {other:?}"),
    };
    let density = |mass_g| Look::Density { volume_ml: 100.0, mass_g, degc: 20.0 };
    assert_eq!(held(second(1, looked("iron-3", "A1", Look::Label))), Lack::SecondLook, "the same eyes twice");
    assert!(second(2, looked("iron-3", "A1", Look::Label)).is_ok(), "another person");
    assert!(second(1, looked("iron-3", "A1", Look::Scan)).is_ok(), "a scan");
    assert!(second(1, looked("iron-3", "A1", density(84.0))).is_ok(), "a weighed density");
    assert!(matches!(held(second(1, looked("iron-3", "A1", density(109.0)))), Lack::Density { .. }));
    assert_eq!(held(second(2, looked("iron-3", "B2", Look::Label))), Lack::SecondLook, "another bottle");
    assert_eq!(
        held(second(2, looked("aus-32", "A1", Look::Label))),
        Lack::WrongFluid { fluid: "aus-32".into() },
        "never against a label that disagrees"
    );
    let expired = What::Looked {
        fluid: "iron-3".into(),
        lot: "A1".into(),
        expiry: Some("2020-01-31".into()),
        how: Look::Scan,
    };
    assert!(matches!(held(second(2, expired)), Lack::Expired { .. }));
}

#[test]
fn property_ten_minutes_are_ten_minutes() {
    let mut l = Log::new();
    l.send(1, What::ClockStarted { step: "leak_wait".into(), minutes: 10.0 }).expect("clock");
    l.minute = 9;
    assert!(matches!(
        l.send(1, word("leak_wait", "dry_after_wait")),
        Err(Refusal::Held { lack: Lack::Waiting { .. }, .. })
    ));
    l.minute = 10;
    l.send(1, word("leak_wait", "dry_after_wait")).expect("after ten minutes");
}

#[test]
fn property_what_a_ticked_step_rests_on_stays() {
    let mut l = Log::new();
    l.up_to_the_fill();
    let photo = |w: &What| matches!(w, What::ProofKept { .. });
    assert!(matches!(l.take_back(photo), Err(Refusal::RestsOn { .. })));
    l.take_back(|w| *w == done("inspect_pouch")).expect("the tick itself can be taken back");
    l.take_back(photo).expect("then the photo too");
    assert!(l.job().step("inspect_pouch").is_some_and(|s| !s.settled()));
}

#[test]
fn property_a_locked_car_is_left_alone_until_a_person_lifts_it_with_a_reason() {
    let mut l = Log::new();
    l.send(1, What::Locked { why: "two_fluids".into() }).expect("lock");
    assert_eq!(l.send(1, done("before_readings")), Err(Refusal::Locked));
    assert_eq!(
        l.send(1, What::StepLeft { step: "waste".into(), because: "none".into() }),
        Err(Refusal::Locked)
    );
    assert_eq!(l.send(2, What::Unlocked { because: "  ".into() }), Err(Refusal::Reason));
    l.send(2, What::Unlocked { because: "sample is fuel by density and paste".into() }).expect("lifted");
    l.send(1, done("before_readings")).expect("goes on");
    assert_eq!(l.job().lifted.expect("lifted").0.by, id(2));
}

#[test]
fn property_old_values_come_first_and_what_is_read_back_must_be_what_was_typed() {
    let mut l = Log::new();
    let typed = What::ValuesEntered { values: values(&[("held_now", "1800")]) };
    assert!(matches!(l.send(1, typed.clone()), Err(Refusal::Held { .. })));
    l.send(1, What::ValuesSaved { values: values(&[("held_now", "210")]) }).expect("saved");
    l.send(1, typed).expect("typed");
    let lack = |l: &Log| {
        let job = l.job();
        let step = job.step("enter_additive_values").expect("step").step.clone();
        job.conditions(&step, T0, &l.rules, &needs())
            .into_iter()
            .find(|c| c.interlock.id == "values_read_back")
            .and_then(|c| c.lack)
    };
    assert_eq!(lack(&l), Some(Lack::ReadBack));
    l.send(1, What::ValuesReadBack { values: values(&[("held_now", "1.8")]) }).expect("read");
    assert!(matches!(lack(&l), Some(Lack::ReadBackDiffers { .. })));
    l.send(1, What::ValuesReadBack { values: values(&[("held_now", "1800,0")]) }).expect("read");
    assert_eq!(lack(&l), None, "a comma is a point");
}

#[test]
fn property_a_step_with_a_safety_interlock_is_never_left_out() {
    let mut l = Log::new();
    let leave = |step: &str| What::StepLeft { step: step.into(), because: "in a hurry".into() };
    for step in ["compare_fluid", "fill", "inspect_pouch", "leak_wait", "enter_additive_values"] {
        assert!(matches!(l.send(1, leave(step)), Err(Refusal::Safety { .. })), "{step}");
    }
    l.send(1, leave("waste")).expect("nothing was drained");
    assert!(matches!(l.send(1, What::Signed {}), Err(Refusal::Open { .. })));
}

fn any_fact() -> impl Strategy<Value = (u8, i64, What)> {
    let steps = prop::sample::select(vec![
        "before_readings",
        "battery_support",
        "lift_up",
        "reservoir_down",
        "inspect_pouch",
        "compare_fluid",
        "fill",
        "leak_wait",
        "reservoir_up",
        "dose_test",
        "enter_additive_values",
        "verify",
        "waste",
    ]);
    let interlock = prop::sample::select(vec![
        "pouch_dry",
        "coupling_checked",
        "dry_after_wait",
        "battery_support",
        "no bubbles in the line",
        "voltage above 12.2 V",
        "pouch dry on all seams",
        "the meaning of every question is clear",
    ]);
    let lot = prop::sample::select(vec!["A1", "B2"]);
    let fluid = prop::sample::select(vec!["iron-3", "iron-3", "iron-3", "aus-32"]);
    let what = (0..14_u8, steps, interlock, lot, fluid, 0.0..3000.0_f64).prop_map(
        |(kind, step, interlock, lot, fluid, gram)| match kind {
            0..=3 => done(step),
            4 | 5 => word(step, interlock),
            6 => looked(fluid, lot, Look::Label),
            7 => looked(fluid, lot, Look::Scan),
            8 => What::Weighed { step: "fill".into(), at: Pouring::Before, gross_g: gram },
            9 => What::Weighed { step: "fill".into(), at: Pouring::After, gross_g: gram },
            10 => What::ClockStarted { step: "leak_wait".into(), minutes: 10.0 },
            11 => What::ProofKept {
                step: step.into(),
                item: "photo".into(),
                file: (gram > 1000.0).then(|| "ab".into()),
                note: None,
            },
            12 => What::Locked { why: "oil".into() },
            _ => What::Unlocked { because: "looked at".into() },
        },
    );
    (1..3_u8, 0..4_i64, what)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]
    /// Read off the raw log, without the state machine: in front of every tick stands what it needs.
    #[test]
    fn property_no_step_is_ticked_without_its_interlock(facts in prop::collection::vec(any_fact(), 0..250)) {
        let mut l = Log::new();
        for (by, minutes, what) in facts {
            l.minute += minutes;
            let _ = l.send(by, what);
        }
        let mut locked = false;
        for (i, e) in l.log.iter().enumerate() {
            let before = &l.log[..i];
            match &e.what {
                What::Locked { .. } => locked = true,
                What::Unlocked { .. } => locked = false,
                What::StepDone { step } => {
                    prop_assert!(!locked, "{step} ticked on a locked car");
                    prop_assert!(before.iter().all(|b| b.what != e.what), "{step} ticked twice");
                    let has = |f: &dyn Fn(&Entry) -> bool| before.iter().any(f);
                    match step.as_str() {
                        "inspect_pouch" => {
                            let photo = |b: &Entry| matches!(&b.what, What::ProofKept { step, file: Some(_), .. } if step == "inspect_pouch");
                            prop_assert!(has(&photo));
                            prop_assert!(has(&|b| b.what == word("inspect_pouch", "pouch_dry")));
                        }
                        "compare_fluid" | "fill" => {
                            let last = before.iter().rev().find_map(|b| match &b.what {
                                What::Looked { lot, .. } => Some(lot.clone()),
                                _ => None,
                            });
                            let looks: Vec<&Entry> = before.iter().filter(|b| matches!(&b.what, What::Looked { lot, .. } if Some(lot) == last.as_ref())).collect();
                            prop_assert!(looks.iter().all(|b| matches!(&b.what, What::Looked { fluid, .. } if fluid == "iron-3")), "another fluid");
                            let people: BTreeSet<&Id> = looks.iter().map(|b| &b.by).collect();
                            let scanned = looks.iter().any(|b| matches!(&b.what, What::Looked { how: Look::Scan, .. }));
                            let labelled = looks.iter().any(|b| matches!(&b.what, What::Looked { how: Look::Label, .. }));
                            prop_assert!(people.len() > 1 || (scanned && labelled));
                            if step == "fill" {
                                prop_assert!(has(&|b| matches!(&b.what, What::Weighed { at: Pouring::Before, .. })), "no weight before");
                                prop_assert!(has(&|b| matches!(&b.what, What::Weighed { at: Pouring::After, .. })), "no weight after");
                                prop_assert!(has(&|b| b.what == word("fill", "coupling_checked")));
                            }
                        }
                        "leak_wait" => {
                            let clock = before.iter().rev().find(|b| matches!(b.what, What::ClockStarted { .. }));
                            let look = before.iter().rev().find(|b| b.what == word("leak_wait", "dry_after_wait"));
                            let (clock, look) = (clock.expect("clock"), look.expect("look"));
                            prop_assert!(look.happened_ms - clock.happened_ms >= 600_000);
                        }
                        "enter_additive_values" => prop_assert!(false, "no values were ever sent"),
                        _ => {}
                    }
                }
                _ => {}
            }
        }
    }
}
