//! The verdict on a regeneration over invented cars: never *safe* above the limit, never with a condition open.

use demo::batch::{GeneratedCase, generate};
use facts::Knowledge;
use facts::case::{Answer, Case, Observation};
use infer::assessment::Assessment;
use infer::posterior::Draws;
use infer::safety::{State, Verdict};
use infer::{Evidence, assess_with_draws};

/// What a person answers who has looked at everything and found it in order.
const IN_ORDER: [(&str, Answer); 13] = [
    ("regen_cause_mended", Answer::Yes),
    ("oil_level_above_max", Answer::No),
    ("oil_smells_of_fuel_or_overdue", Answer::No),
    ("fuel_leak_visible", Answer::No),
    ("q_wrong_fluid_suspected", Answer::No),
    ("oil_in_charge_pipes", Answer::No),
    ("fuel_level_low_or_gauge_wrong", Answer::No),
    ("egt_implausible_when_cold", Answer::No),
    ("pressure_hose_fault_visible", Answer::No),
    ("substrate_damage_in_borescope", Answer::No),
    ("exhaust_damage_visible", Answer::No),
    ("regen_place_clear", Answer::Yes),
    ("regen_attended", Answer::Yes),
];

fn answered(mut case: Case, without: &str) -> Case {
    case.observation.retain(|o| !IN_ORDER.iter().any(|(id, _)| *id == o.id));
    case.observation.extend(IN_ORDER.iter().filter(|(id, _)| *id != without).map(|(id, answer)| {
        Observation {
            odometer_km: None,
            time: None,
            order: None,
            note: None,
            id: (*id).to_owned(),
            answer: *answer,
            because: None,
        }
    }));
    // A warm engine and half a tank, read off the equipment.
    let text = "schema = \"sootwright.case/1\"\n[[reading]]\nquantity = \"coolant_temperature\"\nvalue = 88\n\
                unit = \"degC\"\n[[reading]]\nquantity = \"fuel_level\"\nvalue = 60\nunit = \"%\"\n\
                [[fault_memory]]\ncodes = []\n";
    let more: Case = facts::load::read_case(text, "more.toml").expect("rows to add").case;
    let role = infer::typed::current_role(&case);
    case.reading.extend(more.reading.into_iter().map(|mut r| {
        r.role = Some(role);
        r
    }));
    if case.fault_memory.is_empty() {
        case.fault_memory = more.fault_memory;
    }
    case
}

fn run(g: &GeneratedCase, case: &Case) -> (Assessment, Draws) {
    let read = |row: &facts::case::RecordingRow| {
        let bytes = &g.files.iter().find(|f| f.0 == row.file)?.1;
        let options =
            recording::Options { column_names: row.columns.clone(), ..recording::Options::default() };
        Some(recording::read_bytes(&row.file, bytes, &options))
    };
    let recordings: Vec<_> = case.recording.iter().map(read).collect();
    assess_with_draws(&Evidence { case, recordings: &recordings, knowledge: Knowledge::built_in() })
}

#[test]
fn property_never_safe_above_the_limit_in_invented_cars() {
    let mut counts = [0; 3];
    for i in 0..24 {
        let g = generate(4711, i, None);
        let case = answered(g.case.clone(), "");
        let (a, draws) = run(&g, &case);
        let r = &a.regeneration;
        let total: f64 = draws.weight.iter().sum();
        let above: f64 =
            draws.soot.iter().zip(&draws.weight).filter(|(s, _)| **s > r.safe_load).map(|x| x.1).sum();
        match r.service {
            Verdict::Safe => {
                counts[0] += 1;
                assert!(above / total < 0.01, "{}: {above} of {total} drawn above", g.name);
                assert!(a.filter.soot_load_g_per_l.told, "{}", g.name);
                assert!(r.conditions.iter().all(|c| c.state == State::Held), "{}", g.name);
                assert!(
                    g.truth.soot_load_g_per_l <= r.limit.0,
                    "{}: {} g/L called safe",
                    g.name,
                    g.truth.soot_load_g_per_l
                );
            }
            Verdict::NotShownSafe => counts[1] += 1,
            Verdict::Unsafe => counts[2] += 1,
        }
        if above / total >= 0.5 {
            assert_eq!(r.service, Verdict::Unsafe, "{}", g.name);
        }
        // Nothing that loads the engine is proposed where that is unsafe or soot is near the limit.
        if r.held_speed == Verdict::Unsafe || r.above_limit >= 0.25 {
            let loads = ["reading-held", "reading-staircase", "reading-road-pull", "reading-second-gauge"];
            assert!(a.readings.iter().all(|n| !loads.contains(&n.what.id)), "{}: {:?}", g.name, a.readings);
        }
        if r.service != Verdict::Safe {
            assert!(a.readings.iter().all(|n| n.what.id != "reading-after-regeneration"), "{}", g.name);
        }
    }
    assert!(counts[2] > 0 && counts[1] > 0, "the batch shows too little: {counts:?}");
}

#[test]
fn property_never_safe_while_a_condition_is_open() {
    // The same cars with one answer left out each: the place and the person can be told by nothing else.
    for (i, without) in ["regen_place_clear", "regen_attended", "oil_level_above_max", "fuel_leak_visible"]
        .into_iter()
        .enumerate()
    {
        let g = generate(4711, i, None);
        let (a, _) = run(&g, &answered(g.case.clone(), without));
        assert_ne!(a.regeneration.service, Verdict::Safe, "{}: without {without}", g.name);
        let open = a.regeneration.conditions.iter().filter(|c| c.state == State::Open).count();
        assert!(open > 0, "{}: without {without}", g.name);
    }
}

#[test]
fn property_a_broken_condition_is_unsafe() {
    let g = generate(4711, 3, None);
    let mut case = answered(g.case.clone(), "oil_level_above_max");
    case.observation.push(Observation {
        odometer_km: None,
        time: None,
        order: None,
        note: None,
        id: "oil_level_above_max".into(),
        answer: Answer::Yes,
        because: None,
    });
    let (a, _) = run(&g, &case);
    assert_eq!(a.regeneration.service, Verdict::Unsafe);
    assert_eq!(a.regeneration.held_speed, Verdict::Unsafe);
    assert!(!a.regeneration.may_load_engine());
}

/// What must hold stands in the conditions of the verdict; the rules of the knowledge say only what a plan needs on top:
/// what to look at first and what a remedy costs. A rule that would forbid what the verdict allows, or the other way
/// round, is a second home for one condition.
#[test]
fn regress_rules_of_the_next_step_agree_with_the_conditions_of_the_verdict() {
    let k = Knowledge::built_in();
    let mut met = 0;
    for rule in k.rules() {
        for observation in rule.while_yes.iter().chain(&rule.look_first) {
            let text = format!(
                "schema = \"sootwright.case/1\"\n[[observation]]\nid = \"{observation}\"\nanswer = \"yes\"\n"
            );
            let case = facts::load::read_case(&text, "one.toml").expect("a case").case;
            let (a, _) = assess_with_draws(&Evidence { case: &case, recordings: &[], knowledge: k });
            let r = &a.regeneration;
            let broken: Vec<_> = r.conditions.iter().filter(|c| c.state == State::Broken).collect();
            if rule.forbids.iter().any(|f| f == "service_regen") {
                assert!(!broken.is_empty() && r.service == Verdict::Unsafe, "{}: {observation}", rule.id);
            }
            if rule.forbids.iter().any(|f| f == "engine_hot") {
                assert!(broken.iter().any(|c| c.guards_held_speed), "{}: {observation}", rule.id);
                assert_eq!(r.held_speed, Verdict::Unsafe, "{}: {observation}", rule.id);
            }
            met += 1;
        }
    }
    assert!(met > 5);
}
