//! Plans, timetables, quotes and ways by hand; the built-in procedures are whole.
#![allow(clippy::unwrap_used)] // helpers of tests

use facts::{FaultId, Knowledge};
use shop::procedure::{Procedure, Procedures, Step};
use shop::quote::Settings;
use shop::{choices, plan, quote, timetable};
use std::collections::{BTreeMap, BTreeSet};

const SETTINGS: &str = include_str!("../../../knowledge/workshop-example.toml");

fn procedure(text: &str) -> Procedure {
    let text = format!(
        "schema = \"sootwright.procedures/1\"\n[[procedure]]\nid = \"p\"\nlabel = \"p\"\nmark = \"common_practice\"\n{text}"
    );
    Procedures::read(&text).unwrap().procedure.remove(0)
}

#[test]
fn regress_built_in_procedures_make_plans_for_every_fault() {
    let (k, p) = (Knowledge::built_in(), Procedures::built_in().unwrap());
    let settings = Settings::read(SETTINGS).unwrap();
    for &f in FaultId::ALL {
        let made = plan(&[p.mending(f, k)]).unwrap();
        assert!(made.hands_on_min > 0.0 && made.critical_min > 0.0, "{}", f.id());
        assert!(made.through_min >= made.critical_min - 1e-9, "{}", f.id());
        assert!(made.steps.iter().any(|s| !s.step.proof.is_empty()), "{}", f.id());
        let q = quote(&made, &settings);
        assert!(q.unpriced.is_empty(), "{} {:?}", f.id(), q.unpriced);
    }
}

#[test]
fn analytic_critical_path_and_slack() {
    // a 10, then b 20 and c 5 side by side, then d 10: critical 40; c may be 15 late.
    let p = procedure(
        "[[procedure.step]]\nid = \"a\"\ntext = \"a\"\nhands_on_min = 10\n\
         [[procedure.step]]\nid = \"b\"\ntext = \"b\"\nwait_min = 20\nafter = [\"a\"]\n\
         [[procedure.step]]\nid = \"c\"\ntext = \"c\"\nhands_on_min = 5\nafter = [\"a\"]\n\
         [[procedure.step]]\nid = \"d\"\ntext = \"d\"\nhands_on_min = 10\nafter = [\"b\", \"c\"]\n",
    );
    let made = plan(&[p]).unwrap();
    assert_eq!(made.critical_min, 40.0);
    let slack: Vec<f64> = made.steps.iter().map(|s| s.slack_min).collect();
    assert_eq!(slack, [0.0, 0.0, 15.0, 0.0]);
    assert_eq!((made.hands_on_min, made.free_min, made.through_min), (25.0, 20.0, 40.0));
}

#[test]
fn regress_a_ring_of_steps_is_an_error() {
    let p = procedure(
        "[[procedure.step]]\nid = \"a\"\ntext = \"a\"\nafter = [\"b\"]\n\
         [[procedure.step]]\nid = \"b\"\ntext = \"b\"\nafter = [\"a\"]\n",
    );
    assert!(plan(&[p]).is_err());
}

#[test]
fn analytic_two_cars_share_one_person() {
    // Each car: 10 min of hands, 30 of waiting, 10 of hands. One after the other 100; laid over each other
    // 10 + 10, both wait, 40: 10, 50: 10 = 60.
    let step = |id: &str, hands: f64, wait: f64| -> Step {
        toml::from_str(&format!(
            "id = \"{id}\"\ntext = \"{id}\"\nhands_on_min = {hands}\nwait_min = {wait}\n"
        ))
        .unwrap()
    };
    let car = vec![step("a", 10.0, 30.0), step("b", 10.0, 0.0)];
    let before: BTreeMap<String, BTreeSet<String>> =
        [("b".to_owned(), BTreeSet::from(["a".to_owned()]))].into();
    let t = timetable(&[car.clone(), car.clone()], &before, 1, 1);
    assert_eq!(t.end_min, 60.0);
    // No person does two things at once.
    for (i, a) in t.slots.iter().enumerate() {
        for b in &t.slots[i + 1..] {
            assert!(a.hands_end_min <= b.start_min || b.hands_end_min <= a.start_min);
        }
    }
}

#[test]
fn analytic_quote_by_hand() {
    // 90 min at 75 an hour = 112.50; a hose 18.00; net 130.50; tax of 20 % 26.10; 156.60.
    let p = procedure(
        "[[procedure.step]]\nid = \"a\"\ntext = \"a\"\nhands_on_min = 90\nparts = [\"pressure_hose\", \"moon_rock\"]\n",
    );
    let q = quote(&plan(&[p]).unwrap(), &Settings::read(SETTINGS).unwrap());
    assert_eq!((q.net, q.tax, q.gross), (130.5, 26.1, 156.6));
    assert_eq!(q.unpriced, ["moon_rock"]);
}

#[test]
fn regress_refill_alone_will_not_cure_a_split_pouch_or_ash() {
    let (p, s) = (Procedures::built_in().unwrap(), Settings::read(SETTINGS).unwrap());
    let refill = |sets: &[(Vec<FaultId>, f64)]| {
        choices(&p, sets, &s).unwrap().into_iter().find(|c| c.id == "refill_only").unwrap()
    };
    let leak = refill(&[(vec![FaultId::AdditiveLeak], 0.8), (vec![FaultId::AdditiveEmpty], 0.2)]);
    assert!(leak.will_not_cure && (leak.cures - 0.2 * 0.95).abs() < 1e-9);
    assert!(refill(&[(vec![FaultId::AdditiveEmpty, FaultId::AshFull], 1.0)]).will_not_cure);
    let empty = refill(&[(vec![FaultId::AdditiveEmpty], 1.0)]);
    // Comes back: 1 - 0.95 * 0.92.
    assert!(!empty.will_not_cure && (empty.comes_back - 0.126).abs() < 1e-9);
}

#[test]
fn property_shared_steps_are_done_once() {
    let p = Procedures::built_in().unwrap();
    let both = [p.procedure("refill").unwrap().clone(), p.procedure("service_regeneration").unwrap().clone()];
    let made = plan(&both).unwrap();
    let ids: BTreeSet<&str> = made.steps.iter().map(|s| s.step.id.as_str()).collect();
    assert_eq!(ids.len(), made.steps.len());
    let alone: f64 = both.iter().map(|b| plan(std::slice::from_ref(b)).unwrap().hands_on_min).sum();
    assert!(made.hands_on_min < alone - 10.0);
}
