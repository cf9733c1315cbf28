//! Next step, plan of work and knowledge as a person or another program meets them.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};

/// A folder of one test's own, removed at its end.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let name =
            format!("sootwright-work-{}-{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
        let path = std::env::temp_dir().join(name);
        std::fs::create_dir_all(&path).expect("temporary folder");
        Self(path)
    }
    fn write(&self, name: &str, text: &str) -> String {
        let path = self.0.join(name);
        std::fs::write(&path, text).expect("temporary file");
        path.display().to_string()
    }
    fn name(&self) -> String {
        self.0.display().to_string()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sootwright"))
        .args(args)
        .stdin(Stdio::null())
        .output()
        .expect("the program runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn json(out: &Output) -> Value {
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    serde_json::from_slice(&out.stdout).expect("JSON")
}

/// The answer carries no key that its schema does not describe, and none is missing.
fn assert_valid(answer: &Value, which: &str) {
    let schema = json(&run(&["schema", which]));
    let validator = jsonschema::validator_for(&schema).expect("the schema is a schema");
    let faults: Vec<String> =
        validator.iter_errors(answer).map(|e| format!("{}: {e}", e.instance_path())).collect();
    assert!(faults.is_empty(), "{faults:#?}");
    let described = schema["properties"].as_object().expect("properties");
    for key in answer.as_object().expect("an object").keys() {
        assert!(described.contains_key(key), "{which}: {key} is not described");
    }
}

/// An empty-looking reservoir and a soot code.
const CASE: &str = r#"schema = "sootwright.case/1"
title = "a car with a message"
[car]
category = "M1"
displacement_l = 1.6
odometer_km = 163400
[filter]
material = "silicon_carbide"
[reservoir]
kind = "pouch"
capacity_l = 2.0
[[observation]]
id = "reservoir_below_minimum"
answer = "yes"
[[observation]]
id = "dtc_additive_level_low"
answer = "yes"
"#;

#[test]
fn regress_schemas_of_next_plan_and_timetable_are_the_ones_committed() {
    for which in ["next", "plan", "timetable", "closed-jobs", "counts"] {
        let name = format!("schema/{which}.schema.json");
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(&name);
        let now = text(&run(&["schema", which]).stdout);
        if std::env::var_os("UPDATE_SCHEMA").is_some() {
            std::fs::write(&path, &now).expect("schema is written");
        }
        let committed = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(committed == now, "{name} is not current; run with UPDATE_SCHEMA=1 and look at it");
    }
}

#[test]
fn regress_next_and_plan_answer_as_their_schemas_say() {
    let folder = Folder::new();
    let case = folder.write("case.toml", CASE);
    let next = json(&run(&["next", &case, "--json"]));
    assert_valid(&next, "next");
    assert!(next["bound_eur"].as_f64() <= next["step"]["expected_eur"].as_f64());
    let plan = json(&run(&["plan", &case, "--json"]));
    assert_valid(&plan, "plan");
    assert_eq!((plan["accepted"].as_bool(), plan["prices_invented"].as_bool()), (Some(false), Some(true)));
    let accepted = json(&run(&["plan", &case, "--fault", "egr_stuck_open", "--json"]));
    assert_valid(&accepted, "plan");
    assert_eq!(accepted["faults"], serde_json::json!(["egr_stuck_open"]));
}

#[test]
fn regress_knowledge_check_names_faults_without_a_procedure_and_own_procedures_count() {
    let folder = Folder::new();
    let case = folder.write("case.toml", CASE);
    let checked = json(&run(&["knowledge", "check", "--json"]));
    let kinds = |v: &Value| -> Vec<String> {
        v["doubts"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|d| d["kind"].as_str().unwrap_or("").into())
            .collect()
    };
    assert!(!kinds(&checked).contains(&"fault_without_procedure".to_owned()));
    // Taking a fault from the built-in procedure leaves it without one.
    let own = Folder::new();
    own.write(
        "own.toml",
        "schema = \"sootwright.procedures/1\"\n[[procedure]]\nid = \"charge_air_leak\"\nmends = []\n",
    );
    let checked = json(&run(&["knowledge", "check", "--json", "--knowledge", &own.name()]));
    assert_eq!(kinds(&checked).iter().filter(|k| *k == "fault_without_procedure").count(), 1);
    let plan = json(&run(&["plan", &case, "--fault", "boost_leak", "--json", "--knowledge", &own.name()]));
    assert_eq!(plan["plan"]["steps"].as_array().map(Vec::len), Some(1));
    own.write("bad.toml", "schema = \"sootwright.procedures/1\"\n[[way]]\nid = \"new\"\n");
    let bad = run(&["plan", &case, "--knowledge", &own.name()]);
    assert_eq!(bad.status.code(), Some(1));
    assert!(text(&bad.stderr).contains("bad.toml:2"), "{}", text(&bad.stderr));
}

#[test]
fn regress_an_unlawful_wish_gets_the_law_and_lawful_ways_with_prices() {
    let folder = Folder::new();
    let case = folder.write("case.toml", CASE);
    let said = text(&run(&["next", &case, "--asked", "DPF delete please"]).stdout);
    assert!(
        said.contains("forbidden") && said.contains("Off-car cleaning:") && said.contains("EUR"),
        "{said}"
    );
    assert!(said.contains("Next step"), "the step is still told: {said}");
    let next = json(&run(&["next", &case, "--asked", "DPF delete please", "--json"]));
    assert_valid(&next, "next");
    assert_eq!(next["asked"]["verdict"], "unlawful");
    assert!(next["lawful_ways"].as_array().expect("a list").len() > 3);
    let plan = json(&run(&["plan", &case, "--asked", "Partikelfilter auscodieren", "--json"]));
    assert_valid(&plan, "plan");
    assert_eq!(plan["asked"]["verdict"], "unlawful");
    let plan = json(&run(&["plan", &case, "--asked", "remove the filter for off-car cleaning", "--json"]));
    assert_eq!(
        (&plan["asked"]["verdict"], &plan["asked"]["answer"]),
        (&"lawful".into(), &serde_json::json!([]))
    );
}

#[test]
fn regress_closed_jobs_are_learnt_from_exchanged_and_scored() {
    let folder = Folder::new();
    let case = folder.write("case.toml", CASE);
    let jobs = folder.write("unused", "").replace("unused", "jobs.toml");
    for n in 0..6 {
        let number = format!("2026-{n:03}");
        let out = run(&[
            "knowledge",
            "close",
            &case,
            "--number",
            &number,
            "--confirmed",
            "additive_empty",
            "--proof",
            "dose test, message gone",
            "--on",
            "2026-11-02",
            "--jobs",
            &jobs,
        ]);
        assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    }
    // The come-back of one of them is learnt of later: the job is replaced.
    let again = [
        "knowledge",
        "close",
        &case,
        "--number",
        "2026-005",
        "--confirmed",
        "additive_empty",
        "--proof",
        "dose test",
        "--came-back",
        "yes",
        "--on",
        "2026-11-20",
        "--jobs",
        &jobs,
    ];
    assert!(text(&run(&again).stdout).contains("6 closed jobs"));

    let counts = jobs.replace("jobs.toml", "counts.toml");
    let out = run(&["knowledge", "count", &jobs, "--as", "fern-42", "--out", &counts]);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let written = std::fs::read_to_string(&counts).expect("counts");
    assert!(
        !written.contains("2026-00") && !written.contains("dose test") && !written.contains("2026-11-02")
    );
    let joined = jobs.replace("jobs.toml", "joined.toml");
    run(&["knowledge", "join", &counts, &counts, "--out", &joined]);
    let joined_again = jobs.replace("jobs.toml", "joined2.toml");
    run(&["knowledge", "join", &joined, &counts, "--out", &joined_again]);
    let read = |p: &str| std::fs::read_to_string(p).expect("a file");
    assert_eq!(read(&joined), read(&joined_again));

    // Jobs and counts together want a name, so that nothing counts twice.
    let own = folder.name() + "/own";
    assert_eq!(run(&["knowledge", "learn", &jobs, &counts, "--into", &own]).status.code(), Some(2));
    let learn = |extra: &[&str]| {
        let mut line =
            vec!["knowledge", "learn", &jobs, &joined, "--as", "fern-42", "--into", &own, "--json"];
        line.extend(extra);
        json(&run(&line))
    };
    let learned = learn(&[]);
    assert_eq!(learned["jobs"], 5);
    let of = |v: &Value, kind: &str| -> (f64, f64, f64, f64) {
        let rows = v["moved"].as_array().expect("rows");
        let row = rows.iter().find(|r| r["kind"] == kind && r["fault"] == "additive_empty").expect("the row");
        let n = |k: &str| row[k].as_f64().expect("a number");
        (n("before"), n("after"), n("yes"), n("of"))
    };
    let (before, after, yes, n) = of(&learned, "share");
    assert_eq!((yes, n), (5.0, 5.0));
    assert!((after - (25.0 * before + 5.0) / 30.0).abs() < 1e-9);
    let works = of(&learned, "works");
    assert_eq!((works.2, works.3), (0.0, 1.0));
    // Learning again on top of what was learnt changes nothing.
    let again = learn(&["--knowledge", &own]);
    assert_eq!(of(&again, "share"), of(&learned, "share"));
    assert_eq!(of(&again, "likelihood"), of(&learned, "likelihood"));
    // The rows are used.
    let checked = json(&run(&["knowledge", "check", "--json", "--knowledge", &own]));
    assert!(checked["marks"].to_string().contains("counted"), "{}", checked["marks"]);

    let svg = folder.name() + "/reliability.svg";
    let scores = json(&run(&["knowledge", "score", &jobs, "--plot", &svg, "--json"]));
    assert_eq!(scores["jobs"], 5);
    assert!(scores["brier"].as_f64().is_some_and(|b| (0.0..=2.0).contains(&b)));
    assert!(read(&svg).starts_with("<svg xmlns"));
    let few = folder.write(
        "few.toml",
        "schema = \"sootwright.closed-jobs/1\"\n[[job]]\nid = \"a\"\nclosed = \"x\"\nconfirmed = []\n",
    );
    let out = run(&["knowledge", "score", &few]);
    assert!(
        text(&out.stderr).contains("few.toml") && text(&out.stderr).contains("write a day"),
        "{}",
        text(&out.stderr)
    );
    let few = folder.write("few.toml", "schema = \"sootwright.closed-jobs/1\"\n[[job]]\nid = \"a\"\nclosed = \"2026-01-01\"\nproof = \"x\"\nconfirmed = []\n");
    let out = run(&["knowledge", "count", &few, "--as", "moss", "--out", &counts]);
    assert_eq!(out.status.code(), Some(1));
    assert!(text(&out.stderr).contains("from 5 jobs on"), "{}", text(&out.stderr));
}

#[test]
fn regress_several_cars_share_people_and_lifts() {
    let folder = Folder::new();
    let case = folder.write("case.toml", CASE);
    let line = ["timetable", &case, &case, &case, "--people", "2", "--fault", "2=soot_short_trips", "--json"];
    let t = json(&run(&line));
    assert_valid(&t, "timetable");
    let n = |k: &str| t["timetable"][k].as_f64().expect("a number");
    assert!(n("bound_min") <= n("end_min") && n("end_min") < n("one_by_one_min"));
    assert_eq!(t["cars"][1]["faults"], serde_json::json!(["soot_short_trips"]));
    let said = text(&run(&line[..8]).stdout);
    assert!(said.contains("No timetable can end before"), "{said}");
    assert_eq!(run(&["timetable", &case, "--fault", "2=ash_full"]).status.code(), Some(2));
}
