//! How far a signal can be trusted as a time series: its rate, where it is interrupted, where it stands still although
//! it should not, and how late it comes.
//!
//! Nothing is filled in anywhere: a dropout is a stretch without values, and [`align`] leaves its cells empty.

use crate::model::{Recording, Signal};
use crate::quantity::Quantity as Q;

/// A stretch of a signal, in seconds since the first frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Last value before a dropout, or first of a frozen stretch.
    pub from_s: f64,
    /// First value after a dropout, or last of a frozen stretch.
    pub to_s: f64,
}

impl Stretch {
    /// Its length.
    pub fn seconds(&self) -> f64 {
        self.to_s - self.from_s
    }
}

/// What the spacing and the movement of a signal's samples say.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Quality {
    /// Usual time between two samples: the median. `None` below two samples.
    pub period_s: Option<f64>,
    /// Where samples are missing: a pause of more than five periods and more than half a second (judgement, no source).
    pub dropouts: Vec<Stretch>,
    /// Where a quantity that follows the load did not move by one count for ten seconds and twenty samples although the
    /// engine speed changed by a fifth (judgement, no source).
    pub frozen: Vec<Stretch>,
}

const DROPOUT_PERIODS: f64 = 5.0;
const DROPOUT_LEAST_S: f64 = 0.5;
const FROZEN_S: f64 = 10.0;
const FROZEN_SAMPLES: usize = 20;
const SPEED_CHANGE: f64 = 0.2;

/// Quantities that move when the engine's speed does.
fn follows_load(quantity: Q) -> bool {
    matches!(
        quantity,
        Q::FilterDifferentialPressure
            | Q::ExhaustPressure
            | Q::IntakeAirMassFlow
            | Q::ExhaustMassFlow
            | Q::FuelVolumeRate
            | Q::FuelMassRate
            | Q::EngineLoad
            | Q::IntakeManifoldPressure
            | Q::BoostPressure
            | Q::TorqueActual
            | Q::EngineSpeed
    )
}

/// Judges one signal of a recording. Stretches are in order of time.
pub fn quality(signal: &Signal, recording: &Recording) -> Quality {
    let mut found = Quality { period_s: period(&signal.time_s), ..Quality::default() };
    let Some(period) = found.period_s else { return found };
    let longest = (DROPOUT_PERIODS * period).max(DROPOUT_LEAST_S);
    found.dropouts = signal
        .time_s
        .windows(2)
        .filter_map(|w| match w {
            [a, b] if b - a > longest => Some(Stretch { from_s: *a, to_s: *b }),
            _ => None,
        })
        .collect();
    if follows_load(signal.quantity) {
        found.frozen = frozen(signal, recording.signal(Q::EngineSpeed));
    }
    found
}

fn period(times: &[f64]) -> Option<f64> {
    let mut steps: Vec<f64> = times
        .windows(2)
        .filter_map(|w| match w {
            [a, b] => Some(b - a),
            _ => None,
        })
        .collect();
    let middle = steps.len() / 2;
    if steps.is_empty() {
        return None;
    }
    let (_, median, _) = steps.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*median)
}

fn frozen(signal: &Signal, speed: Option<&Signal>) -> Vec<Stretch> {
    let Some(speed) = speed else { return Vec::new() };
    let same_signal = speed.quantity == signal.quantity && speed.source == signal.source;
    let mut list = Vec::new();
    let mut at = 0;
    let points: Vec<(f64, f64)> = signal.time_s.iter().copied().zip(signal.value.iter().copied()).collect();
    while let Some((from_s, value)) = points.get(at).copied() {
        let run = points.get(at..).unwrap_or(&[]).iter().take_while(|(_, v)| *v == value).count();
        let to_s = points.get(at + run - 1).map_or(from_s, |p| p.0);
        let long = run >= FROZEN_SAMPLES && to_s - from_s >= FROZEN_S;
        if long && !same_signal && moved(speed, from_s, to_s) {
            list.push(Stretch { from_s, to_s });
        }
        at += run.max(1);
    }
    list
}

/// True if the engine speed changed by a fifth of its highest value within the stretch, at running engine.
fn moved(speed: &Signal, from_s: f64, to_s: f64) -> bool {
    let first = speed.time_s.partition_point(|t| *t < from_s);
    let last = speed.time_s.partition_point(|t| *t <= to_s);
    let values = speed.value.get(first..last).unwrap_or(&[]);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    low > 0.0 && high.is_finite() && high - low > SPEED_CHANGE * high
}

/// Where a source's delay was taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum DelayBasis {
    /// The mean time from a request to the last frame of its answer: the value was read somewhere in between.
    Answer,
    /// The period of a broadcast: the value can be as old as that.
    Broadcast,
    /// The shift at which its engine speed or road speed fits the one of the reference source best.
    Alignment,
    /// Nothing in the recording tells.
    Unknown,
}

/// How much later than the reference a source's values come.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceDelay {
    /// Source without the parameter: `7E8`, `SA 00`; a column's name for tables.
    pub source: String,
    /// Delay in seconds: a value at time t was true at t - delay.
    pub delay_s: f64,
    /// Standard uncertainty of the delay.
    pub uncertainty_s: f64,
    /// What it was taken from.
    pub basis: DelayBasis,
}

/// The module in front of a signal's service or group.
fn module(source: &str) -> &str {
    for mark in [" 01 ", " 22 ", " PGN "] {
        if let Some(at) = source.find(mark) {
            return source.get(..at).unwrap_or(source);
        }
    }
    source
}

/// Estimates the delay of each source. The one with most samples of engine or road speed is the reference of an
/// alignment; where sources share no such signal, half the answer time or half the period stands for the delay, with a
/// uniform distribution over the whole of it (GUM 4.3.7).
pub fn delays(recording: &Recording) -> Vec<SourceDelay> {
    let mut sources: Vec<&str> = recording.signals.iter().map(|s| module(&s.source)).collect();
    sources.sort_unstable();
    sources.dedup();
    let reference = [Q::EngineSpeed, Q::VehicleSpeed].into_iter().find_map(|q| {
        let list: Vec<&Signal> = recording.signals_of(q).collect();
        (list.len() > 1).then(|| list.into_iter().max_by_key(|s| s.value.len())).flatten()
    });
    let own = |source: &str| {
        let service = recording.services.iter().filter(|s| s.source == source).find_map(|s| s.mean_answer_s);
        let broadcast = source.contains("SA ");
        let period = || {
            let signals = recording.signals.iter().filter(|s| module(&s.source) == source);
            signals.filter_map(|s| period(&s.time_s)).reduce(f64::min)
        };
        match service {
            Some(answer) => (answer / 2.0, answer / 12f64.sqrt(), DelayBasis::Answer),
            None => match period().filter(|_| broadcast) {
                Some(period) => (period / 2.0, period / 12f64.sqrt(), DelayBasis::Broadcast),
                None => (0.0, f64::INFINITY, DelayBasis::Unknown),
            },
        }
    };
    sources
        .into_iter()
        .map(|source| {
            let (delay_s, uncertainty_s, basis) = own(source);
            let mut found = SourceDelay { source: source.to_owned(), delay_s, uncertainty_s, basis };
            if let Some(reference) = reference.filter(|r| module(&r.source) != source) {
                let same = recording
                    .signals_of(reference.quantity)
                    .find(|s| module(&s.source) == source && s.instance == reference.instance);
                if let Some((shift, uncertainty)) = same.and_then(|s| lag(reference, s)) {
                    let (base, base_uncertainty, _) = own(module(&reference.source));
                    let base_uncertainty = if base_uncertainty.is_finite() { base_uncertainty } else { 0.0 };
                    found.delay_s = base + shift;
                    found.uncertainty_s = uncertainty.hypot(base_uncertainty);
                    found.basis = DelayBasis::Alignment;
                }
            }
            found
        })
        .collect()
}

/// Straight line between samples; `None` outside them and in pauses of more than two seconds.
fn between(signal: &Signal, time: f64) -> Option<f64> {
    let after = signal.time_s.partition_point(|t| *t < time);
    let (t1, v1) = (*signal.time_s.get(after)?, *signal.value.get(after)?);
    if t1 == time {
        return Some(v1);
    }
    let before = after.checked_sub(1)?;
    let (t0, v0) = (*signal.time_s.get(before)?, *signal.value.get(before)?);
    (t1 - t0 <= 2.0).then(|| v0 + (v1 - v0) * (time - t0) / (t1 - t0))
}

/// Seconds by which `late` follows `reference`, with its uncertainty: the shift within three seconds at which the two
/// differ least in the mean square. `None` if they move too little to tell, or if the best shift is at the edge.
pub fn lag(reference: &Signal, late: &Signal) -> Option<(f64, f64)> {
    const STEP: f64 = 0.02;
    const MOST: i32 = 150;
    // At most a few thousand points: enough for a mean, cheap for a long recording.
    let every = (late.time_s.len() / 4000).max(1);
    let points: Vec<(f64, f64)> =
        late.time_s.iter().copied().zip(late.value.iter().copied()).step_by(every).collect();
    let misfit = |shift: f64| {
        let (mut sum, mut count) = (0.0, 0usize);
        for (time, value) in &points {
            if let Some(other) = between(reference, time - shift) {
                sum += (value - other) * (value - other);
                count += 1;
            }
        }
        (count >= 50 && count * 2 >= points.len()).then(|| (sum / count as f64, count))
    };
    let mut best: Option<(i32, f64, usize)> = None;
    for n in -MOST..=MOST {
        if let Some((miss, count)) = misfit(f64::from(n) * STEP)
            && best.is_none_or(|(_, least, _)| miss < least)
        {
            best = Some((n, miss, count));
        }
    }
    let (n, least, count) = best?;
    if n.abs() >= MOST {
        return None;
    }
    // A parabola through the neighbours: its curve says how sharply the shift is told.
    let (low, _) = misfit(f64::from(n - 1) * STEP)?;
    let (high, _) = misfit(f64::from(n + 1) * STEP)?;
    let curve = (low - 2.0 * least + high) / (STEP * STEP);
    let spread = variance(&points)?;
    if curve <= 0.0 || spread <= 0.0 || least > 0.2 * spread {
        return None;
    }
    let top = 0.5 * (low - high) / (low - 2.0 * least + high);
    // Misfits of neighbouring samples are alike: one independent sample a second is counted.
    let seconds = points.last()?.0 - points.first()?.0;
    let independent = (count as f64).min(seconds).max(1.0);
    let uncertainty =
        (2.0 * least.max(1e-12 * spread) / (curve * independent)).sqrt().max(STEP / 12f64.sqrt());
    Some((f64::from(n) * STEP + top.clamp(-0.5, 0.5) * STEP, uncertainty))
}

fn variance(points: &[(f64, f64)]) -> Option<f64> {
    let count = points.len() as f64;
    let mean = points.iter().map(|p| p.1).sum::<f64>() / count;
    (count > 1.0).then(|| points.iter().map(|p| (p.1 - mean) * (p.1 - mean)).sum::<f64>() / (count - 1.0))
}

/// Signals on one clock: rows at equal steps, one column a signal. An empty cell is a dropout or before the first value:
/// it is never filled.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Aligned {
    /// Time of each row in seconds since the first frame, on the clock of what was true, delays taken off.
    pub time_s: Vec<f64>,
    /// One column for each signal of the recording, in its order.
    pub columns: Vec<Vec<Option<f64>>>,
}

/// Puts all signals on one clock with steps of `step_s` seconds: each row takes the last value that was true at its
/// time, unless a dropout lies between. At most ten million cells are made; `None` beyond, or without a positive step.
pub fn align(recording: &Recording, step_s: f64) -> Option<Aligned> {
    let rows = recording.duration_s / step_s;
    if !(step_s > 0.0 && rows.is_finite()) || rows * recording.signals.len() as f64 > 1e7 {
        return None;
    }
    let time_s: Vec<f64> = (0..=rows as usize).map(|n| n as f64 * step_s).collect();
    let delays = delays(recording);
    let columns = recording
        .signals
        .iter()
        .map(|signal| {
            let quality = quality(signal, recording);
            let delay = delays.iter().find(|d| d.source == module(&signal.source)).map_or(0.0, |d| d.delay_s);
            let oldest = quality.period_s.map_or(0.0, |p| (DROPOUT_PERIODS * p).max(DROPOUT_LEAST_S));
            let mut next = 0;
            time_s
                .iter()
                .map(|time| {
                    while signal.time_s.get(next).is_some_and(|t| t - delay <= *time) {
                        next += 1;
                    }
                    let last = next.checked_sub(1)?;
                    let seen = signal.time_s.get(last)? - delay;
                    let missing = quality.dropouts.iter().any(|d| {
                        d.from_s - delay < *time && *time < d.to_s - delay && seen <= d.from_s - delay
                    });
                    (!missing && time - seen <= oldest).then(|| signal.value.get(last).copied()).flatten()
                })
                .collect()
        })
        .collect();
    Some(Aligned { time_s, columns })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop here")]
    use super::*;

    fn signal(quantity: Q, source: &str, points: impl Iterator<Item = (f64, f64)>) -> Signal {
        let (time_s, value) = points.unzip();
        Signal { quantity, instance: 0, source: source.to_owned(), resolution: 0.25, time_s, value }
    }

    fn drive(t: f64) -> f64 {
        1500.0 + 500.0 * (t / 5.0).sin() + 200.0 * (t / 1.7).cos()
    }

    #[test]
    fn analytic_a_known_delay_is_found() {
        let early = signal(
            Q::EngineSpeed,
            "SA 00 PGN 61444 SPN 190",
            (0..6000).map(|n| {
                let t = f64::from(n) * 0.01;
                (t, drive(t))
            }),
        );
        for true_delay in [0.0, 0.137, -0.42, 1.05] {
            let late = signal(
                Q::EngineSpeed,
                "7E8 01 0C",
                (0..500).map(|n| {
                    let t = 0.05 + f64::from(n) * 0.11;
                    (t, (drive(t - true_delay) * 4.0).round() / 4.0)
                }),
            );
            let (found, uncertainty) = lag(&early, &late).unwrap();
            assert!(
                (found - true_delay).abs() < 3.0 * uncertainty && uncertainty < 0.05,
                "{true_delay}: {found} {uncertainty}"
            );
            let recording =
                Recording { signals: vec![early.clone(), late], duration_s: 60.0, ..Recording::default() };
            let all = delays(&recording);
            assert_eq!(all[0].basis, DelayBasis::Alignment);
            assert_eq!(all[1].basis, DelayBasis::Broadcast);
        }
        // A signal that does not move tells nothing.
        let flat = signal(Q::EngineSpeed, "7E8 01 0C", (0..500).map(|n| (f64::from(n) * 0.1, 800.0)));
        assert_eq!(lag(&early, &flat), None);
    }

    #[test]
    fn analytic_dropouts_and_frozen_stretches_are_marked_and_never_filled() {
        let speed = signal(
            Q::EngineSpeed,
            "7E8 01 0C",
            (0..600).map(|n| {
                let t = f64::from(n) * 0.1;
                (t, drive(t))
            }),
        );
        // 0.2 s steps, nothing between 20 and 25 s, no movement from 40 to 55 s.
        let drop = signal(
            Q::FilterDifferentialPressure,
            "7E8 01 7A",
            (0..300)
                .map(|n| f64::from(n) * 0.2)
                .filter(|t| !(20.1..25.0).contains(t))
                .map(|t| (t, if (40.0..55.0).contains(&t) { 3.0 } else { drive(t) / 500.0 })),
        );
        let recording = Recording { signals: vec![speed, drop], duration_s: 60.0, ..Recording::default() };
        let found = quality(&recording.signals[1], &recording);
        assert!((found.period_s.unwrap() - 0.2).abs() < 1e-9);
        assert_eq!(found.dropouts.len(), 1);
        assert!(
            (found.dropouts[0].from_s - 20.0).abs() < 0.11 && (found.dropouts[0].to_s - 25.0).abs() < 0.11
        );
        assert_eq!(found.frozen.len(), 1);
        assert!((found.frozen[0].seconds() - 14.8).abs() < 0.3, "{:?}", found.frozen);
        let aligned = align(&recording, 0.5).unwrap();
        let column = &aligned.columns[1];
        let cell = |t: f64| column[(t / 0.5) as usize];
        assert!(cell(10.0).is_some() && cell(22.0).is_none() && cell(24.5).is_none() && cell(26.0).is_some());
        assert_eq!(align(&recording, 0.0), None);
    }

    #[test]
    fn regress_an_idling_engine_freezes_nothing() {
        let speed = signal(Q::EngineSpeed, "SA 00", (0..1000).map(|n| (f64::from(n) * 0.1, 650.0)));
        let drop =
            signal(Q::FilterDifferentialPressure, "SA 00", (0..200).map(|n| (f64::from(n) * 0.5, 0.2)));
        let recording = Recording { signals: vec![speed, drop], ..Recording::default() };
        assert!(
            quality(&recording.signals[1], &recording).frozen.is_empty(),
            "steps of 0.1 kPa hide what moves"
        );
    }
}
