//! Which fluid is this? Probabilities from bench observations, the next most telling test, and the two looks a pour
//! needs.
//!
//! Every fluid of the library is a hypothesis; its limits are spread evenly over small cells (for urea in water along
//! the measured table, so that density and refractive index move together). Observations weigh the cells. Because a
//! cell stands for a whole class, asking the same instrument twice teaches little, as it should.

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
/// Cells along each of density and refractive index.
const CELLS: usize = 24;

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

/// A small part of a class: weight, density and refractive index at 20 degC.
#[derive(Clone)]
struct Cell {
    weight: f64,
    density: Option<(f64, f64)>,
    index: Option<(f64, f64)>,
    urea_pct: Option<f64>,
}

struct Hypothesis<'a> {
    fluid: &'a Fluid,
    prior: f64,
    cells: Vec<Cell>,
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
    let mut hypotheses = Vec::new();
    for fluid in library.iter() {
        let default = match fluid.kind {
            Kind::Other => 0.1,
            Kind::Mixture => 0.3,
            _ => 1.0,
        };
        let prior = prior.get(&fluid.id).copied().unwrap_or(default);
        hypotheses.push(Hypothesis { fluid, prior, cells: cells(library, fluid) });
    }
    for h in &mut hypotheses {
        for o in observations {
            for cell in &mut h.cells {
                cell.weight *= likelihood(h.fluid, cell, o)?;
            }
        }
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
        for cell in &mut h.cells {
            cell.weight *= h.prior / total;
        }
        h.prior = 1.0;
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

impl Hypothesis<'_> {
    fn mass(&self) -> f64 {
        self.prior * self.cells.iter().map(|c| c.weight).sum::<f64>()
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

/// The class spread evenly over cells.
fn cells(library: &Library, fluid: &Fluid) -> Vec<Cell> {
    let range = |low: f64, high: f64, n: usize| {
        let step = (high - low) / n as f64;
        (0..n).map(move |i| (low + step * (i as f64 + 0.5), step))
    };
    if let (Some(urea), Some(table)) = (&fluid.urea_pct, &library.urea) {
        let n = 4 * CELLS;
        return range(urea.low, urea.high, n)
            .map(|(w, step)| Cell {
                weight: 1.0 / n as f64,
                // printed limits are wider than the table's slope explains: method scatter of 1 kg/m3 and 5e-4
                density: table.density_kg_m3(w).map(|d| (d, (2.8 * step).hypot(3.5))),
                index: table.refractive_20(w).map(|n| (n + 2e-4, (1.6e-3 * step).hypot(1.7e-3))),
                urea_pct: Some(w),
            })
            .collect();
    }
    let density = fluid.density_kg_m3(20.0).ok();
    let index = fluid.refractive_index(20.0);
    let (nd, ni) = (density.map_or(1, |_| CELLS), index.map_or(1, |_| CELLS));
    let mut out = Vec::with_capacity(nd * ni);
    let list = |spread: Option<crate::fluid::Spread>, n| match spread {
        Some(s) => range(s.low, s.high, n).map(Some).collect::<Vec<_>>(),
        None => vec![None],
    };
    let indices = list(index, ni);
    for d in list(density, nd) {
        for i in &indices {
            out.push(Cell { weight: 1.0 / (nd * ni) as f64, density: d, index: *i, urea_pct: None });
        }
    }
    out
}

fn likelihood(fluid: &Fluid, cell: &Cell, observation: &Observation) -> Result<f64> {
    let away = |degc: f64| degc - 20.0;
    Ok(match observation {
        Observation::Density { kg_m3, standard_uncertainty, degc } => {
            density_likelihood(fluid, cell, *kg_m3, *standard_uncertainty, away(*degc))
        }
        Observation::WeighedVolume { mass_g, mass_uncertainty_g, volume_ml, volume_uncertainty_ml, degc } => {
            let (rho, u) = weighed_density(*mass_g, *mass_uncertainty_g, *volume_ml, *volume_uncertainty_ml)?;
            density_likelihood(fluid, cell, rho, u, away(*degc))
        }
        Observation::Refractive { index, standard_uncertainty, degc } => {
            fluid.refractive_readable
                * index_likelihood(fluid, cell, *index, *standard_uncertainty, away(*degc))
                + 1e-6
        }
        Observation::RefractiveUnreadable => (1.0 - fluid.refractive_readable).max(SLIP),
        Observation::Look { look } => share_of(&fluid.looks, *look, Look::ALL.len()),
        Observation::DropInWater { outcome } => share_of(&fluid.in_water, *outcome, InWater::ALL.len()),
        Observation::Label { fluid: said } => label_likelihood(&fluid.id, said, WRONG_LABEL),
        // a code is not misread, but the container may have been refilled just the same
        Observation::Scan { fluid: said } => label_likelihood(&fluid.id, said, WRONG_LABEL * 0.75),
    })
}

/// Slope's middle and half spread, brought to a temperature difference.
fn correction(slope: Option<&crate::fluid::Band>, fallback: (f64, f64), away: f64) -> (f64, f64) {
    let (low, high) = slope.map_or(fallback, |s| (s.low, s.high));
    (0.5 * (low + high) * away, (0.5 * (high - low) * away).abs())
}

fn density_likelihood(fluid: &Fluid, cell: &Cell, kg_m3: f64, u: f64, away: f64) -> f64 {
    let Some((middle, width)) = cell.density else { return 1.0 / (DENSITY_RANGE.1 - DENSITY_RANGE.0) };
    // a row with points at other temperatures knows its own curve; the slope serves the rest
    let (shift, spread) =
        match (fluid.density.len(), fluid.density_kg_m3(20.0), fluid.density_kg_m3(20.0 + away)) {
            (2.., Ok(at20), Ok(there)) => (there.middle() - at20.middle(), 0.0),
            _ => correction(fluid.density_per_k.as_ref(), (-0.8, -0.2), away),
        };
    let sd = u.hypot(width / 12f64.sqrt()).hypot(spread / 3f64.sqrt());
    slipping(kg_m3, middle + shift, sd, DENSITY_RANGE)
}

fn index_likelihood(fluid: &Fluid, cell: &Cell, index: f64, u: f64, away: f64) -> f64 {
    let Some((middle, width)) = cell.index else { return 1.0 / (INDEX_RANGE.1 - INDEX_RANGE.0) };
    let (shift, spread) = correction(fluid.refractive_per_k.as_ref(), (-5e-4, -1e-4), away);
    let sd = u.hypot(width / 12f64.sqrt()).hypot(spread / 3f64.sqrt());
    slipping(index, middle + shift, sd, INDEX_RANGE)
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
    let outcomes: Vec<Observation> = match test {
        Test::Density => grid(DENSITY_RANGE, 2.0)
            .map(|kg_m3| Observation::Density { kg_m3, standard_uncertainty: 2.0, degc: 20.0 })
            .collect(),
        Test::WeighedVolume => grid(DENSITY_RANGE, 6.0)
            .map(|kg_m3| Observation::Density { kg_m3, standard_uncertainty: 10.0, degc: 20.0 })
            .collect(),
        Test::Refractive => std::iter::once(Observation::RefractiveUnreadable)
            .chain(grid(INDEX_RANGE, 5e-4).map(|index| Observation::Refractive {
                index,
                standard_uncertainty: 5e-4,
                degc: 20.0,
            }))
            .collect(),
        Test::Look => Look::ALL.into_iter().map(|look| Observation::Look { look }).collect(),
        Test::DropInWater => {
            InWater::ALL.into_iter().map(|outcome| Observation::DropInWater { outcome }).collect()
        }
        Test::Label => hypotheses.iter().map(|h| Observation::Label { fluid: h.fluid.id.clone() }).collect(),
    };
    // probability of each outcome under each fluid, made to add up to one per fluid
    let mut table: Vec<Vec<f64>> = hypotheses
        .iter()
        .map(|h| {
            let cells = merged(&h.cells, test);
            let row: Vec<f64> = outcomes
                .iter()
                .map(|o| {
                    cells.iter().map(|c| c.weight * likelihood(h.fluid, c, o).unwrap_or(0.0)).sum::<f64>()
                })
                .collect();
            let sum: f64 = row.iter().sum();
            row.iter().map(|p| if sum > 0.0 { p / sum } else { 0.0 }).collect()
        })
        .collect();
    let mut bits = 0.0;
    for (row, mass) in table.iter_mut().zip(&masses) {
        for p in row.iter_mut() {
            *p *= mass;
        }
    }
    for o in 0..outcomes.len() {
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

/// Cells that a test cannot tell apart, added up (the look of a cell does not depend on its density).
fn merged(cells: &[Cell], test: Test) -> Vec<Cell> {
    let key = |c: &Cell| match test {
        Test::Density | Test::WeighedVolume => c.density.map(|d| d.0.to_bits()),
        Test::Refractive => c.index.map(|i| i.0.to_bits()),
        _ => None,
    };
    let mut by_key: BTreeMap<Option<u64>, Cell> = BTreeMap::new();
    for c in cells {
        by_key.entry(key(c)).and_modify(|m| m.weight += c.weight).or_insert_with(|| c.clone());
    }
    by_key.into_values().collect()
}

fn grid((low, high): (f64, f64), step: f64) -> impl Iterator<Item = f64> {
    let n = ((high - low) / step).ceil() as usize;
    (0..=n).map(move |i| low + i as f64 * step)
}

/// 90 % interval of urea content where urea in water is likelier than not.
fn urea_interval(hypotheses: &[Hypothesis<'_>]) -> Option<(f64, f64)> {
    let mut cells: Vec<(f64, f64)> = hypotheses
        .iter()
        .flat_map(|h| h.cells.iter().filter_map(|c| Some((c.urea_pct?, c.weight))))
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
