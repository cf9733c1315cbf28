//! Dose chemistry against outside rows, stoichiometry and conservation.
#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

mod common;

use additive::dose::*;
use common::{leading_number, rows};
use proptest::prelude::*;

/// Check rows FBC-DOSE-*.
#[test]
fn reference_volume_doses() {
    let rows = rows("FBC-");
    assert_eq!(rows.len(), 4);
    for row in rows {
        // "25 ppm(m) metal; fuel 835 kg/m3; concentrate 2.4 wt% metal, 900 kg/m3 (values are examples)"
        let parts: Vec<f64> = row
            .inputs
            .split([';', ','])
            .map(|p| leading_number(p.trim().trim_start_matches("fuel ").trim_start_matches("concentrate ")))
            .collect();
        let strength = Strength::new(parts[3], [(Metal::Ce, parts[2] / 100.0)]).unwrap();
        row.agrees(volume_dose_ml_per_l(parts[0], parts[1], strength.metal_g_per_l()).unwrap());
    }
}

/// Oxide ash table of the physics reference 5.2 (6.5 L/100 km, 835 kg/m3, nothing lost), grams.
#[test]
fn reference_oxide_ash_table() {
    for (mg_per_kg, metal, km, grams) in [
        (25.0, Metal::Ce, 80_000.0, 133.3),
        (25.0, Metal::Ce, 120_000.0, 200.0),
        (10.0, Metal::Ce, 120_000.0, 80.0),
        (10.0, Metal::Fe, 120_000.0, 93.1),
        (4.0, Metal::Fe, 120_000.0, 37.2),
    ] {
        let got =
            oxide_g_per_1000km(mg_per_kg, 835.0, 6.5, metal.oxide_per_metal(), 1.0).unwrap() * km / 1000.0;
        assert!((got - grams).abs() < 0.06, "{metal} {mg_per_kg}: {got} against {grams}");
    }
}

/// Gravimetric factors printed in analytical-chemistry tables: oxide to metal (from memory), four digits.
#[test]
fn reference_gravimetric_factors() {
    for (metal, metal_per_oxide) in [
        (Metal::Ca, 0.7147),
        (Metal::Ce, 0.8141),
        (Metal::Cu, 0.7989),
        (Metal::Fe, 0.6994),
        (Metal::Mg, 0.6030),
        (Metal::Sr, 0.8456),
        (Metal::Zn, 0.8034),
        (Metal::Zr, 0.7403),
        (Metal::Pt, 1.0),
    ] {
        assert!((1.0 / metal.oxide_per_metal() - metal_per_oxide).abs() < 2e-4, "{metal}");
    }
}

/// 1.04 mL/L: 5 L for 80 000 km at 6 L/100 km, and 62 mL per 1000 km (trade reference 3.4).
#[test]
fn reference_first_series_consumption() {
    let per_l = 5000.0 / 4800.0;
    assert!((use_ml_per_1000km(per_l, 6.0).unwrap() - 62.5).abs() < 0.1);
    assert!((range_km(5.0, 1.0, per_l, 6.0).unwrap() - 80_000.0).abs() < 1.0);
}

#[test]
fn analytic_blend_of_equal_parts() {
    let weak = Strength::from_g_per_l(900.0, [(Metal::Ce, 20.0)]).unwrap();
    let strong = Strength::from_g_per_l(1000.0, [(Metal::Ce, 30.0), (Metal::Fe, 10.0)]).unwrap();
    let mut blend = Blend::of(1.0, &weak).unwrap();
    blend.pour(&Blend::of(1.0, &strong).unwrap());
    let mixed = blend.strength().unwrap();
    assert!((mixed.density_kg_m3() - 950.0).abs() < 1e-9);
    assert!((mixed.metal_g_per_l() - 30.0).abs() < 1e-9);
    assert!((blend.metal_g()[&Metal::Fe] - 10.0).abs() < 1e-9);
}

#[test]
fn regress_wrong_generation_is_refused_and_named() {
    let strong = Strength::new(1000.0, [(Metal::Fe, 0.065)]).unwrap();
    let reach = DoseReach { lowest_ml_per_l: 0.2, highest_ml_per_l: 1.0 };
    let text = reachable_dose_ml_per_l(8.0, 835.0, &strong, reach).unwrap_err().to_string();
    assert!(text.contains("generation"), "{text}");
    let empty = Strength::new(850.0, []).unwrap();
    assert!(reachable_dose_ml_per_l(8.0, 835.0, &empty, reach).is_err());
    assert!(
        agreeing_dose_mg_per_kg(
            0.9664,
            25.0,
            835.0,
            &Strength::new(900.0, [(Metal::Ce, 0.024)]).unwrap(),
            0.05
        )
        .is_ok()
    );
    assert!(agreeing_dose_mg_per_kg(0.9664, 25.0, 835.0, &strong, 0.5).is_err());
}

#[test]
fn regress_a_strength_from_a_file_is_checked() {
    let good: Strength =
        serde_json::from_str(r#"{"density_kg_m3":900.0,"mass_fraction":{"Ce":0.02}}"#).unwrap();
    assert!((good.metal_g_per_l() - 18.0).abs() < 1e-12);
    assert!(
        serde_json::from_str::<Strength>(r#"{"density_kg_m3":900.0,"mass_fraction":{"Ce":1.2}}"#).is_err()
    );
    assert!(serde_json::from_str::<Strength>(r#"{"density_kg_m3":-1.0,"mass_fraction":{}}"#).is_err());
}

/// One thing that can happen to a reservoir.
#[derive(Debug, Clone)]
enum Act {
    Pour { litres: f64, density: f64, ce: f64, fe: f64 },
    Draw { part: f64 },
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        (0.0..5.0f64, 750.0..1100.0f64, 0.0..0.1f64, 0.0..0.1f64)
            .prop_map(|(litres, density, ce, fe)| Act::Pour { litres, density, ce, fe }),
        (0.0..=1.0f64).prop_map(|part| Act::Draw { part }),
    ]
}

proptest! {
    #[test]
    fn property_volume_mass_and_metal_are_conserved(acts in prop::collection::vec(act(), 0..60)) {
        let mut held = Blend::empty();
        let (mut in_l, mut in_kg, mut in_g) = (0.0, 0.0, 0.0);
        let (mut out_l, mut out_kg, mut out_g) = (0.0, 0.0, 0.0);
        for act in acts {
            match act {
                Act::Pour { litres, density, ce, fe } => {
                    let poured = Blend::of(litres, &Strength::new(density, [(Metal::Ce, ce), (Metal::Fe, fe)]).unwrap()).unwrap();
                    in_l += litres;
                    in_kg += litres * density / 1000.0;
                    in_g += litres * density * (ce + fe);
                    held.pour(&poured);
                }
                Act::Draw { part } => {
                    let taken = held.draw(held.volume_l() * part).unwrap();
                    out_l += taken.volume_l();
                    out_kg += taken.mass_kg();
                    out_g += taken.total_metal_g();
                }
            }
            prop_assert!(held.volume_l() >= 0.0 && held.mass_kg() >= -1e-12);
        }
        let close = |a: f64, b: f64| (a - b).abs() <= 1e-9 * (1.0 + a.abs());
        prop_assert!(close(in_l, out_l + held.volume_l()));
        prop_assert!(close(in_kg, out_kg + held.mass_kg()));
        prop_assert!(close(in_g, out_g + held.total_metal_g()));
    }

    #[test]
    fn property_drawing_never_changes_strength(litres in 0.1..5.0f64, part in 0.0..0.99f64, ce in 0.001..0.1f64) {
        let mut held = Blend::of(litres, &Strength::new(900.0, [(Metal::Ce, ce)]).unwrap()).unwrap();
        held.draw(litres * part).unwrap();
        prop_assert!((held.strength().unwrap().metal_fraction() - ce).abs() < 1e-9);
    }

    #[test]
    fn property_dose_and_volume_are_inverse(mg in 0.0..500.0f64, fuel in 700.0..900.0f64, g_per_l in 0.1..200.0f64) {
        let v = volume_dose_ml_per_l(mg, fuel, g_per_l).unwrap();
        prop_assert!((metal_dose_mg_per_kg(v, fuel, g_per_l).unwrap() - mg).abs() <= 1e-9 * (1.0 + mg));
    }

    #[test]
    fn property_any_number_is_answered_or_refused(a in common::figure(), b in common::figure(), c in common::figure(), d in common::figure(), e in common::figure()) {
        for v in [
            volume_dose_ml_per_l(a, b, c),
            metal_dose_mg_per_kg(a, b, c),
            required_metal_g_per_l(a, b, c),
            range_km(a, b, c, d),
            use_ml_per_1000km(a, b),
            oxide_g_per_1000km(a, b, c, d, e),
            oxide_per_metal(a, b, c),
        ].into_iter().flatten() {
            prop_assert!(v.is_finite() && v >= 0.0);
        }
        if let Ok(s) = Strength::new(a, [(Metal::Ce, b), (Metal::Fe, c)]) {
            let _ = reachable_dose_ml_per_l(d, e, &s, DoseReach { lowest_ml_per_l: a, highest_ml_per_l: b });
            if let Ok(mut held) = Blend::of(d, &s) {
                let _ = held.draw(e);
                let _ = held.strength();
            }
        }
    }
}
