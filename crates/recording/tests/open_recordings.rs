//! The open recordings (MIT; see the README beside them) read from end to end. Expected figures: python-can 4.6.1
//! with cantools 45.1.0, not-available values masked (rows `file-...` of `checks/data/bus-checks.jsonl`).
#![allow(clippy::unwrap_used, reason = "a test may stop here")]

use recording::{CodeMemory, Format, NoteKind, Options, Quantity, Recording, Signal, read_bytes, read_path};
use std::path::PathBuf;

/// The folder of recordings, or `None` when it does not lie beside the checkout.
fn folder() -> Option<PathBuf> {
    let base = std::env::var_os("SOOTWRIGHT_SHARED").map_or_else(
        || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../../../shared")),
        PathBuf::from,
    );
    let folder = base.join("data/bus");
    if folder.is_dir() {
        return Some(folder);
    }
    assert!(
        std::env::var("SOOTWRIGHT_REQUIRE_SHARED").as_deref() != Ok("1"),
        "the shared recordings are required and not beside the checkout"
    );
    println!("skipped: the shared recordings are not beside the checkout");
    None
}

fn open(name: &str) -> Option<Recording> {
    let recording = read_path(&folder()?.join(name), &Options::default()).unwrap();
    println!("{name}: {:?}", recording.counts);
    Some(recording)
}

fn mean(s: &Signal) -> f64 {
    s.value.iter().sum::<f64>() / s.value.len() as f64
}

fn low(s: &Signal) -> f64 {
    s.value.iter().copied().fold(f64::INFINITY, f64::min)
}

fn high(s: &Signal) -> f64 {
    s.value.iter().copied().fold(f64::NEG_INFINITY, f64::max)
}

fn figures(r: &Recording, q: Quantity, instance: u8, n: usize, lowest: f64, highest: f64, average: f64) {
    let s = r.signals_of(q).find(|s| s.instance == instance).unwrap_or_else(|| panic!("{q} is missing"));
    assert_eq!(s.value.len(), n, "{q}");
    assert!((low(s) - lowest).abs() < 1e-6, "{q}: low {} {lowest}", low(s));
    assert!((high(s) - highest).abs() < 1e-6, "{q}: high {} {highest}", high(s));
    assert!((mean(s) - average).abs() < 6e-5 * average.abs().max(1.0), "{q}: mean {} {average}", mean(s));
}

#[test]
fn reference_truck_at_idle() {
    let Some(r) = open("truck-j1939-idle.log") else { return };
    assert_eq!(r.format, Format::CandumpCompact);
    assert_eq!((r.counts.frames, r.counts.ids), (45_571, 45));
    assert!((r.duration_s - 127.2).abs() < 0.05, "{}", r.duration_s);
    assert!((r.start_epoch_s.unwrap() - 1_635_188_455.020_85).abs() < 1e-5);
    use Quantity as Q;
    figures(&r, Q::FilterDifferentialPressure, 1, 255, 0.2, 0.2, 0.2);
    figures(&r, Q::FilterInletPressure, 1, 255, 0.2, 0.5, 0.4627);
    figures(&r, Q::FilterOutletPressure, 1, 255, 0.2, 0.2, 0.2);
    figures(&r, Q::FilterOutletTemperature, 1, 252, 108.28125, 108.59375, 108.3952);
    figures(&r, Q::EngineSpeed, 0, 12719, 646.5, 653.75, 650.0486);
    figures(&r, Q::IntakeAirMassFlow, 0, 2544, 96.35 / 3.6, 106.25 / 3.6, 100.6395 / 3.6);
    figures(&r, Q::FuelVolumeRate, 0, 1272, 2.45, 2.85, 2.6612);
    let exhaust = r.signal(Q::ExhaustMassFlow).unwrap();
    assert!((low(exhaust) - 98.2 / 3.6).abs() < 1e-9 && (high(exhaust) - 108.6 / 3.6).abs() < 1e-9);
    assert!((r.signal(Q::FilterDifferentialPressure).unwrap().resolution - 0.1).abs() < 1e-12);
    assert_eq!(r.signal(Q::FilterMiddleTemperature), None, "FFFF is no temperature");
    // BAM, 127 times in the file.
    let codes: Vec<(&str, Option<u8>, u64)> = r
        .trouble_codes
        .iter()
        .filter(|c| c.memory == CodeMemory::Active && c.source == "SA 00")
        .map(|c| (c.code.as_str(), c.occurrences, c.reports))
        .collect();
    let expected = [
        ("SPN 980 FMI 9", Some(126)),
        ("SPN 3216 FMI 20", Some(2)),
        ("SPN 609 FMI 9", Some(1)),
        ("SPN 609 FMI 12", Some(3)),
    ];
    assert_eq!(codes.iter().map(|c| (c.0, c.1)).collect::<Vec<_>>(), expected);
    assert!(codes.iter().all(|c| (126..=127).contains(&c.2)), "{codes:?}");
    for problem in &r.problems {
        println!("{problem}");
    }
    assert!(r.problems.len() <= 2, "only transfers cut by the ends of the recording: {:?}", r.problems);
}

#[test]
fn reference_requests_and_responses_of_a_drive() {
    let Some(r) = open("obd-request-response.log") else { return };
    assert_eq!((r.counts.frames, r.counts.ids), (15_302, 2));
    // 49 CFR 565 sample number, put in place of the real one.
    assert_eq!(r.vin.as_deref(), Some("1G4AH59H45G118341"));
    let mut parameters: Vec<&str> = r.signals.iter().map(|s| s.source.as_str()).collect();
    parameters.dedup();
    println!("{parameters:?}");
    let speed = r.signal(Quantity::VehicleSpeed).unwrap();
    assert_eq!(high(speed), 86.0);
    assert_eq!(speed.value.len(), 273);
    assert_eq!(speed.source, "7E8 01 0D");
    assert!(r.trouble_codes.is_empty());
    assert!(
        r.notes.iter().any(|n| n.kind == NoteKind::FaultMemoryRead && n.text.contains("0 trouble codes"))
    );
    assert!(r.notes.iter().any(|n| n.text.contains("spark ignition")), "PID 01 byte B bit 3 is 0");
    assert!(r.notes.iter().all(|n| n.kind != NoteKind::ChangingRequest));
    for problem in &r.problems {
        println!("{problem}");
    }
    assert!(r.problems.is_empty(), "{:?}", r.problems);
}

#[test]
fn reference_responses_of_a_drive() {
    let Some(r) = open("obd-drive-responses.log") else { return };
    assert_eq!(r.counts.frames, 7_259);
    let of = |q| r.signal(q).unwrap();
    for (q, n, lowest, highest) in [
        (Quantity::EngineSpeed, Some(1200), 931.5, 2892.0),
        (Quantity::VehicleSpeed, Some(1200), 21.0, 85.0),
        (Quantity::IntakeManifoldPressure, Some(1200), 23.0, 199.0),
        (Quantity::CoolantTemperature, None, 88.0, 98.0),
    ] {
        let s = of(q);
        assert!(n.is_none_or(|n| n == s.value.len()), "{q}: {}", s.value.len());
        assert_eq!((low(s), high(s)), (lowest, highest), "{q}");
    }
    assert!(r.problems.is_empty(), "{:?}", r.problems);
}

#[test]
fn reference_long_answers_of_a_battery_car() {
    let Some(r) = open("isotp-multiframe.log") else { return };
    assert_eq!(r.counts.frames, 2010);
    // Counted in the text: 150 first frames on 7BB with 5 followers each; 150 on 7EC, of which 120 have 8 followers
    // and the last 30 have none.
    let raw: Vec<_> = r.notes.iter().filter(|n| n.kind == NoteKind::RawData).collect();
    println!("{raw:#?}");
    assert!(raw.iter().any(|n| n.source == "7BB") && raw.iter().any(|n| n.source == "7EC"));
    assert_eq!((r.counts.messages, r.counts.transport_errors), (270, 29));
    assert_eq!(r.problems.len(), 30, "29 broken off and one unfinished at the end");
    assert_eq!(r.problems[0].line, Some(1784));
    assert!(r.problems[0].what.contains("7EC: transfer broken off"), "{}", r.problems[0]);
    assert!(r.problems[29].what.contains("unfinished at the end"), "{}", r.problems[29]);
}

#[test]
fn reference_broadcast_transport_with_reagent() {
    let Some(r) = open("j1939-tp-reagent.log") else { return };
    for s in &r.signals {
        println!("{} {} {} n {} {}..{}", s.quantity, s.instance, s.source, s.value.len(), low(s), high(s));
    }
    // In the text: 18FE56A3 starts with FF (level not available); 18FD9BA3 with 4D or 4E (37, 38 degC), 81 or 82
    // (32.25, 32.5 %); 16 announcements of 65251 with all their packets.
    assert_eq!(r.signal(Quantity::ReagentLevel), None);
    let concentration = r.signal(Quantity::ReagentConcentration).unwrap();
    assert_eq!((low(concentration), high(concentration)), (32.25, 32.5));
    assert_eq!(r.counts.messages, 16);
    for problem in &r.problems {
        println!("{problem}");
    }
    // Group 65260 holds 28 characters here, which is no identification number.
    assert_eq!(r.problems.len(), 1, "{:?}", r.problems);
    assert!(r.vin.is_none() && r.problems[0].what.contains("identification number"));
}

#[test]
fn reference_speed_tables() {
    let Some(folder) = folder() else { return };
    let options = Options {
        column_names: [("speed_km_h".to_owned(), "vehicle_speed [km/h]".to_owned())].into(),
        ..Options::default()
    };
    for (name, sum) in [("wltc-class3a-speed.csv", 83_496.9), ("wltc-class3b-speed.csv", 83_758.6)] {
        for options in [&options, &Options::default()] {
            let r = read_path(&folder.join(name), options).unwrap();
            assert_eq!(r.format, Format::CsvWide);
            let speed = r.signal(Quantity::VehicleSpeed).unwrap_or_else(|| panic!("{r:?}"));
            assert_eq!(speed.value.len(), 1801, "{:?}", r.problems);
            assert!((speed.value.iter().sum::<f64>() - sum).abs() < 0.05, "{name}");
            assert_eq!(high(speed), 131.3);
            assert_eq!((r.duration_s, r.start_epoch_s), (1800.0, None));
        }
    }
}

/// Cut at every byte: the frames before the cut, and one problem at most.
#[test]
fn property_cut_at_every_byte_loses_the_cut_line_only() {
    let Some(folder) = folder() else { return };
    for name in ["container-400.log", "j1939-tp-reagent.log", "isotp-multiframe.log"] {
        let whole = std::fs::read(folder.join(name)).unwrap();
        // A piece from the middle that holds transfers; cut at a line end.
        let from = if name == "container-400.log" { 0 } else { whole.len() / 3 };
        let from = from + whole[from..].iter().position(|b| *b == b'\n').unwrap() + 1;
        let piece = &whole[from..(from + 6000).min(whole.len())];
        let base = read_bytes(
            name,
            &piece[..piece.iter().rposition(|b| *b == b'\n').unwrap() + 1],
            &Options::default(),
        );
        let other: Vec<String> = base.problems.iter().map(|p| p.what.clone()).collect();
        for cut in 0..piece.len() {
            let part = &piece[..cut];
            let r = read_bytes(name, part, &Options::default());
            let lines = part.iter().filter(|b| **b == b'\n').count() as u64;
            assert!((lines..=lines + 1).contains(&r.counts.frames), "{name} {cut}: {:?}", r.counts);
            // Problems the piece has from its own beginning do not count.
            let new: Vec<_> = r.problems.iter().filter(|p| !other.contains(&p.what)).collect();
            assert!(new.len() <= 1, "{name} {cut}: {new:?}");
        }
    }
}
