//! Simulated drives: what is written says the truth when decoded again, and the assessment runs on it.

use recording::{Options, Quantity, Recording, read_bytes};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("sootwright-simulate-{}-{name}", std::process::id()));
        std::fs::create_dir_all(&path).expect("temporary folder");
        Self(path)
    }
    fn read(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.0.join(name)).expect("the file was written")
    }
    fn text(&self, name: &str) -> String {
        String::from_utf8(self.read(name)).expect("text")
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn run(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sootwright"))
        .args(args)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .expect("the program runs")
}

/// A column of `truth.csv`, one value every tenth of a second.
fn truth(table: &str, column: &str) -> Vec<f64> {
    let mut lines = table.lines().filter(|l| !l.starts_with('#'));
    let header = lines.next().expect("a header");
    let at = header.split(',').position(|c| c.starts_with(column)).expect("the column is there");
    lines.map(|l| l.split(',').nth(at).and_then(|v| v.parse().ok()).unwrap_or(f64::NAN)).collect()
}

/// Seconds between the start of the drive and the first frame of a candump text.
fn first_frame(text: &str) -> f64 {
    let line = text.lines().find(|l| l.starts_with('(')).expect("a frame");
    let stamp: f64 = line[1..].split(')').next().and_then(|t| t.parse().ok()).expect("a time");
    stamp - 1_940_000_000.0
}

/// Every decoded value lies within half a count of what the controller held when it was sent.
fn follows(recording: &Recording, quantity: Quantity, held: &[f64], offset: f64, count: f64) {
    let signal = recording.signal(quantity).unwrap_or_else(|| panic!("{quantity:?} is missing"));
    assert!(signal.value.len() > 50, "{quantity:?}: {} values", signal.value.len());
    for (t, value) in signal.time_s.iter().zip(&signal.value) {
        // (The table holds three digits.) An answer takes up to a few hundredths of a second: the step before may have been sampled.
        let step = ((t + offset) * 10.0 + 1e-6).floor() as usize;
        let near = [step, step.saturating_sub(1)];
        let best = near.iter().filter_map(|&i| held.get(i)).map(|h| (h - value).abs()).fold(1e9, f64::min);
        assert!(best <= 0.5 * count + 6e-4, "{quantity:?} at {t} s: {value}, off by {best}");
    }
}

#[test]
fn property_decoding_what_was_written_gives_the_truth_within_one_count() {
    let folder = Folder::new("round-trip");
    let args = [
        "simulate",
        "drive",
        "--out",
        ".",
        "--seed",
        "11",
        "--soot",
        "4.5",
        "--ash",
        "18",
        "--zero",
        "0.3",
        "--road",
        "road",
        "--minutes",
        "5",
        "--write",
        "obd",
        "--write",
        "j1939",
        "--write",
        "csv",
    ];
    let out = run(&folder.0, &args);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let told = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(told.contains("4.5 g/L") && told.contains("0.30 kPa") && told.contains("case.toml"), "{told}");
    let table = folder.text("truth.csv");
    let drop = truth(&table, "shown_differential_pressure");
    let speed = truth(&table, "shown_engine_speed");
    let before = truth(&table, "shown_temperature_before");
    let flow = truth(&table, "shown_air_mass_flow");
    for name in ["obd.log", "j1939.log", "table.csv"] {
        let bytes = folder.read(name);
        let recording = read_bytes(name, &bytes, &Options::default());
        assert!(recording.problems.is_empty(), "{name}: {:?}", recording.problems);
        let head = String::from_utf8_lossy(&bytes[..200]).into_owned();
        assert!(head.contains(env!("CARGO_PKG_VERSION")) && head.contains("seed 11"), "{name}: {head}");
        let offset = if name == "table.csv" { 0.0 } else { first_frame(&folder.text(name)) };
        // One count: OBD (SAE J1979 PIDs 7A, 0C, 7C), J1939 (SPN 3251, 190, 3242), table as printed.
        let (d, n, t) = match name {
            "obd.log" => (0.01, 0.25, 0.1),
            "j1939.log" => (0.1, 0.125, 0.031_25),
            _ => (0.01, 1.0, 0.1),
        };
        follows(&recording, Quantity::FilterDifferentialPressure, &drop, offset, d);
        follows(&recording, Quantity::EngineSpeed, &speed, offset, n);
        follows(&recording, Quantity::FilterInletTemperature, &before, offset, t);
        if name == "table.csv" {
            follows(&recording, Quantity::IntakeAirMassFlow, &flow, offset, 0.01);
        }
    }
    // The state that the truth file names is the one ordered, and the shown pressure is zero plus gain times it.
    let state: serde_json::Value = serde_json::from_slice(&folder.read("truth.json")).expect("JSON");
    assert_eq!(state["soot_load_g_per_l"], 4.5);
    assert_eq!(state["seed"], 11);
    let standing: Vec<f64> = drop.iter().take(80).copied().collect();
    let mean = standing.iter().sum::<f64>() / standing.len() as f64;
    assert!((mean - 0.3).abs() < 0.03, "{mean}");
}

#[test]
fn property_the_case_of_a_simulated_drive_is_assessed_at_once() {
    let folder = Folder::new("assess");
    for (seed, extra) in [("1", &["--fault", "hoses_swapped"][..]), ("2", &["--heavy", "--cold"][..])] {
        let mut args = vec!["simulate", "drive", "--out", seed, "--seed", seed, "--minutes", "6"];
        args.extend(extra);
        let out = run(&folder.0, &args);
        assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
        let out = run(&folder.0, &["assess", &format!("{seed}/case.toml"), "--json"]);
        assert!(matches!(out.status.code(), Some(0 | 3)), "{}", String::from_utf8_lossy(&out.stderr));
        let answer: serde_json::Value = serde_json::from_slice(&out.stdout).expect("JSON");
        assert!(answer["problems"].as_array().is_none_or(Vec::is_empty), "{}", answer["problems"]);
    }
}

#[test]
fn property_a_trace_of_ones_own_is_driven() {
    let folder = Folder::new("trace");
    std::fs::write(folder.0.join("trace.csv"), "time [s],speed [m/s]\n0,0\n20,15\n80,15\n100,0\n110,0\n")
        .expect("temporary file");
    let out = run(&folder.0, &["simulate", "drive", "--trace", "trace.csv", "--key-on", "5", "--out", "."]);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let speed = truth(&folder.text("truth.csv"), "true_vehicle_speed");
    assert_eq!(speed.len(), 50 + 1101);
    assert!((speed[50 + 500] - 54.0).abs() < 1e-6, "{}", speed[550]);
}

#[test]
fn property_bad_orders_say_what_to_do() {
    let folder = Folder::new("bad");
    std::fs::write(folder.0.join("trace.csv"), "time [s],speed [km/h]\n0,0\n1,150\n20,50\n")
        .expect("temporary file");
    for (args, code, says) in [
        (&["--fault", "nonsense"][..], 2, "hose_leaking"),
        (&["--soot=-1"][..], 2, "0 to 40 g/L"),
        (&["--trace", "none.csv"][..], 1, "none.csv"),
        (&["--trace", "trace.csv"][..], 2, "m/s2"),
    ] {
        let out = run(&folder.0, &[&["simulate", "drive", "--out", "x"][..], args].concat());
        let text = String::from_utf8_lossy(&out.stderr).into_owned();
        assert_eq!(out.status.code(), Some(code), "{args:?}: {text}");
        assert!(text.contains(says), "{args:?}: {text}");
    }
    assert!(!folder.0.join("x").exists());
}
