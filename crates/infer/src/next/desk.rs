//! What every action costs, as plain numbers by place.

use crate::network::{Network, Set};
use facts::{FaultId, Knowledge};

/// A test: one observation, or the states of one reading.
#[derive(Debug, Clone, PartialEq)]
pub struct TestCost {
    /// Numbers of the observations it answers; of several, at most one is *yes*.
    pub observations: Vec<usize>,
    /// Price of the test itself, EUR.
    pub eur: f64,
    /// Working time of the test itself, minutes.
    pub minutes: f64,
    /// Set-ups it needs, one bit each.
    pub set_ups: u32,
}

/// A repair.
#[derive(Debug, Clone, PartialEq)]
pub struct RepairCost {
    /// Price, work and parts, set-ups left out, EUR.
    pub eur: f64,
    /// Working time, minutes.
    pub minutes: f64,
    /// What the standing car costs meanwhile, EUR.
    pub waiting_eur: f64,
    /// Probability that it takes the fault away.
    pub works: f64,
    /// Expected damage when the fault is not there, EUR.
    pub harm_eur: f64,
    /// Set-ups it needs, one bit each.
    pub set_ups: u32,
}

/// A set-up.
#[derive(Debug, Clone, PartialEq)]
pub struct SetUpCost {
    /// Identifier.
    pub id: String,
    /// Price, EUR: work, standing car, expected damage.
    pub eur: f64,
    /// Working time, minutes.
    pub minutes: f64,
    /// It is a drive and ends the set-ups that end with one.
    pub drive: bool,
    /// It ends with a drive.
    pub ends_with_drive: bool,
}

/// A safety rule.
#[derive(Debug, Clone, PartialEq)]
pub struct RuleCost {
    /// Place among the rules of the knowledge.
    pub index: usize,
    /// What it forbids, one bit per set-up.
    pub forbids: u32,
    /// Faults whose probability it watches.
    pub faults: Set,
    /// From which probability it holds.
    pub above: f64,
    /// Observations that make it hold while they are *yes*.
    pub while_yes: Vec<usize>,
    /// Observations (places of tests) that must be made first.
    pub look_first: Vec<usize>,
    /// Price of taking a *yes* away, EUR; `None` where nothing does.
    pub remedy_eur: Option<f64>,
}

/// What the specialist costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Refer {
    /// Handing over, EUR.
    pub eur: f64,
    /// The specialist's price over our own.
    pub factor: f64,
}

/// A number that the knowledge lacks for planning.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Lack {
    /// A rate is missing.
    #[error("the knowledge has no [[rate]] {0:?}; add it to a file of the schema sootwright.actions/1")]
    Rate(&'static str),
    /// The row of a repair is missing.
    #[error(
        "the knowledge has no [[work]] row for the fault {0:?}; add it to a file of the schema sootwright.actions/1"
    )]
    Work(&'static str),
    /// Too many set-ups.
    #[error("there are {0} set-ups; at most 32 can be planned with")]
    SetUps(usize),
}

/// Everything that planning needs, by number.
#[derive(Debug, Clone)]
pub struct Desk {
    /// Faults and observations.
    pub network: Network,
    /// Tests.
    pub tests: Vec<TestCost>,
    /// Repairs by number of the fault.
    pub repairs: Vec<RepairCost>,
    /// Set-ups by bit.
    pub set_ups: Vec<SetUpCost>,
    /// Safety rules.
    pub rules: Vec<RuleCost>,
    /// Price of the final test, EUR.
    pub final_eur: f64,
    /// Working time of the final test, minutes.
    pub final_minutes: f64,
    /// Probability that it passes although a fault is left.
    pub final_misses: f64,
    /// What it needs to be allowed (it is a drive), one bit per set-up.
    pub final_set_ups: u32,
    /// Price of a car that comes back, EUR.
    pub come_back_eur: f64,
    /// The specialist.
    pub refer: Refer,
}

impl Desk {
    /// Costs from the knowledge.
    ///
    /// # Errors
    /// The first number that the knowledge lacks.
    pub fn new(knowledge: &Knowledge) -> Result<Self, Lack> {
        let rate = |id: &'static str| knowledge.rate(id).map(|r| r.value).ok_or(Lack::Rate(id));
        let per_minute = rate("labour_eur_per_hour")? / 60.0;
        let standing = rate("waiting_eur_per_hour")? / 60.0;
        let network = Network::new(knowledge);
        if knowledge.set_ups().len() > 32 {
            return Err(Lack::SetUps(knowledge.set_ups().len()));
        }
        let bit = |id: &str| knowledge.set_ups().iter().position(|s| s.id == id);
        // A set-up with all that it needs itself; the count of steps ends a ring.
        let closure = |id: Option<&str>| {
            let (mut mask, mut at) = (0_u32, id);
            for _ in 0..knowledge.set_ups().len() {
                let Some(i) = at.and_then(bit) else { break };
                mask |= 1 << i;
                at = knowledge.set_ups()[i].needs.as_deref();
            }
            mask
        };
        let set_ups = knowledge
            .set_ups()
            .iter()
            .map(|s| SetUpCost {
                id: s.id.clone(),
                eur: s.minutes * (per_minute + standing) + s.wait_minutes * standing + s.harm_eur,
                minutes: s.minutes,
                drive: s.drive,
                ends_with_drive: s.ends_with_drive,
            })
            .collect();
        let mut tests: Vec<TestCost> = Vec::new();
        for (i, o) in knowledge.observations().iter().enumerate() {
            let states = network.states_of(i);
            if states.first().is_some_and(|&first| first != i) {
                continue;
            }
            let observations = if states.is_empty() { vec![i] } else { states.to_vec() };
            let eur = o.minutes * (per_minute + standing);
            let set_ups = closure(o.set_up.as_deref());
            tests.push(TestCost { observations, eur, minutes: o.minutes, set_ups });
        }
        let mut repairs = Vec::new();
        for &f in FaultId::ALL {
            let row = knowledge.work(f).ok_or(Lack::Work(f.id()))?;
            let repair = &knowledge.fault(f).repair;
            let price = knowledge
                .cost_class(&repair.cost_class)
                .map_or(0.0, |c| 0.5 * (c.from_eur + c.to_eur))
                .max(repair.minutes * per_minute);
            repairs.push(RepairCost {
                eur: price,
                minutes: repair.minutes,
                waiting_eur: (repair.minutes + row.wait_minutes) * standing,
                works: row.works,
                harm_eur: row.harm_eur,
                set_ups: closure(row.set_up.as_deref()),
            });
        }
        let place = |id: &String| {
            let o = network.number(id)?;
            tests.iter().position(|t| t.observations.contains(&o))
        };
        let rules = knowledge
            .rules()
            .iter()
            .enumerate()
            .map(|(index, r)| RuleCost {
                index,
                forbids: r.forbids.iter().filter_map(|s| bit(s)).fold(0, |m, i| m | 1 << i),
                faults: r
                    .faults
                    .iter()
                    .filter_map(|f| FaultId::from_id(f))
                    .fold(Set::NONE, |s, f| s.with(f as usize)),
                above: r.above,
                while_yes: r.while_yes.iter().filter_map(|o| network.number(o)).collect(),
                look_first: r.look_first.iter().filter_map(place).collect(),
                remedy_eur: r.remedy.as_ref().map(|_| r.remedy_eur),
            })
            .collect();
        let final_minutes = rate("final_test_minutes")?;
        Ok(Self {
            tests,
            repairs,
            set_ups,
            rules,
            final_eur: final_minutes * (per_minute + standing),
            final_minutes,
            final_misses: rate("final_test_misses")?.min(0.9),
            final_set_ups: bit("road_test").map_or(0, |i| 1 << i),
            come_back_eur: rate("come_back_eur")?,
            refer: Refer { eur: rate("refer_eur")?, factor: rate("refer_factor")? },
            network,
        })
    }

    /// What the specialist asks for a car with this fault set, EUR.
    #[must_use]
    pub fn refer_eur(&self, set: Set) -> f64 {
        let repairs: f64 = set.iter().filter_map(|f| self.repairs.get(f)).map(|r| r.eur).sum();
        self.refer.eur + self.refer.factor * repairs
    }

    /// Price of the set-ups in `needed` that are not `paid`, EUR.
    #[must_use]
    pub fn set_up_eur(&self, needed: u32, paid: u32) -> f64 {
        self.missing(needed, paid).map(|s| s.eur).sum()
    }

    /// Set-ups in `needed` that are not `paid`.
    pub fn missing(&self, needed: u32, paid: u32) -> impl Iterator<Item = &SetUpCost> {
        let left = needed & !paid;
        self.set_ups.iter().enumerate().filter(move |(i, _)| left & (1 << i) != 0).map(|(_, s)| s)
    }

    /// Set-ups in place after an action that needed these.
    #[must_use]
    pub fn after(&self, needed: u32, paid: u32) -> u32 {
        let drives = self.missing(needed, paid).any(|s| s.drive);
        (if drives { paid & !self.end_with_drive() } else { paid }) | needed
    }

    /// Set-ups that end with a drive.
    #[must_use]
    pub fn end_with_drive(&self) -> u32 {
        self.set_ups.iter().enumerate().filter(|(_, s)| s.ends_with_drive).fold(0, |m, (i, _)| m | 1 << i)
    }

    /// The least that a car with this fault set can cost when the set is known: repairs with their set-ups
    /// and one final test, or the specialist, EUR.
    #[must_use]
    pub fn known_eur(&self, set: Set, paid: u32) -> f64 {
        let (mut eur, mut needed) = (self.final_eur, 0);
        for r in set.iter().filter_map(|f| self.repairs.get(f)) {
            eur += r.eur + r.waiting_eur;
            needed |= r.set_ups;
        }
        (eur + self.set_up_eur(needed, paid)).min(self.refer_eur(set))
    }
}
