//! The examples run: each is built with the tests and fed a small log.
#![allow(clippy::unwrap_used, reason = "a test may stop here")]

use std::io::Write as _;
use std::path::PathBuf;
use std::process::{Command, Stdio};

/// Examples lie beside the folder of the tests.
fn example(name: &str) -> Option<Command> {
    let tests = std::env::current_exe().unwrap();
    let folder: PathBuf = tests.ancestors().nth(2).unwrap().join("examples");
    let path = folder.join(format!("{name}{}", std::env::consts::EXE_SUFFIX));
    if path.exists() {
        return Some(Command::new(path));
    }
    // `cargo test --test examples` alone builds no examples; `cargo test` does.
    println!("skipped: the examples are not built");
    None
}

const LOG: &str = "(0.0) can0 7E8#03410D32\n(1.0) can0 7E8#03410D33\n";

#[test]
fn regress_the_examples_tell_what_a_log_holds() {
    let path = std::env::temp_dir().join(format!("recording-example-{}.log", std::process::id()));
    std::fs::write(&path, LOG).unwrap();
    if let Some(mut command) = example("decode_log") {
        let out = command.arg(&path).output().unwrap();
        let said = String::from_utf8(out.stdout).unwrap();
        assert_eq!(said, "vehicle_speed 51 km/h (2 samples, 7E8 01 0D)\n");
    }
    if let Some(mut command) = example("decode_speed") {
        let out = command.arg(&path).output().unwrap();
        assert!(String::from_utf8(out.stdout).unwrap().contains("2 frames, 2 samples"));
    }
    std::fs::remove_file(&path).unwrap();
    if let Some(mut command) = example("stream") {
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        child.stdin.take().unwrap().write_all(LOG.as_bytes()).unwrap();
        let out = child.wait_with_output().unwrap();
        assert!(String::from_utf8(out.stdout).unwrap().contains("2 frames, 2 samples in 1 pieces"));
    }
}
