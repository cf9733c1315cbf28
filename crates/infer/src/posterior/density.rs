//! The continuous posterior of one fault set as a plain density, for outside samplers to be compared with.
//!
//! The estimator integrates the linear part (zero, viscous and inertial coefficients with their
//! discrepancies) out in closed form. Here that part is written out: a point holds the state's
//! coordinates and one standard normal number for each linear coefficient, so that a sampler that knows
//! nothing of the integration must arrive at the same margins.

use super::{Draws, Effort, Sample, at_own_pressure, evaluate, posterior};
use crate::assess::{Evidence, View};
use crate::hypothesis::{AshMode, EngineMode, Hypothesis, SensorMode, SootMode};
use crate::prior::{Priors, coordinate as at};
use crate::shown::{PressureData, components};
use crate::signs::Signs;
use crate::summary::{K, Standard};
use crate::tables::Tables;
use crate::typed;

/// Length of a point: coordinates of the state, then one number for each linear coefficient.
pub const LENGTH: usize = at::COUNT + K;

/// What a point says, in the units of the answer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// Soot load, g/L.
    pub soot: f64,
    /// Ash load, g/L.
    pub ash: f64,
    /// What the sensor shows at no flow, kPa.
    pub zero: f64,
    /// Standard pressure drop, kPa.
    pub standard: f64,
    /// The same as new, kPa.
    pub standard_new: f64,
}

/// The density of the state of a car of which nothing is wrong, given its readings and recordings.
///
/// Validity: the fault set is fixed (none), so evidence of fault sets, trouble codes and observations do
/// not enter; the pressure comes from the car's own sensor with both hoses on (two-hose plumbing known).
#[derive(Debug, Clone)]
pub struct Density {
    priors: Priors,
    data: PressureData,
    standard: Standard,
    signs: Signs,
    tables: Tables,
    hypothesis: Hypothesis,
}

impl Density {
    /// From what is told of a car. `None` when the plumbing is not known to be of two hoses, or when an
    /// independent gauge was read too (the density has no place for either).
    #[must_use]
    pub fn new(evidence: &Evidence) -> Option<Self> {
        let view = View::new(evidence, typed::current_role(evidence.case));
        if view.priors.one_hose > 0.0 || view.data.gauge.is_some() {
            return None;
        }
        let tables = Tables::new(&view.priors, &view.signs);
        let hypothesis = Hypothesis {
            faults: Vec::new(),
            sensor: SensorMode::Sound,
            engine: EngineMode::Sound,
            soot: SootMode::Usual,
            ash: AshMode::ByDistance,
            log_prior: 0.0,
        };
        Some(Self {
            priors: view.priors,
            data: view.data,
            standard: view.standard,
            signs: view.signs,
            tables,
            hypothesis,
        })
    }

    fn sample(&self, point: &[f64; LENGTH]) -> Option<Sample> {
        let x = std::array::from_fn(|j| point[j]);
        evaluate(x, &self.priors, &self.data, &self.standard)
    }

    fn coefficients(&self, s: &Sample, point: &[f64; LENGTH]) -> Option<([f64; K], f64, f64)> {
        let parts = components(
            self.hypothesis.sensor,
            &s.filter(self.priors.zero),
            self.priors.one_hose,
            self.data.below_zero,
        );
        let c = parts.first().filter(|_| parts.len() == 1)?;
        let beta = std::array::from_fn(|k| c.mean[k] + c.sd[k] * point[at::COUNT + k]);
        Some((beta, c.viscous_gain?, c.inertial_gain?))
    }

    /// Logarithm of the density at a point, up to a constant; negative infinity where no state is.
    #[must_use]
    pub fn log(&self, point: &[f64; LENGTH]) -> f64 {
        let Some(s) = self.sample(point) else { return f64::NEG_INFINITY };
        let h = &self.hypothesis;
        let (flow, heat) = self.tables.engine(h.engine);
        let mut log = s.common
            + self.tables.soot(h.soot, h.engine, false).log_density(point[at::SOOT])
            + self.tables.ash(h.ash).log_density(point[at::ASH])
            + flow.log_density(point[at::FLOW])
            + heat.log_density(point[at::HEAT]);
        log -= 0.5 * point[at::COUNT..].iter().map(|z| z * z).sum::<f64>();
        let Some((beta, ..)) = self.coefficients(&s, point) else { return f64::NEG_INFINITY };
        if let Some(block) = &self.data.controller {
            let residual = block.b - block.r * nalgebra::SVector::from(beta);
            log -= 0.5 * residual.norm_squared();
        }
        if log.is_finite() { log } else { f64::NEG_INFINITY }
    }

    /// The state a point stands for; none where no state is.
    #[must_use]
    pub fn state(&self, point: &[f64; LENGTH]) -> Option<State> {
        let s = self.sample(point)?;
        let (beta, viscous, inertial) = self.coefficients(&s, point)?;
        let inertial = (beta[3] / inertial).max(0.0);
        Some(State {
            soot: point[at::SOOT].exp(),
            ash: point[at::ASH].exp(),
            zero: beta[0],
            standard: at_own_pressure((beta[1] / viscous + inertial).max(0.0)),
            standard_new: at_own_pressure(s.new + inertial),
        })
    }

    /// Median and spread of each number of a point before pressure is looked at: a start and a scale for
    /// a sampler.
    #[must_use]
    pub fn prior(&self) -> [(f64, f64); LENGTH] {
        let h = &self.hypothesis;
        std::array::from_fn(|j| {
            let of = match j {
                at::SOOT => self.tables.soot(h.soot, h.engine, false),
                at::ASH => self.tables.ash(h.ash),
                at::FLOW => &self.tables.engine(h.engine).0,
                at::HEAT => &self.tables.engine(h.engine).1,
                j if j < at::COUNT => &self.priors.common[j],
                _ => return (0.0, 1.0),
            };
            of.parts().iter().max_by(|a, b| a.0.total_cmp(&b.0)).map_or((0.0, 1.0), |p| (p.1, p.2))
        })
    }

    /// The estimator's own answer under the same fault set, with the effective sample size of its weights
    /// and the draws of the figures.
    #[must_use]
    pub fn answer(&self, effort: Effort) -> (f64, Draws) {
        let list = std::slice::from_ref(&self.hypothesis);
        let out = posterior(list, &self.priors, &self.data, &self.signs, &self.standard, &|_| 0.0, effort);
        (out.effective, out.draws(list, &self.priors, &self.data, &|_| 0.0, &|_| 1.0))
    }
}
