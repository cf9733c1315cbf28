//! From the draws of one state to the prior of the next.

use super::UnrecordedChange;
use super::stages::{Gap, Stage};
use crate::assess::{Evidence, View, Way, Ways, prior_of, prior_of_none};
use crate::carried::Carried;
use crate::joint::{Additive, Joint};
use crate::network::Network;
use crate::posterior::{Draws, Effort};
use crate::prior::{AFTER_A_BURN, LogNormal, Priors, ZERO_SD, coordinate as at};
use crate::quasi::{Mixture, Points, normal_quantile};
use facts::case::{RegenerationEnd, Role};
use facts::{FaultId, Knowledge};
use nalgebra::SMatrix;
use std::collections::BTreeMap;

/// Probability that a pressure sensor was changed between two visits without a row, and a filter. Expert guess:
/// other workshops work on the car too, and few of their rows reach this one.
const SENSOR_CHANGED: f64 = 0.04;
/// See [`SENSOR_CHANGED`].
const FILTER_CHANGED: f64 = 0.04;
/// Share of what a visit added to a fault's probability that is still there at the next. Expert guess: what is
/// found is mended, some repairs do not work, and some findings were wrong.
const FAULT_STAYS: f64 = 0.2;
/// Spread of the soot that one car lays down per distance from one stretch to the next (ln). Expert guess.
const RATE_VARIES: f64 = 0.3;
/// Weight of the tails of a carried coordinate, and how much wider they are.
const TAILS: (f64, f64) = (0.12, 2.2);
/// Correlations are trusted to this share.
const TRUSTED: f64 = 0.95;

/// What does not repeat from one visit to the next (standard deviation of each coordinate). Expert guesses: the
/// packing of a cake follows the drive it grew on, plugs move, deposits wander; constants of the brick stay.
const fn wander(j: usize) -> f64 {
    match j {
        at::PLUG => 0.35,
        at::WALL => 0.08,
        at::LOADED => 0.3,
        at::CAKE => 0.2,
        at::SLIP | at::ASH_LAYER | at::FILLING => 0.15,
        at::FLOW => 0.02,
        at::HEAT => 4.0,
        at::CONES => 0.08,
        at::GAIN => 0.008,
        _ => 0.0,
    }
}

/// Coordinates of the filter itself, which a new one draws anew. Volume and cells are those of the car type.
const OF_THE_FILTER: [usize; 7] =
    [at::PLUG, at::WALL, at::LOADED, at::CAKE, at::SLIP, at::ASH_LAYER, at::FILLING];

/// What is remembered of a state.
pub(crate) struct Memory {
    draws: Draws,
    /// ln of soot rate and of ash growth for each draw.
    rate: Vec<f64>,
    growth: Vec<f64>,
    /// Zero of a sensor in order: mean and standard deviation; none where nothing told it.
    zero: Option<(f64, f64)>,
    faults: BTreeMap<FaultId, f64>,
    /// Spreads before the visit: tell whether flow and temperature come from the same source.
    flow_sd: f64,
    heat_sd: f64,
    since_km: Option<f64>,
    odometer_known: bool,
}

fn base_spread(p: &Priors, j: usize) -> f64 {
    p.common[j].parts().first().map_or(1.0, |q| q.2)
}

impl Memory {
    pub(crate) fn of(ways: &Ways, stage: &Stage) -> Self {
        let points = Points;
        let (mut rate, mut growth) = (Vec::new(), Vec::new());
        let (mut flow_sd, mut heat_sd, mut since_km) = (0.1, 20.0, None);
        let mut at_draw = 0;
        let faults: BTreeMap<FaultId, f64> =
            ways.marginals().into_iter().filter_map(|(f, p)| Some((f?, p))).collect();
        // Soot of a faulty engine or of burns that fail says nothing of the rate of the car in order.
        let other_soot =
            faults.iter().filter(|(f, _)| changes_soot(**f)).map(|(_, p)| p).sum::<f64>().min(1.0);
        for (k, way) in ways.list.iter().enumerate() {
            let p = &way.view.priors;
            let (rate_prior, between, rate_line) = rate_line(p);
            let (growth_prior, growth_line) = growth_line(p);
            let count = way.draws;
            for i in at_draw..(at_draw + count).min(ways.draws.soot.len()) {
                let noise = |j: usize| normal_quantile(points.at(i, j));
                let soot = ways.draws.soot[i].max(0.02).ln();
                let ash = ways.draws.ash[i].max(0.02).ln();
                rate.push(if points.at(i, 9) < other_soot {
                    rate_prior + between * noise(3)
                } else {
                    rate_prior + line(rate_line, soot) + rate_line.2 * noise(3)
                });
                growth.push(growth_prior + line(growth_line, ash) + growth_line.2 * noise(4));
            }
            at_draw += count;
            if k == 0 {
                flow_sd = way.view.fresh_spreads.0;
                heat_sd = way.view.fresh_spreads.1;
                since_km = p.since_km.map(|s| s.0);
            }
        }
        let d = &ways.draws;
        let sound: Vec<(f64, f64)> =
            (0..d.zero.len()).filter(|&i| d.sensor[i] == 0).map(|i| (d.zero[i], d.weight[i])).collect();
        let (all, kept) = (d.weight.iter().sum::<f64>(), sound.iter().map(|s| s.1).sum::<f64>());
        let zero = (kept > 0.05 * all).then(|| moments(&sound));
        Self {
            draws: d.clone(),
            rate,
            growth,
            zero,
            faults,
            flow_sd,
            heat_sd,
            since_km,
            odometer_known: stage.case.car.odometer_km.is_some(),
        }
    }
}

/// Faults under which a car lays down or keeps more soot than it does in order.
fn changes_soot(f: FaultId) -> bool {
    use FaultId as F;
    matches!(
        f,
        F::SootShortTrips
            | F::RegenerationInhibited
            | F::RegenerationIncomplete
            | F::OxidationCatalystDamaged
            | F::ExhaustFuelDoserBlocked
            | F::EgrStuckOpen
            | F::BoostLeak
            | F::ThermostatStuckOpen
            | F::InjectorOverfuelling
            | F::TurboOilLeak
            | F::Aus32InFuel
            | F::SubstrateCracked
    )
}

/// Weighted mean and standard deviation.
fn moments(of: &[(f64, f64)]) -> (f64, f64) {
    let w: f64 = of.iter().map(|v| v.1).sum::<f64>().max(1e-300);
    let mean = of.iter().map(|v| v.0 * v.1).sum::<f64>() / w;
    let var = of.iter().map(|v| v.1 * (v.0 - mean).powi(2)).sum::<f64>() / w;
    (mean, var.max(0.0).sqrt())
}

fn line((slope, at, _): (f64, f64, f64), x: f64) -> f64 {
    (slope * (x - at)).clamp(-1.5, 1.5)
}

/// ln soot rate before the visit, and what the ln soot load found says of it: slope, from where, what is left.
fn rate_line(p: &Priors) -> (f64, f64, (f64, f64, f64)) {
    let rate = p.soot_rate.unwrap_or_else(|| p.usual_soot_rate());
    let between = (rate.sd.powi(2) - RATE_VARIES.powi(2)).max(0.01).sqrt();
    let usual = p.usual_soot();
    if let Some(c) = &p.carried {
        return (rate.median.ln(), between, (c.rate.0, usual.0, c.rate.1));
    }
    let left = p.soot_left.unwrap_or(AFTER_A_BURN);
    let grown = rate.median * p.soot_distance().median;
    let share = grown / (grown + left.median);
    let slope = (share * between * between / (usual.1 * usual.1)).clamp(0.0, 1.0);
    (rate.median.ln(), between, (slope, usual.0, between * (1.0 - slope * share).max(0.0).sqrt()))
}

/// The same for ash growth (g per 1000 km) and ash load.
fn growth_line(p: &Priors) -> (f64, (f64, f64, f64)) {
    let (g, a) = (p.ash_growth, p.ash);
    let at = a.median.max(0.05).ln();
    if let Some(c) = &p.carried {
        return (g.median.ln(), (c.growth.0, at, c.growth.1));
    }
    let slope = (g.sd / a.sd.max(0.05)).powi(2).clamp(0.0, 1.0);
    (g.median.ln(), (slope, at, g.sd * (1.0 - slope).max(0.0).sqrt()))
}

/// A first state, of which nothing earlier is known.
pub(crate) fn fresh<'a>(
    facts: &'a Evidence<'a>,
    role: Role,
    additive: &Additive,
    network: &Network,
    effort: Effort,
) -> Ways<'a> {
    let view = View::new(facts, role);
    let joint = Joint::new(&view, additive, facts.knowledge, network, effort);
    Ways::one(view, joint)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Changed {
    Nothing,
    Sensor,
    Filter,
}

/// The ways on from an earlier state, with the probability of a change that has no row.
#[allow(clippy::too_many_arguments)] // Called from one place.
pub(crate) fn onward<'a>(
    memory: &Memory,
    gap: &Gap,
    facts: &'a Evidence<'a>,
    role: Role,
    additive: &Additive,
    network: &Network,
    effort: Effort,
    aside: Effort,
) -> (Ways<'a>, UnrecordedChange) {
    let ways = [
        (Changed::Nothing, 1.0 - SENSOR_CHANGED - FILTER_CHANGED),
        (Changed::Sensor, if gap.same_stay || gap.sensor_replaced { 0.0 } else { SENSOR_CHANGED }),
        (Changed::Filter, if gap.same_stay || gap.filter_replaced.is_some() { 0.0 } else { FILTER_CHANGED }),
    ];
    let view = View::new(facts, role);
    let mut list: Vec<(Changed, f64, Way)> = Vec::new();
    for (changed, prior) in ways.into_iter().filter(|w| w.1 > 0.0) {
        let mut view = view.clone();
        carry(memory, gap, changed, &mut view.priors, facts.knowledge, facts.case);
        let effort = if changed == Changed::Nothing { effort } else { aside };
        let joint = Joint::new(&view, additive, facts.knowledge, network, effort);
        list.push((changed, prior.ln() + joint.log_evidence, Way { share: 0.0, view, joint, draws: 0 }));
    }
    let top = list.iter().map(|w| w.1).fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = list.iter().map(|w| (w.1 - top).exp()).sum();
    let mut change = UnrecordedChange { sensor: 0.0, filter: 0.0 };
    let mut out = Vec::new();
    for (changed, log, mut way) in list {
        way.share = if sum > 0.0 { (log - top).exp() / sum } else { 0.0 };
        match changed {
            Changed::Sensor => change.sensor = way.share,
            Changed::Filter => change.filter = way.share,
            Changed::Nothing => {}
        }
        // What weighs nothing costs as much to draw as what weighs.
        if way.share > 2e-3 {
            out.push(way);
        }
    }
    (Ways::new(out), change)
}

/// Whether the controller's distance says that no burn ended since the earlier state.
fn no_burn_since(p: &Priors, memory: &Memory, gap: &Gap) -> bool {
    match (p.since_km, gap.km) {
        (Some((since, _)), Some(km)) if memory.odometer_known => {
            since > 1.02 * km + 5.0
                || gap.same_stay
                    && gap.regeneration.is_none()
                    && memory.since_km.is_some_and(|s| since >= 0.8 * s)
        }
        _ => false,
    }
}

fn carry(
    memory: &Memory,
    gap: &Gap,
    changed: Changed,
    p: &mut Priors,
    knowledge: &Knowledge,
    case: &facts::Case,
) {
    let new_filter = changed == Changed::Filter || gap.filter_replaced.is_some();
    let new_sensor = changed == Changed::Sensor || gap.sensor_replaced;
    let same_flow = (base_spread(p, at::FLOW) - memory.flow_sd).abs() < 1e-9;
    let same_heat = (base_spread(p, at::HEAT) - memory.heat_sd).abs() < 1e-9;
    let is_fresh = |j: usize| {
        new_filter && OF_THE_FILTER.contains(&j)
            || new_sensor && j == at::GAIN
            || !same_flow && j == at::FLOW
            || !same_heat && j == at::HEAT
            || gap.filter_cleaned.is_some() && j == at::PLUG
    };
    let d = &memory.draws;
    let n = d.soot.len().min(memory.rate.len());
    let weights: Vec<f64> = d.weight[..n].to_vec();
    let column =
        |of: &dyn Fn(usize) -> f64| -> Vec<(f64, f64)> { (0..n).map(|i| (of(i), weights[i])).collect() };

    // Soot and ash of every draw, moved on.
    let points = Points;
    let noise = |i: usize, j: usize| normal_quantile(points.at(i, j));
    let km = gap.km.unwrap_or(8000.0);
    let stays = no_burn_since(p, memory, gap);
    let partial = matches!(gap.regeneration, Some(RegenerationEnd::Partial | RegenerationEnd::Aborted));
    if (stays || partial) && !new_filter {
        p.since_km = Some((km.max(3.0), 0.03));
    }
    let distance = p.soot_distance();
    let soot: Vec<f64> = (0..n)
        .map(|i| {
            let left = if partial {
                d.soot[i] * (-0.6 + 0.5 * noise(i, 5)).exp()
            } else if stays && !new_filter {
                d.soot[i]
            } else {
                AFTER_A_BURN.median * (AFTER_A_BURN.sd * noise(i, 5)).exp()
            };
            let run = distance.median * (distance.sd * noise(i, 6)).exp();
            left + memory.rate[i].exp() * (RATE_VARIES * noise(i, 7)).exp() * run
        })
        .map(|s| s.max(0.01).ln())
        .collect();
    let since_change = match (changed, gap.filter_replaced, case.car.odometer_km) {
        (Changed::Filter, None, _) => Some(None),
        (_, Some(at_km), Some(now)) => Some(Some((now - at_km).max(10.0))),
        (_, Some(_), None) => Some(None),
        _ => None,
    };
    let since_cleaning = gap.filter_cleaned.zip(case.car.odometer_km).map(|(c, now)| (now - c).max(0.0));
    let ash: Vec<f64> = (0..n)
        .map(|i| {
            let per_km = memory.growth[i].exp() / 1000.0 / d.volume[i].max(0.1);
            let load = match (since_change, since_cleaning) {
                // Any time in between.
                (Some(None), _) => per_km * km * points.at(i, 8) + 0.05,
                (Some(Some(run)), _) => per_km * run + 0.05,
                (None, Some(run)) => {
                    let before = d.ash[i] + per_km * (km - run).max(0.0);
                    before * 0.1 * (0.6 * noise(i, 8)).exp() + per_km * run
                }
                (None, None) if gap.filter_cleaned.is_some() => d.ash[i] * 0.15 + per_km * 0.5 * km,
                (None, None) => d.ash[i] + per_km * km * (0.1 * noise(i, 8)).exp(),
            };
            load.max(0.02).ln()
        })
        .collect();

    // Margins.
    let (growth_m, growth_sd) = moments(&column(&|i| memory.growth[i]));
    let (rate_m, rate_sd) = moments(&column(&|i| memory.rate[i]));
    let (ash_m, ash_sd) = moments(&column(&|i| ash[i]));
    p.ash_growth = LogNormal::new(growth_m.exp(), growth_sd.max(0.05));
    p.ash = LogNormal::new(ash_m.exp(), ash_sd.hypot(0.05));
    p.soot_rate = Some(LogNormal::new(rate_m.exp(), rate_sd.hypot(RATE_VARIES)));
    if partial || stays && !new_filter {
        let (m, sd) = moments(&column(&|i| {
            if partial { d.soot[i].max(0.02).ln() - 0.6 } else { d.soot[i].max(0.02).ln() }
        }));
        p.soot_left = Some(LogNormal::new(m.exp(), if partial { sd.hypot(0.5) } else { sd }));
    }
    let mut mean = [0.0; at::COUNT];
    let mut sd = [1.0; at::COUNT];
    let mut own_sd = [1.0; at::COUNT];
    for j in 0..at::COUNT {
        if j == at::SOOT || j == at::ASH || is_fresh(j) {
            continue;
        }
        let (m, s) = moments(&column(&|i| d.x[i][j]));
        let (usual, spread) = (p.common[j].mean(), p.common[j].variance().sqrt());
        // A fault that is gone, or a wide hump of the posterior, leaves no constant less known than it was at first.
        let s = s.clamp(1e-6, spread);
        // Wandering keeps to the spread of such filters: an autoregression with that spread for its own.
        let stays = (1.0 - (wander(j) / spread).powi(2)).max(0.0).sqrt();
        own_sd[j] = stays * s;
        mean[j] = usual + stays * (m - usual);
        sd[j] = (stays * s).hypot(wander(j).min(spread)).max(1e-4);
        // Tails without a wider spread: otherwise every visit would forget a little of the one before.
        let inner = sd[j] / (1.0 + TAILS.0 * (TAILS.1 * TAILS.1 - 1.0)).sqrt();
        p.common[j] = Mixture::of(vec![(1.0 - TAILS.0, mean[j], inner), (TAILS.0, mean[j], TAILS.1 * inner)]);
    }
    (mean[at::SOOT], sd[at::SOOT]) = p.usual_soot();
    (mean[at::ASH], sd[at::ASH]) = p.usual_ash();
    let value = |i: usize, j: usize| match j {
        at::SOOT => soot[i],
        at::ASH => ash[i],
        j => d.x[i][j],
    };
    // What a coordinate shares with others shrinks by what it wandered alone.
    let columns: Vec<(f64, f64, f64)> = (0..at::COUNT)
        .map(|j| {
            let (m, s) = moments(&column(&|i| value(i, j)));
            let trust = if j == at::SOOT || j == at::ASH { (s / sd[j]).min(1.0) } else { own_sd[j] / sd[j] };
            (m, s.max(1e-9), trust)
        })
        .collect();
    let total: f64 = weights.iter().sum::<f64>().max(1e-300);
    let mut correlation = SMatrix::<f64, { at::COUNT }, { at::COUNT }>::identity();
    for (i, weight) in weights.iter().enumerate() {
        let z: [f64; at::COUNT] =
            std::array::from_fn(|j| ((value(i, j) - columns[j].0) / columns[j].1).clamp(-3.5, 3.5));
        for a in 0..at::COUNT {
            for b in 0..a {
                correlation[(a, b)] += weight / total * z[a] * z[b];
            }
        }
    }
    let ash_anew = new_filter || gap.filter_cleaned.is_some();
    for a in 0..at::COUNT {
        for b in 0..a {
            let cut = is_fresh(a) || is_fresh(b) || ash_anew && (a == at::ASH || b == at::ASH);
            let r = if cut { 0.0 } else { TRUSTED * columns[a].2 * columns[b].2 * correlation[(a, b)] };
            correlation[(a, b)] = r.clamp(-0.98, 0.98);
            correlation[(b, a)] = correlation[(a, b)];
        }
    }
    for j in (0..at::COUNT).filter(|&j| j != at::SOOT && j != at::ASH && is_fresh(j)) {
        (mean[j], sd[j]) = (p.common[j].mean(), p.common[j].variance().sqrt());
    }
    p.zero = match memory.zero {
        Some((m, s)) if !new_sensor && !gap.zero_taught => {
            let drift = 0.05 + 0.03 * (km / 20_000.0).sqrt();
            if gap.same_stay { (m, s.hypot(0.01)) } else { (m, s.hypot(drift).min(1.3 * ZERO_SD)) }
        }
        _ => (0.0, ZERO_SD),
    };
    let slope = |x: &[f64], xm: (f64, f64), y: &[f64], ym: (f64, f64)| {
        let cov = (0..n).map(|i| weights[i] * (x[i] - xm.0) * (y[i] - ym.0)).sum::<f64>() / total;
        let k = cov / (xm.1 * xm.1).max(1e-6);
        (k, (ym.1 * ym.1 - k * cov).max(1e-4).sqrt())
    };
    let soot_moments = moments(&column(&|i| soot[i]));
    if let Some(mut c) = Carried::new(mean, sd, correlation) {
        c.rate = slope(&soot, soot_moments, &memory.rate, (rate_m, rate_sd));
        c.growth = slope(&ash, (ash_m, ash_sd), &memory.growth, (growth_m, growth_sd));
        c.factor = factors(memory, gap, new_filter, new_sensor, knowledge, case);
        p.carried = Some(Box::new(c));
    }
}

/// By how much the faults of the last state make the same faults likelier now.
fn factors(
    memory: &Memory,
    gap: &Gap,
    new_filter: bool,
    new_sensor: bool,
    knowledge: &Knowledge,
    case: &facts::Case,
) -> BTreeMap<FaultId, f64> {
    use FaultId as F;
    let all: Vec<FaultId> =
        FaultId::ALL.iter().copied().filter(|f| !crate::hypothesis::is_additive(*f)).collect();
    let weight = |f: FaultId| prior_of(case, f, knowledge).max(1e-7);
    let total: f64 = prior_of_none(knowledge) + all.iter().map(|f| weight(*f)).sum::<f64>();
    let mended = |f: FaultId| match f {
        F::ZeroError => new_sensor || gap.zero_taught,
        F::SensorFrozen => new_sensor,
        F::SubstrateCracked | F::FilterRemoved => new_filter,
        F::AshFull => new_filter || gap.filter_cleaned.is_some(),
        _ => false,
    };
    let stays: BTreeMap<FaultId, f64> = all
        .iter()
        .map(|&f| {
            let q = memory.faults.get(&f).copied().unwrap_or(0.0);
            let added = (q - weight(f) / total).max(0.0);
            (f, if mended(f) { 0.0 } else { FAULT_STAYS * added })
        })
        .collect();
    let any = stays.values().sum::<f64>().min(0.9);
    stays
        .into_iter()
        .map(|(f, stay)| {
            let before = weight(f) / total;
            // Weights count against that of no fault, which shrinks alike.
            (f, (before * (1.0 - any) + stay) / before / (1.0 - any))
        })
        .collect()
}
