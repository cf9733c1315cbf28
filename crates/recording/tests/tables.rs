//! Tables in the shapes workshops bring them.
#![allow(clippy::unwrap_used, reason = "a test may stop here")]

use recording::{Format, NoteKind, Options, Quantity as Q, Recording, read_bytes};

fn read(text: impl AsRef<[u8]>) -> Recording {
    read_bytes("table.csv", text.as_ref(), &Options::default())
}

fn mapped(text: &str, names: &[(&str, &str)]) -> Recording {
    let column_names = names.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect();
    read_bytes("table.csv", text.as_bytes(), &Options { column_names, ..Options::default() })
}

fn values(r: &Recording, q: Q) -> (Vec<f64>, Vec<f64>) {
    let s = r.signal(q).unwrap_or_else(|| panic!("{q} missing: {:?} {:?}", r.problems, r.notes));
    (s.time_s.clone(), s.value.iter().map(|v| (v * 1e6).round() / 1e6).collect())
}

#[test]
fn regress_semicolon_decimal_comma_mark_and_crlf() {
    let text = "\u{feff}time [s];engine_speed [1/min];filter_differential_pressure [hPa]\r\n\
                0,0;800;12,5\r\n0,5;;12,6\r\n1,0;820;\r\n";
    let r = read(text);
    assert_eq!(r.format, Format::CsvWide);
    assert!(r.problems.is_empty(), "{:?}", r.problems);
    assert_eq!(values(&r, Q::EngineSpeed), (vec![0.0, 1.0], vec![800.0, 820.0]), "gaps stay gaps");
    assert_eq!(values(&r, Q::FilterDifferentialPressure), (vec![0.0, 0.5], vec![1.25, 1.26]));
    let s = r.signal(Q::FilterDifferentialPressure).unwrap();
    assert!((s.resolution - 0.01).abs() < 1e-12, "one tenth of a hPa: {}", s.resolution);
    assert_eq!((r.counts.rows, r.duration_s), (3, 1.0));
}

#[test]
fn regress_old_windows_encoding_and_utf16() {
    let text = "Zeit [s];Öltemperatur [°C]\n0,5;90,5\n1,5;91\n";
    let (old, _, _) = encoding_rs::WINDOWS_1252.encode(text);
    let utf16: Vec<u8> =
        std::iter::once(0xFEFFu16).chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    for bytes in [text.as_bytes().to_vec(), old.into_owned(), utf16.clone(), utf16[2..].to_vec()] {
        let options = Options {
            column_names: [("öltemperatur".to_owned(), "oil_temperature".to_owned())].into(),
            ..Options::default()
        };
        let r = read_bytes("t", &bytes, &options);
        assert_eq!(values(&r, Q::OilTemperature), (vec![0.0, 1.0], vec![90.5, 91.0]));
        assert!(r.problems.is_empty(), "{:?}", r.problems);
    }
}

#[test]
fn regress_units_in_a_second_header_row() {
    let r = read(
        "time,vehicle_speed,exhaust_mass_flow,barometric_pressure\ns,mph,kg/h,mbar\n0.0,60,36,1013.25\n0.1,60,72,1013.25\n",
    );
    assert!(r.problems.is_empty(), "{:?}", r.problems);
    assert_eq!(values(&r, Q::VehicleSpeed).1, [96.560_64, 96.560_64]);
    assert_eq!(values(&r, Q::ExhaustMassFlow).1, [10.0, 20.0]);
    assert_eq!(values(&r, Q::BarometricPressure).1, [101.325, 101.325]);
}

#[test]
fn regress_a_pressure_without_unit_is_a_problem_and_no_signal() {
    let r = read("time [s],filter_differential_pressure,vehicle_speed (km/h)\n0.0,12,50\n1.0,13,51\n");
    assert_eq!(r.signal(Q::FilterDifferentialPressure), None);
    assert_eq!(values(&r, Q::VehicleSpeed).1, [50.0, 51.0]);
    assert_eq!(r.problems.len(), 1);
    let p = &r.problems[0];
    assert_eq!((p.file.as_str(), p.line), ("table.csv", Some(1)));
    assert!(p.what.contains("no unit") && p.what_to_do.contains("hPa"), "{p}");
    // The caller may state it.
    let r = mapped(
        "time [s],filter_differential_pressure\n0.0,12\n1.0,13\n",
        &[("filter_differential_pressure", "filter_differential_pressure [hPa]")],
    );
    assert_eq!(values(&r, Q::FilterDifferentialPressure).1, [1.2, 1.3]);
    // But not against the table.
    let r = mapped("time [s],p [hPa]\n0.0,12\n1.0,13\n", &[("p", "filter_differential_pressure [kPa]")]);
    assert_eq!(r.signals.len(), 0);
    assert!(r.problems[0].what.contains("hPa") && r.problems[0].what.contains("kPa"), "{}", r.problems[0]);
    // An empty bracket is no unit.
    assert_eq!(read("time [s],boost_pressure []\n0.0,12\n1.0,13\n").problems.len(), 1);
}

#[test]
fn regress_one_row_a_sample() {
    let text = "timestamp,name,value,unit\n1700000000000,engine_speed,800,rpm\n1700000000100,p_dpf,12.5,mbar\n\
                1700000000200,engine_speed,810,rpm\n1700000000200,gear,3,\n";
    let r = mapped(text, &[("p_dpf", "filter_differential_pressure")]);
    assert_eq!(r.format, Format::CsvLong);
    assert_eq!(values(&r, Q::EngineSpeed), (vec![0.0, 0.2], vec![800.0, 810.0]));
    assert_eq!(values(&r, Q::FilterDifferentialPressure).1, [1.25]);
    assert_eq!(r.start_epoch_s, Some(1_700_000_000.0));
    assert!(r.notes.iter().any(|n| n.kind == NoteKind::ColumnUnused && n.source == "gear"));
    assert!(r.problems.is_empty(), "{:?}", r.problems);
}

#[test]
fn regress_clock_times_run_over_midnight() {
    let r = read("time;engine_speed [rpm]\n23:59:59,5;800\n00:00:00,5;801\n00:00:01,0;802\n");
    assert_eq!(values(&r, Q::EngineSpeed).0, [0.0, 1.0, 1.5]);
    assert_eq!(r.start_epoch_s, None);
    let r = read("Date;Time;engine_speed [rpm]\n14.11.2023;22:13:20;800\n14.11.2023;22:13:21;801\n");
    assert_eq!((r.start_epoch_s, r.duration_s), (Some(1_700_000_000.0), 1.0));
}

#[test]
fn regress_a_time_column_that_could_be_anything_is_asked_for() {
    let r = read("time,engine_speed [rpm]\n0,800\n100,801\n");
    assert_eq!(r.signals.len(), 0);
    assert!(r.problems.iter().any(|p| p.what.contains("milliseconds")), "{:?}", r.problems);
    let r = read("time [ms],engine_speed [rpm]\n0,800\n100,801\n");
    assert_eq!(values(&r, Q::EngineSpeed).0, [0.0, 0.1]);
}

#[test]
fn regress_torn_rows_lose_themselves_only() {
    let text = "time [s],engine_speed [rpm],filter_differential_pressure [kPa]\n0.0,800,1.0\n0.1,80\n0.2,\"801,1.1\n\
                0.3,802,abc\nx,803,1.3\n0.5,804,1.4\n";
    let r = read(text);
    assert_eq!(values(&r, Q::EngineSpeed), (vec![0.0, 0.3, 0.5], vec![800.0, 802.0, 804.0]));
    assert_eq!(values(&r, Q::FilterDifferentialPressure), (vec![0.0, 0.5], vec![1.0, 1.4]));
    let lines: Vec<_> = r.problems.iter().map(|p| p.line.unwrap()).collect();
    assert_eq!(lines, [3, 4, 6, 5], "{:?}", r.problems);
    assert_eq!(r.counts.lost_lines, 3);
}

#[test]
fn regress_lines_before_the_header_instances_and_states() {
    let text = "Exported by the workshop\nCar: invented\n\ntime [s]\texhaust_temperature#2 [K]\tregeneration_active\n\
                0.0\t573.15\toff\n1.0\t673.15\ton\n";
    let r = read(text);
    let s = r.signal(Q::ExhaustTemperature).unwrap();
    assert_eq!(s.instance, 2);
    assert_eq!(values(&r, Q::ExhaustTemperature).1, [300.0, 400.0]);
    assert_eq!(values(&r, Q::RegenerationActive).1, [0.0, 1.0]);
    assert!(r.problems.is_empty(), "{:?}", r.problems);
}

#[test]
fn regress_thousands_and_mixed_writing() {
    let r = read("time [s];rail_pressure [kPa];odometer [km]\n0,0;30.000,5;123.456\n1,0;31.000,5;123.457\n");
    assert_eq!(values(&r, Q::RailPressure).1, [30_000.5, 31_000.5]);
    assert_eq!(values(&r, Q::Odometer).1, [123_456.0, 123_457.0]);
}

#[test]
fn regress_last_row_without_end_is_not_trusted() {
    let r = read("time [s],engine_speed [rpm]\n0.0,800\n0.1,80");
    assert_eq!(values(&r, Q::EngineSpeed).1, [800.0]);
    assert_eq!(r.problems.len(), 1);
    assert_eq!(r.problems[0].line, Some(3));
}

#[test]
fn regress_wrong_targets_and_units_are_named() {
    let r = mapped("time [s],a,b [furlong]\n0.0,1,2\n", &[("a", "soot"), ("b", "odometer")]);
    assert_eq!(r.signals.len(), 0);
    assert!(r.problems.iter().any(|p| p.what.contains("`soot`")), "{:?}", r.problems);
    assert!(r.problems.iter().any(|p| p.what.contains("furlong")), "{:?}", r.problems);
}
