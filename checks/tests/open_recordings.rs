//! The open recordings, end to end: bytes to signals, and signals to an answer.
//!
//! They are other people's recordings (sources and licences stand in the README beside them) and not part
//! of this repository. What is expected of them was worked out with python-can 4.6.1 and cantools 45.1.0
//! (`checks/python/bus.py` compares every value).

use checks::case_folder::{CaseFolder, faults_of_form};
use checks::open_recordings::{CANDUMP, folder};
use facts::case::Case;
use facts::{FaultId, Knowledge, load_case};
use recording::{Options, Quantity, Recording, read_path};
use std::path::Path;

/// The folder, or none after saying that the test is skipped.
macro_rules! bus {
    () => {
        match folder() {
            Ok(folder) => folder,
            Err(skipped) => {
                eprintln!("{skipped}");
                return;
            }
        }
    };
}

fn read(folder: &Path, name: &str) -> Recording {
    read_path(&folder.join(name), &Options::default()).expect("the recording is there")
}

fn case(text: &str) -> Case {
    load_case(text, "test").expect("a valid case")
}

/// A case around one open recording.
fn around(folder: &Path, facts: &str, file: &str) -> CaseFolder {
    let text = format!("schema = \"sootwright.case/1\"\n{facts}\n[[recording]]\nfile = \"{file}\"\n");
    CaseFolder::with_recordings(case(&text), folder)
}

const TRUCK: &str = "[car]\ncategory = \"N3\"\ndisplacement_l = 12.8\nodometer_km = 310000\n";
const CAR: &str = "[car]\ncategory = \"M1\"\ndisplacement_l = 2.0\nodometer_km = 88000\n";

#[test]
fn reference_truck_at_idle() {
    let recording = read(&bus!(), "truck-j1939-idle.log");
    assert_eq!(recording.counts.frames, 45_571);
    assert!((recording.duration_s - 127.2).abs() < 0.1, "{}", recording.duration_s);
    let range = |quantity| {
        let signal = recording.signal(quantity).expect("the truck sends it");
        let low = signal.value.iter().copied().fold(f64::INFINITY, f64::min);
        let high = signal.value.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (low, high)
    };
    assert_eq!(range(Quantity::EngineSpeed), (646.5, 653.75));
    let near = |(low, high): (f64, f64), (l, h): (f64, f64)| {
        assert!((low - l).abs() < 0.01 && (high - h).abs() < 0.01, "{low} {high} for {l} {h}");
    };
    near(range(Quantity::FilterDifferentialPressure), (0.2, 0.2));
    near(range(Quantity::IntakeAirMassFlow), (96.35 / 3.6, 106.25 / 3.6));
    near(range(Quantity::FuelVolumeRate), (2.45, 2.85));
    near(range(Quantity::FilterOutletTemperature), (108.28, 108.59));
    let mut codes: Vec<_> = recording.trouble_codes.iter().map(|c| c.code.as_str()).collect();
    codes.sort_unstable();
    assert_eq!(codes, ["SPN 3216 FMI 20", "SPN 609 FMI 12", "SPN 609 FMI 9", "SPN 980 FMI 9"]);
}

#[test]
fn reference_identification_number_over_several_frames() {
    let recording = read(&bus!(), "obd-request-response.log");
    // The sample number printed in 49 CFR 565, put in place of the car's own.
    assert_eq!(recording.vin.as_deref(), Some("1G4AH59H45G118341"));
}

#[test]
fn regress_every_recording_is_read_without_a_lost_line() {
    let folder = bus!();
    for name in CANDUMP {
        let recording = read(&folder, name);
        assert_eq!(recording.counts.lost_lines, 0, "{name}");
        assert!(recording.counts.frames >= 400, "{name}");
        for signal in &recording.signals {
            assert_eq!(signal.time_s.len(), signal.value.len(), "{name} {}", signal.source);
            assert!(signal.value.iter().all(|v| v.is_finite()), "{name} {}", signal.source);
            assert!(signal.time_s.windows(2).all(|w| w[0] <= w[1]), "{name} {}", signal.source);
        }
    }
}

#[test]
fn reference_other_containers_hold_what_the_log_holds() {
    // The same traffic, written by other programs as ASC, BLF and MDF 4.
    let folder = bus!();
    for (name, log) in [
        ("container-400.asc", "container-400.log"),
        ("container-400.blf", "container-400.log"),
        ("isotp-multiframe.mf4", "isotp-multiframe.log"),
        ("j1939-tp-reagent.mf4", "j1939-tp-reagent.log"),
    ] {
        let (recording, text) = (read(&folder, name), read(&folder, log));
        assert_eq!(recording.counts.frames, text.counts.frames, "{name}");
        // Each container names the second bus in its own way, so sources are not compared.
        let same = recording.signals.iter().zip(&text.signals);
        assert_eq!(recording.signals.len(), text.signals.len(), "{name}");
        assert!(same.clone().all(|(a, b)| a.quantity == b.quantity && a.value == b.value), "{name}");
    }
}

#[test]
fn analytic_idle_truck_cannot_tell_soot() {
    // Its pressure shows two counts of 0.1 kPa and never moves: idle flow, one value, unknown zero.
    let folder = bus!();
    let car = around(&folder, TRUCK, "truck-j1939-idle.log");
    let answer = car.assess(Knowledge::built_in());
    assert_eq!(faults_of_form(&answer), [""; 0]);
    assert!(!answer.filter.soot_load_g_per_l.told, "{:?}", answer.filter.soot_load_g_per_l);
    assert!(!answer.filter.soot_mass_g.told, "{:?}", answer.filter.soot_mass_g);
    assert!(!answer.cannot_tell.is_empty(), "an open question must be named");
}

#[test]
fn analytic_no_pressure_no_soot() {
    // Petrol cars without a filter sensor: nothing in these recordings speaks about soot.
    let folder = bus!();
    for name in ["obd-request-response.log", "obd-drive-responses.log", "isotp-multiframe.log"] {
        let answer = around(&folder, CAR, name).assess(Knowledge::built_in());
        assert_eq!(faults_of_form(&answer), [""; 0], "{name}");
        assert!(!answer.filter.soot_load_g_per_l.told, "{name}: {:?}", answer.filter.soot_load_g_per_l);
        assert!(!answer.filter.zero_kpa.told, "{name}: {:?}", answer.filter.zero_kpa);
        let surest = answer.faults.iter().find(|(f, _)| f.is_some_and(is_pressure_fault));
        assert!(surest.is_none_or(|(_, p)| *p < 0.5), "{name}: {surest:?}");
    }
}

/// Faults that only a pressure reading can show.
fn is_pressure_fault(fault: FaultId) -> bool {
    use FaultId::*;
    matches!(
        fault,
        ZeroError
            | HoseOffUpstream
            | HoseOffDownstream
            | HosesSwapped
            | HoseLeaking
            | HoseBlocked
            | SensorFrozen
            | SubstrateCracked
    )
}

#[test]
fn regress_every_recording_is_assessed() {
    let folder = bus!();
    for name in CANDUMP {
        let facts = if name.contains("obd") || name.contains("isotp") { CAR } else { TRUCK };
        let answer = around(&folder, facts, name).assess(Knowledge::built_in());
        assert_eq!(faults_of_form(&answer), [""; 0], "{name}");
    }
}
