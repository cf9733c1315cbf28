//! From facts to the answer: one posterior over (state, fault set), everything else a view of it.

use crate::assessment::{
    Assessment, BandPoint, Estimate, FaultSet, FilterState, PressurePlot, PressurePoint, Text,
};
use crate::burns::{self, SeenBurn};
use crate::circumstances;
use crate::conditions::{BelowZero, Conditions};
use crate::explain;
use crate::hypothesis::Hypothesis;
use crate::joint::{Additive, Joint, additive_side};
use crate::network::Network;
use crate::observe::Seen;
use crate::posterior::{Draws, Effort, posterior};
use crate::prior::{Priors, is_heavy};
use crate::proof;
use crate::quasi::weighted_quantiles;
use crate::safety::{self, Grounds};
use crate::shown::PressureData;
use crate::signs::{self, Signs};
use crate::summary::{Block, Row, Standard, Summary, summarise};
use crate::typed;
use crate::{ash, dilution, due, scenario};
use facts::case::{Case, Role};
use facts::{FaultId, Knowledge};
use recording::Recording;
use std::collections::BTreeMap;

/// Everything the answer is made of.
#[derive(Debug, Clone, Copy)]
pub struct Evidence<'a> {
    /// The car's facts.
    pub case: &'a Case,
    /// The decoded recordings, one for each row of `case.recording`; none where a file could not be read.
    pub recordings: &'a [Option<Recording>],
    /// What is known about faults and observations.
    pub knowledge: &'a Knowledge,
}

/// The knowledge gives the share of sound cars among those with a fault lamp; a car that is assessed may
/// also come for its additive, for an inspection or for a lamp misread (a third of one patrol's call-outs,
/// trade reference R-RAC06). Expert guess.
const NO_FAULT: f64 = 2.5;

/// One draw in so many makes the bands of the plot: some thousand draw a line as well as all.
const PLOTTED: usize = 3;

/// A 90 % interval wider than this share of the one without readings tells nothing.
pub const TOLD_BELOW: f64 = 0.9;

/// Assesses one car.
#[must_use]
pub fn assess(evidence: &Evidence) -> Assessment {
    assess_with_draws(evidence).0
}

/// Assesses one car and hands out the posterior draws that the answer was made from.
#[must_use]
pub fn assess_with_draws(evidence: &Evidence) -> (Assessment, Draws) {
    let (case, knowledge) = (evidence.case, evidence.knowledge);
    let role = typed::current_role(case);
    let view = View::new(evidence, role);
    let additive = additive_side(case, knowledge, true);
    let network = Network::new(knowledge);
    let joint = Joint::new(&view, &additive, knowledge, &network, Effort::FULL);
    answer(evidence, &additive, &network, &Ways::one(view, joint))
}

/// One way in which the car may have come to this visit, with the answer if it did.
pub(crate) struct Way<'a> {
    /// Probability of the way.
    pub(crate) share: f64,
    pub(crate) view: View<'a>,
    pub(crate) joint: Joint,
    /// How many of the draws are of this way.
    pub(crate) draws: usize,
}

/// All of them, the likeliest first, and the draws of all together.
pub(crate) struct Ways<'a> {
    pub(crate) list: Vec<Way<'a>>,
    pub(crate) draws: Draws,
}

impl<'a> Ways<'a> {
    pub(crate) fn one(view: View<'a>, joint: Joint) -> Self {
        let draws = joint.draws(&view);
        Self { list: vec![Way { share: 1.0, view, joint, draws: draws.soot.len() }], draws }
    }

    /// From ways with their shares, which need not be sorted.
    pub(crate) fn new(mut list: Vec<Way<'a>>) -> Self {
        list.sort_by(|a, b| b.share.total_cmp(&a.share));
        let mut draws = Draws::default();
        for w in &mut list {
            let own = w.joint.draws(&w.view);
            w.draws = own.soot.len();
            draws.append(own, w.share);
        }
        Self { list, draws }
    }

    /// Adds up what each way says, weighed by its share; the most probable first.
    fn mixed<K: Ord + Clone>(&self, of: impl Fn(&Way) -> Vec<(K, f64)>) -> Vec<(K, f64)> {
        if let [only] = &self.list[..] {
            return of(only);
        }
        let mut sum: BTreeMap<K, f64> = BTreeMap::new();
        for w in &self.list {
            for (key, p) in of(w) {
                *sum.entry(key).or_default() += w.share * p;
            }
        }
        let mut out: Vec<_> = sum.into_iter().collect();
        out.sort_by(|x, y| y.1.total_cmp(&x.1).then_with(|| x.0.cmp(&y.0)));
        out
    }

    pub(crate) fn fault_sets(&self) -> Vec<FaultSet> {
        let list =
            self.mixed(|w| w.joint.fault_sets().into_iter().map(|s| (s.faults, s.probability)).collect());
        list.into_iter().map(|(faults, probability)| FaultSet { faults, probability }).collect()
    }

    pub(crate) fn marginals(&self) -> Vec<(Option<FaultId>, f64)> {
        self.mixed(|w| w.joint.marginals())
    }
}

/// The answer to a visit from the ways in which the car may have come to it.
pub(crate) fn answer(
    evidence: &Evidence,
    additive: &Additive,
    network: &Network,
    ways: &Ways,
) -> (Assessment, Draws) {
    let (case, knowledge) = (evidence.case, evidence.knowledge);
    let bare = View::without_readings(case);
    let unweighed = additive_side(case, knowledge, false);
    let prior = Joint::new(&bare, &unweighed, knowledge, network, Effort::PRIOR);
    let before = prior.draws(&bare);
    let Way { view, joint: full, .. } = &ways.list[0];
    let draws = ways.draws.clone();
    let fault_sets = ways.fault_sets();
    let entropy: f64 = -fault_sets.iter().map(|s| s.probability * s.probability.ln()).sum::<f64>();

    let filter = filter_state(view, &draws, &before);
    let fault_set_told = entropy < TOLD_BELOW * prior.entropy();
    let proof = view.proof();
    let fuel_in_oil = dilution::fuel_in_oil(case);
    let faults = ways.marginals();
    let regeneration = safety::regeneration(&Grounds {
        case,
        seen: &full.seen,
        faults: &faults,
        coolant_degc: view.coolant_degc,
        fuel_percent: view.fuel_percent,
        temperatures_compared: view
            .signs
            .list
            .iter()
            .any(|s| matches!(s.name, "sign-before-after" | "sign-cold-soak")),
        burns: &view.burns,
        fuel_in_oil,
        soot: &draws.soot,
        weight: &draws.weight,
        estimate: filter.soot_load_g_per_l,
        effective: full.effective(),
    });
    let ash = ash::outlook(case, &view.priors, &draws, filter.ash_load_g_per_l.told);
    let mut out = Assessment {
        filter,
        additive: additive.balance.clone(),
        fault_sets,
        faults,
        additive_faults: ways.mixed(|w| w.joint.additive_marginals()),
        due: Vec::new(),
        life: None,
        fault_set_told,
        cannot_tell: Vec::new(),
        proof,
        plain: Vec::new(),
        why: Vec::new(),
        cautions: Vec::new(),
        missing: Vec::new(),
        windows: view.summaries.iter().flat_map(|s| s.windows.clone()).collect(),
        burns: view.burns.clone(),
        fuel_in_oil,
        ash,
        regeneration,
        readings: Vec::new(),
        plot: view.plot(&draws),
        problems: view.problems.clone(),
    };
    out.due = due::due(case, &out, &draws);
    explain::fill(&mut out, view, full, additive, &draws, &before, knowledge);
    (out, draws)
}

/// Equally weighted draws of everything the figures of [`assess`] are made of, all fault sets together:
/// what their quantiles are taken from. For checks of calibration.
#[must_use]
pub fn draws(evidence: &Evidence) -> Draws {
    let view = View::new(evidence, typed::current_role(evidence.case));
    let additive = additive_side(evidence.case, evidence.knowledge, true);
    let network = Network::new(evidence.knowledge);
    Joint::new(&view, &additive, evidence.knowledge, &network, Effort::FULL).draws(&view)
}

/// The facts of one run of the estimator, condensed.
#[derive(Clone)]
pub(crate) struct View<'a> {
    pub(crate) case: &'a Case,
    pub(crate) standard: Standard,
    pub(crate) priors: Priors,
    pub(crate) data: PressureData,
    pub(crate) signs: Signs,
    pub(crate) points: Vec<PressurePoint>,
    pub(crate) rows: Vec<Row>,
    /// Rows that before and after are compared by.
    compared: [Vec<Row>; 2],
    same_instrument: bool,
    pub(crate) burns: Vec<SeenBurn>,
    /// Last coolant temperature of the recordings, degC.
    pub(crate) coolant_degc: Option<f64>,
    /// Last fuel level of the recordings, percent.
    fuel_percent: Option<f64>,
    /// Some reading under flow says more than the zero and the last count.
    resolved: bool,
    summaries: Vec<Summary>,
    problems: Vec<Text>,
    evidence: Option<&'a Evidence<'a>>,
    role: Role,
    /// Spreads of flow and temperature error by their sources alone.
    pub(crate) fresh_spreads: (f64, f64),
}

/// Spreads of flow factor and temperature error.
fn spreads(p: &Priors) -> (f64, f64) {
    let of = |j: usize| p.common[j].parts().first().map_or(1.0, |q| q.2);
    (of(crate::prior::coordinate::FLOW), of(crate::prior::coordinate::HEAT))
}

fn standard_flow(case: &Case) -> f64 {
    if is_heavy(case) { 0.150 } else { 0.050 }
}

impl<'a> View<'a> {
    pub(crate) fn without_readings(case: &'a Case) -> Self {
        let priors = Priors::new(case, &[], false);
        Self {
            standard: Standard::new(standard_flow(case), priors.ambient_pa),
            case,
            fresh_spreads: spreads(&priors),
            priors,
            data: PressureData::default(),
            signs: Signs::default(),
            points: Vec::new(),
            rows: Vec::new(),
            compared: [Vec::new(), Vec::new()],
            same_instrument: true,
            burns: Vec::new(),
            coolant_degc: None,
            fuel_percent: None,
            resolved: false,
            summaries: Vec::new(),
            problems: Vec::new(),
            evidence: None,
            role: typed::current_role(case),
        }
    }

    pub(crate) fn new(evidence: &'a Evidence<'a>, role: Role) -> Self {
        let case = evidence.case;
        let displacement = case.car.displacement_l.map(|d| d / 1000.0);
        let fuel_density = case.fuel.density_kg_per_m3.unwrap_or(835.0);
        let of_role = |r: Role| {
            case.recording.iter().zip(evidence.recordings).enumerate().filter_map(move |(i, (row, rec))| {
                let same = row.role.unwrap_or(Role::Now) == r;
                rec.as_ref().filter(|_| same).map(|rec| (i, rec))
            })
        };
        let conditions: Vec<(usize, Conditions)> =
            of_role(role).map(|(i, r)| (i, Conditions::new(r, fuel_density, displacement))).collect();
        let references: Vec<&Conditions> = conditions.iter().map(|c| &c.1).collect();
        let mut priors = Priors::new(case, &references, false);
        let standard = Standard::new(standard_flow(case), priors.ambient_pa);
        let readings = typed::gather(case, role, priors.state_since_km, &standard);
        if readings.flow_guessed && references.iter().all(|c| c.flow_source.is_none()) {
            priors = Priors::new(case, &references, true);
        }
        let range = case.sensor.range_kpa;
        let summaries: Vec<Summary> =
            conditions.iter().map(|(i, c)| summarise(c, &standard, range, *i, false)).collect();

        let mut problems = Vec::new();
        for (row, rec) in case.recording.iter().zip(evidence.recordings) {
            if rec.is_none() {
                problems.push(Text::new("problem-recording-unread").word("file", row.file.clone()));
            }
        }
        for ((i, c), s) in conditions.iter().zip(&summaries) {
            let file = case.recording[*i].file.clone();
            if crate::conditions::median(&c.dp_kpa).is_none() {
                problems.push(Text::new("problem-no-pressure").word("file", file));
            } else if s.flow_source.is_none() {
                problems.push(Text::new("problem-no-flow").word("file", file));
            } else if c.filter_sensors == 0 {
                problems.push(Text::new("problem-no-temperature").word("file", file));
            }
        }

        let mut rows = readings.rows.clone();
        rows.extend(summaries.iter().flat_map(|s| s.rows.iter().copied()));
        // The order in which facts were entered must not show, not even in the last digit.
        rows.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0[1].total_cmp(&b.0[1])).then(a.2.total_cmp(&b.2)));
        let mut points = readings.points.clone();
        points.extend(summaries.iter().flat_map(|s| s.points.iter().copied()));
        let hot: Vec<f64> = points
            .iter()
            .filter(|p| p.flow_g_per_s > 0.0 && (!p.before || role == Role::Before))
            .map(|p| p.temperature_degc + 273.15)
            .collect();
        let mean_k = (!hot.is_empty()).then(|| hot.iter().sum::<f64>() / hot.len() as f64);
        let longest = summaries.iter().max_by(|a, b| a.usable_s.total_cmp(&b.usable_s));
        let judged = summaries.iter().any(|s| s.usable_s > 30.0 && s.flow_range > 1.5);
        let data = PressureData {
            controller: (!rows.is_empty()).then(|| Block::from_rows(&rows)),
            gauge: (!readings.gauge.is_empty()).then(|| Block::from_rows(&readings.gauge)),
            mean_k,
            time_constant_s: longest.and_then(|s| s.time_constant_s),
            explained: longest.filter(|s| s.flow_range > 1.8).and_then(|s| s.explained),
            constant: judged.then(|| summaries.iter().any(|s| s.constant)),
            below_zero: if readings.rows.iter().any(|r| r.1 < 0.0) {
                BelowZero::Shown
            } else {
                conditions
                    .iter()
                    .map(|(_, c)| c.dp_below_zero)
                    .find(|b| *b != BelowZero::Unknown)
                    .unwrap_or_default()
            },
        };
        let mut signs = Signs::default();
        for (_, c) in &conditions {
            let mut s = signs::read(c, displacement);
            signs.meter = signs.meter.or(s.meter);
            for one in s.list.drain(..) {
                // Two recordings of one visit repeat a sign; the first speaks.
                if !signs.list.iter().any(|o| o.name == one.name) {
                    signs.list.push(one);
                }
            }
        }

        let mut before_rows = Vec::new();
        let mut after_rows: Vec<Row> = summaries.iter().flat_map(|s| s.rows.iter().copied()).collect();
        if role != Role::Before {
            let r = typed::gather(case, Role::Before, f64::NEG_INFINITY, &standard);
            // The car's own sensor, or where it was not read at both times, a gauge.
            let k = usize::from(after_rows.is_empty() && [&r, &readings].iter().any(|t| t.own[0].is_empty()));
            let [ours, gauge] = r.own;
            before_rows.extend(if k == 0 { ours } else { gauge });
            after_rows.extend(readings.own[k].iter().copied());
            points.extend(r.points);
            for (i, rec) in of_role(Role::Before) {
                let c = Conditions::new(rec, fuel_density, displacement);
                let s = summarise(&c, &standard, range, i, true);
                before_rows.extend(s.rows);
                points.extend(s.points);
            }
        }
        // A burn inside a recording parts it into before and after, with one sensor and one hose.
        if before_rows.is_empty() {
            before_rows.extend(summaries.iter().flat_map(|s| s.before_rows.iter().copied()));
        }
        let soot_doped = scenario::doped(case);
        let burns = conditions.iter().flat_map(|(i, c)| burns::read(c, *i, soot_doped)).collect();
        let newest = |of: fn(&Conditions) -> Option<f64>| conditions.iter().rev().find_map(|(_, c)| of(c));
        Self {
            standard,
            fresh_spreads: spreads(&priors),
            priors,
            data,
            signs,
            points,
            compared: [before_rows, after_rows],
            same_instrument: same_instrument(case),
            burns,
            coolant_degc: newest(|c| c.coolant_degc.iter().rev().find(|t| t.is_finite()).copied()),
            fuel_percent: newest(|c| c.fuel_level_percent),
            resolved: readings.rows.iter().chain(&readings.gauge).any(|r| r.0[1] > 0.0)
                || summaries.iter().any(|s| s.resolved),
            summaries,
            problems,
            evidence: Some(evidence),
            role,
            rows,
            case,
        }
    }

    pub(crate) fn seen(&self, knowledge: &Knowledge) -> Seen {
        let recordings = self.evidence.map_or(&[][..], |e| e.recordings);
        Seen::new(self.case, recordings, knowledge, self.role, !self.rows.is_empty())
    }

    pub(crate) fn proof(&self) -> Option<crate::assessment::Proof> {
        let [before, after] = &self.compared;
        if before.is_empty() {
            return None;
        }
        let case = self.case;
        let here = |km: Option<f64>| {
            km.is_none_or(|o| case.car.odometer_km.is_none_or(|now| o >= now - typed::STAY_KM))
        };
        // A sensor changed between the two readings is another instrument.
        if self.role == Role::After && case.sensor_replaced.iter().any(|r| here(r.odometer_km)) {
            return Some(proof::refused("proof-sensor-replaced"));
        }
        let minutes = |r: &facts::case::Reading| {
            (r.quantity == facts::case::Quantity::TimeSinceRegeneration)
                .then(|| typed::canonical(r))
                .flatten()
                .map(|v| v.0 / 60.0)
        };
        if case.reading.iter().filter_map(minutes).any(|m| m < proof::SETTLE_MIN) {
            return Some(proof::refused("proof-too-soon"));
        }
        proof::compare(before, after, self.same_instrument)
    }

    fn plot(&self, draws: &Draws) -> PressurePlot {
        let top = self.points.iter().map(|p| p.flow_g_per_s).fold(0.0, f64::max);
        if top <= 0.0 {
            return PressurePlot { points: self.points.clone(), ..PressurePlot::default() };
        }
        let kelvin = self.data.mean_k.unwrap_or(crate::summary::STANDARD_K);
        let weight: Vec<f64> = draws.weight.iter().step_by(PLOTTED).copied().collect();
        let band = |of: &[[f64; crate::summary::K]]| -> Vec<BandPoint> {
            (0..=24)
                .map(|i| {
                    let flow = top * 1.1 * f64::from(i) / 24.0;
                    let row = self.standard.row(flow / 1000.0, kelvin, 3.0);
                    let shown: Vec<f64> = of
                        .iter()
                        .step_by(PLOTTED)
                        .map(|b| b.iter().zip(&row).map(|(b, x)| b * x).sum())
                        .collect();
                    let [p05, p50, p95] = weighted_quantiles(&shown, &weight, [0.05, 0.5, 0.95]);
                    BandPoint { flow_g_per_s: flow, p05, p50, p95 }
                })
                .collect()
        };
        PressurePlot {
            points: self.points.clone(),
            band_temperature_degc: kelvin - 273.15,
            fitted: band(&draws.beta),
            as_new: band(&draws.beta_new),
        }
    }
}

/// Whether before and after were read with one instrument.
fn same_instrument(case: &Case) -> bool {
    let of = |before: bool| {
        case.reading
            .iter()
            .filter(move |r| (r.role == Some(Role::Before)) == before)
            .filter(|r| r.quantity == facts::case::Quantity::DifferentialPressure)
            .filter_map(|r| r.instrument.clone())
            .collect::<std::collections::BTreeSet<_>>()
    };
    let (b, a) = (of(true), of(false));
    b.is_empty() || a.is_empty() || b == a
}

/// Weight of no fault among cars that come in.
pub(crate) fn prior_of_none(knowledge: &Knowledge) -> f64 {
    (NO_FAULT * knowledge.prior_none()).max(1e-6)
}

/// Weight of a single fault among them, before any visit told more.
pub(crate) fn prior_of(case: &Case, f: FaultId, knowledge: &Knowledge) -> f64 {
    knowledge.prior(f) * circumstances::factor(case, f)
}

/// `informed`: the readings carry something of this figure at all. A narrower interval that only follows
/// from a likelier fault set tells nothing of the filter.
fn estimate(now: [f64; 3], before: [f64; 3], informed: bool) -> Estimate {
    let narrower = |width: &dyn Fn([f64; 3]) -> f64| width(now) < TOLD_BELOW * width(before);
    // A figure that cannot be negative is also known better when its ratio is: an answer that moved up may
    // be wider in grams and yet far from what was believed before.
    let positive = now[0] > 0.0 && before[0] > 0.0;
    let told = informed && (narrower(&|v| v[2] - v[0]) || (positive && narrower(&|v| (v[2] / v[0]).ln())));
    Estimate { p05: now[0], p50: now[1], p95: now[2], told }
}

/// The figures of a visit on the way, held against what the same facts leave without pressure.
pub(crate) fn filter_state_alone(view: &View, draws: &Draws) -> FilterState {
    let bare = View::without_readings(view.case);
    let list = [Hypothesis {
        faults: Vec::new(),
        sensor: crate::hypothesis::SensorMode::Sound,
        engine: crate::hypothesis::EngineMode::Sound,
        soot: crate::hypothesis::SootMode::Misled,
        ash: crate::hypothesis::AshMode::ByDistance,
        log_prior: 0.0,
    }];
    let effort = Effort { first: 300, second: 0, rounds: 0, enough: 0.0, draws: 600 };
    let prior = posterior(&list, &bare.priors, &bare.data, &bare.signs, &bare.standard, &|_| 0.0, effort);
    let before = prior.draws(&list, &bare.priors, &bare.data, &|_| 0.0, &|_| 1.0);
    filter_state(view, draws, &before)
}

pub(crate) fn filter_state(view: &View, draws: &Draws, before: &Draws) -> FilterState {
    let product = |d: &Draws, of: &[f64]| d.volume.iter().zip(of).map(|(v, x)| v * x).collect::<Vec<f64>>();
    let ratio = |d: &Draws| {
        d.standard.iter().zip(&d.standard_new).map(|(a, b)| a / b.max(1e-6)).collect::<Vec<f64>>()
    };
    let carrying = draws.informed.iter().filter(|i| **i).count() as f64 / draws.informed.len().max(1) as f64;
    let informed = view.resolved && carrying > 0.5;
    let both = |now: &[f64], then: &[f64]| estimate(draws.interval(now), before.interval(then), informed);
    FilterState {
        soot_mass_g: both(&product(draws, &draws.soot), &product(before, &before.soot)),
        soot_load_g_per_l: both(&draws.soot, &before.soot),
        ash_mass_g: both(&product(draws, &draws.ash), &product(before, &before.ash)),
        ash_load_g_per_l: both(&draws.ash, &before.ash),
        zero_kpa: estimate(draws.interval(&draws.zero), before.interval(&before.zero), !view.rows.is_empty()),
        standard_pressure_drop_kpa: both(&draws.standard, &before.standard),
        standard_pressure_drop_as_new_kpa: both(&draws.standard_new, &before.standard_new),
        ratio_to_as_new: both(&ratio(draws), &ratio(before)),
        standard_flow_g_per_s: view.standard.flow * 1000.0,
        volume_l: draws.interval(&draws.volume)[1],
    }
}
