//! How long the refit of a life of ten visits takes, after decoding: `life_speed`.

use demo::lives::generate_of;
use facts::{Knowledge, visits};
use infer::Evidence;
use recording::{Options, read_bytes};
use std::error::Error;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let life = generate_of(17, 0, Some(10));
    let (joined, _) = visits::join("life", life.files())?;
    let mut told = Vec::new();
    for case in visits::of(&joined) {
        let recordings: Vec<_> = case
            .recording
            .iter()
            .map(|row| {
                let options = Options { column_names: row.columns.clone(), ..Options::default() };
                Some(read_bytes(&row.file, life.bytes(&row.file)?, &options))
            })
            .collect();
        told.push((case, recordings));
    }
    let evidence: Vec<Evidence> = told
        .iter()
        .map(|(case, recordings)| Evidence { case, recordings, knowledge: Knowledge::built_in() })
        .collect();
    for _ in 0..3 {
        let began = Instant::now();
        let out = infer::life::assess(&evidence).ok_or("no visits")?;
        let visits = out.life.map_or(0, |l| l.visits.len());
        println!("{visits} visits refitted in {:.3} s", began.elapsed().as_secs_f64());
    }
    Ok(())
}
