//! The additive balance of one car: what was poured, dosed, left, and what does not add up.
//!
//! Every fact about reservoir, controller and fuel enters one posterior over content, true dose, leak, what the
//! controller believes, and the balance fault with its beginning. A fault hypothesis with a beginning is a run of
//! truncated Gaussian updates through the car's history; runs are weighed by how well they foretold the
//! facts, and every figure is a view of their mixture. Pure: no clock, no randomness, and the order in which
//! the same rows are written down cannot change a bit of the answer.
//!
//! What it does not do: it takes one balance fault at a time (the joint list of fault sets
//! weighs sets of them by the best of their members), and it does not know whether the metal of a
//! concentrate matches unless a row states strength, density, or both volume and mass of a pour.
//!
//! Reference for the method: sums of Gaussian components with pruning, Alspach and Sorenson (1972), "Nonlinear
//! Bayesian estimation using Gaussian sum approximations"; moments of a truncated normal, Johnson, Kotz and
//! Balakrishnan (1994).

mod forecast;
mod gauss;
mod model;
mod prior;
mod story;
mod told;

pub use forecast::{DuePart, Outlook};
pub use prior::AdditivePrior;

use crate::assessment::{Estimate, OpenQuestion, Text};
use facts::{Case, FaultId};
use gauss::*;
use model::{Constants, Model, Part};
use serde::{Deserialize, Serialize};

/// Median and 90 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// 5 % quantile.
    pub p05: f64,
    /// Median.
    pub p50: f64,
    /// 95 % quantile.
    pub p95: f64,
}

/// Median and 80 % interval of something to come.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Window {
    /// 10 % quantile.
    pub p10: f64,
    /// Median.
    pub p50: f64,
    /// 90 % quantile.
    pub p90: f64,
}

/// Where the additive went since the last full fill, or since the first row when there was none, L.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Waterfall {
    /// Content at the beginning plus all poured since.
    pub poured: Interval,
    /// Dosed as the controller believes.
    pub dosed_by_controller: Interval,
    /// Dosed by physics: set dose times fuel burnt.
    pub dosed_by_physics: Interval,
    /// Left in the reservoir.
    pub left: Interval,
    /// Poured less dosed by physics less left: above zero is loss or over-dosing, below zero under-dosing.
    pub unexplained: Interval,
}

/// The balance of one car.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Balance {
    /// True dose over set dose, by volume, missed refuellings included.
    pub dose_factor: Estimate,
    /// Leak, mL per day.
    pub leak_ml_per_day: Estimate,
    /// Additive left, L.
    pub left_l: Estimate,
    /// What has gone from the reservoir since the last full fill, L.
    pub used_l: Estimate,
    /// What the set dose says for the fuel burnt since then, L.
    pub expected_used_l: Estimate,
    /// Distance from now to the reserve, km.
    pub due_km: Window,
    /// Days from now to the reserve.
    pub due_days: Window,
    /// Reserve used, L.
    pub reserve_l: f64,
    /// Capacity as far as the case gives it, else the class value of the estimate, L.
    pub capacity_l: f64,
    /// Posterior of the balance faults; `None` = no fault. Adds up to 1.
    pub additive_faults: Vec<(Option<FaultId>, f64)>,
    /// ln p(facts | fault) - ln p(facts | no fault), before priors, for joining with other evidence.
    pub log_evidence: Vec<(Option<FaultId>, f64)>,
    /// True when the facts can tell the fault (else `cannot_tell` says what would decide).
    pub faults_told: bool,
    /// Questions that the history leaves open.
    pub cannot_tell: Vec<OpenQuestion>,
    /// Where the additive went.
    pub waterfall: Waterfall,
    /// For forecasts to another reserve or of many cars.
    pub outlook: Outlook,
    /// Relative standard deviation to which the facts alone pin what leaves the reservoir, dose prior opened wide.
    pub dose_pinned_rel: f64,
}

/// Faults judged here, in the order of the answer; the first is no fault.
pub const BALANCE_FAULTS: [Option<FaultId>; 10] = [
    None,
    Some(FaultId::AdditiveEmpty),
    Some(FaultId::AdditiveLeak),
    Some(FaultId::AdditiveUnderDosed),
    Some(FaultId::AdditiveOverDosed),
    Some(FaultId::CounterNotReset),
    Some(FaultId::RefillNotWrittenDown),
    Some(FaultId::WrongQuantityEntered),
    Some(FaultId::RefuellingNotRecognised),
    Some(FaultId::WrongStrength),
];

/// A one-dimensional Gaussian mixture, cut at a lower bound.
struct Mixture {
    parts: Vec<(f64, f64, f64)>,
    floor: f64,
}

impl Mixture {
    fn of(parts: &[(f64, &Gauss)], floor: f64, view: impl Fn(&Gauss) -> (f64, f64)) -> Self {
        let parts = parts
            .iter()
            .map(|(w, g)| {
                let (m, v) = view(g);
                (*w, m, v.max(0.0).sqrt())
            })
            .collect();
        Self { parts, floor }
    }

    fn below(&self, x: f64) -> f64 {
        self.parts
            .iter()
            .map(|&(w, m, s)| w * if s < 1e-9 { f64::from(u8::from(m <= x)) } else { phi((x - m) / s) })
            .sum()
    }

    fn quantile(&self, p: f64) -> f64 {
        let (mut low, mut high) =
            self.parts.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &(_, m, s)| {
                (a.min(m - 6.0 * s), b.max(m + 6.0 * s))
            });
        if !(low.is_finite() && high.is_finite()) {
            return self.floor.max(0.0);
        }
        for _ in 0..36 {
            let x = 0.5 * (low + high);
            if self.below(x) < p {
                low = x;
            } else {
                high = x;
            }
        }
        // a point mass at zero is met from above
        if high.abs() < 1e-7 { 0.0f64.max(self.floor) } else { high.max(self.floor) }
    }

    fn interval(&self) -> Interval {
        Interval { p05: self.quantile(0.05), p50: self.quantile(0.5), p95: self.quantile(0.95) }
    }
}

/// Normalised components and everything read off them.
struct Views {
    faults: Vec<(Option<FaultId>, f64)>,
    log_evidence: Vec<(Option<FaultId>, f64)>,
    dose: Interval,
    leak: Interval,
    left: Interval,
    used: Interval,
    expected: Interval,
    counted: Interval,
    poured: Interval,
    unexplained: Interval,
    outlook: Outlook,
}

/// Probability that the history is muddled by something outside the model (guess).
const MUDDLE: f64 = 0.01;
/// Components kept for quantiles.
const KEPT: usize = 48;

fn views(parts: &[Part], model: &Model<'_>, reserve_l: Option<f64>, prior: &AdditivePrior) -> Views {
    let k = model.k;
    let top = parts.iter().map(|p| p.g.log_weight).fold(f64::NEG_INFINITY, f64::max);
    let total = model::evidence(parts.iter().map(|p| &p.g));
    let weight_of = |p: &Part| if top.is_finite() { (p.g.log_weight - total).exp() } else { 0.0 };
    // Something outside the model (a second fault, a wrong row) leaves every fault where its prior had it.
    let shares: f64 = BALANCE_FAULTS.iter().map(|f| prior.share(*f)).sum::<f64>().max(1e-12);
    let per_fault: Vec<(Option<FaultId>, f64)> = BALANCE_FAULTS
        .iter()
        .map(|f| {
            let inside = model::evidence(parts.iter().filter(|p| p.fault == *f).map(|p| &p.g));
            let share = (prior.share(*f) / shares).max(1e-12);
            let muddled = if top.is_finite() { total + share.ln() } else { share.ln() };
            (*f, log_add(inside + (1.0 - MUDDLE).ln(), muddled + MUDDLE.ln()))
        })
        .collect();
    // Of absurd histories the logarithms are so large that their last digits are lost: normalised as plain numbers.
    let best = per_fault.iter().fold(f64::NEG_INFINITY, |a, f| a.max(f.1));
    let all: f64 = per_fault.iter().map(|(_, e)| (e - best).exp()).sum();
    let faults: Vec<(Option<FaultId>, f64)> =
        per_fault.iter().map(|(f, e)| (*f, (e - best).exp() / all)).collect();
    let base = per_fault.first().map_or(0.0, |x| x.1) - prior.share(None).max(1e-12).ln();
    let log_evidence = per_fault
        .iter()
        .map(|(f, e)| {
            let le = e - prior.share(*f).max(1e-12).ln() - base;
            (*f, le.clamp(-500.0, 500.0))
        })
        .collect();

    let mut kept: Vec<(f64, &Gauss)> = parts.iter().map(|p| (weight_of(p), &p.g)).collect();
    kept.sort_by(|a, b| b.0.total_cmp(&a.0));
    kept.truncate(KEPT);
    let sum: f64 = kept.iter().map(|p| p.0).sum();
    if sum > 0.0 {
        kept.iter_mut().for_each(|p| p.0 /= sum);
    }
    let d = k.set_dose.0;
    // Product of factors, first order.
    let product = |g: &Gauss, scale: f64, factors: &[usize]| {
        let mut x = g.clone();
        x.set(SCRATCH, 0.0, 0.0);
        x.add_product(SCRATCH, scale, factors);
        x
    };
    let physics: Vec<Gauss> = kept.iter().map(|(_, g)| product(g, d, &[SET, BURNT])).collect();
    let with_physics: Vec<(f64, &Gauss)> = kept.iter().map(|p| p.0).zip(&physics).collect();
    let doses: Vec<Gauss> = kept.iter().map(|(_, g)| product(g, 1.0, &[DOSE, RECOGNISED])).collect();
    let with_dose: Vec<(f64, &Gauss)> = kept.iter().map(|p| p.0).zip(&doses).collect();
    let free = f64::NEG_INFINITY;
    let reserve_form: Vec<(usize, f64)> =
        if reserve_l.is_some() { vec![(CONTENT, 1.0)] } else { vec![(CONTENT, 1.0), (CAPACITY, -0.1)] };

    let due = kept
        .iter()
        .map(|(w, g)| {
            let mut x = (*g).clone();
            // slot 0 and 1 are free again at the end of the story
            x.assign(SCRATCH, -reserve_l.unwrap_or(0.0), &reserve_form);
            x.set(SLOT, 0.0, 0.0);
            x.add_product(SLOT, d * k.fuel_l_per_km.0, &[SET, RECOGNISED, DOSE, FUEL_RATE]);
            let at = [SCRATCH, SLOT, LEAK];
            // one refuelling in km, and how much it weighs when only a share of them is seen
            let seen = g.m[RECOGNISED].clamp(0.02, 1.0);
            let tank_km = 45.0 / k.fuel_l_per_km.0.max(1e-3);
            DuePart {
                weight: *w,
                mean: at.map(|i| x.m[i]),
                cov: at.map(|i| at.map(|j| x.p[i][j])),
                missed_var_km: (1.0 - seen) / seen * tank_km,
            }
        })
        .collect();
    let outlook = Outlook {
        parts: due,
        km_per_day: model.story.km_per_day,
        km_per_day_rel: model.story.km_per_day_rel,
    }
    .thinned(10);
    Views {
        faults,
        log_evidence,
        dose: Mixture::of(&with_dose, 0.0, |g| g.form(&[(SCRATCH, 1.0)])).interval(),
        leak: Mixture::of(&kept, 0.0, |g| g.form(&[(LEAK, 1000.0)])).interval(),
        left: Mixture::of(&kept, 0.0, |g| g.form(&[(CONTENT, 1.0)])).interval(),
        used: Mixture::of(&kept, 0.0, |g| g.form(&[(POURED, 1.0), (CONTENT, -1.0)])).interval(),
        expected: Mixture::of(&with_physics, 0.0, |g| g.form(&[(SCRATCH, 1.0)])).interval(),
        counted: Mixture::of(&kept, 0.0, |g| g.form(&[(COUNTED, 1.0)])).interval(),
        poured: Mixture::of(&kept, 0.0, |g| g.form(&[(POURED, 1.0)])).interval(),
        unexplained: Mixture::of(&with_physics, free, |g| {
            g.form(&[(POURED, 1.0), (CONTENT, -1.0), (SCRATCH, -1.0)])
        })
        .interval(),
        outlook,
    }
}

/// Computes the balance of a car from its facts.
///
/// `reserve_l` is the content at which the car is due; else `reservoir.reserve_l`, else a tenth of the capacity.
/// Missing constants get wide class values (sources beside them in the code); impossible values are passed over.
/// Figures hold at the last fact or at the car's present odometer, whichever is farther. Never fails: a history
/// that says nothing gives the prior, with `faults_told` false and `cannot_tell` filled.
#[must_use]
pub fn balance(case: &Case, prior: &AdditivePrior, reserve_l: Option<f64>) -> Balance {
    let constants = Constants::of(case);
    let reserve_given =
        reserve_l.or(case.reservoir.reserve_l).filter(|r| r.is_finite() && *r >= 0.0 && *r <= 1e3);
    // How a controller takes an entry matters where one was typed, told or not, and its figure of additive left read.
    let entries = !(case.refill.is_empty() && case.counter_entry.is_empty())
        && (case.refill.iter().any(|r| r.entered_l.is_some())
            || case.counter_entry.iter().any(|r| r.entered_l.is_some())
            || case.counter_read.iter().any(|r| r.left_ml.is_some())
            || case.reading.iter().any(|r| r.quantity == facts::case::Quantity::AdditiveLeft));
    let see = |looks: bool| {
        let story = story::story(case, constants.capacity_l.0, looks);
        let model = Model { k: &constants, story: &story, prior, entries: entries && looks };
        let parts = model.posterior();
        let v = views(&parts, &model, reserve_given, prior);
        let pinned = if looks { model.pinned_dose_rel() } else { f64::INFINITY };
        (v, pinned, story)
    };
    let (with, pinned, story) = see(true);
    let (without, ..) = see(false);

    let told = |a: Interval, b: Interval| Estimate {
        p05: a.p05,
        p50: a.p50,
        p95: a.p95,
        told: a.p95 - a.p05 < 0.9 * (b.p95 - b.p05),
    };
    let verdict = told::judge(case, &constants, &story, &with.faults, pinned);
    Balance {
        dose_factor: told(with.dose, without.dose),
        leak_ml_per_day: told(with.leak, without.leak),
        left_l: told(with.left, without.left),
        used_l: told(with.used, without.used),
        expected_used_l: told(with.expected, without.expected),
        due_km: with.outlook.due_km(),
        due_days: with.outlook.due_days(),
        reserve_l: reserve_given.unwrap_or(0.1 * constants.capacity_l.0),
        capacity_l: constants.capacity_l.0,
        additive_faults: with.faults,
        log_evidence: with.log_evidence,
        faults_told: verdict.told,
        cannot_tell: verdict.open,
        waterfall: Waterfall {
            poured: with.poured,
            dosed_by_controller: with.counted,
            dosed_by_physics: with.expected,
            left: with.left,
            unexplained: with.unexplained,
        },
        outlook: with.outlook,
        dose_pinned_rel: pinned,
    }
}
