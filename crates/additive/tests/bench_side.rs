//! The live fill, values to enter, mix-ups, stock, fuel in oil, and the sentences they say.
#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

mod common;

use std::collections::{BTreeMap, BTreeSet};

use additive::entry::*;
use additive::estimate::{Estimate, Uncertain};
use additive::live::*;
use additive::message::{ENGLISH, Message};
use additive::mixup::*;
use additive::oil::*;
use additive::stock::*;
use additive::transfer::{Bottle, Line, Receiver, Setup};
use common::{repository, rows};
use fluent_syntax::ast;
use proptest::prelude::*;

// ---------------------------------------------------------------- the live fill

fn setup() -> Setup {
    Setup {
        line: Line { bore_m: 0.003, length_m: 1.5, k_sum: 2.5 },
        density_kg_m3: 860.0,
        viscosity_pa_s: 0.005,
        head_m: 0.8,
        bottle_area_m2: 0.01,
        bottle: Bottle::Vented,
        receiver: Receiver::Pouch,
    }
}

fn target() -> Target {
    let course = setup().course(1.8e-3, 40).unwrap();
    let minutes = course.last().unwrap().0 / 60.0;
    let plan = Estimate { p05: minutes * 0.75, p50: minutes, p95: minutes * 1.35 };
    Target::of(&course, plan, 860.0, 9.0, 0.6, Some(1650.0)).unwrap()
}

/// Noise between -1 and 1 that is the same every time.
fn noise(i: usize) -> f64 {
    2.0 * (0.5 + i as f64 * 0.618_033_988_749_895).fract() - 1.0
}

/// Mass (g) moved after a time when the true viscosity is `factor` times the planned one.
fn truth(factor: f64) -> impl Fn(f64) -> f64 {
    truth_of(factor, setup())
}

/// The same for a set-up that is not the planned one, so that the course has another shape too.
fn truth_of(factor: f64, mut s: Setup) -> impl Fn(f64) -> f64 {
    s.viscosity_pa_s *= factor;
    let course = s.course(2.0e-3, 200).unwrap();
    move |t| {
        let i = course.partition_point(|p| p.0 < t).clamp(1, course.len() - 1);
        let (a, b) = (course[i - 1], course[i]);
        860e3 * (a.1 + (b.1 - a.1) * (t - a.0) / (b.0 - a.0))
    }
}

fn receiver(time_s: f64, g: f64) -> Weight {
    Weight { time_s, receiver_g: Some(g), bottle_g: None }
}

/// Minutes left hold the true time in at least 80 % of moments for paces from 0.75 to 1.35 of the plan.
#[test]
fn property_minutes_left_cover_the_truth() {
    let (mut inside, mut all, mut width) = (0, 0, 0.0);
    let wrong_head = |head_m| Setup { head_m, ..setup() };
    let wrong_area = |bottle_area_m2| Setup { bottle_area_m2, ..setup() };
    let cases = [
        (0.6, setup()),
        (0.85, setup()),
        (1.0, setup()),
        (1.35, setup()),
        (2.0, setup()),
        (1.0, wrong_head(0.70)),
        (1.1, wrong_head(0.90)),
        (1.0, wrong_area(0.008)),
        (0.8, wrong_area(0.013)),
    ];
    for (factor, true_setup) in cases {
        let mass = truth_of(factor, true_setup);
        let mut live = LiveFill::new(target()).unwrap();
        let goal = 1.8 * 860.0;
        let end = (0..).map(f64::from).find(|t| mass(*t) >= goal).unwrap();
        for i in 0..60 {
            let t = f64::from(i) * 30.0;
            if t >= end - 60.0 {
                break;
            }
            let status = live.push(receiver(t, 400.0 + (mass(t) + noise(i as usize)).round())).unwrap();
            assert!(!status.state.is_alarm() && status.state != State::Disturbed, "{factor} {t}: {status:?}");
            if let (true, Some(left)) = (i >= 4, status.minutes_left) {
                let want = (end - t) / 60.0;
                all += 1;
                inside += usize::from(left.p05 <= want && want <= left.p95);
                width += (left.p95 - left.p05) / want;
            }
        }
    }
    assert!(all > 100, "{all}");
    let (cover, width) = (inside as f64 / all as f64, width / all as f64);
    assert!(cover > 0.8, "coverage {cover}");
    assert!(width < 0.4, "an interval that says nothing: {width}");
    eprintln!("coverage {cover:.3} of {all}, mean width {width:.2} of the time left"); // shown when it fails
}

#[test]
fn regress_a_good_fill_ends_at_the_mark() {
    let mass = truth(1.0);
    let mut live = LiveFill::new(target()).unwrap();
    let mut states = Vec::new();
    for i in 0..4000 {
        let t = f64::from(i) * 0.5;
        let s = live.push(receiver(t, 400.0 + mass(t).min(1.8 * 860.0) + 0.4 * noise(i as usize))).unwrap();
        if states.last() != Some(&s.state) {
            states.push(s.state);
        }
        assert!((s.stop_receiver_g.unwrap() - (400.0 + 1548.0)).abs() < 0.5);
    }
    assert_eq!(states, [State::Starting, State::Filling, State::Done]);
}

#[test]
fn regress_a_stall_is_told_and_the_fill_goes_on_after_it() {
    let mass = truth(1.0);
    let mut live = LiveFill::new(target()).unwrap();
    let mut told = None;
    let mut after = Vec::new();
    for i in 0..60 {
        let t = f64::from(i) * 20.0;
        // stands still from 300 s to 660 s
        let flowing = if t < 300.0 {
            t
        } else if t < 660.0 {
            300.0
        } else {
            t - 360.0
        };
        let s = live.push(receiver(t, 400.0 + mass(flowing) + 0.3 * noise(i as usize))).unwrap();
        if s.state == State::Stalled && told.is_none() {
            told = Some(t);
        }
        if t < 300.0 {
            assert_ne!(s.state, State::Stalled, "at {t}");
        }
        if t > 720.0 {
            after.push(s.state);
        }
    }
    assert!((340.0..=400.0).contains(&told.unwrap()), "told at {told:?}");
    assert!(after.contains(&State::Filling) && !after.contains(&State::Stalled), "{after:?}");
}

#[test]
fn regress_leaks_are_told_on_one_scale_and_on_two() {
    let mass = truth(1.0);
    // the receiver loses what it had
    let mut live = LiveFill::new(target()).unwrap();
    for i in 0..20 {
        live.push(receiver(f64::from(i) * 20.0, 400.0 + mass(f64::from(i) * 20.0))).unwrap();
    }
    let high = 400.0 + mass(380.0);
    live.push(receiver(400.0, high - 2.0)).unwrap();
    let s = live.push(receiver(420.0, high - 9.0)).unwrap();
    assert_eq!(s.state, State::Leaking);
    assert!(s.lost_g.unwrap() > 6.0 && s.minutes_left.is_none());
    // what leaves the bottle does not arrive: a fifth runs away
    let mut live = LiveFill::new(target()).unwrap();
    let mut told = false;
    for i in 0..20 {
        let m = mass(f64::from(i) * 20.0);
        let s = live
            .push(Weight {
                time_s: f64::from(i) * 20.0,
                receiver_g: Some(400.0 + 0.8 * m),
                bottle_g: Some(2500.0 - m),
            })
            .unwrap();
        told |= s.state == State::Leaking;
    }
    assert!(told);
    // and the tube that fills at the start is no leak
    let mut live = LiveFill::new(target()).unwrap();
    for i in 0..20 {
        let m = mass(f64::from(i) * 20.0);
        let s = live
            .push(Weight {
                time_s: f64::from(i) * 20.0,
                receiver_g: Some(400.0 + (m - 9.0).max(0.0)),
                bottle_g: Some(2500.0 - m),
            })
            .unwrap();
        assert_ne!(s.state, State::Leaking);
    }
}

#[test]
fn regress_overfull_and_disturbed() {
    let mass = truth(1.0);
    let mut live = LiveFill::new(target()).unwrap();
    let mut last = None;
    for i in 0..100 {
        let t = f64::from(i) * 20.0;
        last = Some(live.push(receiver(t, 400.0 + mass(t))).unwrap());
        if last.as_ref().unwrap().moved_g > 1570.0 {
            break;
        }
    }
    assert_eq!(last.unwrap().state, State::Overfull);
    // a tool put on the scale: told, taken as a new zero when it stays, and the mark moves with it
    let mut live = LiveFill::new(target()).unwrap();
    let mut states = Vec::new();
    let mut stop = 0.0;
    for i in 0..25 {
        let t = f64::from(i) * 20.0;
        let tool = if t >= 200.0 { 350.0 } else { 0.0 };
        let s = live.push(receiver(t, 400.0 + mass(t) + tool)).unwrap();
        states.push(s.state);
        stop = s.stop_receiver_g.unwrap();
    }
    assert_eq!(states.iter().filter(|s| **s == State::Disturbed).count(), 2);
    assert_eq!(states.last(), Some(&State::Filling));
    assert!((stop - (400.0 + 1548.0 + 350.0)).abs() < 60.0, "{stop}");
}

#[test]
fn regress_lines_of_scales() {
    for (line, want) in
        [("1234", 1234.0), ("+ 0.5 g\r\n", 0.5), ("N  -  3,25 kg", -3250.0), ("US,NT,+000123.4 g", 123.4)]
    {
        assert_eq!(scale_line(line).unwrap(), want, "{line}");
    }
    for line in ["", "ST,GS", "12 34 g", "1.2.3 g", "5 oz", "1234 g 5", "--", "\u{fffd}"] {
        assert!(scale_line(line).is_err(), "{line}");
    }
}

#[test]
fn regress_bad_weights_change_nothing() {
    let mut live = LiveFill::new(target()).unwrap();
    assert!(live.push(Weight { time_s: 0.0, receiver_g: None, bottle_g: None }).is_err());
    live.push(receiver(0.0, 400.0)).unwrap();
    assert!(live.push(receiver(0.0, 401.0)).is_err(), "time stands still");
    assert!(live.push(receiver(f64::NAN, 401.0)).is_err());
    assert!(live.push(receiver(1.0, f64::INFINITY)).is_err());
    assert!(live.push(Weight { time_s: 1.0, receiver_g: None, bottle_g: Some(1.0) }).is_err());
    assert!(live.push(receiver(20.0, 420.0)).is_ok());
}

proptest! {
    #[test]
    fn property_any_line_is_a_weight_or_refused(line in "\\PC{0,20}|[ -~]{0,20}") {
        let _ = scale_line(&line);
    }

    #[test]
    fn property_any_weights_are_answered_or_refused(rows in prop::collection::vec((common::figure(), common::figure(), prop::option::of(common::figure())), 0..40)) {
        let mut live = LiveFill::new(target()).unwrap();
        for (t, r, b) in rows {
            if let Ok(s) = live.push(Weight { time_s: t, receiver_g: Some(r), bottle_g: b })
                && let Some(left) = s.minutes_left
            {
                prop_assert!(left.p05 >= 0.0 && left.p05 <= left.p50 && left.p50 <= left.p95);
            }
        }
    }

    #[test]
    fn property_wandering_weights_never_panic(steps in prop::collection::vec((0.01..100.0f64, -50.0..80.0f64), 0..200)) {
        let mut live = LiveFill::new(target()).unwrap();
        let (mut t, mut g) = (0.0, 400.0);
        for (dt, dg) in steps {
            t += dt;
            g += dg;
            live.push(receiver(t, g)).unwrap();
        }
    }
}

// ---------------------------------------------------------------- values to enter

fn situation(controller: Controller) -> Situation {
    Situation {
        controller,
        unit: VolumeUnit::Millilitre,
        believed_ml: Some(450.0),
        weighed_ml: Uncertain::new(2040.0, 5.0),
        poured_ml: Some(1800.0),
        capacity_ml: Some(2100.0),
        work: Work::Filled,
        filter: FilterWork::Untouched,
        asks_distance: true,
        filter_received: Some(152.0),
        filter_ash_g: Some(31.0),
    }
}

/// A controller as a car has it: the entry goes in, a belief comes out. Independent of the code under test.
fn controller(kind: Controller, believed: f64, typed_ml: f64) -> f64 {
    if kind == Controller::Sets { typed_ml } else { believed + typed_ml }
}

#[test]
fn property_entries_make_belief_and_scale_agree() {
    for kind in [Controller::Sets, Controller::Adds] {
        for unit in [VolumeUnit::Millilitre, VolumeUnit::Litre] {
            let s = Situation { unit, ..situation(kind) };
            let e = entries(&s).unwrap();
            let first = &e.entries[0];
            let believes = controller(kind, 450.0, first.value * unit.ml());
            assert!((believes - 2040.0).abs() <= if unit == VolumeUnit::Litre { 5.0 } else { 0.5 });
            assert_eq!(first.believes_after_ml, Some(believes));
            assert!(
                slips(
                    &s,
                    &Typed {
                        quantity: Some(first.value),
                        distance_km: Some(0.0),
                        read_back_ml: Some(believes),
                        ..Typed::default()
                    }
                )
                .unwrap()
                .is_empty()
            );
        }
    }
}

#[test]
fn regress_distance_and_filter_only_where_they_belong() {
    let meanings = |s: &Situation| entries(s).unwrap().entries.iter().map(|e| e.meaning).collect::<Vec<_>>();
    let full = situation(Controller::Sets);
    assert_eq!(meanings(&full), [Meaning::HeldNow, Meaning::DistanceSinceFill]);
    assert_eq!(meanings(&Situation { asks_distance: false, ..full.clone() }), [Meaning::HeldNow]);
    assert_eq!(meanings(&Situation { work: Work::ToppedUp, ..full.clone() }), [Meaning::HeldNow]);
    let new_filter = Situation { filter: FilterWork::Replaced, ..full.clone() };
    assert_eq!(
        meanings(&new_filter),
        [Meaning::HeldNow, Meaning::DistanceSinceFill, Meaning::FilterReceived, Meaning::FilterAsh]
    );
    let cleaned = Situation { filter: FilterWork::Cleaned { left_share: Some(0.25) }, ..full.clone() };
    let e = entries(&cleaned).unwrap();
    assert!((e.entries[2].value - 38.0).abs() < 1e-9 && (e.entries[3].value - 7.8).abs() < 0.06);
    let guess = Situation { filter: FilterWork::Cleaned { left_share: None }, ..full };
    assert_eq!(entries(&guess).unwrap().entries.len(), 2, "no guess of what a cleaning left");
}

#[test]
fn regress_one_that_adds_cannot_take_away() {
    let s = Situation { believed_ml: Some(2500.0), ..situation(Controller::Adds) };
    let e = entries(&s).unwrap();
    assert!(e.entries.iter().all(|e| e.meaning != Meaning::AddedNow));
    assert_eq!(e.leave[0].1.key, "entry-cannot-take-away");
    let unknown = Situation { controller: Controller::Unknown, ..s };
    assert_eq!(entries(&unknown).unwrap().leave[0].1.key, "entry-unknown-above-scale");
}

proptest! {
    /// Whatever the true kind, first entry, read-back and correction end at the scale, and the first never overshoots.
    #[test]
    fn property_unknown_kind_ends_at_the_scale(believed in 0.0..3000.0f64, weighed in 100.0..3000.0f64, adds in any::<bool>()) {
        let kind = if adds { Controller::Adds } else { Controller::Sets };
        let s = Situation {
            believed_ml: Some(believed), weighed_ml: Uncertain::new(weighed, 3.0), poured_ml: None,
            ..situation(Controller::Unknown)
        };
        let plan = entries(&s).unwrap();
        let Some(first) = plan.entries.iter().find(|e| e.meaning == Meaning::AddedNow) else {
            prop_assert!(believed >= weighed - 21.0);
            return Ok(());
        };
        let mut belief = controller(kind, believed, first.value);
        prop_assert!(belief <= weighed + 0.51);
        let told = after_first(&s, first.value, belief).unwrap();
        if let Some(next) = told.next {
            prop_assert_eq!(told.kind, kind);
            belief = controller(kind, belief, next.value);
        }
        prop_assert!((belief - weighed).abs() <= 21.0, "{} against {}", belief, weighed);
    }

    #[test]
    fn property_any_situation_is_answered_or_refused(x in prop::collection::vec(common::figure(), 10)) {
        for controller in [Controller::Sets, Controller::Adds, Controller::Unknown] {
            let s = Situation {
                controller, unit: VolumeUnit::Litre, believed_ml: Some(x[0]), weighed_ml: Uncertain::new(x[1], x[2]),
                poured_ml: Some(x[3]), capacity_ml: Some(x[4]), work: Work::ToppedUp,
                filter: FilterWork::Cleaned { left_share: Some(x[5]) }, asks_distance: true,
                filter_received: Some(x[6]), filter_ash_g: Some(x[7]),
            };
            let _ = entries(&s);
            let _ = after_first(&s, x[8], x[9]);
            let _ = slips(&s, &Typed { quantity: Some(x[8]), distance_km: Some(x[9]), read_back_ml: Some(x[0]), filter_received_after: Some(x[1]) });
        }
        let _ = after_dry_spell(DrySpell { undosed_fuel_l: Some(x[0]), refuel_l: Some(x[1]), dose_ml_per_l: Some(x[2]) });
    }
}

#[test]
fn regress_slips_are_caught_and_good_entries_are_not() {
    let sets = situation(Controller::Sets);
    let adds = situation(Controller::Adds);
    let typed = |quantity| Typed { quantity: Some(quantity), ..Typed::default() };
    let found = |s: &Situation, t: Typed| slips(s, &t).unwrap();
    assert_eq!(found(&sets, typed(2.04)), [Slip::WrongUnit]);
    assert_eq!(
        found(&Situation { unit: VolumeUnit::Litre, ..sets.clone() }, typed(2040.0)),
        [Slip::WrongUnit]
    );
    assert_eq!(found(&sets, typed(1800.0)), [Slip::PouredToOneThatSets]);
    assert_eq!(found(&adds, typed(2040.0)), [Slip::HeldToOneThatAdds]);
    assert_eq!(found(&adds, typed(1590.0)), []);
    let topped = Situation {
        work: Work::ToppedUp,
        weighed_ml: Uncertain::new(1250.0, 5.0),
        poured_ml: Some(800.0),
        ..sets.clone()
    };
    assert_eq!(found(&topped, typed(2100.0)), [Slip::TopUpAsFull]);
    assert_eq!(
        found(&sets, Typed { quantity: Some(2040.0), read_back_ml: Some(450.0), ..Typed::default() }),
        [Slip::BeliefUnmoved]
    );
    assert_eq!(
        found(&sets, Typed { distance_km: Some(71_812.0), ..Typed::default() }),
        [Slip::DistanceNotZero]
    );
    assert_eq!(found(&sets, Typed { read_back_ml: Some(1200.0), ..Typed::default() }), [Slip::BeliefOff]);
    assert_eq!(found(&sets, typed(5000.0)), [Slip::AboveCapacity]);
    let new_filter = Situation { filter: FilterWork::Replaced, ..sets.clone() };
    let received = |v| Typed { filter_received_after: Some(v), ..Typed::default() };
    assert_eq!(found(&new_filter, received(152.0)), [Slip::FilterRoutineForgotten]);
    assert_eq!(found(&new_filter, received(0.0)), []);
    assert_eq!(found(&sets, received(0.0)), [Slip::FilterHistoryWiped]);
}

#[test]
fn analytic_dry_spell_share() {
    let a = after_dry_spell(DrySpell {
        undosed_fuel_l: Some(20.0),
        refuel_l: Some(40.0),
        dose_ml_per_l: Some(0.4),
    })
    .unwrap();
    assert!((a.dose_share.unwrap() - 2.0 / 3.0).abs() < 1e-12 && (a.dose_ml.unwrap() - 16.0).abs() < 1e-12);
    let unknown =
        after_dry_spell(DrySpell { undosed_fuel_l: None, refuel_l: None, dose_ml_per_l: None }).unwrap();
    assert!(
        unknown.dose_share.is_none() && unknown.say.iter().any(|m| m.key == "dry-no-standing-regeneration")
    );
}

// ---------------------------------------------------------------- mix-ups

fn mixup(mix: Mix, stage: Option<Stage>) -> MixUp {
    MixUp {
        mix,
        stage,
        wrong_l: Some(Uncertain::new(10.0, 2.0)),
        right_l: Some(Uncertain::new(30.0, 3.0)),
        metal_g_per_l: Some(Uncertain::new(40.0, 1.0)),
        right_metal_g_per_l: Some(Uncertain::exact(20.0)),
        fuel_density_kg_m3: Some(835.0),
        usual_dose_mg_per_kg: Some(8.0),
    }
}

#[test]
fn property_every_mix_up_has_lock_samples_waste_and_no_promise() {
    for mix in Mix::ALL {
        for stage in [
            None,
            Some(Stage::NotSwitchedOn),
            Some(Stage::SwitchedOn),
            Some(Stage::Run),
            Some(Stage::ParkedAfterRun),
        ] {
            let t = triage(&mixup(mix, stage)).unwrap();
            assert_eq!(t.lock.do_not_start, mix != Mix::WrongGeneration);
            assert!(t.lock.hold_work && t.lock.lifted_after.len() >= 3);
            assert!(!t.endangers.is_empty() && !t.samples.is_empty() && t.now.len() >= 4);
            let said: Vec<_> = t.say.iter().chain(&t.never).map(|m| m.key).collect();
            for key in [
                "mixup-no-promise",
                "mixup-authority-decides",
                "mixup-makers-procedure",
                "never-flame",
                "never-service-regeneration",
            ] {
                assert!(said.contains(&key), "{mix:?} {stage:?} lacks {key}");
            }
            assert!(t.waste.iter().all(|w| w.hazardous == w.code.ends_with('*')));
        }
    }
    assert_eq!(triage(&mixup(Mix::Aus32InFuel, None)).unwrap().stage, Stage::Run, "not known counts as run");
}

#[test]
fn analytic_concentration() {
    let c = triage(&mixup(Mix::Aus32InFuel, None)).unwrap().concentration.unwrap();
    assert!(
        (c.volume_share.p50 - 0.25).abs() < 0.01 && c.volume_share.p05 < 0.21 && c.volume_share.p95 > 0.29
    );
    assert!(c.metal_mg_per_kg.is_none());
    // 0.1 L of 40 g/L in 50 L of 835 kg/m3: 4 g in 41.75 kg = 95.8 mg/kg
    let neat = MixUp {
        wrong_l: Some(Uncertain::exact(0.1)),
        right_l: Some(Uncertain::exact(50.0)),
        ..mixup(Mix::NeatAdditiveInFuel, None)
    };
    let c = triage(&neat).unwrap().concentration.unwrap();
    assert!((c.metal_mg_per_kg.unwrap().p50 - 95.8).abs() < 0.5);
    assert!((c.times_usual.unwrap().p50 - 11.98).abs() < 0.1);
    // a third of the reservoir at twice the strength: 4/3 of the dose
    let blend = MixUp {
        wrong_l: Some(Uncertain::exact(0.5)),
        right_l: Some(Uncertain::exact(1.0)),
        metal_g_per_l: Some(Uncertain::exact(40.0)),
        ..mixup(Mix::WrongGeneration, None)
    };
    let c = triage(&blend).unwrap().concentration.unwrap();
    assert!((c.times_usual.unwrap().p50 - 4.0 / 3.0).abs() < 1e-9 && c.metal_mg_per_kg.is_none());
}

proptest! {
    #[test]
    fn property_any_mix_up_is_answered_or_refused(x in prop::collection::vec(common::figure(), 8)) {
        for mix in Mix::ALL {
            let _ = triage(&MixUp {
                mix, stage: None, wrong_l: Some(Uncertain::new(x[0], x[1])), right_l: Some(Uncertain::new(x[2], x[3])),
                metal_g_per_l: Some(Uncertain::new(x[4], x[5])), right_metal_g_per_l: Some(Uncertain::new(x[5], x[4])), fuel_density_kg_m3: Some(x[6]), usual_dose_mg_per_kg: Some(x[7]),
            });
        }
    }
}

// ---------------------------------------------------------------- stock

fn container(id: &str, left_ml: f64, expires_day: Option<i64>, opened_day: Option<i64>) -> Container {
    Container {
        id: id.into(),
        fluid: "iron".into(),
        lot: format!("lot-{id}"),
        left_ml,
        expires_day,
        opened_day,
        blocked: false,
    }
}

#[test]
fn regress_first_expired_goes_first() {
    let mut shelf = vec![
        container("late", 1000.0, Some(400), None),
        container("soon", 600.0, Some(120), None),
        container("soon-open", 300.0, Some(120), Some(90)),
        container("gone", 1000.0, Some(99), None),
        container("undated", 1000.0, None, None),
    ];
    shelf[0].fluid = "iron".into();
    let picked = pick(&shelf, "iron", 1800.0, 100).unwrap();
    let ids: Vec<_> = picked.takes.iter().map(|t| t.container.as_str()).collect();
    assert_eq!(ids, ["soon-open", "soon", "late"]);
    assert_eq!(picked.refused, ["gone"]);
    assert_eq!(picked.takes[2].ml, 900.0);
    shelf[0].blocked = true;
    assert!((pick(&shelf, "iron", 5000.0, 100).unwrap().short_ml - 3100.0).abs() < 1e-9);
}

#[test]
fn regress_lots_are_traced_both_ways() {
    let p = |lot: &str, car: &str, ml| Poured { lot: lot.into(), car: car.into(), day: 1, ml };
    let all = [p("A", "x", 500.0), p("A", "y", 300.0), p("B", "x", 200.0), p("A", "x", 100.0)];
    assert_eq!(cars_of_lot(&all, "A"), BTreeMap::from([("x".into(), 600.0), ("y".into(), 300.0)]));
    assert_eq!(lots_of_car(&all, "x"), BTreeMap::from([("A".into(), 600.0), ("B".into(), 200.0)]));
}

/// Quantiles printed in tables: gamma of shape 4, rate 1 (half of chi-squared with 8 degrees of freedom: 15.507 at 95 %)
/// and the normal law (1.6449 at 95 %).
#[test]
fn reference_demand_quantiles() {
    let gamma = Demand { mean_l: 4.0, sd_l: 2.0 };
    assert!((gamma.quantile_l(0.95).unwrap() - 15.507 / 2.0).abs() < 1e-3);
    let normal = Demand { mean_l: 100.0, sd_l: 5.0 };
    assert!((normal.quantile_l(0.95).unwrap() - 108.224).abs() < 1e-2);
}

#[test]
fn analytic_demand_of_independent_needs() {
    let n = |p| Need { litres: 2.0, standard_uncertainty_l: 0.0, probability: p };
    let d = demand(&[n(0.5), n(0.5), n(1.0)]).unwrap();
    assert!((d.mean_l - 4.0).abs() < 1e-12 && (d.sd_l - 2f64.sqrt()).abs() < 1e-12);
}

#[test]
fn regress_order_respects_service_level_and_shelf_life() {
    let policy = Policy {
        lead_time_days: 10.0,
        review_days: 7.0,
        service_level: 0.95,
        container_l: 5.0,
        shelf_life_days: 720.0,
        cover_days: 60.0,
    };
    let daily = Demand { mean_l: 0.4, sd_l: 0.9 };
    let o = order(daily, 3.0, &policy).unwrap();
    assert!(o.reorder_point_l > 6.8 && o.reorder_point_l < 16.0, "{o:?}");
    assert!(o.containers >= 6 && !o.limited_by_shelf_life, "{o:?}");
    assert_eq!(order(daily, 40.0, &policy).unwrap().containers, 0);
    assert!(
        order(daily, 3.0, &Policy { service_level: 0.99, ..policy }).unwrap().reorder_point_l
            > o.reorder_point_l
    );
    let short = order(daily, 3.0, &Policy { shelf_life_days: 45.0, ..policy }).unwrap();
    assert!(short.limited_by_shelf_life && short.containers < o.containers, "{short:?}");
    let rare = order(Demand { mean_l: 0.002, sd_l: 0.06 }, 0.0, &policy).unwrap();
    assert!(rare.waste_probability > 0.9, "{rare:?}");
}

proptest! {
    #[test]
    fn property_picking_conserves_volume(
        rows in prop::collection::vec((0.0..2000.0f64, prop::option::of(0i64..500), prop::option::of(0i64..200), any::<bool>()), 0..30),
        ml in 0.0..20_000.0f64
    ) {
        let shelf: Vec<Container> = rows.iter().enumerate().map(|(i, (left, expires, opened, blocked))| {
            Container { blocked: *blocked, ..container(&format!("c{i:02}"), *left, *expires, *opened) }
        }).collect();
        let picked = pick(&shelf, "iron", ml, 100).unwrap();
        let taken: f64 = picked.takes.iter().map(|t| t.ml).sum();
        prop_assert!((taken + picked.short_ml - ml).abs() < 1e-6);
        for t in &picked.takes {
            let c = shelf.iter().find(|c| c.id == t.container).unwrap();
            prop_assert!(t.ml <= c.left_ml && !c.blocked && c.expires_day.is_none_or(|d| d >= 100));
        }
        // nobody reaches past a container that expires sooner
        let last = picked.takes.iter().filter_map(|t| shelf.iter().find(|c| c.id == t.container)?.expires_day).max();
        if let Some(last) = last {
            for c in &shelf {
                let passed_over = !c.blocked && c.left_ml > 0.0 && c.expires_day.is_some_and(|d| d >= 100 && d < last);
                prop_assert!(!passed_over || picked.takes.iter().any(|t| t.container == c.id));
            }
        }
    }

    #[test]
    fn property_any_stock_figure_is_answered_or_refused(x in prop::collection::vec(common::figure(), 9)) {
        let _ = demand(&[Need { litres: x[0], standard_uncertainty_l: x[1], probability: x[2] }]);
        let policy = Policy { lead_time_days: x[3], review_days: x[4], service_level: x[5], container_l: x[6], shelf_life_days: x[7], cover_days: x[8] };
        let _ = order(Demand { mean_l: x[0], sd_l: x[1] }, x[2], &policy);
        let _ = pick(&[container("a", x[0], None, None)], "iron", x[1], 0);
    }

    #[test]
    fn property_quantiles_rise(mean in 0.01..1e4f64, cv in 0.001..5.0f64, a in 0.01..0.98f64) {
        let d = Demand { mean_l: mean, sd_l: cv * mean };
        prop_assert!(d.quantile_l(a).unwrap() <= d.quantile_l(a + 0.01).unwrap() * (1.0 + 1e-9));
    }
}

// ---------------------------------------------------------------- fuel in oil

/// Check rows DIL-NU-*.
#[test]
fn reference_diluted_viscosity() {
    for row in rows("DIL-") {
        let mut parts = row.id.trim_start_matches("DIL-NU-").split('-');
        let x: f64 = parts.next().unwrap().parse().unwrap();
        let oil: f64 = parts.next().unwrap().parse().unwrap();
        let nu = diluted_viscosity_mm2_s(oil, 1.1, x).unwrap();
        row.agrees(nu);
        assert!((fuel_share_of_viscosity(oil, 1.1, nu).unwrap() - x).abs() < 1e-9);
    }
}

/// One per cent in 5 L is 50 mL on the dipstick (physics reference 9.1).
#[test]
fn reference_sump_rise() {
    assert!((sump_rise_ml(5.0, 0.01).unwrap() - 50.0).abs() < 0.6);
}

#[test]
fn analytic_dilution_by_stepping() {
    let (d, between, length) = (0.004, 350.0, 1200.0);
    let mut x = 0.0;
    for n in 1..40u32 {
        x = x * f64::exp(-between / length) + d;
        assert!((fuel_share_after(d, between, length, n).unwrap() - x).abs() < 1e-12);
    }
    // nothing evaporates: attempts add up, successes or not
    assert!((fuel_share_after(d, 0.0, length, 10).unwrap() - 0.04).abs() < 1e-12);
}

proptest! {
    #[test]
    fn property_any_oil_figure_is_answered_or_refused(a in common::figure(), b in common::figure(), c in common::figure(), n in any::<u32>()) {
        for v in [diluted_viscosity_mm2_s(a, b, c), fuel_share_of_viscosity(a, b, c), fuel_share_after(a, b, c, n), sump_rise_ml(a, b)].into_iter().flatten() {
            prop_assert!(v.is_finite() && v >= 0.0);
        }
    }
}

// ---------------------------------------------------------------- sentences

/// Keys of the catalogue with the arguments their sentences use.
fn catalogue() -> BTreeMap<String, BTreeSet<String>> {
    let resource = fluent_syntax::parser::parse(ENGLISH).unwrap_or_else(|(_, errors)| panic!("{errors:?}"));
    let mut keys = BTreeMap::new();
    for entry in resource.body {
        if let ast::Entry::Message(m) = entry {
            let mut used = BTreeSet::new();
            for element in m.value.expect("a message without a sentence").elements {
                if let ast::PatternElement::Placeable {
                    expression: ast::Expression::Inline(ast::InlineExpression::VariableReference { id }),
                } = element
                {
                    used.insert(id.name.to_string());
                }
            }
            assert!(keys.insert(m.id.name.to_string(), used).is_none(), "{} is there twice", m.id.name);
        }
    }
    keys
}

/// Every key in the code has a sentence, and every sentence is used.
#[test]
fn property_keys_and_sentences_match() {
    let catalogue = catalogue();
    let mut code = String::new();
    for file in std::fs::read_dir(repository("crates/additive/src")).unwrap() {
        code += &std::fs::read_to_string(file.unwrap().path()).unwrap();
    }
    let families: BTreeSet<&str> = catalogue.keys().map(|k| k.split('-').next().unwrap()).collect();
    let used: BTreeSet<&str> = code
        .split('"')
        .skip(1)
        .step_by(2)
        .filter(|s| {
            s.contains('-') && s.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
        })
        .filter(|s| families.contains(s.split('-').next().unwrap()))
        .collect();
    for key in &used {
        assert!(catalogue.contains_key(*key), "no sentence for {key}");
    }
    for key in catalogue.keys() {
        assert!(code.contains(&format!("\"{key}\"")), "{key} is never said");
    }
}

fn says(catalogue: &BTreeMap<String, BTreeSet<String>>, m: &Message) {
    let wants = &catalogue[m.key];
    for name in wants {
        assert!(m.arguments.contains_key(name.as_str()), "{} lacks {name}", m.key);
    }
}

/// What is said carries every argument its sentence uses.
#[test]
fn property_sentences_have_their_arguments() {
    let catalogue = catalogue();
    for mix in Mix::ALL {
        let t = triage(&mixup(mix, None)).unwrap();
        let c = concentration_sentence(&t.concentration.unwrap());
        let all = t
            .say
            .iter()
            .chain(&t.now)
            .chain(&t.never)
            .chain(&t.samples)
            .chain(&t.endangers)
            .chain(&t.lock.lifted_after);
        all.chain([&t.lock.reason, &c])
            .chain(t.waste.iter().map(|w| &w.say))
            .for_each(|m| says(&catalogue, m));
    }
    for kind in [Controller::Sets, Controller::Adds, Controller::Unknown] {
        for believed in [None, Some(0.0), Some(450.0), Some(2039.0), Some(2045.0), Some(2600.0)] {
            for filter in [
                FilterWork::Untouched,
                FilterWork::Replaced,
                FilterWork::Cleaned { left_share: None },
                FilterWork::Cleaned { left_share: Some(0.2) },
            ] {
                let s = Situation { believed_ml: believed, filter, ..situation(kind) };
                let e = entries(&s).unwrap();
                e.say
                    .iter()
                    .chain(e.entries.iter().map(|e| &e.say))
                    .chain(e.leave.iter().map(|l| &l.1))
                    .for_each(|m| says(&catalogue, m));
                for read in [450.0, 1590.0, 2040.0, 2500.0] {
                    let told = after_first(&s, 1590.0, read).unwrap();
                    says(&catalogue, &told.say);
                    told.next.iter().for_each(|n| says(&catalogue, &n.say));
                }
            }
        }
    }
    let dry = after_dry_spell(DrySpell {
        undosed_fuel_l: Some(1.0),
        refuel_l: Some(1.0),
        dose_ml_per_l: Some(1.0),
    })
    .unwrap();
    dry.say.iter().for_each(|m| says(&catalogue, m));
    // a caution says why: none of the "never" sentences is a bare order
    for (key, _) in catalogue.iter().filter(|(k, _)| k.starts_with("never-")) {
        let line = ENGLISH.lines().find(|l| l.starts_with(&format!("{key} ="))).unwrap();
        assert!(line.contains(':') || line.contains('.') && line.matches('.').count() > 1, "{line}");
    }
}
