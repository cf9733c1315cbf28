//! Densities of the samples under the priors that fault sets change, as columns of plain numbers: the
//! weight of every sample under any combination of effects is a product of four of them.

use crate::hypothesis::{AshMode, EngineMode, Hypothesis, SensorMode, SootMode};
use crate::prior::{Priors, coordinate as at};
use crate::quasi::Mixture;
use crate::signs::Signs;
use rayon::prelude::*;

/// What a hypothesis does to the state and the reading; many hypotheses share it. The last is true where
/// the soot carries no additive.
pub(crate) type Effects = (SensorMode, EngineMode, SootMode, AshMode, bool);

/// The effects of a hypothesis.
pub(crate) fn effects(h: &Hypothesis, undoped: bool) -> Effects {
    (h.sensor, h.engine, h.soot, h.ash, undoped)
}

const SOOT_MODES: [SootMode; 4] =
    [SootMode::Usual, SootMode::ShortTrips, SootMode::Incomplete, SootMode::Misled];
const ASH_MODES: [AshMode; 3] = [AshMode::ByDistance, AshMode::Full, AshMode::Fast];

fn place<T: PartialEq>(of: &[T], what: &T) -> usize {
    of.iter().position(|m| m == what).unwrap_or(0)
}

fn soot_key(soot: SootMode, engine: EngineMode, undoped: bool) -> usize {
    (place(&SOOT_MODES, &soot) * EngineMode::ALL.len() + place(&EngineMode::ALL, &engine)) * 2
        + usize::from(undoped)
}

/// Place of a mode in [`SensorMode::ALL`].
pub(crate) fn sensor_index(mode: SensorMode) -> usize {
    place(&SensorMode::ALL, &mode)
}

/// Things by key, each different one kept once.
#[derive(Debug, Clone)]
struct Choice<T> {
    different: Vec<T>,
    of: Vec<usize>,
}

impl<T: PartialEq> Choice<T> {
    fn new(all: impl IntoIterator<Item = T>) -> Self {
        let mut out = Self { different: Vec::new(), of: Vec::new() };
        for one in all {
            let k = out.different.iter().position(|d| *d == one).unwrap_or_else(|| {
                out.different.push(one);
                out.different.len() - 1
            });
            out.of.push(k);
        }
        out
    }
    fn get(&self, key: usize) -> &T {
        &self.different[self.of[key]]
    }
}

/// Prior densities of the coordinates that hypotheses change.
#[derive(Debug, Clone)]
pub(crate) struct Tables {
    soot: Choice<Mixture>,
    ash: Choice<Mixture>,
    /// Flow factor and temperature error, by engine mode.
    engine: Choice<(Mixture, Mixture)>,
}

impl Tables {
    pub(crate) fn new(p: &Priors, signs: &Signs) -> Self {
        let keys = SOOT_MODES
            .iter()
            .flat_map(|&s| EngineMode::ALL.into_iter().flat_map(move |e| [(s, e, false), (s, e, true)]));
        Self {
            soot: Choice::new(keys.map(|(s, e, u)| p.soot(s, e, u))),
            ash: Choice::new(ASH_MODES.iter().map(|&a| p.ash_load(a))),
            engine: Choice::new(EngineMode::ALL.iter().map(|&e| (p.flow(e, signs.meter), p.heat(e)))),
        }
    }

    /// Soot load of a mechanism.
    pub(crate) fn soot(&self, soot: SootMode, engine: EngineMode, undoped: bool) -> &Mixture {
        self.soot.get(soot_key(soot, engine, undoped))
    }

    /// Ash load of a mechanism.
    pub(crate) fn ash(&self, ash: AshMode) -> &Mixture {
        self.ash.get(place(&ASH_MODES, &ash))
    }

    /// Flow factor and temperature error.
    pub(crate) fn engine(&self, mode: EngineMode) -> &(Mixture, Mixture) {
        self.engine.get(place(&EngineMode::ALL, &mode))
    }

    /// A proposal per coordinate that covers every hypothesis.
    pub(crate) fn proposal(&self, p: &Priors) -> [Mixture; at::COUNT] {
        let mut q = p.common.clone();
        let some = |s, e| self.soot(s, e, false);
        q[at::SOOT] = Mixture::union(&[
            some(SootMode::Usual, EngineMode::Sound),
            some(SootMode::ShortTrips, EngineMode::Sound),
            some(SootMode::Incomplete, EngineMode::Sound),
            some(SootMode::Usual, EngineMode::EgrOpen),
        ]);
        q[at::ASH] = Mixture::union(&self.ash.different.iter().collect::<Vec<_>>());
        let sound = self.engine(EngineMode::Sound);
        q[at::FLOW] = Mixture::union(&[
            &sound.0,
            &sound.0,
            &self.engine(EngineMode::MeterDrift).0,
            &self.engine(EngineMode::BoostLeak).0,
        ]);
        q[at::HEAT] = Mixture::union(&[&sound.1, &sound.1, &self.engine(EngineMode::TemperatureSensor).1]);
        q
    }
}

/// Densities of all samples, one column for each different prior.
#[derive(Debug, Clone, Default)]
pub(crate) struct Columns {
    soot: Vec<Vec<f64>>,
    ash: Vec<Vec<f64>>,
    engine: Vec<Vec<f64>>,
}

impl Columns {
    /// Appends samples, given by their coordinates. Every column on a core of its own.
    pub(crate) fn extend(&mut self, t: &Tables, samples: &[&[f64; at::COUNT]]) {
        fn each<T: Sync>(
            to: &mut Vec<Vec<f64>>,
            of: &[T],
            samples: &[&[f64; at::COUNT]],
            density: impl Fn(&T, &[f64; at::COUNT]) -> f64 + Sync,
        ) {
            to.resize_with(of.len(), Vec::new);
            to.par_iter_mut()
                .zip(of)
                .for_each(|(column, one)| column.extend(samples.iter().map(|x| density(one, x))));
        }
        each(&mut self.soot, &t.soot.different, samples, |m, x| m.density(x[at::SOOT]));
        each(&mut self.ash, &t.ash.different, samples, |m, x| m.density(x[at::ASH]));
        each(&mut self.engine, &t.engine.different, samples, |(flow, heat), x| {
            flow.density(x[at::FLOW]) * heat.density(x[at::HEAT])
        });
    }
}

/// Weights of all samples under any effects.
#[derive(Debug, Clone)]
pub(crate) struct Weights {
    tables: Tables,
    pub(crate) columns: Columns,
    /// By sensor mode: likelihood and common prior over the proposal, divided by the exponential of `top`.
    mode: Vec<Vec<f64>>,
    top: Vec<f64>,
}

impl Weights {
    /// `logs`: for each sample the logarithm of likelihood and common prior over the proposal, by sensor
    /// mode.
    pub(crate) fn new(
        tables: Tables,
        columns: Columns,
        logs: impl Iterator<Item = [f64; SensorMode::ALL.len()]> + Clone,
    ) -> Self {
        let mut top = vec![f64::NEG_INFINITY; SensorMode::ALL.len()];
        for l in logs.clone() {
            top.iter_mut().zip(l).for_each(|(t, v)| *t = t.max(v));
        }
        let mode = (0..top.len())
            .map(|k| {
                logs.clone().map(|l| if top[k].is_finite() { (l[k] - top[k]).exp() } else { 0.0 }).collect()
            })
            .collect();
        Self { tables, columns, mode, top }
    }

    /// Weight of each sample under the effects, up to a factor whose logarithm comes with it.
    fn each(&self, e: Effects) -> (f64, impl Iterator<Item = f64> + '_) {
        let (sensor, engine, soot, ash, undoped) = e;
        let k = sensor_index(sensor);
        let soot = &self.columns.soot[self.tables.soot.of[soot_key(soot, engine, undoped)]];
        let ash = &self.columns.ash[self.tables.ash.of[place(&ASH_MODES, &ash)]];
        let engine = &self.columns.engine[self.tables.engine.of[place(&EngineMode::ALL, &engine)]];
        let weights = self.mode[k].iter().zip(soot).zip(ash).zip(engine);
        (self.top[k], weights.map(|(((m, s), a), g)| m * s * a * g))
    }

    /// Weight of each sample under the effects into `out`, up to a factor; its logarithm and the sum.
    pub(crate) fn product(&self, e: Effects, out: &mut Vec<f64>) -> (f64, f64) {
        let (top, each) = self.each(e);
        out.clear();
        out.extend(each);
        (top, out.iter().sum())
    }

    /// Logarithm of what no sum of weights exceeds, whatever the effects: every sample under the mode and the
    /// priors that suit it best.
    pub(crate) fn bound(&self) -> f64 {
        let most = |columns: &[Vec<f64>], i: usize| columns.iter().map(|c| c[i]).fold(0.0, f64::max);
        let top = self.top.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let scale: Vec<f64> = self.top.iter().map(|t| (t - top).exp()).collect();
        let samples = self.mode.first().map_or(0, Vec::len);
        let sum: f64 = (0..samples)
            .map(|i| {
                let mode = self.mode.iter().zip(&scale).map(|(m, s)| m[i] * s).fold(0.0, f64::max);
                let c = &self.columns;
                mode * most(&c.soot, i) * most(&c.ash, i) * most(&c.engine, i)
            })
            .sum();
        top + sum.ln()
    }

    /// Their sum alone.
    pub(crate) fn sum(&self, e: Effects) -> (f64, f64) {
        let (top, each) = self.each(e);
        (top, each.sum())
    }
}
