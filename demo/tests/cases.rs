//! The generator as a stranger sees it: files in, truth beside them.

// A test that cannot read what it wrote has failed.
#![allow(clippy::unwrap_used)]
use demo::batch::{Session, generate};
use demo::{GeneratedCase, batch};
use std::collections::BTreeMap;

fn typed(n: usize) -> Vec<GeneratedCase> {
    (0..n).map(|i| generate(5, i, Some(Session::Typed))).collect()
}

#[test]
fn property_same_seed_same_bytes() {
    let contents =
        |cases: Vec<GeneratedCase>| cases.iter().map(|c| c.contents().unwrap()).collect::<Vec<_>>();
    let once = contents(batch(9, 6));
    assert_eq!(once, contents(batch(9, 6)));
    assert_ne!(once, contents(batch(10, 6)));
    // A case does not depend on those before it.
    assert_eq!(once[4], generate(9, 4, None).contents().unwrap());
}

#[test]
fn property_truth_within_physical_ranges() {
    for case in typed(80) {
        let t = &case.truth;
        let heavy = t.filter_volume_l > 5.0;
        assert!((0.0..11.5).contains(&t.soot_load_g_per_l), "{t:?}");
        assert!((0.0..75.0).contains(&t.ash_load_g_per_l), "{t:?}");
        assert!((t.ash_load_g_per_l > 40.0) == (t.fault == "ash_full"), "{t:?}");
        assert!((t.zero_kpa.abs() >= 0.4) == (t.fault == "zero_error") && t.zero_kpa.abs() <= 0.8, "{t:?}");
        assert!((0.3..8.0).contains(&t.standard_pressure_drop_as_new_kpa), "{t:?}");
        let ratio = t.standard_pressure_drop_kpa / t.standard_pressure_drop_as_new_kpa;
        if t.fault == "substrate_cracked" {
            assert!(ratio < 0.81, "{t:?}");
        } else {
            assert!((1.0..60.0).contains(&ratio), "{t:?}");
        }
        assert!((if heavy { 5.0..26.0 } else { 1.2..5.0 }).contains(&t.filter_volume_l), "{t:?}");
        assert!((t.soot_mass_g / t.filter_volume_l - t.soot_load_g_per_l).abs() < 1e-9);
    }
}

#[test]
fn property_every_kind_is_drawn_about_as_often_as_meant() {
    let mut seen: BTreeMap<&str, f64> = BTreeMap::new();
    let n = 4000_u64;
    for i in 0..n {
        // One source for each, as the cases have it.
        let mut draw = demo::draw::Draw::new(1, i);
        draw.uniform(0.0, 1.0);
        *seen.entry(demo::faults::Fault::draw(&mut draw).name()).or_default() += 1.0;
    }
    let total: f64 = demo::faults::KINDS.iter().map(|(_, w)| w).sum();
    assert_eq!(seen.len(), 17);
    for (id, weight) in demo::faults::KINDS {
        let expected = n as f64 * weight / total;
        let got: f64 = seen[id.map_or("none", |f| f.id())];
        assert!((got - expected).abs() < 4.5 * expected.sqrt(), "{id:?}: {got} against {expected}");
    }
}

#[test]
fn property_cases_are_accepted_by_the_loader() {
    for i in 0..60 {
        let case = generate(6, i, Some(Session::Typed));
        let text = toml::to_string(&case.case).unwrap();
        if let Err(errors) = facts::load_case(&text, "case.toml") {
            panic!("{}: {errors}\n{text}", case.name);
        }
    }
    let text = toml::to_string(&demo::readme::readme().case).unwrap();
    facts::load_case(&text, "case.toml").unwrap();
}

/// Values of PID 7A in a candump text (compact form, 11 or 29 bit, asked for alone): time and kPa.
fn pressures(text: &str) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    let mut start: Option<(f64, Vec<u8>)> = None;
    for line in text.lines() {
        let mut parts = line.split(' ');
        let time: f64 = parts.next().unwrap().trim_matches(['(', ')']).parse().unwrap();
        let (id, data) = parts.nth(1).unwrap().split_once('#').unwrap();
        if !matches!(id, "7E8" | "18DAF110") {
            continue;
        }
        let bytes: Vec<u8> =
            (0..data.len() / 2).map(|k| u8::from_str_radix(&data[2 * k..2 * k + 2], 16).unwrap()).collect();
        match bytes[0] >> 4 {
            1 => start = Some((time, bytes[2..].to_vec())),
            2 => {
                if let Some((t, mut payload)) = start.take() {
                    payload.extend_from_slice(&bytes[1..]);
                    if payload[1] == 0x7A {
                        out.push((t, f64::from(i16::from_be_bytes([payload[3], payload[4]])) * 0.01));
                    }
                }
            }
            _ => {}
        }
    }
    out
}

fn mean(values: &[(f64, f64)], from: f64, to: f64) -> f64 {
    let start = values[0].0;
    let inside: Vec<f64> =
        values.iter().filter(|(t, _)| (from..to).contains(&(t - start))).map(|(_, v)| *v).collect();
    inside.iter().sum::<f64>() / inside.len() as f64
}

#[test]
fn property_recorded_pressure_follows_truth() {
    let demo = demo::readme::readme();
    let text = String::from_utf8(demo.files[0].1.clone()).unwrap();
    let values = pressures(&text);
    assert!(values.len() > 300, "{}", values.len());
    let key_on = mean(&values, 0.0, 18.0);
    assert!((key_on - demo.truth.zero_kpa).abs() < 0.03, "{key_on} {}", demo.truth.zero_kpa);
    let idle = mean(&values, 50.0, 75.0);
    let held = mean(&values, 115.0, 130.0);
    assert!(key_on + 0.05 < idle && idle + 0.3 < held, "{key_on} {idle} {held}");
    // What was typed is what was recorded.
    let typed: Vec<f64> = demo
        .case
        .reading
        .iter()
        .filter(|r| r.quantity == facts::case::Quantity::DifferentialPressure)
        .map(|r| if r.unit == "hPa" { r.value / 10.0 } else { r.value })
        .collect();
    assert!(
        (typed[0] - key_on).abs() < 0.1 && (typed[2] / held - 1.0).abs() < 0.2,
        "{typed:?} {key_on} {held}"
    );
}

#[test]
fn property_most_idle_trucks_tell_nothing() {
    let mut mute = 0;
    for i in 0..10 {
        let case = generate(8, i, Some(Session::IdleOnly));
        assert_eq!(case.truth.form, "j1939");
        mute += usize::from(!case.truth.carries_information);
    }
    assert!(mute >= 3, "{mute} of 10");
}

#[test]
fn property_a_burn_leaves_less_and_shows_in_the_temperature() {
    for i in 0..12 {
        let case = generate(12, i, Some(Session::BeforeAfter));
        let before = case.truth.soot_load_before_g_per_l.unwrap_or_else(|| panic!("{i}: {:?}", case.truth));
        let ratio = case.truth.proof_ratio.unwrap();
        assert!(case.truth.soot_load_g_per_l < 0.8 * before, "{:?}", case.truth);
        assert!((0.02..1.0).contains(&ratio), "{:?}", case.truth);
        assert_eq!(case.files.len(), 2);
    }
    let drive = generate(12, 3, Some(Session::DriveWithRegeneration));
    assert!(drive.truth.soot_load_g_per_l < 0.8 * drive.truth.soot_load_before_g_per_l.unwrap());
}
