//! How good the next step is: cars drawn from a network, played through with several ways of choosing
//! steps; and networks small enough for the exact optimum.
//!
//! The car, the answers and the outcomes of repairs are drawn from a `truth`; the steps are chosen with
//! what is `believed`. Where both are one, this shows how good the choosing is if the numbers were true;
//! where the truth is perturbed, what wrong numbers cost.

use facts::{FaultId, Knowledge};
use infer::network::{Answers, Member, Network, Prior, Set};
use infer::next::{Action, Depth, Desk, Player, Refer, RepairCost, SetUpCost, State, TestCost};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::HashMap;
use std::fmt::Write as _;

/// A way of choosing the next step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Repairs in random order, each proven.
    Random,
    /// Questions and codes, then hot readings, then what needs the lift, until one fault set is likelier
    /// than 0.8; then repairs, the likeliest first, each proven.
    Checklist,
    /// Repairs by probability over cost, each proven, no tests; the specialist where that is cheaper.
    Greedy,
    /// The same with a test first wherever one step of look-ahead shows that it pays.
    OneStep,
    /// Repairs in an order that knows of shared set-ups, in blocks between final tests; no tests.
    Clustered,
    /// The most telling test per EUR, while half of the regret that its share of the entropy stands for
    /// is more than it costs; then the clustered order.
    Telling,
    /// Ours with one step of look-ahead, for many cars.
    OursOneStep,
    /// Ours: two steps of look-ahead with the clustered order at the leaves, three where there is little
    /// to look at.
    Ours,
}

impl Way {
    /// All, in the order of the table.
    pub const ALL: [Self; 8] = [
        Self::Random,
        Self::Checklist,
        Self::Greedy,
        Self::OneStep,
        Self::Clustered,
        Self::Telling,
        Self::OursOneStep,
        Self::Ours,
    ];

    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Random => "random order",
            Self::Checklist => "fixed checklist",
            Self::Greedy => "probability over cost",
            Self::OneStep => "one step of look-ahead",
            Self::Clustered => "clusters known, no tests",
            Self::Telling => "most telling test per EUR",
            Self::OursOneStep => "ours, looking one step ahead",
            Self::Ours => "ours",
        }
    }
}

/// Probability over cost: expected cost and first repair. Set-ups are added to each repair that needs them,
/// every repair is proven, and the specialist is called at the cheapest place of the order.
fn greedy(desk: &Desk, state: &State) -> (f64, Action) {
    let sets = state.sets();
    let mut p = vec![0.0; desk.repairs.len()];
    for m in &sets {
        for f in m.set.iter() {
            p[f] += m.p;
        }
    }
    let done = |f: usize| state.has_repaired(f);
    let price = |f: usize| {
        let r = &desk.repairs[f];
        r.eur
            + r.waiting_eur
            + r.harm_eur * (1.0 - p[f])
            + desk.set_up_eur(r.set_ups, state.in_place())
            + desk.final_eur
    };
    let mut order: Vec<usize> = (0..p.len()).filter(|&f| p[f] > 1e-3 && !done(f)).collect();
    let rank = |f: usize| p[f] * desk.repairs[f].works / price(f);
    order.sort_by(|&a, &b| rank(b).total_cmp(&rank(a)).then(a.cmp(&b)));
    // Sets that are fixed by the repair at each place, and what the rest would cost at the specialist.
    let mut left: Vec<(f64, f64)> = Vec::new();
    for k in 0..=order.len() {
        let (mut mass, mut refer) = (0.0, 0.0);
        for m in &sets {
            let all = m.set.iter().all(|f| order[..k].contains(&f));
            let works: f64 = if all { m.set.iter().map(|f| desk.repairs[f].works).product() } else { 0.0 };
            // Nothing left is found out with the first final test only.
            let fixed = if k == 0 { 0.0 } else { works };
            mass += m.p * (1.0 - fixed);
            refer += m.p * (1.0 - fixed) * desk.refer_eur(m.set);
        }
        left.push((mass, refer));
    }
    let mut go = left[order.len()].1;
    let mut first = Action::Refer;
    for k in (0..order.len()).rev() {
        let on = left[k].0 * price(order[k]) + go;
        (go, first) =
            if on < left[k].1 { (on, Action::Repair(order[k])) } else { (left[k].1, Action::Refer) };
    }
    (go, first)
}

fn choose(
    way: Way,
    desk: &Desk,
    player: &Player,
    state: &State,
    pending: bool,
    rng: &mut impl Rng,
) -> Action {
    let proves = !matches!(way, Way::Ours | Way::OursOneStep | Way::Clustered);
    if proves && pending {
        return Action::FinalTest;
    }
    let open = |t: usize| player.open(state, t) && player.allowed(state, Action::Test(t));
    match way {
        Way::Ours | Way::OursOneStep => player.step(state),
        Way::Clustered => player.plan(state).1,
        Way::Telling => {
            let (eur, act, _) = player.plan(state);
            let regret = eur - player.bound(state);
            let entropy: f64 = state.sets().iter().map(|m| -m.p * m.p.ln()).sum();
            let best = (0..desk.tests.len())
                .filter(|&t| open(t))
                .map(|t| (player.information(state, t) / player.eur(state, Action::Test(t)), t))
                .max_by(|a, b| a.0.total_cmp(&b.0));
            match best {
                Some((rate, t)) if 0.5 * rate * regret > entropy => Action::Test(t),
                _ => act,
            }
        }
        Way::Random => {
            let left: Vec<usize> = (0..desk.repairs.len())
                .filter(|&f| !state.has_repaired(f) && player.allowed(state, Action::Repair(f)))
                .collect();
            if left.is_empty() {
                Action::Refer
            } else {
                Action::Repair(left[rng.random_range(0..left.len())])
            }
        }
        Way::Greedy => greedy(desk, state).1,
        Way::OneStep => {
            let (now, act) = greedy(desk, state);
            let mut best = (now, act);
            for t in (0..desk.tests.len()).filter(|&t| open(t)) {
                let mut eur = player.eur(state, Action::Test(t));
                if eur >= best.0 {
                    continue;
                }
                for (_, p, next) in player.outcomes(state, t) {
                    eur += p * greedy(desk, &next).0;
                }
                if eur < best.0 {
                    best = (eur, Action::Test(t));
                }
            }
            best.1
        }
        Way::Checklist => {
            let top = state.sets().into_iter().max_by(|a, b| a.p.total_cmp(&b.p));
            let sure = top.is_some_and(|m| m.p > 0.8);
            let next = checklist(desk).into_iter().find(|&t| open(t));
            match next {
                Some(t) if !sure && !state.any_repaired() => Action::Test(t),
                _ => {
                    let sets = state.sets();
                    let p = |f: usize| sets.iter().filter(|m| m.set.has(f)).map(|m| m.p).sum::<f64>();
                    (0..desk.repairs.len())
                        .filter(|&f| !state.has_repaired(f) && p(f) > 0.02)
                        .max_by(|&a, &b| p(a).total_cmp(&p(b)).then(b.cmp(&a)))
                        .map_or(if state.sound() > 0.5 { Action::FinalTest } else { Action::Refer }, |f| {
                            if state.sound() > p(f) { Action::FinalTest } else { Action::Repair(f) }
                        })
                }
            }
        }
    }
}

/// The order of a checklist: what needs nothing, then what needs the scan session, the hot engine, the lift.
/// What takes longer than 15 minutes or needs a standing regeneration or a night is left out.
fn checklist(desk: &Desk) -> Vec<usize> {
    let rank = |t: &TestCost| {
        let names: Vec<&str> = desk.missing(t.set_ups, 0).map(|s| s.id.as_str()).collect();
        match names.as_slice() {
            [] => Some(0),
            ["scan_session"] => Some(1),
            ["engine_hot"] => Some(2),
            ["lift"] => Some(3),
            _ => None,
        }
    };
    let mut out: Vec<(usize, usize)> = desk
        .tests
        .iter()
        .enumerate()
        .filter(|(_, t)| t.minutes <= 15.0)
        .filter_map(|(i, t)| Some((rank(t)?, i)))
        .collect();
    out.sort_unstable();
    out.into_iter().map(|o| o.1).collect()
}

/// Steps already chosen, by what happened before; the choice depends on nothing else.
type Memory = HashMap<Vec<u32>, Action>;

/// One car from the first step to a fixed car; what it cost, EUR.
#[allow(clippy::too_many_arguments)]
fn play(
    way: Way,
    desk: &Desk,
    player: &Player,
    start: &State,
    truth: &Desk,
    car: Set,
    rng: &mut ChaCha8Rng,
    memory: &mut Memory,
) -> f64 {
    let (mut state, mut real, mut eur) = (start.clone(), car, 0.0);
    let mut history: Vec<u32> = Vec::new();
    let mut pending = false;
    for _ in 0..400 {
        let wanted = match memory.get(&history) {
            Some(a) if way != Way::Random => *a,
            _ => {
                let a = player.gated(&state, choose(way, desk, player, &state, pending, rng));
                let a = if player.allowed(&state, a) { a } else { Action::Refer };
                if history.len() < 12 {
                    memory.insert(history.clone(), a);
                }
                a
            }
        };
        match wanted {
            Action::Test(t) => {
                eur += player.eur(&state, wanted);
                let row = truth.network.row(real);
                let mut answers = state.fresh();
                let mut yes = None;
                for &o in &truth.tests[t].observations {
                    if rng.random::<f64>() < truth.network.next_yes(&row, answers, o) {
                        yes = Some(o);
                        break;
                    }
                    answers = answers.with(o, false);
                }
                state = player.answered(&state, t, yes);
                history.push(1 + 1000 * t as u32 + yes.map_or(0, |o| 1 + o as u32));
            }
            Action::Repair(f) => {
                eur += player.eur(&state, wanted);
                if !real.has(f) {
                    eur += truth.repairs[f].harm_eur;
                } else if rng.random::<f64>() < truth.repairs[f].works {
                    real = real.without(f);
                }
                state = player.repaired(&state, f);
                history.push(1_000_000 + f as u32);
                pending = true;
            }
            Action::FinalTest => {
                eur += truth.final_eur;
                pending = false;
                if real.is_empty() {
                    return eur;
                }
                if rng.random::<f64>() < truth.final_misses {
                    return eur + truth.come_back_eur + truth.refer_eur(real);
                }
                match player.failed(&state) {
                    Some(s) => state = s,
                    // The model was sure that nothing is left, and something is.
                    None => return eur + truth.refer_eur(real),
                }
                history.push(2_000_000);
            }
            Action::Refer => return eur + truth.refer_eur(real),
        }
    }
    eur + truth.refer_eur(real)
}

/// Mean cost of a way over cars, with its standard error.
#[derive(Debug, Clone, Copy)]
pub struct Mean {
    /// EUR.
    pub eur: f64,
    /// Standard error, EUR.
    pub error: f64,
}

fn depth(way: Way) -> Depth {
    if way == Way::OursOneStep { Depth { steps: 1, widen: 0 } } else { Depth::USUAL }
}

/// Plays the same cars with every way. Fault sets are drawn from the truth's prior.
#[must_use]
pub fn race(believed: &Knowledge, truth: &Knowledge, ways: &[Way], cars: usize, seed: u64) -> Vec<Mean> {
    let (desk, real) = (desk(believed), desk(truth));
    let sets = |d: &Desk, k: &Knowledge| {
        d.network.enumerate(FaultId::ALL, 2, &Prior::new(k), Answers::NONE, |_| 0.0)
    };
    let drawn = sets(&real, truth);
    let start_sets = sets(&desk, believed);
    ways.iter()
        .map(|&way| {
            let (player, start) = Player::new(&desk, &start_sets, Answers::NONE, depth(way));
            let mut memory = Memory::new();
            let costs: Vec<f64> = (0..cars)
                .map(|i| {
                    // One seed for a car, whatever the way: the ways meet the same cars.
                    let mut rng =
                        ChaCha8Rng::seed_from_u64(seed.wrapping_mul(1_000_003).wrapping_add(i as u64));
                    let mut u = rng.random::<f64>();
                    let car = drawn
                        .iter()
                        .find(|m| {
                            u -= m.p;
                            u <= 0.0
                        })
                        .map_or(Set::NONE, |m| m.set);
                    play(way, &desk, &player, &start, &real, car, &mut rng, &mut memory)
                })
                .collect();
            mean(&costs)
        })
        .collect()
}

/// The least mean cost that any way could have: every fault set known at once.
#[must_use]
pub fn known_at_once(truth: &Knowledge) -> f64 {
    let d = desk(truth);
    let sets = d.network.enumerate(FaultId::ALL, 2, &Prior::new(truth), Answers::NONE, |_| 0.0);
    sets.iter().map(|m| m.p * d.known_eur(m.set, 0)).sum()
}

fn desk(k: &Knowledge) -> Desk {
    Desk::new(k).unwrap_or_else(|e| panic!("{e}"))
}

fn mean(costs: &[f64]) -> Mean {
    let n = costs.len().max(1) as f64;
    let eur = costs.iter().sum::<f64>() / n;
    let variance = costs.iter().map(|c| (c - eur).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
    Mean { eur, error: (variance / n).sqrt() }
}

/// The knowledge with the odds of every probability and the weight of every prior doubled or halved.
#[must_use]
pub fn perturbed(k: &Knowledge, seed: u64) -> Knowledge {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut twice = move || if rng.random::<bool>() { 2.0 } else { 0.5 };
    let mut odds = move |p: f64| {
        let o = p / (1.0 - p) * twice();
        (o / (1.0 + o)).clamp(2e-4, 0.9998)
    };
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x5eed);
    let mut faults = String::from("schema = \"sootwright.faults/1\"\n");
    for f in k.faults().iter().chain([k.none()]) {
        let by = if rng.random::<bool>() { 2.0 } else { 0.5 };
        let _ = writeln!(faults, "[[fault]]\nid = \"{}\"\nprior_weight = {}", f.id, f.prior_weight * by);
    }
    let mut observations = String::from("schema = \"sootwright.observations/1\"\n");
    for o in k.observations() {
        let _ =
            writeln!(observations, "[[observation]]\nid = \"{}\"\nbackground = {}", o.id, odds(o.background));
    }
    let mut rows = String::from("schema = \"sootwright.likelihoods/1\"\n");
    let ids = FaultId::ALL.iter().map(|f| (f.id(), Some(*f))).chain([("none", None)]);
    for (id, fault) in ids {
        // Probabilities of one fault, made anew; states of one reading are kept below 1 together.
        let mut p: Vec<(&str, f64, bool, Option<&str>)> = k
            .observations()
            .iter()
            .map(|o| {
                let now = fault.map_or_else(|| k.probability_none(&o.id), |f| k.probability(f, &o.id));
                let over = fault.and_then(|f| k.likelihood(f, &o.id)).is_some_and(|l| l.overrides);
                (o.id.as_str(), odds(now), over, o.exclusive_group.as_deref())
            })
            .collect();
        let groups: Vec<&str> = p.iter().filter_map(|x| x.3).collect();
        for g in groups {
            let sum: f64 = p.iter().filter(|x| x.3 == Some(g)).map(|x| x.1).sum();
            for x in p.iter_mut().filter(|x| x.3 == Some(g)) {
                x.1 = (x.1 / (sum * 1.001).max(1.0)).max(1e-4);
            }
        }
        let _ = writeln!(rows, "[likelihood.{id}]");
        for (o, p, over, _) in p {
            let _ = writeln!(
                rows,
                "{o} = {{ p = {p:.6}, mark = \"expert_guess\", reason = \"perturbed\", overrides = {over} }}"
            );
        }
    }
    k.overlay(&[("faults", &faults), ("observations", &observations), ("likelihoods", &rows)])
        .unwrap_or_else(|e| panic!("{e}"))
}

/// A network small enough for the exact optimum: one fault of `faults`, `tests` tests, each action once,
/// two set-ups shared by some tests and repairs, sure repairs, a free and true final test.
#[derive(Debug, Clone)]
pub struct Small {
    desk: Desk,
    prior: Vec<f64>,
}

impl Small {
    /// Draws one. Costs, probabilities and set-ups are drawn anew each time: repairs 20 to 2000 EUR, tests 1
    /// to 60 EUR, set-ups 5 to 60 EUR, each test speaking for one to three of the faults.
    #[must_use]
    pub fn new(faults: usize, tests: usize, seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut log = |lo: f64, hi: f64| lo * (hi / lo).powf(rng.random::<f64>());
        let mut prior: Vec<f64> = (0..faults).map(|_| log(0.02, 1.0)).collect();
        let sum: f64 = prior.iter().sum();
        prior.iter_mut().for_each(|p| *p /= sum);
        let eur: Vec<f64> = (0..faults).map(|_| log(20.0, 2000.0)).collect();
        let test_eur: Vec<f64> = (0..tests).map(|_| log(1.0, 60.0)).collect();
        let set_up_eur = [log(5.0, 60.0), log(5.0, 60.0)];
        let sound: Vec<f64> = (0..tests).map(|_| log(0.02, 0.3)).collect();
        let mut table = vec![sound.clone(); faults];
        for t in 0..tests {
            for _ in 0..rng.random_range(1..=3) {
                let speaks_for = rng.random_range(0..faults);
                if let Some(p) = table.get_mut(speaks_for).and_then(|row| row.get_mut(t)) {
                    *p = rng.random_range(0.5..0.97);
                }
            }
        }
        let mut bits = || [0, 0, 1, 2][rng.random_range(0..4)];
        let set_ups = set_up_eur
            .iter()
            .enumerate()
            .map(|(i, &eur)| SetUpCost {
                id: format!("set-up {i}"),
                eur,
                minutes: 0.0,
                drive: false,
                ends_with_drive: false,
            })
            .collect();
        let desk = Desk {
            network: Network::plain(sound, table).unwrap_or_else(|e| panic!("{e}")),
            tests: test_eur
                .iter()
                .enumerate()
                .map(|(i, &eur)| TestCost { observations: vec![i], eur, minutes: 0.0, set_ups: bits() })
                .collect(),
            repairs: eur
                .iter()
                .map(|&eur| RepairCost {
                    eur,
                    minutes: 0.0,
                    waiting_eur: 0.0,
                    works: 1.0,
                    harm_eur: 0.0,
                    set_ups: bits(),
                })
                .collect(),
            set_ups,
            rules: Vec::new(),
            final_eur: 0.0,
            final_minutes: 0.0,
            final_misses: 0.0,
            final_set_ups: 0,
            come_back_eur: 0.0,
            refer: Refer { eur: 300.0, factor: 1.3 },
        };
        Self { desk, prior }
    }

    fn sets(&self) -> Vec<Member> {
        self.prior.iter().enumerate().map(|(f, &p)| Member { set: Set::NONE.with(f), p }).collect()
    }

    /// The exact optimum by dynamic programming over every history, EUR.
    #[must_use]
    pub fn optimum(&self) -> f64 {
        let (n, m) = (self.desk.repairs.len(), self.desk.tests.len());
        let rows: Vec<Vec<f64>> = (0..n).map(|f| self.desk.network.row(Set::NONE.with(f))).collect();
        let patterns = 3_usize.pow(m as u32);
        let mut memo = vec![f64::NAN; patterns << n];
        let digit = |pattern: usize, t: usize| pattern / 3_usize.pow(t as u32) % 3;
        // Histories with more answers and repairs first, so that each finds what it leads to.
        let mut patterns_by_count: Vec<usize> = (0..patterns).collect();
        patterns_by_count.sort_by_key(|&p| std::cmp::Reverse((0..m).filter(|&t| digit(p, t) > 0).count()));
        for &pattern in &patterns_by_count {
            let weight: Vec<f64> = (0..n)
                .map(|f| {
                    let told: f64 = (0..m)
                        .map(|t| match digit(pattern, t) {
                            0 => 1.0,
                            1 => 1.0 - rows[f][t],
                            _ => rows[f][t],
                        })
                        .product();
                    self.prior[f] * told
                })
                .collect();
            let asked = (0..m).filter(|&t| digit(pattern, t) > 0);
            let paid_by_tests = asked.fold(0, |p, t| p | self.desk.tests[t].set_ups);
            for done in (0..1_usize << n).rev() {
                let left = (0..n).filter(|f| done >> f & 1 == 0);
                let mass: f64 = left.clone().map(|f| weight[f]).sum();
                let refer: f64 =
                    left.clone().map(|f| weight[f] * self.desk.refer_eur(Set::NONE.with(f))).sum();
                let repaired = (0..n).filter(|f| done >> f & 1 == 1);
                let paid = repaired.fold(paid_by_tests, |p, f| p | self.desk.repairs[f].set_ups);
                let mut best = refer;
                for f in left {
                    let r = &self.desk.repairs[f];
                    let eur = mass * (r.eur + self.desk.set_up_eur(r.set_ups, paid));
                    best = best.min(eur + memo[(pattern << n) + (done | 1 << f)]);
                }
                for t in (0..m).filter(|&t| digit(pattern, t) == 0) {
                    let test = &self.desk.tests[t];
                    let eur = mass * (test.eur + self.desk.set_up_eur(test.set_ups, paid));
                    let step = 3_usize.pow(t as u32);
                    let after =
                        memo[((pattern + step) << n) + done] + memo[((pattern + 2 * step) << n) + done];
                    best = best.min(eur + after);
                }
                memo[(pattern << n) + done] = best;
            }
        }
        memo[0]
    }

    /// The exact expected cost of a way: every history that it can meet, EUR.
    #[must_use]
    pub fn expected(&self, way: Way) -> f64 {
        let (player, start) =
            Player::new(&self.desk, &self.sets(), Answers::NONE, Depth::fitting(&self.desk));
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        self.follow(way, &player, &start, false, &mut rng, 0)
    }

    fn follow(
        &self,
        way: Way,
        player: &Player,
        state: &State,
        pending: bool,
        rng: &mut ChaCha8Rng,
        depth: usize,
    ) -> f64 {
        let refer = || state.sets().iter().map(|m| m.p * self.desk.refer_eur(m.set)).sum();
        if depth > 60 {
            return refer();
        }
        let action = choose(way, &self.desk, player, state, pending, rng);
        let eur = player.eur(state, action);
        match action {
            Action::Test(t) => {
                let outcomes = player.outcomes(state, t);
                let rest: f64 = outcomes
                    .iter()
                    .map(|(_, p, next)| p * self.follow(way, player, next, pending, rng, depth + 1))
                    .sum();
                eur + rest
            }
            Action::Repair(f) => {
                eur + self.follow(way, player, &player.repaired(state, f), true, rng, depth + 1)
            }
            Action::FinalTest => {
                let fails = 1.0 - state.sound();
                let rest = player
                    .failed(state)
                    .map_or(0.0, |next| fails * self.follow(way, player, &next, false, rng, depth + 1));
                eur + rest
            }
            Action::Refer => refer(),
        }
    }
}
