//! Writes `DIR/sampler.md`: the estimator's continuous posterior beside that of the No-U-Turn sampler.
//! `sampler DIR` (minutes; the figures in docs/validation/sampler.md are those of the test)

#[path = "../tests/nuts/mod.rs"]
mod nuts;

use infer::posterior::Effort;
use std::error::Error;
use std::fmt::Write as _;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::path::PathBuf::from(std::env::args().nth(1).ok_or("usage: sampler DIR")?);
    let (chains, tune, draws) = (3, 400, 700);
    let mut out = format!(
        "# The posterior against another sampler\n\n\
         The density of the state of a sound car (fourteen coordinates, five linear coefficients) sampled by the \
         No-U-Turn sampler of `nuts-rs` 0.19 ({chains} chains of {draws} draws after {tune} tuning steps) beside the \
         estimator's answer (quasi-random importance sampling with the linear coefficients integrated out). The \
         sampler sees the linear coefficients as plain unknowns, so the closed form is checked too. *Off* is the \
         share of the sampler's draws below our 5, 50 and 95 % quantile, minus 5, 50, 95 %, in points and (in \
         brackets) in standard errors of both samples; beyond four is no accident. The last column repeats it with many \
         more samples of ours, to tell an error of the density (it would stay) from one of the sampling (it goes). \
         Made by\n\n\
         ```sh\ncargo run -p checks --release --example sampler -- docs/validation\n```\n"
    );
    for told in nuts::told() {
        let density = told.density();
        let began = Instant::now();
        let sampled = nuts::sample(&density, 1, chains, tune, draws);
        let seconds = began.elapsed().as_secs_f64();
        let began = Instant::now();
        let rows = nuts::compare(&density, &sampled, chains as usize, Effort::FULL);
        let ours = began.elapsed().as_secs_f64();
        let thorough = nuts::compare(&density, &sampled, chains as usize, nuts::THOROUGH);
        eprintln!("{}: {seconds:.0} s", told.name);
        // Writing into a String does not fail.
        let _ = write!(
            out,
            "\n## {}\n\n{} divergent of {}; {seconds:.0} s against {ours:.2} s.\n\n\
             | figure | ours: 5, 50, 95 % (mean; effective draws) | sampler | off | ours with 80 000 samples: off |\n|---|---|---|---|---|\n",
            told.name,
            sampled.divergent,
            chains * draws
        );
        for (r, t) in rows.iter().zip(&thorough) {
            let side = |k: usize| {
                let [a, b, c] = r.quantiles[k];
                format!("{a:.3}, {b:.3}, {c:.3} ({:.3}; {:.0})", r.means[k], r.effective[k])
            };
            let off = |r: &nuts::Row| -> String {
                let all: Vec<String> =
                    r.shift.iter().zip(r.off).map(|(s, o)| format!("{:+.1} ({o:+.1})", 100.0 * s)).collect();
                all.join(", ")
            };
            let _ = writeln!(out, "| {} | {} | {} | {} | {} |", r.figure, side(0), side(1), off(r), off(t));
        }
    }
    std::fs::create_dir_all(&folder)?;
    std::fs::write(folder.join("sampler.md"), &out)?;
    print!("{out}");
    Ok(())
}
