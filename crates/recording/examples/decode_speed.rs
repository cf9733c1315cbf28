//! How long a recording takes from bytes in memory to signal columns, on the calling core:
//! `cargo run --release -p recording --example decode_speed -- FILE...`
//!
//! The best of seven rounds, beside looking for line ends only in the same bytes.

use std::time::Instant;

fn best(mut work: impl FnMut() -> u64) -> (f64, u64) {
    let mut least = f64::INFINITY;
    let mut result = 0;
    for _ in 0..7 {
        let start = Instant::now();
        result = work();
        least = least.min(start.elapsed().as_secs_f64());
    }
    (least, result)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    for name in std::env::args().skip(1) {
        let bytes = std::fs::read(&name)?;
        let options = recording::Options::default();
        let first = recording::read_bytes(&name, &bytes, &options);
        let samples: usize = first.signals.iter().map(|s| s.value.len()).sum();
        let frames = first.counts.frames;
        drop(first);
        let (seconds, _) = best(|| recording::read_bytes(&name, &bytes, &options).counts.frames);
        let (scan, lines) = best(|| memchr::memchr_iter(b'\n', std::hint::black_box(&bytes)).count() as u64);
        println!("{name}: {frames} frames, {samples} samples, {} bytes, {lines} line ends", bytes.len());
        println!("seconds {seconds:.4}");
        println!(
            "{:.0} MB/s, {:.2} million frames/s; line ends alone {scan:.4} s, {:.1} % of it",
            bytes.len() as f64 / seconds / 1e6,
            frames as f64 / seconds / 1e6,
            100.0 * scan / seconds
        );
    }
    Ok(())
}
