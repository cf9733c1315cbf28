//! The order of a car's life, and units.

use facts::case::{Case, Quantity, Reading};
use facts::life::ordered;
use facts::unit::Unit;
use proptest::prelude::*;

fn case(rows: &str) -> Case {
    facts::load_case(&format!("schema = \"sootwright.case/1\"\n{rows}"), "c")
        .unwrap_or_else(|e| panic!("{e}"))
}

/// The lists in the order of the life, joined with `<` where the order is known and `~` where it is not.
fn told(case: &Case) -> String {
    let events = ordered(case);
    let mut out = String::new();
    for (i, e) in events.iter().enumerate() {
        if i > 0 {
            out += if events[i - 1].tie == e.tie { " ~ " } else { " < " };
        }
        out += e.row.list();
    }
    out
}

#[test]
fn regress_odometer_then_time_then_order() {
    let c = case(
        "[car]\nodometer_km = 900\n\
         [[zero_taught]]\n\
         [[refill]]\nodometer_km = 500\ntime = 2030-02-02\nvolume_l = 1\n\
         [[counter_entry]]\nodometer_km = 500\ntime = 2030-02-01\n\
         [[surroundings]]\nodometer_km = 100\norder = 2\nstate = \"dry\"\n\
         [[level_read]]\nodometer_km = 100\norder = 1\nlevel_l = 1\n",
    );
    assert_eq!(told(&c), "level_read < surroundings < counter_entry < refill < zero_taught");
}

#[test]
fn regress_rows_without_time_or_order_tie() {
    let c = case(
        "[[refill]]\nodometer_km = 500\nvolume_l = 1\n[[counter_entry]]\nodometer_km = 500\n\
         [[reservoir_weighed]]\nodometer_km = 501\ngross_g = 900\ntare_g = 100\n",
    );
    assert_eq!(told(&c), "counter_entry ~ refill < reservoir_weighed");
    // One row that could stand anywhere ties with both others, whose order still shows.
    let c = case(
        "[[refill]]\nodometer_km = 500\norder = 1\nvolume_l = 1\n[[counter_entry]]\nodometer_km = 500\norder = 2\n\
         [[level_read]]\nodometer_km = 500\nlevel_l = 1\n",
    );
    assert_eq!(told(&c), "refill ~ counter_entry ~ level_read");
}

#[test]
fn regress_a_bare_date_ties_with_the_instants_of_its_day() {
    let rows = |second: &str| {
        format!(
            "[[refill]]\nodometer_km = 500\ntime = 2030-02-02T08:00:00Z\nvolume_l = 1\n\
             [[counter_entry]]\nodometer_km = 500\ntime = {second}\n"
        )
    };
    assert_eq!(told(&case(&rows("2030-02-02"))), "refill ~ counter_entry");
    assert_eq!(told(&case(&rows("2030-02-02T07:59:00Z"))), "counter_entry < refill");
    assert_eq!(told(&case(&rows("2030-02-03"))), "refill < counter_entry");
    // On one day `order` decides where the hours are not known.
    let with_order = rows("2030-02-02\norder = 2").replace("volume_l = 1", "volume_l = 1\norder = 1");
    assert_eq!(told(&case(&with_order)), "refill < counter_entry");
}

#[test]
fn regress_before_the_work_comes_before_it() {
    let reading = |role: &str| {
        format!("[[reading]]\nrole = \"{role}\"\nquantity = \"controller_soot\"\nvalue = 3\nunit = \"g\"\n")
    };
    let c =
        case(&format!("{}[[zero_taught]]\n[[refill]]\nfull = true\n{}", reading("after"), reading("before")));
    assert_eq!(told(&c), "reading < refill ~ zero_taught < reading");
}

#[test]
fn regress_without_any_odometer_all_is_of_the_present() {
    assert_eq!(
        told(&case("[[zero_taught]]\n[[odometer_note]]\nodometer_km = 5\n")),
        "odometer_note < zero_taught"
    );
}

fn reading(quantity: Quantity, value: f64, unit: &str) -> Reading {
    Reading {
        odometer_km: None,
        time: None,
        order: None,
        note: None,
        point: None,
        engine_speed_rpm: None,
        vehicle_speed_km_per_h: None,
        role: None,
        quantity,
        value,
        unit: unit.into(),
        instrument: None,
        uncertainty: Some(1.0),
    }
}

#[test]
fn analytic_units() {
    // Definitions: SI prefixes, 1 h = 3600 s, water freezes at 32 degF and boils at 212 degF, 1 mi = 1.609344 km.
    for (quantity, value, unit, want, canonical) in [
        (Quantity::DifferentialPressure, 25.0, "hPa", 2.5, Unit::Kilopascal),
        (Quantity::DifferentialPressure, 25.0, "mbar", 2.5, Unit::Kilopascal),
        (Quantity::DifferentialPressureGauge, 250.0, "Pa", 0.25, Unit::Kilopascal),
        (Quantity::BarometricPressure, 0.97, "bar", 97.0, Unit::Kilopascal),
        (Quantity::IntakeAirMassFlow, 36.0, "kg/h", 10.0, Unit::GramPerSecond),
        (Quantity::CoolantTemperature, 212.0, "degF", 100.0, Unit::DegreeCelsius),
        (Quantity::CoolantTemperature, 273.15, "K", 0.0, Unit::DegreeCelsius),
        (Quantity::CoolantTemperature, 80.0, "°C", 80.0, Unit::DegreeCelsius),
        (Quantity::ControllerSoot, 21.0, "g", 21.0, Unit::Gram),
        (Quantity::ControllerSoot, 5.0, "g/L", 5.0, Unit::GramPerLitre),
        (Quantity::ControllerAsh, 45.0, "%", 45.0, Unit::Percent),
        (Quantity::TimeSinceRegeneration, 1.5, "h", 5400.0, Unit::Second),
        (Quantity::AdditiveUsed, 1.25, "L", 1250.0, Unit::Millilitre),
        (Quantity::AdditiveLeft, 30.0, "%", 30.0, Unit::Percent),
        (Quantity::FuelRate, 0.8, "L/h", 0.8, Unit::LitrePerHour),
        (Quantity::DistanceSinceRegeneration, 100.0, "mi", 160.9344, Unit::Kilometre),
    ] {
        let m = reading(quantity, value, unit).measured().unwrap();
        assert!((m.value - want).abs() < 1e-9, "{value} {unit}: {}", m.value);
        assert_eq!(m.unit, canonical);
    }
    // An uncertainty is a difference: it scales and does not shift.
    let m = reading(Quantity::CoolantTemperature, 212.0, "degF").measured().unwrap();
    assert!((m.uncertainty.unwrap() - 5.0 / 9.0).abs() < 1e-12);
    let e = reading(Quantity::IntakeAirMassFlow, 1.0, "mg/stroke").canonical().unwrap_err();
    assert_eq!(e.to_string(), "intake_air_mass_flow is not read in \"mg/stroke\"; it takes g/s, kg/h");
}

fn any_row() -> impl Strategy<Value = String> {
    let kind = prop_oneof![
        Just("[[refill]]\nvolume_l = 1\n"),
        Just("[[refill]]\nvolume_l = 2\n"),
        Just("[[counter_entry]]\n"),
        Just("[[surroundings]]\nstate = \"dry\"\n"),
        Just("[[odometer_note]]\n"),
    ];
    let time = proptest::option::of(prop_oneof![
        Just("2030-02-02"),
        Just("2030-02-02T07:00:00Z"),
        Just("2030-02-02T09:00:00Z"),
        Just("2030-02-03")
    ]);
    (kind, 0..3u32, time, proptest::option::of(0..3i64)).prop_map(|(kind, km, time, order)| {
        let mut row = format!("{kind}odometer_km = {}\n", 100 + km % 2);
        if let Some(t) = time {
            row += &format!("time = {t}\n");
        }
        if let Some(o) = order {
            row += &format!("order = {o}\n");
        }
        row
    })
}

proptest! {
    #[test]
    fn property_the_order_of_entry_does_not_matter(
        rows in proptest::collection::vec(any_row(), 0..9),
        shuffle in any::<proptest::sample::Index>(),
    ) {
        let a = case(&rows.concat());
        let mut other = rows.clone();
        if !other.is_empty() {
            let by = shuffle.index(other.len());
            other.rotate_left(by);
            other.reverse();
        }
        let b = case(&other.concat());
        let seen = |c: &Case| -> Vec<(String, usize)> {
            ordered(c).iter().map(|e| (format!("{:?}", e.row), e.tie)).collect()
        };
        prop_assert_eq!(seen(&a), seen(&b));
    }

    #[test]
    fn property_known_orders_are_kept(rows in proptest::collection::vec(any_row(), 0..9)) {
        let c = case(&rows.concat());
        let events = ordered(&c);
        prop_assert_eq!(events.len(), rows.len());
        for (i, a) in events.iter().enumerate() {
            for b in &events[i + 1..] {
                prop_assert!(a.tie <= b.tie);
                prop_assert!(a.odometer_km <= b.odometer_km);
                if a.tie != b.tie && a.odometer_km == b.odometer_km {
                    // Rows with different numbers are told apart by something that was written.
                    let by_time = a.time.zip(b.time).is_some_and(|(a, b)| a.instant < b.instant || a.day() < b.day());
                    let by_order = a.order.zip(b.order).is_some_and(|(a, b)| a < b);
                    prop_assert!(by_time || by_order);
                }
            }
        }
    }
}
