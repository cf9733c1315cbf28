//! Samples of a recording of any length from standard input, in flat memory:
//! `zcat long.log.gz | cargo run --release -p recording --example stream`

use std::io::BufReader;
use std::ops::ControlFlow;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (mut samples, mut pieces) = (0usize, 0usize);
    let from = BufReader::with_capacity(1 << 20, std::io::stdin());
    let recording =
        recording::read_stream("standard input", from, &recording::Options::default(), |piece| {
            // Here the samples would be stored or shown.
            samples += piece.signals.iter().map(|s| s.value.len()).sum::<usize>();
            pieces += 1;
            ControlFlow::Continue(())
        })?;
    println!(
        "{} bytes, {} frames, {samples} samples in {pieces} pieces",
        recording.counts.bytes, recording.counts.frames
    );
    // The most memory this program held, where the system tells (Linux).
    if let Ok(status) = std::fs::read_to_string("/proc/self/status")
        && let Some(line) = status.lines().find(|l| l.starts_with("VmHWM"))
    {
        println!("{line}");
    }
    Ok(())
}
