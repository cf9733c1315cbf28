//! Plans, timetables, quotes and ways by hand; the built-in procedures are whole.
#![allow(clippy::unwrap_used)] // helpers of tests

use facts::{FaultId, Knowledge};
use shop::procedure::{Procedure, Procedures, Step};
use shop::quote::Settings;
use shop::{choices, plan, quote, timetable};
use std::collections::BTreeSet;

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
    let mut car = vec![step("a", 10.0, 30.0), step("b", 10.0, 0.0)];
    car[1].after.push("a".into());
    let t = timetable(&[car.clone(), car.clone()], 1, 1);
    // No timetable can end before one car's own 50.
    assert_eq!((t.end_min, t.bound_min, t.one_by_one_min), (60.0, 50.0, 100.0));
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

#[test]
fn regress_every_fault_has_a_procedure_that_can_be_worked_by() {
    let (k, p) = (Knowledge::built_in(), Procedures::built_in().unwrap());
    assert_eq!(p.missing(), []);
    for &f in FaultId::ALL {
        let made = p.mending(f, k);
        let any = |of: fn(&Step) -> &Vec<String>| made.step.iter().any(|s| !of(s).is_empty());
        assert!(made.step.len() >= 3, "{}: one line is no procedure", f.id());
        assert!(any(|s| &s.tools) && any(|s| &s.cautions) && any(|s| &s.proof), "{}", f.id());
        assert!(any(|s| &s.interlocks), "{}", f.id());
        for s in &made.step {
            // Who enters a value has support for the battery and keeps the old value.
            if s.enter.iter().any(|e| !e.starts_with("oil service")) {
                assert!(made.step.iter().any(|s| s.id == "battery_support"), "{} {}", f.id(), s.id);
                assert!(!s.proof.is_empty(), "{} {}", f.id(), s.id);
            }
            // Who pours or drains is protected.
            if !s.fluids.is_empty() {
                assert!(!s.ppe.is_empty(), "{} {}", f.id(), s.id);
            }
        }
        // What comes out of a repair shows that it worked.
        assert!(!made.step.last().unwrap().proof.is_empty(), "{}", f.id());
    }
}

#[test]
fn regress_nothing_begins_on_a_car_that_must_not_be_started() {
    let (k, p) = (Knowledge::built_in(), Procedures::built_in().unwrap());
    let made = plan(&[p.mending(FaultId::AdditiveEmpty, k), p.mending(FaultId::Aus32InFuel, k)]).unwrap();
    let place = |id: &str| made.steps.iter().position(|s| s.step.id == id).unwrap();
    assert!(place("do_not_start") < place("clear_do_not_start"));
    for of_refill in ["before_readings", "reservoir_down", "dose_test"] {
        assert!(place("clear_do_not_start") < place(of_refill), "{of_refill}");
    }
}

#[test]
fn regress_a_step_done_once_keeps_what_every_procedure_wants() {
    let (k, p) = (Knowledge::built_in(), Procedures::built_in().unwrap());
    let made = plan(&[p.mending(FaultId::BoostLeak, k), p.mending(FaultId::EgrStuckOpen, k)]).unwrap();
    let before = made.steps.iter().find(|s| s.step.id == "before_readings").unwrap();
    assert!(before.step.proof.iter().any(|t| t.contains("boost asked for")));
    assert!(before.step.proof.iter().any(|t| t.contains("valve commanded shut")));
    assert_eq!(before.step.hands_on_min, 12.0);
}

const OWN: &str = "schema = \"sootwright.procedures/1\"\n\n[[step]]\nid = \"lift_up\"\nhands_on_min = 4\n\n\
    [[procedure]]\nid = \"our_hoses\"\nlabel = \"Our hoses\"\nmends = [\"hose_leaking\"]\nmark = \"counted\"\n\
    [[procedure.step]]\nid = \"lift_up\"\n[[procedure.step]]\nid = \"hose\"\ntext = \"hose\"\nhands_on_min = 7\n\n\
    [[way]]\nid = \"refill_only\"\n[way.cures]\nadditive_empty = 0.8\n";

#[test]
fn regress_a_workshops_own_procedures_lie_over_the_built_in_ones() {
    let (k, p) = (Knowledge::built_in(), Procedures::with(&[("own.toml", OWN)]).unwrap());
    let hoses = p.mending(FaultId::HoseLeaking, k);
    assert_eq!(hoses.id, "our_hoses");
    assert_eq!(plan(&[hoses]).unwrap().hands_on_min, 11.0);
    // The shared step changed for the built-in procedures too; other keys of the way stay.
    assert_eq!(
        p.mending(FaultId::AdditiveEmpty, k).step.iter().find(|s| s.id == "lift_up").unwrap().hands_on_min,
        4.0
    );
    let way = p.way.iter().find(|w| w.id == "refill_only").unwrap();
    assert_eq!((way.cures[&FaultId::AdditiveEmpty], way.relapse), (0.8, 0.08));
}

#[test]
fn regress_faults_of_a_file_are_named_with_file_and_line() {
    let told = |from: &str, to: &str| {
        Procedures::with(&[("own.toml", &OWN.replace(from, to))]).unwrap_err().to_string()
    };
    assert!(
        told("hands_on_min = 7", "hands_on_min = -7")
            .starts_with("own.toml:7: procedure \"our_hoses\", step")
    );
    assert!(told("hands_on_min = 7", "hand_on_min = 7").contains("hand_on_min"));
    assert!(told("hose_leaking", "hose_leeking").contains("hose_leeking"));
    assert!(told("refill_only", "refil_only").starts_with("own.toml:19: way \"refil_only\": missing field"));
    assert!(told("additive_empty = 0.8", "additive_empty = 8").contains("out of range: 8"));
    assert!(told("[[step]]", "[[steps]]").contains("\"steps\" is no list of ours"));
    assert!(told("procedures/1", "procedures/9").contains("procedures/9"));
    assert!(told("text = \"hose\"", "after = [\"moon\"]\ntext = \"hose\"").contains("the step \"moon\""));
}

#[test]
fn property_a_way_that_does_all_that_another_does_cures_no_less() {
    let procedures = Procedures::built_in().unwrap();
    for more in &procedures.way {
        for less in &procedures.way {
            if less.id != more.id && less.procedures.iter().all(|p| more.procedures.contains(p)) {
                for (fault, p) in &less.cures {
                    let with = more.cures.get(fault).copied().unwrap_or(0.0);
                    assert!(with >= *p, "{} against {}: {fault:?} {with} {p}", more.id, less.id);
                }
            }
        }
    }
}

#[test]
fn property_any_three_faults_can_be_planned_together() {
    let (k, p) = (Knowledge::built_in(), Procedures::built_in().unwrap());
    let parts: Vec<Procedure> = FaultId::ALL.iter().map(|f| p.mending(*f, k)).collect();
    for (i, a) in parts.iter().enumerate() {
        for (j, b) in parts.iter().enumerate().skip(i + 1) {
            for two in [[a, b], [b, a]] {
                let made = plan(&two.map(Clone::clone));
                assert!(made.is_ok(), "{} {}: {:?}", a.id, b.id, made.err());
            }
            // Every seventh triple: all of them take long and say no more.
            for c in parts.iter().skip(j + 1).step_by(7) {
                assert!(plan(&[a.clone(), b.clone(), c.clone()]).is_ok(), "{} {} {}", a.id, b.id, c.id);
            }
        }
    }
}
