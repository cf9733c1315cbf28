//! The estimator's continuous posterior against the No-U-Turn sampler of the crate `nuts-rs`, which knows
//! nothing of quasi-random points, importance weights or integrated linear parts. Shared by the test and by
//! the example that writes the report.
#![allow(dead_code)]

use facts::Knowledge;
use facts::case::Case;
use infer::Evidence;
use infer::posterior::Effort;
use infer::posterior::density::{Density, LENGTH, State};
use nuts_rs::{Chain, CpuLogpFunc, CpuMath, CpuMathError, DiagNutsSettings, HasDims, LogpError, Settings};
use rand::SeedableRng;
use recording::{Options, Recording, read_bytes};
use std::collections::HashMap;

/// Quantities compared.
pub const FIGURES: [&str; 5] = [
    "soot load, g/L",
    "ash load, g/L",
    "sensor at no flow, kPa",
    "standard pressure drop, kPa",
    "the same as new, kPa",
];

fn figures(s: &State) -> [f64; 5] {
    [s.soot, s.ash, s.zero, s.standard, s.standard_new]
}

#[derive(Debug)]
struct NoState;

impl std::fmt::Display for NoState {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("no state at this point")
    }
}
impl std::error::Error for NoState {}
impl LogpError for NoState {
    fn is_recoverable(&self) -> bool {
        true
    }
}

/// The density in units of the prior's spread around its middle, with a gradient by central differences:
/// priors have soft shoulders and one clamped coordinate, where no derivative exists. The sampler accepts by
/// the density itself, so an inexact gradient costs speed and not truth.
struct Scaled<'a> {
    density: &'a Density,
    prior: [(f64, f64); LENGTH],
}

impl Scaled<'_> {
    fn point(&self, y: &[f64]) -> [f64; LENGTH] {
        std::array::from_fn(|j| self.prior[j].0 + self.prior[j].1 * y[j])
    }
}

impl HasDims for Scaled<'_> {
    fn dim_sizes(&self) -> HashMap<String, u64> {
        HashMap::from([("unconstrained_parameter".to_owned(), LENGTH as u64)])
    }
}

impl CpuLogpFunc for Scaled<'_> {
    type LogpError = NoState;
    type ExpandedVector = Vec<f64>;
    type FlowParameters = ();

    fn dim(&self) -> usize {
        LENGTH
    }

    fn logp(&mut self, y: &[f64], gradient: &mut [f64]) -> Result<f64, NoState> {
        let log = self.density.log(&self.point(y));
        if !log.is_finite() {
            return Err(NoState);
        }
        let h = 1e-4;
        let mut at = y.to_vec();
        for j in 0..LENGTH {
            at[j] = y[j] + h;
            let up = self.density.log(&self.point(&at));
            at[j] = y[j] - h;
            let down = self.density.log(&self.point(&at));
            at[j] = y[j];
            gradient[j] = (up - down) / (2.0 * h);
            if !gradient[j].is_finite() {
                return Err(NoState);
            }
        }
        Ok(log)
    }

    fn expand_vector<R: rand::Rng + ?Sized>(
        &mut self,
        _: &mut R,
        y: &[f64],
    ) -> Result<Vec<f64>, CpuMathError> {
        Ok(y.to_vec())
    }
}

/// Draws of a chain for each of [`FIGURES`], with how often the sampler lost its way.
pub struct Sampled {
    pub values: Vec<Vec<f64>>,
    pub divergent: usize,
}

/// Runs `chains` chains of `draws` draws after `tune` tuning steps from different starts.
pub fn sample(density: &Density, seed: u64, chains: u64, tune: u64, draws: u64) -> Sampled {
    let mut values = vec![Vec::new(); FIGURES.len()];
    let mut divergent = 0;
    for chain in 0..chains {
        let scaled = Scaled { density, prior: density.prior() };
        let prior = scaled.prior;
        let settings = DiagNutsSettings {
            num_tune: tune,
            num_draws: draws,
            maxdepth: 7,
            seed: seed + chain,
            ..DiagNutsSettings::default()
        };
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed + chain);
        let mut sampler =
            settings.new_chain(chain, CpuMath::new(scaled), &mut rng).expect("the settings are sound");
        // Starts on both sides of the prior's middle, never in it: the sampler refuses a gradient of nought.
        let start: Vec<f64> = (0..LENGTH)
            .map(|j| 0.03 + 0.35 * (((j as u64 * 7 + chain * 5) % 5) as f64 / 2.0 - 1.0))
            .collect();
        sampler.set_position(&start).expect("a state at the start");
        for i in 0..tune + draws {
            let (y, progress) = sampler.draw().expect("the density holds everywhere it is asked");
            if i < tune {
                continue;
            }
            divergent += usize::from(progress.diverging);
            let point = std::array::from_fn(|j| prior[j].0 + prior[j].1 * y[j]);
            let state = density.state(&point).expect("a draw is a state");
            for (v, f) in values.iter_mut().zip(figures(&state)) {
                v.push(f);
            }
        }
    }
    Sampled { values, divergent }
}

/// Effective count of correlated draws by the initial positive sequence (Geyer 1992), of the draws' ranks so
/// that long tails do not hide correlation.
pub fn effective(values: &[f64], chains: usize) -> f64 {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
    let mut rank = vec![0.0; values.len()];
    for (k, i) in order.into_iter().enumerate() {
        rank[i] = k as f64 / values.len() as f64 - 0.5;
    }
    let length = values.len() / chains.max(1);
    // Chains around one common mean: chains that disagree lower the count.
    let variance = rank.iter().map(|r| r * r).sum::<f64>() / rank.len() as f64;
    let correlation = |lag: usize| -> f64 {
        let sum: f64 = rank
            .chunks(length)
            .map(|c| c.iter().zip(c.iter().skip(lag)).map(|(a, b)| a * b).sum::<f64>())
            .sum();
        sum / (chains as f64 * length.saturating_sub(lag).max(1) as f64) / variance
    };
    let mut time = -1.0;
    for k in 0..length / 2 {
        let pair = correlation(2 * k) + correlation(2 * k + 1);
        if pair <= 0.0 {
            break;
        }
        time += 2.0 * pair;
    }
    values.len() as f64 / time.max(1.0)
}

/// One figure, answered twice.
pub struct Row {
    pub figure: &'static str,
    /// 5, 50, 95 % quantiles: estimator, sampler.
    pub quantiles: [[f64; 3]; 2],
    /// Means: estimator, sampler.
    pub means: [f64; 2],
    /// Effective counts: estimator, sampler.
    pub effective: [f64; 2],
    /// Share of the sampler's draws below the estimator's quantiles, minus 5, 50, 95 %, in standard errors.
    pub off: [f64; 3],
    /// The same shares minus 5, 50, 95 %.
    pub shift: [f64; 3],
}

/// Effort at which the sampling error of the estimator no longer matters: what is compared then is the
/// density and the closed form of its linear part.
pub const THOROUGH: Effort = Effort { first: 40_000, second: 20_000, rounds: 2, enough: 250.0, draws: 3000 };

/// Compares the estimator's answer at some effort with the sampler's.
pub fn compare(density: &Density, sampled: &Sampled, chains: usize, effort: Effort) -> Vec<Row> {
    let (weights, draws) = density.answer(effort);
    // The figures are made of resampled draws: no more of them count than there are.
    let weights = weights.min(draws.weight.len() as f64);
    let ours: [&[f64]; 5] = [&draws.soot, &draws.ash, &draws.zero, &draws.standard, &draws.standard_new];
    FIGURES
        .iter()
        .zip(ours)
        .zip(&sampled.values)
        .map(|((figure, ours), theirs)| {
            let count = effective(theirs, chains);
            let p = [0.05, 0.5, 0.95];
            let a = infer::quasi::weighted_quantiles(ours, &draws.weight, p);
            let b = infer::quasi::weighted_quantiles(theirs, &vec![1.0; theirs.len()], p);
            let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
            let shift: [f64; 3] = std::array::from_fn(|k| {
                theirs.iter().filter(|v| **v < a[k]).count() as f64 / theirs.len() as f64 - p[k]
            });
            Row {
                figure,
                quantiles: [a, b],
                means: [mean(ours), mean(theirs)],
                effective: [weights, count],
                off: std::array::from_fn(|k| {
                    shift[k] / (p[k] * (1.0 - p[k]) * (1.0 / weights + 1.0 / count)).sqrt()
                }),
                shift,
            }
        })
        .collect()
}

/// By how much probability the 5, 50 and 95 % quantiles at the product's effort stand off among the draws of
/// [`THOROUGH`], for each figure.
pub fn effort_costs(density: &Density) -> Vec<(&'static str, [f64; 3])> {
    let figures = |d: infer::posterior::Draws| [d.soot, d.ash, d.zero, d.standard, d.standard_new];
    let (_, quick) = density.answer(Effort::FULL);
    let weight = quick.weight.clone();
    let (quick, thorough) = (figures(quick), figures(density.answer(THOROUGH).1));
    let p = [0.05, 0.5, 0.95];
    FIGURES
        .iter()
        .zip(quick.iter().zip(&thorough))
        .map(|(figure, (quick, thorough))| {
            let at = infer::quasi::weighted_quantiles(quick, &weight, p);
            let below = |x: f64| thorough.iter().filter(|v| **v < x).count() as f64 / thorough.len() as f64;
            (*figure, std::array::from_fn(|k| below(at[k]) - p[k]))
        })
        .collect()
}

/// A case with its recordings.
pub struct Told {
    pub name: &'static str,
    pub case: Case,
    pub recordings: Vec<Option<Recording>>,
}

impl Told {
    pub fn density(&self) -> Density {
        let evidence =
            Evidence { case: &self.case, recordings: &self.recordings, knowledge: Knowledge::built_in() };
        Density::new(&evidence).expect("two hoses and no gauge")
    }
}

const CAR: &str = r#"schema = "sootwright.case/1"
[car]
category = "M1"
displacement_l = 1.6
odometer_km = 148000
[filter]
material = "silicon_carbide"
volume_l = 2.5
cell_density_cpsi = 200
wall_thickness_mm = 0.36
[sensor]
plumbing = "two_hoses"
"#;

fn typed(point: &str, speed: &str, value: f64) -> String {
    format!(
        "[[reading]]\npoint = \"{point}\"\n{speed}quantity = \"differential_pressure\"\nvalue = {value}\nunit = \"kPa\"\n"
    )
}

/// The cases: one typed reading, three of them, and a drive.
pub fn told() -> Vec<Told> {
    let load = |text: String| facts::load_case(&text, "case.toml").expect("the case is sound");
    let held = typed("held", "engine_speed_rpm = 2500\n", 2.6);
    let one = load(format!("{CAR}{held}"));
    let three = load(format!("{CAR}{}{}{held}", typed("key_on", "", 0.12), typed("hot_idle", "", 0.55)));
    let drive = demo::ordered::simulate(&demo::ordered::Order {
        seed: 4,
        heavy: false,
        soot_g_per_l: Some(4.2),
        ash_g_per_l: Some(16.0),
        faults: Vec::new(),
        sensors: demo::ordered::SensorErrors { zero_kpa: Some(0.1), ..Default::default() },
        trace: demo::ordered::Trace::Invented(demo::cycle::Style::Mixed, 12.0),
        key_on_s: 10.0,
        cold: false,
        forms: vec![demo::ordered::Form::Obd],
        made_by: "checks".to_owned(),
    })
    .expect("the order can be filled");
    let text = |name: &str| {
        let bytes = &drive.files.iter().find(|f| f.0 == name).expect("the file is there").1;
        String::from_utf8(bytes.clone()).expect("text")
    };
    let mut case = load(text("case.toml"));
    case.sensor.plumbing = Some(facts::case::Plumbing::TwoHoses);
    let log = read_bytes("obd.log", text("obd.log").as_bytes(), &Options::default());
    vec![
        Told { name: "one typed reading at 2500 rpm", case: one, recordings: Vec::new() },
        Told { name: "typed: key on, hot idle, 2500 rpm", case: three, recordings: Vec::new() },
        Told { name: "a drive of 12 minutes", case, recordings: vec![Some(log)] },
    ]
}
