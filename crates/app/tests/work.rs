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
fn regress_schemas_of_next_and_plan_are_the_ones_committed() {
    for which in ["next", "plan"] {
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
