//! What the pressure sensor shows of a filter under each way in which sensor, hoses or brick can be wrong:
//! Gaussians of the shown coefficients, and how such a reading behaves in time.

use crate::conditions::BelowZero;
use crate::hypothesis::SensorMode;
use crate::prior::ZERO_SD;
use crate::quasi::{Mixture, normal_log_density};
use crate::summary::{Block, K};
use nalgebra::{SMatrix, SVector};

/// Coefficients of [`crate::summary`].
pub(crate) type Vector = SVector<f64, K>;
/// Their covariance.
pub(crate) type Matrix = SMatrix<f64, K, K>;

/// What pressure says, condensed.
#[derive(Debug, Clone, Default)]
pub struct PressureData {
    /// The car's own sensor.
    pub controller: Option<Block>,
    /// An independent gauge.
    pub gauge: Option<Block>,
    /// Mean temperature of the points, K.
    pub mean_k: Option<f64>,
    /// Time constant of the reading behind the flow, s.
    pub time_constant_s: Option<f64>,
    /// Share of the reading's movement that the flow explains.
    pub explained: Option<f64>,
    /// The reading never moved although the flow did (where that could be judged).
    pub constant: Option<bool>,
    /// Whether the reading can fall below zero.
    pub below_zero: BelowZero,
}

/// What the coefficients of a sample are made of.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Filter {
    /// Viscous part at the standard condition, kPa, with the gains of flow and sensor.
    pub(crate) viscous: f64,
    /// The same as new.
    pub(crate) bare: f64,
    /// Change of the viscous part per 100 K, relative.
    pub(crate) slope: f64,
    /// Inertial part, kPa, with the gains.
    pub(crate) inertial: f64,
    /// Shown over true viscous part.
    pub(crate) viscous_gain: f64,
    /// Shown over true inertial part.
    pub(crate) inertial_gain: f64,
    /// Zero of a sensor in order, kPa: mean and standard deviation.
    pub(crate) zero: (f64, f64),
}

/// How a reading behaves in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Manner {
    /// Follows the flow at once.
    Follows,
    /// Follows it, with more scatter.
    Loose,
    /// Follows it late.
    Late,
    /// Follows something else: the back pressure of the silencer.
    Elsewhere,
    /// Stands at zero or at a trapped pressure.
    Stands,
    /// Repeats one value.
    Frozen,
}

/// A Gaussian for the shown coefficients under a sensor mode, given a sample.
pub(crate) struct Component {
    /// Share of the mode, with the time behaviour of the reading in it once [`weighed`].
    pub(crate) weight: f64,
    pub(crate) mean: Vector,
    pub(crate) sd: Vector,
    /// Shown over true viscous part, none where the reading carries nothing of it.
    pub(crate) viscous_gain: Option<f64>,
    /// Shown over true inertial part.
    pub(crate) inertial_gain: Option<f64>,
    manner: Manner,
}

/// A silencer costs one to a few kPa at the standard flow (common practice).
const SILENCER: (f64, f64) = (1.6, 1.2);
/// Spread of a coefficient that is known to be nothing.
const NOTHING: f64 = 1e-3;

/// `share` of the true pressure, zero and its spread.
fn follows(f: &Filter, weight: f64, share: f64, zero: f64, zero_sd: f64) -> Component {
    let (a, b) = (f.viscous * share, f.inertial * share);
    Component {
        weight,
        mean: Vector::from([zero, a, a * f.slope, b, 0.0]),
        // The closed form keeps within a few percent of measured curves (physics reference 2.8); zones,
        // uneven deposits and temperature fields add to it.
        sd: Vector::from([zero_sd, 0.05 * a.abs(), 0.05 * a.abs(), 0.12 * b.abs() + 0.02, 0.05 * a.abs()]),
        viscous_gain: Some(f.viscous_gain * share),
        inertial_gain: Some(f.inertial_gain * share),
        manner: Manner::Follows,
    }
}

/// A reading that stands where it is.
fn stands(weight: f64, zero: f64, zero_sd: f64, rest_sd: f64, manner: Manner) -> Component {
    Component {
        weight,
        mean: Vector::from([zero, 0.0, 0.0, 0.0, 0.0]),
        sd: Vector::from([zero_sd, rest_sd, NOTHING, rest_sd, NOTHING]),
        viscous_gain: None,
        inertial_gain: None,
        manner,
    }
}

impl Component {
    /// The low side is open: the silencer's back pressure is shown on top.
    fn with_silencer(mut self) -> Self {
        if self.viscous_gain.is_some() {
            self.mean[3] += SILENCER.0;
            self.sd[3] = self.sd[3].hypot(SILENCER.1);
            self.inertial_gain = None;
        }
        self
    }
    fn looser(mut self, manner: Manner) -> Self {
        self.manner = manner;
        self
    }
}

/// With two hoses across the filter.
fn two_hoses(mode: SensorMode, f: &Filter, cut: f64) -> Vec<Component> {
    match mode {
        SensorMode::Sound => vec![follows(f, 1.0, 1.0, f.zero.0, f.zero.1)],
        SensorMode::Zero => [-0.6, 0.6, 1.2]
            .into_iter()
            .zip([0.4, 0.45, 0.15])
            .map(|(z, w)| follows(f, w, 1.0, z, 0.2))
            .collect(),
        // The high side hangs in the air: minus the pressure behind the filter, or nothing where the
        // reading is cut at zero.
        SensorMode::OffUpstream => vec![
            stands(cut, 0.0, 0.08, 0.02, Manner::Stands),
            Component {
                weight: 1.0 - cut,
                mean: Vector::from([0.0, 0.0, 0.0, -SILENCER.0, 0.0]),
                sd: Vector::from([ZERO_SD, 0.02, NOTHING, SILENCER.1, NOTHING]),
                viscous_gain: None,
                inertial_gain: None,
                manner: Manner::Elsewhere,
            },
        ],
        SensorMode::OffDownstream => vec![follows(f, 1.0, 1.0, f.zero.0, f.zero.1).with_silencer()],
        SensorMode::Swapped => {
            vec![
                stands(cut, 0.0, 0.08, 0.02, Manner::Stands),
                follows(f, 1.0 - cut, -1.0, f.zero.0, f.zero.1),
            ]
        }
        SensorMode::Leaking => [0.2, 0.35, 0.5, 0.65, 0.8]
            .into_iter()
            .map(|share| {
                let mut c = follows(f, 0.2, share, f.zero.0, f.zero.1).looser(Manner::Loose);
                c.sd[1] = c.sd[1].hypot(0.06 * f.viscous);
                c.sd[3] = c.sd[3].hypot(0.06 * f.inertial);
                c
            })
            .collect(),
        SensorMode::Blocked => {
            let mut part = follows(f, 0.2, 0.6, 0.0, 0.5).looser(Manner::Late);
            part.sd[1] = 0.35 * f.viscous;
            part.sd[3] = 0.35 * f.inertial + 0.05;
            part.viscous_gain = None;
            part.inertial_gain = None;
            // Shut altogether, the hose keeps whatever pressure was trapped in it.
            vec![
                follows(f, 0.5, 1.0, f.zero.0, f.zero.1).looser(Manner::Late),
                part,
                stands(0.3, 0.5, 1.5, 0.02, Manner::Stands),
            ]
        }
        SensorMode::Frozen => vec![
            stands(0.4, 0.0, 0.3, NOTHING, Manner::Frozen),
            stands(0.6, 1.5, 2.5, NOTHING, Manner::Frozen),
        ],
        SensorMode::Cracked => [0.15, 0.3, 0.5, 0.7]
            .into_iter()
            .map(|share| {
                let bare = f.bare * share;
                let b = f.inertial;
                Component {
                    weight: 0.25,
                    mean: Vector::from([0.0, bare, 0.0, 0.8 * b, 0.0]),
                    sd: Vector::from([ZERO_SD, 0.2 * bare, 0.05 * bare, 0.3 * b + 0.02, 0.05 * bare]),
                    viscous_gain: Some(f.viscous_gain),
                    inertial_gain: Some(f.inertial_gain),
                    manner: Manner::Loose,
                }
            })
            .collect(),
        SensorMode::Removed => vec![Component {
            weight: 1.0,
            mean: Vector::from([0.0, 0.02, 0.0, 0.6 * f.inertial, 0.0]),
            sd: Vector::from([ZERO_SD, 0.03, NOTHING, 0.35 * f.inertial + 0.02, 0.01]),
            viscous_gain: Some(f.viscous_gain),
            inertial_gain: Some(f.inertial_gain),
            manner: Manner::Loose,
        }],
    }
}

/// All ways in which a mode may show a filter. `one_hose` = probability that the low side is open by
/// design; then there is no second hose to lose, and without the first nothing is shown.
pub(crate) fn components(mode: SensorMode, f: &Filter, one_hose: f64, below: BelowZero) -> Vec<Component> {
    let mut out = Vec::new();
    let mut take = |list: Vec<Component>, share: f64| {
        out.extend(list.into_iter().filter(|c| c.weight * share > 0.0).map(|mut c| {
            c.weight *= share;
            c
        }));
    };
    let cut = below.cut();
    take(two_hoses(mode, f, cut), 1.0 - one_hose);
    if one_hose > 0.0 {
        let list = match mode {
            SensorMode::OffDownstream => Vec::new(),
            SensorMode::OffUpstream => vec![stands(1.0, 0.0, ZERO_SD, 0.02, Manner::Stands)],
            _ => two_hoses(mode, f, cut).into_iter().map(Component::with_silencer).collect(),
        };
        take(list, one_hose);
    }
    out
}

/// ln likelihood of the time behaviour of a reading, for each [`Manner`].
#[derive(Debug, Clone)]
pub(crate) struct Behaviour([f64; 6]);

impl Behaviour {
    pub(crate) fn new(d: &PressureData) -> Self {
        use Manner as M;
        Self([M::Follows, M::Loose, M::Late, M::Elsewhere, M::Stands, M::Frozen].map(|m| {
            let mut log = 0.0;
            if let Some(t) = d.time_constant_s {
                let x = (t + 0.3).ln();
                log += match m {
                    M::Late => normal_log_density(x, f64::ln(9.0), 0.9),
                    // What moves such a reading is not the flow: any delay may fit it best.
                    M::Stands | M::Frozen => normal_log_density(x, f64::ln(3.0), 1.5),
                    _ => Mixture::of(vec![(0.93, f64::ln(0.9), 0.55), (0.07, f64::ln(3.0), 0.9)])
                        .log_density(x),
                };
            }
            let either = |yes: bool, p: f64| if yes { p.ln() } else { (1.0 - p).ln() };
            if let Some(constant) = d.constant {
                log += either(
                    constant,
                    match m {
                        M::Frozen => 0.92,
                        M::Stands => 0.6,
                        _ => 0.003,
                    },
                );
            }
            if let Some(e) = d.explained {
                // Share of recordings in which the flow explains less than 40 % of the reading's movement.
                let p = match m {
                    M::Frozen | M::Stands => 0.9,
                    M::Late => 0.3,
                    M::Elsewhere => 0.2,
                    M::Loose => 0.12,
                    M::Follows => 0.06,
                };
                log += either(e < 0.4, p);
            }
            log
        }))
    }

    /// ln weight of a component: its share and how the reading behaved.
    pub(crate) fn log_weight(&self, c: &Component) -> f64 {
        let k = match c.manner {
            Manner::Follows => 0,
            Manner::Loose => 1,
            Manner::Late => 2,
            Manner::Elsewhere => 3,
            Manner::Stands => 4,
            Manner::Frozen => 5,
        };
        c.weight.ln() + self.0[k]
    }
}

/// A block ready to be compared with many components: what [`fit`] gives without the coefficients.
#[derive(Debug, Clone)]
pub(crate) struct Evaluator {
    r: [[f64; K]; K],
    b: [f64; K],
    /// Products of the triangle's rows i and j (j up to i), column by column.
    product: [[[f64; K]; K]; K],
}

impl Evaluator {
    pub(crate) fn new(block: &Block) -> Self {
        let r: [[f64; K]; K] = std::array::from_fn(|i| std::array::from_fn(|j| block.r[(i, j)]));
        let product =
            std::array::from_fn(|i| std::array::from_fn(|j| std::array::from_fn(|k| r[i][k] * r[j][k])));
        Self { r, b: block.b.into(), product }
    }

    /// ln p(block | component): the Cholesky factor of I + R S R' and the whitened residual, row by row.
    #[allow(clippy::needless_range_loop)] // Indices as in the equations.
    pub(crate) fn log_likelihood(&self, c: &Component) -> f64 {
        let variance: [f64; K] = std::array::from_fn(|k| c.sd[k] * c.sd[k]);
        let mut l = [[0.0; K]; K];
        let (mut determinant, mut sum) = (1.0, 0.0);
        let mut z = [0.0; K];
        for i in 0..K {
            for j in 0..=i {
                let mut v = if i == j { 1.0 } else { 0.0 };
                // Below its diagonal the triangle is nought.
                for k in i..K {
                    v += self.product[i][j][k] * variance[k];
                }
                for k in 0..j {
                    v -= l[i][k] * l[j][k];
                }
                l[i][j] = if i == j { v.sqrt() } else { v / l[j][j] };
            }
            let mut residual = self.b[i];
            for k in i..K {
                residual -= self.r[i][k] * c.mean[k];
            }
            for k in 0..i {
                residual -= l[i][k] * z[k];
            }
            z[i] = residual / l[i][i];
            sum += z[i] * z[i];
            determinant *= l[i][i];
        }
        let log = -0.5 * sum - determinant.ln();
        if log.is_finite() { log } else { f64::NEG_INFINITY }
    }
}

/// ln p(block | component), and when asked the posterior of the coefficients.
pub(crate) fn fit(block: &Block, c: &Component, want: bool) -> (f64, Option<(Vector, Matrix)>) {
    let variance = c.sd.component_mul(&c.sd);
    let s = Matrix::from_diagonal(&variance);
    let rs = block.r * s;
    let cov = rs * block.r.transpose() + Matrix::identity();
    let residual = block.b - block.r * c.mean;
    let Some(ch) = cov.cholesky() else { return (f64::NEG_INFINITY, None) };
    let z = ch.solve(&residual);
    let log_det: f64 = (0..K).map(|i| ch.l_dirty()[(i, i)].ln()).sum();
    let log = -0.5 * residual.dot(&z) - log_det;
    let posterior = want.then(|| {
        let gain = rs.transpose();
        (c.mean + gain * z, s - gain * ch.solve(&rs))
    });
    (log, posterior)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::summary::{Row, Standard};

    #[test]
    fn property_the_quick_evidence_is_that_of_the_full_fit() {
        let s = Standard::new(0.05, 101_325.0);
        let rows: Vec<Row> = (1..=9)
            .map(|i| {
                (s.row(0.008 * f64::from(i), 430.0 + 15.0 * f64::from(i), 1.0), 0.4 * f64::from(i), 0.04)
            })
            .collect();
        let block = Block::from_rows(&rows);
        let quick = Evaluator::new(&block);
        let f = Filter {
            viscous: 2.1,
            bare: 0.9,
            slope: 0.02,
            inertial: 0.5,
            viscous_gain: 1.0,
            inertial_gain: 1.0,
            zero: (0.0, 0.3),
        };
        for mode in SensorMode::ALL {
            for c in components(mode, &f, 0.3, BelowZero::Unknown) {
                let (want, _) = fit(&block, &c, false);
                let got = quick.log_likelihood(&c);
                assert!((got - want).abs() < 1e-6 * (1.0 + want.abs()), "{mode:?} {got} {want}");
            }
        }
    }
}
