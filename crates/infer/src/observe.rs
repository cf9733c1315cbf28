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
    /// Codes that say more than their family does.
    pub named: BTreeSet<String>,
    /// True when a fault memory was read.
    pub memory_read: bool,
}

/// Observations that only repeat what typed pressure readings or a recording already say in full; they
/// count only where no such reading exists, so that nothing is counted twice.
const SAID_BY_PRESSURE: [&str; 4] =
    ["dp_key_on_offset", "dp_2500_high", "dp_2500_near_zero", "dp_2500_negative"];

/// Only repeats the distance on the filter, where that is known in kilometres.
const SAID_BY_DISTANCE: &str = "q_high_mileage_original_filter";

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
                    if knowledge.code_group(&code).is_some_and(|g| g.observation == o.id) {
                        out.named.insert(code);
                    }
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
        let distance_known = case.car.odometer_km.is_some()
            && (case.filter.fitted_odometer_km.is_some() || case.filter.cleaned_odometer_km.is_some());
        for o in &case.observation {
            if has_pressure && SAID_BY_PRESSURE.contains(&o.id.as_str())
                || distance_known && o.id == SAID_BY_DISTANCE
            {
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

    /// (observation, answer, ln p) one by one, each taken alone: for words. All together are weighed by
    /// [`crate::network`] and [`Seen::which_codes`].
    pub fn each<'a>(
        &'a self,
        faults: &'a [FaultId],
        knowledge: &'a Knowledge,
    ) -> impl Iterator<Item = (&'a str, bool, f64)> {
        self.answers.iter().filter_map(move |(id, yes)| {
            knowledge.observation(id)?;
            // A slip of the hand or of the reader is always possible: one answer in a hundred.
            let p = knowledge.probability_given_set(faults, id).clamp(0.0, 1.0) * 0.98 + 0.01;
            let log = if *yes { p.ln() + self.which(id, faults, knowledge) } else { (1.0 - p).ln() };
            Some((id.as_str(), *yes, log))
        })
    }

    /// ln of how well the fault set tells which codes of their families are stored.
    #[must_use]
    pub fn which_codes(&self, faults: &[FaultId], knowledge: &Knowledge) -> f64 {
        if self.named.is_empty() {
            return 0.0;
        }
        self.answers.iter().filter(|(_, yes)| **yes).map(|(id, _)| self.which(id, faults, knowledge)).sum()
    }

    /// What [`Seen::which_codes`] cannot exceed, whatever the faults.
    #[must_use]
    pub fn which_codes_at_most(&self, knowledge: &Knowledge) -> f64 {
        // A group has all of its family at best.
        let rare = |c: &String| knowledge.code_group(c).map_or(0.0, |g| -g.share.ln());
        self.named.iter().map(rare).filter(|v| *v > 0.0).sum()
    }

    /// Which codes of a family are stored, given that some are: ln of the share of their group over its share
    /// whatever the fault. Several codes of one family come from one cause as a rule: their mean counts, once.
    fn which(&self, observation: &str, faults: &[FaultId], knowledge: &Knowledge) -> f64 {
        let of_family = self
            .named
            .iter()
            .filter_map(|c| knowledge.code_group(c))
            .filter(|g| g.observation == observation)
            .map(|g| (knowledge.code_share(faults, g) / g.share).ln());
        let (n, sum) = of_family.fold((0.0, 0.0), |(n, sum), v| (n + 1.0, sum + v));
        if n > 0.0 { sum / n } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn which(codes: &str, fault: FaultId) -> f64 {
        let text = format!(
            "schema = \"sootwright.case/1\"\n[car]\ncategory = \"M1\"\n[[fault_memory]]\ncodes = [{codes}]\n"
        );
        let case = facts::load_case(&text, "test").unwrap_or_else(|e| panic!("{e:?}"));
        let knowledge = Knowledge::built_in();
        Seen::new(&case, &[], knowledge, Role::Now, false).which_codes(&[fault], knowledge)
    }

    #[test]
    fn property_the_code_that_names_a_fault_speaks_for_it_within_its_family() {
        use FaultId as F;
        for (code, own, others) in [
            ("\"P0101\"", F::FlowMeterDrift, [F::EgrStuckOpen, F::BoostLeak]),
            ("\"P0299\"", F::BoostLeak, [F::EgrStuckOpen, F::FlowMeterDrift]),
            ("\"P0402\"", F::EgrStuckOpen, [F::BoostLeak, F::FlowMeterDrift]),
            ("\"P24A2\"", F::RegenerationIncomplete, [F::AshFull, F::SootShortTrips]),
        ] {
            let said = which(code, own);
            assert!(said > 0.0, "{code} {own:?} {said}");
            assert!(others.iter().all(|o| which(code, *o) < said), "{code}");
        }
        // A second code of the same cause is not a second witness.
        let one = which("\"P0101\"", F::FlowMeterDrift);
        assert!((which("\"P0101\", \"P0102\"", F::FlowMeterDrift) - one).abs() < 1e-12);
    }
}
