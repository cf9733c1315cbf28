//! The invariants of ARCHITECTURE.md that a program can check.

use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Crates of this workspace that a crate's `[dependencies]` name.
fn uses(manifest: &str) -> Vec<String> {
    const OURS: [&str; 8] = ["wallflow", "additive", "recording", "facts", "infer", "app", "demo", "checks"];
    let text = std::fs::read_to_string(root().join(manifest)).expect("the manifest is there");
    let table: toml::Table = text.parse().expect("a manifest is TOML");
    let mut names: Vec<String> = table
        .get("dependencies")
        .and_then(toml::Value::as_table)
        .map(|d| d.keys().filter(|k| OURS.contains(&k.as_str())).cloned().collect())
        .unwrap_or_default();
    names.sort();
    names
}

#[test]
fn property_arrows_point_one_way() {
    let none: [&str; 0] = [];
    for room in ["wallflow", "additive", "recording"] {
        assert_eq!(uses(&format!("crates/{room}/Cargo.toml")), none, "{room} stands alone");
    }
    let allowed = [
        ("crates/facts/Cargo.toml", &["additive", "recording", "wallflow"][..]),
        ("crates/infer/Cargo.toml", &["additive", "facts", "recording", "wallflow"][..]),
        ("demo/Cargo.toml", &["facts"][..]),
    ];
    for (manifest, allowed) in allowed {
        for name in uses(manifest) {
            assert!(allowed.contains(&name.as_str()), "{manifest} may not use {name}");
        }
    }
    assert!(
        uses("crates/app/Cargo.toml").iter().all(|n| n != "checks"),
        "the program does not ship its checks"
    );
}

#[test]
fn property_pure_crates_touch_no_clock_and_no_network() {
    // Reading a file is left to `recording::read_path` and the knowledge folder.
    const FORBIDDEN: [&str; 5] =
        ["SystemTime::now", "Instant::now", "std::net", "thread_rng", "std::process"];
    let mut seen = 0;
    for room in ["wallflow", "additive", "recording", "facts", "infer"] {
        for path in sources(&root().join("crates").join(room).join("src")) {
            let text = std::fs::read_to_string(&path).expect("readable");
            seen += 1;
            for word in FORBIDDEN {
                assert!(!text.contains(word), "{} uses {word}", path.display());
            }
        }
    }
    assert!(seen > 20, "only {seen} files were looked at");
}

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder).expect("a folder of sources").flatten() {
        let path = entry.path();
        if path.is_dir() {
            all.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            all.push(path);
        }
    }
    all
}

#[test]
fn regress_links_of_the_documents_lead_somewhere() {
    for name in
        ["README.md", "ARCHITECTURE.md", "DESIGN.md", "CONTRIBUTING.md", "SECURITY.md", "CHANGELOG.md"]
    {
        let text = std::fs::read_to_string(root().join(name)).expect("the document is there");
        for (_, rest) in text.match_indices("](").map(|(i, _)| text.split_at(i + 2)) {
            let target = rest.split(')').next().unwrap_or("");
            assert!(root().join(target).exists(), "{name} links to {target}, which is not there");
        }
    }
}
