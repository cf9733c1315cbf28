//! Parts of the answer for other programs that look at what was and what comes: burns in recordings, fuel in oil,
//! ash, the verdict on a regeneration, the next reading.

use crate::inputs::Inputs;
use crate::output::{Due3, Quantiles, Sentence, Told};
use crate::words::words;
use infer::assessment::{Assessment, Text};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A regeneration that a recording shows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SeenBurn {
    /// Path of the recording as the case names it.
    pub file: String,
    /// Start, s since the recording's first frame.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// `complete`, `partial`, `aborted`, `runaway`, or `running` when the recording stops while it runs.
    pub end: String,
    /// True when the controller reported it; false when only heat shows it (it then changes no figure).
    pub reported: bool,
    /// Minutes with the filter hot enough to burn soot.
    pub hot_minutes: f64,
    /// Hottest gas at the filter, degC.
    pub peak_degc: Option<f64>,
    /// Largest rise of the gas across the filter over ten seconds, K.
    pub exotherm_k: Option<f64>,
    /// Share of the soot burnt, by kinetics.
    pub burnt_share: Option<Quantiles>,
    /// Signs behind the class.
    pub signs: Vec<Sentence>,
}

/// Fuel in the engine oil by the counts of regenerations.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FuelInOil {
    /// Percent by mass.
    pub percent: Quantiles,
    /// Regenerations attempted since the oil change.
    pub attempts: f64,
    /// Distance since the oil change, km (the usual one where it was not told).
    pub since_km: f64,
    /// Whether the oil change was told.
    pub change_told: bool,
    /// Probability of more than 4 %.
    pub above_4_percent: f64,
}

/// A weighing before and after cleaning.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Cleaning {
    /// Odometer, km.
    pub odometer_km: Option<f64>,
    /// Taken out, g.
    pub removed_g: f64,
    /// Its standard uncertainty, g.
    pub removed_u_g: f64,
    /// What book-keeping expected, g.
    pub expected_g: Option<Quantiles>,
    /// Growth it speaks for, g per 1000 km.
    pub growth_g_per_1000km: Option<f64>,
}

/// Ash to come.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Ash {
    /// Growth, g per 1000 km.
    pub growth_g_per_1000km: Quantiles,
    /// Distance from now until cleaning or replacement, km; 0 when it is due.
    pub due_km: Due3,
    /// The same on the odometer, km.
    pub due_odometer_km: Option<Due3>,
    /// False when neither pressure nor the filter's odometer tell: the window is then that of any such car.
    pub told: bool,
    /// Ash load at which cars are cleaned, g/L, from.
    pub limit_from_g_per_l: f64,
    /// To.
    pub limit_to_g_per_l: f64,
    /// Plug length over channel length.
    pub plug_length_share: Quantiles,
    /// Probability that there is more than distance explains (odd deposits, wrong oil).
    pub beyond_distance: f64,
    /// Weighings around cleanings.
    pub cleanings: Vec<Cleaning>,
}

/// A safety condition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Condition {
    /// Identifier.
    pub id: String,
    /// The condition.
    pub what: String,
    /// `held`, `open` or `broken`.
    pub state: String,
    /// The fact behind it.
    pub because: String,
    /// What to look at or do where it is not held.
    pub look: Vec<String>,
    /// Whether it also guards holding the engine at a speed.
    pub guards_held_speed: bool,
}

/// May a regeneration be started.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Regeneration {
    /// Verdict on a service regeneration: `safe`, `not_shown_safe` or `unsafe`.
    pub service: String,
    /// Verdict on holding 2500 to 3000 rpm as a test: the same words.
    pub held_speed: String,
    /// Probability that the soot load is above `safe_load_g_per_l`.
    pub above_safe_load: f64,
    /// Probability that it is above `limit_from_g_per_l`.
    pub above_limit: f64,
    /// Soot load up to which a regeneration can be called safe, g/L.
    pub safe_load_g_per_l: f64,
    /// What the substrate is thought to stand, g/L, from.
    pub limit_from_g_per_l: f64,
    /// To.
    pub limit_to_g_per_l: f64,
    /// False: the material is unknown and counts as cordierite.
    pub material_told: bool,
    /// Soot load, g/L.
    pub soot_load_g_per_l: Told,
    /// Every safety condition.
    pub conditions: Vec<Condition>,
}

/// A figure and by how much a reading narrows it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Narrows {
    /// `soot_load_g_per_l`, `ash_load_g_per_l`, `zero_kpa`, `pressure_sensor` or `left_l`.
    pub figure: String,
    /// Share by which its 90 % interval (for the sensor: the doubt about its state) would be expected to shrink.
    pub shrinks: f64,
}

/// A recording or reading that could be made next.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NextReading {
    /// Identifier.
    pub id: String,
    /// What to do.
    pub what: String,
    /// Minutes, set-up and what must be looked at first included.
    pub minutes: f64,
    /// What it narrows.
    pub narrows: Vec<Narrows>,
    /// Sum of the shares per hour: the order of the list.
    pub per_hour: f64,
    /// Conditions to look at first.
    pub first: Vec<String>,
}

impl From<[f64; 3]> for Quantiles {
    fn from(q: [f64; 3]) -> Self {
        let [p05, p50, p95] = q.map(|v| v.is_finite().then_some(v));
        Self { p05, p50, p95 }
    }
}

fn sentences(list: &[Text], inputs: &Inputs) -> Vec<Sentence> {
    let w = words();
    list.iter().map(|t| Sentence { id: t.id.to_owned(), text: w.text(t, inputs.knowledge()) }).collect()
}

/// Burns in words.
pub fn burns(a: &Assessment, inputs: &Inputs) -> Vec<SeenBurn> {
    a.burns
        .iter()
        .map(|b| SeenBurn {
            file: inputs.case.recording.get(b.recording).map_or_else(String::new, |r| r.file.clone()),
            start_s: b.start_s,
            end_s: b.end_s,
            end: b.end.name().to_owned(),
            reported: b.reported,
            hot_minutes: b.hot_minutes,
            peak_degc: b.peak_degc.filter(|v| v.is_finite()),
            exotherm_k: b.exotherm_k.filter(|v| v.is_finite()),
            burnt_share: b.burnt_share.map(Quantiles::from),
            signs: sentences(&b.signs, inputs),
        })
        .collect()
}

/// Fuel in oil, where there are counts.
pub fn fuel_in_oil(a: &Assessment) -> Option<FuelInOil> {
    a.fuel_in_oil.map(|x| FuelInOil {
        percent: x.percent.into(),
        attempts: x.attempts,
        since_km: x.since_km,
        change_told: x.change_told,
        above_4_percent: x.above,
    })
}

/// Ash to come.
pub fn ash(a: &Assessment) -> Ash {
    let x = &a.ash;
    Ash {
        growth_g_per_1000km: x.growth_g_per_1000km.into(),
        due_km: x.due_km.into(),
        due_odometer_km: x.due_odometer_km.map(Due3::from),
        told: x.told,
        limit_from_g_per_l: x.limit_g_per_l.0,
        limit_to_g_per_l: x.limit_g_per_l.1,
        plug_length_share: x.plug_length_share.into(),
        beyond_distance: x.beyond_distance,
        cleanings: x
            .cleanings
            .iter()
            .map(|c| Cleaning {
                odometer_km: c.odometer_km,
                removed_g: c.removed_g.0,
                removed_u_g: c.removed_g.1,
                expected_g: c.expected_g.map(Quantiles::from),
                growth_g_per_1000km: c.growth_g_per_1000km,
            })
            .collect(),
    }
}

/// The verdict with its conditions.
pub fn regeneration(a: &Assessment, inputs: &Inputs) -> Regeneration {
    let r = &a.regeneration;
    let say = |t: &Text| words().text(t, inputs.knowledge());
    Regeneration {
        service: r.service.name().to_owned(),
        held_speed: r.held_speed.name().to_owned(),
        above_safe_load: r.above,
        above_limit: r.above_limit,
        safe_load_g_per_l: r.safe_load,
        limit_from_g_per_l: r.limit.0,
        limit_to_g_per_l: r.limit.1,
        material_told: r.material_told,
        soot_load_g_per_l: r.soot.into(),
        conditions: r
            .conditions
            .iter()
            .map(|c| Condition {
                id: c.what.id.trim_start_matches("condition-").replace('-', "_"),
                what: say(&c.what),
                state: c.state.name().to_owned(),
                because: say(&c.because),
                look: if c.state == infer::safety::State::Held {
                    Vec::new()
                } else {
                    c.look.iter().map(say).collect()
                },
                guards_held_speed: c.guards_held_speed,
            })
            .collect(),
    }
}

/// Next readings in words.
pub fn readings(a: &Assessment, inputs: &Inputs) -> Vec<NextReading> {
    let say = |t: &Text| words().text(t, inputs.knowledge());
    a.readings
        .iter()
        .map(|r| NextReading {
            id: r.what.id.trim_start_matches("reading-").replace('-', "_"),
            what: say(&r.what),
            minutes: r.minutes,
            narrows: r
                .narrows
                .iter()
                .map(|&(f, shrinks)| Narrows { figure: f.name().to_owned(), shrinks })
                .collect(),
            per_hour: r.per_hour,
            first: r.first.iter().map(say).collect(),
        })
        .collect()
}
