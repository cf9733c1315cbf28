//! The knowledge folder against the tables it was made from, and the algebra of its probabilities.
#![allow(clippy::unwrap_used)] // the helpers read our own tables

use facts::{FaultId, Knowledge};
use proptest::prelude::*;
use std::collections::BTreeMap;

/// Causes of the table that became one fault each, with every number unchanged.
const ONE_TO_ONE: &[(&str, &str)] = &[
    ("dp_hoses_swapped", "hoses_swapped"),
    ("dp_hose_blocked", "hose_blocked"),
    ("substrate_cracked_or_melted", "substrate_cracked"),
    ("filter_removed_or_gutted", "filter_removed"),
    ("airflow_sensor_drift", "flow_meter_drift"),
    ("egt_sensor_fault", "temperature_sensor"),
    ("boost_leak", "boost_leak"),
    ("egr_stuck_open", "egr_stuck_open"),
    ("glow_or_thermostat_fault", "thermostat_stuck_open"),
    ("soot_overload_short_trips", "soot_short_trips"),
    ("ash_full", "ash_full"),
    ("additive_empty", "additive_empty"),
    ("counter_not_reset", "counter_not_reset"),
    ("wrong_quantity_programmed", "wrong_quantity_entered"),
    ("filler_cap_sensor_fault", "refuelling_not_recognised"),
    ("wrong_additive_in_reservoir", "wrong_strength"),
    ("doser_pump_failed", "doser_pump_failed"),
    ("doser_injector_or_line_blocked", "doser_blocked"),
    ("additive_level_sensor_fault", "additive_level_sensor"),
    ("additive_module_wiring_fault", "additive_wiring"),
    ("air_or_water_in_additive_line", "additive_line_air"),
    ("aus32_in_fuel", "aus32_in_fuel"),
    ("foreign_fluid_in_aus32_tank", "foreign_fluid_in_aus32_tank"),
    ("injector_overfuelling", "injector_overfuelling"),
    ("wrong_engine_oil", "wrong_engine_oil"),
    ("oxidation_catalyst_damaged", "oxidation_catalyst_damaged"),
    ("turbo_oil_leak_into_exhaust", "turbo_oil_leak"),
    ("soot_or_ash_model_not_reset", "filter_model_not_reset"),
    ("no_fault_normal_regeneration", "none"),
];

/// Causes that were divided or put together: cause(s), fault(s).
const REGROUPED: &[(&[&str], &[&str])] = &[
    (&["pouch_split", "additive_tank_or_line_leak"], &["additive_leak"]),
    (&["dp_sensor_drift"], &["zero_error", "sensor_frozen"]),
    (&["dp_hose_cracked_or_off"], &["hose_off_upstream", "hose_off_downstream", "hose_leaking"]),
];

/// Observations that the table does not hold: of causes that the trade names beside it.
const BESIDE_THE_TABLE: &[&str] = &[
    "dose_comes_after_priming",
    "exhaust_doser_delivers_nothing",
    "fuel_level_low_or_gauge_wrong",
    "regen_inhibit_condition_active",
    "unit_reports_not_coded",
    // Conditions of a standing regeneration: of the place and the car, not of a fault.
    "exhaust_damage_visible",
    "fuel_leak_visible",
    "oil_smells_of_fuel_or_overdue",
    "regen_attended",
    "regen_cause_mended",
    "regen_place_clear",
];

type Table = BTreeMap<(String, String), f64>;

fn read(name: &str) -> Vec<BTreeMap<String, String>> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../checks/data").join(name);
    csv::Reader::from_path(path).unwrap().deserialize().collect::<Result<_, _>>().unwrap()
}

fn weights() -> BTreeMap<String, f64> {
    read("causes.csv")
        .into_iter()
        .map(|r| (r["cause_id"].clone(), r["prior_weight"].parse().unwrap()))
        .collect()
}

fn likelihoods() -> Table {
    read("likelihoods.csv")
        .into_iter()
        .map(|r| ((r["cause_id"].clone(), r["observation_id"].clone()), r["p"].parse().unwrap()))
        .collect()
}

fn p(k: &Knowledge, fault: &str, observation: &str) -> f64 {
    FaultId::from_id(fault).map_or_else(|| k.probability_none(observation), |f| k.probability(f, observation))
}

fn weight(k: &Knowledge, fault: &str) -> f64 {
    FaultId::from_id(fault).map_or(k.none(), |f| k.fault(f)).prior_weight
}

/// The table's cause "short trips or cut-off regenerations" and the part of its weight that stands under
/// `regeneration_incomplete`, a fault of its own here.
const CUT_OFF: (&str, f64) = ("soot_overload_short_trips", 0.04);

#[test]
fn reference_every_cause_of_the_table_has_its_fault() {
    // checks/data/causes.csv.
    let mapped: Vec<&str> = ONE_TO_ONE
        .iter()
        .map(|(c, _)| *c)
        .chain(REGROUPED.iter().flat_map(|(c, _)| c.iter().copied()))
        .collect();
    let causes = weights();
    assert_eq!(mapped.len(), causes.len());
    assert!(causes.keys().all(|c| mapped.contains(&c.as_str())));
}

#[test]
fn reference_one_to_one_numbers_are_those_of_the_tables() {
    // checks/data/causes.csv and likelihoods.csv, every pair, background pairs included.
    let k = Knowledge::built_in();
    let (weights, table) = (weights(), likelihoods());
    let mut compared = 0;
    for (cause, fault) in ONE_TO_ONE {
        let moved = if *cause == CUT_OFF.0 { CUT_OFF.1 } else { 0.0 };
        assert!((weight(k, fault) + moved - weights[*cause]).abs() < 1e-12, "{fault}");
        for ((_, observation), want) in table.iter().filter(|((c, _), _)| c == cause) {
            let got = p(k, fault, observation);
            assert!((got - want).abs() < 1e-12, "P({observation} | {fault}) = {got}, table {want}");
            compared += 1;
        }
    }
    assert_eq!(compared, 29 * 58);
}

#[test]
fn reference_regrouped_causes_keep_their_weight_and_nearly_their_likelihoods() {
    // A cause that was divided must look, taken together again, as the table had it: within 0.06 where the
    // parts were argued anew from the mechanism.
    let k = Knowledge::built_in();
    let (weights, table) = (weights(), likelihoods());
    for (causes, faults) in REGROUPED {
        let want: f64 = causes.iter().map(|c| weights[*c]).sum();
        let got: f64 = faults.iter().map(|f| weight(k, f)).sum();
        assert!((want - got).abs() < 1e-9, "{faults:?}: {got}, table {want}");
        for o in k.observations().iter().filter(|o| !BESIDE_THE_TABLE.contains(&o.id.as_str())) {
            let mean = |names: &[&str], w: &dyn Fn(&str) -> f64, p: &dyn Fn(&str) -> f64| {
                names.iter().map(|n| w(n) * p(n)).sum::<f64>() / names.iter().map(|n| w(n)).sum::<f64>()
            };
            let want = mean(causes, &|c| weights[c], &|c| table[&(c.to_owned(), o.id.clone())]);
            let got = mean(faults, &|f| weight(k, f), &|f| p(k, f, &o.id));
            assert!((want - got).abs() < 0.06, "{faults:?} {}: {got:.3}, table {want:.3}", o.id);
        }
    }
}

#[test]
fn reference_observations_are_those_of_the_table() {
    // checks/data/observations.csv.
    let k = Knowledge::built_in();
    let rows = read("observations.csv");
    assert_eq!(k.observations().len(), rows.len() + BESIDE_THE_TABLE.len());
    for r in rows {
        let o = k.observation(&r["observation_id"]).unwrap_or_else(|| panic!("{}", r["observation_id"]));
        assert_eq!(o.background, r["baseline_p"].parse::<f64>().unwrap(), "{}", o.id);
        assert_eq!(o.minutes, r["test_minutes"].parse::<f64>().unwrap(), "{}", o.id);
        assert_eq!(o.exclusive_group.as_deref().unwrap_or(""), r["exclusive_group"], "{}", o.id);
        assert_eq!(o.set_up.as_deref().unwrap_or(""), r["setup_id"], "{}", o.id);
        let set_up = o.set_up.as_deref().map_or(0.0, |s| k.set_up(s).unwrap().minutes);
        assert_eq!(set_up, r["setup_minutes"].parse::<f64>().unwrap(), "{}", o.id);
    }
}

#[test]
fn analytic_priors_add_up_to_one_and_groups_to_at_most_one() {
    let k = Knowledge::built_in();
    let sum: f64 = FaultId::ALL.iter().map(|f| k.prior(*f)).sum::<f64>() + k.prior_none();
    assert!((sum - 1.0).abs() < 1e-12);
    for group in ["dp_2500", "after_service_regen"] {
        for fault in FaultId::ALL.iter().map(|f| f.id()).chain(["none"]) {
            let members = k.observations().iter().filter(|o| o.exclusive_group.as_deref() == Some(group));
            let sum: f64 = members.map(|o| p(k, fault, &o.id)).sum();
            assert!(sum > 0.0 && sum <= 1.0, "{fault} {group} {sum}");
        }
    }
}

#[test]
fn regress_downstream_hose_off_reads_high_and_upstream_off_reads_nothing() {
    let k = Knowledge::built_in();
    let p = |f, o| k.probability(f, o);
    assert!(p(FaultId::HoseOffDownstream, "dp_2500_high") > k.background("dp_2500_high"));
    assert!(p(FaultId::HoseOffDownstream, "dp_2500_near_zero") < k.background("dp_2500_near_zero"));
    assert!(p(FaultId::HoseOffUpstream, "dp_2500_near_zero") > 0.5);
    // A full filter behind a hose that is off still reads nothing.
    let both = [FaultId::AshFull, FaultId::HoseOffUpstream];
    assert!(k.probability_given_set(&both, "dp_2500_high") < 0.05);
    assert!(k.probability_given_set(&both, "dtc_ash_limit") > 0.5);
}

#[test]
fn analytic_two_causes_of_one_sign() {
    // By hand: ash full alone 0.5, short trips alone 0.8, background 0.25 for the soot code. Strengths over
    // the background: 1 - 0.5/0.75 and 1 - 0.2/0.75. Together 1 - 0.75 * (0.5/0.75) * (0.2/0.75) = 0.8667.
    let k = Knowledge::built_in();
    let both = k.probability_given_set(&[FaultId::AshFull, FaultId::SootShortTrips], "dtc_soot_overload");
    assert!((both - (1.0 - 0.5 * 0.2 / 0.75)).abs() < 1e-12, "{both}");
}

#[test]
fn regress_codes() {
    let k = Knowledge::built_in();
    let id = |c: &str| k.codes_to_observation(c).map(|o| o.id.as_str());
    for (code, observation) in [
        ("P2452", "dtc_dp_sensor_plausibility"),
        ("P2454", "dtc_dp_sensor_plausibility"),
        ("p2463", "dtc_soot_overload"),
        ("P2463-62", "dtc_soot_overload"),
        ("P242F", "dtc_ash_limit"),
        ("P242C", "dtc_exhaust_temperature_sensor"),
        ("P2002", "dtc_filter_efficiency_low"),
        ("U0118", "dtc_additive_circuit"),
        ("P0128", "dtc_glow_or_coolant_temperature"),
        ("P20EE", "dtc_reductant_quality"),
        ("P0299", "dtc_air_path"),
        ("P0087", "dtc_injection_or_fuel_pressure"),
        ("3251/0", "dtc_soot_overload"),
        ("3251/4", "dtc_dp_sensor_plausibility"),
        ("3720/16", "dtc_ash_limit"),
    ] {
        assert_eq!(id(code), Some(observation), "{code}");
    }
    for code in ["P0420", "P1234", "U0100", "", "é", "P24é2", "P246", "3251/31", "//", "999999999999/0"] {
        assert_eq!(id(code), None, "{code}");
    }
    // No code may answer two observations.
    for n in 0..=u16::MAX {
        let code = format!("P{n:04X}");
        let hits = k.observations().iter().filter(|o| {
            o.codes.iter().any(|c| match c.split_once('-') {
                Some((a, b)) => !c.contains('/') && *a <= *code && *code <= *b,
                None => *c == code,
            })
        });
        assert!(hits.count() <= 1, "{code}");
    }
}

#[test]
fn regress_a_workshop_lays_its_own_rows_over() {
    let own = "schema = \"sootwright.faults/1\"\n[[fault]]\nid = \"ash_full\"\nprior_weight = 0.3\nmark = \"counted\"\n\
               [fault.repair]\nminutes = 200\n";
    let more = "schema = \"sootwright.likelihoods/1\"\n[likelihood.ash_full]\n\
                oil_level_above_max = { p = 0.4, mark = \"counted\", reason = \"8 of 20\" }\n";
    let built_in = Knowledge::built_in();
    let k = built_in.overlay(&[("own.toml", own), ("more.toml", more)]).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(k.fault(FaultId::AshFull).prior_weight, 0.3);
    assert_eq!(k.fault(FaultId::AshFull).label, built_in.fault(FaultId::AshFull).label);
    assert_eq!(k.fault(FaultId::AshFull).repair.minutes, 200.0);
    assert_eq!(k.fault(FaultId::AshFull).repair.cost_class, "D");
    assert_eq!(k.probability(FaultId::AshFull, "oil_level_above_max"), 0.4);
    assert_eq!(k.probability(FaultId::AshFull, "dtc_ash_limit"), 0.6);
}

#[test]
fn regress_faulty_overlays_are_refused_with_a_place() {
    for (text, line, words) in [
        ("schema = \"sootwright.faults/1\"\n[[fault]]\nid = \"ash_ful\"\n", 2, "lacks"),
        (
            "schema = \"sootwright.faults/1\"\n[[fault]]\nid = \"ash_full\"\nprior_weight = -1\n",
            4,
            "impossible",
        ),
        ("schema = \"sootwright.faults/1\"\n[[fault]]\nid = \"ash_full\"\nweight = 1\n", 4, "unknown key"),
        (
            "schema = \"sootwright.observations/1\"\n[[observation]]\nid = \"tailpipe_black_soot\"\nset_up = \"lft\"\n",
            2,
            "set-up",
        ),
        (
            "schema = \"sootwright.observations/1\"\n[[observation]]\nid = \"dtc_air_path\"\ncodes = [\"P01\"]\n",
            2,
            "P01",
        ),
        (
            "schema = \"sootwright.likelihoods/1\"\n[likelihood.ash_full]\ntailpipe_sot = { p = 0.5, mark = \"counted\", reason = \"\" }\n",
            3,
            "did you mean",
        ),
        (
            "schema = \"sootwright.likelihoods/1\"\n[likelihood.ash_full]\ndp_2500_near_zero = { p = 0.5, mark = \"counted\", reason = \"\" }\n",
            3,
            "add up",
        ),
        ("schema = \"something else\"\n", 1, "no knowledge file"),
        ("a = \n", 1, "not TOML"),
    ] {
        let e = Knowledge::built_in().overlay(&[("own.toml", text)]).expect_err(text);
        assert_eq!((e.findings[0].line, e.findings[0].file.as_str()), (line, "own.toml"), "{text}\n{e}");
        assert!(e.to_string().contains(words), "{e}");
    }
}

#[test]
fn regress_unknown_observations_of_a_case_are_named() {
    let text =
        "schema = \"sootwright.case/1\"\n[[observation]]\nid = \"pouch_leak_visibel\"\nanswer = \"yes\"\n";
    let loaded = facts::load::read_case(text, "c.toml").unwrap();
    let found = facts::load::unknown_observations(&loaded, Knowledge::built_in());
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].line, 3);
    assert!(found[0].advice.contains("pouch_leak_visible"), "{}", found[0]);
}

fn any_fault() -> impl Strategy<Value = FaultId> {
    (0..FaultId::ALL.len()).prop_map(|i| FaultId::ALL[i])
}

proptest! {
    #[test]
    fn property_sets_keep_to_probabilities(faults in proptest::collection::vec(any_fault(), 0..4)) {
        let k = Knowledge::built_in();
        let mut groups: BTreeMap<&str, f64> = BTreeMap::new();
        for o in k.observations() {
            let p = k.probability_given_set(&faults, &o.id);
            prop_assert!((0.0..=1.0).contains(&p));
            if let Some(g) = o.exclusive_group.as_deref() {
                *groups.entry(g).or_default() += p;
            }
            // The order of a set does not matter.
            let mut other = faults.clone();
            other.reverse();
            prop_assert!((p - k.probability_given_set(&other, &o.id)).abs() < 1e-12);
        }
        for sum in groups.values() {
            prop_assert!(*sum <= 1.0 + 1e-9);
        }
    }

    #[test]
    fn property_one_fault_gives_its_table_value(fault in any_fault()) {
        let k = Knowledge::built_in();
        for o in k.observations() {
            prop_assert_eq!(k.probability_given_set(&[fault], &o.id), k.probability(fault, &o.id));
        }
    }
}

#[test]
fn property_every_repair_has_its_row_and_every_number_a_place() {
    let k = Knowledge::built_in();
    for &f in FaultId::ALL {
        let w = k.work(f).unwrap_or_else(|| panic!("no [[work]] for {}", f.id()));
        assert!(w.works > 0.5 && w.works <= 1.0, "{}", f.id());
        assert!(k.cost_class(&k.fault(f).repair.cost_class).is_some());
    }
    for rate in [
        "labour_eur_per_hour",
        "waiting_eur_per_hour",
        "final_test_minutes",
        "final_test_misses",
        "come_back_eur",
        "refer_eur",
        "refer_factor",
    ] {
        assert!(k.rate(rate).is_some(), "{rate}");
    }
}

#[test]
fn regress_check_finds_what_was_broken_on_purpose() {
    use facts::knowledge::check::{Doubt, doubts};
    let k = Knowledge::built_in();
    // A twin of a sound row that no fault moves, and a set-up that nobody needs.
    let broken = k
        .overlay(&[(
            "own.toml",
            r#"schema = "sootwright.observations/1"
[[set_up]]
id = "cellar"
label = "in the cellar"
minutes = 3
[[observation]]
id = "moon_is_full"
label = "The moon is full"
question = "Is the moon full?"
kind = "visual"
background = 0.035
mark = "expert_guess"
minutes = 1
who = "anyone"
how = "look"
"#,
        )])
        .unwrap();
    let new: Vec<Doubt> = doubts(&broken).into_iter().filter(|d| !doubts(k).contains(d)).collect();
    assert!(new.contains(&Doubt::SetUpUnused { set_up: "cellar".into() }), "{new:?}");
    assert!(new.contains(&Doubt::ObservationMovesNothing { observation: "moon_is_full".into() }), "{new:?}");
    assert_eq!(new.len(), 2);
}

#[test]
fn analytic_overlap_of_two_faults_that_differ_in_one_observation() {
    use facts::knowledge::check::{Doubt, doubts};
    // Two faults without any row of their own but one, at 0.09 and 0.91 of one observation: the
    // Bhattacharyya coefficient is 2 * sqrt(0.0819) = 0.572, not above 0.6; at 0.15 and 0.85 it is
    // 2 * sqrt(0.1275) = 0.714.
    let faults = include_str!("../../../knowledge/faults.toml");
    let observation = r#"schema = "sootwright.observations/1"
[[observation]]
id = "it"
label = "it"
question = "it?"
kind = "visual"
background = 0.5
mark = "expert_guess"
minutes = 1
who = "anyone"
how = "look"
"#;
    let with = |p: f64, q: f64| {
        let rows = format!(
            "schema = \"sootwright.likelihoods/1\"\n[likelihood.zero_error]\nit = {{ p = {p}, mark = \"expert_guess\", reason = \"r\" }}\n[likelihood.boost_leak]\nit = {{ p = {q}, mark = \"expert_guess\", reason = \"r\" }}\n"
        );
        let k = Knowledge::from_texts(&[("f", faults), ("o", observation), ("l", &rows)]).unwrap();
        doubts(&k).into_iter().find_map(|d| match d {
            Doubt::Alike { a: FaultId::ZeroError, b: FaultId::BoostLeak, overlap, .. } => Some(overlap),
            _ => None,
        })
    };
    assert_eq!(with(0.09, 0.91), None);
    let overlap = with(0.15, 0.85).unwrap();
    assert!((overlap - 2.0 * (0.15_f64 * 0.85).sqrt()).abs() < 1e-12);
}

#[test]
fn regress_references_that_lead_nowhere_are_refused_with_their_place() {
    let k = Knowledge::built_in();
    let text = r#"schema = "sootwright.actions/1"
[[work]]
id = "boost_leak"
set_up = "hoist"
[[mechanism]]
id = "mine"
label = "mine"
observations = ["oil_level_above_max", "no_such_thing"]
together = 0.2
mark = "counted"
reason = "ours"
"#;
    let e = k.overlay(&[("own.toml", text)]).unwrap_err().to_string();
    assert!(e.contains("own.toml:2") && e.contains("no set-up is called \"hoist\""), "{e}");
    assert!(e.contains("no observation is called \"no_such_thing\""), "{e}");
    assert!(e.contains("stands in \"cut_off_burns\" already"), "{e}");
}

#[test]
fn property_shares_of_the_codes_of_a_family_leave_room_for_the_others() {
    let k = Knowledge::built_in();
    // One code of each group of the air path.
    let groups: Vec<_> = ["P0101", "P0299", "P0402"].iter().filter_map(|c| k.code_group(c)).collect();
    assert_eq!(groups.len(), 3);
    let sets = [vec![], vec![FaultId::BoostLeak], vec![FaultId::EgrStuckOpen, FaultId::AshFull]];
    for set in FaultId::ALL.iter().map(|f| vec![*f]).chain(sets) {
        let shares: Vec<f64> = groups.iter().map(|g| k.code_share(&set, g)).collect();
        let sum: f64 = shares.iter().sum();
        assert!(shares.iter().all(|s| *s > 0.0) && sum < 1.0, "{set:?} {shares:?}");
    }
    // A fault that no group of the family names leaves the shares as they are.
    assert_eq!(k.code_share(&[FaultId::AshFull], groups[0]), groups[0].share);
    assert!(k.code_group("P0106").is_none(), "in the family, in no group");
}

#[test]
fn regress_broken_code_groups_are_refused() {
    let group = |share: f64, fault: &str, code: &str| {
        format!(
            "schema = \"sootwright.observations/1\"\n[[code_group]]\nid = \"own\"\nobservation = \"dtc_air_path\"\n\
             label = \"l\"\ncodes = [\"{code}\"]\nshare = {share}\nunder = {{ {fault} = 0.2 }}\n\
             mark = \"expert_guess\"\nreason = \"r\"\n"
        )
    };
    let refused = |text: String| Knowledge::built_in().overlay(&[("own.toml", &text)]).is_err();
    assert!(!refused(group(0.05, "ash_full", "P2262")));
    assert!(refused(group(0.2, "ash_full", "P2262")), "the shares add up to more than one");
    assert!(refused(group(0.05, "no_such_fault", "P2262")));
    assert!(refused(group(0.05, "ash_full", "P22")));
}
