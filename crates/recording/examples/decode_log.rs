//! What a log holds, in a few lines: `cargo run -p recording --example decode_log -- FILE`

use recording::{Options, read_path};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let name = std::env::args().nth(1).ok_or("usage: decode_log FILE")?;
    let recording = read_path(name.as_ref(), &Options::default())?;
    for signal in &recording.signals {
        let last = signal.value.last().copied().unwrap_or(f64::NAN);
        println!(
            "{} {last} {} ({} samples, {})",
            signal.quantity,
            signal.quantity.unit(),
            signal.value.len(),
            signal.source
        );
    }
    recording.problems.iter().for_each(|problem| eprintln!("{problem}"));
    Ok(())
}
