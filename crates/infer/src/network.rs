//! Faults and observations as one network: fault sets enumerated exactly, observations by noisy-OR.
//!
//! The prior over fault sets is that of independent faults seen through a door: a car with no fault comes
//! in less often than one with a fault. So the weight of a set is the product of the odds of its faults,
//! and the empty set has a weight of its own; a pair weighs [`SECOND_FAULT`] times the product of its two
//! singles, a triple the square of that times the product of three.
//!
//! Evidence that is no yes or no (pressure readings, recordings, the additive balance) enters as a factor
//! per fault set, so that there is one joint list and every marginal is a sum over it.
//!
//! Valid for sets of at most [`MOST`] faults. Observations are independent given the fault set except where
//! they are states of one reading (one at most is *yes*) or share a mechanism of the knowledge; a mechanism
//! keeps each observation's own probability and ties them together by one draw.

use crate::hypothesis::SECOND_FAULT;
use facts::{FaultId, Knowledge};
use std::collections::BTreeMap;

/// Largest count of faults in a set.
pub const MOST: usize = 3;

/// A slip of the hand or of the reader is always possible: one answer in a hundred of each kind (expert
/// guess). A reading with n states has this shared among them and *none of them*.
pub const SLIP: f64 = 0.02;

/// A fault set, one bit per fault in the order of [`FaultId::ALL`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Set(u64);

impl Set {
    /// No fault.
    pub const NONE: Self = Self(0);

    /// The set of these faults.
    #[must_use]
    pub fn of(faults: &[FaultId]) -> Self {
        faults.iter().fold(Self::NONE, |s, f| s.with(*f as usize))
    }
    /// The set with the fault of this number as well.
    #[must_use]
    pub fn with(self, fault: usize) -> Self {
        Self(self.0 | 1 << (fault & 63))
    }
    /// The set without the fault of this number.
    #[must_use]
    pub fn without(self, fault: usize) -> Self {
        Self(self.0 & !(1 << (fault & 63)))
    }
    /// Whether the fault of this number is in it.
    #[must_use]
    pub fn has(self, fault: usize) -> bool {
        self.0 & (1 << (fault & 63)) != 0
    }
    /// Whether it is empty.
    #[must_use]
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }
    /// Count of faults.
    #[must_use]
    pub fn len(self) -> usize {
        self.0.count_ones() as usize
    }
    /// Numbers of its faults, ascending.
    pub fn iter(self) -> impl Iterator<Item = usize> {
        let mut left = self.0;
        std::iter::from_fn(move || {
            (left != 0).then(|| {
                let f = left.trailing_zeros() as usize;
                left &= left - 1;
                f
            })
        })
    }
    /// Its faults.
    #[must_use]
    pub fn faults(self) -> Vec<FaultId> {
        self.iter().filter_map(|f| FaultId::ALL.get(f).copied()).collect()
    }
}

/// How an observation hangs together with others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Bond {
    /// With none.
    Free,
    /// States of one reading.
    Exclusive(usize),
    /// One mechanism.
    Mechanism(usize),
}

/// Observations that hang together, by their numbers.
#[derive(Debug, Clone)]
struct Bundle {
    members: Vec<usize>,
    /// Probability that one draw decides all (mechanisms only).
    together: f64,
}

/// The knowledge as plain tables, by number of fault and of observation.
#[derive(Debug, Clone)]
pub struct Network {
    names: Vec<String>,
    number: BTreeMap<String, usize>,
    background: Vec<f64>,
    /// Probability of each observation in a sound car.
    sound: Vec<f64>,
    /// By fault and observation.
    table: Vec<Vec<f64>>,
    overrides: Vec<Vec<bool>>,
    bond: Vec<Bond>,
    exclusive: Vec<Bundle>,
    mechanism: Vec<Bundle>,
}

/// Weights of fault sets before any fact: relative, not normalised.
#[derive(Debug, Clone, PartialEq)]
pub struct Prior {
    /// Weight of the empty set.
    pub none: f64,
    /// Weight of each fault alone, by number.
    pub single: Vec<f64>,
    /// Weight of a further fault over that of a first one.
    pub further: f64,
}

impl Prior {
    /// The prior of the knowledge among cars that come with a complaint.
    #[must_use]
    pub fn new(knowledge: &Knowledge) -> Self {
        Self {
            none: knowledge.prior_none(),
            single: FaultId::ALL.iter().map(|f| knowledge.prior(*f)).collect(),
            further: SECOND_FAULT,
        }
    }

    /// Logarithm of the weight of a set.
    #[must_use]
    pub fn log_weight(&self, set: Set) -> f64 {
        if set.is_empty() {
            return self.none.ln();
        }
        let of = |f: usize| self.single.get(f).copied().unwrap_or(0.0).ln();
        set.iter().map(of).sum::<f64>() + (set.len() - 1) as f64 * self.further.ln()
    }
}

/// One fault set with its probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Member {
    /// The set.
    pub set: Set,
    /// Its probability.
    pub p: f64,
}

/// Largest count of observations a knowledge may hold.
pub const OBSERVATIONS: usize = facts::knowledge::MOST_OBSERVATIONS;

/// Answers by number of observation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Answers {
    known: u128,
    yes: u128,
}

impl Answers {
    /// No answer.
    pub const NONE: Self = Self { known: 0, yes: 0 };

    fn bit(observation: usize) -> u128 {
        if observation < OBSERVATIONS { 1 << observation } else { 0 }
    }
    /// The answer to an observation.
    #[must_use]
    pub fn get(self, observation: usize) -> Option<bool> {
        let bit = Self::bit(observation);
        (self.known & bit != 0).then_some(self.yes & bit != 0)
    }
    /// The same with one more answer, or with another answer.
    #[must_use]
    pub fn with(mut self, observation: usize, yes: bool) -> Self {
        let bit = Self::bit(observation);
        self.known |= bit;
        self.yes = if yes { self.yes | bit } else { self.yes & !bit };
        self
    }
    /// Answers by number, ascending.
    pub fn iter(self) -> impl Iterator<Item = (usize, bool)> {
        let mut left = self.known;
        std::iter::from_fn(move || {
            (left != 0).then(|| {
                let o = left.trailing_zeros() as usize;
                left &= left - 1;
                (o, self.yes & 1 << o != 0)
            })
        })
    }
    /// How many there are.
    #[must_use]
    pub fn len(self) -> usize {
        self.known.count_ones() as usize
    }
    /// Whether there is none.
    #[must_use]
    pub fn is_empty(self) -> bool {
        self.known == 0
    }
}

impl FromIterator<(usize, bool)> for Answers {
    fn from_iter<I: IntoIterator<Item = (usize, bool)>>(answers: I) -> Self {
        answers.into_iter().fold(Self::NONE, |a, (o, yes)| a.with(o, yes))
    }
}

impl Network {
    /// The knowledge as a network.
    #[must_use]
    pub fn new(knowledge: &Knowledge) -> Self {
        let observations = knowledge.observations();
        let names: Vec<String> = observations.iter().map(|o| o.id.clone()).collect();
        let number: BTreeMap<String, usize> = names.iter().cloned().zip(0..).collect();
        let mut bond = vec![Bond::Free; names.len()];
        let mut mechanism = Vec::new();
        for m in knowledge.mechanisms() {
            let members: Vec<usize> = m.observations.iter().filter_map(|o| number.get(o).copied()).collect();
            for &o in &members {
                bond[o] = Bond::Mechanism(mechanism.len());
            }
            mechanism.push(Bundle { members, together: m.together });
        }
        let mut groups: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for (i, o) in observations.iter().enumerate() {
            if let Some(g) = o.exclusive_group.as_deref() {
                groups.entry(g).or_default().push(i);
            }
        }
        let mut exclusive = Vec::new();
        for members in groups.into_values() {
            for &o in &members {
                bond[o] = Bond::Exclusive(exclusive.len());
            }
            exclusive.push(Bundle { members, together: 0.0 });
        }
        for m in &mut mechanism {
            // States of one reading are bound already, and more tightly.
            m.members.retain(|&o| !matches!(bond[o], Bond::Exclusive(_)));
        }
        let row = |f: &FaultId| names.iter().map(|o| knowledge.probability(*f, o)).collect();
        let over = |f: &FaultId| {
            names.iter().map(|o| knowledge.likelihood(*f, o).is_some_and(|l| l.overrides)).collect()
        };
        Self {
            background: observations.iter().map(|o| o.background).collect(),
            sound: names.iter().map(|o| knowledge.probability_none(o)).collect(),
            table: FaultId::ALL.iter().map(row).collect(),
            overrides: FaultId::ALL.iter().map(over).collect(),
            bond,
            exclusive,
            mechanism,
            names,
            number,
        }
    }

    /// A network from plain tables: probability of *yes* in a sound car, and by fault; the background is
    /// that of the sound car. No observation hangs together with another. For networks of one's own
    /// making, smaller than the trade's.
    ///
    /// # Errors
    /// What does not fit: more than 64 faults or [`OBSERVATIONS`] observations, rows of unequal length,
    /// probabilities outside of 0 to 1.
    pub fn plain(sound: Vec<f64>, table: Vec<Vec<f64>>) -> Result<Self, String> {
        if table.len() > 64 || sound.len() > OBSERVATIONS {
            return Err(format!("{} faults and {} observations are too many", table.len(), sound.len()));
        }
        if let Some(i) = table.iter().position(|row| row.len() != sound.len()) {
            return Err(format!("the row of fault {i} has not {} numbers", sound.len()));
        }
        if let Some(p) = table.iter().flatten().chain(&sound).find(|p| !(0.0..=1.0).contains(*p)) {
            return Err(format!("{p} is no probability"));
        }
        let names: Vec<String> = (0..sound.len()).map(|o| format!("observation {o}")).collect();
        Ok(Self {
            number: names.iter().cloned().zip(0..).collect(),
            bond: vec![Bond::Free; names.len()],
            overrides: vec![vec![false; names.len()]; table.len()],
            background: sound.clone(),
            sound,
            table,
            exclusive: Vec::new(),
            mechanism: Vec::new(),
            names,
        })
    }

    /// Identifiers of the observations, by number.
    #[must_use]
    pub fn observations(&self) -> &[String] {
        &self.names
    }

    /// The number of an observation.
    #[must_use]
    pub fn number(&self, observation: &str) -> Option<usize> {
        self.number.get(observation).copied()
    }

    /// Answers of a case by number; what the knowledge does not know is left out.
    #[must_use]
    pub fn answers<'a>(&self, given: impl IntoIterator<Item = (&'a str, bool)>) -> Answers {
        given.into_iter().filter_map(|(id, yes)| Some((self.number(id)?, yes))).collect()
    }

    /// Observations that are states of the same reading as this one, itself included.
    #[must_use]
    pub fn states_of(&self, observation: usize) -> &[usize] {
        match self.bond.get(observation) {
            Some(Bond::Exclusive(g)) => &self.exclusive[*g].members,
            _ => &[],
        }
    }

    /// Probability of *yes* for every observation under a set, each taken alone, slips included.
    #[must_use]
    pub fn row(&self, set: Set) -> Vec<f64> {
        let all: Vec<usize> = (0..self.names.len()).collect();
        self.part_of_row(set, &all)
    }

    /// The same for some observations only, among which all states of a reading are that is there at all; the
    /// others hold nought.
    fn part_of_row(&self, set: Set, wanted: &[usize]) -> Vec<f64> {
        let mut p = vec![0.0; self.names.len()];
        for &o in wanted {
            p[o] = self.noisy_or(set, o);
        }
        for &o in wanted {
            match self.bond[o] {
                Bond::Exclusive(g) => {
                    let members = &self.exclusive[g].members;
                    if members.first() != Some(&o) {
                        continue;
                    }
                    let sum: f64 = members.iter().map(|&o| p[o]).sum();
                    for &o in members {
                        p[o] = (1.0 - SLIP) * p[o] / sum.max(1.0) + SLIP / (members.len() + 1) as f64;
                    }
                }
                _ => p[o] = (1.0 - SLIP) * p[o].clamp(0.0, 1.0) + 0.5 * SLIP,
            }
        }
        p
    }

    /// Observations that the probability of these answers needs: themselves, and the other states of a reading.
    #[must_use]
    pub fn needed(&self, answers: Answers) -> Vec<usize> {
        let mut out: Vec<usize> = answers.iter().map(|(o, _)| o).collect();
        for (o, _) in answers.iter() {
            out.extend(self.states_of(o));
        }
        out.sort_unstable();
        out.dedup();
        out
    }

    /// Logarithm of the probability of all answers under a set; `needed` as [`Network::needed`] gives it.
    #[must_use]
    pub fn log_likelihood(&self, set: Set, answers: Answers, needed: &[usize]) -> f64 {
        if answers.is_empty() {
            return 0.0;
        }
        self.likelihood(&self.part_of_row(set, needed), answers).max(1e-300).ln()
    }

    fn noisy_or(&self, set: Set, o: usize) -> f64 {
        match set.len() {
            0 => return self.sound[o],
            1 => return set.iter().map(|f| self.table[f][o]).sum(),
            _ => {}
        }
        let over = set.iter().filter(|&f| self.overrides[f][o]).fold(Set::NONE, Set::with);
        let deciding = if over.is_empty() { set } else { over };
        if deciding.len() == 1 {
            return deciding.iter().map(|f| self.table[f][o]).sum();
        }
        let background = self.background[o];
        let (mut leak, mut silent) = (background, 1.0);
        for f in deciding.iter() {
            let p = self.table[f][o];
            if p < background {
                leak *= p / background;
            } else {
                silent *= (1.0 - p) / (1.0 - background);
            }
        }
        1.0 - (1.0 - leak) * silent
    }

    /// Probability of all answers under the set whose row this is.
    #[must_use]
    pub fn likelihood(&self, row: &[f64], answers: Answers) -> f64 {
        let mut product = 1.0;
        for (o, yes) in answers.iter() {
            product *= match self.bond[o] {
                Bond::Free => side(row[o], yes),
                Bond::Exclusive(g) => {
                    let members = &self.exclusive[g].members;
                    if first_answered(members, answers) != Some(o) {
                        continue;
                    }
                    states(row, members, answers)
                }
                Bond::Mechanism(m) => {
                    let bundle = &self.mechanism[m];
                    if first_answered(&bundle.members, answers) != Some(o) {
                        continue;
                    }
                    tied(row, bundle, answers)
                }
            };
        }
        product
    }

    /// Probability of *yes* for one more observation, given the answers so far.
    #[must_use]
    pub fn next_yes(&self, row: &[f64], answers: Answers, o: usize) -> f64 {
        match self.bond[o] {
            Bond::Free => row[o],
            Bond::Exclusive(g) => {
                let members = &self.exclusive[g].members;
                if members.iter().any(|&m| answers.get(m) == Some(true)) {
                    return 0.0;
                }
                let ruled_out: f64 =
                    members.iter().filter(|&&m| answers.get(m).is_some()).map(|&m| row[m]).sum();
                (row[o] / (1.0 - ruled_out).max(1e-12)).min(1.0)
            }
            Bond::Mechanism(m) => {
                let bundle = &self.mechanism[m];
                if first_answered(&bundle.members, answers).is_none() {
                    return row[o];
                }
                let known = |x: usize| answers.get(x);
                let before = tied_by(row, bundle, known);
                let both = tied_by(row, bundle, |x| if x == o { Some(true) } else { known(x) });
                (both / before.max(1e-300)).clamp(0.0, 1.0)
            }
        }
    }

    /// Every set of at most `most` of the given faults with its probability, given answers and a factor
    /// per set (a logarithm) for all other evidence. Probabilities add up to 1; the most probable first.
    #[must_use]
    pub fn enumerate(
        &self,
        faults: &[FaultId],
        most: usize,
        prior: &Prior,
        answers: Answers,
        log_factor: impl Fn(Set) -> f64,
    ) -> Vec<Member> {
        let numbers: Vec<usize> = faults.iter().map(|f| *f as usize).collect();
        let mut sets = vec![Set::NONE];
        let mut last: Vec<(Set, usize)> = vec![(Set::NONE, 0)];
        for _ in 0..most.min(MOST) {
            last = last
                .iter()
                .flat_map(|&(s, from)| {
                    numbers.iter().enumerate().skip(from).map(move |(i, &f)| (s.with(f), i + 1))
                })
                .collect();
            sets.extend(last.iter().map(|l| l.0));
        }
        let log_weight = |&set: &Set| {
            let told = self.likelihood(&self.row(set), answers).max(1e-300).ln();
            prior.log_weight(set) + told + log_factor(set)
        };
        normalised(sets.iter().map(|s| (*s, log_weight(s))).collect())
    }
}

/// Sets with logarithms of weights as probabilities, the most probable first.
#[must_use]
pub fn normalised(weighed: Vec<(Set, f64)>) -> Vec<Member> {
    let top = weighed.iter().map(|w| w.1).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = weighed.iter().map(|w| (w.1 - top).exp()).sum();
    let mut out: Vec<Member> = weighed
        .into_iter()
        .map(|(set, w)| Member { set, p: if total > 0.0 { (w - top).exp() / total } else { 0.0 } })
        .collect();
    out.sort_by(|a, b| b.p.total_cmp(&a.p).then(a.set.cmp(&b.set)));
    out
}

/// Probability of each fault, by number: sums over the one list of sets.
#[must_use]
pub fn marginals(sets: &[Member]) -> Vec<f64> {
    let mut out = vec![0.0; FaultId::ALL.len()];
    for m in sets {
        for f in m.set.iter() {
            if let Some(p) = out.get_mut(f) {
                *p += m.p;
            }
        }
    }
    out
}

fn side(p: f64, yes: bool) -> f64 {
    if yes { p } else { 1.0 - p }
}

fn first_answered(members: &[usize], answers: Answers) -> Option<usize> {
    members.iter().copied().filter(|m| answers.get(*m).is_some()).min()
}

/// States of one reading: a *yes* decides, several *no* leave the rest.
fn states(row: &[f64], members: &[usize], answers: Answers) -> f64 {
    let mut left = 1.0;
    for &m in members {
        match answers.get(m) {
            Some(true) => return row[m],
            Some(false) => left -= row[m],
            None => {}
        }
    }
    f64::max(left, 1e-12)
}

fn tied(row: &[f64], bundle: &Bundle, answers: Answers) -> f64 {
    tied_by(row, bundle, |o| answers.get(o))
}

/// One draw u decides all with probability `together` (*yes* where u < p), otherwise each its own.
fn tied_by(row: &[f64], bundle: &Bundle, answer: impl Fn(usize) -> Option<bool>) -> f64 {
    let (mut alone, mut below, mut above) = (1.0, 1.0, 0.0);
    for &o in &bundle.members {
        match answer(o) {
            Some(true) => {
                alone *= row[o];
                below = f64::min(below, row[o]);
            }
            Some(false) => {
                alone *= 1.0 - row[o];
                above = f64::max(above, row[o]);
            }
            None => {}
        }
    }
    (1.0 - bundle.together) * alone + bundle.together * f64::max(below - above, 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn network() -> Network {
        Network::new(Knowledge::built_in())
    }

    #[test]
    fn property_rows_are_the_noisy_or_of_the_knowledge() {
        let (n, k) = (network(), Knowledge::built_in());
        let some = [
            vec![],
            vec![FaultId::AshFull],
            vec![FaultId::AshFull, FaultId::HoseOffUpstream],
            vec![FaultId::ZeroError, FaultId::SootShortTrips, FaultId::AdditiveEmpty],
            vec![FaultId::SensorFrozen, FaultId::HoseOffUpstream, FaultId::AshFull],
        ];
        for faults in some {
            let row = n.row(Set::of(&faults));
            for (o, id) in n.observations().iter().enumerate() {
                let states = n.states_of(o).len().max(1);
                let plain = (row[o] - SLIP / (states + 1) as f64) / (1.0 - SLIP);
                let want = k.probability_given_set(&faults, id);
                assert!((plain - want).abs() < 1e-9, "{faults:?} {id}: {plain} {want}");
            }
        }
    }

    #[test]
    fn property_answers_need_no_more_of_a_row_than_they_touch() {
        let n = network();
        let ids = ["dp_2500_high", "dp_recovers_after_regen", "regen_history_interrupted", "dtc_air_path"];
        let answers = n.answers(ids.iter().enumerate().map(|(i, id)| (*id, i % 2 == 0)));
        assert_eq!(answers.len(), ids.len());
        let needed = n.needed(answers);
        for faults in [vec![], vec![FaultId::AshFull], vec![FaultId::HoseBlocked, FaultId::EgrStuckOpen]] {
            let set = Set::of(&faults);
            let whole = n.likelihood(&n.row(set), answers).ln();
            assert!((n.log_likelihood(set, answers, &needed) - whole).abs() < 1e-12, "{faults:?}");
        }
    }

    #[test]
    fn analytic_probabilities_of_all_answers_to_a_bundle_add_up_to_one() {
        let n = network();
        let row = n.row(Set::of(&[FaultId::AdditiveEmpty, FaultId::SubstrateCracked]));
        for bundle in n.mechanism.iter().chain(&n.exclusive) {
            let mut total = 0.0;
            for bits in 0..1_u32 << bundle.members.len() {
                let answers: Answers =
                    bundle.members.iter().enumerate().map(|(i, &o)| (o, bits >> i & 1 == 1)).collect();
                let yes = answers.iter().filter(|a| a.1).count();
                let exclusive = n.exclusive.iter().any(|e| e.members == bundle.members);
                // Two states of one reading cannot both be; the answer is refused elsewhere.
                if !(exclusive && yes > 1) {
                    total += n.likelihood(&row, answers);
                }
            }
            assert!((total - 1.0).abs() < 1e-9, "{total}");
        }
    }

    #[test]
    fn property_chain_rule_of_answers() {
        let n = network();
        for set in
            [Set::NONE, Set::of(&[FaultId::SootShortTrips]), Set::of(&[FaultId::ZeroError, FaultId::AshFull])]
        {
            let row = n.row(set);
            let mut answers = Answers::NONE;
            let mut product = 1.0;
            for (i, o) in (0..n.observations().len()).enumerate() {
                if n.states_of(o).iter().any(|s| answers.get(*s) == Some(true)) {
                    continue;
                }
                let yes = i % 3 == 0;
                product *= side(n.next_yes(&row, answers, o), yes);
                answers = answers.with(o, yes);
                let whole = n.likelihood(&row, answers);
                assert!((product / whole - 1.0).abs() < 1e-9, "{set:?} {o}");
            }
        }
    }

    #[test]
    fn analytic_a_mechanism_makes_the_second_answer_tell_less() {
        // Two observations of p = 0.8 under one set and 0.2 under another. Independent: both yes speak
        // 16 : 1. All by one draw: 0.8 : 0.2 = 4 : 1.
        let bundle = |together| Bundle { members: vec![0, 1], together };
        let both = |_| Some(true);
        let ratio = |t| tied_by(&[0.8, 0.8], &bundle(t), both) / tied_by(&[0.2, 0.2], &bundle(t), both);
        assert!((ratio(0.0) - 16.0_f64).abs() < 1e-9);
        assert!((ratio(1.0) - 4.0_f64).abs() < 1e-9);
        // Half and half by hand: (0.5 * 0.64 + 0.5 * 0.8) / (0.5 * 0.04 + 0.5 * 0.2) = 0.72 / 0.12.
        assert!((ratio(0.5) - 6.0).abs() < 1e-9);
    }

    #[test]
    fn property_enumeration_holds_every_set_once_and_marginals_are_its_sums() {
        let (n, k) = (network(), Knowledge::built_in());
        let faults = &FaultId::ALL[..12];
        let answers = n.answers([("dp_key_on_offset", true), ("dtc_soot_overload", true)]);
        // Other evidence that speaks tenfold for a shifted zero, whatever else is there.
        let factor = |s: Set| if s.has(FaultId::ZeroError as usize) { 10.0_f64.ln() } else { 0.0 };
        let list = n.enumerate(faults, 3, &Prior::new(k), answers, factor);
        assert_eq!(list.len(), 1 + 12 + 66 + 220);
        assert_eq!(list.iter().map(|m| m.set).collect::<BTreeSet<_>>().len(), list.len());
        assert!((list.iter().map(|m| m.p).sum::<f64>() - 1.0).abs() < 1e-12);
        let with = marginals(&list)[FaultId::ZeroError as usize];
        // The factor of ten is in the odds once, not twice.
        let bare =
            marginals(&n.enumerate(faults, 3, &Prior::new(k), answers, |_| 0.0))[FaultId::ZeroError as usize];
        let odds = |p: f64| p / (1.0 - p);
        assert!((odds(with) / odds(bare) - 10.0).abs() < 1e-6);
        // Two factors of evidence in either order give one joint.
        let other = |s: Set| if s.has(FaultId::AdditiveEmpty as usize) { 3.0 } else { -0.2 };
        let once = n.enumerate(faults, 3, &Prior::new(k), answers, |s| factor(s) + other(s));
        let first = n.enumerate(faults, 3, &Prior::new(k), answers, factor);
        let again = normalised(first.iter().map(|m| (m.set, m.p.ln() + other(m.set))).collect());
        for (a, b) in once.iter().zip(&again) {
            assert!(a.set == b.set && (a.p - b.p).abs() < 1e-12);
        }
    }

    #[test]
    fn analytic_prior_without_facts_is_the_knowledge() {
        let (n, k) = (network(), Knowledge::built_in());
        let list = n.enumerate(FaultId::ALL, 1, &Prior::new(k), Answers::NONE, |_| 0.0);
        for m in list {
            let want = m.set.faults().first().map_or(k.prior_none(), |f| k.prior(*f));
            assert!((m.p - want).abs() < 1e-12);
        }
    }
}
