//! Draining against outside rows, closed forms and properties.
#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

mod common;

use additive::estimate::Uncertain;
use additive::fluid::Library;
use additive::transfer::*;
use common::{leading_number, repository, rows};
use proptest::prelude::*;

fn setup(d: f64, mu: f64, head: f64) -> Setup {
    Setup {
        line: Line { bore_m: d, length_m: 1.5, k_sum: 2.5 },
        density_kg_m3: 850.0,
        viscosity_pa_s: mu,
        head_m: head,
        bottle_area_m2: 0.01,
        bottle: Bottle::Vented,
        receiver: Receiver::Pouch,
    }
}

/// Check rows LIQ-Q, LIQ-RE, LIQ-T (package `fluids` 1.3.1 with a quasi-steady integration).
#[test]
fn reference_flow_and_time_rows() {
    let mut seen = 0;
    for prefix in ["LIQ-Q-", "LIQ-RE-", "LIQ-T-"] {
        for row in rows(prefix) {
            let mut s = setup(row.input("d"), row.input("mu"), row.input("head"));
            s.line.length_m = row.input("L");
            s.line.k_sum = row.input("sumK");
            s.density_kg_m3 = row.input("rho");
            let flow = s.flow_after(0.0).unwrap();
            match prefix {
                "LIQ-Q-" => row.agrees(flow.m3_per_s * 1e6),
                "LIQ-RE-" => row.agrees(flow.reynolds),
                _ => row.agrees(s.seconds_for(2e-3).unwrap().seconds),
            }
            seen += 1;
        }
    }
    assert_eq!(seen, 17);
}

/// Check rows LIQ-F-*.
#[test]
fn reference_friction_factors() {
    for row in rows("LIQ-F-") {
        row.agrees(friction_factor(row.input("Re")).unwrap());
    }
}

/// Check rows LIQ-STALL-*: an unvented rigid bottle. The row's head does not fall, so the bottle here is very wide.
#[test]
fn reference_stall_of_a_closed_bottle() {
    for row in rows("LIQ-STALL-") {
        let gas = leading_number(row.inputs.trim_start_matches("gas space "));
        let mut s = setup(0.003, 0.004, 1.0);
        s.bottle_area_m2 = 1e6;
        s.bottle = Bottle::Closed { gas_m3: gas * 1e-6 };
        row.agrees(s.stops_after_m3().unwrap() * 1e6);
    }
}

/// Check row LIQ-HP-EXP, and the closed form of Hagen and Poiseuille worked by hand.
#[test]
fn analytic_laminar_draining() {
    let row = rows("LIQ-HP-EXP").remove(0);
    let mut s = setup(row.input("d"), row.input("mu"), row.input("h0"));
    s.line.k_sum = 0.0;
    row.agrees(s.seconds_for(row.input("V")).unwrap().seconds);
    // half the head's volume: t = (A/c) ln 2, c = pi d^4 rho g/(128 mu L) = 2.7621e-6 m2/s for d 3 mm, mu 4 mPa s
    let c = std::f64::consts::PI * 0.003f64.powi(4) * 850.0 * 9.80665 / (128.0 * 0.004 * 1.5);
    let half = s.seconds_for(0.5 * 0.8 * 0.01).unwrap().seconds;
    assert!((half - 0.01 / c * 2f64.ln()).abs() < 1e-6 * half);
}

/// A Mariotte bottle runs at constant head: time is volume over one flow.
#[test]
fn analytic_mariotte_is_steady() {
    let mut s = setup(0.003, 0.004, 0.6);
    s.bottle = Bottle::Mariotte { tip_below_level_m: 0.25 };
    let q = setup(0.003, 0.004, 0.35).flow_after(0.0).unwrap().m3_per_s;
    let t = s.seconds_for(2e-3).unwrap().seconds;
    assert!((t - 2e-3 / q).abs() < 1e-6 * t);
}

/// Closed receiver: v = Vr rho g h/(p0 + rho g h), isothermal compression.
#[test]
fn analytic_stall_of_a_closed_receiver() {
    let mut s = setup(0.003, 0.004, 1.0);
    s.bottle_area_m2 = 1e6;
    s.receiver = Receiver::RigidUnvented { gas_m3: 1e-3 };
    let push: f64 = 850.0 * 9.80665;
    let want = 1e-3 * push / (101_325.0 + push);
    assert!((s.stops_after_m3().unwrap() - want).abs() < 1e-6 * want);
    assert!(matches!(s.seconds_for(2e-3), Err(additive::Error::FlowStops { .. })));
}

/// Independent solution in Python (`fluids`, SciPy); see the header of the file for versions.
#[test]
fn reference_python_liquids() {
    let path = repository("checks/data/liquids.csv");
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(&path).unwrap();
    let general = std::fs::read_to_string(repository("knowledge/fluids.toml")).unwrap();
    let library = Library::from_texts([("fluids.toml", general.as_str())]).unwrap();
    let water = library.get("water").unwrap();
    let mut seen = [0; 4];
    for record in reader.records().map(|r| r.unwrap()) {
        let input = |name: &str| -> Option<f64> {
            record[1]
                .split(';')
                .filter_map(|p| p.trim().split_once('='))
                .find(|(k, _)| *k == name)?
                .1
                .parse()
                .ok()
        };
        let want: f64 = record[2].parse().unwrap();
        let (i, got, part) = match &record[0] {
            "water_density" => {
                let s = water.density_kg_m3(input("degc").unwrap()).unwrap();
                assert!(s.low <= want + 0.35 && want <= s.high + 0.05, "{record:?} {s:?}");
                (0, s.middle(), 6e-4)
            }
            "water_kinematic" => (1, water.kinematic_mm2_s(input("degc").unwrap()).unwrap().middle(), 5e-3),
            "friction" => (2, friction_factor(input("re").unwrap()).unwrap(), 1e-3),
            "drain" => {
                let mut s = setup(input("d").unwrap(), input("mu").unwrap(), input("h0").unwrap());
                s.line.k_sum = input("k").unwrap();
                s.bottle_area_m2 = input("a_b").unwrap();
                if let Some(tip_below_level_m) = input("tip") {
                    s.bottle = Bottle::Mariotte { tip_below_level_m };
                }
                if let Some(gauge_pa) = input("press") {
                    s.bottle = Bottle::Squeezed { gauge_pa };
                }
                if let Some(gas_m3) = input("vg") {
                    s.bottle = Bottle::Closed { gas_m3 };
                }
                if let Some(area) = input("a_r") {
                    s.receiver = Receiver::RigidVented { level_area_m2: Some(area) };
                }
                if let Some(gas_m3) = input("vr") {
                    s.receiver = Receiver::RigidUnvented { gas_m3 };
                }
                (3, s.seconds_for(input("v").unwrap()).unwrap().seconds, 1e-3)
            }
            other => panic!("{other}"),
        };
        assert!((got - want).abs() <= part * want, "{record:?}: got {got}");
        seen[i] += 1;
    }
    assert!(seen.iter().all(|n| *n >= 10), "{seen:?}");
}

/// Table of the physics reference 7.2, minutes for 2 L.
#[test]
fn reference_table_of_minutes() {
    for (mu, minutes) in [
        (2.0, [15.9, 7.2, 5.3, 2.5]),
        (4.0, [31.1, 13.7, 10.0, 4.5]),
        (6.0, [46.4, 20.4, 14.8, 6.5]),
        (10.0, [77.2, 33.8, 24.5, 10.7]),
    ] {
        for ((d, h), want) in [(3.0, 0.5), (3.0, 1.0), (4.0, 0.5), (4.0, 1.0)].into_iter().zip(minutes) {
            let got = setup(d / 1000.0, mu / 1000.0, h).seconds_for(2e-3).unwrap().seconds / 60.0;
            assert!((got - want).abs() < 0.06 + 0.003 * want, "mu {mu} d {d} h {h}: {got} against {want}");
        }
    }
}

fn a_fluid(toml: &str) -> additive::fluid::Fluid {
    let text = format!(
        "schema = \"sootwright.fluids/1\"\n[[fluid]]\nid = \"f\"\nname = \"f\"\nkind = \"concentrate\"\n{toml}"
    );
    Library::from_texts([("test", text.as_str())]).unwrap().get("f").unwrap().clone()
}

fn narrow_fluid() -> additive::fluid::Fluid {
    a_fluid(
        r#"
density_kg_m3 = [{ degc = 20, low = 848, high = 852, source = "test", mark = "measured" }]
density_per_k = { low = -0.7, high = -0.7, source = "test", mark = "measured" }
viscosity_mm2_s = [
  { degc = 20, low = 5.6, high = 6.0, source = "test", mark = "measured" },
  { degc = 40, low = 3.4, high = 3.7, source = "test", mark = "measured" },
]"#,
    )
}

fn fill() -> Fill {
    Fill {
        volume_l: 2.0,
        bore_mm: Uncertain::new(3.0, 0.05),
        length_m: Uncertain::new(1.5, 0.02),
        fittings_k: Uncertain::new(4.0, 1.0),
        head_cm: Uncertain::new(85.0, 2.0),
        bottle_area_cm2: Uncertain::new(100.0, 5.0),
        bottle: Bottle::Vented,
        receiver: Receiver::Pouch,
        degc: 10.0,
        press_kpa: Some(Uncertain::new(2.0, 0.5)),
    }
}

/// Common practice, no source (check row LIQ-SANITY): 2 L through a small bore takes 20 to 30 minutes, faster lower.
#[test]
fn reference_common_practice_minutes() {
    let (low, high) = rows("LIQ-SANITY").remove(0).limits();
    let mut f = fill();
    f.degc = 20.0;
    f.head_cm.value = 85.0;
    let plan = f.plan(&narrow_fluid()).unwrap();
    let minutes = plan.minutes.unwrap();
    assert!(minutes.p50 > low && minutes.p50 < high, "{minutes:?}");
    assert!(
        plan.levers.iter().any(|l| l.lever == Lever::LowerReceiver && l.minutes_saved.unwrap().p05 > 0.0)
    );
}

#[test]
fn property_levers_save_and_intervals_are_ordered() {
    let plan = fill().plan(&narrow_fluid()).unwrap();
    let all = plan.minutes.unwrap();
    assert!(all.p05 < all.p50 && all.p50 < all.p95);
    let names: Vec<Lever> = plan.levers.iter().map(|l| l.lever).collect();
    assert_eq!(names, [Lever::LowerReceiver, Lever::WarmBottle, Lever::PressBottle]);
    for l in &plan.levers {
        assert!(l.minutes_saved.unwrap().p05 > 0.0, "{l:?}");
    }
    assert!((plan.mass_g.p50 - 2.0 * 857.0).abs() < 3.0);
    assert_eq!(plan, fill().plan(&narrow_fluid()).unwrap(), "the same question has the same answer");
}

#[test]
fn regress_a_closed_bottle_stops_and_a_vent_helps() {
    let mut f = fill();
    f.bottle = Bottle::Closed { gas_m3: 200e-6 };
    let plan = f.plan(&narrow_fluid()).unwrap();
    assert!(plan.minutes.is_none() && plan.stops_probability == 1.0);
    assert!(plan.stops_after_l.unwrap().p50 < 0.03);
    let vent = plan.levers.iter().find(|l| l.lever == Lever::VentBottle).unwrap();
    assert!(vent.minutes_then.unwrap().p50 > 5.0 && vent.minutes_saved.is_none());
}

#[test]
fn regress_a_wide_class_gives_a_wide_interval() {
    let general = std::fs::read_to_string(repository("knowledge/fluids.toml")).unwrap();
    let library = Library::from_texts([("fluids.toml", general.as_str())]).unwrap();
    let wide = fill().plan(library.get("concentrate-iron").unwrap()).unwrap().minutes.unwrap();
    let narrow = fill().plan(&narrow_fluid()).unwrap().minutes.unwrap();
    assert!(wide.p95 / wide.p05 > 2.0 * narrow.p95 / narrow.p05);
    let keys =
        |f: &additive::fluid::Fluid| fill().plan(f).unwrap().say.iter().map(|m| m.key).collect::<Vec<_>>();
    let asks = ["fill-measure-density", "fill-measure-viscosity"];
    let wide = keys(library.get("concentrate-iron").unwrap());
    assert!(asks.iter().all(|k| wide.contains(k)), "{wide:?}");
    let narrow = keys(&narrow_fluid());
    assert!(asks.iter().all(|k| !narrow.contains(k)) && narrow.contains(&"fill-no-flame"), "{narrow:?}");
}

proptest! {
    #[test]
    fn property_time_falls_with_bore_and_head(
        d in 0.002..0.012f64, more in 1.0..1.5f64, head in 0.3..1.5f64, mu in 0.0005..0.03f64, k in 0.0..10.0f64
    ) {
        let mut s = setup(d, mu, head);
        s.line.k_sum = k;
        let t = s.seconds_for(2e-3).unwrap().seconds;
        let mut wider = s;
        wider.line.bore_m = d * more;
        // the 24-panel rule smooths the kink between regimes to a few parts in a thousand
        prop_assert!(wider.seconds_for(2e-3).unwrap().seconds <= t * 1.005);
        let mut higher = s;
        higher.head_m = head * more;
        prop_assert!(higher.seconds_for(2e-3).unwrap().seconds <= t * 1.005);
    }

    #[test]
    fn property_time_rises_with_viscosity_in_the_laminar_regime(
        d in 0.002..0.006f64, head in 0.3..1.5f64, mu in 0.0005..0.03f64, more in 1.0..2.0f64
    ) {
        let thin = setup(d, mu, head);
        prop_assume!(thin.flow_after(0.0).unwrap().regime == Regime::Laminar);
        let thick = setup(d, mu * more, head);
        prop_assert!(thick.seconds_for(2e-3).unwrap().seconds >= thin.seconds_for(2e-3).unwrap().seconds * 0.999_999);
    }

    #[test]
    fn property_flow_never_falls_with_pressure(p in 0.0..20_000.0f64, more in 0.0..20_000.0f64, d in 0.001..0.02f64, mu in 0.0002..0.05f64) {
        let line = Line { bore_m: d, length_m: 1.2, k_sum: 2.5 };
        let (a, b) = (flow_at(p, &line, 850.0, mu).unwrap(), flow_at(p + more, &line, 850.0, mu).unwrap());
        prop_assert!(b.m3_per_s >= a.m3_per_s * (1.0 - 1e-9));
    }

    #[test]
    fn property_a_longer_pour_is_the_sum_of_two(v in 0.1e-3..1.9e-3f64, head in 0.3..1.5f64) {
        // the second half starts with the level already fallen
        let s = setup(0.003, 0.005, head);
        let mut rest = s;
        rest.head_m -= v / s.bottle_area_m2;
        let whole = s.seconds_for(2e-3).unwrap().seconds;
        let parts = s.seconds_for(v).unwrap().seconds + rest.seconds_for(2e-3 - v).unwrap().seconds;
        prop_assert!((whole - parts).abs() < 1e-4 * whole);
    }

    #[test]
    fn property_any_number_is_answered_or_refused(x in prop::collection::vec(common::figure(), 8)) {
        for bottle in [
            Bottle::Vented,
            Bottle::Closed { gas_m3: x[0] },
            Bottle::Squeezed { gauge_pa: x[0] },
            Bottle::Collapsing { m3_per_pa: x[0] },
            Bottle::Mariotte { tip_below_level_m: x[0] },
        ] {
            for receiver in [Receiver::Pouch, Receiver::RigidVented { level_area_m2: Some(x[1]) }, Receiver::RigidUnvented { gas_m3: x[1] }] {
                let s = Setup {
                    line: Line { bore_m: x[2], length_m: x[3], k_sum: x[4] },
                    density_kg_m3: x[5],
                    viscosity_pa_s: x[6],
                    head_m: x[7],
                    bottle_area_m2: x[0],
                    bottle,
                    receiver,
                };
                if let Ok(d) = s.seconds_for(x[1]) {
                    prop_assert!(d.seconds.is_finite() && d.seconds >= 0.0);
                }
                let _ = s.stops_after_m3();
                let _ = s.flow_after(x[0]);
            }
        }
        let _ = friction_factor(x[0]);
    }

    #[test]
    fn property_any_fill_is_answered_or_refused(x in prop::collection::vec(common::figure(), 12)) {
        let f = Fill {
            volume_l: x[0],
            bore_mm: Uncertain::new(x[1], x[2]),
            length_m: Uncertain::new(x[3], x[4]),
            fittings_k: Uncertain::new(x[5], x[6]),
            head_cm: Uncertain::new(x[7], x[8]),
            bottle_area_cm2: Uncertain::new(x[9], x[10]),
            bottle: Bottle::Vented,
            receiver: Receiver::Pouch,
            degc: x[11],
            press_kpa: None,
        };
        let _ = f.plan(&narrow_fluid());
        let _ = f.best_setup(&narrow_fluid());
    }
}
