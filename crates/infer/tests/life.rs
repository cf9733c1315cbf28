//! Lives of several visits.

use demo::lives::{GeneratedLife, generate_of};
use facts::case::Case;
use facts::{Knowledge, visits};
use infer::Evidence;
use infer::assessment::Assessment;
use recording::{Options, Recording, read_bytes};

fn decoded(life: &GeneratedLife, case: &Case) -> Vec<Option<Recording>> {
    case.recording
        .iter()
        .map(|row| {
            let options = Options { column_names: row.columns.clone(), ..Options::default() };
            Some(read_bytes(&row.file, life.bytes(&row.file)?, &options))
        })
        .collect()
}

fn run(life: &GeneratedLife, joined: &Case) -> Assessment {
    let visits: Vec<(Case, Vec<Option<Recording>>)> =
        visits::of(joined).into_iter().map(|c| (c.clone(), decoded(life, &c))).collect();
    let evidence: Vec<Evidence> = visits
        .iter()
        .map(|(case, recordings)| Evidence { case, recordings, knowledge: Knowledge::built_in() })
        .collect();
    infer::life::assess(&evidence).expect("visits")
}

fn joined(life: &GeneratedLife) -> Case {
    visits::join("life", life.files()).unwrap_or_else(|e| panic!("{e}")).0
}

#[test]
fn property_the_order_of_entry_does_not_show_in_the_last_digit() {
    let life = generate_of(8, 2, Some(3));
    let case = joined(&life);
    let mut turned = case.clone();
    turned.reading.reverse();
    turned.recording.reverse();
    turned.observation.reverse();
    turned.fault_memory.reverse();
    turned.visit.reverse();
    turned.regeneration.reverse();
    turned.refill.reverse();
    let (a, b) = (run(&life, &case), run(&life, &turned));
    assert_eq!(a.filter, b.filter);
    assert_eq!(a.life, b.life);
    assert_eq!(a.fault_sets, b.fault_sets);
}

#[test]
fn property_every_visit_is_told_and_probabilities_are_some() {
    let life = generate_of(8, 1, Some(4));
    let a = run(&life, &joined(&life));
    let told = a.life.expect("a life");
    assert_eq!(told.visits.len(), 4);
    assert_eq!(told.visits[0].unrecorded_change, None);
    for v in &told.visits {
        let s = v.filter.soot_load_g_per_l;
        assert!(s.p05.is_finite() && s.p05 <= s.p50 && s.p50 <= s.p95, "{s:?}");
        if let Some(c) = v.unrecorded_change {
            assert!(c.sensor >= 0.0 && c.filter >= 0.0 && c.sensor + c.filter <= 1.0 + 1e-9, "{c:?}");
        }
    }
    assert_eq!(told.visits[3].filter, a.filter);
    let sum: f64 = a.fault_sets.iter().map(|s| s.probability).sum();
    assert!((sum - 1.0).abs() < 1e-6, "{sum}");
}

fn typed(rows: &[(f64, &str)], extra: &str) -> Assessment {
    let mut text = String::from(
        "schema = \"sootwright.case/1\"\n[car]\ncategory = \"M1\"\ndisplacement_l = 1.6\nodometer_km = 130000\n\
         [filter]\ndiameter_mm = 144\nlength_mm = 180\nfitted_odometer_km = 0\n[sensor]\nplumbing = \"two_hoses\"\n",
    );
    for (km, shown) in rows {
        for (point, value) in ["key_on", "hot_idle", "held"].iter().zip(shown.split(' ')) {
            let speed = if *point == "held" { "engine_speed_rpm = 2500\n" } else { "" };
            text += &format!(
                "[[reading]]\nodometer_km = {km}\npoint = \"{point}\"\n{speed}quantity = \"differential_pressure\"\nvalue = {value}\nunit = \"kPa\"\nuncertainty = 0.05\n"
            );
        }
        text += &format!(
            "[[reading]]\nodometer_km = {km}\nquantity = \"distance_since_regeneration\"\nvalue = 150\nunit = \"km\"\n"
        );
    }
    text += extra;
    let case = facts::load_case(&text, "c").unwrap_or_else(|e| panic!("{e}"));
    let visits = visits::of(&case);
    let evidence: Vec<Evidence> = visits
        .iter()
        .map(|case| Evidence { case, recordings: &[], knowledge: Knowledge::built_in() })
        .collect();
    infer::life::assess(&evidence).expect("visits")
}

#[test]
fn property_a_zero_that_jumps_speaks_for_another_sensor() {
    let steady =
        typed(&[(110_000.0, "0.20 0.6 2.6"), (120_000.0, "0.20 0.6 2.6"), (130_000.0, "0.20 0.6 2.6")], "");
    let jumped =
        typed(&[(110_000.0, "0.20 0.6 2.6"), (120_000.0, "0.20 0.6 2.6"), (130_000.0, "-0.15 0.3 2.3")], "");
    let p = |a: &Assessment| a.life.as_ref().and_then(|l| l.unrecorded_change).expect("a gap").sensor;
    assert!(p(&jumped) > 0.2 && p(&jumped) > 4.0 * p(&steady), "{} {}", p(&jumped), p(&steady));
    // With a row there is nothing unrecorded.
    let told = typed(
        &[(110_000.0, "0.20 0.6 2.6"), (120_000.0, "0.20 0.6 2.6"), (130_000.0, "-0.15 0.3 2.3")],
        "[[sensor_replaced]]\nodometer_km = 125000\n",
    );
    assert_eq!(p(&told), 0.0);
}
