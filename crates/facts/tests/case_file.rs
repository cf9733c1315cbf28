//! The case file: what is read, what is refused, and where the finger points.

use facts::load::{Findings, read_case};
use facts::schema::case_schema;
use serde_json::Value;
use std::path::PathBuf;

fn schema_folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../schema")
}

fn every_row() -> String {
    std::fs::read_to_string(schema_folder().join("every-row.case.toml")).expect("the example is there")
}

fn refused(text: &str) -> Findings {
    read_case(text, "case.toml").expect_err("this case must be refused")
}

/// The case is refused with exactly one finding, at this line, and its text holds these words.
#[track_caller]
fn refused_at(text: &str, line: usize, words: &[&str]) {
    let e = refused(text);
    assert_eq!(e.findings.len(), 1, "{e}");
    assert_eq!(e.findings[0].line, line, "{e}");
    let said = e.to_string();
    for w in words {
        assert!(said.contains(w), "{w:?} is not in: {said}");
    }
    assert!(said.starts_with(&format!("case.toml:{line}:")), "{said}");
}

const HEAD: &str = "schema = \"sootwright.case/1\"\n";

fn with(rest: &str) -> String {
    format!("{HEAD}{rest}")
}

#[test]
fn regress_the_schema_in_the_repository_is_current() {
    let path = schema_folder().join("case.schema.json");
    let now = serde_json::to_string_pretty(&case_schema()).unwrap() + "\n";
    if std::env::var_os("UPDATE_SCHEMA").is_some() {
        std::fs::write(&path, &now).unwrap();
    }
    let committed = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(committed == now, "schema/case.schema.json is stale: run this test with UPDATE_SCHEMA=1");
}

#[test]
fn regress_every_row_is_read_without_a_warning_about_its_own_keys() {
    let loaded = read_case(&every_row(), "every-row.case.toml").unwrap_or_else(|e| panic!("{e}"));
    assert!(loaded.warnings.is_empty(), "{:#?}", loaded.warnings);
    assert_eq!(loaded.case.reading.len(), 4);
    assert_eq!(loaded.case.reservoir.metals.len(), 2);
    assert_eq!(loaded.case.recording[1].columns.len(), 1);
}

#[test]
fn regress_every_row_mentions_every_property_of_the_schema() {
    // A property is mentioned when the parsed file holds it, or (for what excludes another) a comment shows it.
    let text = every_row();
    let schema = case_schema();
    let value: toml::Table = text.parse().unwrap();
    let mut missing = Vec::new();
    for (key, property) in schema["properties"].as_object().unwrap() {
        let Some(found) = value.get(key) else {
            missing.push(key.clone());
            continue;
        };
        let items = property.get("items").unwrap_or(property);
        let Some(name) = items.get("$ref").and_then(Value::as_str) else { continue };
        let def = &schema["$defs"][name.trim_start_matches("#/$defs/")];
        let rows: Vec<&toml::Value> = found.as_array().map_or_else(|| vec![found], |a| a.iter().collect());
        for inner in def["properties"].as_object().unwrap().keys() {
            let shown = rows.iter().any(|r| r.get(inner).is_some())
                || ["odometer_km", "time", "order", "note"].contains(&inner.as_str())
                || text.contains(&format!("\n# {inner} = "));
            if !shown {
                missing.push(format!("{key}.{inner}"));
            }
        }
    }
    assert!(missing.is_empty(), "not shown in every-row.case.toml: {missing:?}");
}

#[test]
fn regress_the_least_case_is_its_schema() {
    let case = facts::load_case(HEAD, "case.toml").unwrap();
    assert_eq!(case.car.odometer_km, None);
    refused_at("title = \"x\"\n", 1, &["`schema` is missing", "sootwright.case/1"]);
    refused_at("schema = \"sootwright.case/9\"\n", 1, &["not known", "sootwright.case/1"]);
}

#[test]
fn regress_unknown_keys_and_words_get_a_suggestion() {
    refused_at(&with("[car]\nmass = 1500\n"), 3, &["unknown key `mass` in [car]"]);
    refused_at(&with("[car]\nodometer = 9\n"), 3, &["did you mean `odometer_km`?"]);
    refused_at(&with("[filter]\nlenght_mm = 200\n"), 3, &["did you mean `length_mm`?"]);
    refused_at(&with("[car]\ncell_density_cpsi = 200\n"), 3, &["belongs in [filter]"]);
    refused_at(
        &with("[filter]\nmaterial = \"cordierit\"\n"),
        3,
        &["did you mean \"cordierite\"?", "silicon_carbide"],
    );
    refused_at(&with("[filters]\n"), 2, &["did you mean `filter`?"]);
    refused_at(&with("[[surroundings]]\nstate = \"damp\"\n"), 3, &["dry, wet"]);
}

#[test]
fn regress_shapes() {
    refused_at(&with("[refill]\nvolume_l = 1.0\n"), 2, &["[[refill]]"]);
    refused_at(&with("[[car]]\n"), 2, &["[car]"]);
    refused_at(&with("[car]\nmass_kg = \"1500\"\n"), 3, &["without quotes"]);
    refused_at(&with("[car]\nhas_aus32 = \"no\"\n"), 3, &["true or false"]);
    refused_at(&with("[[refill]]\nfull = true\ncounter_reset = true\n"), 4, &["\"yes\""]);
    refused_at(&with("[[refill]]\nfull = true\ntime = \"14.3.2029\"\n"), 4, &["not a date"]);
    refused_at(
        &with("[[reading]]\nvalue = 3\nunit = \"degC\"\n"),
        2,
        &["`quantity` is missing in [reading]"],
    );
    refused_at(&with("[car]\nmass_kg = 1,5\n"), 3, &["point"]);
    refused_at(&with("[car]\nmass_kg = 1500\nmass_kg = 1600\n"), 4, &["duplicate"]);
}

#[test]
fn regress_all_faults_are_listed_at_once() {
    let text = with(
        "[car]\nmass_kg = -3\nodometer_km = nan\ncolour = 1\n[[refill]]\nvolume_l = -1\n[[level_read]]\nlevel_l = 1\n\
         uncertainty_l = inf\n[[reservoir_weighed]]\ngross_g = 100\ntare_g = 200\n",
    );
    let e = refused(&text);
    let lines: Vec<usize> = e.findings.iter().map(|f| f.line).collect();
    assert_eq!(lines, [3, 4, 5, 7, 10, 12], "{e}");
}

#[test]
fn regress_impossible_values() {
    for (text, line) in [
        ("[reservoir]\ndensity_kg_per_m3 = 300\n", 3),
        ("[reservoir]\ndensity_kg_per_m3 = 2100\n", 3),
        ("[reservoir]\nmetal_mass_percent = 101\n", 3),
        ("[oil]\nsulfated_ash_percent = -0.1\n", 3),
        ("[filter]\ncell_density_cpsi = 200\nwall_thickness_mm = 1.8\n", 4),
        ("[filter]\ndiameter_mm = 144\nlength_mm = 150\nvolume_l = 3.0\n", 5),
        ("[filter]\ndiameter_mm = 144\noval_long_axis_mm = 170\noval_short_axis_mm = 120\n", 3),
        ("[filter]\nchannels = \"symmetric\"\nchannel_width_ratio = 1.3\n", 4),
        ("[filter]\nfitted_odometer_km = 90000\ncleaned_odometer_km = 80000\n", 4),
        ("[car]\nodometer_km = 1000\n[filter]\nfitted_odometer_km = 2000\n", 5),
        ("[car]\nodometer_km = 1000\n[[odometer_note]]\nodometer_km = 2000\n", 5),
        (
            "[[odometer_note]]\nodometer_km = 5000\ntime = 2030-01-01\n[[odometer_note]]\nodometer_km = 4000\ntime = 2031-01-01\n",
            6,
        ),
        ("[[reading]]\nquantity = \"coolant_temperature\"\nvalue = 80\nunit = \"kPa\"\n", 5),
        ("[[reading]]\nquantity = \"coolant_temperature\"\nvalue = -300\nunit = \"degC\"\n", 4),
        ("[[reading]]\nquantity = \"differential_pressure\"\nvalue = 3\nunit = \"kPa\"\n", 2),
        (
            "[[reading]]\npoint = \"held\"\nquantity = \"differential_pressure\"\nvalue = 3\nunit = \"kPa\"\n",
            3,
        ),
        ("[[refill]]\nvolume_l = 2\nmass_g = 20\n", 4),
        ("[[refill]]\nvolume_l = 0\n", 3),
        ("[reservoir]\nmetals = [{ symbol = \"Fx\" }]\n", 3),
        (
            "[reservoir]\nmetals = [{ symbol = \"Fe\", mass_share = 0.5 }, { symbol = \"Ce\", mass_share = 0.4 }]\n",
            3,
        ),
        ("[reservoir]\ntare_g = 500\n[[reservoir_weighed]]\ngross_g = 400\n", 5),
        ("[reservoir]\ncapacity_l = 2\n[[level_read]]\nlevel_l = 3\n", 5),
        ("[reservoir]\nkind = \"none\"\n[[refill]]\nvolume_l = 1\n", 4),
        ("[[filter_cleaned]]\nmass_before_g = 5000\nmass_after_g = 5100\n", 4),
        ("[[fuel_used]]\nsince_odometer_km = 500\nodometer_km = 400\nfuel_l = 9\n", 3),
        ("[[counter_read]]\n", 2),
        ("[[regeneration_count]]\ncompleted = -1\n", 3),
        ("[[recording]]\nfile = \"\"\n", 3),
        ("[[observation]]\nid = \"x\"\nanswer = \"yes\"\n[[observation]]\nid = \"x\"\nanswer = \"no\"\n", 6),
        ("[ambient]\npressure_kpa = 979\n", 3),
    ] {
        let e = refused(&with(text));
        assert_eq!(e.findings.len(), 1, "{text}\n{e}");
        assert_eq!(e.findings[0].line, line, "{text}\n{e}");
    }
}

#[test]
fn regress_unusual_values_warn_and_are_kept() {
    for (text, line) in [
        ("[car]\nmass_kg = 350\n", 3),
        ("[fuel]\ndensity_kg_per_m3 = 990\n", 3),
        ("[ambient]\npressure_kpa = 101.3\naltitude_m = 1500\n", 3),
        ("[[fault_memory]]\ncodes = [\"16485\"]\n", 3),
        ("[[recording]]\nfile = \"../elsewhere.log\"\n", 3),
        ("[reservoir]\ncapacity_l = 2\n[[refill]]\nvolume_l = 2.5\n", 5),
        ("[[reservoir_weighed]]\ngross_g = 800\n", 3),
        ("[[refill]]\nentered_l = 2\n", 2),
    ] {
        let l = read_case(&with(text), "case.toml").unwrap_or_else(|e| panic!("{text}\n{e}"));
        assert_eq!(l.warnings.iter().map(|w| w.line).collect::<Vec<_>>(), [line], "{text}\n{:?}", l.warnings);
    }
}

#[test]
fn regress_rows_that_cannot_be_ordered_by_date_are_accepted() {
    // One day, two rows: nobody knows which came first, so a falling odometer is no contradiction.
    let text = "[[odometer_note]]\nodometer_km = 5000\ntime = 2030-01-01\n\
                [[odometer_note]]\nodometer_km = 4990\ntime = 2030-01-01\n";
    assert!(facts::load_case(&with(text), "c").is_ok());
}

#[test]
fn regress_a_byte_order_mark_and_windows_line_ends_are_fine() {
    let text = format!("\u{feff}{}", with("[car]\nmass_kg = 1500\n").replace('\n', "\r\n"));
    assert_eq!(facts::load_case(&text, "c").unwrap().car.mass_kg, Some(1500.0));
    refused_at(&with("[car]\nmass_kg = -1\n").replace('\n', "\r\n"), 3, &["impossible"]);
}
