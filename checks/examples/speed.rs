//! Times decoding and assessing one recording: `speed RECORDING [ROUNDS]`. The best of the rounds counts.
//!
//! `scripts/bench.sh` makes the recording and sets the times beside those of python-can and cantools.

use checks::case_folder::CaseFolder;
use facts::{Knowledge, load_case};
use recording::{Options, read_path};
use std::error::Error;
use std::path::Path;
use std::time::Instant;

const CASE: &str = r#"
schema = "sootwright.case/1"
[car]
category = "M1"
displacement_l = 2.0
odometer_km = 148200
[filter]
material = "silicon_carbide"
volume_l = 2.9
[[recording]]
file = "the file on the command line"
"#;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let path = arguments.first().ok_or("usage: speed RECORDING [ROUNDS]")?;
    let rounds: usize = arguments.get(1).map_or(Ok(5), |n| n.parse())?;
    let case = load_case(CASE, "case")?;
    let knowledge = Knowledge::built_in();
    let (mut decoding, mut assessing) = (f64::INFINITY, f64::INFINITY);
    let mut frames = 0;
    for _ in 0..rounds {
        let began = Instant::now();
        let recording = read_path(Path::new(path), &Options::default())?;
        decoding = decoding.min(began.elapsed().as_secs_f64());
        frames = recording.counts.frames;
        let folder = CaseFolder { case: case.clone(), recordings: vec![Some(recording)] };
        let began = Instant::now();
        let answer = folder.assess(knowledge);
        assessing = assessing.min(began.elapsed().as_secs_f64());
        let soot = &answer.filter.soot_load_g_per_l;
        if !soot.p50.is_finite() {
            return Err("the answer is not a number".into());
        }
    }
    println!("sootwright, best of {rounds}: {frames} frames");
    println!("decode {decoding:.3} s ({:.2} million frames/s)", frames as f64 / decoding / 1e6);
    println!("assess {assessing:.3} s");
    println!("seconds {:.4}", decoding + assessing);
    Ok(())
}
