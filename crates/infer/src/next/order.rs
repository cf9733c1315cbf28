//! The best plan without further tests: an order of repairs, cut into blocks by final tests.

use super::desk::Desk;
use super::state::{Action, Rows, State};
use crate::network::Set;

/// A plan of repairs and final tests, and what it is expected to cost.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Plan {
    /// Expected cost to a fixed car, EUR.
    pub(crate) eur: f64,
    /// The first step.
    pub(crate) first: Action,
    /// Faults in the order in which they would be repaired.
    pub(crate) order: Vec<usize>,
}

/// Faults that a plan looks at: the rest is left to the specialist.
const MOST_REPAIRS: usize = 24;
/// Repairs between two final tests.
const MOST_IN_BLOCK: usize = 4;
/// A fault below this probability is not repaired on suspicion.
const SUSPECT: f64 = 5e-4;

/// What a repair costs on the way, everything but set-ups.
pub(crate) fn base_eur(desk: &Desk, state: &State, fault: usize, present: f64) -> f64 {
    desk.repairs.get(fault).map_or(f64::INFINITY, |r| {
        r.eur + r.waiting_eur + r.harm_eur * (1.0 - present) + state.gate_eur(desk, r.set_ups)
    })
}

#[derive(Clone, Copy)]
struct Candidate {
    fault: usize,
    gain: f64,
    eur: f64,
    set_ups: u32,
}

/// The plan from here.
pub(crate) fn plan(desk: &Desk, rows: &Rows, state: &State) -> Plan {
    let mut present = [0.0; 64];
    for e in &state.belief {
        for f in e.set.iter() {
            if let Some(p) = present.get_mut(f) {
                *p += e.p;
            }
        }
    }
    // Rules that forbid the drive of the final test: their faults must be dealt with before anything is
    // proven, or the specialist must.
    let (mut forced, mut blocked, mut provable) = (Set::NONE, state.barred, true);
    for r in &desk.rules {
        if !(state.holds_by_faults(r) || (state.holds_by_sight(r) && r.remedy_eur.is_none())) {
            continue;
        }
        if r.forbids & desk.final_set_ups != 0 {
            let open = r.faults.iter().filter(|&f| !state.repaired.has(f));
            let before = forced;
            forced = open.fold(forced, Set::with);
            provable &= forced != before || !r.faults.is_empty();
        } else {
            blocked |= r.forbids;
        }
    }
    let mut candidates: Vec<Candidate> = Vec::with_capacity(MOST_REPAIRS);
    for (fault, &p) in present.iter().enumerate().take(desk.repairs.len()) {
        let Some(r) = desk.repairs.get(fault) else { continue };
        let may = !state.repaired.has(fault) && r.set_ups & blocked == 0;
        if may && (p > SUSPECT || forced.has(fault)) {
            let eur = base_eur(desk, state, fault, p);
            candidates.push(Candidate { fault, gain: p * r.works, eur, set_ups: r.set_ups });
        }
    }
    candidates.sort_by(|a, b| {
        let rank = |c: &Candidate| c.gain / (c.eur + desk.final_eur).max(1e-9);
        forced
            .has(b.fault)
            .cmp(&forced.has(a.fault))
            .then(rank(b).total_cmp(&rank(a)))
            .then(a.fault.cmp(&b.fault))
    });
    candidates.truncate(MOST_REPAIRS);
    let order = clustered(desk, state.paid, &candidates, forced);
    cut(desk, rows, state, &order, forced, provable)
}

/// Orders candidates (given by falling rank) so that a set-up is opened when its best run of repairs
/// together beats what is open already.
fn clustered(desk: &Desk, paid: u32, candidates: &[Candidate], forced: Set) -> Vec<Candidate> {
    let mut left: Vec<Candidate> = candidates.to_vec();
    let mut order: Vec<Candidate> = Vec::with_capacity(left.len());
    let mut paid = paid;
    while let Some(next) = left.iter().position(|c| forced.has(c.fault)) {
        let c = left.remove(next);
        paid |= c.set_ups;
        order.push(c);
    }
    while !left.is_empty() {
        let mut best: (f64, u32, usize) = (-1.0, 0, 1);
        for (i, c) in left.iter().enumerate() {
            let missing = c.set_ups & !paid;
            if left.iter().take(i).any(|d| d.set_ups & !paid == missing) {
                continue;
            }
            let (mut gain, mut eur, mut count) = (0.0, desk.set_up_eur(missing, 0), 0);
            for d in left.iter().filter(|d| d.set_ups & !paid & !missing == 0) {
                gain += d.gain;
                eur += d.eur + desk.final_eur;
                count += 1;
                let rank = gain / eur.max(1e-9);
                if rank > best.0 {
                    best = (rank, missing, count);
                }
            }
        }
        let (_, missing, count) = best;
        let mut taken = 0;
        let now = paid;
        left.retain(|d| {
            let take = taken < count && d.set_ups & !now & !missing == 0;
            if take {
                taken += 1;
                order.push(*d);
            }
            !take
        });
        paid |= missing;
        if taken == 0 {
            break;
        }
    }
    order
}

/// Cuts an order into blocks with a final test after each, ends it by referring where that is cheaper, and
/// says what it is expected to cost.
fn cut(desk: &Desk, rows: &Rows, state: &State, order: &[Candidate], forced: Set, provable: bool) -> Plan {
    let n = order.len();
    let mut place = [usize::MAX; 64];
    for (i, c) in order.iter().enumerate() {
        if let Some(p) = place.get_mut(c.fault) {
            *p = i;
        }
    }
    // By count of repairs done: probability that something is left, and what the specialist asks then.
    let mut fixed = [0.0; MOST_REPAIRS + 1];
    let mut saved = [0.0; MOST_REPAIRS + 1];
    let (mut all, mut asked) = (0.0, 0.0);
    for e in &state.belief {
        let price = rows.refer.get(e.row as usize).copied().unwrap_or(0.0);
        all += e.p;
        asked += e.p * price;
        let (mut last, mut works) = (0, 1.0);
        for f in e.set.iter() {
            let at = place.get(f).copied().unwrap_or(usize::MAX);
            last = if at == usize::MAX { usize::MAX } else { last.max(at + 1) };
            works *= desk.repairs.get(f).map_or(0.0, |r| r.works);
            if last == usize::MAX {
                break;
            }
        }
        if let (Some(a), Some(b)) = (fixed.get_mut(last), saved.get_mut(last)) {
            *a += e.p * works;
            *b += e.p * works * price;
        }
    }
    let sound = fixed[0];
    let mut left = [0.0; MOST_REPAIRS + 1];
    let mut refer = [0.0; MOST_REPAIRS + 1];
    let (mut a, mut b) = (all, asked);
    for i in 0..=n {
        a -= fixed[i];
        b -= saved[i];
        left[i] = a.max(0.0);
        refer[i] = b.max(0.0);
    }
    // Set-ups that stay are paid where they are first needed; those that end with the final test's drive
    // are paid once in every block.
    let passing = desk.end_with_drive();
    let mut lasting = [0.0; MOST_REPAIRS];
    let mut paid = state.paid;
    for (i, c) in order.iter().enumerate() {
        lasting[i] = desk.set_up_eur(c.set_ups & !passing, paid);
        paid |= c.set_ups & !passing;
    }
    let miss = desk.final_misses;
    // Cost to go after a failed final test with i repairs done, times the probability to stand there.
    let mut to_go = [0.0; MOST_REPAIRS + 1];
    let block = |i: usize, from: f64, in_place: u32, least: usize, to_go: &[f64]| -> (f64, usize) {
        let mut best = (f64::INFINITY, i);
        let (mut eur, mut mask) = (0.0, in_place);
        for j in i + 1..=n.min((i + MOST_IN_BLOCK).max(least)) {
            let c = &order[j - 1];
            eur += c.eur + lasting[j - 1] + desk.set_up_eur(c.set_ups & passing, mask);
            mask |= c.set_ups;
            if j < least {
                continue;
            }
            let slipped = miss * (left[j] * desk.come_back_eur + refer[j]);
            let total = from * (eur + desk.final_eur) + slipped + (1.0 - miss) * to_go[j];
            if total < best.0 {
                best = (total, j);
            }
        }
        best
    };
    for i in (0..=n).rev() {
        to_go[i] = refer[i].min(block(i, left[i], 0, i + 1, &to_go).0);
    }
    let must = order.iter().filter(|c| forced.has(c.fault)).count();
    let refer_now = refer[0] + sound * desk.refer.eur;
    let mut best = (refer_now, Action::Refer);
    if provable && must == 0 {
        let slipped = miss * (left[0] * desk.come_back_eur + refer[0]);
        let prove = desk.final_eur * all + slipped + (1.0 - miss) * to_go[0];
        if sound > 0.0 && prove < best.0 && desk.final_set_ups & state.barred == 0 {
            best = (prove, Action::FinalTest);
        }
    }
    if provable && let Some(first) = order.first() {
        let (eur, _) = block(0, all, state.paid & passing, must.max(1), &to_go);
        if eur < best.0 {
            best = (eur, Action::Repair(first.fault));
        }
    }
    Plan { eur: best.0, first: best.1, order: order.iter().map(|c| c.fault).collect() }
}
