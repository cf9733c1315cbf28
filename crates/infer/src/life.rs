//! A car's life: the posterior carried from visit to visit.
//!
//! The visits are gone through in the order in which they happened. The weighted draws of one visit, moved on
//! by what happened since (soot laid down or burnt, ash grown, cleaning, work on the sensor), become the prior
//! of the next: spreads with tails for every coordinate, and a Gaussian copula for how they belong together
//! ([`crate::carried`]). This costs one run of the estimator a visit, whereas one joint search over all visits
//! would have fifteen constants and four more unknowns for each of them, in which importance sampling fails; and
//! it gives the answer at each visit from the facts up to it, as the workshop could know it then.
//!
//! The baseline is never trusted too much: constants are widened by what does not repeat, and beside *nothing
//! was changed* two other ways are weighed by their evidence, a pressure sensor or a filter changed without
//! a row. Every figure is averaged over them.

mod carry;
mod stages;

use crate::assess::{Evidence, Ways, answer};
use crate::assessment::{Assessment, FilterState, Proof};
use crate::joint::additive_side;
use crate::posterior::{Draws, Effort};
use facts::Moment;
use serde::{Deserialize, Serialize};

/// Probability that something was changed since the visit before without a row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct UnrecordedChange {
    /// The pressure sensor.
    pub sensor: f64,
    /// The filter.
    pub filter: f64,
}

/// One visit of a life.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VisitAnswer {
    /// Odometer, km.
    pub odometer_km: Option<f64>,
    /// Latest date among its facts.
    pub time: Option<Moment>,
    /// Filter and sensor from the facts up to and including this visit.
    pub filter: FilterState,
    /// Most probable fault set then and its probability.
    pub faults: Vec<(Option<facts::FaultId>, f64)>,
    /// Change without a row since the visit before; none for the first.
    pub unrecorded_change: Option<UnrecordedChange>,
    /// Probability that less than 1 g/L of soot was left, where a regeneration belongs to the visit.
    pub regeneration_complete: Option<f64>,
    /// Proof, where the visit has readings from before and after its work.
    pub proof: Option<Proof>,
}

/// A car's life, visit by visit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Life {
    /// The visits, earliest first.
    pub visits: Vec<VisitAnswer>,
    /// Change without a row in the last gap between visits; none where there is but one visit.
    pub unrecorded_change: Option<UnrecordedChange>,
}

/// Effort at a visit that others follow.
const ON_THE_WAY: Effort = Effort { first: 400, second: 600, rounds: 2, enough: 100.0, draws: 1500 };
/// Effort for the ways that are less likely from the start.
const ASIDE: Effort = Effort { first: 250, second: 400, rounds: 1, enough: 50.0, draws: 600 };
/// A complete regeneration leaves less than this, g/L.
const COMPLETE_BELOW: f64 = 1.0;

/// Assesses a life: the evidence of each visit, earliest first, as [`facts::visits::of`] parts it.
/// `None` for no visits.
#[must_use]
pub fn assess(visits: &[Evidence]) -> Option<Assessment> {
    assess_with_draws(visits).map(|(a, _)| a)
}

/// Like [`assess`], with the posterior draws of the last visit.
#[must_use]
pub fn assess_with_draws(visits: &[Evidence]) -> Option<(Assessment, Draws)> {
    let stages: Vec<stages::Stage> = visits.iter().enumerate().flat_map(stages::of).collect();
    let evidence: Vec<Evidence> = stages
        .iter()
        .map(|s| Evidence { case: &s.case, ..*visits.get(s.visit).unwrap_or(&visits[0]) })
        .collect();
    let last_stage = stages.len().checked_sub(1)?;
    let network = crate::network::Network::new(visits.first()?.knowledge);
    let mut memory: Option<carry::Memory> = None;
    let mut answers: Vec<VisitAnswer> = Vec::new();
    let mut unrecorded = None;
    for (i, (stage, facts)) in stages.iter().zip(&evidence).enumerate() {
        let last = i == last_stage;
        let additive = additive_side(facts.case, facts.knowledge, true);
        let effort = if last { Effort::FULL } else { ON_THE_WAY };
        let (ways, change) = match &memory {
            None => (carry::fresh(facts, stage.role, &additive, &network, effort), None),
            Some(m) => {
                let between = stages::Gap::between(&stages[i - 1], stage);
                let (ways, change) =
                    carry::onward(m, &between, facts, stage.role, &additive, &network, effort, ASIDE);
                (ways, Some(change))
            }
        };
        // Within one stay nobody changes a part without a row.
        if stage.first_of_visit {
            unrecorded = change;
        }
        if stage.last_of_visit {
            let mut visit = told(stage, &ways, unrecorded);
            if let Some(p) = &mut visit.proof {
                p.regeneration_complete = visit.regeneration_complete;
            }
            answers.push(visit);
        }
        if last {
            let own = visits.get(stage.visit)?;
            let (mut out, draws) = answer(own, &additive, &network, &ways);
            if let Some(v) = answers.last_mut() {
                v.filter = out.filter.clone();
            }
            if let (Some(p), Some(v)) = (&mut out.proof, answers.last()) {
                p.regeneration_complete = v.regeneration_complete;
            }
            if visits.len() > 1 {
                let change = answers.last().and_then(|v| v.unrecorded_change);
                out.life = Some(Life { visits: answers, unrecorded_change: change });
            }
            return Some((out, draws));
        }
        memory = Some(carry::Memory::of(&ways, stage));
    }
    None
}

fn told(stage: &stages::Stage, ways: &Ways, unrecorded_change: Option<UnrecordedChange>) -> VisitAnswer {
    let draws = &ways.draws;
    let all: f64 = draws.weight.iter().sum::<f64>().max(1e-300);
    let below: f64 =
        draws.soot.iter().zip(&draws.weight).filter(|(s, _)| **s < COMPLETE_BELOW).map(|(_, w)| w).sum();
    let (odometer_km, time) = facts::visits::when(&stage.case);
    VisitAnswer {
        odometer_km,
        time,
        filter: crate::assess::filter_state_alone(&ways.list[0].view, draws),
        faults: ways.marginals(),
        unrecorded_change,
        regeneration_complete: stage.burnt.then_some(below / all),
        proof: ways.list[0].view.proof(),
    }
}
