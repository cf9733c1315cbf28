//! Nothing that comes from outside makes the program panic: random bytes, cut and altered recordings,
//! altered case files.

use checks::case_folder::{CaseFolder, faults_of_form};
use checks::open_recordings::{CANDUMP, folder};
use facts::{Knowledge, load_case};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use recording::{Options, Recording, read_bytes};
use std::path::Path;

/// What must hold for whatever was read.
fn sound(recording: &Recording, input: &[u8]) {
    for signal in &recording.signals {
        assert_eq!(signal.time_s.len(), signal.value.len(), "{}", signal.source);
        assert!(signal.value.iter().chain(&signal.time_s).all(|v| v.is_finite()), "{}", signal.source);
        assert!(signal.time_s.windows(2).all(|w| w[0] <= w[1]), "{}: time runs backwards", signal.source);
    }
    assert!(recording.duration_s.is_finite() && recording.duration_s >= 0.0);
    // A table that was cut within its first line has lost nothing.
    let nothing = recording.signals.is_empty() && recording.counts.frames == 0 && recording.counts.lines != 1;
    assert!(!nothing || !recording.problems.is_empty(), "{} bytes vanished without a word", input.len());
    for problem in &recording.problems {
        assert!(!problem.what.is_empty() && !problem.what_to_do.is_empty(), "{problem:?}");
    }
}

fn read(input: &[u8]) -> Recording {
    let recording = read_bytes("input", input, &Options::default());
    sound(&recording, input);
    recording
}

/// A small recording of every kind that is read, so that these tests need nothing from outside.
fn samples() -> Vec<Vec<u8>> {
    let compact = "(1700000000.000000) can0 7E0#02017A5555555555\n\
                   (1700000000.010000) can0 7E8#1009417A07000C27\n\
                   (1700000000.020000) can0 7E0#3000005555555555\n\
                   (1700000000.030000) can0 7E8#2110270655555555\n\
                   (1700000000.100000) can0 18FDB200#FFFFFFFF0200FFFF\n\
                   (1700000000.110000) can0 1CECFF00#20120003FFCAFE00\n\
                   (1700000000.120000) can0 1CEBFF00#0143FFD403097E90\n\
                   (1700000000.130000) can0 1CEBFF00#020C14026102 0901\n\
                   (1700000000.140000) can0 7E8#037F1978\n\
                   (1700000000.150000) can0 7E8#0759020124630009\n";
    let screen = " (0.000000)  can0  7E8   [8]  04 41 0C 0C 80 00 00 00\n \
                  (0.100000)  can0  18F11031   [8]  00 00 FF FF FF FF FF FF\n";
    let wide = "\u{feff}time [s];DPF dp [hPa];rpm [1/min]\r\n0,0;12,5;850\r\n0,1;12,7;\r\n0,2;;852\r\n";
    let long = "time,name,value,unit\n0.0,engine_speed,850,rpm\n0.1,filter_differential_pressure,1.2,kPa\n";
    let mut all: Vec<Vec<u8>> = [compact, screen, wide, long].iter().map(|s| s.as_bytes().to_vec()).collect();
    all.push(wide.encode_utf16().flat_map(u16::to_le_bytes).collect());
    all
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn property_random_bytes_are_read(input in proptest::collection::vec(any::<u8>(), 0..600)) {
        read(&input);
    }

    #[test]
    fn property_random_text_is_read(
        lines in proptest::collection::vec("[ -~]{0,60}|\\([0-9.]{1,12}\\) can[0-9] [0-9A-F]{3,8}#[0-9A-FR]{0,20}", 0..20),
    ) {
        read(lines.join("\n").as_bytes());
    }

    #[test]
    fn property_random_frames_are_read(
        frames in proptest::collection::vec(
            (prop_oneof![Just(0x7E8u32), Just(0x7E0), Just(0x18DA_F110), Just(0x18FD_B200), Just(0x1CEC_FF00),
                         Just(0x1CEB_FF00), Just(0x18FE_CA00), 0u32..0x2000_0000],
             proptest::collection::vec(any::<u8>(), 0..=8)),
            0..60),
    ) {
        let mut text = String::new();
        for (i, (id, data)) in frames.iter().enumerate() {
            let id = if *id < 0x800 { format!("{id:03X}") } else { format!("{id:08X}") };
            let data: String = data.iter().map(|b| format!("{b:02X}")).collect();
            text += &format!("({}.{:06}) can0 {id}#{data}\n", i / 10, i % 10 * 100_000);
        }
        read(text.as_bytes());
    }

    #[test]
    fn property_altered_samples_are_read(
        which in 0usize..5, place in any::<prop::sample::Index>(), byte in any::<u8>(), cut in any::<bool>(),
    ) {
        let samples = samples();
        let mut input = samples[which].clone();
        let place = place.index(input.len());
        if cut {
            input.truncate(place);
        } else {
            input[place] = byte;
        }
        read(&input);
    }
}

#[test]
fn property_open_recordings_cut_anywhere() {
    let folder = match folder() {
        Ok(folder) => folder,
        Err(skipped) => {
            eprintln!("{skipped}");
            return;
        }
    };
    for name in CANDUMP {
        let whole = std::fs::read(folder.join(name)).expect("the recording is there");
        // The front part is enough: every kind of frame occurs in it, and cuts fall everywhere in a line.
        let whole = &whole[..whole.len().min(6000)];
        for cut in (0..whole.len()).step_by(7) {
            let recording = read(&whole[..cut]);
            // The cut costs one line at most, and that is said.
            assert!(recording.counts.lost_lines <= 1, "{name} cut at {cut}");
        }
    }
}

/// Words to put in place of others: impossible numbers, wrong kinds, near misses.
const WORDS: [&str; 22] = [
    "-1",
    "0",
    "1e308",
    "-1e308",
    "nan",
    "inf",
    "-inf",
    "9223372036854775807",
    "1e-300",
    "\"\"",
    "true",
    "[]",
    "{}",
    "\"x\"",
    "1979-05-27",
    "2024-02-30",
    "\"kpa\"",
    "\"differential_presure\"",
    "[[refill]]",
    "[car",
    "=",
    "\u{1F9EA}",
];

fn below(random: &mut ChaCha8Rng, n: usize) -> usize {
    random.random_range(0..n.max(1))
}

/// One random change of a text.
fn alter(text: &str, random: &mut ChaCha8Rng) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    if lines.is_empty() {
        return WORDS[below(random, WORDS.len())].to_owned();
    }
    let at = below(random, lines.len());
    match below(random, 8) {
        0 => drop(lines.remove(at)),
        1 => lines.insert(at, lines[at].clone()),
        2 => {
            let other = below(random, lines.len());
            lines.swap(at, other);
        }
        3 | 4 => {
            // Another value behind the equals sign.
            if let Some((key, _)) = lines[at].split_once('=') {
                lines[at] = format!("{key}= {}", WORDS[below(random, WORDS.len())]);
            }
        }
        5 => lines.insert(at, WORDS[below(random, WORDS.len())].to_owned()),
        6 => {
            let mut characters: Vec<char> = lines[at].chars().collect();
            if !characters.is_empty() {
                let place = below(random, characters.len());
                characters[place] = char::from(b' ' + below(random, 95) as u8);
            }
            lines[at] = characters.into_iter().collect();
        }
        _ => {
            let all = lines.join("\n");
            let mut end = below(random, all.len());
            while !all.is_char_boundary(end) {
                end -= 1;
            }
            return all[..end].to_owned();
        }
    }
    lines.join("\n")
}

/// Case files of the repository to begin with: the one in the README and the examples of the documentation.
fn cases() -> Vec<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut texts = vec![readme_case()];
    for folder in ["docs", "docs/examples", "examples", "crates/facts/examples", "crates/facts/tests"] {
        let Ok(entries) = std::fs::read_dir(root.join(folder)) else { continue };
        let mut paths: Vec<_> = entries.filter_map(|e| e.ok().map(|e| e.path())).collect();
        paths.sort();
        for path in paths.iter().filter(|p| p.extension().is_some_and(|e| e == "toml")) {
            texts.push(std::fs::read_to_string(path).expect("readable"));
        }
    }
    texts
}

fn readme_case() -> String {
    let readme = include_str!("../../README.md");
    let (_, rest) = readme.split_once("```toml\n").expect("the README holds a case");
    rest.split_once("```").expect("the block ends").0.to_owned()
}

#[test]
fn regress_readme_case_is_answered() {
    let case = load_case(&readme_case(), "README.md").unwrap_or_else(|e| panic!("{e}"));
    let answer = CaseFolder { case, recordings: Vec::new() }.assess(Knowledge::built_in());
    assert_eq!(faults_of_form(&answer), [""; 0]);
}

#[test]
fn property_altered_cases_are_refused_with_a_place_or_read() {
    let originals = cases();
    let mut random = ChaCha8Rng::seed_from_u64(0x5EED_CA5E);
    let (mut refused, mut accepted) = (0, 0);
    for round in 0..6000 {
        let mut text = originals[round % originals.len()].clone();
        for _ in 0..=below(&mut random, 3) {
            text = alter(&text, &mut random);
        }
        match load_case(&text, "altered.toml") {
            Ok(_) => accepted += 1,
            Err(errors) => {
                refused += 1;
                assert!(!errors.findings.is_empty(), "refused without a reason:\n{text}");
                for finding in &errors.findings {
                    let lines = text.lines().count().max(1) + 1;
                    assert!((1..=lines).contains(&finding.line), "{finding} is outside the file:\n{text}");
                    assert!(!finding.what.is_empty(), "{finding:?}");
                }
            }
        }
    }
    assert!(refused > 500 && accepted > 500, "one-sided: {refused} refused, {accepted} accepted");
}

#[test]
fn property_altered_cases_are_assessed() {
    let originals = cases();
    let mut random = ChaCha8Rng::seed_from_u64(0xA55E_55ED);
    let mut answered = 0;
    // An assessment costs far more than reading; a hundred answers to odd facts show the same.
    for round in 0.. {
        let mut text = originals[round % originals.len()].clone();
        for _ in 0..=below(&mut random, 4) {
            text = alter(&text, &mut random);
        }
        let Ok(case) = load_case(&text, "altered.toml") else { continue };
        let answer = CaseFolder::with_recordings(case, Path::new("nowhere")).assess(Knowledge::built_in());
        let wrong = faults_of_form(&answer);
        assert!(wrong.is_empty(), "{wrong:?} for\n{text}");
        answered += 1;
        if answered == 100 {
            break;
        }
    }
}
