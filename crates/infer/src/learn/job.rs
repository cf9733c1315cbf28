//! A closed job, and what of it counts.

use super::ledger::{Tally, WorkshopCounts};
use facts::{FaultId, Knowledge};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// What the program said before the work: one fault set with its probability.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Said {
    /// The faults; empty = none.
    pub faults: Vec<FaultId>,
    /// Its probability.
    pub p: f64,
}

/// A job whose end is known. It stays in the workshop; only counts leave it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ClosedJob {
    /// The workshop's own number of the job.
    pub id: String,
    /// Day on which it was closed, as YYYY-MM-DD.
    pub closed: String,
    /// Faults that were there, shown by proof; empty = nothing was wrong, shown by proof.
    pub confirmed: Vec<FaultId>,
    /// What showed it. A job without proof is kept and not counted.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub proof: String,
    /// Whether the car came back with the same complaint within 1000 km; left out = not asked yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub came_back: Option<bool>,
    /// Observations made, by identifier.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub observed: BTreeMap<String, bool>,
    /// What the program said before the work, for scores; what is missing to 1 is *any other fault set*.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub said: Vec<Said>,
}

/// Why a job does not count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum NotCounted {
    /// Nothing shows what was wrong.
    NoProof,
    /// The car came back, so that what was confirmed is in doubt; the repair is counted as one that did not hold.
    CameBack,
    /// The same job stands there again, closed later.
    Again,
}

/// Counts the jobs of one workshop. `made_at` (UTC, RFC 3339) tells which of two counts of one workshop is newer.
///
/// Of several rows with one job number the one closed last counts (then the one with the later text), whatever their
/// order. A reading with several states counts when one of them was *yes* or all of them *no*: else it is not known
/// whether the reading was complete. Also given: why each job that does not count does not.
#[must_use]
pub fn count(
    jobs: &[ClosedJob],
    knowledge: &Knowledge,
    made_at: &str,
    program: &str,
) -> (WorkshopCounts, Vec<(String, NotCounted)>) {
    let mut last: BTreeMap<&str, &ClosedJob> = BTreeMap::new();
    let mut left_out = Vec::new();
    let later = |j: &ClosedJob| (j.closed.clone(), format!("{j:?}"));
    for job in jobs {
        match last.get_mut(job.id.as_str()) {
            None => {
                last.insert(&job.id, job);
            }
            Some(there) => {
                left_out.push((job.id.clone(), NotCounted::Again));
                if later(job) > later(there) {
                    *there = job;
                }
            }
        }
    }
    let mut out = WorkshopCounts {
        made_at: made_at.to_owned(),
        program: program.to_owned(),
        ..WorkshopCounts::default()
    };
    for job in last.into_values() {
        if job.proof.trim().is_empty() {
            left_out.push((job.id.clone(), NotCounted::NoProof));
            continue;
        }
        if let Some(back) = job.came_back {
            for f in &job.confirmed {
                let held: &mut Tally = out.held.entry(f.id().to_owned()).or_default();
                held.add(!back);
            }
        }
        if job.came_back == Some(true) {
            left_out.push((job.id.clone(), NotCounted::CameBack));
            continue;
        }
        out.jobs += 1;
        let month: String = job.closed.chars().take(7).collect();
        if out.from.is_empty() || month < out.from {
            out.from.clone_from(&month);
        }
        if month > out.until {
            out.until = month;
        }
        let confirmed: BTreeSet<&str> = job.confirmed.iter().map(|f| f.id()).collect();
        let one = match confirmed.iter().copied().collect::<Vec<_>>()[..] {
            [] => Some("none"),
            [one] => Some(one),
            _ => None,
        };
        for f in if confirmed.is_empty() { vec!["none"] } else { confirmed.into_iter().collect() } {
            *out.confirmed.entry(f.to_owned()).or_default() += 1;
        }
        if let Some(fault) = one {
            let observed = out.observed.entry(fault.to_owned()).or_default();
            for (observation, yes) in complete(&job.observed, knowledge) {
                observed.entry(observation.to_owned()).or_default().add(yes);
            }
        }
    }
    left_out.sort();
    (out, left_out)
}

/// Answers that are complete: one state of a reading that is *yes* answers for the others.
fn complete<'a>(observed: &BTreeMap<String, bool>, knowledge: &'a Knowledge) -> Vec<(&'a str, bool)> {
    let mut out = Vec::new();
    for o in knowledge.observations() {
        let own = observed.get(&o.id).copied();
        let answer = match o.exclusive_group.as_deref() {
            None => own,
            Some(group) => {
                let states: Vec<Option<bool>> = knowledge
                    .observations()
                    .iter()
                    .filter(|s| s.exclusive_group.as_deref() == Some(group))
                    .map(|s| observed.get(&s.id).copied())
                    .collect();
                let yes = states.iter().filter(|s| **s == Some(true)).count();
                match yes {
                    1 => Some(own == Some(true)),
                    0 if states.iter().all(|s| *s == Some(false)) => Some(false),
                    _ => None,
                }
            }
        };
        out.extend(answer.map(|yes| (o.id.as_str(), yes)));
    }
    out
}
