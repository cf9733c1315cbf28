//! Whatever is done to a case file, the answer is a case or an error with a place, never a panic.

use facts::load::read_case;
use proptest::prelude::*;

fn every_row() -> String {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../schema/every-row.case.toml");
    std::fs::read_to_string(path).expect("the example stands in the schema folder")
}

fn holds(text: &str) -> Result<(), TestCaseError> {
    match read_case(text, "case.toml") {
        Ok(loaded) => {
            // What was accepted can be put in order and converted.
            prop_assert!(!facts::life::ordered(&loaded.case).is_empty() || loaded.case.reading.is_empty());
            for r in &loaded.case.reading {
                prop_assert!(r.canonical().is_ok_and(f64::is_finite));
            }
        }
        Err(e) => {
            prop_assert!(!e.findings.is_empty());
            let lines = text.lines().count().max(1);
            for f in &e.findings {
                // The place is inside the file (or just behind its last line break) and something is said.
                prop_assert!((1..=lines + 1).contains(&f.line), "{f}");
                prop_assert!(f.column >= 1 && !f.what.is_empty(), "{f}");
            }
        }
    }
    Ok(())
}

const VALUES: &[&str] = &[
    "-1",
    "0",
    "1e308",
    "-1e308",
    "nan",
    "inf",
    "-inf",
    "1e999",
    "9223372036854775807",
    "99999999999999999999",
    "0x7fffffffffffffff",
    "\"\"",
    "\"x\"",
    "true",
    "[]",
    "{}",
    "[[]]",
    "[{}]",
    "1979-05-27",
    "07:32:00",
    "0000-01-01",
    "9999-12-31T23:59:59+23:59",
    "\"9999-12-31\"",
    "\"é\u{1F600}\"",
    "'''",
    "1_0",
    "1,5",
    "",
    "{ a = { b = { c = 1 } } }",
    "\"\\uD800\"",
];

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, ..ProptestConfig::default() })]

    #[test]
    fn property_lines_deleted_doubled_or_moved(
        edits in proptest::collection::vec((any::<proptest::sample::Index>(), any::<proptest::sample::Index>(), 0..3u8), 1..6),
    ) {
        let text = every_row();
        let mut lines: Vec<&str> = text.lines().collect();
        for (a, b, kind) in &edits {
            if lines.is_empty() { break }
            let (i, j) = (a.index(lines.len()), b.index(lines.len()));
            match kind {
                0 => { lines.remove(i); }
                1 => lines.insert(j, lines[i]),
                _ => lines.swap(i, j),
            }
        }
        holds(&lines.join("\n"))?;
    }

    #[test]
    fn property_bytes_flipped_or_cut(
        flips in proptest::collection::vec((any::<proptest::sample::Index>(), any::<u8>()), 0..8),
        cut in proptest::option::of(any::<proptest::sample::Index>()),
    ) {
        let mut bytes = every_row().into_bytes();
        for (at, byte) in &flips {
            let i = at.index(bytes.len());
            bytes[i] = *byte;
        }
        if let Some(at) = cut {
            bytes.truncate(at.index(bytes.len()));
        }
        holds(&String::from_utf8_lossy(&bytes))?;
    }

    #[test]
    fn property_values_replaced(
        edits in proptest::collection::vec((any::<proptest::sample::Index>(), any::<proptest::sample::Index>()), 1..4),
    ) {
        let text = every_row();
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        let with_value: Vec<usize> =
            (0..lines.len()).filter(|i| lines[*i].contains('=') && !lines[*i].starts_with('#')).collect();
        for (at, value) in &edits {
            let i = with_value[at.index(with_value.len())];
            let key = lines[i].split('=').next().unwrap_or("").to_owned();
            lines[i] = format!("{key}= {}", VALUES[value.index(VALUES.len())]);
        }
        holds(&lines.join("\n"))?;
    }

    #[test]
    fn property_any_text(text in "\\PC{0,200}") {
        holds(&text)?;
    }

    #[test]
    fn property_any_overlay_of_knowledge(at in any::<proptest::sample::Index>(), byte in any::<u8>(), cut in any::<proptest::sample::Index>()) {
        let full = include_str!("../../../knowledge/observations.toml");
        let end = cut.index(full.len().min(4000)).max(1);
        let mut bytes = full.as_bytes()[..end].to_vec();
        let i = at.index(bytes.len());
        bytes[i] = byte;
        if let Err(e) = facts::Knowledge::built_in().overlay(&[("own.toml", &String::from_utf8_lossy(&bytes))]) {
            prop_assert!(!e.findings.is_empty() && e.findings.iter().all(|f| f.line >= 1));
        }
    }
}

#[test]
fn regress_deep_nesting_is_an_error() {
    for text in
        ["[".repeat(100_000), format!("a = {}", "[".repeat(100_000)), format!("a = {}", "{a=".repeat(50_000))]
    {
        assert!(read_case(&text, "c").is_err());
    }
    assert!(read_case(&format!("a{} = 1", ".a".repeat(100_000)), "c").is_err());
}
