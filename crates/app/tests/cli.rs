//! The built program as a person or another program meets it: exit codes, places of faults, formats.

use serde_json::Value;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};

/// A folder of one test's own, removed at its end.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let name = format!("sootwright-{}-{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
        let path = std::env::temp_dir().join(name);
        std::fs::create_dir_all(&path).expect("temporary folder");
        Self(path)
    }
    fn write(&self, name: &str, text: &str) -> PathBuf {
        let path = self.0.join(name);
        std::fs::write(&path, text).expect("temporary file");
        path
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_sootwright"))
}

fn run(args: &[&str]) -> Output {
    program().args(args).stdin(Stdio::null()).output().expect("the program runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn as_str(path: &Path) -> &str {
    path.to_str().expect("path is text")
}

/// Three typed readings, a weighing and little else.
const CASE: &str = r#"schema = "sootwright.case/1"
title = "three readings & a <weighing>"
[car]
category = "M1"
displacement_l = 1.6
odometer_km = 163400
consumption_l_per_100km = 6.1
[filter]
material = "silicon_carbide"
[reservoir]
kind = "pouch"
capacity_l = 2.0
tare_g = 214
density_kg_per_m3 = 880
dose_ml_per_l = 0.2
[[reading]]
point = "key_on"
quantity = "differential_pressure"
value = 0.08
unit = "kPa"
[[reading]]
point = "hot_idle"
quantity = "differential_pressure"
value = 0.52
unit = "kPa"
[[reading]]
point = "held"
engine_speed_rpm = 2500
quantity = "differential_pressure"
value = 17.4
unit = "hPa"
[[reservoir_weighed]]
gross_g = 1186
resolution_g = 1
[[refill]]
odometer_km = 120000
volume_l = 2.0
full = true
"#;

fn schema() -> Value {
    let out = run(&["schema", "assessment"]);
    assert_eq!(out.status.code(), Some(0));
    serde_json::from_slice(&out.stdout).expect("the schema is JSON")
}

fn assert_valid(answer: &Value) {
    let validator = jsonschema::validator_for(&schema()).expect("the schema is a schema");
    let faults: Vec<String> =
        validator.iter_errors(answer).map(|e| format!("{}: {e}", e.instance_path())).collect();
    assert!(faults.is_empty(), "{faults:#?}");
}

fn sum(list: &Value) -> f64 {
    list.as_array().expect("a list").iter().map(|f| f["probability"].as_f64().expect("a number")).sum()
}

#[test]
fn regress_schema_of_the_answer_is_the_one_committed() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../schema/assessment.schema.json");
    let now = text(&run(&["schema", "assessment"]).stdout);
    if std::env::var_os("UPDATE_SCHEMA").is_some() {
        std::fs::write(&path, &now).expect("schema is written");
    }
    let committed = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        committed == now,
        "schema/assessment.schema.json is not current; run with UPDATE_SCHEMA=1 and look at it"
    );
}

#[test]
fn regress_schema_of_the_case_is_json() {
    let out = run(&["schema", "case"]);
    let schema: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    assert_eq!(schema["$id"], "sootwright.case/1");
}

#[test]
fn regress_answer_holds_what_other_programs_count_on() {
    let folder = Folder::new();
    let case = folder.write("case.toml", CASE);
    let out = run(&["assess", as_str(&case), "--json"]);
    assert!(matches!(out.status.code(), Some(0 | 3)), "{}", text(&out.stderr));
    let a: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    assert_valid(&a);
    assert_eq!(a["schema"], "sootwright.assessment/1");
    assert_eq!(a["program"]["name"], "sootwright");
    for key in [
        "/filter/soot_mass_g",
        "/filter/soot_load_g_per_l",
        "/filter/ash_mass_g",
        "/filter/zero_kpa",
        "/filter/standard_pressure_drop_kpa",
        "/filter/standard_pressure_drop_as_new_kpa",
        "/filter/ratio_to_as_new",
        "/additive/left_l",
        "/additive/used_l",
        "/additive/expected_used_l",
    ] {
        let e = a.pointer(key).unwrap_or_else(|| panic!("no {key}"));
        let [low, mid, high] =
            ["p05", "p50", "p95"].map(|q| e[q].as_f64().unwrap_or_else(|| panic!("{key}/{q}")));
        assert!(low <= mid && mid <= high && e["told"].is_boolean(), "{key}: {e}");
    }
    assert!((sum(&a["fault_sets"]) - 1.0).abs() < 1e-6);
    assert!((sum(&a["additive_faults"]) - 1.0).abs() < 1e-6);
    let faults = a["faults"].as_array().expect("faults");
    for id in ["none", "zero_error", "hose_off_upstream", "ash_full", "additive_leak", "counter_not_reset"] {
        let fault = faults.iter().find(|f| f["id"] == id).unwrap_or_else(|| panic!("no fault {id}"));
        assert!(fault["magnitude"].as_str().is_some_and(|m| !m.is_empty() || id == "none"), "{id}");
    }
    for i in a["inputs"].as_array().expect("inputs") {
        assert_eq!(i["blake3"].as_str().map(str::len), Some(64), "{i}");
    }
    for q in a["cannot_tell"].as_array().expect("questions") {
        assert!(
            !q["question"].as_str().unwrap_or("").is_empty()
                && !q["reason"].as_str().unwrap_or("").is_empty()
        );
    }
    // No identifier of a message may reach a reader, and the answer always carries cautions.
    assert!(!a.to_string().contains("\"["), "{a}");
    assert!(!a["cautions"].as_array().expect("cautions").is_empty());
}

#[test]
fn regress_text_says_first_what_it_is_and_never_an_identifier() {
    let folder = Folder::new();
    let case = folder.write("case.toml", CASE);
    let out = run(&["assess", as_str(&case)]);
    let said = text(&out.stdout);
    assert!(said.contains("Figures") && said.contains("Cautions") && said.contains("kPa"), "{said}");
    assert!(!said.contains('[') && !said.contains('\u{1b}'), "{said}");
    let place = |what: &str| said.find(what).unwrap_or_else(|| panic!("no {what:?} in {said}"));
    assert!(place("Figures") < place("Cautions"));
}

#[test]
fn regress_report_is_one_file_with_nothing_outside_itself() {
    let folder = Folder::new();
    let case = folder.write("case.toml", CASE);
    let report = folder.0.join("deep/report.html");
    let out = run(&["assess", as_str(&case), "--report", as_str(&report)]);
    assert!(matches!(out.status.code(), Some(0 | 3)), "{}", text(&out.stderr));
    let page = std::fs::read_to_string(&report).expect("the report is there");
    for outside in ["http:", "https:", "src=", "@import", "<script", "<link", "url(\"", "url('"] {
        assert!(!page.contains(outside), "the report holds {outside}");
    }
    assert!(page.contains("three readings &amp; a &lt;weighing&gt;"), "text of the case is escaped");
    assert!(page.contains("role=\"img\"") && page.contains("aria-label"));
    assert!(page.contains(&blake3::hash(CASE.as_bytes()).to_hex().to_string()), "inputs by hash");
}

#[test]
fn regress_refusal_names_file_line_and_what_to_do() {
    let folder = Folder::new();
    let case = folder.write("bad.toml", &CASE.replace("odometer_km = 163400", "odometr_km = 163400"));
    let out = run(&["assess", as_str(&case)]);
    assert_eq!(out.status.code(), Some(1));
    let said = text(&out.stderr);
    assert!(said.contains("bad.toml:6:") && said.contains("odometer_km"), "{said}");
    assert!(out.stdout.is_empty());
}

#[test]
fn regress_exit_codes() {
    let folder = Folder::new();
    assert_eq!(run(&["assess", "nowhere/at/all.toml"]).status.code(), Some(1));
    assert_eq!(run(&["assess"]).status.code(), Some(2));
    assert_eq!(run(&["no-such-command"]).status.code(), Some(2));
    assert_eq!(run(&["--help"]).status.code(), Some(0));
    let bytes = folder.0.join("latin.toml");
    std::fs::write(&bytes, b"schema = \"sootwright.case/1\"\ntitle = \"caf\xe9\"\n").expect("file");
    let out = run(&["assess", as_str(&bytes)]);
    assert_eq!(out.status.code(), Some(1));
    assert!(text(&out.stderr).contains("latin.toml:2"), "{}", text(&out.stderr));
    // A case that says nothing: neither soot nor the fault set can be told.
    let empty = folder.write("empty.toml", "schema = \"sootwright.case/1\"\n");
    let out = run(&["assess", as_str(&empty)]);
    assert_eq!(out.status.code(), Some(3), "{}", text(&out.stdout));
    assert!(text(&out.stdout).contains("annot tell"));
}

#[test]
fn regress_unreadable_recording_is_a_problem_not_a_refusal() {
    let folder = Folder::new();
    let case = folder.write("case.toml", &format!("{CASE}\n[[recording]]\nfile = \"gone.log\"\n"));
    let out = run(&["assess", as_str(&case), "--json"]);
    assert!(matches!(out.status.code(), Some(0 | 3)), "{}", text(&out.stderr));
    let a: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    let problems = a["problems"].to_string();
    assert!(problems.contains("gone.log"), "{problems}");
}

#[test]
fn regress_broken_pipe_ends_quietly() {
    let folder = Folder::new();
    let case = folder.write("case.toml", CASE);
    let mut child = program()
        .args(["assess", as_str(&case), "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program runs");
    drop(child.stdout.take());
    let mut said = String::new();
    child.stderr.take().expect("errors").read_to_string(&mut said).expect("text");
    let status = child.wait().expect("it ends");
    assert_eq!((status.code(), said.as_str()), (Some(0), ""));
}

#[test]
fn regress_decode_lists_what_is_inside_and_where_it_is_torn() {
    let folder = Folder::new();
    let log = "(0.0) can0 7E0#02017A5555555555\n(0.1) can0 7E8#1009417A01001900\n(0.2) can0 7E8#2100000055555555\n\
               (0.3) can0 7E8#03410\n(0.4) can0 7E8#03410D3255555555\n";
    let path = folder.write("drive.log", log);
    let out = run(&["decode", as_str(&path), "--json"]);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let a: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    let r = &a["recordings"][0];
    assert_eq!(r["counts"]["frames"], 4);
    let names: Vec<_> = r["signals"].as_array().expect("signals").iter().map(|s| s["name"].clone()).collect();
    assert!(names.contains(&Value::from("filter_differential_pressure")), "{names:?}");
    assert!(r["problems"].as_array().expect("problems").iter().any(|p| p["line"] == 4), "{}", r["problems"]);
    let said = text(&run(&["decode", as_str(&path)]).stdout);
    assert!(said.contains("filter differential pressure") && said.contains("drive.log:4"), "{said}");
    // One file that is not there is refused, the other is still listed.
    let out = run(&["decode", "not-there.log", as_str(&path)]);
    assert_eq!(out.status.code(), Some(1));
    assert!(text(&out.stderr).contains("not-there.log") && text(&out.stdout).contains("drive.log"));
}

#[test]
fn regress_decode_writes_rows_of_what_was_asked_for() {
    let folder = Folder::new();
    let log = "(0.0) can0 7E8#03410D30\n(1.0) can0 7E8#03410D31\n(1.5) can0 7E8#04410C0C80\n(2.0) can0 7E8#03410D32\n";
    let path = folder.write("drive.log", log);
    let rows = |more: &[&str]| {
        let mut args = vec!["decode", as_str(&path), "--rows"];
        args.extend_from_slice(more);
        let out = run(&args);
        assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
        text(&out.stdout)
    };
    let csv = rows(&["csv", "--signal", "Vehicle Speed", "--from", "0.5", "--to", "1.9"]);
    let lines: Vec<&str> = csv.lines().collect();
    assert_eq!(lines.len(), 2, "{csv}");
    assert_eq!(lines[0], "file,source,signal,instance,unit,time_s,value");
    assert!(lines[1].ends_with("7E8 01 0D,vehicle_speed,0,km/h,1,49"), "{csv}");
    let json = rows(&["json-lines"]);
    let all: Vec<Value> = json.lines().map(|l| serde_json::from_str(l).expect("JSON")).collect();
    assert_eq!(all.len(), 4);
    assert!(all.iter().any(|r| r["signal"] == "engine_speed" && r["value"] == 800.0), "{json}");
    // A folder stands for its files; each gets its own file.
    let out = folder.0.join("rows");
    let done = run(&["decode", as_str(&folder.0), "--rows", "csv", "--out", as_str(&out)]);
    assert!(done.status.code() == Some(0) && out.join("drive.log.csv").is_file() || out.is_file());
}

/// The options of a recorder go together; without a way to a vehicle nothing is written.
#[test]
fn regress_record_takes_its_options_together_and_leaves_no_empty_file() {
    let folder = Folder::new();
    let out = folder.0.join("new.log");
    let args =
        ["record", "--serial", "/not/there", "--seconds", "1", "--out", as_str(&out), "--baud", "9600"];
    let done = run(&args);
    let said = text(&done.stderr);
    assert_eq!(done.status.code(), Some(1), "{said}");
    assert!(said.contains("/not/there"), "{said}");
    assert!(!out.exists());
    for wrong in
        [["record", "--seconds", "1"].as_slice(), &["record", "--serial", "/x", "--interface", "can0"]]
    {
        let done = run(wrong);
        assert_eq!(done.status.code(), Some(2), "{wrong:?}: {}", text(&done.stderr));
    }
}

/// A long log comes in several pieces; the list is that of the whole.
#[test]
fn property_a_long_log_is_listed_as_if_it_came_in_one_piece() {
    use std::fmt::Write as _;
    let folder = Folder::new();
    let mut log = String::new();
    for n in 0..400_000u32 {
        let (id, data) =
            if n % 2 == 0 { ("7E8", format!("03410D{:02X}", n / 2 % 200)) } else { ("123", "00".into()) };
        writeln!(log, "({}.{:03}000) can0 {id}#{data}", n / 100, n % 100 * 10).expect("text");
    }
    assert!(log.len() > 9 << 20, "{}", log.len());
    let path = folder.write("long.log", &log);
    let listed = |more: &[&str]| {
        let out = run(&[&["decode", as_str(&path), "--json"], more].concat());
        assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
        let a: Value = serde_json::from_slice(&out.stdout).expect("JSON");
        let r = a["recordings"][0].clone();
        assert_eq!(r["counts"]["frames"], 400_000);
        let signals = r["signals"].as_array().expect("signals").clone();
        assert_eq!(signals.len(), 1);
        signals[0].clone()
    };
    let whole = listed(&[]);
    assert_eq!((&whole["samples"], &whole["largest"]), (&Value::from(200_000), &Value::from(199.0)));
    assert!((whole["longest_gap_s"].as_f64().expect("gap") - 0.02).abs() < 1e-6, "{whole}");
    let part = listed(&["--signal", "vehicle_speed", "--from", "100", "--to", "101.99"]);
    assert_eq!(part["samples"], 100, "{part}");
}

#[test]
fn regress_decode_reads_standard_input_and_names_a_user_s_signals() {
    let folder = Folder::new();
    let dbc = "VERSION \"\"\n\nNS_ :\n\nBS_:\n\nBU_: X\n\nBO_ 291 Reservoir: 8 X\n SG_ Level : 0|8@1+ (0.5,0) [0|100] \"%\" X\n";
    let dbc = folder.write("own.dbc", dbc);
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_sootwright"))
        .args(["decode", "-", "--json", "--dbc", as_str(&dbc)])
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .expect("started");
    let mut input = child.stdin.take().expect("input");
    std::io::Write::write_all(&mut input, b"(0.0) can0 123#50\n(1.0) can0 123#52\n").expect("written");
    drop(input);
    let out = child.wait_with_output().expect("it ends");
    let a: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    let signal = &a["recordings"][0]["signals"][0];
    assert_eq!((&signal["name"], &signal["largest"]), (&Value::from("Level"), &Value::from(41.0)));
    assert_eq!(a["recordings"][0]["buses"][0]["identifiers"][0]["id"], "123");
}

#[test]
fn regress_demo_writes_case_and_report_and_says_where() {
    let folder = Folder::new();
    let out = run(&["demo", "--out", as_str(&folder.0)]);
    assert_eq!(out.status.code(), Some(0), "{}{}", text(&out.stdout), text(&out.stderr));
    let report = folder.0.join("report.html");
    assert!(text(&out.stdout).contains(as_str(&report)));
    assert!(std::fs::read_to_string(report).expect("report").contains("role=\"img\""));
    let case = folder.0.join("case.toml");
    let again = run(&["assess", as_str(&case), "--json"]);
    assert_valid(&serde_json::from_slice(&again.stdout).expect("JSON"));
}

#[test]
fn regress_balance_is_told_as_text_and_json() {
    let folder = Folder::new();
    let case = folder.write("case.toml", CASE);
    let out = run(&["additive", "balance", as_str(&case), "--reserve-l", "0.2", "--json"]);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let a: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    assert_eq!(a["schema"], "sootwright.additive-balance/1");
    assert_eq!(a["reserve_l"], 0.2);
    for key in ["dose_factor", "leak_ml_per_day", "left_l"] {
        assert!(a[key]["p05"].as_f64() <= a[key]["p95"].as_f64() && a[key]["p50"].is_number(), "{key}");
    }
    for key in ["due_km", "due_days"] {
        assert!(a[key]["p10"].as_f64() <= a[key]["p90"].as_f64(), "{key}: {}", a[key]);
    }
    assert!((sum(&a["additive_faults"]) - 1.0).abs() < 1e-6);
    let said = text(&run(&["additive", "balance", as_str(&case)]).stdout);
    assert!(said.contains("unexplained") && !said.contains('['), "{said}");
}

#[test]
fn regress_questions_on_fluids_answer_their_own_examples() {
    let folder = Folder::new();
    for what in ["identify", "dose", "fill", "entry", "mixup", "stock"] {
        let example = run(&["additive", what, "--example"]);
        let facts = folder.write(&format!("{what}.toml"), &text(&example.stdout));
        let out = run(&["additive", what, as_str(&facts), "--json"]);
        assert_eq!(out.status.code(), Some(0), "{what}: {}", text(&out.stderr));
        let a: Value = serde_json::from_slice(&out.stdout).expect("JSON");
        assert_eq!(a["schema"], format!("sootwright.additive-{what}/1"));
        let said = text(&run(&["additive", what, as_str(&facts)]).stdout);
        assert!(said.len() > 80 && !said.contains('['), "{what}: {said}");
        assert_eq!(run(&["additive", what]).status.code(), Some(2), "{what} without facts");
        let broken = folder.write("broken.toml", &format!("{}\nno_such_key = 1\n", text(&example.stdout)));
        let out = run(&["additive", what, as_str(&broken)]);
        assert_eq!(out.status.code(), Some(1));
        assert!(text(&out.stderr).contains("broken.toml:"), "{}", text(&out.stderr));
    }
}

#[test]
fn regress_live_fill_takes_lines_and_passes_over_torn_ones() {
    use std::io::Write as _;
    let folder = Folder::new();
    let facts = folder.write("fill.toml", &text(&run(&["additive", "fill", "--example"]).stdout));
    let mut child = program()
        .args(["additive", "fill", as_str(&facts), "--live"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program runs");
    let mut scale = child.stdin.take().expect("input");
    scale.write_all(b"0 500\n60 560\nE-R-R\n120 618,5\n180 677\n240 735\n").expect("lines");
    drop(scale);
    let out = child.wait_with_output().expect("it ends");
    assert_eq!(out.status.code(), Some(0));
    let said = text(&out.stdout);
    assert!(said.contains("Line 3") && said.contains("g moved"), "{said}");
}

#[test]
fn regress_decode_refuses_what_no_reader_knows() {
    let folder = Folder::new();
    let path = folder.write("letter.txt", "Dear sir,\nthe car smokes.\n");
    let out = run(&["decode", as_str(&path)]);
    assert_eq!(out.status.code(), Some(1));
    assert!(text(&out.stderr).contains("letter.txt"), "{}", text(&out.stderr));
}

/// A car with a history from which its dosing is told.
fn case_of(title: &str, left_g: u32) -> String {
    format!(
        r#"schema = "sootwright.case/1"
title = "{title}"
[car]
odometer_km = 98000
consumption_l_per_100km = 6.0
[reservoir]
car_type = "van-a"
tare_g = 300
density_kg_per_m3 = 880
[[refill]]
odometer_km = 30000
time = "2025-03-10"
volume_l = 1.9
full = true
lot = "K-118"
[[reservoir_weighed]]
odometer_km = 98000
time = "2027-01-20"
gross_g = {left_g}
[[counter_read]]
odometer_km = 98000
time = "2027-01-20"
used_ml = 820
"#
    )
}

const VAN: &str = r#"schema = "sootwright.reservoirs/1"
[[reservoir]]
id = "van-a"
based_on = "tank"
name = "Van"
fluid = "concentrate-iron"
capacity_l = { low = 2.0, high = 2.0, source = "filled and weighed", mark = "measured" }
volume_dose_ml_per_l = { low = 0.2, high = 0.2, source = "label", mark = "seen" }
"#;

#[test]
fn regress_a_folder_is_forecast_and_its_broken_case_listed() {
    let folder = Folder::new();
    folder.write("b.toml", &case_of("fuller", 1340));
    folder.write("a.toml", &case_of("emptier", 1040));
    folder.write("broken.toml", "schema = \"sootwright.case/1\"\n[car]\nodometer_km = \"many\"\n");
    folder.write("van.toml", VAN);
    let shelf = folder.write("shelf.toml", &text(&run(&["additive", "forecast", "--shelf-example"]).stdout));
    // The shelf lies in the folder too: it carries no case's schema, so it is given apart.
    let cases = Folder::new();
    for name in ["a.toml", "b.toml", "broken.toml"] {
        std::fs::copy(folder.0.join(name), cases.0.join(name)).expect("copy");
    }
    let knowledge = Folder::new();
    std::fs::copy(folder.0.join("van.toml"), knowledge.0.join("van.toml")).expect("copy");
    let common = ["additive", "forecast", as_str(&cases.0), "--knowledge", as_str(&knowledge.0)];
    let with = |more: &[&str]| {
        let out = run(&[&common[..], &["--shelf", as_str(&shelf)], more].concat());
        assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
        text(&out.stdout)
    };
    let answer: Value = serde_json::from_str(&with(&["--json", "--sort", "due_km_p50"])).expect("JSON");
    let cars = answer["cars"].as_array().expect("cars");
    assert_eq!(cars.len(), 2);
    assert_eq!((&cars[0]["car"], &cars[1]["car"]), (&"emptier".into(), &"fuller".into()));
    for c in cars {
        let of = |key: &str| c[key].as_f64().expect("a number");
        assert!(of("due_km_p10") < of("due_km_p50") && of("due_km_p50") < of("due_km_p90"), "{c}");
        assert!((of("due_odometer_km_p50") - 98_000.0 - of("due_km_p50")).abs() < 1.0);
        assert_eq!(c["fluid"], "concentrate-iron");
    }
    assert!(answer["broken"][0]["what"].as_str().is_some_and(|w| w.contains("broken.toml:3")), "{answer}");
    assert_eq!(answer["demand"][0]["cars"].as_f64(), Some(2.0));
    // A horizon that holds both cars: the container that expires first goes out first, and what is short is said.
    let plan = with(&["--csv", "--which", "plan", "--horizon-days", "4000", "--today", "2027-01-21"]);
    assert!(plan.starts_with("date,car,fluid,container,lot,ml,short_ml\n"), "{plan}");
    let csv = with(&["--csv", "--only", "car=full"]);
    assert_eq!(csv.lines().count(), 2, "{csv}");

    let lots = run(&[
        "additive",
        "lots",
        as_str(&cases.0),
        "--knowledge",
        as_str(&knowledge.0),
        "--lot",
        "K-118",
        "--json",
    ]);
    let lots: Value = serde_json::from_slice(&lots.stdout).expect("JSON");
    assert_eq!(lots["cars_of_lot_ml"]["emptier"].as_f64(), Some(1900.0));
    let bad = run(&["additive", "forecast", as_str(&cases.0), "--sort", "colour"]);
    assert_eq!(bad.status.code(), Some(2));
}

#[test]
fn regress_kinds_go_out_and_come_in_as_one_file() {
    let folder = Folder::new();
    let van = folder.write("van.toml", VAN);
    let knowledge = Folder::new();
    let into = ["additive", "reservoirs", "--knowledge", as_str(&knowledge.0)];
    let out = run(&[&into[..], &["--import", as_str(&van), "--csv"]].concat());
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    assert!(text(&out.stdout).contains("van-a") && knowledge.0.join("van.toml").is_file());
    let all = text(&run(&[&into[..], &["--export"]].concat()).stdout);
    let elsewhere = folder.write("all.toml", &all);
    let again = run(&["additive", "reservoirs", "--import", as_str(&elsewhere), "--export"]);
    assert_eq!(text(&again.stdout), all);
    let bad = folder.write("bad.toml", &VAN.replace("low = 2.0, high = 2.0", "low = 3.0, high = 2.0"));
    let bad = run(&["additive", "reservoirs", "--import", as_str(&bad), "--knowledge", as_str(&knowledge.0)]);
    assert_eq!(bad.status.code(), Some(1));
    assert!(text(&bad.stderr).contains("bad.toml:2") && !knowledge.0.join("bad.toml").exists());
}

#[test]
fn regress_schema_of_the_regeneration_is_the_one_committed() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../schema/regeneration.schema.json");
    let now = text(&run(&["schema", "regeneration"]).stdout);
    if std::env::var_os("UPDATE_SCHEMA").is_some() {
        std::fs::write(&path, &now).expect("schema is written");
    }
    assert!(
        std::fs::read_to_string(&path).unwrap_or_default() == now,
        "schema/regeneration.schema.json is not current; run with UPDATE_SCHEMA=1 and look at it"
    );
}

#[test]
fn regress_regeneration_says_its_verdict_and_never_safe_unseen() {
    let folder = Folder::new();
    let case = folder.write("case.toml", CASE);
    let page = folder.0.join("regeneration.html");
    let out = run(&["regeneration", as_str(&case), "--json", "--report", as_str(&page)]);
    assert!(matches!(out.status.code(), Some(0 | 3)), "{}", text(&out.stderr));
    let a: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    let schema: Value = serde_json::from_slice(&run(&["schema", "regeneration"]).stdout).expect("JSON");
    let validator = jsonschema::validator_for(&schema).expect("the schema is a schema");
    let faults: Vec<String> =
        validator.iter_errors(&a).map(|e| format!("{}: {e}", e.instance_path())).collect();
    assert!(faults.is_empty(), "{faults:#?}");
    // Nobody looked at oil, place or person: it cannot be safe, and it says what to look at.
    assert_ne!(a["regeneration"]["service"], "safe");
    let conditions = a["regeneration"]["conditions"].as_array().expect("conditions");
    assert!(conditions.len() > 10);
    for c in conditions.iter().filter(|c| c["state"] == "open") {
        assert!(!c["look"].as_array().expect("a list").is_empty(), "{c}");
    }
    assert!(!a["find_out"].as_array().expect("a list").is_empty());
    assert!(!a.to_string().contains("\"["), "{a}");
    let page = std::fs::read_to_string(&page).expect("the sheet is there");
    for outside in ["http:", "https:", "src=", "@import", "<script", "<link", "url(\"", "url('"] {
        assert!(!page.contains(outside), "the sheet holds {outside}");
    }
    assert!(page.contains("role=\"img\"") && page.contains("never show safety"));
    let said = text(&run(&["regeneration", as_str(&case)]).stdout);
    assert!(said.contains("Conditions") && !said.contains('[') && !said.contains('{'), "{said}");
}
