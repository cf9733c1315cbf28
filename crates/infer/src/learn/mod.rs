//! Learning from closed jobs: counts by workshop, figures from counts, and how good one's own diagnoses were.
//!
//! A closed job counts when proof showed what was wrong. Counts are kept by workshop ([`Ledger`]); figures are the
//! means of Beta and Dirichlet posteriors whose priors are the rows of the knowledge, each worth as many cars as its
//! mark earns ([`worth`]). Figures that come from counts keep what stood before ([`facts::knowledge::Counted`]), so
//! learning starts from there every time: the order of jobs, files and workshops does not matter, and learning twice
//! from the same counts changes nothing.
//!
//! # Limits
//! Which observations are made depends on what was suspected. Counts of an observation under a fault stay right as
//! long as that choice hangs on what was seen before, not on the unseen answer; a technician who only writes down
//! what fits breaks this. Jobs with several faults count for how often each fault is met, not for observations: which
//! of the faults brought an observation about is not known. Backgrounds, mechanisms and the rate of second faults are
//! not learnt.

mod job;
mod ledger;
mod score;

pub use job::{ClosedJob, NotCounted, Said, count};
pub use ledger::{Doubt, Ledger, Tally, WorkshopCounts};
pub use score::{BINS, Bin, FLOOR, Scores, scores, wilson};

use facts::knowledge::{Counted, Mark};
use facts::{FaultId, Knowledge};
use std::collections::BTreeMap;

/// The weights of all faults together are worth this many counted cars.
///
/// # References
/// A choice: 20 to 30 cars in all were meant by whoever wrote the weights, so that a few hundred confirmed jobs take
/// over.
pub const PRIOR_WORTH: f64 = 25.0;

/// A background that stands in for a row nobody argued is worth this many counted cars: nobody knows a way from the
/// fault to the observation, which is an argument of its own, so a single odd car should not make one.
pub const BACKGROUND_WORTH: f64 = 20.0;

/// As many counted cars a probability with this mark is worth.
///
/// # References
/// A choice. A guess is worth four cars: at 0.5 it then has a standard deviation of 0.22, which is a factor of about
/// two either way in odds (ln 2 / 0.25 = 2.8 in units of p(1 - p); 0.22 / 0.25 = 0.9 in log odds). Common practice is
/// taken for twice that, a published figure from other cars for twenty. What was counted elsewhere and came without its
/// counts is taken for fifty.
#[must_use]
pub fn worth(mark: Mark) -> f64 {
    match mark {
        Mark::ExpertGuess => 4.0,
        Mark::CommonPractice => 8.0,
        Mark::Seen => 20.0,
        Mark::Counted => 50.0,
    }
}

/// Mean of the Beta posterior of a probability.
///
/// # Equation
/// (worth × before + yes) / (worth + of): the mean of Beta(worth × before + yes, worth × (1 - before) + of - yes).
///
/// # Validity
/// 0 ≤ `before` ≤ 1, `worth` > 0, 0 ≤ `yes` ≤ `of`. It lies between `before` and `yes / of`.
#[must_use]
pub fn updated(before: f64, worth: f64, yes: f64, of: f64) -> f64 {
    (worth * before + yes) / (worth + of)
}

/// A figure from counts.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// The new probability, or share of all weights.
    pub p: f64,
    /// What it was made from.
    pub counted: Counted,
}

/// Every figure that counts changed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Learned {
    /// Share of each fault among the faults found, by identifier, `none` included; all of them, since one count moves
    /// every share. Empty where nothing was counted.
    pub shares: BTreeMap<String, Figure>,
    /// Probability of an observation under a fault.
    pub likelihoods: BTreeMap<(String, String), Figure>,
    /// Probability that a repair holds, by fault.
    pub works: BTreeMap<String, Figure>,
}

/// Lowest and highest probability that the knowledge takes.
const RANGE: (f64, f64) = (1e-4, 0.9999);

/// Works the counts of a ledger into figures. `program` is written into their provenance.
///
/// Counts of faults or observations that the knowledge does not have are passed over.
#[must_use]
pub fn learn(knowledge: &Knowledge, ledger: &Ledger, program: &str) -> Learned {
    let sum = ledger.sum();
    let by: Vec<String> = ledger.workshops.keys().cloned().collect();
    let counted = |yes: u32, of: u32, before: f64, worth: f64| Counted {
        yes: f64::from(yes),
        of: f64::from(of),
        before,
        worth,
        by: by.clone(),
        until: sum.until.clone(),
        program: program.to_owned(),
    };
    let mut out = Learned::default();

    let found: u32 = sum.confirmed.values().sum();
    if found > 0 {
        let rows = || FaultId::ALL.iter().map(|f| knowledge.fault(*f)).chain([knowledge.none()]);
        let weight_sum: f64 = rows().map(|r| r.prior_weight).sum();
        // A share of before, where the row keeps one: those shares add up to 1 together, as they were made together.
        let share = |r: &facts::knowledge::Fault| {
            r.counted.as_ref().map_or(r.prior_weight / weight_sum, |c| c.before)
        };
        let total: f64 = rows().map(share).sum();
        // Shares that add up to 1 stay as they are to the last digit, so that learning again gives the same file.
        let total = if (total - 1.0).abs() < 1e-9 { 1.0 } else { total };
        for row in rows() {
            let (yes, before) = (sum.confirmed.get(&row.id).copied().unwrap_or(0), share(row) / total);
            let p = updated(before, PRIOR_WORTH, f64::from(yes), f64::from(found));
            out.shares
                .insert(row.id.clone(), Figure { p, counted: counted(yes, found, before, PRIOR_WORTH) });
        }
    }

    // The figure before counts and its worth; states of one reading share the least worth among them, so that their
    // probabilities cannot add up to more than before and counts allow.
    let before = |fault: &str, observation: &str| -> Option<(f64, f64)> {
        let o = knowledge.observation(observation)?;
        let row = match FaultId::from_id(fault) {
            Some(f) => knowledge.likelihood(f, observation),
            None if fault == "none" => knowledge.likelihood_none(observation),
            None => return None,
        };
        Some(match row {
            None => (o.background, BACKGROUND_WORTH),
            Some(l) => l.counted.as_ref().map_or((l.p, worth(l.mark)), |c| (c.before, c.worth)),
        })
    };
    for (fault, observed) in &sum.observed {
        for (observation, tally) in observed {
            let Some((p0, own)) = before(fault, observation) else { continue };
            let group = knowledge.observation(observation).and_then(|o| o.exclusive_group.as_deref());
            let members = knowledge
                .observations()
                .iter()
                .filter(|o| group.is_some() && o.exclusive_group.as_deref() == group);
            let worth = members.filter_map(|o| before(fault, &o.id)).map(|b| b.1).fold(own, f64::min);
            let of = tally.yes + tally.no;
            if of == 0 {
                continue;
            }
            let p = updated(p0, worth, f64::from(tally.yes), f64::from(of)).clamp(RANGE.0, RANGE.1);
            let figure = Figure { p, counted: counted(tally.yes, of, p0, worth) };
            out.likelihoods.insert((fault.clone(), observation.clone()), figure);
        }
    }
    for (fault, tally) in &sum.held {
        let Some(work) = FaultId::from_id(fault).and_then(|f| knowledge.work(f)) else { continue };
        let of = tally.yes + tally.no;
        if of == 0 {
            continue;
        }
        let (p0, worth) =
            work.counted.as_ref().map_or((work.works, worth(work.mark)), |c| (c.before, c.worth));
        let p = updated(p0, worth, f64::from(tally.yes), f64::from(of)).clamp(0.01, 1.0);
        out.works.insert(fault.clone(), Figure { p, counted: counted(tally.yes, of, p0, worth) });
    }
    out
}
