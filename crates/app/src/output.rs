//! The answer for other programs: `sootwright.assessment/1`. Units stand in the key names; shares and
//! probabilities run from 0 to 1; a quantile that is not a finite number is `null`.

use crate::inputs::Inputs;
use crate::outlook;
use crate::words::{say, words};
use facts::case::{Case, ReservoirKind};
use facts::{FaultId, Knowledge};
use infer::assessment::{Assessment, Estimate, ProofVerdict, Text};
use infer::balance::{AdditivePrior, Balance, Interval, Window, balance};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The value of `schema` that this version writes.
pub const SCHEMA: &str = "sootwright.assessment/1";

/// The answer to one case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "Assessment")]
pub struct Output {
    /// Always `sootwright.assessment/1`.
    pub schema: String,
    /// What wrote this.
    pub program: Program,
    /// When it was written, UTC, RFC 3339.
    pub made_at: String,
    /// What it was made from.
    pub inputs: Vec<Input>,
    /// Title of the case, where it has one.
    pub title: Option<String>,
    /// Filter and pressure sensor, at the last fact.
    pub filter: Filter,
    /// Additive, at the last fact; `null` when the car has no additive system. Where nothing is known of one, what
    /// such a reservoir would hold by the prior, with `told` false.
    pub additive: Option<Additive>,
    /// Fault sets, the most probable first; probabilities add up to 1.
    pub fault_sets: Vec<FaultSet>,
    /// Marginal probability of each fault, the most probable first, with `none`. They need not add up to 1.
    pub faults: Vec<Fault>,
    /// Whether the facts told the fault set.
    pub fault_set_told: bool,
    /// Marginals of the additive side; add up to 1 with `none`.
    pub additive_faults: Vec<FaultProbability>,
    /// Questions that the facts leave open.
    pub cannot_tell: Vec<OpenQuestion>,
    /// Comparison of before and after, where both exist.
    pub proof: Option<Proof>,
    /// Missing facts, the most helpful first.
    pub missing: Vec<Missing>,
    /// Plain sentences: what it is, how sure, what next, what not to do.
    pub plain: Vec<Sentence>,
    /// What moved the answer, the strongest first.
    pub why: Vec<Sentence>,
    /// Cautions that go with the next step.
    pub cautions: Vec<Sentence>,
    /// Stretches of the recordings and their use.
    pub windows: Vec<Stretch>,
    /// Regenerations that the recordings show.
    pub burns: Vec<outlook::SeenBurn>,
    /// Fuel in the engine oil by the counts of regenerations; `null` without counts.
    pub fuel_in_oil: Option<outlook::FuelInOil>,
    /// Ash to come.
    pub ash: outlook::Ash,
    /// May a regeneration be started.
    pub regeneration: outlook::Regeneration,
    /// Recordings and readings that would narrow the open questions, the most telling per minute first.
    pub readings: Vec<outlook::NextReading>,
    /// The car's life, visit by visit; `null` for a single visit.
    pub life: Option<LifeOutput>,
    /// What comes: windows that hold eight times in ten, the nearest first.
    pub due: Vec<Due>,
    /// What could not be read or used.
    pub problems: Vec<Problem>,
}

/// Something that falls due, from now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Due {
    /// `additive` (down to the reserve), `ash` (as much as filters are cleaned at), `soot` (a burn that does not
    /// finish until the soot makes trouble).
    pub what: String,
    /// Distance from now, km; 120 000 stands for that far or further.
    pub km: Due3,
    /// Odometer, km.
    pub odometer_km: Option<Due3>,
    /// Days from now; `null` where nothing tells how far the car goes in a year.
    pub days: Option<Due3>,
    /// False where the window is that of any such car.
    pub told: bool,
    /// `window` (a visit can be planned by it), `not_before` (only its near end says something) or `nothing` (so
    /// wide that it is not to be shown).
    pub says: String,
}

impl From<&infer::due::Due> for Due {
    fn from(d: &infer::due::Due) -> Self {
        Self {
            what: d.what.name().to_owned(),
            km: d.km.into(),
            odometer_km: d.odometer_km.map(Into::into),
            days: d.days.map(Into::into),
            told: d.told,
            says: d.says.name().to_owned(),
        }
    }
}

/// A car's life.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LifeOutput {
    /// The visits, earliest first.
    pub visits: Vec<VisitOutput>,
    /// What was changed without a row in the last gap between two visits.
    pub unrecorded_change: Option<Unrecorded>,
}

/// Probability that a part was changed since the visit before without a row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Unrecorded {
    /// The pressure sensor.
    pub sensor: f64,
    /// The filter.
    pub filter: f64,
}

/// One visit, told from the facts up to and including it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct VisitOutput {
    /// Odometer, km.
    pub odometer_km: Option<f64>,
    /// Latest date among its facts.
    pub time: Option<String>,
    /// Filter and pressure sensor.
    pub filter: Filter,
    /// Marginal probability of each fault, the most probable first, with `none`; those above 1 %.
    pub faults: Vec<FaultProbability>,
    /// What was changed without a row since the visit before; `null` at the first.
    pub unrecorded_change: Option<Unrecorded>,
    /// Probability that less than 1 g/L of soot was left, where a regeneration or cleaning belongs to the visit.
    pub regeneration_complete: Option<f64>,
    /// Comparison of before and after, where the visit has both.
    pub proof: Option<Proof>,
}

impl From<infer::life::UnrecordedChange> for Unrecorded {
    fn from(c: infer::life::UnrecordedChange) -> Self {
        Self { sensor: c.sensor, filter: c.filter }
    }
}

/// The program that wrote a file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Program {
    /// Name.
    pub name: String,
    /// Version.
    pub version: String,
}

impl Program {
    /// This program.
    pub fn this() -> Self {
        Self { name: "sootwright".into(), version: env!("CARGO_PKG_VERSION").into() }
    }
}

/// A file that went in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Input {
    /// Path as given; `knowledge` for what is built in.
    pub path: String,
    /// What it is: `case`, `recording` or `knowledge`.
    pub kind: String,
    /// BLAKE3 hash of its bytes, hexadecimal.
    pub blake3: String,
}

/// Median and 90 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Told {
    /// 5 % quantile.
    pub p05: Option<f64>,
    /// Median.
    pub p50: Option<f64>,
    /// 95 % quantile.
    pub p95: Option<f64>,
    /// False when the 90 % interval is wider than 0.9 of the one without pressure readings and recordings (for
    /// additive: without weighings and counter reads). The numbers are then close to what was believed before.
    pub told: bool,
}

/// Median and 90 % interval of a part of the balance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Quantiles {
    /// 5 % quantile.
    pub p05: Option<f64>,
    /// Median.
    pub p50: Option<f64>,
    /// 95 % quantile.
    pub p95: Option<f64>,
}

/// Median and 80 % window of something to come.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Due3 {
    /// 10 % quantile.
    pub p10: Option<f64>,
    /// Median.
    pub p50: Option<f64>,
    /// 90 % quantile.
    pub p90: Option<f64>,
}

fn finite(x: f64) -> Option<f64> {
    x.is_finite().then_some(x)
}

impl From<Estimate> for Told {
    fn from(e: Estimate) -> Self {
        Self { p05: finite(e.p05), p50: finite(e.p50), p95: finite(e.p95), told: e.told }
    }
}

impl From<Interval> for Quantiles {
    fn from(e: Interval) -> Self {
        Self { p05: finite(e.p05), p50: finite(e.p50), p95: finite(e.p95) }
    }
}

impl From<Window> for Due3 {
    fn from(w: Window) -> Self {
        Self { p10: finite(w.p10), p50: finite(w.p50), p90: finite(w.p90) }
    }
}

/// Filter and pressure sensor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Filter {
    /// Soot in the filter, g.
    pub soot_mass_g: Told,
    /// Soot per filter volume, g/L.
    pub soot_load_g_per_l: Told,
    /// Ash in the filter, g.
    pub ash_mass_g: Told,
    /// Ash per filter volume, g/L.
    pub ash_load_g_per_l: Told,
    /// What the pressure sensor shows at no flow, kPa.
    pub zero_kpa: Told,
    /// Pressure drop at the standard condition (flow below, 300 degC), kPa.
    pub standard_pressure_drop_kpa: Told,
    /// The same of this filter as new, kPa.
    pub standard_pressure_drop_as_new_kpa: Told,
    /// Quotient of the two.
    pub ratio_to_as_new: Told,
    /// Exhaust mass flow of the standard condition, g/s.
    pub standard_flow_g_per_s: f64,
    /// Filter volume taken, L (the median where it was not given).
    pub volume_l: f64,
}

/// The additive balance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Additive {
    /// Left in the reservoir, L.
    pub left_l: Told,
    /// Used since the last full fill, L.
    pub used_l: Told,
    /// What the set dose says for the fuel burnt since then, L.
    pub expected_used_l: Told,
    /// True dose over set dose.
    pub dose_factor: Told,
    /// Leak, mL per day.
    pub leak_ml_per_day: Told,
    /// Distance from now to the reserve, km.
    pub due_km: Due3,
    /// Days from now to the reserve.
    pub due_days: Due3,
    /// The reserve, L.
    pub reserve_l: f64,
    /// Whether the balance alone told its fault.
    pub balance_told: bool,
    /// Where the additive went since the last full fill, L.
    pub waterfall: Waterfall,
}

/// Where the additive went since the last full fill, L.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Waterfall {
    /// Content at the beginning plus all poured since, L.
    pub poured_l: Quantiles,
    /// Dosed as the controller believes, L.
    pub dosed_by_controller_l: Quantiles,
    /// Dosed by physics (set dose times fuel burnt), L.
    pub dosed_by_physics_l: Quantiles,
    /// Left in the reservoir, L.
    pub left_l: Quantiles,
    /// Poured less dosed by physics less left, L.
    pub unexplained_l: Quantiles,
}

/// One fault set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FaultSet {
    /// Fault identifiers; empty = none.
    pub faults: Vec<String>,
    /// Probability.
    pub probability: f64,
}

/// A fault, or `none`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fault {
    /// Fault identifier, or `none`.
    pub id: String,
    /// Marginal probability.
    pub probability: f64,
    /// Plain words.
    pub label: String,
    /// From which magnitude it counts as a fault.
    pub magnitude: String,
    /// What mends it; empty for `none`.
    pub repair: String,
}

/// Identifier and probability.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FaultProbability {
    /// Fault identifier, or `none`.
    pub id: String,
    /// Probability.
    pub probability: f64,
}

/// A question that the facts leave open.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OpenQuestion {
    /// Identifier of the question.
    pub id: String,
    /// The question.
    pub question: String,
    /// Why it is open.
    pub reason: String,
    /// What would decide it, the most telling first.
    pub would_decide: Vec<String>,
}

/// Verdict on a repair.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The resistance fell by more than the guard band.
    Improved,
    /// Inside the guard band or the scatter.
    NoProvenChange,
    /// The resistance rose by more than the guard band.
    Worse,
    /// Before and after cannot be compared.
    CannotTell,
}

/// Comparison of before and after.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Proof {
    /// Viscous resistance after over before.
    pub ratio: Told,
    /// Probability that it fell by more than the guard band.
    pub improved_probability: f64,
    /// Probability that less than 1 g/L of soot is left, where a regeneration or cleaning lies between the two.
    pub regeneration_complete: Option<f64>,
    /// Verdict.
    pub verdict: Verdict,
    /// Why.
    pub reason: String,
}

/// A fact that was left out and would narrow the answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Missing {
    /// Key in the case file.
    pub key: String,
    /// The same in plain words.
    pub what: String,
    /// Share by which the 90 % interval of the figure would be expected to shrink, 0 to 1.
    pub shrinks: f64,
    /// The figure it narrows.
    pub figure: String,
}

/// A sentence and the identifier of its message.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sentence {
    /// Identifier of the message.
    pub id: String,
    /// The sentence, English.
    pub text: String,
}

/// A stretch of a recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Stretch {
    /// Path of the recording as the case names it.
    pub file: String,
    /// Start, s since the recording's first frame.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// `used`, `regeneration`, `dropout`, `engine_off`, `saturated` or `before_burn`.
    pub state: String,
}

/// What could not be read or used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Problem {
    /// File, where there is one.
    pub file: Option<String>,
    /// Line, counted from 1, where it has one.
    pub line: Option<u64>,
    /// Byte, counted from 0, where it has one.
    pub byte: Option<u64>,
    /// What, and what to do.
    pub what: String,
}

/// Identifier of a fault or `none`.
pub fn id(fault: Option<FaultId>) -> &'static str {
    fault.map_or("none", FaultId::id)
}

impl Additive {
    /// The balance as it is written.
    pub fn of(b: &Balance) -> Self {
        let w = &b.waterfall;
        Self {
            left_l: b.left_l.into(),
            used_l: b.used_l.into(),
            expected_used_l: b.expected_used_l.into(),
            dose_factor: b.dose_factor.into(),
            leak_ml_per_day: b.leak_ml_per_day.into(),
            due_km: b.due_km.into(),
            due_days: b.due_days.into(),
            reserve_l: b.reserve_l,
            balance_told: b.faults_told,
            waterfall: Waterfall {
                poured_l: w.poured.into(),
                dosed_by_controller_l: w.dosed_by_controller.into(),
                dosed_by_physics_l: w.dosed_by_physics.into(),
                left_l: w.left.into(),
                unexplained_l: w.unexplained.into(),
            },
        }
    }
}

/// The balance, or the prior where the facts do not speak of an additive system.
fn additive(a: &Assessment, case: &Case) -> Option<Additive> {
    if case.reservoir.kind == Some(ReservoirKind::None) {
        return None;
    }
    let prior = || balance(case, &AdditivePrior::default(), None);
    Some(a.additive.as_ref().map_or_else(|| Additive::of(&prior()), Additive::of))
}

/// Open questions in words.
pub fn open_questions(list: &[infer::assessment::OpenQuestion], knowledge: &Knowledge) -> Vec<OpenQuestion> {
    let w = words();
    list.iter()
        .map(|q| OpenQuestion {
            id: q.question.id.to_owned(),
            question: w.text(&q.question, knowledge),
            reason: w.text(&q.reason, knowledge),
            would_decide: q.would_decide.iter().map(|t| w.text(t, knowledge)).collect(),
        })
        .collect()
}

/// A missing fact in plain words; its key where there are none.
pub fn fact_in_words(key: &str) -> String {
    let id = format!("fact-{}", key.replace(['.', '_'], "-"));
    let said = say(&id);
    if said.starts_with('[') { key.to_owned() } else { said }
}

impl From<&infer::assessment::FilterState> for Filter {
    fn from(f: &infer::assessment::FilterState) -> Self {
        Self {
            soot_mass_g: f.soot_mass_g.into(),
            soot_load_g_per_l: f.soot_load_g_per_l.into(),
            ash_mass_g: f.ash_mass_g.into(),
            ash_load_g_per_l: f.ash_load_g_per_l.into(),
            zero_kpa: f.zero_kpa.into(),
            standard_pressure_drop_kpa: f.standard_pressure_drop_kpa.into(),
            standard_pressure_drop_as_new_kpa: f.standard_pressure_drop_as_new_kpa.into(),
            ratio_to_as_new: f.ratio_to_as_new.into(),
            standard_flow_g_per_s: f.standard_flow_g_per_s,
            volume_l: f.volume_l,
        }
    }
}

impl From<ProofVerdict> for Verdict {
    fn from(v: ProofVerdict) -> Self {
        match v {
            ProofVerdict::Improved => Self::Improved,
            ProofVerdict::NoProvenChange => Self::NoProvenChange,
            ProofVerdict::Worse => Self::Worse,
            ProofVerdict::CannotTell => Self::CannotTell,
        }
    }
}

impl Proof {
    /// The comparison in words.
    pub fn of(p: &infer::assessment::Proof, knowledge: &Knowledge) -> Self {
        Self {
            ratio: p.ratio.into(),
            improved_probability: p.improved_probability,
            regeneration_complete: p.regeneration_complete,
            verdict: p.verdict.into(),
            reason: words().text(&p.reason, knowledge),
        }
    }
}

impl LifeOutput {
    fn of(life: &infer::life::Life, knowledge: &Knowledge) -> Self {
        let visit = |v: &infer::life::VisitAnswer| VisitOutput {
            odometer_km: v.odometer_km,
            time: v.time.map(|t| t.to_string()),
            filter: (&v.filter).into(),
            faults: v
                .faults
                .iter()
                .filter(|f| f.1 >= 0.01)
                .map(|&(f, probability)| FaultProbability { id: id(f).to_owned(), probability })
                .collect(),
            unrecorded_change: v.unrecorded_change.map(Into::into),
            regeneration_complete: v.regeneration_complete,
            proof: v.proof.as_ref().map(|p| Proof::of(p, knowledge)),
        };
        Self {
            visits: life.visits.iter().map(visit).collect(),
            unrecorded_change: life.unrecorded_change.map(Into::into),
        }
    }
}

impl Output {
    /// The answer with its inputs. `made_at` is RFC 3339, UTC.
    pub fn new(a: &Assessment, inputs: &Inputs, made_at: &str) -> Self {
        let knowledge = inputs.knowledge();
        let w = words();
        let sentences = |list: &[Text]| {
            list.iter().map(|t| Sentence { id: t.id.to_owned(), text: w.text(t, knowledge) }).collect()
        };
        let f = &a.filter;
        let fault = |&(fault, probability): &(Option<FaultId>, f64)| {
            let known = fault.map_or(knowledge.none(), |f| knowledge.fault(f));
            Fault {
                id: id(fault).to_owned(),
                probability,
                label: known.label.clone(),
                magnitude: known.magnitude.clone(),
                repair: fault.map_or_else(String::new, |_| known.repair.action.clone()),
            }
        };
        let mut problems = inputs.problems.clone();
        problems.extend(a.problems.iter().map(|t| Problem {
            file: None,
            line: None,
            byte: None,
            what: w.text(t, knowledge),
        }));
        Self {
            schema: SCHEMA.to_owned(),
            program: Program::this(),
            made_at: made_at.to_owned(),
            inputs: inputs.list.clone(),
            title: inputs.case.title.clone(),
            filter: f.into(),
            additive: additive(a, &inputs.case),
            fault_sets: a
                .fault_sets
                .iter()
                .map(|s| FaultSet {
                    faults: s.faults.iter().map(|f| f.id().to_owned()).collect(),
                    probability: s.probability,
                })
                .collect(),
            faults: a.faults.iter().map(fault).collect(),
            fault_set_told: a.fault_set_told,
            additive_faults: a
                .additive_faults
                .iter()
                .map(|&(f, probability)| FaultProbability { id: id(f).to_owned(), probability })
                .collect(),
            cannot_tell: open_questions(&a.cannot_tell, knowledge),
            proof: a.proof.as_ref().map(|p| Proof::of(p, knowledge)),
            missing: a
                .missing
                .iter()
                .map(|m| Missing {
                    key: m.key.to_owned(),
                    what: fact_in_words(m.key),
                    shrinks: m.shrinks,
                    figure: m.figure.to_owned(),
                })
                .collect(),
            plain: sentences(&a.plain),
            why: sentences(&a.why),
            cautions: sentences(&a.cautions),
            windows: a
                .windows
                .iter()
                .map(|s| Stretch {
                    file: inputs.case.recording.get(s.recording).map_or_else(String::new, |r| r.file.clone()),
                    start_s: s.start_s,
                    end_s: s.end_s,
                    state: s.state.to_owned(),
                })
                .collect(),
            burns: outlook::burns(a, inputs),
            fuel_in_oil: outlook::fuel_in_oil(a),
            ash: outlook::ash(a),
            regeneration: outlook::regeneration(a, inputs),
            readings: outlook::readings(a, inputs),
            due: a.due.iter().map(Due::from).collect(),
            life: a.life.as_ref().map(|l| LifeOutput::of(l, knowledge)),
            problems,
        }
    }
}

/// The JSON Schema of [`Output`].
pub fn schema() -> serde_json::Value {
    named_schema(&schemars::schema_for!(Output), SCHEMA)
}

/// A schema with its name, which its `schema` field must carry.
pub fn named_schema(schema: &schemars::Schema, name: &str) -> serde_json::Value {
    let mut schema = schema.clone().to_value();
    if let Some(object) = schema.as_object_mut() {
        object.insert("$id".into(), name.into());
    }
    if let Some(property) = schema.pointer_mut("/properties/schema").and_then(|p| p.as_object_mut()) {
        property.insert("const".into(), name.into());
    }
    schema
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regress_every_missing_fact_has_plain_words() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../infer/src/explain.rs");
        let source = std::fs::read_to_string(path).expect("source of the missing facts");
        let tables = ["car.", "filter.", "sensor.", "reservoir.", "reading.", "oil.", "fuel.", "ambient."];
        let keys: Vec<&str> = source
            .split('"')
            .filter(|w| tables.iter().any(|t| w.starts_with(t)) && !w.contains(char::is_whitespace))
            .collect();
        assert!(keys.len() > 5, "the search for keys found only {keys:?}");
        let missing: Vec<_> = keys.into_iter().filter(|k| fact_in_words(k) == *k).collect();
        assert!(missing.is_empty(), "no fact-... in locales/en.ftl for {missing:?}");
    }
}
