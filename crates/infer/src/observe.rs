//! Bench observations and trouble codes as likelihoods of a fault set (noisy-OR of the knowledge).

use facts::case::{Answer, Case, Role};
use facts::{FaultId, Knowledge};
use recording::Recording;
use std::collections::{BTreeMap, BTreeSet};

/// What was seen, as yes or no per observation of the knowledge.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Seen {
    /// Answer per observation identifier.
    pub answers: BTreeMap<String, bool>,
    /// Codes that belong to no observation of the knowledge.
    pub other_codes: BTreeSet<String>,
    /// True when a fault memory was read.
    pub memory_read: bool,
}

/// Observations that only repeat what typed pressure readings or a recording already say in full; they
/// count only where no such reading exists, so that nothing is counted twice.
const SAID_BY_PRESSURE: [&str; 4] =
    ["dp_key_on_offset", "dp_2500_high", "dp_2500_near_zero", "dp_2500_negative"];

impl Seen {
    /// From the case and, when given, its recordings.
    #[must_use]
    pub fn new(
        case: &Case,
        recordings: &[Option<Recording>],
        knowledge: &Knowledge,
        role: Role,
        has_pressure: bool,
    ) -> Self {
        let mut out = Self::default();
        let mut codes: BTreeSet<String> = BTreeSet::new();
        let mut read = false;
        for m in &case.fault_memory {
            let r = m.role.unwrap_or(Role::Now);
            // Codes of before the work still tell what was wrong; cleared ones after it prove nothing.
            if r == role || (r == Role::Before && role != Role::After) {
                codes.extend(m.codes.iter().map(|c| c.trim().to_uppercase()));
                read = true;
            }
        }
        for r in recordings.iter().flatten() {
            for c in &r.trouble_codes {
                codes.insert(c.code.trim().to_uppercase());
                read = true;
            }
        }
        let mut families: BTreeSet<String> = BTreeSet::new();
        for code in codes {
            match knowledge.codes_to_observation(&code) {
                Some(o) => {
                    families.insert(o.id.clone());
                }
                None => {
                    out.other_codes.insert(code);
                }
            }
        }
        if read {
            for o in knowledge.observations() {
                if !o.codes.is_empty() {
                    out.answers.insert(o.id.clone(), families.contains(&o.id));
                }
            }
        }
        out.memory_read = read;
        for o in &case.observation {
            if has_pressure && SAID_BY_PRESSURE.contains(&o.id.as_str()) {
                continue;
            }
            match o.answer {
                Answer::Yes => out.answers.insert(o.id.clone(), true),
                Answer::No => out.answers.insert(o.id.clone(), false),
                Answer::NotDone => None,
            };
        }
        out
    }

    /// ln p(all answers | fault set).
    #[must_use]
    pub fn log_likelihood(&self, faults: &[FaultId], knowledge: &Knowledge) -> f64 {
        self.each(faults, knowledge).map(|(_, _, v)| v).sum()
    }

    /// (observation, answer, ln p) one by one.
    pub fn each<'a>(
        &'a self,
        faults: &'a [FaultId],
        knowledge: &'a Knowledge,
    ) -> impl Iterator<Item = (&'a str, bool, f64)> {
        self.answers.iter().filter_map(move |(id, yes)| {
            knowledge.observation(id)?;
            // A slip of the hand or of the reader is always possible: one answer in a hundred.
            let p = knowledge.probability_given_set(faults, id).clamp(0.0, 1.0) * 0.98 + 0.01;
            Some((id.as_str(), *yes, if *yes { p.ln() } else { (1.0 - p).ln() }))
        })
    }
}
