//! The next step: small desks by hand, safety rules as constraints, and marginals of one joint list.
#![allow(clippy::unwrap_used)] // helpers of tests

use facts::{FaultId, Knowledge};
use infer::network::{Answers, Member, Network, Prior, Set, marginals};
use infer::next::{Action, Depth, Desk, Question, Refer, RepairCost, SetUpCost, TestCost, advise};

fn repair(eur: f64, set_ups: u32) -> RepairCost {
    RepairCost { eur, minutes: 0.0, waiting_eur: 0.0, works: 1.0, harm_eur: 0.0, set_ups }
}

fn desk(sound: Vec<f64>, table: Vec<Vec<f64>>, tests: Vec<TestCost>, repairs: Vec<RepairCost>) -> Desk {
    Desk {
        network: Network::plain(sound, table).unwrap(),
        tests,
        repairs,
        set_ups: vec![SetUpCost {
            id: "lift".into(),
            eur: 50.0,
            minutes: 10.0,
            drive: false,
            ends_with_drive: false,
        }],
        rules: Vec::new(),
        final_eur: 0.0,
        final_minutes: 0.0,
        final_misses: 0.0,
        final_set_ups: 0,
        come_back_eur: 0.0,
        refer: Refer { eur: 1e6, factor: 1.0 },
    }
}

fn question(p: &[f64], steps: usize) -> Question {
    Question {
        sets: p.iter().enumerate().map(|(f, &p)| Member { set: Set::NONE.with(f), p }).collect(),
        answers: Answers::NONE,
        closed: Answers::NONE,
        paid: 0,
        barred: 0,
        depth: Depth { steps, widen: 8 },
    }
}

#[test]
fn analytic_order_by_probability_over_cost() {
    // Two faults, 0.6 at 100 EUR and 0.4 at 10 EUR, no tests: the cheap one first, 10 + 0.6 * 100 = 70 EUR;
    // the other way round 100 + 0.4 * 10 = 104. Known at once: 0.6 * 100 + 0.4 * 10 = 64.
    let d = desk(vec![], vec![vec![], vec![]], vec![], vec![repair(100.0, 0), repair(10.0, 0)]);
    let a = advise(&d, &question(&[0.6, 0.4], 2)).unwrap();
    assert_eq!(a.step.action, Action::Repair(1));
    assert!((a.without_tests_eur - 70.0).abs() < 1e-9, "{}", a.without_tests_eur);
    assert!((a.bound_eur - 64.0).abs() < 1e-9);
}

#[test]
fn analytic_a_shared_set_up_is_paid_once() {
    // Three faults of a third each: A and B at 10 EUR each on a lift of 50 EUR, C at 40 EUR without.
    // C, then lift, A, B: 40 + 2/3 * 60 + 1/3 * 10 = 83.3; lift, A, B, then C: 60 + 2/3 * 10 + 1/3 * 40 = 80.
    let third = 1.0 / 3.0;
    let d = desk(
        vec![],
        vec![vec![], vec![], vec![]],
        vec![],
        vec![repair(10.0, 1), repair(10.0, 1), repair(40.0, 0)],
    );
    let a = advise(&d, &question(&[third; 3], 0)).unwrap();
    assert!((a.without_tests_eur - 80.0).abs() < 1e-6, "{}", a.without_tests_eur);
    assert!(matches!(a.step.action, Action::Repair(0 | 1)));
    // With the car on the lift already the 50 EUR are gone.
    let mut q = question(&[third; 3], 0);
    q.paid = 1;
    assert!((advise(&d, &q).unwrap().without_tests_eur - 30.0).abs() < 1e-6);
}

#[test]
fn analytic_a_test_is_worth_what_it_saves() {
    // Two faults, half each, 100 EUR each: without a test 100 + 0.5 * 100 = 150; known 100. A test that
    // nearly always tells (0.9999 against 0.0001; slips of one in a hundred stay) saves almost 50: taken at
    // 20 EUR, left at 60.
    let at = |eur: f64| {
        let test = TestCost { observations: vec![0], eur, minutes: 1.0, set_ups: 0 };
        let d = desk(
            vec![0.0001],
            vec![vec![0.9999], vec![0.0001]],
            vec![test],
            vec![repair(100.0, 0), repair(100.0, 0)],
        );
        advise(&d, &question(&[0.5, 0.5], 1)).unwrap()
    };
    let taken = at(20.0);
    assert_eq!(taken.step.action, Action::Test(0));
    // 20 + 100 + 100 for the one car in a hundred that the slip misleads.
    assert!((taken.answers.iter().map(|e| e.p * e.eur).sum::<f64>() - 101.0).abs() < 0.2);
    assert!(matches!(at(60.0).step.action, Action::Repair(_)));
}

#[test]
fn regress_rules_are_constraints() {
    let k = Knowledge::built_in();
    let desk = Desk::new(k).unwrap();
    let set_up = |id: &str| 1_u32 << desk.set_ups.iter().position(|s| s.id == id).unwrap();
    let running = set_up("engine_hot") | set_up("road_test") | set_up("service_regen");
    // Somebody may have filled AUS 32 into the fuel: nothing that runs the engine, no final test.
    let answers = desk.network.answers([("q_wrong_fluid_suspected", true)]);
    let sets = desk.network.enumerate(FaultId::ALL, 2, &Prior::new(k), answers, |_| 0.0);
    assert!(marginals(&sets)[FaultId::Aus32InFuel as usize] > 0.02);
    let ask = |sets: &[Member], answers| {
        let q = Question {
            sets: sets.to_vec(),
            answers,
            closed: Answers::NONE,
            paid: 0,
            barred: 0,
            depth: Depth { steps: 1, widen: 0 },
        };
        advise(&desk, &q).unwrap()
    };
    let a = ask(&sets, answers);
    for step in [&a.step].into_iter().chain(&a.others) {
        let needs = match step.action {
            Action::Test(t) => desk.tests[t].set_ups,
            Action::Repair(f) => desk.repairs[f].set_ups,
            Action::FinalTest => running,
            Action::Refer => 0,
        };
        assert_eq!(needs & running, 0, "{:?}", step.action);
    }
    assert!(!a.gates.is_empty());
    // A standing regeneration is not proposed before oil and fuel were looked at.
    let soot = [Member { set: Set::of(&[FaultId::SootShortTrips]), p: 1.0 }];
    let a = ask(&soot, Answers::NONE);
    let look = |id: &str| {
        let o = desk.network.number(id).unwrap();
        Action::Test(desk.tests.iter().position(|t| t.observations.contains(&o)).unwrap())
    };
    let looks =
        [look("oil_level_above_max"), look("q_wrong_fluid_suspected"), look("fuel_level_low_or_gauge_wrong")];
    assert!(looks.contains(&a.step.action), "{:?}", a.step.action);
}

#[test]
fn property_marginals_of_an_assessment_are_sums_over_its_one_list() {
    let case = facts::load_case(
        "schema = \"sootwright.case/1\"\n[car]\ncategory = \"M1\"\ndisplacement_l = 2.0\n\
         [[observation]]\nid = \"dtc_soot_overload\"\nanswer = \"yes\"\n\
         [[observation]]\nid = \"reservoir_below_minimum\"\nanswer = \"yes\"\n",
        "case",
    )
    .unwrap();
    let knowledge = Knowledge::built_in();
    let a = infer::assess(&infer::Evidence { case: &case, recordings: &[], knowledge });
    assert!((a.fault_sets.iter().map(|s| s.probability).sum::<f64>() - 1.0).abs() < 1e-9);
    for (fault, p) in &a.faults {
        let sum: f64 = a
            .fault_sets
            .iter()
            .filter(|s| fault.map_or(s.faults.is_empty(), |f| s.faults.contains(&f)))
            .map(|s| s.probability)
            .sum();
        assert!((sum - p).abs() < 1e-9, "{fault:?}: {p} in the list, {sum} summed");
    }
}

#[test]
fn regress_what_is_barred_is_nowhere_proposed() {
    let k = Knowledge::built_in();
    let desk = Desk::new(k).unwrap();
    let set_up = |id: &str| 1_u32 << desk.set_ups.iter().position(|s| s.id == id).unwrap();
    let barred = set_up("service_regen") | set_up("engine_hot") | set_up("road_test");
    let q = Question {
        sets: vec![
            Member { set: Set::of(&[FaultId::SootShortTrips]), p: 0.9 },
            Member { set: Set::NONE, p: 0.1 },
        ],
        answers: Answers::NONE,
        closed: Answers::NONE,
        paid: 0,
        barred,
        depth: Depth { steps: 1, widen: 0 },
    };
    let a = advise(&desk, &q).unwrap();
    for step in [&a.step].into_iter().chain(&a.others) {
        let needs = match step.action {
            Action::Test(t) => desk.tests[t].set_ups,
            Action::Repair(f) => desk.repairs[f].set_ups,
            Action::FinalTest => desk.final_set_ups,
            Action::Refer => 0,
        };
        assert_eq!(needs & barred, 0, "{:?}", step.action);
    }
}
