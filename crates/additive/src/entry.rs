//! Values to enter after a fill, named by what they mean.
//!
//! A controller keeps a belief of how much concentrate the reservoir holds. An entry either *sets* that belief or is
//! *added* to it; "enter what was poured" is right for one and wrong for the other. The functions here give the entry
//! that makes the belief equal to what the scale says, what the controller will then believe, and the slips that a
//! read-back shows. Nothing here writes to a car: a person types, with the maker's procedure at hand.

use serde::{Deserialize, Serialize};

use crate::error::{Result, finite, not_negative, positive, share};
use crate::estimate::Uncertain;
use crate::message::{Message, rounded};

/// What a figure means. The question on the technician's equipment is in its maker's words; the meaning is one of
/// these, or nothing is typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Meaning {
    /// How much concentrate the reservoir holds now.
    HeldNow,
    /// How much concentrate was added now.
    AddedNow,
    /// How far the car went since the last fill.
    DistanceSinceFill,
    /// How much additive the present filter has received since it was new or cleaned.
    FilterReceived,
    /// How much ash the present filter holds.
    FilterAsh,
}

/// What an entry of quantity does to the controller's belief.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Controller {
    /// The entry becomes the belief.
    Sets,
    /// The entry is added to the belief.
    Adds,
    /// Not known: one entry, then read back.
    Unknown,
}

/// Unit in which the controller counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VolumeUnit {
    /// mL
    Millilitre,
    /// L
    Litre,
}

impl VolumeUnit {
    /// Millilitres in one unit.
    pub fn ml(self) -> f64 {
        match self {
            VolumeUnit::Millilitre => 1.0,
            VolumeUnit::Litre => 1000.0,
        }
    }

    /// Symbol.
    pub fn symbol(self) -> &'static str {
        match self {
            VolumeUnit::Millilitre => "mL",
            VolumeUnit::Litre => "L",
        }
    }
}

/// What was done to the reservoir.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Work {
    /// Filled full.
    Filled,
    /// Topped up, not full.
    ToppedUp,
    /// Replaced by a full one.
    Replaced,
    /// Nothing poured; the belief is to be put right.
    Corrected,
}

/// What was done to the filter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum FilterWork {
    /// Nothing.
    Untouched,
    /// Cleaned of ash.
    Cleaned {
        /// Share of the ash that is still in it, by weighing dry before and after; `None` when not weighed.
        left_share: Option<f64>,
    },
    /// Replaced by a new one.
    Replaced,
}

/// The situation after the fill and before the first entry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Situation {
    /// What an entry of quantity does.
    pub controller: Controller,
    /// Unit in which this controller counts.
    pub unit: VolumeUnit,
    /// What the controller believed before any entry, mL; `None` when it cannot be read.
    pub believed_ml: Option<f64>,
    /// What the reservoir holds by weight, mL.
    pub weighed_ml: Uncertain,
    /// What was poured, mL; `None` when not weighed apart.
    pub poured_ml: Option<f64>,
    /// Capacity of the reservoir, mL, where known.
    pub capacity_ml: Option<f64>,
    /// What was done to the reservoir.
    pub work: Work,
    /// What was done to the filter.
    pub filter: FilterWork,
    /// True when the equipment asks how far the car went since the fill.
    pub asks_distance: bool,
    /// Additive the controller believes the present filter has received, in its own unit, where it shows it.
    pub filter_received: Option<f64>,
    /// Ash the controller believes to be in the filter, g, where it shows it.
    pub filter_ash_g: Option<f64>,
}

/// One value to enter.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Entry {
    /// What it means.
    pub meaning: Meaning,
    /// Value to type.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// What the controller will believe the reservoir holds, mL; `None` for other meanings and where it depends on
    /// the unknown kind.
    pub believes_after_ml: Option<f64>,
    /// What to say.
    pub say: Message,
}

/// What to save, type and read back.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Entries {
    /// What to read and save before anything is typed.
    pub save_first: Vec<Meaning>,
    /// Values, in this order.
    pub entries: Vec<Entry>,
    /// Meanings not to be typed, with the reason.
    pub leave: Vec<(Meaning, Message)>,
    /// What to do around it, cautions included.
    pub say: Vec<Message>,
}

/// How far a belief may be from the scale and still count as equal, mL: two standard uncertainties of the weighing
/// and one step of display, at least 20 mL.
fn tolerance_ml(s: &Situation) -> f64 {
    (2.0 * s.weighed_ml.standard_uncertainty).max(20.0) + if s.unit == VolumeUnit::Litre { 50.0 } else { 0.0 }
}

fn check(s: &Situation) -> Result<()> {
    not_negative("weighed content", "mL", s.weighed_ml.value)?;
    not_negative("uncertainty of the weighed content", "mL", s.weighed_ml.standard_uncertainty)?;
    if let Some(v) = s.believed_ml {
        finite("controller's figure", "mL", v)?;
    }
    if let Some(v) = s.poured_ml {
        not_negative("volume poured", "mL", v)?;
    }
    if let Some(v) = s.capacity_ml {
        positive("capacity", "mL", v)?;
    }
    for (what, v) in
        [("additive received by the filter", s.filter_received), ("ash in the filter", s.filter_ash_g)]
    {
        if let Some(v) = v {
            finite(what, "", v)?;
        }
    }
    if let FilterWork::Cleaned { left_share: Some(v) } = s.filter {
        share("share of ash left", v)?;
    }
    Ok(())
}

/// The values to enter, by meaning.
///
/// For a controller that sets: the weighed content. For one that adds: weighed minus believed; it cannot take away, so
/// a belief above the scale is left and told. For an unknown kind: first the entry that suits one that adds, which
/// cannot overshoot in either case; [`after_first`] then tells the kind and the correction. Unknown kind with a belief
/// above the scale: no entry is safe, and the maker's procedure decides. Distance zero only for a full or new
/// reservoir and only where asked. What the filter has received, and its ash, only when it was cleaned or replaced.
///
/// ```
/// # use additive::{Uncertain, entry::*};
/// let s = Situation {
///     controller: Controller::Adds, unit: VolumeUnit::Millilitre, believed_ml: Some(450.0),
///     weighed_ml: Uncertain::new(2040.0, 5.0), poured_ml: Some(1800.0), capacity_ml: Some(2100.0),
///     work: Work::Filled, filter: FilterWork::Untouched, asks_distance: true,
///     filter_received: Some(152.0), filter_ash_g: None,
/// };
/// let e = entries(&s)?;
/// assert_eq!((e.entries[0].value, e.entries[0].believes_after_ml), (1590.0, Some(2040.0)));
/// # Ok::<(), additive::Error>(())
/// ```
pub fn entries(s: &Situation) -> Result<Entries> {
    check(s)?;
    let mut out = Entries {
        save_first: vec![
            Meaning::HeldNow,
            Meaning::DistanceSinceFill,
            Meaning::FilterReceived,
            Meaning::FilterAsh,
        ],
        entries: Vec::new(),
        leave: Vec::new(),
        say: vec![
            Message::new("entry-which-controller"),
            Message::new("entry-save-first"),
            Message::new("entry-battery-support"),
        ],
    };
    quantity(s, &mut out);
    distance(s, &mut out);
    filter(s, &mut out);
    out.say.push(Message::new("entry-unclear-question"));
    out.say.push(Message::new("entry-read-back"));
    out.say.push(Message::new("entry-makers-procedure"));
    Ok(out)
}

fn quantity(s: &Situation, out: &mut Entries) {
    let weighed = s.weighed_ml.value;
    let tolerance = tolerance_ml(s);
    let entry = |meaning, ml: f64, after: Option<f64>, key| Entry {
        meaning,
        value: typed(ml, s.unit),
        unit: s.unit.symbol(),
        believes_after_ml: after,
        say: Message::new(key).number("value", typed(ml, s.unit)).text("unit", s.unit.symbol()),
    };
    match (s.controller, s.believed_ml) {
        (Controller::Sets, _) => {
            out.entries.push(entry(
                Meaning::HeldNow,
                weighed,
                Some(round_to_unit(weighed, s.unit)),
                "entry-sets",
            ));
        }
        (Controller::Adds | Controller::Unknown, None) => {
            out.leave.push((Meaning::AddedNow, Message::new("entry-belief-not-read")));
        }
        (Controller::Adds, Some(believed)) => {
            let add = weighed - believed;
            if add >= 0.0 {
                let after = believed + round_to_unit(add, s.unit);
                out.entries.push(entry(Meaning::AddedNow, add, Some(after), "entry-adds"));
            } else {
                let key = if -add <= tolerance { "entry-already-agrees" } else { "entry-cannot-take-away" };
                out.leave
                    .push((Meaning::AddedNow, Message::new(key).number("millilitres", rounded(-add, 0))));
            }
        }
        (Controller::Unknown, Some(believed)) => {
            let add = weighed - believed;
            if add > tolerance {
                let after = (believed.abs() <= tolerance).then_some(weighed);
                out.entries.push(entry(Meaning::AddedNow, add, after, "entry-unknown-first"));
            } else if add >= -tolerance {
                let said = Message::new("entry-already-agrees").number("millilitres", rounded(add.abs(), 0));
                out.leave.push((Meaning::HeldNow, said));
            } else {
                let said = Message::new("entry-unknown-above-scale").number("millilitres", rounded(-add, 0));
                out.leave.push((Meaning::HeldNow, said));
            }
        }
    }
    if let (Some(believed), Some(poured)) = (s.believed_ml, s.poured_ml) {
        let gap = believed - (weighed - poured);
        if gap.abs() > 2.0 * tolerance {
            let key = if gap > 0.0 { "entry-gap-less-than-believed" } else { "entry-gap-more-than-believed" };
            out.say.push(Message::new(key).number("millilitres", rounded(gap.abs(), 0)));
        }
    }
}

fn distance(s: &Situation, out: &mut Entries) {
    let fresh = matches!(s.work, Work::Filled | Work::Replaced);
    if !s.asks_distance {
        out.leave.push((Meaning::DistanceSinceFill, Message::new("entry-distance-not-asked")));
    } else if fresh {
        out.entries.push(Entry {
            meaning: Meaning::DistanceSinceFill,
            value: 0.0,
            unit: "km",
            believes_after_ml: None,
            say: Message::new("entry-distance-zero"),
        });
    } else {
        out.leave.push((Meaning::DistanceSinceFill, Message::new("entry-distance-not-fresh")));
    }
}

fn filter(s: &Situation, out: &mut Entries) {
    let both = [Meaning::FilterReceived, Meaning::FilterAsh];
    let left = match s.filter {
        FilterWork::Untouched => {
            out.leave.extend(both.map(|m| (m, Message::new("entry-filter-untouched"))));
            return;
        }
        FilterWork::Cleaned { left_share: None } => {
            out.leave.extend(both.map(|m| (m, Message::new("entry-filter-cleaned-not-weighed"))));
            return;
        }
        FilterWork::Cleaned { left_share: Some(left) } => left,
        FilterWork::Replaced => 0.0,
    };
    for (meaning, before, unit) in [
        (Meaning::FilterReceived, s.filter_received, "as shown before"),
        (Meaning::FilterAsh, s.filter_ash_g, "g"),
    ] {
        let value = if left == 0.0 { Some(0.0) } else { before.map(|b| rounded(b * left, 1)) };
        match value {
            Some(value) => out.entries.push(Entry {
                meaning,
                value,
                unit,
                believes_after_ml: None,
                say: Message::new(if left == 0.0 { "entry-filter-new" } else { "entry-filter-cleaned" })
                    .number("percent", rounded(left * 100.0, 0)),
            }),
            None => out.leave.push((meaning, Message::new("entry-filter-not-shown"))),
        }
    }
}

/// A volume as it is typed: whole millilitres, or litres to two places.
fn typed(ml: f64, unit: VolumeUnit) -> f64 {
    rounded(ml / unit.ml(), if unit == VolumeUnit::Litre { 2 } else { 0 })
}

fn round_to_unit(ml: f64, unit: VolumeUnit) -> f64 {
    typed(ml, unit) * unit.ml()
}

/// What one entry and its read-back told about a controller of unknown kind.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Told {
    /// The kind, where the read-back tells it. `Unknown` when both or neither fit.
    pub kind: Controller,
    /// The next entry in the controller's unit, where one puts the belief right.
    pub next: Option<Entry>,
    /// What to say.
    pub say: Message,
}

/// Tells the kind of controller from the first entry and the read-back, and what corrects the belief.
///
/// `typed` is the value entered, in the controller's unit; `read_back_ml` the belief read after an ignition cycle. A
/// read-back that fits neither kind is not explained away: wrong controller, ignition not cycled or wrong unit come
/// before any second entry (see [`slips`]).
pub fn after_first(s: &Situation, typed_value: f64, read_back_ml: f64) -> Result<Told> {
    check(s)?;
    not_negative("value typed", s.unit.symbol(), typed_value)?;
    finite("figure read back", "mL", read_back_ml)?;
    let typed_ml = typed_value * s.unit.ml();
    let tolerance = tolerance_ml(s);
    let weighed = s.weighed_ml.value;
    let near = |a: f64, b: f64| (a - b).abs() <= tolerance;
    let sets = near(read_back_ml, typed_ml);
    let adds = s.believed_ml.is_some_and(|b| near(read_back_ml, b + typed_ml));
    let kind = match (sets, adds) {
        (true, false) => Controller::Sets,
        (false, true) => Controller::Adds,
        _ => Controller::Unknown,
    };
    let told = |kind, next, key| Told { kind, next, say: Message::new(key) };
    if !sets && !adds {
        return Ok(told(Controller::Unknown, None, "told-neither"));
    }
    if near(read_back_ml, weighed) {
        return Ok(told(kind, None, "told-agrees"));
    }
    let next = match kind {
        Controller::Sets => Some((Meaning::HeldNow, weighed, "entry-sets")),
        Controller::Adds if weighed > read_back_ml => {
            Some((Meaning::AddedNow, weighed - read_back_ml, "entry-adds"))
        }
        Controller::Adds | Controller::Unknown => None,
    };
    let next = next.map(|(meaning, ml, key)| Entry {
        meaning,
        value: typed(ml, s.unit),
        unit: s.unit.symbol(),
        believes_after_ml: Some(match kind {
            Controller::Sets => round_to_unit(ml, s.unit),
            _ => read_back_ml + round_to_unit(ml, s.unit),
        }),
        say: Message::new(key).number("value", typed(ml, s.unit)).text("unit", s.unit.symbol()),
    });
    let key = match (kind, &next) {
        (Controller::Sets, _) => "told-sets",
        (Controller::Adds, Some(_)) => "told-adds",
        (Controller::Adds, None) => "told-adds-too-much",
        (Controller::Unknown, _) => "told-both",
    };
    Ok(told(kind, next, key))
}

/// What was typed, and what is read back.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Typed {
    /// Quantity typed, in the controller's unit.
    pub quantity: Option<f64>,
    /// Distance since the fill typed, km.
    pub distance_km: Option<f64>,
    /// Content read back after an ignition cycle, mL.
    pub read_back_ml: Option<f64>,
    /// Additive received by the filter, read back in the controller's unit.
    pub filter_received_after: Option<f64>,
}

/// A slip that what was typed, or the read-back, shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Slip {
    /// Millilitres for litres or the reverse: off by a factor of about a thousand.
    WrongUnit,
    /// A top-up entered as a full fill.
    TopUpAsFull,
    /// The volume poured was given to a controller that sets.
    PouredToOneThatSets,
    /// The content was given to a controller that adds.
    HeldToOneThatAdds,
    /// The belief did not move: the entry went to another controller, or the ignition was not cycled.
    BeliefUnmoved,
    /// The filter was cleaned or replaced, and its received additive was not put back.
    FilterRoutineForgotten,
    /// The filter was not touched, yet its received additive went down.
    FilterHistoryWiped,
    /// The distance since the fill is not zero after a fresh fill.
    DistanceNotZero,
    /// More than the reservoir can hold.
    AboveCapacity,
    /// The belief read back is not what the scale says, and none of the above explains it.
    BeliefOff,
}

impl Slip {
    /// The slip in a sentence with what to do.
    pub fn say(self) -> Message {
        Message::new(match self {
            Slip::WrongUnit => "slip-wrong-unit",
            Slip::TopUpAsFull => "slip-top-up-as-full",
            Slip::PouredToOneThatSets => "slip-poured-to-sets",
            Slip::HeldToOneThatAdds => "slip-held-to-adds",
            Slip::BeliefUnmoved => "slip-belief-unmoved",
            Slip::FilterRoutineForgotten => "slip-filter-forgotten",
            Slip::FilterHistoryWiped => "slip-filter-wiped",
            Slip::DistanceNotZero => "slip-distance",
            Slip::AboveCapacity => "slip-above-capacity",
            Slip::BeliefOff => "slip-belief-off",
        })
    }
}

/// Slips that what was typed, or the read-back, shows against the scale. Empty when all agrees.
pub fn slips(s: &Situation, typed: &Typed) -> Result<Vec<Slip>> {
    check(s)?;
    for (what, unit, v) in [
        ("quantity typed", "", typed.quantity),
        ("distance typed", "km", typed.distance_km),
        ("figure read back", "mL", typed.read_back_ml),
        ("additive received, read back", "", typed.filter_received_after),
    ] {
        if let Some(v) = v {
            finite(what, unit, v)?;
        }
    }
    let mut found = Vec::new();
    let tolerance = tolerance_ml(s);
    let weighed = s.weighed_ml.value;
    let near = |a: f64, b: f64| (a - b).abs() <= tolerance;
    let thousand = |a: f64, b: f64| {
        let ratio = if b != 0.0 { a / b } else { 1.0 };
        (500.0..2000.0).contains(&ratio) || (0.0005..0.002).contains(&ratio)
    };
    if let Some(quantity) = typed.quantity {
        let ml = quantity * s.unit.ml();
        let poured_or_held = [Some(weighed), s.poured_ml, s.believed_ml.map(|b| weighed - b)];
        let unit_slip =
            poured_or_held.into_iter().flatten().filter(|v| *v > tolerance).any(|v| thousand(ml, v));
        let short = s.capacity_ml.is_some_and(|c| weighed < c - tolerance.max(0.05 * c));
        if unit_slip {
            found.push(Slip::WrongUnit);
        } else if s.work == Work::ToppedUp
            && short
            && s.capacity_ml.is_some_and(|c| (ml - c).abs() <= tolerance.max(0.03 * c))
        {
            found.push(Slip::TopUpAsFull);
        } else if s.controller == Controller::Sets
            && s.poured_ml.is_some_and(|p| near(ml, p) && !near(ml, weighed))
        {
            found.push(Slip::PouredToOneThatSets);
        } else if s.controller == Controller::Adds
            && near(ml, weighed)
            && s.believed_ml.is_some_and(|b| !near(b, 0.0))
        {
            found.push(Slip::HeldToOneThatAdds);
        } else if s.capacity_ml.is_some_and(|c| ml > 1.1 * c + tolerance) {
            found.push(Slip::AboveCapacity);
        }
    }
    if let Some(read) = typed.read_back_ml {
        let unmoved = s.believed_ml.is_some_and(|b| near(read, b) && !near(read, weighed));
        if unmoved && typed.quantity.is_some() {
            found.push(Slip::BeliefUnmoved);
        } else if !near(read, weighed) && found.is_empty() {
            found.push(if thousand(read, weighed) { Slip::WrongUnit } else { Slip::BeliefOff });
        }
    }
    if let (Some(before), Some(after)) = (s.filter_received, typed.filter_received_after) {
        match s.filter {
            FilterWork::Untouched if after < 0.95 * before => found.push(Slip::FilterHistoryWiped),
            FilterWork::Cleaned { .. } | FilterWork::Replaced if before > 0.0 && after >= 0.95 * before => {
                found.push(Slip::FilterRoutineForgotten);
            }
            _ => {}
        }
    }
    if matches!(s.work, Work::Filled | Work::Replaced) && typed.distance_km.is_some_and(|d| d != 0.0) {
        found.push(Slip::DistanceNotZero);
    }
    Ok(found)
}

/// After a spell in which the reservoir was empty or did not dose.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DrySpell {
    /// Fuel in the tank that got no dose, L; `None` when not known.
    pub undosed_fuel_l: Option<f64>,
    /// Fuel that the next refuelling brings, L; `None` when not known.
    pub refuel_l: Option<f64>,
    /// Volume dose the controller gives, mL/L.
    pub dose_ml_per_l: Option<f64>,
}

/// Advice after a dry spell.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AfterDry {
    /// Share of the set dose that the tank's fuel has after the refuelling, where it can be told.
    pub dose_share: Option<f64>,
    /// Concentrate the refuelling should take out of the reservoir, mL: proof that the dosing works again.
    pub dose_ml: Option<f64>,
    /// What to say.
    pub say: Vec<Message>,
}

/// What follows from a dry spell: the fuel in the tank stays undosed until the next refuelling, the soot in the
/// filter is undoped and burns only when hotter. So: refuel, drive, then expect regenerations; no service regeneration
/// at once.
///
/// Equation of the share: V_new/(V_new + V_old), the dose going by fuel added.
pub fn after_dry_spell(dry: DrySpell) -> Result<AfterDry> {
    let old = dry.undosed_fuel_l.map(|v| not_negative("undosed fuel", "L", v)).transpose()?;
    let new = dry.refuel_l.map(|v| not_negative("fuel to come", "L", v)).transpose()?;
    let dose = dry.dose_ml_per_l.map(|v| not_negative("volume dose", "mL/L", v)).transpose()?;
    let dose_share = old.zip(new).and_then(|(o, n)| (n > 0.0 && (n + o).is_finite()).then(|| n / (n + o)));
    let dose_ml = new.zip(dose).map(|(n, d)| n * d).filter(|v| v.is_finite());
    let mut say = vec![
        Message::new("dry-fuel-undosed"),
        Message::new("dry-soot-undoped"),
        Message::new("dry-refuel-drive"),
    ];
    if let Some(part) = dose_share {
        say.push(Message::new("dry-share").number("percent", rounded(part * 100.0, 0)));
    }
    if let Some(ml) = dose_ml {
        say.push(Message::new("dry-proof").number("millilitres", rounded(ml, 1)));
    }
    say.push(Message::new("dry-no-standing-regeneration"));
    Ok(AfterDry { dose_share, dose_ml, say })
}
