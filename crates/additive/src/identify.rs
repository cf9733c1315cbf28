//! Which fluid is this? Probabilities from bench observations, the next most telling test, and the two looks a pour
//! needs.
//!
//! Every fluid of the library is a hypothesis; its limits are spread evenly over small cells (for urea in water along
//! the measured table, so that density and refractive index move together). Observations weigh the cells. All readings
//! of one quantity share the fluid's own value and the doubt about its slope, so asking the same instrument twice
//! teaches little, as it should.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::error::{Result, finite, positive};
use crate::fluid::{Fluid, InWater, Kind, Library, Look};
use crate::message::{Message, rounded};

/// Probability at which a fluid counts as identified.
pub const SETTLED_AT: f64 = 0.95;
/// Share of readings that are plain wrong (wrong line read, dirty prism); expert guess.
const SLIP: f64 = 0.02;
/// Share of labels that name another fluid than is in the container (refilled container); expert guess.
const WRONG_LABEL: f64 = 0.02;
/// Range over which a wrong density reading may fall, kg/m3.
const DENSITY_RANGE: (f64, f64) = (600.0, 1500.0);
/// Range over which a wrong refractive index may fall.
const INDEX_RANGE: (f64, f64) = (1.30, 1.60);
/// Least and most cells along a quantity.
const CELLS: (usize, usize) = (24, 1000);
/// What the printed limits of AUS 32 allow beyond the measured table (method scatter), kg/m3 and index.
const UREA_SCATTER: (f64, f64) = (2.0, 7e-4);
/// Half of what the middle of the printed limits of the index lies above the table.
const UREA_INDEX_SHIFT: f64 = 2e-4;
/// Nodes and weights of the seven-point Gauss-Hermite rule for a standard normal law.
const HERMITE: [(f64, f64); 7] = [
    (-3.750_439_717_725_742, 5.482_688_559_722_18e-4),
    (-2.366_759_410_734_541, 3.075_712_396_758_65e-2),
    (-1.154_405_394_739_968, 0.240_123_178_605_012_7),
    (0.0, 0.457_142_857_142_857_1),
    (1.154_405_394_739_968, 0.240_123_178_605_012_7),
    (2.366_759_410_734_541, 3.075_712_396_758_65e-2),
    (3.750_439_717_725_742, 5.482_688_559_722_18e-4),
];

/// One thing seen at the bench.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "test", rename_all = "snake_case", deny_unknown_fields)]
pub enum Observation {
    /// Hydrometer or density meter.
    Density {
        /// Reading, kg/m3 (1 g/mL = 1000).
        kg_m3: f64,
        /// Standard uncertainty, kg/m3.
        standard_uncertainty: f64,
        /// Temperature of the sample, degC.
        degc: f64,
    },
    /// A known volume, weighed.
    WeighedVolume {
        /// Net mass, g.
        mass_g: f64,
        /// Its standard uncertainty, g.
        mass_uncertainty_g: f64,
        /// Volume, mL.
        volume_ml: f64,
        /// Its standard uncertainty, mL.
        volume_uncertainty_ml: f64,
        /// Temperature of the sample, degC.
        degc: f64,
    },
    /// Refractometer, sodium line.
    Refractive {
        /// Refractive index.
        index: f64,
        /// Standard uncertainty.
        standard_uncertainty: f64,
        /// Temperature of the sample, degC; 20 for an instrument that compensates.
        degc: f64,
    },
    /// The refractometer shows no edge: too dark or cloudy.
    RefractiveUnreadable,
    /// Look in clear glass.
    Look {
        /// What it looks like.
        look: Look,
    },
    /// A drop in water.
    DropInWater {
        /// What it does.
        outcome: InWater,
    },
    /// The label, read by a person.
    Label {
        /// Id of the fluid it names.
        fluid: String,
    },
    /// The container's code, scanned.
    Scan {
        /// Id of the fluid it names.
        fluid: String,
    },
}

/// Kinds of test, for the count of independent evidence and for advice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Test {
    /// Density by hydrometer (2 kg/m3).
    Density,
    /// Density by weighing a known volume (100 mL cylinder and 1 g scale: 10 kg/m3).
    WeighedVolume,
    /// Refractometer (0.0005).
    Refractive,
    /// Look in clear glass.
    Look,
    /// Drop in water.
    DropInWater,
    /// Label or code.
    Label,
}

impl Test {
    /// All tests.
    pub const ALL: [Test; 6] =
        [Test::Density, Test::WeighedVolume, Test::Refractive, Test::Look, Test::DropInWater, Test::Label];

    /// Minutes it takes (common practice).
    pub fn minutes(self) -> f64 {
        match self {
            Test::Density => 3.0,
            Test::WeighedVolume => 5.0,
            Test::Refractive => 2.0,
            Test::Look | Test::DropInWater | Test::Label => 1.0,
        }
    }
}

impl Observation {
    /// What kind of test made it.
    pub fn test(&self) -> Test {
        match self {
            Observation::Density { .. } => Test::Density,
            Observation::WeighedVolume { .. } => Test::WeighedVolume,
            Observation::Refractive { .. } | Observation::RefractiveUnreadable => Test::Refractive,
            Observation::Look { .. } => Test::Look,
            Observation::DropInWater { .. } => Test::DropInWater,
            Observation::Label { .. } | Observation::Scan { .. } => Test::Label,
        }
    }
}

/// Density (kg/m3) and standard uncertainty from a weighed volume.
///
/// Equation: rho = 1000 m / V with m in g and V in mL; relative uncertainties add in squares (first order, fine below
/// about 10 %). Errors when mass or volume is not above zero.
///
/// ```
/// # use additive::identify::weighed_density;
/// let (rho, u) = weighed_density(108.8, 1.0, 100.0, 0.5)?;
/// assert!((rho - 1088.0).abs() < 1e-9 && (u - 11.4).abs() < 0.1);
/// # Ok::<(), additive::Error>(())
/// ```
pub fn weighed_density(
    mass_g: f64,
    mass_uncertainty_g: f64,
    volume_ml: f64,
    volume_uncertainty_ml: f64,
) -> Result<(f64, f64)> {
    let m = positive("net mass", "g", mass_g)?;
    let v = positive("volume", "mL", volume_ml)?;
    let um = positive("uncertainty of the mass", "g", mass_uncertainty_g)?;
    let uv = positive("uncertainty of the volume", "mL", volume_uncertainty_ml)?;
    let rho = positive("density", "kg/m3", 1000.0 * m / v)?;
    Ok((rho, positive("uncertainty of the density", "kg/m3", rho * (um / m).hypot(uv / v))?))
}

/// A fluid and how likely it is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Candidate {
    /// Fluid.
    pub fluid: String,
    /// Its family.
    pub kind: Kind,
    /// Probability; those of all candidates add up to 1.
    pub probability: f64,
}

/// A test not yet made and what it would teach.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Telling {
    /// Test.
    pub test: Test,
    /// Expected information about which fluid it is, bit.
    pub bits: f64,
    /// Minutes it takes.
    pub minutes: f64,
}

/// Answer of [`identify`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Identity {
    /// Fluids, most likely first.
    pub candidates: Vec<Candidate>,
    /// The fluid, when settled.
    pub settled: Option<String>,
    /// Why it is or is not settled.
    pub reason: Message,
    /// Tests not yet made, most telling first.
    pub next: Vec<Telling>,
    /// Urea, per cent by mass, from the measured table, where urea in water is likely and density or index was read.
    pub urea_pct: Option<(f64, f64)>,
}

/// A small part of a class: weight and values at 20 degC.
#[derive(Clone, Copy)]
struct Cell {
    weight: f64,
    density: Option<f64>,
    index: Option<f64>,
    urea_pct: Option<f64>,
}

/// A fluid with its cells. Axes are independent of each other; urea in water has one that carries both quantities.
struct Hypothesis<'a> {
    fluid: &'a Fluid,
    prior: f64,
    axes: Vec<Vec<Cell>>,
    /// doubt that all readings of a quantity share: kg/m3 and index
    shared: (f64, f64),
}

/// A reading of one quantity.
#[derive(Clone, Copy)]
struct Reading {
    value: f64,
    uncertainty: f64,
    degc: f64,
}

/// Bench observations sorted by what they weigh.
#[derive(Default)]
struct Sorted<'a> {
    densities: Vec<Reading>,
    indices: Vec<Reading>,
    others: Vec<&'a Observation>,
}

impl<'a> Sorted<'a> {
    fn of(observations: &'a [Observation]) -> Result<Self> {
        let mut sorted = Self::default();
        for o in observations {
            match *o {
                Observation::Density { kg_m3, standard_uncertainty, degc } => {
                    sorted.densities.push(Reading { value: kg_m3, uncertainty: standard_uncertainty, degc });
                }
                Observation::WeighedVolume {
                    mass_g,
                    mass_uncertainty_g,
                    volume_ml,
                    volume_uncertainty_ml,
                    degc,
                } => {
                    let (value, uncertainty) =
                        weighed_density(mass_g, mass_uncertainty_g, volume_ml, volume_uncertainty_ml)?;
                    sorted.densities.push(Reading { value, uncertainty, degc });
                }
                Observation::Refractive { index, standard_uncertainty, degc } => {
                    sorted.indices.push(Reading { value: index, uncertainty: standard_uncertainty, degc });
                }
                _ => sorted.others.push(o),
            }
        }
        Ok(sorted)
    }
}

/// Probabilities over the library's fluids from bench observations, and what to test next.
///
/// `prior` gives weights by id for fluids thought more or less likely (a canister from the additive shelf); fluids not
/// named weigh 1, unknown ids are refused. Each numeric reading is brought to 20 degC by the class's slope, whose spread
/// widens the reading; 2 % of readings and labels are taken as plain wrong (expert guess).
///
/// Settled means: probability of 0.95 or more, from two different kinds of test. A refractometer alone never settles:
/// coolant of the right strength shows the index of AUS 32.
pub fn identify(
    library: &Library,
    prior: &BTreeMap<String, f64>,
    observations: &[Observation],
) -> Result<Identity> {
    for (id, weight) in prior {
        library.get(id)?;
        crate::error::not_negative("prior weight of a fluid", "", *weight)?;
    }
    for o in observations {
        check(library, o)?;
    }
    let sorted = Sorted::of(observations)?;
    let mut hypotheses = Vec::new();
    for fluid in library.iter() {
        let default = match fluid.kind {
            Kind::Other => 0.1,
            Kind::Mixture => 0.3,
            _ => 1.0,
        };
        let prior = prior.get(&fluid.id).copied().unwrap_or(default);
        hypotheses.push(Hypothesis::new(library, fluid, prior, &sorted));
    }
    for h in &mut hypotheses {
        h.weigh(&sorted);
    }
    let total: f64 = hypotheses.iter().map(Hypothesis::mass).sum();
    if !(total > 0.0 && total.is_finite()) {
        return Ok(Identity {
            candidates: Vec::new(),
            settled: None,
            reason: Message::new("identify-nothing-fits"),
            next: Vec::new(),
            urea_pct: None,
        });
    }
    for h in &mut hypotheses {
        h.prior /= total;
    }
    let mut candidates: Vec<Candidate> = hypotheses
        .iter()
        .map(|h| Candidate { fluid: h.fluid.id.clone(), kind: h.fluid.kind, probability: h.mass() })
        .collect();
    candidates.sort_by(|a, b| b.probability.total_cmp(&a.probability).then(a.fluid.cmp(&b.fluid)));
    let made: BTreeSet<Test> = observations.iter().map(Observation::test).collect();
    let (settled, reason) = verdict(&candidates, &made);
    let mut next: Vec<Telling> = Test::ALL
        .into_iter()
        .filter(|t| !made.contains(t))
        .map(|test| Telling { test, bits: expected_bits(&hypotheses, test), minutes: test.minutes() })
        .collect();
    next.sort_by(|a, b| b.bits.total_cmp(&a.bits).then(a.minutes.total_cmp(&b.minutes)));
    let numeric = made.iter().any(|t| matches!(t, Test::Density | Test::WeighedVolume | Test::Refractive));
    let urea_pct = if numeric { urea_interval(&hypotheses) } else { None };
    Ok(Identity { candidates, settled, reason, next, urea_pct })
}

impl<'a> Hypothesis<'a> {
    fn new(library: &Library, fluid: &'a Fluid, prior: f64, seen: &Sorted<'_>) -> Self {
        // all readings of a quantity together: cells must not be coarser than what these can tell apart
        let finest = |readings: &[Reading]| {
            let sum: f64 = readings.iter().map(|r| r.uncertainty.powi(-2)).sum();
            (sum > 0.0).then(|| sum.sqrt().recip())
        };
        let (fine_density, fine_index) = (finest(&seen.densities), finest(&seen.indices));
        let count = |width: f64, fine: Option<f64>| {
            let wanted = fine.map_or(0.0, |fine| width / fine);
            (wanted.min(CELLS.1 as f64) as usize).clamp(CELLS.0, CELLS.1)
        };
        let even = |low: f64, high: f64, n: usize| {
            let step = (high - low) / n as f64;
            (0..n).map(move |i| low + step * (i as f64 + 0.5))
        };
        let blank = Cell { weight: 1.0, density: None, index: None, urea_pct: None };
        if let (Some(urea), Some(table)) = (&fluid.urea_pct, &library.urea) {
            let width = urea.high - urea.low;
            // 2.85 kg/m3 and 1.56e-3 of index per per cent of urea
            let n = count(width, fine_density.map(|u| u / 2.85))
                .max(count(width, fine_index.map(|u| u / 1.56e-3)));
            let axis = even(urea.low, urea.high, n)
                .map(|w| Cell {
                    weight: 1.0 / n as f64,
                    density: table.density_kg_m3(w),
                    index: table.refractive_20(w).map(|i| i + UREA_INDEX_SHIFT),
                    urea_pct: Some(w),
                })
                .collect();
            let step = width / n as f64 / 12f64.sqrt();
            let shared = (UREA_SCATTER.0.hypot(2.85 * step), UREA_SCATTER.1.hypot(1.56e-3 * step));
            return Self { fluid, prior, axes: vec![axis], shared };
        }
        let mut axes = Vec::new();
        let mut shared = (0.0, 0.0);
        if let Ok(s) = fluid.density_kg_m3(20.0) {
            let n = count(s.high - s.low, fine_density);
            shared.0 = (s.high - s.low) / n as f64 / 12f64.sqrt();
            let cell = |d| Cell { weight: 1.0 / n as f64, density: Some(d), ..blank };
            axes.push(even(s.low, s.high, n).map(cell).collect());
        }
        if let Some(s) = fluid.refractive_index(20.0) {
            let n = count(s.high - s.low, fine_index);
            shared.1 = (s.high - s.low) / n as f64 / 12f64.sqrt();
            let cell = |i| Cell { weight: 1.0 / n as f64, index: Some(i), ..blank };
            axes.push(even(s.low, s.high, n).map(cell).collect());
        }
        Self { fluid, prior, axes, shared }
    }

    fn mass(&self) -> f64 {
        self.prior * self.axes.iter().map(|axis| axis.iter().map(|c| c.weight).sum::<f64>()).product::<f64>()
    }

    /// Weighs prior and cells by what was seen.
    fn weigh(&mut self, seen: &Sorted<'_>) {
        for o in &seen.others {
            self.prior *= word_likelihood(self.fluid, o);
        }
        self.prior *= self.fluid.refractive_readable.max(1e-6).powi(seen.indices.len() as i32);
        let densities: Vec<_> = seen.densities.iter().map(|r| (*r, self.density_shift(r.degc))).collect();
        let indices: Vec<_> = seen.indices.iter().map(|r| (*r, self.index_shift(r.degc))).collect();
        let shared = self.shared;
        for cell in self.axes.iter_mut().flatten() {
            if let Some(d) = cell.density {
                cell.weight *= together(d, &densities, shared.0, DENSITY_RANGE);
            }
            if let Some(i) = cell.index {
                cell.weight *= together(i, &indices, shared.1, INDEX_RANGE);
            }
        }
    }

    /// What the density changes from 20 degC to a temperature, and the standard uncertainty of that, kg/m3.
    fn density_shift(&self, degc: f64) -> (f64, f64) {
        // a row with points at several temperatures knows its own curve; the slope serves the rest
        match (self.fluid.density.len(), self.fluid.density_kg_m3(20.0), self.fluid.density_kg_m3(degc)) {
            (2.., Ok(at20), Ok(there)) => (there.middle() - at20.middle(), 0.0),
            _ => correction(self.fluid.density_per_k.as_ref(), (-0.8, -0.2), degc - 20.0),
        }
    }

    /// The same for the refractive index.
    fn index_shift(&self, degc: f64) -> (f64, f64) {
        correction(self.fluid.refractive_per_k.as_ref(), (-5e-4, -1e-4), degc - 20.0)
    }
}

fn verdict(candidates: &[Candidate], made: &BTreeSet<Test>) -> (Option<String>, Message) {
    let Some(best) = candidates.first() else {
        return (None, Message::new("identify-nothing-fits"));
    };
    let percent = rounded(best.probability * 100.0, 0);
    let said = |key| Message::new(key).text("fluid", best.fluid.clone()).number("percent", percent);
    if made.is_empty() {
        return (None, Message::new("identify-nothing-seen"));
    }
    if best.probability < SETTLED_AT {
        return (None, said("identify-not-sure"));
    }
    // two ways to the same quantity are one kind of evidence
    let kinds: BTreeSet<Test> =
        made.iter().map(|t| if *t == Test::WeighedVolume { Test::Density } else { *t }).collect();
    if kinds.len() < 2 {
        let key = if made.contains(&Test::Refractive) {
            "identify-refractometer-alone"
        } else {
            "identify-one-look"
        };
        return (None, said(key));
    }
    if best.kind == Kind::Other {
        return (None, Message::new("identify-nothing-fits"));
    }
    (Some(best.fluid.clone()), said("identify-settled"))
}

fn check(library: &Library, observation: &Observation) -> Result<()> {
    match observation {
        Observation::Density { kg_m3, standard_uncertainty, degc } => {
            positive("density", "kg/m3", *kg_m3)?;
            positive("uncertainty of the density", "kg/m3", *standard_uncertainty)?;
            finite("temperature", "degC", *degc)?;
        }
        Observation::WeighedVolume { mass_g, mass_uncertainty_g, volume_ml, volume_uncertainty_ml, degc } => {
            weighed_density(*mass_g, *mass_uncertainty_g, *volume_ml, *volume_uncertainty_ml)?;
            finite("temperature", "degC", *degc)?;
        }
        Observation::Refractive { index, standard_uncertainty, degc } => {
            positive("refractive index", "", *index)?;
            positive("uncertainty of the refractive index", "", *standard_uncertainty)?;
            finite("temperature", "degC", *degc)?;
        }
        Observation::Label { fluid } | Observation::Scan { fluid } => {
            library.get(fluid)?;
        }
        Observation::RefractiveUnreadable | Observation::Look { .. } | Observation::DropInWater { .. } => {}
    }
    Ok(())
}

/// Likelihood of what was said or seen in words.
fn word_likelihood(fluid: &Fluid, observation: &Observation) -> f64 {
    match observation {
        Observation::RefractiveUnreadable => (1.0 - fluid.refractive_readable).max(SLIP),
        Observation::Look { look } => share_of(&fluid.looks, *look, Look::ALL.len()),
        Observation::DropInWater { outcome } => share_of(&fluid.in_water, *outcome, InWater::ALL.len()),
        Observation::Label { fluid: said } => label_likelihood(&fluid.id, said, WRONG_LABEL),
        // a code is not misread, but the container may have been refilled just the same
        Observation::Scan { fluid: said } => label_likelihood(&fluid.id, said, WRONG_LABEL * 0.75),
        Observation::Density { .. } | Observation::WeighedVolume { .. } | Observation::Refractive { .. } => {
            1.0
        }
    }
}

/// Slope's middle and standard uncertainty, brought to a temperature difference.
fn correction(slope: Option<&crate::fluid::Band>, fallback: (f64, f64), away: f64) -> (f64, f64) {
    let (low, high) = slope.map_or(fallback, |s| (s.low, s.high));
    (0.5 * (low + high) * away, (0.5 * (high - low) * away).abs() / 3f64.sqrt())
}

/// Likelihood of all readings of a quantity together, given the fluid's value at 20 degC; 1 is what a fluid without
/// that figure gets.
///
/// Each reading comes with its shift to its temperature and the shift's uncertainty. What the readings share (doubt of
/// slope, scatter of the class, width of a cell) is integrated once, not once per reading.
fn together(value: f64, readings: &[(Reading, (f64, f64))], shared: f64, range: (f64, f64)) -> f64 {
    if readings.is_empty() {
        return 1.0;
    }
    HERMITE
        .iter()
        .map(|(z, weight)| {
            let product: f64 = readings
                .iter()
                .map(|(r, (shift, doubt))| {
                    // against "anywhere in the range", so that many readings neither vanish nor overflow
                    let mean = value + shift + z * shared.hypot(*doubt);
                    (range.1 - range.0) * slipping(r.value, mean, r.uncertainty, range)
                })
                .product();
            weight * product
        })
        .sum()
}

/// Normal density with a share of readings anywhere in the range.
fn slipping(x: f64, mean: f64, sd: f64, (low, high): (f64, f64)) -> f64 {
    let z = (x - mean) / sd;
    let normal = (-0.5 * z * z).exp() / (sd * (2.0 * std::f64::consts::PI).sqrt());
    (1.0 - SLIP) * normal + SLIP / (high - low)
}

fn share_of<K: Ord>(weights: &BTreeMap<K, f64>, key: K, outcomes: usize) -> f64 {
    let sum: f64 = weights.values().sum();
    let even = 1.0 / outcomes as f64;
    if sum <= 0.0 {
        return even;
    }
    (1.0 - SLIP) * weights.get(&key).copied().unwrap_or(0.0) / sum + SLIP * even
}

fn label_likelihood(id: &str, said: &str, wrong: f64) -> f64 {
    if id == said { 1.0 - wrong } else { wrong / 10.0 }
}

/// Mutual information between the fluid and the outcome of a test, bit.
fn expected_bits(hypotheses: &[Hypothesis<'_>], test: Test) -> f64 {
    let masses: Vec<f64> = hypotheses.iter().map(Hypothesis::mass).collect();
    // probability of each outcome under each fluid, made to add up to one per fluid
    let table: Vec<Vec<f64>> = hypotheses
        .iter()
        .zip(&masses)
        .map(|(h, mass)| {
            let row = outcomes(h, hypotheses, test);
            let sum: f64 = row.iter().sum();
            row.iter().map(|p| if sum > 0.0 { mass * p / sum } else { 0.0 }).collect()
        })
        .collect();
    let count = table.first().map_or(0, Vec::len);
    let mut bits = 0.0;
    for o in 0..count {
        let all: f64 = table.iter().filter_map(|row| row.get(o)).sum();
        for (row, mass) in table.iter().zip(&masses) {
            let joint = row.get(o).copied().unwrap_or(0.0);
            if joint > 0.0 && all > 0.0 && *mass > 0.0 {
                bits += joint * (joint / (all * mass)).log2();
            }
        }
    }
    bits.max(0.0)
}

/// Likelihood of every outcome of a test under one fluid, by its cells as they are weighed now.
fn outcomes(h: &Hypothesis<'_>, all: &[Hypothesis<'_>], test: Test) -> Vec<f64> {
    let words =
        |observations: Vec<Observation>| observations.iter().map(|o| word_likelihood(h.fluid, o)).collect();
    let numbers = |values: Vec<f64>, of: fn(&Cell) -> Option<f64>, sd: f64, range: (f64, f64)| -> Vec<f64> {
        let cells = coarse(h.axes.iter().flatten().filter_map(|c| Some((of(c)?, c.weight))), sd / 2.0);
        let total: f64 = cells.iter().map(|c| c.1).sum();
        let density = |x| {
            if total > 0.0 {
                cells.iter().map(|(v, w)| w / total * slipping(x, *v, sd, range)).sum::<f64>()
            } else {
                (range.1 - range.0).recip()
            }
        };
        values.into_iter().map(density).collect()
    };
    match test {
        Test::Density => {
            numbers(grid(DENSITY_RANGE, 2.0), |c| c.density, 2f64.hypot(h.shared.0), DENSITY_RANGE)
        }
        Test::WeighedVolume => {
            numbers(grid(DENSITY_RANGE, 6.0), |c| c.density, 10f64.hypot(h.shared.0), DENSITY_RANGE)
        }
        Test::Refractive => {
            let row = numbers(grid(INDEX_RANGE, 5e-4), |c| c.index, 5e-4f64.hypot(h.shared.1), INDEX_RANGE);
            let sum: f64 = row.iter().sum();
            let readable = h.fluid.refractive_readable;
            let readings = row.iter().map(|p| if sum > 0.0 { readable * p / sum } else { 0.0 });
            std::iter::once((1.0 - readable).max(SLIP)).chain(readings).collect()
        }
        Test::Look => words(Look::ALL.into_iter().map(|look| Observation::Look { look }).collect()),
        Test::DropInWater => {
            words(InWater::ALL.into_iter().map(|outcome| Observation::DropInWater { outcome }).collect())
        }
        Test::Label => words(all.iter().map(|o| Observation::Label { fluid: o.fluid.id.clone() }).collect()),
    }
}

/// Cells added up in bins no wider than `step`, empty ones left out.
fn coarse(cells: impl Iterator<Item = (f64, f64)>, step: f64) -> Vec<(f64, f64)> {
    let mut bins: BTreeMap<i64, (f64, f64)> = BTreeMap::new();
    for (value, weight) in cells {
        let bin = bins.entry((value / step).floor() as i64).or_insert((0.0, 0.0));
        bin.0 += value * weight;
        bin.1 += weight;
    }
    bins.into_values().filter(|b| b.1 > 0.0).map(|(sum, weight)| (sum / weight, weight)).collect()
}

fn grid((low, high): (f64, f64), step: f64) -> Vec<f64> {
    let n = ((high - low) / step).ceil() as usize;
    (0..=n).map(|i| low + i as f64 * step).collect()
}

/// 90 % interval of urea content where urea in water is likelier than not.
fn urea_interval(hypotheses: &[Hypothesis<'_>]) -> Option<(f64, f64)> {
    let mut cells: Vec<(f64, f64)> = hypotheses
        .iter()
        .flat_map(|h| h.axes.iter().flatten().filter_map(|c| Some((c.urea_pct?, h.prior * c.weight))))
        .collect();
    let total: f64 = cells.iter().map(|c| c.1).sum();
    if total < 0.5 {
        return None;
    }
    cells.sort_by(|a, b| a.0.total_cmp(&b.0));
    let at = |q: f64| {
        let mut sum = 0.0;
        cells.iter().find(|c| {
            sum += c.1;
            sum >= q * total
        })
    };
    Some((at(0.05)?.0, at(0.95)?.0))
}

/// One look at the fluid before a pour.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BeforePour {
    /// Who looked; any token that is the same for the same person.
    pub by: String,
    /// What was done.
    pub observation: Observation,
}

/// Whether a pour may begin.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "state", rename_all = "snake_case")]
pub enum Pour {
    /// Two independent looks agree.
    Allowed {
        /// What to say, cautions included.
        because: Message,
    },
    /// Nothing speaks against it, but a look is missing.
    Missing {
        /// What would complete it.
        want: Message,
    },
    /// Something disagrees. No further look undoes a mismatch; the looks must be begun anew with another container.
    Blocked {
        /// What disagrees.
        because: Message,
    },
}

/// The two looks a pour needs.
///
/// Allowed by two independent looks that agree with `wanted`:
/// - label or code by two different persons,
/// - a scanned code and a label read by a person (the same one may do both),
/// - label or code, and a measured density, by one person alone.
///
/// A measured density counts when its 95 % interval meets the class of `wanted` and shuts out the fluid that would do
/// most harm in its place (another family; see `shuts_out`). It never stands against a label or code that disagrees, and
/// a density, look or drop that disagrees blocks whatever the labels say. Density rarely tells two generations of
/// concentrate apart; the label does.
pub fn two_looks(library: &Library, wanted: &str, looks: &[BeforePour]) -> Result<Pour> {
    let fluid = library.get(wanted)?;
    for look in looks {
        check(library, &look.observation)?;
    }
    let blocked = |key, look: &BeforePour| Pour::Blocked {
        because: Message::new(key).text("wanted", fluid.name.clone()).text("by", look.by.clone()),
    };
    let mut readers: BTreeSet<&str> = BTreeSet::new();
    let (mut scanned, mut density) = (false, false);
    for look in looks {
        match &look.observation {
            Observation::Label { fluid: said } | Observation::Scan { fluid: said } if said != wanted => {
                return Ok(blocked("pour-label-disagrees", look));
            }
            Observation::Label { .. } => {
                readers.insert(look.by.trim());
            }
            Observation::Scan { .. } => scanned = true,
            Observation::Density { kg_m3, standard_uncertainty, degc } => {
                match density_speaks(library, fluid, *kg_m3, *standard_uncertainty, *degc) {
                    Speaks::Against => return Ok(blocked("pour-density-disagrees", look)),
                    Speaks::For => density = true,
                    Speaks::Nothing => {}
                }
            }
            Observation::WeighedVolume {
                mass_g,
                mass_uncertainty_g,
                volume_ml,
                volume_uncertainty_ml,
                degc,
            } => {
                let (rho, u) =
                    weighed_density(*mass_g, *mass_uncertainty_g, *volume_ml, *volume_uncertainty_ml)?;
                match density_speaks(library, fluid, rho, u, *degc) {
                    Speaks::Against => return Ok(blocked("pour-density-disagrees", look)),
                    Speaks::For => density = true,
                    Speaks::Nothing => {}
                }
            }
            Observation::Look { look: seen } => {
                if share_of(&fluid.looks, *seen, Look::ALL.len()) < 0.015 {
                    return Ok(blocked("pour-look-disagrees", look));
                }
            }
            Observation::DropInWater { outcome } => {
                if share_of(&fluid.in_water, *outcome, InWater::ALL.len()) < 0.015 {
                    return Ok(blocked("pour-drop-disagrees", look));
                }
            }
            Observation::Refractive { index, standard_uncertainty, degc } => {
                let reach = 1.96 * standard_uncertainty + 5e-4;
                if fluid
                    .refractive_index(*degc)
                    .is_some_and(|s| *index + reach < s.low || *index - reach > s.high)
                {
                    return Ok(blocked("pour-index-disagrees", look));
                }
            }
            Observation::RefractiveUnreadable => {}
        }
    }
    let named = scanned || !readers.is_empty();
    let allowed = |key| Pour::Allowed { because: Message::new(key).text("wanted", fluid.name.clone()) };
    let missing = |key| Pour::Missing { want: Message::new(key).text("wanted", fluid.name.clone()) };
    Ok(if readers.len() >= 2 {
        allowed("pour-two-persons")
    } else if scanned && !readers.is_empty() {
        allowed("pour-scan-and-label")
    } else if named && density {
        allowed("pour-label-and-density")
    } else if named {
        missing("pour-second-look-missing")
    } else {
        missing("pour-label-missing")
    })
}

enum Speaks {
    For,
    Against,
    Nothing,
}

/// What a density says about a fluid: against it, for it (and against every fluid of another hazard), or nothing.
fn density_speaks(library: &Library, fluid: &Fluid, kg_m3: f64, u: f64, degc: f64) -> Speaks {
    let reach = 1.96 * u;
    let meets = |f: &Fluid| {
        let class = match (f.density_kg_m3(degc), &f.urea_pct, &library.urea) {
            (Ok(s), _, _) => Some((s.low, s.high)),
            (Err(_), Some(urea), Some(table)) => {
                table.density_kg_m3(urea.low).zip(table.density_kg_m3(urea.high))
            }
            _ => None,
        };
        class.map(|(low, high)| kg_m3 + reach >= low && kg_m3 - reach <= high)
    };
    match meets(fluid) {
        Some(false) => Speaks::Against,
        None => Speaks::Nothing,
        Some(true) => {
            let confusable = library
                .iter()
                .filter(|f| shuts_out(fluid.kind).contains(&f.kind) && f.id != fluid.id)
                .any(|f| meets(f) != Some(false));
            if confusable { Speaks::Nothing } else { Speaks::For }
        }
    }
}

/// Families whose presence instead of the wanted one would do most harm, so a density must shut them out to count.
pub fn shuts_out(kind: Kind) -> &'static [Kind] {
    match kind {
        Kind::UreaSolution => &[Kind::Concentrate, Kind::Diesel, Kind::Petrol, Kind::Oil, Kind::Water],
        Kind::Concentrate | Kind::Diesel | Kind::Petrol | Kind::Oil => &[Kind::UreaSolution],
        Kind::Water | Kind::WaterMix | Kind::Mixture | Kind::Other => {
            &[Kind::UreaSolution, Kind::Concentrate]
        }
    }
}
