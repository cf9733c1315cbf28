//! The answer: what one posterior over state and fault set says, as values and message identifiers.
//!
//! Nothing here is a sentence. Each [`Text`] names a message of the program's catalogue and its arguments,
//! so that screen, paper and file can say it in the reader's language.

use crate::ash::AshOutlook;
use crate::balance::Balance;
use crate::burns::SeenBurn;
use crate::dilution::FuelInOil;
use crate::due::Due;
use crate::information::NextReading;
use crate::life::Life;
use crate::safety::Regeneration;
use facts::FaultId;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A message of the catalogue with its arguments.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Text {
    /// Identifier in the catalogue.
    pub id: &'static str,
    /// Arguments by name.
    pub args: BTreeMap<&'static str, Arg>,
}

/// An argument of a [`Text`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Arg {
    /// A number with the count of decimals to show.
    Number(f64, usize),
    /// A word or identifier as it stands (a trouble code, a file name, a date).
    Word(String),
    /// The label of a fault in the knowledge.
    Fault(FaultId),
    /// The label of an observation in the knowledge.
    Observation(String),
    /// Another message of the catalogue, to be said inside this one.
    Message(Box<Text>),
}

impl Text {
    /// A message without arguments.
    #[must_use]
    pub fn new(id: &'static str) -> Self {
        Self { id, args: BTreeMap::new() }
    }
    /// The same with one more argument.
    #[must_use]
    pub fn with(mut self, name: &'static str, arg: Arg) -> Self {
        self.args.insert(name, arg);
        self
    }
    /// The same with a number shown to `decimals` places.
    #[must_use]
    pub fn number(self, name: &'static str, value: f64, decimals: usize) -> Self {
        self.with(name, Arg::Number(value, decimals))
    }
    /// The same with a word.
    #[must_use]
    pub fn word(self, name: &'static str, value: impl Into<String>) -> Self {
        self.with(name, Arg::Word(value.into()))
    }
}

/// Median and 90 % interval of one unknown, and whether the facts told it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// 5 % quantile.
    pub p05: f64,
    /// Median.
    pub p50: f64,
    /// 95 % quantile.
    pub p95: f64,
    /// False when the 90 % interval is wider than 0.9 of the one that the facts without pressure readings
    /// and recordings (for additive: without weighings and counter reads) leave.
    pub told: bool,
}

/// The filter and its sensor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FilterState {
    /// Soot in the filter, g.
    pub soot_mass_g: Estimate,
    /// Soot per filter volume, g/L.
    pub soot_load_g_per_l: Estimate,
    /// Ash in the filter, g.
    pub ash_mass_g: Estimate,
    /// Ash per filter volume, g/L.
    pub ash_load_g_per_l: Estimate,
    /// What the pressure sensor shows at no flow, kPa.
    pub zero_kpa: Estimate,
    /// Pressure drop at the standard condition, kPa.
    pub standard_pressure_drop_kpa: Estimate,
    /// The same of this filter as new, kPa.
    pub standard_pressure_drop_as_new_kpa: Estimate,
    /// Quotient of the two.
    pub ratio_to_as_new: Estimate,
    /// Exhaust mass flow of the standard condition, g/s (its temperature is 300 degC).
    pub standard_flow_g_per_s: f64,
    /// Volume of the filter taken, litres (median when not given).
    pub volume_l: f64,
}

/// One fault set with its probability.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FaultSet {
    /// The faults; empty = none.
    pub faults: Vec<FaultId>,
    /// Posterior probability.
    pub probability: f64,
}

/// A question that the facts leave where the prior had it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OpenQuestion {
    /// The question.
    pub question: Text,
    /// Why it is open.
    pub reason: Text,
    /// What would decide it, the most telling first.
    pub would_decide: Vec<Text>,
}

/// Verdict on a repair from before and after.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub enum ProofVerdict {
    Improved,
    NoProvenChange,
    Worse,
    CannotTell,
}

/// Proof from before and after.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Proof {
    /// Viscous resistance after over before (`told` is true when it is usable).
    pub ratio: Estimate,
    /// Probability that it fell by more than the guard band.
    pub improved_probability: f64,
    /// Probability that less than 1 g/L of soot is left, where a burn or cleaning lies between before and after.
    pub regeneration_complete: Option<f64>,
    /// Verdict.
    pub verdict: ProofVerdict,
    /// Why the verdict is what it is.
    pub reason: Text,
}

/// A missing fact and how much it would help.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MissingFact {
    /// Key in the case file, for example `filter.material`.
    pub key: &'static str,
    /// Share by which the 90 % interval of the soot load (or of additive left) would be expected to shrink, 0 to 1.
    pub shrinks: f64,
    /// Which figure it narrows.
    pub figure: &'static str,
}

/// A stretch of a recording and what was done with it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Window {
    /// Number of the recording in the case.
    pub recording: usize,
    /// Start, s since the recording's first frame.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Use: `used`, `regeneration`, `dropout`, `engine_off`, `saturated`, `before_burn`.
    pub state: &'static str,
}

/// One averaged point of pressure against flow.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PressurePoint {
    /// Exhaust mass flow, g/s.
    pub flow_g_per_s: f64,
    /// Gas temperature at the filter, degC.
    pub temperature_degc: f64,
    /// What the sensor showed, kPa.
    pub shown_kpa: f64,
    /// Standard uncertainty of it, kPa.
    pub sigma_kpa: f64,
    /// Number of the recording, or none for a typed reading.
    pub recording: Option<usize>,
    /// Before the work?
    pub before: bool,
}

/// A band of pressure against flow.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BandPoint {
    /// Exhaust mass flow, g/s.
    pub flow_g_per_s: f64,
    /// 5 % quantile, kPa.
    pub p05: f64,
    /// Median, kPa.
    pub p50: f64,
    /// 95 % quantile, kPa.
    pub p95: f64,
}

/// What the report draws.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct PressurePlot {
    /// Measured points.
    pub points: Vec<PressurePoint>,
    /// Temperature at which the bands are drawn, degC.
    pub band_temperature_degc: f64,
    /// Fitted band of what the sensor shows.
    pub fitted: Vec<BandPoint>,
    /// The same for this filter as new.
    pub as_new: Vec<BandPoint>,
}

/// The whole answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Assessment {
    /// Filter and sensor.
    pub filter: FilterState,
    /// Additive balance; none when the car has no additive system.
    pub additive: Option<Balance>,
    /// Fault sets, the most probable first; probabilities add up to 1.
    pub fault_sets: Vec<FaultSet>,
    /// Marginal of each fault, the most probable first; `None` = no fault at all.
    pub faults: Vec<(Option<FaultId>, f64)>,
    /// Marginals of the additive side; add up to 1 with `None`.
    pub additive_faults: Vec<(Option<FaultId>, f64)>,
    /// Whether the fault set is told (entropy below 0.9 of the one without pressure readings, recordings,
    /// weighings and counter reads).
    pub fault_set_told: bool,
    /// Open questions.
    pub cannot_tell: Vec<OpenQuestion>,
    /// Proof, where before and after exist.
    pub proof: Option<Proof>,
    /// Plain sentences, in this order: what it is, how sure, what next, what not to do.
    pub plain: Vec<Text>,
    /// What moved the answer: evidence for and against, the strongest first.
    pub why: Vec<Text>,
    /// Cautions that go with the next step.
    pub cautions: Vec<Text>,
    /// Missing facts, the most helpful first.
    pub missing: Vec<MissingFact>,
    /// Stretches of the recordings.
    pub windows: Vec<Window>,
    /// Regenerations that the recordings show.
    pub burns: Vec<SeenBurn>,
    /// Fuel in the oil by the counts of regenerations; none without counts.
    pub fuel_in_oil: Option<FuelInOil>,
    /// Ash to come.
    pub ash: AshOutlook,
    /// May a regeneration be started.
    pub regeneration: Regeneration,
    /// Recordings and readings that would narrow the open questions, the most telling per minute first.
    pub readings: Vec<NextReading>,
    /// What comes, the nearest first.
    pub due: Vec<Due>,
    /// The car's life, visit by visit; none for a single visit.
    pub life: Option<Life>,
    /// For the report.
    pub plot: PressurePlot,
    /// What could not be used, and why.
    pub problems: Vec<Text>,
}

impl Assessment {
    /// True when neither soot nor the fault set is told (exit status 3 of the command).
    #[must_use]
    pub fn tells_nothing(&self) -> bool {
        !self.filter.soot_load_g_per_l.told && !self.fault_set_told
    }
}
