//! A wrong fluid in a vessel: triage by stage, how much, what it endangers, and what must not be switched on.
//!
//! Every answer is caution, never a promise: what was wetted decides, and that is the maker's procedure. Facts are
//! common practice and handling pages as gathered in the trade (marked in the catalogue where they were seen);
//! waste codes are those of Decision 2000/532/EC from memory, and the local authority decides.

use serde::{Deserialize, Serialize};

use crate::dose::metal_dose_mg_per_kg;
use crate::error::{Result, not_negative, positive};
use crate::estimate::{Estimate, Uncertain, deviate, quasi_points};
use crate::message::{Message, rounded};

/// What went where.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mix {
    /// AUS 32 in the fuel tank.
    Aus32InFuel,
    /// AUS 32 in the additive reservoir.
    Aus32InReservoir,
    /// Fuel in the AUS 32 tank.
    FuelInAus32,
    /// Additive concentrate in the AUS 32 tank.
    AdditiveInAus32,
    /// Neat additive concentrate poured into the fuel tank.
    NeatAdditiveInFuel,
    /// Concentrate of another generation in the additive reservoir.
    WrongGeneration,
}

impl Mix {
    /// All mix-ups.
    pub const ALL: [Mix; 6] = [
        Mix::Aus32InFuel,
        Mix::Aus32InReservoir,
        Mix::FuelInAus32,
        Mix::AdditiveInAus32,
        Mix::NeatAdditiveInFuel,
        Mix::WrongGeneration,
    ];
}

/// How far it may have got.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Ignition never on since.
    NotSwitchedOn,
    /// Ignition on: pumps may have primed. Not started.
    SwitchedOn,
    /// Started or driven.
    Run,
    /// Parked after running.
    ParkedAfterRun,
}

/// What is known of the mix-up. Volumes as told are often rough: give their uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MixUp {
    /// What went where.
    pub mix: Mix,
    /// How far it may have got; `None` when nobody knows: then it is treated as run.
    pub stage: Option<Stage>,
    /// Volume of the wrong fluid, L.
    pub wrong_l: Option<Uncertain>,
    /// Volume of the right fluid in the vessel before, L.
    pub right_l: Option<Uncertain>,
    /// Metal per litre of the concentrate poured, g/L, for neat additive in fuel and for a wrong generation.
    pub metal_g_per_l: Option<Uncertain>,
    /// Metal per litre of the right concentrate, g/L, for a wrong generation.
    pub right_metal_g_per_l: Option<Uncertain>,
    /// Density of the fuel, kg/m3, for neat additive in fuel.
    pub fuel_density_kg_m3: Option<f64>,
    /// Metal dose the system is made for, mg/kg, for neat additive in fuel.
    pub usual_dose_mg_per_kg: Option<f64>,
}

/// Whether ignition and engine stay off.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lock {
    /// True: do not switch on and do not start.
    pub do_not_start: bool,
    /// True: no service regeneration, no dose test, no refuelling that would make the system dose.
    pub hold_work: bool,
    /// Why.
    pub reason: Message,
    /// What must be there before a named person, other than the one who looked first, lifts it. Never lifted by time.
    pub lifted_after: Vec<Message>,
}

/// How much of the wrong fluid is in the vessel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Concentration {
    /// Share of the volume, 0 to 1.
    pub volume_share: Estimate,
    /// Metal in the fuel, mg/kg, for neat additive in fuel.
    pub metal_mg_per_kg: Option<Estimate>,
    /// Metal dose against the one the system is made for: of the fuel in the tank for neat additive, of all fuel dosed
    /// from the blend for a wrong generation.
    pub times_usual: Option<Estimate>,
}

/// A class of waste.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Waste {
    /// Code of the European list (Decision 2000/532/EC; from memory).
    pub code: &'static str,
    /// Marked hazardous in that list.
    pub hazardous: bool,
    /// What it is.
    pub say: Message,
}

/// Answer of [`triage`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Triage {
    /// Whether ignition and engine stay off.
    pub lock: Lock,
    /// The stage reckoned with.
    pub stage: Stage,
    /// How much, where volumes are known.
    pub concentration: Option<Concentration>,
    /// What it endangers.
    pub endangers: Vec<Message>,
    /// What to do, in this order.
    pub now: Vec<Message>,
    /// What not to do, with the reason.
    pub never: Vec<Message>,
    /// Samples to take and how to read them.
    pub samples: Vec<Message>,
    /// Waste classes.
    pub waste: Vec<Waste>,
    /// Who decides, and that nothing is promised.
    pub say: Vec<Message>,
}

/// Triage of a mix-up.
///
/// Errors only for a figure without meaning. An unknown stage counts as run, because a look at it costs less than a
/// pump.
pub fn triage(m: &MixUp) -> Result<Triage> {
    let stage = m.stage.unwrap_or(Stage::Run);
    let key = Message::new;
    let mut say = Vec::new();
    if m.stage.is_none() {
        say.push(key("mixup-stage-unknown"));
    }
    say.push(key("mixup-no-promise"));
    say.push(key("mixup-makers-procedure"));
    say.push(key("mixup-authority-decides"));
    Ok(Triage {
        lock: lock(m.mix),
        stage,
        concentration: concentration(m)?,
        endangers: endangers(m.mix, stage),
        now: now(m.mix, stage),
        never: never(m.mix, stage),
        samples: samples(m.mix),
        waste: waste(m.mix),
        say,
    })
}

fn lock(mix: Mix) -> Lock {
    let key = Message::new;
    let (do_not_start, reason) = match mix {
        Mix::Aus32InFuel => (true, "lock-aus32-in-fuel"),
        Mix::Aus32InReservoir => (true, "lock-aus32-in-reservoir"),
        Mix::FuelInAus32 | Mix::AdditiveInAus32 => (true, "lock-foreign-in-aus32"),
        Mix::NeatAdditiveInFuel => (true, "lock-neat-additive"),
        Mix::WrongGeneration => (false, "lock-wrong-generation"),
    };
    let mut lifted_after = vec![key("lift-second-person"), key("lift-emptied"), key("lift-clear-samples")];
    if mix == Mix::WrongGeneration {
        lifted_after = vec![key("lift-second-person"), key("lift-reservoir-emptied")];
    }
    lifted_after.push(key("lift-signed"));
    Lock { do_not_start, hold_work: true, reason: key(reason), lifted_after }
}

fn concentration(m: &MixUp) -> Result<Option<Concentration>> {
    for (what, unit, u) in [
        ("volume of the wrong fluid", "L", m.wrong_l),
        ("volume of the right fluid", "L", m.right_l),
        ("metal per litre", "g/L", m.metal_g_per_l),
        ("metal per litre", "g/L", m.right_metal_g_per_l),
    ] {
        if let Some(u) = u {
            not_negative(what, unit, u.value)?;
            not_negative("standard uncertainty", unit, u.standard_uncertainty)?;
        }
    }
    let fuel = m.fuel_density_kg_m3.map(|v| positive("fuel density", "kg/m3", v)).transpose()?;
    let usual = m.usual_dose_mg_per_kg.map(|v| positive("usual dose", "mg/kg", v)).transpose()?;
    let (Some(wrong), Some(right)) = (m.wrong_l, m.right_l) else { return Ok(None) };
    let (mut shares, mut doses, mut blends) = (Vec::new(), Vec::new(), Vec::new());
    for p in quasi_points(256, 4) {
        let [a, b, c, d] = p.as_slice() else { continue };
        let (w, r) = (wrong.positive_at(deviate(*a)), right.positive_at(deviate(*b)));
        let part = if w + r > 0.0 { w / (w + r) } else { 0.0 };
        shares.push(part);
        if let (Mix::WrongGeneration, Some(poured), Some(meant)) =
            (m.mix, m.metal_g_per_l, m.right_metal_g_per_l)
            && meant.value > 0.0
        {
            let ratio = poured.positive_at(deviate(*c)) / meant.positive_at(deviate(*d));
            blends.push(part * ratio + 1.0 - part);
        }
        if let (Mix::NeatAdditiveInFuel, Some(metal), Some(fuel)) = (m.mix, m.metal_g_per_l, fuel)
            && r > 0.0
        {
            // mL of concentrate per L of fuel; the fuel's own dose is small against it
            doses.push(metal_dose_mg_per_kg(1000.0 * w / r, fuel, metal.positive_at(deviate(*c)))?);
        }
    }
    let metal_mg_per_kg = Estimate::of(doses);
    let times_usual =
        metal_mg_per_kg.zip(usual).map(|(e, usual)| e.times(1.0 / usual)).or(Estimate::of(blends));
    Ok(Estimate::of(shares).map(|volume_share| Concentration { volume_share, metal_mg_per_kg, times_usual }))
}

fn endangers(mix: Mix, stage: Stage) -> Vec<Message> {
    let mut keys = match mix {
        Mix::Aus32InFuel => vec!["danger-high-pressure-pump", "danger-fuel-filter", "danger-corrosion"],
        Mix::Aus32InReservoir => vec!["danger-dosed-into-fuel", "danger-dosing-pump", "danger-corrosion"],
        Mix::FuelInAus32 => vec!["danger-doser-seals", "danger-scr-catalyst"],
        Mix::AdditiveInAus32 => vec!["danger-doser-seals", "danger-scr-metal"],
        Mix::NeatAdditiveInFuel => vec!["danger-ash-at-once", "danger-injector-deposits"],
        Mix::WrongGeneration => vec!["danger-wrong-dose", "danger-dosing-pump-foreign"],
    };
    if stage >= Stage::Run && matches!(mix, Mix::Aus32InFuel | Mix::Aus32InReservoir) {
        keys.push("danger-rail-injectors");
    }
    if stage == Stage::ParkedAfterRun && mix != Mix::NeatAdditiveInFuel && mix != Mix::WrongGeneration {
        keys.push("danger-drying");
    }
    keys.into_iter().map(Message::new).collect()
}

fn now(mix: Mix, stage: Stage) -> Vec<Message> {
    let mut keys = vec!["now-tag-key", "now-no-ignition-sources", "now-keep-samples"];
    match (mix, stage) {
        (Mix::Aus32InFuel, Stage::NotSwitchedOn) => {
            keys.extend(["now-battery-off", "now-move-by-hand", "now-drain-tank", "now-rinse-fuel"]);
        }
        (Mix::Aus32InFuel, Stage::SwitchedOn) => {
            keys.extend([
                "now-battery-off",
                "now-move-by-hand",
                "now-drain-tank",
                "now-low-pressure-side",
                "now-rinse-fuel",
            ]);
        }
        (Mix::Aus32InFuel, _) => {
            keys.extend(["now-move-by-hand", "now-drain-tank", "now-wetted-parts", "now-check-oil"])
        }
        (Mix::Aus32InReservoir, _) => {
            keys.extend(["now-battery-off", "now-empty-reservoir", "now-check-fuel-for-water"])
        }
        (Mix::FuelInAus32 | Mix::AdditiveInAus32, Stage::NotSwitchedOn) => {
            keys.extend(["now-drain-aus32", "now-rinse-aus32"])
        }
        (Mix::FuelInAus32 | Mix::AdditiveInAus32, _) => keys.extend(["now-drain-aus32", "now-aus32-parts"]),
        (Mix::NeatAdditiveInFuel, Stage::NotSwitchedOn) => keys.extend(["now-drain-tank"]),
        (Mix::NeatAdditiveInFuel, _) => {
            keys.extend(["now-drain-tank", "now-dilute-note", "now-filter-ash-later"])
        }
        (Mix::WrongGeneration, _) => {
            keys.extend(["now-stop-dosing", "now-empty-reservoir", "now-blend-balance"])
        }
    }
    if stage >= Stage::Run {
        keys.push("now-tell-insurer");
    }
    keys.into_iter().map(Message::new).collect()
}

fn never(mix: Mix, stage: Stage) -> Vec<Message> {
    let mut keys = vec!["never-flame", "never-waste-oil"];
    match mix {
        Mix::Aus32InFuel => {
            keys.push(match stage {
                Stage::NotSwitchedOn => "never-drain-a-bit",
                Stage::SwitchedOn => "never-crank-to-see",
                Stage::Run => "never-promise-flush",
                Stage::ParkedAfterRun => "never-wait",
            });
        }
        Mix::Aus32InReservoir => keys.push("never-rinse-water"),
        Mix::FuelInAus32 | Mix::AdditiveInAus32 => keys.push("never-prime-aus32"),
        Mix::NeatAdditiveInFuel => keys.push("never-drive-it-off"),
        Mix::WrongGeneration => keys.push("never-top-up-over"),
    }
    keys.push("never-service-regeneration");
    keys.into_iter().map(Message::new).collect()
}

fn samples(mix: Mix) -> Vec<Message> {
    let keys = match mix {
        Mix::Aus32InFuel | Mix::Aus32InReservoir => {
            vec![
                "sample-lowest-point",
                "sample-stand",
                "sample-weigh-layer",
                "sample-crystals",
                "sample-water-paste",
            ]
        }
        Mix::FuelInAus32 | Mix::AdditiveInAus32 => {
            vec!["sample-top-and-bottom", "sample-film", "sample-weigh-layer"]
        }
        Mix::NeatAdditiveInFuel => vec!["sample-top-and-bottom", "sample-colour", "sample-laboratory-metal"],
        Mix::WrongGeneration => vec!["sample-density", "sample-laboratory-metal"],
    };
    keys.into_iter().map(Message::new).collect()
}

fn waste(mix: Mix) -> Vec<Waste> {
    let of = |code, hazardous, key| Waste { code, hazardous, say: Message::new(key) };
    let mut list = match mix {
        Mix::Aus32InFuel => {
            vec![of("13 07 03*", true, "waste-fuel-mixed"), of("16 01 21*", true, "waste-fuel-filter")]
        }
        Mix::Aus32InReservoir => {
            vec![of("16 05 06*", true, "waste-additive"), of("16 10 01*", true, "waste-aus32-contaminated")]
        }
        Mix::FuelInAus32 | Mix::AdditiveInAus32 => vec![of("16 10 01*", true, "waste-aus32-contaminated")],
        Mix::NeatAdditiveInFuel => vec![of("13 07 03*", true, "waste-fuel-mixed")],
        Mix::WrongGeneration => vec![of("16 05 06*", true, "waste-additive")],
    };
    list.push(of("15 02 02*", true, "waste-wipes"));
    list.push(of("15 01 10*", true, "waste-packaging"));
    list
}

/// The share of a wrong fluid in a sentence.
pub fn concentration_sentence(c: &Concentration) -> Message {
    let percent = |x: f64| rounded(x * 100.0, 1);
    Message::new("mixup-concentration")
        .number("low", percent(c.volume_share.p05))
        .number("middle", percent(c.volume_share.p50))
        .number("high", percent(c.volume_share.p95))
}
