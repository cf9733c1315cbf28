//! How long a recording takes from bytes in memory to signal columns, on the calling core:
//! `cargo run --release -p recording --example decode_speed -- FILE...`
//!
//! The best of seven rounds by the clock and, where the kernel tells it (Linux), the mean processor time of a round, which
//! counts on a machine with other work; beside it, looking for line ends only in the same bytes.

use std::time::Instant;

const ROUNDS: u32 = 7;

/// Seconds this thread has been on a processor.
fn processor_s() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    text.split(' ').next()?.parse::<f64>().ok().map(|ns| ns / 1e9)
}

/// Best time, mean processor time, and what the work made.
fn best(mut work: impl FnMut() -> u64) -> (f64, Option<f64>, u64) {
    let mut least = f64::INFINITY;
    let mut result = 0;
    let before = processor_s();
    for _ in 0..ROUNDS {
        let start = Instant::now();
        result = work();
        least = least.min(start.elapsed().as_secs_f64());
    }
    let used = processor_s().zip(before).map(|(after, before)| (after - before) / f64::from(ROUNDS));
    (least, used, result)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for name in std::env::args().skip(1) {
        let bytes = std::fs::read(&name)?;
        let options = recording::Options::default();
        let first = recording::read_bytes(&name, &bytes, &options);
        let samples: usize = first.signals.iter().map(|s| s.value.len()).sum();
        let frames = first.counts.frames;
        drop(first);
        let (seconds, processor, _) = best(|| recording::read_bytes(&name, &bytes, &options).counts.frames);
        let (scan, _, lines) =
            best(|| memchr::memchr_iter(b'\n', std::hint::black_box(&bytes)).count() as u64);
        println!("{name}: {frames} frames, {samples} samples, {} bytes, {lines} line ends", bytes.len());
        println!("seconds {seconds:.4}, processor {:.4}", processor.unwrap_or(f64::NAN));
        println!(
            "{:.0} MB/s, {:.2} million frames/s; line ends alone {scan:.4} s, {:.1} % of it",
            bytes.len() as f64 / seconds / 1e6,
            frames as f64 / seconds / 1e6,
            100.0 * scan / seconds
        );
    }
    Ok(())
}
