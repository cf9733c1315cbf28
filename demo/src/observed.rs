//! Every bench observation of a case answered, by error rates that are near those of the knowledge and not the same.
//!
//! A workshop that does every test on every car does not exist; such cases show what an assessment can make of all
//! facts. The rates are the knowledge's, each with odds changed by a factor of up to two either way, fixed for a seed
//! (a trade whose numbers are not those that were guessed), so the estimator does not meet its own figures. Pressure is
//! told by the readings of the case, not again by observations.

use crate::batch::GeneratedCase;
use crate::draw::Draw;
use facts::case::{Answer, Observation};
use facts::{FaultId, Knowledge};

/// Odds are changed by up to this factor.
const FACTOR: f64 = 2.0;

/// What pressure readings say already.
const SAID_BY_PRESSURE: [&str; 4] =
    ["dp_key_on_offset", "dp_2500_high", "dp_2500_near_zero", "dp_2500_negative"];

/// Answers every observation of the knowledge for this case's true faults; what was answered before is replaced.
///
/// `seed` fixes the rates of the trade, `stream` the answers of this car.
pub fn observe_all(case: &mut GeneratedCase, knowledge: &Knowledge, seed: u64, stream: u64) {
    let mut rates = Draw::new(seed, u64::MAX);
    let mut draw = Draw::new(seed ^ 0x6f62_7365_7276_6564, stream);
    let ids = [Some(case.truth.fault), case.truth.additive.as_ref().map(|a| a.fault)];
    let faults: Vec<FaultId> = ids.into_iter().flatten().filter_map(FaultId::from_id).collect();
    let observations = knowledge.observations();
    // One factor for each fault and observation, drawn in a fixed order, whatever this car's faults are.
    let factors: Vec<Vec<f64>> = (0..=FaultId::ALL.len())
        .map(|_| observations.iter().map(|_| rates.log_uniform(1.0 / FACTOR, FACTOR)).collect())
        .collect();
    let row =
        faults.first().and_then(|f| FaultId::ALL.iter().position(|a| a == f)).unwrap_or(FaultId::ALL.len());
    let probability = |o: usize| {
        let p = knowledge.probability_given_set(&faults, &observations[o].id).clamp(1e-4, 1.0 - 1e-4);
        let odds = p / (1.0 - p) * factors[row][o];
        odds / (1.0 + odds)
    };
    case.case.observation.clear();
    let mut done = vec![false; observations.len()];
    for o in 0..observations.len() {
        if done[o] || SAID_BY_PRESSURE.contains(&observations[o].id.as_str()) {
            continue;
        }
        let group = observations[o].exclusive_group.as_deref();
        let states: Vec<usize> = (o..observations.len())
            .filter(|&x| x == o || (group.is_some() && observations[x].exclusive_group.as_deref() == group))
            .collect();
        // One state of a reading at most is true; what is left of the probability is none of them.
        let mut weights: Vec<f64> = states.iter().map(|&s| probability(s)).collect();
        weights.push((1.0 - weights.iter().sum::<f64>()).max(0.0));
        let true_state = draw.weighted(&weights);
        for (place, &s) in states.iter().enumerate() {
            done[s] = true;
            case.case.observation.push(Observation {
                odometer_km: None,
                time: None,
                order: None,
                note: None,
                id: observations[s].id.clone(),
                answer: if place == true_state { Answer::Yes } else { Answer::No },
                because: None,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::batch::{Session, generate};

    #[test]
    fn property_every_observation_is_answered_once_and_one_state_at_most_is_true() {
        let k = Knowledge::built_in();
        for i in 0..6 {
            let mut case = generate(7, i, Some(Session::Typed));
            observe_all(&mut case, k, 7, i as u64);
            let given = &case.case.observation;
            assert_eq!(given.len(), k.observations().len() - SAID_BY_PRESSURE.len());
            let mut states = std::collections::BTreeMap::new();
            for o in given.iter().filter(|o| o.answer == Answer::Yes) {
                if let Some(g) = k.observation(&o.id).and_then(|o| o.exclusive_group.as_deref()) {
                    *states.entry(g).or_insert(0) += 1;
                }
            }
            assert!(states.values().all(|n| *n == 1), "{states:?}");
            let mut again = generate(7, i, Some(Session::Typed));
            observe_all(&mut again, k, 7, i as u64);
            assert_eq!(again.case, case.case, "the same seed gives the same answers");
        }
    }
}
