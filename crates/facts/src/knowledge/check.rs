//! What is doubtful about a knowledge that could be read: rows nobody uses, faults nothing tells apart.

use super::{Knowledge, Mark};
use crate::FaultId;
use std::collections::{BTreeMap, BTreeSet};

/// One doubt about the knowledge.
#[derive(Debug, Clone, PartialEq)]
pub enum Doubt {
    /// A set-up that no test and no repair needs.
    SetUpUnused {
        /// The set-up.
        set_up: String,
    },
    /// An observation that no fault moves: it costs minutes and tells nothing.
    ObservationMovesNothing {
        /// The observation.
        observation: String,
    },
    /// A fault that moves no observation at all: nothing can find it.
    FaultWithoutSigns {
        /// The fault.
        fault: FaultId,
    },
    /// A fault without a row on how its repair is done.
    RepairWithoutWork {
        /// The fault.
        fault: FaultId,
    },
    /// A likelihood so close to the background that its row says nothing.
    LikelihoodIsBackground {
        /// The fault.
        fault: String,
        /// The observation.
        observation: String,
    },
    /// A probability so close to 0 or 1 that one slip of the hand would decide everything.
    NearCertain {
        /// The fault.
        fault: String,
        /// The observation.
        observation: String,
        /// The probability.
        p: f64,
    },
    /// Two faults that all observations together hardly tell apart.
    Alike {
        /// One fault.
        a: FaultId,
        /// The other.
        b: FaultId,
        /// Bhattacharyya coefficient over every observation, taken as independent: 1 = the same.
        overlap: f64,
        /// The observation that tells them apart best, where one does at all.
        best: Option<String>,
        /// True where one repair mends both, so that nobody needs to know.
        same_repair: bool,
    },
}

/// Overlap above which two faults count as alike: at 0.6 the better guess between the two, all tests
/// done, is wrong in up to 3 of 10 cars (the error of the best rule is at most half the overlap).
pub const ALIKE: f64 = 0.6;

/// Share of the rows by how far they can be trusted.
#[must_use]
pub fn marks(k: &Knowledge) -> BTreeMap<Mark, usize> {
    let mut out = BTreeMap::new();
    let faults = k.faults().iter().map(|f| f.mark).chain([k.none().mark]);
    let likelihoods = k.likelihoods.values().flat_map(|r| r.values().map(|l| l.mark));
    let rest = k.observations().iter().map(|o| o.mark).chain(k.rates().iter().map(|r| r.mark));
    let acts = k.work.values().map(|w| w.mark).chain(k.mechanisms().iter().map(|m| m.mark));
    for mark in faults.chain(likelihoods).chain(rest).chain(acts).chain(k.rules().iter().map(|r| r.mark)) {
        *out.entry(mark).or_default() += 1;
    }
    out
}

/// Everything doubtful, in the order of the kinds of [`Doubt`].
#[must_use]
pub fn doubts(k: &Knowledge) -> Vec<Doubt> {
    let mut out = Vec::new();
    let mut needed: BTreeSet<&str> = k.observations().iter().filter_map(|o| o.set_up.as_deref()).collect();
    needed.extend(k.work.values().filter_map(|w| w.set_up.as_deref()));
    needed.extend(k.set_ups().iter().filter_map(|s| s.needs.as_deref()));
    for s in k.set_ups().iter().filter(|s| !needed.contains(s.id.as_str())) {
        out.push(Doubt::SetUpUnused { set_up: s.id.clone() });
    }
    let moves = |p: f64, background: f64| (p / background).ln().abs() > 0.2 || (p - background).abs() > 0.1;
    for o in k.observations() {
        if !FaultId::ALL.iter().any(|f| moves(k.probability(*f, &o.id), o.background)) {
            out.push(Doubt::ObservationMovesNothing { observation: o.id.clone() });
        }
    }
    for &f in FaultId::ALL {
        if k.signs(f).is_empty() {
            out.push(Doubt::FaultWithoutSigns { fault: f });
        }
    }
    for &f in FaultId::ALL.iter().filter(|f| k.work(**f).is_none()) {
        out.push(Doubt::RepairWithoutWork { fault: f });
    }
    for (fault, rows) in &k.likelihoods {
        for (observation, l) in rows {
            if (l.p - k.background(observation)).abs() < 1e-9 {
                out.push(Doubt::LikelihoodIsBackground {
                    fault: fault.clone(),
                    observation: observation.clone(),
                });
            }
            if !(0.001..=0.999).contains(&l.p) {
                out.push(Doubt::NearCertain {
                    fault: fault.clone(),
                    observation: observation.clone(),
                    p: l.p,
                });
            }
        }
    }
    for (i, &a) in FaultId::ALL.iter().enumerate() {
        for &b in FaultId::ALL.iter().skip(i + 1) {
            let (overlap, best) = overlap(k, a, b);
            if overlap > ALIKE {
                let same_repair = k.fault(a).repair.action == k.fault(b).repair.action;
                out.push(Doubt::Alike { a, b, overlap, best, same_repair });
            }
        }
    }
    out
}

/// Bhattacharyya coefficient of all observations under two faults, and the one that separates most.
/// States of one exclusive group count as one observation with one more state, *none of them*.
fn overlap(k: &Knowledge, a: FaultId, b: FaultId) -> (f64, Option<String>) {
    let mut groups: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for o in k.observations() {
        groups.entry(o.exclusive_group.as_deref().unwrap_or(&o.id)).or_default().push(&o.id);
    }
    let mut product = 1.0;
    let mut best: (f64, Option<String>) = (0.999, None);
    for members in groups.values() {
        let (mut same, mut rest_a, mut rest_b) = (0.0, 1.0, 1.0);
        let mut widest = (0.0, "");
        for id in members {
            let (p, q) = (k.probability(a, id), k.probability(b, id));
            same += (p * q).sqrt();
            rest_a -= p;
            rest_b -= q;
            if (p - q).abs() >= widest.0 {
                widest = ((p - q).abs(), *id);
            }
        }
        same += (f64::max(rest_a, 0.0) * f64::max(rest_b, 0.0)).sqrt();
        product *= same.min(1.0);
        if same < best.0 {
            best = (same, Some(widest.1.to_owned()));
        }
    }
    (product, best.1)
}
