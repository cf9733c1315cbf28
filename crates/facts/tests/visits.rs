//! A life in one file and in a folder of files.

use facts::case::Case;
use facts::visits::{join, of};

fn case(rows: &str) -> Case {
    facts::load_case(&format!("schema = \"sootwright.case/1\"\n{rows}"), "c")
        .unwrap_or_else(|e| panic!("{e}"))
}

fn first() -> Case {
    case(
        "[car]\nodometer_km = 100000\ndisplacement_l = 1.6\n[ambient]\npressure_kpa = 98.0\n\
         [[reading]]\npoint = \"key_on\"\nquantity = \"differential_pressure\"\nvalue = 0.1\nunit = \"kPa\"\n\
         [[recording]]\nfile = \"a.log\"\n[[refill]]\nodometer_km = 90000\nvolume_l = 1\nfull = true\n\
         [[reservoir_weighed]]\ngross_g = 1200\n",
    )
}

fn second() -> Case {
    case(
        "[car]\nodometer_km = 112000\ndisplacement_l = 1.6\nusual_trip_km = 9\n\
         [[reading]]\npoint = \"key_on\"\nquantity = \"differential_pressure\"\nvalue = 0.2\nunit = \"kPa\"\n\
         [[recording]]\nfile = \"b.log\"\n[[refill]]\nodometer_km = 90000\nvolume_l = 1\nfull = true\n\
         [[regeneration]]\nodometer_km = 111000\ncontroller_says = \"complete\"\n",
    )
}

#[test]
fn regress_a_folder_and_one_file_are_the_same_life() {
    let (joined, _) =
        join("f", vec![("b.toml".into(), second()), ("a.toml".into(), first())]).expect("one car");
    let folder = of(&joined);
    let file = of(&case(
        "[car]\nodometer_km = 112000\ndisplacement_l = 1.6\nusual_trip_km = 9\n\
         [[recording]]\nfile = \"b.log\"\n[[recording]]\nfile = \"a.log\"\nodometer_km = 100000\n\
         [[visit]]\nodometer_km = 100000\npressure_kpa = 98.0\n\
         [[regeneration]]\nodometer_km = 111000\ncontroller_says = \"complete\"\n\
         [[reading]]\npoint = \"key_on\"\nquantity = \"differential_pressure\"\nvalue = 0.2\nunit = \"kPa\"\n\
         [[reading]]\nodometer_km = 100000\npoint = \"key_on\"\nquantity = \"differential_pressure\"\nvalue = 0.1\nunit = \"kPa\"\n\
         [[reservoir_weighed]]\nodometer_km = 100000\ngross_g = 1200\n\
         [[refill]]\nodometer_km = 90000\nvolume_l = 1\nfull = true\n",
    ));
    assert_eq!(folder.len(), 2);
    assert_eq!(file.len(), 2);
    for (a, b) in folder.iter().zip(&file) {
        assert_eq!(a.car.odometer_km, b.car.odometer_km);
        assert_eq!(a.reading.len(), 1);
        assert_eq!(a.reading[0].value, b.reading[0].value);
        assert_eq!(a.recording[0].file, b.recording[0].file);
        assert_eq!(a.refill.len(), 1, "a row that both files hold is one fact");
        assert_eq!(a.regeneration.len(), b.regeneration.len());
        assert_eq!(a.reservoir_weighed.len(), b.reservoir_weighed.len());
    }
    assert_eq!(folder[0].ambient.pressure_kpa, Some(98.0));
    assert!(folder[0].regeneration.is_empty(), "it happened after the first visit");
    assert_eq!(folder[1].regeneration.len(), 1);
}

#[test]
fn regress_one_visit_stays_what_it_was() {
    let one = first();
    let visits = of(&one);
    assert_eq!(visits.len(), 1);
    assert_eq!(visits[0], one);
}

#[test]
fn regress_two_equal_readings_of_one_visit_are_two() {
    let row = "[[reading]]\npoint = \"key_on\"\nquantity = \"differential_pressure\"\nvalue = 0.2\nunit = \"kPa\"\n";
    let visits = of(&case(&format!("{row}{row}")));
    assert_eq!(visits[0].reading.len(), 2);
}

#[test]
fn regress_two_cars_in_one_folder_are_refused() {
    let mut other = second();
    other.car.displacement_l = Some(2.2);
    let e = join("f", vec![("a.toml".into(), first()), ("b.toml".into(), other)]).expect_err("two cars");
    let text = e.to_string();
    assert!(text.contains("car.displacement_l is 2.2 here and 1.6 in a.toml"), "{text}");
    assert!(text.contains("b.toml") && text.contains("one car"), "{text}");
}

#[test]
fn regress_an_odometer_that_falls_between_files_is_refused() {
    let (mut a, mut b) = (first(), second());
    a.reading[0].time = facts::Moment::parse("2031-05-02").ok();
    b.reading[0].time = facts::Moment::parse("2030-05-02").ok();
    let e = join("f", vec![("a.toml".into(), a), ("b.toml".into(), b)]).expect_err("falls");
    assert!(e.to_string().contains("the odometer falls"), "{e}");
}

#[test]
fn property_the_order_of_entry_does_not_show() {
    let (joined, _) =
        join("f", vec![("a.toml".into(), first()), ("b.toml".into(), second())]).expect("one car");
    let mut turned = joined.clone();
    turned.reading.reverse();
    turned.recording.reverse();
    turned.visit.reverse();
    turned.refill.reverse();
    assert_eq!(of(&joined), of(&turned));
}

#[test]
fn regress_a_case_by_dates_alone_parts_too() {
    let rows = |date: &str, v: f64| {
        format!(
            "[[reading]]\ntime = {date}\npoint = \"key_on\"\nquantity = \"differential_pressure\"\nvalue = {v}\nunit = \"kPa\"\n"
        )
    };
    let visits = of(&case(&format!("{}{}", rows("2031-05-02", 0.1), rows("2030-05-02", 0.2))));
    assert_eq!(visits.len(), 2);
    assert_eq!(visits[0].reading[0].value, 0.2);
}
