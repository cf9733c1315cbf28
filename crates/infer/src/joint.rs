//! Filter side, additive side and observations as one discrete variable: the fault set.
//!
//! Every set of at most [`MOST`] faults is weighed: its prior, what its filter-side faults make of the readings,
//! what its additive faults make of the balance, and all observations by the network of the knowledge. Every
//! list of the answer is a sum over these sets. A set is left out only where a bound shows that it cannot come
//! within [`NOWHERE`] of the best one.
//!
//! Of several additive faults the one counts in the balance that explains the history best, since the balance
//! takes one fault at a time; the others of the set may have begun yesterday.

use crate::assess::{View, prior_of, prior_of_none};
use crate::assessment::FaultSet;
use crate::balance::{AdditivePrior, Balance, balance};
use crate::circumstances;
use crate::hypothesis::{
    Hypothesis, SECOND_FAULT, enumerate, is_additive, leaves_soot_undoped, of_filter, sets,
};
use crate::network::{MOST, Network, Set};
use crate::observe::Seen;
use crate::posterior::{Draws, Effort, Posterior, posterior};
use facts::case::{Case, ReservoirKind};
use facts::{FaultId, Knowledge};
use std::collections::BTreeMap;

/// Sets that cannot come within this of the best (natural logarithm) are left out.
const NOWHERE: f64 = 18.0;

/// Faults in the sets that steer the search for states of the filter. Larger ones are weighed with the samples
/// that it found.
const SEARCHED: usize = 2;

/// The additive side: its balance and the evidence of each of its faults.
pub(crate) struct Additive {
    pub(crate) balance: Option<Balance>,
    /// Faults with ln weight (prior) and ln evidence of the balance.
    single: Vec<(FaultId, f64, f64)>,
    /// Sets of them, the empty one first.
    sets: Vec<AdditiveSet>,
}

/// Some additive faults together.
struct AdditiveSet {
    faults: Vec<FaultId>,
    /// ln weight: prior of the set times evidence of the balance.
    weight: f64,
    /// Soot burns no better than without additive.
    undoped: bool,
}

impl Additive {
    /// ln weight of one fault alone, of none without.
    pub(crate) fn weight(&self, fault: Option<FaultId>) -> f64 {
        self.single.iter().find(|s| Some(s.0) == fault).map_or(0.0, |s| s.1 + s.2)
    }

    fn new(balance: Option<Balance>, single: Vec<(FaultId, f64, f64)>, has_system: f64) -> Self {
        let of = |f: FaultId| single.iter().find(|s| s.0 == f);
        let faults: Vec<FaultId> = single.iter().map(|s| s.0).collect();
        let more = sets(&faults, MOST, |f| of(f).map_or(0.0, |s| s.1.exp()));
        let none = AdditiveSet { faults: Vec::new(), weight: 0.0, undoped: false };
        let sets = std::iter::once(none)
            .chain(more.into_iter().map(|(faults, log)| {
                let best =
                    faults.iter().filter_map(|f| of(*f)).map(|s| s.2).fold(f64::NEG_INFINITY, f64::max);
                AdditiveSet {
                    // That the car has such a system at all is asked once, not once a fault.
                    weight: log + best - (faults.len() as f64 - 1.0) * has_system.ln(),
                    undoped: faults.iter().any(|f| leaves_soot_undoped(*f)),
                    faults,
                }
            }))
            .collect();
        Self { balance, single, sets }
    }
}

/// `weighed` = with what weighings, counters and levels say; without, the priors alone stand.
pub(crate) fn additive_side(case: &Case, knowledge: &Knowledge, weighed: bool) -> Additive {
    if case.reservoir.kind == Some(ReservoirKind::None) {
        return Additive::new(None, Vec::new(), 1.0);
    }
    let known = case.reservoir != facts::case::Reservoir::default()
        || !case.refill.is_empty()
        || !case.counter_read.is_empty()
        || !case.reservoir_weighed.is_empty()
        || !case.level_read.is_empty();
    // A car of which nothing tells that it doses may well have no additive system at all.
    let has_system = if known { 1.0 } else { 0.35 };
    // Where nothing was weighed, counted or read there is nothing to balance, and every fault fits alike.
    let balance =
        (known && weighed).then(|| balance(case, &AdditivePrior::default(), case.reservoir.reserve_l));
    let evidence: BTreeMap<Option<FaultId>, f64> =
        balance.iter().flat_map(|b| b.log_evidence.iter().copied()).collect();
    let none = evidence.get(&None).copied().unwrap_or(0.0);
    let of = |f: FaultId| evidence.get(&Some(f)).map(|e| e - none);
    let single = FaultId::ALL
        .iter()
        .copied()
        .filter(|&f| is_additive(f))
        .map(|f| {
            use FaultId as F;
            let e = of(f).or_else(|| match f {
                // Faults by which nothing or too little reaches the fuel look alike on the scale.
                F::DoserPumpFailed
                | F::DoserBlocked
                | F::AdditiveWiring
                | F::AdditiveLineAir
                | F::AdditiveLineNotBled
                | F::AdditiveUnitNotCoded => {
                    of(F::AdditiveUnderDosed).map(|e| e.max(of(F::RefuellingNotRecognised).unwrap_or(e)))
                }
                _ => None,
            });
            let prior = knowledge.prior(f) * circumstances::factor(case, f) * has_system;
            (f, prior.max(1e-9).ln(), e.unwrap_or(0.0))
        })
        .collect();
    Additive::new(balance, single, has_system)
}

/// One fault set: a hypothesis of the filter side and a set of additive faults, by their places.
struct Entry {
    filter: usize,
    additive: usize,
    probability: f64,
}

/// Filter side and additive side together: the one discrete variable.
pub(crate) struct Joint {
    pub(crate) hypotheses: Vec<Hypothesis>,
    posterior: Posterior,
    additive: Vec<(Vec<FaultId>, bool)>,
    /// Normalised.
    list: Vec<Entry>,
    /// ln evidence of all facts of the visit.
    pub(crate) log_evidence: f64,
    pub(crate) seen: Seen,
}

impl Joint {
    pub(crate) fn new(
        view: &View,
        additive: &Additive,
        knowledge: &Knowledge,
        network: &Network,
        effort: Effort,
    ) -> Self {
        let none = prior_of_none(knowledge);
        let weight = |f| {
            let by_distance = if f == FaultId::AshFull { view.priors.full_of_ash() } else { 1.0 };
            let seen_before =
                view.priors.carried.as_ref().and_then(|c| c.factor.get(&f).copied()).unwrap_or(1.0);
            (prior_of(view.case, f, knowledge) * by_distance * seen_before).max(1e-7)
        };
        let seen = view.seen(knowledge);
        let answers = network.answers(seen.answers.iter().map(|(o, yes)| (o.as_str(), *yes)));
        let needed = network.needed(answers);
        let told = |set: &[FaultId]| {
            network.log_likelihood(Set::of(set), answers, &needed) + seen.which_codes(set, knowledge)
        };
        let most_told = seen.which_codes_at_most(knowledge);

        let mut hypotheses = enumerate(weight, none, SEARCHED);
        let mut told_of: Vec<f64> = hypotheses.iter().map(|h| told(&h.faults)).collect();
        let by_faults: BTreeMap<&[FaultId], f64> =
            hypotheses.iter().map(|h| &h.faults[..]).zip(told_of.iter().copied()).collect();
        let extra = |h: &Hypothesis| by_faults[&h.faults[..]];
        let (p, signs) = (&view.priors, &view.signs);
        let mut posterior = posterior(&hypotheses, p, &view.data, signs, &view.standard, &extra, effort);
        let best = posterior.log_weight.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max);

        let larger = sets(&of_filter(), MOST, weight).into_iter().filter(|(set, _)| set.len() > SEARCHED);
        for (faults, log_prior) in larger {
            let h = Hypothesis::of(faults, log_prior);
            if posterior.at_most(&h, p, signs, most_told) < best - NOWHERE {
                continue;
            }
            let log = told(&h.faults);
            if posterior.at_most(&h, p, signs, log) < best - NOWHERE {
                continue;
            }
            posterior.also(&h, p, signs, log);
            told_of.push(log);
            hypotheses.push(h);
        }

        let mut joint: Vec<(usize, usize, f64)> = Vec::new();
        for (i, (h, own)) in hypotheses.iter().zip(&told_of).enumerate() {
            for (k, a) in additive.sets.iter().enumerate() {
                let base = posterior.log_weight[i][usize::from(a.undoped)];
                if a.faults.is_empty() {
                    joint.push((i, k, base));
                    continue;
                }
                if h.faults.len() + a.faults.len() > MOST {
                    // Sets come by size: all that follow are as large.
                    break;
                }
                // No fault on the filter side: its weight is that of none at all.
                let prior = a.weight + if h.faults.is_empty() { -none.ln() } else { SECOND_FAULT.ln() };
                if base - own + prior + most_told < best - NOWHERE {
                    continue;
                }
                let observed = told(&together(&h.faults, &a.faults)) - own;
                joint.push((i, k, base + observed + prior));
            }
        }
        let top = joint.iter().map(|j| j.2).fold(f64::NEG_INFINITY, f64::max);
        let total: f64 = joint.iter().map(|j| (j.2 - top).exp()).sum();
        // The prior weights of the fault sets need not add up to one; evidence is per unit of prior.
        let searched = hypotheses.iter().filter(|h| h.faults.len() <= SEARCHED);
        let prior: f64 = searched.map(|h| h.log_prior.exp()).sum();
        let log_evidence = top + total.ln() - prior.ln() - posterior.flattened;
        let share = |log: f64| if total > 0.0 { (log - top).exp() / total } else { 0.0 };
        let list = joint
            .into_iter()
            .map(|(filter, additive, log)| Entry { filter, additive, probability: share(log) })
            .collect();
        let additive = additive.sets.iter().map(|a| (a.faults.clone(), a.undoped)).collect();
        Self { hypotheses, posterior, additive, list, log_evidence, seen }
    }

    fn set(&self, e: &Entry) -> Vec<FaultId> {
        together(&self.hypotheses[e.filter].faults, &self.additive[e.additive].0)
    }

    /// Fault sets by probability; what lies below one in ten thousand is kept so that the sum is one.
    pub(crate) fn fault_sets(&self) -> Vec<FaultSet> {
        let mut out: Vec<FaultSet> = self
            .list
            .iter()
            .filter(|e| e.probability > 0.0)
            .map(|e| FaultSet { faults: self.set(e), probability: e.probability })
            .collect();
        out.sort_by(|x, y| y.probability.total_cmp(&x.probability).then_with(|| x.faults.cmp(&y.faults)));
        out
    }

    /// Probability of no fault and of each fault, alone or with others, the most probable first.
    pub(crate) fn marginals(&self) -> Vec<(Option<FaultId>, f64)> {
        let mut sum: BTreeMap<Option<FaultId>, f64> =
            FaultId::ALL.iter().map(|f| (Some(*f), 0.0)).chain([(None, 0.0)]).collect();
        for e in &self.list {
            let faults = self.hypotheses[e.filter].faults.iter().chain(&self.additive[e.additive].0);
            let mut none = true;
            for f in faults {
                none = false;
                *sum.entry(Some(*f)).or_default() += e.probability;
            }
            if none {
                *sum.entry(None).or_default() += e.probability;
            }
        }
        sorted(sum)
    }

    /// No additive fault, or which; of several in one set each counts in equal parts, so that it adds up to one.
    pub(crate) fn additive_marginals(&self) -> Vec<(Option<FaultId>, f64)> {
        let mut sum: BTreeMap<Option<FaultId>, f64> =
            self.additive.iter().flat_map(|a| &a.0).map(|f| (Some(*f), 0.0)).chain([(None, 0.0)]).collect();
        for e in &self.list {
            let faults = &self.additive[e.additive].0;
            for f in faults {
                *sum.entry(Some(*f)).or_default() += e.probability / faults.len() as f64;
            }
            if faults.is_empty() {
                *sum.entry(None).or_default() += e.probability;
            }
        }
        sorted(sum)
    }

    pub(crate) fn entropy(&self) -> f64 {
        self.list.iter().map(|e| e.probability).filter(|p| *p > 0.0).map(|p| -p * p.ln()).sum()
    }

    pub(crate) fn draws(&self, view: &View) -> Draws {
        let mut of_filter = vec![(0.0, 0.0); self.hypotheses.len()];
        for e in &self.list {
            of_filter[e.filter].0 += e.probability;
            if self.additive[e.additive].1 {
                of_filter[e.filter].1 += e.probability;
            }
        }
        let undoped = |i: usize| if of_filter[i].0 > 0.0 { of_filter[i].1 / of_filter[i].0 } else { 0.0 };
        // Weights by the joint, not by the filter side alone: observations of additive faults count too.
        let joint = |i: usize| of_filter[i].0;
        self.posterior.draws(&self.hypotheses, &view.priors, &view.data, &undoped, &joint)
    }

    /// Evidence of signs and pressure of hypothesis `i` (natural logarithms).
    pub(crate) fn parts(&self, i: usize) -> (f64, f64) {
        self.posterior.log_parts[i]
    }

    /// Effective sample size.
    pub(crate) fn effective(&self) -> f64 {
        self.posterior.effective
    }
}

fn together(a: &[FaultId], b: &[FaultId]) -> Vec<FaultId> {
    let mut set = [a, b].concat();
    set.sort_unstable();
    set
}

fn sorted(sum: BTreeMap<Option<FaultId>, f64>) -> Vec<(Option<FaultId>, f64)> {
    let mut out: Vec<_> = sum.into_iter().collect();
    out.sort_by(|x, y| y.1.total_cmp(&x.1).then(x.0.cmp(&y.0)));
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::{Prior, normalised};
    use facts::case::Role;

    fn joint_of(observations: &[(&str, bool)]) -> (Case, Joint, Network) {
        let rows: String = observations
            .iter()
            .map(|(id, yes)| {
                format!("[[observation]]\nid = \"{id}\"\nanswer = \"{}\"\n", if *yes { "yes" } else { "no" })
            })
            .collect();
        let text = format!(
            "schema = \"sootwright.case/1\"\n[car]\ncategory = \"M1\"\n[reservoir]\nkind = \"pouch\"\n{rows}"
        );
        let case = facts::load_case(&text, "test").unwrap_or_else(|e| panic!("{e:?}"));
        let knowledge = Knowledge::built_in();
        let network = Network::new(knowledge);
        let evidence = crate::Evidence { case: &case, recordings: &[], knowledge };
        let view = View::new(&evidence, Role::Now);
        let joint =
            Joint::new(&view, &additive_side(&case, knowledge, false), knowledge, &network, Effort::PRIOR);
        drop(view);
        (case, joint, network)
    }

    const SEVERAL: [(&str, bool); 6] = [
        ("dp_key_on_offset", true),
        ("pouch_leak_visible", true),
        ("reservoir_below_minimum", true),
        ("counter_disagrees_with_measured_level", true),
        ("egr_or_airflow_off_target", true),
        ("dp_2500_high", false),
    ];

    #[test]
    fn reference_the_list_is_that_of_the_network_alone_with_the_state_as_a_factor() {
        // The other way round: the network enumerates every set of its faults with one plain prior, and the
        // evidence of the state enters as a factor. A prior counted twice, or a set left out, would show.
        let (case, joint, network) = joint_of(&SEVERAL);
        let knowledge = Knowledge::built_in();
        let none = prior_of_none(knowledge);
        let full_of_ash = crate::prior::Priors::new(&case, &[], false).full_of_ash();
        let prior = Prior {
            none,
            single: FaultId::ALL
                .iter()
                .map(|f| {
                    let ash = if *f == FaultId::AshFull { full_of_ash } else { 1.0 };
                    (prior_of(&case, *f, knowledge) * ash).max(1e-7)
                })
                .collect(),
            further: SECOND_FAULT,
        };
        let answers = network.answers(SEVERAL);
        let place: BTreeMap<Vec<FaultId>, usize> =
            joint.hypotheses.iter().enumerate().map(|(i, h)| (h.faults.clone(), i)).collect();
        let state = |set: Set| {
            let faults = set.faults();
            let (additive, filter): (Vec<FaultId>, Vec<FaultId>) =
                faults.into_iter().partition(|f| is_additive(*f));
            let undoped = additive.iter().any(|f| leaves_soot_undoped(*f));
            place.get(&filter).map_or(f64::NEG_INFINITY, |&i| {
                let w = joint.posterior.log_weight[i];
                joint.posterior.log_parts[i].1 + w[usize::from(undoped)] - w[0]
            })
        };
        let want = network.enumerate(FaultId::ALL, MOST, &prior, answers, state);
        let got = joint.fault_sets();
        let of = |set: Set| got.iter().find(|s| Set::of(&s.faults) == set).map_or(0.0, |s| s.probability);
        let n = FaultId::ALL.len();
        assert_eq!(want.len(), 1 + n + n * (n - 1) / 2 + n * (n - 1) * (n - 2) / 6);
        for m in want.iter().filter(|m| m.p > 1e-7) {
            assert!((of(m.set) / m.p - 1.0).abs() < 1e-4, "{:?}: {} {}", m.set.faults(), of(m.set), m.p);
        }
        // Leaving sets out leaves next to nothing out.
        let listed = normalised(want.iter().map(|m| (m.set, m.p.ln())).collect());
        let missed: f64 = listed.iter().filter(|m| of(m.set) == 0.0).map(|m| m.p).sum();
        assert!(missed < 1e-4, "{missed}");
    }

    #[test]
    fn property_several_additive_faults_and_three_at_once_are_weighed() {
        let (_, joint, _) = joint_of(&SEVERAL);
        let sets = joint.fault_sets();
        let most = |size: usize, additive: usize| {
            sets.iter()
                .filter(|s| s.faults.len() == size)
                .filter(|s| s.faults.iter().filter(|f| is_additive(**f)).count() == additive)
                .map(|s| s.probability)
                .fold(0.0, f64::max)
        };
        // A shifted zero, an engine fault and a leaking pouch together tell what was seen.
        assert!(most(3, 1) > 1e-3, "{:?}", &sets[..5]);
        assert!(most(2, 2) > 0.0 && most(3, 2) > 0.0 && most(3, 3) > 0.0 && most(3, 0) > 0.0);
        assert!((sets.iter().map(|s| s.probability).sum::<f64>() - 1.0).abs() < 1e-9);
        assert!((joint.additive_marginals().iter().map(|f| f.1).sum::<f64>() - 1.0).abs() < 1e-9);
    }
}
