//! The measured tables of `data/measured/` against the model: constants fitted on one part of a curve, or on
//! another filter, predict the rest; and the estimator's priors, conditioned on the first part, say how sure
//! they are of the rest.
//!
//! Sources: figures 4, 5, 10-13 and 23 of SAE 2000-01-1016 (digitised), table 4 of Du et al., Energies 11
//! (2018) 472, tables 5 and 7 of Bai et al., Appl. Therm. Eng. 100 (2016) 1292; see `data/measured/README.md`.

use facts::case::{Case, Category, Material};
use infer::prior::{Priors, coordinate as at};
use infer::quasi::{Points, normal_quantile, weighted_quantiles};
use std::error::Error;
use wallflow::geometry::{Cells, Geometry, cells_from_cpsi, round_face};
use wallflow::media::{Ash, Cake, Media, Slip, Wall};
use wallflow::oxidation::{Kinetics, Nitrogen, burnt_steadily};
use wallflow::{Density, Deposits, Ends, Filter, FlowState, Gas, pressure};

/// Normal atmosphere, Pa.
const ATM: f64 = 101_325.0;

/// Rows of a table of `data/measured/`.
///
/// # Errors
/// The file cannot be read.
pub fn table(name: &str) -> Result<Vec<csv::StringRecord>, Box<dyn Error>> {
    let path = format!("{}/data/measured/{name}", env!("CARGO_MANIFEST_DIR"));
    let rows = csv::Reader::from_path(&path).map_err(|e| format!("{path}: {e}"))?;
    Ok(rows.into_records().collect::<Result<_, _>>()?)
}

fn number(row: &csv::StringRecord, k: usize) -> Result<f64, Box<dyn Error>> {
    let cell = row.get(k).ok_or("a column is missing")?;
    Ok(cell.parse().map_err(|e| format!("{cell:?}: {e}"))?)
}

/// A loading curve: soot (g/L) and measured drop (Pa), on a rig.
#[derive(Debug, Clone)]
pub struct Curve {
    /// A, B, c1 to c4.
    pub name: String,
    /// Truck-sized filter.
    pub heavy: bool,
    /// Soot load g/L, drop Pa.
    pub points: Vec<(f64, f64)>,
    /// Filter body.
    pub geometry: Geometry,
    /// Flow and temperature.
    pub flow: FlowState,
    /// Loads up to here are fitted, g/L (lowest and highest).
    pub fitted: (f64, f64),
    /// Highest load that is predicted, g/L: beyond it the channels are nearly full.
    pub last: f64,
}

/// Permeabilities of wall and cake that make a drop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Constants {
    /// Wall, m2, as it stands in that stretch of the curve.
    pub wall: f64,
    /// Cake: permeability times packing density, kg/m.
    pub product: f64,
}

/// The six loading curves.
///
/// # Errors
/// A table cannot be read.
pub fn curves() -> Result<Vec<Curve>, Box<dyn Error>> {
    let mut out = Vec::new();
    for (name, cpsi, wall) in [("A", 200.0, 0.356e-3), ("B", 100.0, 0.4318e-3)] {
        let geometry =
            Geometry::new(Cells::symmetric(cells_from_cpsi(cpsi), wall)?, round_face(0.1438), 0.1524)?
                .with_filtering_length(0.144)?;
        let mut points = Vec::new();
        for row in table("s57-soot-loading.csv")?.iter().filter(|r| r.get(2) == Some(name)) {
            points.push((number(row, 12)?, number(row, 13)?));
        }
        let flow = FlowState::new(70.0 / 3600.0, 553.15, ATM)?;
        let name = name.to_owned();
        out.push(Curve { name, heavy: false, points, geometry, flow, fitted: (0.0, 6.0), last: 15.0 });
    }
    for name in ["c1", "c2", "c3", "c4"] {
        let geometry =
            Geometry::new(Cells::symmetric(cells_from_cpsi(100.0), 0.4318e-3)?, round_face(0.2667), 0.3048)?
                .with_filtering_length(0.2964)?;
        let mut points = Vec::new();
        for row in table("s57-heavy-duty-loading.csv")?.iter().filter(|r| r.get(2) == Some(name)) {
            points.push((number(row, 13)?, number(row, 14)?));
        }
        let flow = FlowState::new(0.3041, 533.15, ATM)?;
        let name = name.to_owned();
        out.push(Curve { name, heavy: true, points, geometry, flow, fitted: (1.3, 3.0), last: 6.0 });
    }
    Ok(out)
}

impl Curve {
    /// Drop with plain constants, Pa; `None` where the channel is full.
    #[must_use]
    pub fn drop(&self, c: Constants, soot: f64) -> Option<f64> {
        let media =
            Media::default().with_wall(Wall::new(c.wall).ok()?).with_cake(Cake::new(c.product, 95.0).ok()?);
        self.drop_of(media, soot)
    }

    fn drop_of(&self, media: Media, soot: f64) -> Option<f64> {
        let filter = Filter { geometry: self.geometry, media, ends: Ends::Reference };
        let d = Deposits::new(soot, 0.0, 0.0).ok()?;
        Some(pressure::closed_form(&filter, &d, &Gas::exhaust(), &self.flow, Density::Mean).ok()?.total())
    }

    /// The part that is fitted.
    #[must_use]
    pub fn first(&self) -> Vec<(f64, f64)> {
        self.points.iter().copied().filter(|p| (self.fitted.0..self.fitted.1).contains(&p.0)).collect()
    }

    /// The part that is predicted.
    #[must_use]
    pub fn rest(&self) -> Vec<(f64, f64)> {
        self.points.iter().copied().filter(|p| p.0 >= self.fitted.1 && p.0 < self.last).collect()
    }

    /// Constants that fit some points best (relative least squares, grid refined three times).
    #[must_use]
    pub fn fit(&self, points: &[(f64, f64)]) -> Constants {
        let (mut wall, mut product, mut width) = (f64::ln(2e-13), f64::ln(2e-12), 2.2_f64);
        for _ in 0..4 {
            let mut best = (f64::INFINITY, wall, product);
            for i in -20..=20 {
                for j in -20..=20 {
                    let (w, p) = (wall + width * f64::from(i) / 20.0, product + width * f64::from(j) / 20.0);
                    let c = Constants { wall: w.exp(), product: p.exp() };
                    let miss: f64 = points
                        .iter()
                        .map(|q| self.drop(c, q.0).map_or(f64::INFINITY, |d| (d / q.1 - 1.0).powi(2)))
                        .sum();
                    if miss < best.0 {
                        best = (miss, w, p);
                    }
                }
            }
            (wall, product) = (best.1, best.2);
            width /= 8.0;
        }
        Constants { wall: wall.exp(), product: product.exp() }
    }

    /// Relative misses of constants at some points.
    #[must_use]
    pub fn misses(&self, c: Constants, points: &[(f64, f64)]) -> Vec<f64> {
        points.iter().filter_map(|p| Some(self.drop(c, p.0)? / p.1 - 1.0)).collect()
    }

    /// The estimator's priors of a cordierite filter of this duty.
    #[must_use]
    pub fn priors(&self) -> Priors {
        let mut case = Case::default();
        case.car.category = Some(if self.heavy { Category::N3 } else { Category::M1 });
        case.filter.material = Some(Material::Cordierite);
        case.filter.volume_l = Some(1e3 * self.geometry.volume());
        Priors::new(&case, &[], false)
    }

    /// The middle of the priors: what the estimator would say of a filter of which nobody told anything.
    #[must_use]
    pub fn nominal(&self, soot: f64) -> Option<f64> {
        let p = self.priors();
        let middle = |j: usize| p.common.get(j).and_then(|m| m.parts().first()).map(|q| q.1);
        self.drop_of(
            self.media(
                &p,
                middle(at::WALL)?,
                (0.0, middle(at::FILLING)?),
                middle(at::CAKE)?,
                middle(at::SLIP)?,
            )?,
            soot,
        )
    }

    fn media(
        &self,
        p: &Priors,
        wall: f64,
        (loaded, filling): (f64, f64),
        cake: f64,
        slip: f64,
    ) -> Option<Media> {
        let wall = Wall::new(wall.exp()).ok()?.with_loading(p.loaded_ratio(loaded), filling.exp()).ok()?;
        let cake = Cake::new(cake.exp(), 95.0).ok()?.with_slip(Slip::new(slip.exp(), 543.0).ok()?);
        Some(Media::default().with_wall(wall).with_cake(cake))
    }

    /// Bands that the priors give at the loads of `at`, before and after the points `given` were seen.
    #[must_use]
    pub fn bands(&self, given: &[(f64, f64)], loads: &[f64]) -> Bands {
        let p = self.priors();
        let points = Points;
        let (mut before, mut after) = (vec![Vec::new(); loads.len()], vec![Vec::new(); loads.len()]);
        let mut log_weight = Vec::new();
        for i in 0..SAMPLES {
            let pick = |k: usize, j: usize| p.common.get(j).map_or(0.0, |m| m.pick(points.at(i, k)));
            let Some(media) = self.media(
                &p,
                pick(0, at::WALL),
                (pick(1, at::LOADED), pick(6, at::FILLING)),
                pick(2, at::CAKE),
                pick(3, at::SLIP),
            ) else {
                continue;
            };
            let drop = |s: f64| self.drop_of(media, s).map(f64::ln);
            let Some(residuals) =
                given.iter().map(|q| Some(q.1.ln() - drop(q.0)?)).collect::<Option<Vec<f64>>>()
            else {
                continue;
            };
            let Some(predicted) = loads.iter().map(|s| drop(*s)).collect::<Option<Vec<f64>>>() else {
                continue;
            };
            // Common error e of the closed form, errors of single points, integrated out.
            let n = residuals.len() as f64;
            let (c2, s2) = (COMMON * COMMON, SINGLE * SINGLE);
            let mean = residuals.iter().sum::<f64>() / n.max(1.0);
            let share = c2 / (c2 + s2 / n.max(1.0));
            let squares: f64 = residuals.iter().map(|r| r * r).sum();
            log_weight.push(if residuals.is_empty() {
                0.0
            } else {
                -0.5 * (squares - share * n * mean * mean) / s2
            });
            let (z, single) = (normal_quantile(points.at(i, 4)), SINGLE * normal_quantile(points.at(i, 5)));
            let (e_mean, e_sd) = if residuals.is_empty() {
                (0.0, COMMON)
            } else {
                (share * mean, (c2 * (1.0 - share)).sqrt())
            };
            for (k, d) in predicted.iter().enumerate() {
                before[k].push((d + COMMON * z + single).exp());
                after[k].push((d + e_mean + e_sd * z + single).exp());
            }
        }
        let top = log_weight.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let weight: Vec<f64> = log_weight.iter().map(|l| (l - top).exp()).collect();
        let even = vec![1.0; weight.len()];
        let quantiles = |of: &[Vec<f64>], w: &[f64]| -> Vec<[f64; 3]> {
            of.iter().map(|v| weighted_quantiles(v, w, [0.05, 0.5, 0.95])).collect()
        };
        let sum: f64 = weight.iter().sum();
        Bands {
            before: quantiles(&before, &even),
            after: quantiles(&after, &weight),
            effective: sum * sum / weight.iter().map(|w| w * w).sum::<f64>().max(1e-300),
        }
    }
}

/// Samples of the priors: enough that some hundred remain after two dozen points were seen.
const SAMPLES: usize = 60_000;
/// Error of the closed form that all points of a curve share (as the estimator takes it), relative.
const COMMON: f64 = 0.05;
/// Error of single points: reading the figures, about 1 % of full scale, and scatter of the rig; relative.
const SINGLE: f64 = 0.025;

/// Bands of a drop at given loads: 5, 50, 95 %.
#[derive(Debug, Clone)]
pub struct Bands {
    /// From the priors alone, Pa.
    pub before: Vec<[f64; 3]>,
    /// After the first part was seen, Pa.
    pub after: Vec<[f64; 3]>,
    /// Effective count of samples behind `after`.
    pub effective: f64,
}

/// Count of points inside bands.
#[must_use]
pub fn inside(bands: &[[f64; 3]], points: &[(f64, f64)]) -> usize {
    bands.iter().zip(points).filter(|(b, p)| (b[0]..=b[2]).contains(&p.1)).count()
}

/// Root mean square.
#[must_use]
pub fn rms(misses: &[f64]) -> f64 {
    (misses.iter().map(|m| m * m).sum::<f64>() / misses.len().max(1) as f64).sqrt()
}

/// Mean.
#[must_use]
pub fn mean(misses: &[f64]) -> f64 {
    misses.iter().sum::<f64>() / misses.len().max(1) as f64
}

/// The flow rig with ash: wall fitted on the clean points, ash layer from print and from the prior.
#[derive(Debug, Clone)]
pub struct AshRig {
    /// Air flow L/min and drop Pa, clean.
    pub clean: Vec<(f64, f64)>,
    /// The same with 15.3 g/L of ash.
    pub ash: Vec<(f64, f64)>,
    geometry: Geometry,
}

impl AshRig {
    /// Reads the table.
    ///
    /// # Errors
    /// The table cannot be read.
    pub fn new() -> Result<Self, Box<dyn Error>> {
        let rows = table("s57-ash-flow.csv")?;
        let of = |state: &str| -> Result<Vec<(f64, f64)>, Box<dyn Error>> {
            rows.iter()
                .filter(|r| r.get(2) == Some(state))
                .map(|r| Ok((number(r, 10)?, number(r, 12)?)))
                .collect()
        };
        let geometry =
            Geometry::new(Cells::symmetric(cells_from_cpsi(100.0), 0.4318e-3)?, round_face(0.0676), 0.3048)?
                .with_filtering_length(0.2964)?;
        Ok(Self { clean: of("clean")?, ash: of("ash")?, geometry })
    }

    /// Drop, Pa, for a wall (m2), an ash layer (m2 at 400 kg/m3), a plug share, a load (g/L) and air (L/min).
    #[must_use]
    pub fn drop(&self, wall: f64, ash: f64, plug: f64, load: f64, litres_min: f64) -> Option<f64> {
        let air = Gas::air();
        let media =
            Media::default().with_wall(Wall::new(wall).ok()?).with_ash(Ash::new(ash, 400.0, 500.0).ok()?);
        let filter = Filter { geometry: self.geometry, media, ends: Ends::Reference };
        let flow = FlowState::new(litres_min / 60e3 * air.density(ATM, 293.15), 293.15, ATM).ok()?;
        let d = Deposits::new(0.0, load, plug).ok()?;
        Some(pressure::closed_form(&filter, &d, &air, &flow, Density::Mean).ok()?.total())
    }

    /// Wall that fits the clean points best.
    #[must_use]
    pub fn wall(&self) -> f64 {
        let miss = |k: f64| -> f64 {
            self.clean
                .iter()
                .map(|p| self.drop(k, 6e-14, 0.0, 0.0, p.0).map_or(9.0, |d| (d / p.1 - 1.0).powi(2)))
                .sum()
        };
        (0..400)
            .map(|i| 1.5e-13 * 6.0_f64.powf(f64::from(i) / 399.0))
            .min_by(|a, b| miss(*a).total_cmp(&miss(*b)))
            .unwrap_or(4e-13)
    }

    /// 5, 50, 95 % of the drop with ash at each of its flows, over the priors of layer and plug, wall fitted.
    #[must_use]
    pub fn band(&self) -> Vec<[f64; 3]> {
        let mut case = Case::default();
        case.car.category = Some(Category::M1);
        let p = Priors::new(&case, &[], false);
        let points = Points;
        let wall = self.wall();
        let n = 4000;
        self.ash
            .iter()
            .map(|&(flow, _)| {
                let values: Vec<f64> = (0..n)
                    .filter_map(|i| {
                        let ash = p.common.get(at::ASH_LAYER)?.pick(points.at(i, 0)).exp();
                        let plug = p.common.get(at::PLUG)?.pick(points.at(i, 1));
                        let plug = 1.0 / (1.0 + (-plug).exp());
                        let e = COMMON * normal_quantile(points.at(i, 2));
                        Some(self.drop(wall, ash, plug, 15.27, flow)? * (1.0 + e))
                    })
                    .collect();
                weighted_quantiles(&values, &vec![1.0; values.len()], [0.05, 0.5, 0.95])
            })
            .collect()
    }
}

/// A weighed burn: temperature degC, measured burnt g, and what the constants say with a rate factor of 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Burn {
    /// Filter temperature, degC.
    pub degc: f64,
    /// Weighed, g.
    pub burnt_g: f64,
    start: f64,
    feed: f64,
    hours: f64,
    no2: f64,
}

/// The weighed burns.
///
/// # Errors
/// The table cannot be read.
pub fn burns() -> Result<Vec<Burn>, Box<dyn Error>> {
    table("s58-soot-oxidation-weighed.csv")?
        .iter()
        .map(|r| {
            Ok(Burn {
                degc: number(r, 5)?,
                burnt_g: number(r, 11)?,
                start: 1e-3 * number(r, 9)?,
                feed: 1e-6 * number(r, 7)?,
                hours: number(r, 8)?,
                no2: number(r, 6)?,
            })
        })
        .collect::<Result<Vec<Burn>, Box<dyn Error>>>()
}

impl Burn {
    /// Burnt mass, g, with the oxygen set made faster by `oxygen` and the NO2 set by `no2`.
    #[must_use]
    pub fn predicted(&self, set: Kinetics, oxygen: f64, no2: f64) -> Option<f64> {
        let kelvin = self.degc + 273.15;
        let rate = oxygen * set.rate(0.08, kelvin) + no2 * Nitrogen::WEIGHED.rate(1e-6 * self.no2, kelvin);
        Some(1e3 * burnt_steadily(self.start, self.feed, rate, 3600.0 * self.hours).ok()?)
    }
}
