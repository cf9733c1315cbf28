//! The one posterior over state and fault set of the filter side.
//!
//! Quasi-random samples of the state come from a defensive proposal that covers every hypothesis; what is
//! linear (zero, viscous and inertial coefficients with their discrepancies) is integrated out in closed
//! form; every hypothesis reweights the same samples by its own priors. Further rounds draw from
//! Gaussians fitted to the earlier ones, and all are combined by the balance heuristic (Veach and Guibas 1995).

pub mod density;
mod guide;

use crate::conditions::BelowZero;
use crate::hypothesis::{Hypothesis, SensorMode, SootMode};
use crate::prior::{Priors, coordinate as at};
use crate::quasi::{Mixture, Points, normal_quantile, weighted_quantiles};
use crate::shown::{Behaviour, Evaluator, Filter, Matrix, PressureData, Vector, components, fit};
use crate::signs::Signs;
use crate::summary::{K, STANDARD_K, Standard};
use crate::tables::{Columns, Effects, Tables, Weights, effects, sensor_index};
use nalgebra::SMatrix;
use rayon::prelude::*;
use std::collections::BTreeMap;
use wallflow::deposits::Deposits;
use wallflow::geometry::Geometry;
use wallflow::media::{Ash, Cake, Media, Slip, Wall};
use wallflow::pressure::{inertial_coefficient, viscous_resistance};

/// One sample of the state.
#[derive(Debug, Clone)]
struct Sample {
    x: [f64; at::COUNT],
    /// Viscous part at the standard condition, kPa: as it is, and as new.
    now: f64,
    new: f64,
    /// Change of the viscous part per 100 K, relative.
    slope: f64,
    /// Inertial part at the standard condition, kPa.
    inertial: f64,
    volume_l: f64,
    /// ln density of the coordinates that no hypothesis changes: the covering proposal's as well.
    unchanged: f64,
    /// The same with all else that no hypothesis changes.
    common: f64,
    /// ln density of all proposals so far, each times its count of samples.
    proposed: f64,
    /// ln likelihood per sensor mode.
    likelihood: [f64; SensorMode::ALL.len()],
}

/// Marginal quantities of the state, weighted.
#[derive(Debug, Clone, Default)]
pub struct Draws {
    /// Weights, adding up to one.
    pub weight: Vec<f64>,
    /// Soot load, g/L.
    pub soot: Vec<f64>,
    /// Ash load, g/L.
    pub ash: Vec<f64>,
    /// Filter volume, L.
    pub volume: Vec<f64>,
    /// Zero, kPa.
    pub zero: Vec<f64>,
    /// Standard pressure drop, kPa.
    pub standard: Vec<f64>,
    /// As new.
    pub standard_new: Vec<f64>,
    /// Shown coefficients (kPa at the standard condition): zero, viscous, its slope, inertial, shape.
    pub beta: Vec<[f64; K]>,
    /// Coefficients of this filter as new with a sound sensor.
    pub beta_new: Vec<[f64; K]>,
    /// Whether the reading carries anything of the filter under the draw's sensor mode.
    pub informed: Vec<bool>,
    /// Sensor mode of the draw, as its place in [`SensorMode::ALL`].
    pub sensor: Vec<usize>,
    /// Coordinates, for sensitivities.
    pub x: Vec<[f64; at::COUNT]>,
}

impl Draws {
    /// Adds draws of the same figures under other assumptions, whose weights count by `share`.
    pub(crate) fn append(&mut self, mut more: Self, share: f64) {
        more.weight.iter_mut().for_each(|w| *w *= share);
        self.weight.append(&mut more.weight);
        self.soot.append(&mut more.soot);
        self.ash.append(&mut more.ash);
        self.volume.append(&mut more.volume);
        self.zero.append(&mut more.zero);
        self.standard.append(&mut more.standard);
        self.standard_new.append(&mut more.standard_new);
        self.beta.append(&mut more.beta);
        self.beta_new.append(&mut more.beta_new);
        self.informed.append(&mut more.informed);
        self.sensor.append(&mut more.sensor);
        self.x.append(&mut more.x);
    }

    /// Weighted 5, 50 and 95 % quantiles.
    #[must_use]
    pub fn interval(&self, of: &[f64]) -> [f64; 3] {
        weighted_quantiles(of, &self.weight, [0.05, 0.5, 0.95])
    }
}

/// The result for the filter side.
#[derive(Debug, Clone)]
pub struct Posterior {
    /// ln evidence of each hypothesis, prior weight included, in the order given, without and with the
    /// soot of an additive system that no longer doses.
    pub log_weight: Vec<[f64; 2]>,
    /// Evidence by part for each hypothesis: (signs, pressure and state).
    pub log_parts: Vec<(f64, f64)>,
    /// Effective sample size of the final weights.
    pub effective: f64,
    /// Exponent of the likelihood of the readings: below 1 where the search found too few samples.
    pub power: f64,
    /// ln evidence that the flattened likelihood adds to that of the readings as they are; 0 at power 1.
    pub flattened: f64,
    /// Draws that [`Posterior::draws`] makes.
    count: usize,
    samples: Vec<Sample>,
    weights: Weights,
    /// ln evidence of the state under each combination of effects met with so far.
    known: BTreeMap<Effects, f64>,
    /// No evidence of a state exceeds this (natural logarithm).
    bound: f64,
    /// Weight of each sample by sensor mode, all hypotheses summed.
    by_mode: Vec<[f64; SensorMode::ALL.len()]>,
}

fn log_sum_exp(terms: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = terms.clone().fold(f64::NEG_INFINITY, f64::max);
    if top.is_finite() { top + terms.map(|t| (t - top).exp()).sum::<f64>().ln() } else { top }
}

/// Coordinates that some hypothesis changes; the rest are in [`Sample::common`].
const CHANGED: [usize; 4] = [at::SOOT, at::ASH, at::FLOW, at::HEAT];

/// Filter and media of a sample.
fn body(x: &[f64; at::COUNT], p: &Priors) -> Option<(Geometry, Media)> {
    let geometry = p.geometry_of(x)?;
    let wall = Wall::new(x[at::WALL].exp())
        .ok()?
        .with_loading(p.loaded_ratio(x[at::LOADED]), x[at::FILLING].exp())
        .ok()?;
    let cake = Cake::new(x[at::CAKE].exp(), 95.0).ok()?.with_slip(Slip::new(x[at::SLIP].exp(), 543.0).ok()?);
    Some((geometry, Media::new(wall, cake, Ash::new(x[at::ASH_LAYER].exp(), 400.0, 500.0).ok()?)))
}

/// Share of the ash that lies in the rear plug.
#[must_use]
pub fn plug_share(x: &[f64; at::COUNT]) -> f64 {
    1.0 / (1.0 + (-x[at::PLUG]).exp())
}

/// Viscous resistance with the soot of a sample replaced by `soot` (g/L) over the one with its own.
#[must_use]
pub fn resistance_ratio(x: &[f64; at::COUNT], p: &Priors, soot: f64) -> Option<f64> {
    let (geometry, media) = body(x, p)?;
    let of = |soot: f64| {
        let deposits = Deposits::new(soot, x[at::ASH].exp(), plug_share(x)).ok()?;
        Some(viscous_resistance(&geometry, &deposits, &media, STANDARD_K, p.ambient_pa).ok()?.total)
    };
    Some(of(soot)? / of(x[at::SOOT].exp())?)
}

/// Length of the ash plug over the length of the channel of a sample, 0 to 1.
#[must_use]
pub fn plug_length_share(x: &[f64; at::COUNT], p: &Priors) -> Option<f64> {
    let (geometry, media) = body(x, p)?;
    let deposits = Deposits::new(0.0, x[at::ASH].exp(), plug_share(x)).ok()?;
    let layers = deposits.layers(&geometry, &media).ok()?;
    Some(layers.plug_length() / geometry.length())
}

fn evaluate(x: [f64; at::COUNT], p: &Priors, d: &PressureData, std: &Standard) -> Option<Sample> {
    // Loads per volume: a litre more of filter holds the same mass at a lower load, which the load prior
    // already expresses.
    let (soot, ash) = (x[at::SOOT].exp(), x[at::ASH].exp());
    let (geometry, media) = body(&x, p)?;
    let deposits = Deposits::new(soot, ash, plug_share(&x)).ok()?;
    let at_standard = viscous_resistance(&geometry, &deposits, &media, STANDARD_K, p.ambient_pa).ok()?.total;
    let other_k = match d.mean_k {
        Some(t) if (t - STANDARD_K).abs() > 40.0 => t.clamp(300.0, 900.0),
        _ => 453.0,
    };
    let at_other = viscous_resistance(&geometry, &deposits, &media, other_k, p.ambient_pa).ok()?.total;
    let bare = Deposits::new(0.0, 0.0, 0.0).ok()?;
    let as_new = viscous_resistance(&geometry, &bare, &media, STANDARD_K, p.ambient_pa).ok()?.total;
    let faces = inertial_coefficient(&geometry, &deposits, &media, 0.95, 0.45).ok()?;
    // A temperature error acts on mu Q as T^1.7 and on rho Q² as T (physics reference 3).
    let heat = 1.0 + x[at::HEAT] / d.mean_k.unwrap_or(520.0);
    let kpa = std.x1 / 1000.0;
    let unchanged =
        (0..at::COUNT).filter(|j| !CHANGED.contains(j)).map(|j| p.common[j].log_density(x[j])).sum::<f64>();
    let s = Sample {
        now: at_standard * kpa * heat.max(0.5).powf(1.7),
        new: as_new * kpa,
        slope: (at_other / at_standard - 1.0) / ((other_k - STANDARD_K) / 100.0),
        inertial: (faces * std.x2 / 1000.0 + x[at::CONES].exp()) * heat.max(0.5),
        volume_l: geometry.volume() * 1000.0,
        unchanged,
        common: unchanged
            + p.carried.as_ref().map_or(0.0, |c| c.log_together(&x))
            + figures(p, soot, ash)
            + possible(as_new * kpa, at_standard * kpa),
        proposed: 0.0,
        likelihood: [0.0; SensorMode::ALL.len()],
        x,
    };
    (s.now.is_finite() && s.now > 0.0 && s.slope.is_finite()).then_some(s)
}

/// ln likelihood of the controller's own soot and ash figures: facts with their own, wide errors.
fn figures(p: &Priors, soot: f64, ash: f64) -> f64 {
    let one = |figure: Option<(f64, f64)>, truth: f64| {
        figure.map_or(0.0, |(v, sd)| {
            // One controller in six is simply wrong: not reset, or misled by its sensors.
            let sd = sd.hypot(0.25 * truth);
            Mixture::of(vec![(0.84, v, sd), (0.16, v, 4.0 * sd)]).log_density(truth)
        })
    };
    one(p.controller_soot, soot) + one(p.controller_ash, ash) + rarely_above(soot, ash)
}

/// No maker ships a filter that costs more than a few kPa at the standard flow as new, and no engine pulls
/// against several tens (trade reference 3.1: blocked from 20 to 25 kPa at full flow). Soft shoulders.
fn possible(as_new_kpa: f64, now_kpa: f64) -> f64 {
    let beyond = |x: f64, from: f64| (-0.5 * ((x / from).ln() / 0.3).max(0.0).powi(2)).min(0.0);
    beyond(as_new_kpa, 5.0) + beyond(now_kpa, 22.0)
}

/// Ends of what cars drive in with. Controllers start a burn at 3 to 6 g/L, cut the power and light the
/// lamps well below 10, and refuse to go on soon after (trade reference 3.3, from memory); ash is told at
/// 30 to 60 g/L and rarely passes twice that (5.3). Soft shoulders, so that pressure can still insist.
fn rarely_above(soot: f64, ash: f64) -> f64 {
    let beyond = |x: f64, from: f64, scale: f64| {
        let z = ((x - from) / scale).max(0.0);
        -0.5 * z * z
    };
    beyond(soot, 9.0, 2.5) + beyond(ash, 70.0, 25.0)
}

/// Coordinates of samples.
fn states(samples: &[Sample]) -> Vec<&[f64; at::COUNT]> {
    samples.iter().map(|s| &s.x).collect()
}

impl Sample {
    /// What a sensor has before it.
    fn filter(&self, zero: (f64, f64)) -> Filter {
        let (g, k) = (self.x[at::FLOW].exp(), self.x[at::GAIN].exp());
        Filter {
            viscous: self.now * g * k,
            bare: self.new * g * k,
            slope: self.slope,
            inertial: self.inertial * g * g * k,
            viscous_gain: g * k,
            inertial_gain: g * g * k,
            zero,
        }
    }
}

/// Readings ready to be compared with many samples.
struct Readings<'a> {
    data: &'a PressureData,
    behaviour: Behaviour,
    controller: Option<Evaluator>,
    gauge: Option<Evaluator>,
    one_hose: f64,
    zero: (f64, f64),
    /// ln likelihood of the modes under which the reading knows nothing of the filter: one for all samples.
    blind: [Option<f64>; SensorMode::ALL.len()],
}

impl<'a> Readings<'a> {
    fn new(p: &Priors, data: &'a PressureData) -> Self {
        let mut out = Self {
            data,
            behaviour: Behaviour::new(data),
            controller: data.controller.as_ref().map(Evaluator::new),
            gauge: data.gauge.as_ref().map(Evaluator::new),
            one_hose: p.one_hose,
            zero: p.zero,
            blind: [None; SensorMode::ALL.len()],
        };
        let any = Filter {
            viscous: 1.0,
            bare: 1.0,
            slope: 0.0,
            inertial: 1.0,
            viscous_gain: 1.0,
            inertial_gain: 1.0,
            zero: p.zero,
        };
        for mode in [SensorMode::OffUpstream, SensorMode::Frozen] {
            out.blind[sensor_index(mode)] = Some(out.by_controller(mode, &any));
        }
        out
    }

    /// ln likelihood of what the car's own sensor showed.
    fn by_controller(&self, mode: SensorMode, filter: &Filter) -> f64 {
        let Some(block) = &self.controller else { return 0.0 };
        let parts = components(mode, filter, self.one_hose, self.data.below_zero);
        let terms: Vec<f64> =
            parts.iter().map(|c| self.behaviour.log_weight(c) + block.log_likelihood(c)).collect();
        log_sum_exp(terms.iter().copied())
    }

    /// ln likelihood of what a gauge showed: it sits on the same taps and knows nothing of the car's sensor.
    fn by_gauge(&self, mode: SensorMode, filter: &Filter) -> f64 {
        let Some(block) = &self.gauge else { return 0.0 };
        let parts = components(mode, filter, 0.0, BelowZero::Shown);
        let terms: Vec<f64> = parts
            .into_iter()
            .map(|mut c| {
                c.sd[0] = 0.03;
                c.weight.ln() + block.log_likelihood(&c)
            })
            .collect();
        log_sum_exp(terms.iter().copied())
    }

    /// ln likelihood of a sample under every sensor mode that is `alive`.
    fn likelihoods(&self, s: &mut Sample, alive: &[bool; SensorMode::ALL.len()]) {
        let filter = s.filter(self.zero);
        let whole = self.by_gauge(SensorMode::Sound, &filter);
        for (k, mode) in SensorMode::ALL.into_iter().enumerate() {
            s.likelihood[k] = if !alive[k] || (mode == SensorMode::OffDownstream && self.one_hose >= 1.0) {
                // One hose has no second one to lose.
                f64::NEG_INFINITY
            } else {
                let shown = self.blind[k].unwrap_or_else(|| self.by_controller(mode, &filter));
                let through = match mode {
                    SensorMode::Cracked | SensorMode::Removed => self.by_gauge(mode, &filter),
                    _ => whole,
                };
                shown + through
            };
        }
    }
}

/// A Gaussian in all coordinates.
struct Normal {
    share: f64,
    mean: nalgebra::SVector<f64, { at::COUNT }>,
    lower: SMatrix<f64, { at::COUNT }, { at::COUNT }>,
    /// Inverse of `lower`.
    whiten: SMatrix<f64, { at::COUNT }, { at::COUNT }>,
    log_norm: f64,
}

impl Normal {
    fn fitted(samples: &[Sample], w: &[f64], share: f64, prior: &[Mixture; at::COUNT]) -> Option<Self> {
        let total: f64 = w.iter().sum();
        let squares: f64 = w.iter().map(|v| v * v).sum();
        if total <= 0.0 {
            return None;
        }
        let mut mean = nalgebra::SVector::<f64, { at::COUNT }>::zeros();
        for (s, &v) in samples.iter().zip(w) {
            mean += nalgebra::SVector::from(s.x) * (v / total);
        }
        let mut cov = SMatrix::<f64, { at::COUNT }, { at::COUNT }>::zeros();
        for (s, &v) in samples.iter().zip(w) {
            if v > 0.0 {
                let r = nalgebra::SVector::from(s.x) - mean;
                cov += r * r.transpose() * (v / total);
            }
        }
        // Few effective samples: lean on the diagonal of the prior so that the fit cannot collapse.
        let effective = total * total / squares.max(1e-300);
        let lean = (20.0 / effective).clamp(0.02, 0.8);
        for i in 0..at::COUNT {
            let spread = prior[i].parts().iter().map(|q| q.2).fold(0.0, f64::max);
            for j in 0..at::COUNT {
                cov[(i, j)] *= 1.0 - lean;
            }
            cov[(i, i)] += lean * spread * spread * 0.3 + 1e-8;
        }
        Self::of(mean, cov * 1.25, share)
    }

    fn of(
        mean: nalgebra::SVector<f64, { at::COUNT }>,
        cov: SMatrix<f64, { at::COUNT }, { at::COUNT }>,
        share: f64,
    ) -> Option<Self> {
        let lower = cov.cholesky()?.l();
        let log_norm = -(0..at::COUNT).map(|i| lower[(i, i)].ln()).sum::<f64>()
            - 0.918_938_533_204_672_7 * at::COUNT as f64;
        let whiten = lower.solve_lower_triangular(&SMatrix::identity())?;
        Some(Self { share, mean, lower, whiten, log_norm })
    }
    fn log_density(&self, x: &[f64; at::COUNT]) -> f64 {
        let z = self.whiten * (nalgebra::SVector::from(*x) - self.mean);
        self.log_norm - 0.5 * z.norm_squared()
    }
}

/// Share of the posterior from which a sensor mode gets a proposal of its own.
const SEEN: f64 = 3e-3;
/// Effective samples that a fit needs.
const FOR_A_FIT: f64 = 60.0;

fn effective_size(w: &[f64]) -> f64 {
    let (sum, squares) = w.iter().fold((0.0, 0.0), |(a, b), v| (a + v, b + v * v));
    if squares > 0.0 { sum * sum / squares } else { 0.0 }
}

/// Weights flattened by the largest power up to one that leaves enough effective samples for a fit: where a
/// few samples hold all the weight, their fit would follow chance.
fn tempered(w: &[f64]) -> Vec<f64> {
    let top = w.iter().copied().fold(0.0, f64::max);
    if top <= 0.0 || effective_size(w) >= FOR_A_FIT {
        return w.to_vec();
    }
    let logs: Vec<f64> = w.iter().map(|v| (v / top).ln()).collect();
    let at = |power: f64| logs.iter().map(|l| (l * power).exp()).collect::<Vec<f64>>();
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..12 {
        let middle = 0.5 * (low + high);
        if effective_size(&at(middle)) >= FOR_A_FIT { low = middle } else { high = middle }
    }
    at(low)
}

/// Sizes of the two rounds.
#[derive(Debug, Clone, Copy)]
pub struct Effort {
    /// Samples of the covering round.
    pub first: usize,
    /// Samples of a fitted round.
    pub second: usize,
    /// Most fitted rounds (0 = none).
    pub rounds: usize,
    /// Effective samples that suffice: no further round is drawn.
    pub enough: f64,
    /// Equally weighted draws that figures are made of.
    pub draws: usize,
}

/// Weights below this share of the largest change no figure.
const NEGLIGIBLE: f64 = 1e-6;

/// Effective samples that suffice: the 5 % quantile is then good to about a tenth of the interval.
const ENOUGH: f64 = 250.0;

/// Samples that one core draws at a time: some hundreds of microseconds of work.
const CHUNK: usize = 128;
/// Before the first fitted round so many times more are asked for: the covering samples reach few sensor modes well.
const FIRST_ROUND: f64 = 4.0;

/// Fewer effective samples than this are no answer.
const TOO_FEW: f64 = 40.0;

impl Effort {
    /// For the answer.
    pub const FULL: Self = Self { first: 2200, second: 1500, rounds: 4, enough: ENOUGH, draws: DRAWS };
    /// For the answer without pressure readings and recordings.
    pub const PRIOR: Self = Self { first: 1100, second: 0, rounds: 0, enough: ENOUGH, draws: DRAWS };
}

/// Weighs all hypotheses.
#[must_use]
pub fn posterior(
    hypotheses: &[Hypothesis],
    p: &Priors,
    d: &PressureData,
    signs: &Signs,
    std: &Standard,
    extra: &dyn Fn(&Hypothesis) -> f64,
    effort: Effort,
) -> Posterior {
    let tables = Tables::new(p, signs);
    let cover = tables.proposal(p);
    let readings = Readings::new(p, d);
    let mut alive = [true; SensorMode::ALL.len()];
    let points = Points;
    let cover_log =
        |s: &Sample| s.unchanged + CHANGED.iter().map(|&j| cover[j].log_density(s.x[j])).sum::<f64>();
    let first = (effort.first as f64).ln();
    // Samples know nothing of each other: all cores draw, in the order of one.
    let drawn = |count: usize,
                 alive: &[bool; SensorMode::ALL.len()],
                 x: &(dyn Fn(usize) -> [f64; at::COUNT] + Sync),
                 proposed: &(dyn Fn(&Sample) -> f64 + Sync)|
     -> Vec<Sample> {
        (0..count)
            .into_par_iter()
            .with_min_len(CHUNK)
            .filter_map(|i| {
                let mut s = evaluate(x(i), p, d, std)?;
                readings.likelihoods(&mut s, alive);
                s.proposed = proposed(&s);
                Some(s)
            })
            .collect()
    };
    let from_normal = |n: &Normal, i: usize| -> [f64; at::COUNT] {
        let z = nalgebra::SVector::from_fn(|j, _| normal_quantile(points.at(i, j)));
        (n.mean + n.lower * z).into()
    };
    let mut samples =
        drawn(effort.first, &alive, &|i| std::array::from_fn(|j| cover[j].pick(points.at(i, j))), &|s| {
            first + cover_log(s)
        });
    let mut columns = Columns::default();
    columns.extend(&tables, &states(&samples));
    let mut made = effort.first;
    // What earlier visits told together is a better place to look than its margins; where the readings take it is
    // better still.
    let known = p.carried.as_ref().and_then(|c| {
        let (mean, cov) = c.gaussian();
        Normal::of(mean, cov * 1.3, 1.0)
    });
    let mut fits: Vec<(f64, Normal)> = known.map(|k| ((effort.first / 2) as f64, k)).into_iter().collect();
    if effort.rounds > 0 {
        let found = guide::guides(p, d, std, &tables);
        fits.extend(found.into_iter().map(|g| ((effort.second as f64 * g.share).round().max(1.0), g)));
    }
    let proposed = |s: &Sample, fits: &[(f64, Normal)]| {
        log_sum_exp(
            std::iter::once(first + cover_log(s))
                .chain(fits.iter().map(|(n, f)| n.ln() + f.log_density(&s.x))),
        )
    };
    if !fits.is_empty() {
        samples.iter_mut().for_each(|s| s.proposed = proposed(s, &fits));
    }
    for (n, normal) in &fits {
        let more = drawn(*n as usize, &alive, &|i| from_normal(normal, made + i), &|s| proposed(s, &fits));
        columns.extend(&tables, &states(&more));
        samples.extend(more);
        made += *n as usize;
    }
    let given = Given { hypotheses, p, signs, extra, tables: &tables };
    let mut out = given.weigh(samples, columns, made, 1.0, None);

    // Fitted rounds until the weights are even enough. Each keeps all earlier samples; together they are
    // weighed against all proposals (balance heuristic).
    let pilot = out.log_weight.clone();
    if effort.rounds > 0 {
        alive = out.hopeful(hypotheses);
        for (k, _) in alive.iter().enumerate().filter(|(_, a)| !**a) {
            out.samples.iter_mut().for_each(|s| s.likelihood[k] = f64::NEG_INFINITY);
        }
    }
    let settled = Settled { alive, pilot };
    for round in 0..effort.rounds {
        // Where nothing was read the covering round is the answer.
        let enough = if round == 0 { FIRST_ROUND * effort.enough } else { effort.enough };
        if out.samples.len() < 100 || out.effective > enough {
            break;
        }
        let fitted = out.fitted(&cover);
        if fitted.is_empty() {
            break;
        }
        let mut all = std::mem::take(&mut out.samples);
        let mut columns = std::mem::take(&mut out.weights.columns);
        let count = |f: &Normal| (effort.second as f64 * f.share).round().max(1.0);
        all.par_iter_mut().with_min_len(CHUNK).for_each(|s| {
            s.proposed = log_sum_exp(
                std::iter::once(s.proposed).chain(fitted.iter().map(|f| count(f).ln() + f.log_density(&s.x))),
            );
        });
        let from = fits.len();
        fits.extend(fitted.into_iter().map(|f| (count(&f), f)));
        for (n, fit) in &fits[from..] {
            let more = drawn(*n as usize, &alive, &|i| from_normal(fit, made + i), &|s| proposed(s, &fits));
            columns.extend(&tables, &states(&more));
            all.extend(more);
            made += *n as usize;
        }
        out = given.weigh(all, columns, made, 1.0, Some(&settled));
    }
    if effort.rounds > 0 && out.effective < TOO_FEW {
        out = softened(&given, out, made, &settled);
    }
    out.bound = out.weights.bound() - (out.samples.len() as f64).max(1.0).ln();
    out.count = effort.draws;
    out
}

/// What the weights of samples are made of.
struct Given<'a> {
    hypotheses: &'a [Hypothesis],
    p: &'a Priors,
    signs: &'a Signs,
    extra: &'a dyn Fn(&Hypothesis) -> f64,
    tables: &'a Tables,
}

/// What the covering round has settled: sensor modes that the readings contradict keep the evidence that it
/// gave them, and no further work is spent on them.
struct Settled {
    alive: [bool; SensorMode::ALL.len()],
    pilot: Vec<[f64; 2]>,
}

/// Where a handful of samples holds all the weight, the readings contradict every hypothesis or the search
/// failed: neither may be told as certainty. The likelihood of the readings is then flattened by the largest
/// power that leaves enough samples (power posterior), which widens every answer.
fn softened(given: &Given, mut out: Posterior, made: usize, settled: &Settled) -> Posterior {
    let (mut low, mut high) = (0.0, 1.0);
    let total = |p: &Posterior| log_sum_exp(p.log_weight.iter().map(|w| w[0]));
    let honest = total(&out);
    for step in 0..7 {
        let power = if step == 6 { low } else { 0.5 * (low + high) };
        let samples = std::mem::take(&mut out.samples);
        let columns = std::mem::take(&mut out.weights.columns);
        out = given.weigh(samples, columns, made, power, Some(settled));
        if out.effective >= TOO_FEW { low = power } else { high = power }
    }
    out.flattened = total(&out) - honest;
    out
}

/// ln weight of a hypothesis by what does not hang on the state: prior, signs, and how burns went.
fn beside_the_state(h: &Hypothesis, p: &Priors, signs: &Signs) -> f64 {
    let life = match (h.soot, p.ended_early) {
        (SootMode::Incomplete, Some(true)) => f64::ln(0.6),
        (SootMode::Incomplete, Some(false)) => f64::ln(0.15),
        (_, Some(true)) => f64::ln(0.1),
        (_, Some(false)) => f64::ln(0.75),
        (_, None) => 0.0,
    } + if h.soot == SootMode::ShortTrips { p.short_trips } else { 0.0 };
    h.log_prior + signs.log_likelihood(h.engine) + life
}

/// ln evidence of the state with soot doped and undoped; `n` = logarithm of the count of samples. Many
/// hypotheses share what they do to the state; each such combination is summed once.
fn of_the_state(h: &Hypothesis, weights: &Weights, n: f64, known: &mut BTreeMap<Effects, f64>) -> [f64; 2] {
    [false, true].map(|u| {
        *known.entry(effects(h, u)).or_insert_with_key(|e| {
            let (scale, sum) = weights.sum(*e);
            scale + sum.ln() - n
        })
    })
}

impl Given<'_> {
    /// `made` = samples drawn, those that stand for no filter included; `power` = exponent of the likelihood of
    /// the readings, 1 unless the search failed.
    fn weigh(
        &self,
        samples: Vec<Sample>,
        columns: Columns,
        made: usize,
        power: f64,
        settled: Option<&Settled>,
    ) -> Posterior {
        let (hypotheses, p, signs) = (self.hypotheses, self.p, self.signs);
        // The proposals count their samples, so that their sum is the density times this.
        let n = (samples.len() as f64).max(1.0).ln();
        let made = (made as f64).max(1.0).ln();
        let logs = samples.iter().map(|s| s.likelihood.map(|l| power * l + s.common + made - s.proposed));
        let weights = Weights::new(self.tables.clone(), columns, logs);
        let mut log_weight = Vec::with_capacity(hypotheses.len());
        let mut log_parts = Vec::with_capacity(hypotheses.len());
        let mut known: BTreeMap<Effects, f64> = BTreeMap::new();
        for (i, h) in hypotheses.iter().enumerate() {
            let sign = signs.log_likelihood(h.engine);
            let rest = beside_the_state(h, p, signs) + (self.extra)(h);
            if let Some(pilot) =
                settled.filter(|s| !s.alive[sensor_index(h.sensor)]).and_then(|s| s.pilot.get(i))
            {
                log_weight.push(*pilot);
                log_parts.push((sign, pilot[0] - rest));
                continue;
            }
            let state = of_the_state(h, &weights, n, &mut known);
            log_weight.push(state.map(|v| v + rest));
            log_parts.push((sign, state[0]));
        }
        let mut out = Posterior {
            log_weight,
            log_parts,
            effective: 0.0,
            power,
            flattened: 0.0,
            count: DRAWS,
            samples,
            weights,
            known,
            bound: f64::INFINITY,
            by_mode: Vec::new(),
        };
        out.by_mode = out.sensor_weights(hypotheses, &|_| 0.0, None);
        let w: Vec<f64> = out.by_mode.iter().map(|w| w.iter().sum()).collect();
        out.effective = effective_size(&w);
        out
    }
}

/// A sensor mode is given up when its evidence would stay below this share of all although every sample of the
/// covering round were as good as the best (natural logarithm).
const HOPELESS: f64 = -9.0;

impl Posterior {
    /// Sensor modes that further rounds may still raise to a probability worth telling.
    fn hopeful(&self, hypotheses: &[Hypothesis]) -> [bool; SensorMode::ALL.len()] {
        let best = |w: &[f64; 2]| w[0].max(w[1]);
        let of = |k: Option<usize>| {
            let these = hypotheses
                .iter()
                .zip(&self.log_weight)
                .filter(move |(h, _)| k.is_none_or(|k| sensor_index(h.sensor) == k));
            log_sum_exp(these.map(|(_, w)| best(w)))
        };
        let (all, every) = (of(None), (self.samples.len() as f64).max(1.0).ln());
        std::array::from_fn(|k| of(Some(k)) + every - all >= HOPELESS)
    }

    /// ln weight that no hypothesis can exceed, however well it tells the observations (`most_told`, natural
    /// logarithm): for leaving out what cannot matter before it is worked out.
    #[must_use]
    pub fn at_most(&self, h: &Hypothesis, p: &Priors, signs: &Signs, most_told: f64) -> f64 {
        beside_the_state(h, p, signs) + most_told + self.bound
    }

    /// Weighs one more hypothesis with the samples at hand; `told` = ln probability of its observations. A
    /// sensor mode that the search gave up has no weight.
    pub fn also(&mut self, h: &Hypothesis, p: &Priors, signs: &Signs, told: f64) {
        let n = (self.samples.len() as f64).max(1.0).ln();
        let state = of_the_state(h, &self.weights, n, &mut self.known);
        let rest = beside_the_state(h, p, signs) + told;
        self.log_weight.push(state.map(|v| v + rest));
        self.log_parts.push((signs.log_likelihood(h.engine), state[0]));
    }

    /// A Gaussian for each sensor mode that carries weight.
    fn fitted(&self, cover: &[Mixture; at::COUNT]) -> Vec<Normal> {
        let mut out: Vec<Normal> = Vec::new();
        for k in 0..SensorMode::ALL.len() {
            let w: Vec<f64> = self.by_mode.iter().map(|w| w[k]).collect();
            let share: f64 = w.iter().sum();
            if share > SEEN {
                let even = tempered(&w);
                // A mode that the samples so far hardly reached may be worth more than it seems.
                out.extend(Normal::fitted(&self.samples, &even, share.sqrt(), cover));
            }
        }
        let shares: f64 = out.iter().map(|f| f.share).sum();
        out.iter_mut().for_each(|f| f.share /= shares.max(1e-300));
        out
    }

    /// Weight of each sample under each sensor mode, all hypotheses summed; adds up to one.
    /// `undoped` gives for each hypothesis the probability that its soot carries no additive; `joint` its
    /// probability when more than the filter side was weighed.
    fn sensor_weights(
        &self,
        hypotheses: &[Hypothesis],
        undoped: &dyn Fn(usize) -> f64,
        joint: Option<&dyn Fn(usize) -> f64>,
    ) -> Vec<[f64; SensorMode::ALL.len()]> {
        let top = self.log_weight.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut out = vec![[0.0; SensorMode::ALL.len()]; self.samples.len()];
        if !top.is_finite() {
            return out;
        }
        let mut total = 0.0;
        // Equal effects on the state: one pass for the sum of their weights.
        let mut merged: BTreeMap<Effects, f64> = BTreeMap::new();
        for (i, h) in hypotheses.iter().enumerate() {
            for u in [false, true] {
                let share = if u { undoped(i) } else { 1.0 - undoped(i) };
                let w = match joint {
                    Some(p) => share * p(i),
                    None => share * (self.log_weight[i][usize::from(u)] - top).exp(),
                };
                if w > NEGLIGIBLE {
                    *merged.entry(effects(h, u)).or_default() += w;
                }
            }
        }
        let mut scratch = Vec::with_capacity(self.samples.len());
        for (e, w) in merged {
            let k = sensor_index(e.0);
            let (_, sum) = self.weights.product(e, &mut scratch);
            if sum > 0.0 {
                for (o, t) in out.iter_mut().zip(&scratch) {
                    o[k] += w * t / sum;
                }
                total += w;
            }
        }
        out.iter_mut().for_each(|o| o.iter_mut().for_each(|v| *v /= total.max(1e-300)));
        out
    }

    /// Draws of everything a figure is made of, by systematic resampling.
    #[must_use]
    pub fn draws(
        &self,
        hypotheses: &[Hypothesis],
        p: &Priors,
        d: &PressureData,
        undoped: &dyn Fn(usize) -> f64,
        joint: &dyn Fn(usize) -> f64,
    ) -> Draws {
        let weights = self.sensor_weights(hypotheses, undoped, Some(joint));
        let points = Points;
        let behaviour = Behaviour::new(d);
        let mut out = Draws::default();
        let (mut sum, mut made) = (0.0, 0_usize);
        for (s, w) in self.samples.iter().zip(&weights) {
            for (k, mode) in SensorMode::ALL.into_iter().enumerate() {
                sum += w[k];
                let ready =
                    |made: usize| made < self.count && (made as f64 + 0.5) / (self.count as f64) < sum;
                if !ready(made) {
                    continue;
                }
                let linear = Linear::new(s, mode, p, d, &behaviour);
                while ready(made) {
                    linear.draw(std::array::from_fn(|j| points.at(made, j)), &mut out);
                    made += 1;
                }
            }
        }
        out
    }
}

/// Count of equally weighted draws that figures are made of: the 5 % quantile is then good to a fortieth
/// of the interval.
const DRAWS: usize = 3000;

/// The coefficients hold for gas at one atmosphere; the drop itself compresses the gas and so lowers volume
/// flow and drop. With the density half way between inlet and outlet (physics reference 2.3),
/// D = dp (1 + dp/2p).
fn at_own_pressure(kpa: f64) -> f64 {
    const P: f64 = 101.325;
    P * ((1.0 + 2.0 * kpa / P).sqrt() - 1.0)
}

/// The linear part given a sample and a sensor mode: what draws of one state share.
struct Linear<'a> {
    sample: &'a Sample,
    mode: SensorMode,
    parts: Vec<crate::shown::Component>,
    fits: Vec<(f64, Option<(Vector, Matrix)>)>,
}

impl<'a> Linear<'a> {
    fn new(
        sample: &'a Sample,
        mode: SensorMode,
        p: &Priors,
        d: &PressureData,
        behaviour: &Behaviour,
    ) -> Self {
        let parts = components(mode, &sample.filter(p.zero), p.one_hose, d.below_zero);
        let fits = parts
            .iter()
            .map(|c| match &d.controller {
                Some(b) => {
                    let (log, post) = fit(b, c, true);
                    (behaviour.log_weight(c) + log, post)
                }
                None => (c.weight.ln(), None),
            })
            .collect();
        Self { sample, mode, parts, fits }
    }

    /// One draw; `u` are uniform numbers.
    fn draw(&self, u: [f64; 3], out: &mut Draws) {
        let (s, mode, parts, fits) = (self.sample, self.mode, &self.parts, &self.fits);
        let (z_pressure, z_zero) = (normal_quantile(u[1]), normal_quantile(u[2]));
        let top = fits.iter().map(|f| f.0).fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = fits.iter().map(|f| (f.0 - top).exp()).sum();
        let mut left = u[0] * sum;
        let mut pick = 0;
        for (i, f) in fits.iter().enumerate() {
            pick = i;
            left -= (f.0 - top).exp();
            if left <= 0.0 {
                break;
            }
        }
        let (Some(c), Some((_, fitted))) = (parts.get(pick), fits.get(pick)) else { return };
        let (mean, cov) = match fitted {
            Some((m, v)) => (*m, *v),
            None => (c.mean, Matrix::from_diagonal(&c.sd.component_mul(&c.sd))),
        };
        // The draw of the standard pressure drop moves along the direction that matters for it.
        let direction = Vector::from([
            0.0,
            c.viscous_gain.map_or(0.0, |g| 1.0 / g),
            0.0,
            c.inertial_gain.map_or(0.0, |g| 1.0 / g),
            0.0,
        ]);
        let variance = (direction.transpose() * cov * direction)[(0, 0)].max(0.0);
        let shift =
            if variance > 0.0 { cov * direction * (z_pressure / variance.sqrt()) } else { Vector::zeros() };
        let beta = mean + shift;
        let spread = 1.0 + 0.05 * z_pressure;
        let viscous = c.viscous_gain.map_or(s.now * spread, |g| beta[1] / g);
        let inertial = c.inertial_gain.map_or(s.inertial, |g| beta[3] / g).max(0.0);
        let zero = mean[0] + cov[(0, 0)].max(0.0).sqrt() * z_zero;
        out.weight.push(1.0);
        out.soot.push(s.x[at::SOOT].exp());
        out.ash.push(s.x[at::ASH].exp());
        out.volume.push(s.volume_l);
        out.zero.push(zero);
        out.standard.push(at_own_pressure((viscous + inertial).max(0.0)));
        out.standard_new.push(at_own_pressure(s.new + inertial));
        out.beta.push(beta.into());
        out.beta_new.push([0.0, s.new, 0.0, inertial, 0.0]);
        out.informed.push(c.viscous_gain.is_some());
        out.sensor.push(sensor_index(mode));
        out.x.push(s.x);
    }
}
