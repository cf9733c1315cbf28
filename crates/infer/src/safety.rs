//! May a service regeneration be started, may the engine be held at 2500 to 3000 rpm: a verdict in three words
//! from the posterior of the soot load and the safety conditions of the trade (trade reference 1.2 step 7d, 3.1 and
//! 6.3).
//!
//! A condition is held, open or broken by the facts of the case; what nobody looked at is open and says what to
//! look at. The model can show danger; safety it shows only together with eyes on the car.

use crate::assessment::{Arg, Estimate, Text};
use crate::burns::{BurnEnd, SeenBurn};
use crate::dilution::{ACT_PERCENT, FuelInOil};
use crate::observe::Seen;
use crate::typed::{canonical, current_role};
use facts::FaultId;
use facts::case::{Case, Quantity, Role};
use serde::{Deserialize, Serialize};
use wallflow::media::Material;

/// The three words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Verdict {
    /// Soot is told, hardly ever above the safe load, and every condition is held.
    Safe,
    /// Neither shown safe nor shown unsafe.
    NotShownSafe,
    /// Soot is as likely as not above the safe load, or a condition is broken.
    Unsafe,
}

impl Verdict {
    /// Its word in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Safe => "safe",
            Self::NotShownSafe => "not_shown_safe",
            Self::Unsafe => "unsafe",
        }
    }
}

/// State of a condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum State {
    /// A fact says that it holds.
    Held,
    /// No fact tells.
    Open,
    /// A fact says that it does not hold.
    Broken,
}

impl State {
    /// Its word in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Held => "held",
            Self::Open => "open",
            Self::Broken => "broken",
        }
    }
}

/// One safety condition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Condition {
    /// The condition, as a message; its identifier names it.
    pub what: Text,
    /// Held, open or broken.
    pub state: State,
    /// The fact behind the state.
    pub because: Text,
    /// What to look at where it is open, what to do where it is broken.
    pub look: Vec<Text>,
    /// Whether it also guards holding the engine at a speed (trade reference 3.1).
    pub guards_held_speed: bool,
    /// Minutes that looking takes (common practice).
    pub minutes: f64,
}

/// The answer on regeneration.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Regeneration {
    /// Verdict on a standing (service) regeneration.
    pub service: Verdict,
    /// Verdict on holding 2500 to 3000 rpm as a test.
    pub held_speed: Verdict,
    /// Probability that the soot load is above [`Regeneration::safe_load`].
    pub above: f64,
    /// Probability that it is above the low end of the limit.
    pub above_limit: f64,
    /// Whether the substrate's material was told; an unknown one counts as cordierite.
    pub material_told: bool,
    /// Soot load up to which a regeneration can be called safe, g/L.
    pub safe_load: f64,
    /// What the substrate is thought to stand, g/L: low and high end (from memory, coarse).
    pub limit: (f64, f64),
    /// The soot load.
    pub soot: Estimate,
    /// Whether the draws are many enough to judge one in a hundred.
    pub resolved: bool,
    /// Every condition.
    pub conditions: Vec<Condition>,
    /// Density of the soot load: middle of the class in g/L, probability per g/L.
    pub density: Vec<(f64, f64)>,
}

/// Most probability above the safe load at which a burn can be called safe (choice of this project).
pub const SAFE_BELOW: f64 = 0.01;
/// Probability above the safe load from which it is called unsafe (choice of this project).
pub const UNSAFE_FROM: f64 = 0.5;
/// Probability above the limit's low end from which soot counts as near the limit, so that no test may hold
/// the engine at a speed or load it (choice of this project).
pub const NEAR_LIMIT: f64 = 0.25;
/// Effective samples below which one in a hundred cannot be judged.
const RESOLVED_FROM: f64 = 100.0;
/// Coolant from which an engine counts as warm, degC (trade reference: 75 degC after a drive).
const WARM_DEGC: f64 = 75.0;
/// Fuel level that a service regeneration wants, percent (trade reference 1.2 step 6, common practice).
const FUEL_PERCENT: f64 = 25.0;

/// The word for a share of draws above the safe load and a list of conditions. `told`: soot is told; `resolved`:
/// the draws can tell one in a hundred.
#[must_use]
pub fn verdict<'a>(
    above: f64,
    told: bool,
    resolved: bool,
    conditions: impl Iterator<Item = &'a Condition>,
) -> Verdict {
    let (mut open, mut broken) = (false, false);
    for c in conditions {
        open |= c.state == State::Open;
        broken |= c.state == State::Broken;
    }
    // A share that is no number shows nothing.
    if broken || above >= UNSAFE_FROM {
        Verdict::Unsafe
    } else if told && resolved && above < SAFE_BELOW && !open {
        Verdict::Safe
    } else {
        Verdict::NotShownSafe
    }
}

/// The substrate for safety limits; an unknown one gets the lowest.
#[must_use]
pub fn substrate(case: &Case) -> Material {
    use facts::case::Material as Given;
    match case.filter.material {
        Some(Given::Cordierite) => Material::Cordierite,
        Some(Given::SiliconCarbide) => Material::SiliconCarbide,
        Some(Given::AluminiumTitanate) => Material::AluminiumTitanate,
        None => Material::Unknown,
    }
}

/// What the verdict is made from.
pub(crate) struct Grounds<'a> {
    pub case: &'a Case,
    pub seen: &'a Seen,
    pub faults: &'a [(Option<FaultId>, f64)],
    /// Last coolant temperature of the recordings, degC.
    pub coolant_degc: Option<f64>,
    /// Last fuel level of the recordings, percent.
    pub fuel_percent: Option<f64>,
    /// A sign about the exhaust temperature sensors was read in a recording.
    pub temperatures_compared: bool,
    pub burns: &'a [SeenBurn],
    pub fuel_in_oil: Option<FuelInOil>,
    /// Soot draws with their weights.
    pub soot: &'a [f64],
    pub weight: &'a [f64],
    pub estimate: Estimate,
    pub effective: f64,
}

impl Grounds<'_> {
    fn probability(&self, of: &[FaultId]) -> f64 {
        // Faults that come together are counted once each: never more than certain.
        let sum: f64 = self.faults.iter().filter(|f| f.0.is_some_and(|f| of.contains(&f))).map(|f| f.1).sum();
        sum.min(1.0)
    }

    fn answer(&self, id: &str) -> Option<bool> {
        self.seen.answers.get(id).copied()
    }

    /// Newest typed reading of the state as it stands.
    fn reading(&self, q: Quantity) -> Option<(f64, &str)> {
        let role = current_role(self.case);
        let of = |r: &&facts::case::Reading| r.quantity == q && r.role.unwrap_or(Role::Now) == role;
        self.case.reading.iter().rev().find(of).and_then(|r| Some((canonical(r)?.0, r.unit.trim())))
    }

    fn share_above(&self, load: f64) -> f64 {
        let total: f64 = self.weight.iter().sum();
        if total <= 0.0 {
            return 1.0;
        }
        let above = self.soot.iter().zip(self.weight).filter(|(s, _)| s.is_nan() || **s > load);
        above.map(|(_, w)| w).fold(0.0, |a, w| a + w) / total
    }
}

fn observed(id: &str, yes: bool) -> Text {
    Text::new(if yes { "because-seen" } else { "because-not-seen" })
        .with("observation", Arg::Observation(id.to_owned()))
}

fn look_at(id: &str) -> Text {
    Text::new("look-observe").with("observation", Arg::Observation(id.to_owned()))
}

fn condition(id: &'static str, state: State, because: Text, look: Vec<Text>, minutes: f64) -> Condition {
    Condition { what: Text::new(id), state, because, look, guards_held_speed: false, minutes }
}

fn unknown() -> Text {
    Text::new("because-nobody-looked")
}

fn likely(p: f64) -> Text {
    Text::new("because-probability").number("percent", 100.0 * p, 0)
}

/// A condition that one observation decides; `good` = the answer with which it holds.
fn by_observation(g: &Grounds, what: &'static str, id: &str, good: bool, minutes: f64) -> Condition {
    let (state, because) = match g.answer(id) {
        Some(a) if a == good => (State::Held, observed(id, a)),
        Some(a) => (State::Broken, observed(id, a)),
        None => (State::Open, unknown()),
    };
    condition(what, state, because, vec![look_at(id)], minutes)
}

/// A condition that a fault would break: held below `low`, broken from `high`.
fn by_probability(
    what: &'static str,
    p: f64,
    (low, high): (f64, f64),
    look: Vec<Text>,
    minutes: f64,
) -> Condition {
    let state = match p {
        p if p < low => State::Held,
        p if p < high => State::Open,
        _ => State::Broken,
    };
    condition(what, state, likely(p), look, minutes)
}

fn conditions(g: &Grounds) -> Vec<Condition> {
    use FaultId as F;
    let mut list = vec![by_observation(g, "condition-cause-mended", "regen_cause_mended", true, 2.0)];
    list.push(soot_by_controller(g));

    let level = match g.reading(Quantity::OilLevel) {
        Some((mm, _)) if g.answer("oil_level_above_max").is_none() => condition(
            "condition-oil-level",
            if mm <= 0.0 { State::Held } else { State::Broken },
            Text::new("because-oil-level").number("mm", mm, 0),
            vec![look_at("oil_level_above_max")],
            2.0,
        ),
        _ => by_observation(g, "condition-oil-level", "oil_level_above_max", false, 2.0),
    };
    list.push(Condition { guards_held_speed: true, ..level });

    let mut oil = by_observation(g, "condition-oil-state", "oil_smells_of_fuel_or_overdue", false, 2.0);
    if let Some(x) = g.fuel_in_oil.filter(|x| x.above >= UNSAFE_FROM) {
        oil.state = State::Broken;
        oil.because =
            Text::new("because-fuel-in-oil").number("p50", x.percent[1], 1).number("limit", ACT_PERCENT, 0);
    }
    list.push(oil);

    let mut leak = by_observation(g, "condition-fuel-leak", "fuel_leak_visible", false, 5.0);
    if g.answer("tank_or_line_leak_visible") == Some(true) {
        leak.state = State::Broken;
        leak.because = observed("tank_or_line_leak_visible", true);
    }
    list.push(Condition { guards_held_speed: true, ..leak });

    let fluid = g.probability(&[F::Aus32InFuel]);
    let mut wrong = by_observation(g, "condition-wrong-fluid", "q_wrong_fluid_suspected", false, 2.0);
    if g.answer("water_or_urea_in_fuel_sample") == Some(true) {
        (wrong.state, wrong.because) = (State::Broken, observed("water_or_urea_in_fuel_sample", true));
    } else if fluid >= NEAR_LIMIT {
        (wrong.state, wrong.because) = (State::Broken, likely(fluid));
    } else if wrong.state == State::Held && fluid > 0.02 {
        (wrong.state, wrong.because) = (State::Open, likely(fluid));
        wrong.look.push(look_at("water_or_urea_in_fuel_sample"));
    }
    list.push(Condition { guards_held_speed: true, ..wrong });

    let intake = match g.answer("oil_in_charge_pipes") {
        Some(_) => by_observation(g, "condition-oil-in-intake", "oil_in_charge_pipes", false, 15.0),
        None => by_probability(
            "condition-oil-in-intake",
            g.probability(&[F::TurboOilLeak, F::InjectorOverfuelling]),
            (0.02, NEAR_LIMIT),
            vec![look_at("oil_in_charge_pipes")],
            15.0,
        ),
    };
    list.push(intake);

    let coolant = g.reading(Quantity::CoolantTemperature).map(|c| c.0).or(g.coolant_degc);
    list.push(match coolant {
        Some(t) => condition(
            "condition-coolant-warm",
            if t >= WARM_DEGC { State::Held } else { State::Broken },
            Text::new("because-coolant").number("degc", t, 0),
            vec![Text::new("look-coolant")],
            15.0,
        ),
        None => {
            condition("condition-coolant-warm", State::Open, unknown(), vec![Text::new("look-coolant")], 15.0)
        }
    });

    let fuel = g.reading(Quantity::FuelLevel).map(|f| f.0).or(g.fuel_percent);
    list.push(match fuel {
        Some(percent) => condition(
            "condition-fuel-level",
            if percent > FUEL_PERCENT { State::Held } else { State::Broken },
            Text::new("because-fuel-level").number("percent", percent, 0),
            vec![Text::new("look-fuel-level")],
            2.0,
        ),
        None => by_observation(g, "condition-fuel-level", "fuel_level_low_or_gauge_wrong", false, 2.0),
    });

    list.push(temperature_sensors(g));

    let hose = match g.answer("pressure_hose_fault_visible") {
        Some(_) => {
            by_observation(g, "condition-pressure-reading", "pressure_hose_fault_visible", false, 20.0)
        }
        None => by_probability(
            "condition-pressure-reading",
            g.probability(&[
                F::HoseOffUpstream,
                F::HoseOffDownstream,
                F::HosesSwapped,
                F::HoseLeaking,
                F::HoseBlocked,
                F::SensorFrozen,
            ]),
            (0.1, UNSAFE_FROM),
            vec![look_at("pressure_hose_fault_visible")],
            20.0,
        ),
    };
    list.push(hose);

    let runaway = g.burns.iter().any(|b| b.end == BurnEnd::Runaway);
    let mut whole = match g.answer("substrate_damage_in_borescope") {
        Some(_) => by_observation(g, "condition-filter-whole", "substrate_damage_in_borescope", false, 32.0),
        None => by_probability(
            "condition-filter-whole",
            g.probability(&[F::SubstrateCracked, F::FilterRemoved]),
            (0.05, NEAR_LIMIT),
            vec![look_at("substrate_damage_in_borescope")],
            32.0,
        ),
    };
    if runaway && g.answer("substrate_damage_in_borescope") != Some(false) {
        (whole.state, whole.because) = (State::Broken, Text::new("because-runaway"));
    }
    list.push(whole);

    let mut exhaust = by_observation(g, "condition-exhaust-whole", "exhaust_damage_visible", false, 15.0);
    let catalyst = g.probability(&[F::OxidationCatalystDamaged]);
    if exhaust.state != State::Broken && catalyst >= UNSAFE_FROM {
        (exhaust.state, exhaust.because) = (State::Broken, likely(catalyst));
    }
    list.push(exhaust);

    list.push(by_probability(
        "condition-ash",
        g.probability(&[F::AshFull]),
        (0.2, UNSAFE_FROM),
        vec![Text::new("look-ash")],
        5.0,
    ));
    list.push(by_observation(g, "condition-place", "regen_place_clear", true, 5.0));
    list.push(by_observation(g, "condition-attended", "regen_attended", true, 2.0));
    list
}

/// The controller's own view: no code that says overload, no figure above what the substrate stands.
fn soot_by_controller(g: &Grounds) -> Condition {
    let id = "condition-soot-by-controller";
    let limit = wallflow::limits::soot_load(substrate(g.case));
    let look = vec![Text::new("look-controller-soot")];
    let volume = g.case.filter.volume_l;
    let figure = g.reading(Quantity::ControllerSoot);
    let load = figure.and_then(|(v, unit)| match unit {
        "%" => None,
        "g" => volume.map(|l| v / l.max(0.1)),
        _ => Some(v),
    });
    let percent = figure.filter(|f| f.1 == "%").map(|f| f.0);
    if g.answer("dtc_soot_overload") == Some(true) {
        return condition(id, State::Broken, observed("dtc_soot_overload", true), look, 6.0);
    }
    if let Some(v) = load {
        let because = Text::new("because-controller-soot").number("load", v, 1).number("limit", limit.low, 0);
        let state = if v > limit.low { State::Broken } else { State::Held };
        return condition(id, state, because, look, 6.0);
    }
    if let Some(v) = percent {
        // A share of a limit that only the maker knows; the engine lamp comes at 70 to 80 (trade reference 3.3).
        let state = if v >= 100.0 {
            State::Broken
        } else if v >= 70.0 {
            State::Open
        } else {
            State::Held
        };
        return condition(
            id,
            state,
            Text::new("because-controller-percent").number("percent", v, 0),
            look,
            6.0,
        );
    }
    match g.answer("dtc_soot_overload") {
        Some(_) => condition(id, State::Held, observed("dtc_soot_overload", false), look, 6.0),
        None => condition(id, State::Open, Text::new("because-memory-not-read"), look, 6.0),
    }
}

fn temperature_sensors(g: &Grounds) -> Condition {
    let id = "condition-temperature-sensors";
    let look = vec![look_at("egt_implausible_when_cold")];
    for code in ["egt_implausible_when_cold", "dtc_exhaust_temperature_sensor"] {
        if g.answer(code) == Some(true) {
            return condition(id, State::Broken, observed(code, true), look, 3.0);
        }
    }
    let p = g.probability(&[FaultId::TemperatureSensor]);
    if p >= UNSAFE_FROM {
        return condition(id, State::Broken, likely(p), look, 3.0);
    }
    if p < 0.1 && g.answer("egt_implausible_when_cold") == Some(false) {
        return condition(id, State::Held, observed("egt_implausible_when_cold", false), look, 3.0);
    }
    if p < 0.05 && g.temperatures_compared {
        return condition(id, State::Held, Text::new("because-temperatures-agree"), look, 3.0);
    }
    condition(id, State::Open, unknown(), look, 3.0)
}

/// The verdicts.
pub(crate) fn regeneration(g: &Grounds) -> Regeneration {
    let material = substrate(g.case);
    let limit = wallflow::limits::soot_load(material);
    let safe_load = wallflow::limits::safe_soot_load(material);
    let conditions = conditions(g);
    let above = g.share_above(safe_load);
    let resolved = g.effective >= RESOLVED_FROM;
    let told = g.estimate.told;
    Regeneration {
        service: verdict(above, told, resolved, conditions.iter()),
        held_speed: verdict(above, told, resolved, conditions.iter().filter(|c| c.guards_held_speed)),
        above,
        above_limit: g.share_above(limit.low),
        material_told: g.case.filter.material.is_some(),
        safe_load,
        limit: (limit.low, limit.high),
        soot: g.estimate,
        resolved,
        conditions,
        density: density(g.soot, g.weight, limit.high),
    }
}

impl Regeneration {
    /// Whether a test may hold the engine at a speed or load it: no guard is broken and soot is not near the limit.
    /// Open guards are looked at first.
    #[must_use]
    pub fn may_load_engine(&self) -> bool {
        let controller = self.conditions.iter().filter(|c| c.what.id == "condition-soot-by-controller");
        self.above_limit < NEAR_LIMIT
            && self.held_speed != Verdict::Unsafe
            && controller.into_iter().all(|c| c.state != State::Broken)
    }

    /// Conditions in a state.
    pub fn of(&self, state: State) -> impl Iterator<Item = &Condition> {
        self.conditions.iter().filter(move |c| c.state == state)
    }
}

/// Histogram from 0 to well above the limit, as density, smoothed over about half a gram per litre: the draws
/// repeat the heavier samples, and their teeth mean nothing.
fn density(soot: &[f64], weight: &[f64], limit: f64) -> Vec<(f64, f64)> {
    const CLASSES: usize = 48;
    let top = (1.4 * limit).max(8.0);
    let width = top / CLASSES as f64;
    let mut sums = [0.0; CLASSES];
    let mut total = 0.0;
    for (s, w) in soot.iter().zip(weight) {
        total += w;
        if let Some(slot) = sums.get_mut((s / width).max(0.0) as usize) {
            *slot += w;
        }
    }
    for _ in 0..4 {
        let last = sums;
        for (i, slot) in sums.iter_mut().enumerate() {
            // The ends keep what would leave, so that nothing is lost.
            let (before, behind) = (last[i.saturating_sub(1)], last[(i + 1).min(CLASSES - 1)]);
            *slot = 0.25 * before + 0.5 * last[i] + 0.25 * behind;
        }
    }
    let scale = 1.0 / (f64::max(total, 1e-300) * width);
    sums.iter().enumerate().map(|(i, s)| ((i as f64 + 0.5) * width, s * scale)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn states() -> impl Strategy<Value = Vec<State>> {
        prop::collection::vec(prop::sample::select(vec![State::Held, State::Open, State::Broken]), 0..12)
    }

    proptest! {
        #[test]
        fn property_never_safe_with_soot_above_or_a_condition_open(
            above in 0.0..1.0_f64, told: bool, resolved: bool, states in states()
        ) {
            let list: Vec<Condition> =
                states.iter().map(|s| condition("condition-ash", *s, unknown(), vec![], 1.0)).collect();
            let v = verdict(above, told, resolved, list.iter());
            if v == Verdict::Safe {
                prop_assert!(above < 0.01 && told && resolved);
                prop_assert!(states.iter().all(|s| *s == State::Held));
            }
            if above >= 0.5 || states.contains(&State::Broken) {
                prop_assert_eq!(v, Verdict::Unsafe);
            }
        }

        #[test]
        fn property_density_holds_all_that_lies_inside(loads in prop::collection::vec(0.0..7.9_f64, 1..200)) {
            let d = density(&loads, &vec![1.0; loads.len()], 6.0);
            let width = d[1].0 - d[0].0;
            let sum: f64 = d.iter().map(|p| p.1 * width).sum();
            prop_assert!((sum - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn analytic_a_share_that_is_no_number_is_never_safe() {
        assert_eq!(verdict(f64::NAN, true, true, [].iter()), Verdict::NotShownSafe);
    }
}
