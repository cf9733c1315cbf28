//! Where to look first: the Gaussian that the prior and the readings of a sensor in order leave, the filter model
//! linearised about its own answer (iterated Kalman update, Bell and Cathey 1993). It only says where samples are
//! drawn; their weights stay those of the model as it is.

use super::{Normal, evaluate};
use crate::hypothesis::{AshMode, EngineMode, SensorMode, SootMode};
use crate::prior::{Priors, coordinate as at};
use crate::shown::{Component, Matrix, PressureData, Vector, components};
use crate::summary::{Block, Standard};
use crate::tables::Tables;
use nalgebra::{SMatrix, SVector};

type Square = SMatrix<f64, { at::COUNT }, { at::COUNT }>;
type Column = SVector<f64, { at::COUNT }>;

/// Steps of the iteration; it mostly stands after three.
const STEPS: usize = 5;
/// The posterior is wider than its linearisation: variances are raised by this.
const WIDER: f64 = 1.5;
/// Ways of showing less likely than this beforehand get no guide of their own.
const LIKELY: f64 = 0.05;

/// Mean and covariance before the readings.
fn before(p: &Priors, tables: &Tables) -> (Column, Square) {
    if let Some(c) = &p.carried {
        return c.gaussian();
    }
    let (flow, heat) = tables.engine(EngineMode::Sound);
    let of = |j: usize| match j {
        at::SOOT => tables.soot(SootMode::Usual, EngineMode::Sound, false),
        at::ASH => tables.ash(AshMode::ByDistance),
        at::FLOW => flow,
        at::HEAT => heat,
        j => &p.common[j],
    };
    (Column::from_fn(|j, _| of(j).mean()), Square::from_diagonal(&Column::from_fn(|j, _| of(j).variance())))
}

/// What the block says of a component's coefficients: residual and its covariance, both whitened by the rows.
fn residual(block: &Block, c: &Component) -> (Vector, Matrix) {
    let spread = Matrix::from_diagonal(&c.sd.component_mul(&c.sd));
    (block.b - block.r * c.mean, Matrix::identity() + block.r * spread * block.r.transpose())
}

struct Target<'a> {
    p: &'a Priors,
    d: &'a PressureData,
    standard: &'a Standard,
    /// Which of the ways of showing.
    way: usize,
}

impl Target<'_> {
    fn component(&self, x: &Column) -> Option<Component> {
        let s = evaluate((*x).into(), self.p, self.d, self.standard)?;
        components(SensorMode::Sound, &s.filter(self.p.zero), self.p.one_hose, self.d.below_zero)
            .into_iter()
            .nth(self.way)
    }

    /// One step of Gauss and Newton from `x`: where to, and the precision there.
    fn step(&self, x: &Column, mean: &Column, precision: &Square, sd: &Column) -> Option<(Column, Square)> {
        let here = self.component(x)?;
        let mut slope = SMatrix::<f64, { crate::summary::K }, { at::COUNT }>::zeros();
        for j in 0..at::COUNT {
            let mut beside = *x;
            let h = 0.05 * sd[j];
            beside[j] += h;
            slope.set_column(j, &((self.component(&beside)?.mean - here.mean) / h));
        }
        let mut a = *precision;
        let mut g = -(precision * (x - mean));
        for block in self.d.controller.iter().chain(&self.d.gauge) {
            let (r, v) = residual(block, &here);
            let v = v.cholesky()?;
            let j = block.r * slope;
            a += j.transpose() * v.solve(&j);
            g += j.transpose() * v.solve(&r);
        }
        for (figure, k) in [(self.p.controller_soot, at::SOOT), (self.p.controller_ash, at::ASH)] {
            let Some((shown, sd)) = figure else { continue };
            let load = x[k].exp();
            let w = sd.hypot(0.25 * load).powi(-2);
            a[(k, k)] += w * load * load;
            g[k] += w * load * (shown - load);
        }
        let step = a.cholesky()?.solve(&g);
        let most = (0..at::COUNT).map(|j| (step[j] / sd[j]).abs()).fold(0.0, f64::max);
        Some((x + step * (1.5 / most.max(1.5)), a))
    }
}

/// The guides, one for each likely way in which a sensor in order shows the filter.
pub(super) fn guides(p: &Priors, d: &PressureData, standard: &Standard, tables: &Tables) -> Vec<Normal> {
    if d.controller.is_none() && d.gauge.is_none() {
        return Vec::new();
    }
    let (mean, cov) = before(p, tables);
    let Some(precision) = cov.cholesky().map(|c| c.inverse()) else { return Vec::new() };
    let sd = Column::from_fn(|j, _| cov[(j, j)].sqrt().max(1e-6));
    let likely: Vec<(usize, f64)> = {
        let Some(s) = evaluate(mean.into(), p, d, standard) else { return Vec::new() };
        let ways = components(SensorMode::Sound, &s.filter(p.zero), p.one_hose, d.below_zero);
        ways.iter().map(|c| c.weight).enumerate().filter(|w| w.1 > LIKELY).collect()
    };
    let sum: f64 = likely.iter().map(|w| w.1).sum();
    likely
        .into_iter()
        .filter_map(|(way, weight)| {
            let target = Target { p, d, standard, way };
            let mut x = mean;
            let mut a = precision;
            for _ in 0..STEPS {
                (x, a) = target.step(&x, &mean, &precision, &sd)?;
            }
            Normal::of(x, a.cholesky()?.inverse() * WIDER, weight / sum)
        })
        .collect()
}
