//! What the driver does: invented speed traces and the workshop's run.

use crate::draw::Draw;

/// What is asked of the car at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Demand {
    /// Ignition on, engine off.
    KeyOn,
    /// Standing, engine held at this speed without load; 0 = idle.
    Held(f64),
    /// Driven at this speed, km/h.
    Drive(f64),
}

/// Kind of road.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// Stop and go only.
    Town,
    /// Country roads only.
    Road,
    /// Motorway only.
    Motorway,
    /// Some of all.
    Mixed,
    /// Mostly fast.
    Fast,
}

/// Steps per second of every trace.
pub const STEPS: usize = 10;

/// An invented drive of `minutes`, with [`STEPS`] demands per second. It begins with `key_on` seconds of
/// ignition without engine and some idling.
pub fn drive(draw: &mut Draw, minutes: f64, style: Style, heavy: bool, key_on: f64) -> Vec<Demand> {
    let total = (minutes * 60.0) as usize;
    let mut speed: Vec<f64> = vec![0.0; draw.uniform(8.0, 40.0) as usize];
    let (weights, pull): ([f64; 3], (f64, f64)) = match style {
        Style::Town => ([1.0, 0.0, 0.0], (0.8, 1.6)),
        Style::Road => ([0.0, 1.0, 0.0], (0.7, 1.5)),
        Style::Motorway => ([0.0, 0.0, 1.0], (0.6, 1.4)),
        Style::Mixed => ([0.45, 0.35, 0.2], (0.7, 1.5)),
        Style::Fast => ([0.15, 0.25, 0.6], (0.6, 1.4)),
    };
    let slow = if heavy { 0.5 } else { 1.0 };
    while speed.len() < total {
        let (target, cruise, stops) = match draw.weighted(&weights) {
            0 => (draw.uniform(18.0, 52.0), draw.uniform(6.0, 45.0), draw.chance(0.75)),
            1 => (draw.uniform(55.0, 95.0), draw.uniform(30.0, 150.0), draw.chance(0.25)),
            _ => (draw.uniform(95.0, 132.0), draw.uniform(90.0, 300.0), draw.chance(0.1)),
        };
        let target = if heavy { target.min(draw.uniform(78.0, 88.0)) } else { target };
        let mut v = speed.last().copied().unwrap_or(0.0);
        let up = 3.6 * slow * draw.uniform(pull.0, pull.1);
        let down = 3.6 * slow.max(0.7) * draw.uniform(0.7, 1.6);
        while (v - target).abs() > 3.0 {
            let fade = if v > 70.0 { 0.45 } else { 1.0 };
            v = if v < target { (v + up * fade).min(target) } else { (v - down).max(target) };
            speed.push(v);
        }
        let (swing, period, phase) =
            (draw.uniform(0.5, 5.0), draw.uniform(15.0, 60.0), draw.uniform(0.0, 6.0));
        for s in 0..cruise as usize {
            v = (target
                + swing * (s as f64 / period * std::f64::consts::TAU + phase).sin()
                + draw.normal(0.0, 0.4))
            .max(0.0);
            speed.push(v);
        }
        if stops {
            while v > 0.0 {
                v = (v - down).max(0.0);
                speed.push(v);
            }
            speed.extend(std::iter::repeat_n(0.0, draw.uniform(4.0, 35.0) as usize));
        }
    }
    speed.truncate(total);
    // Feet are slower than a list of numbers: mean over five seconds.
    let smooth = |i: usize| {
        let (a, b) = (i.saturating_sub(2), (i + 3).min(speed.len()));
        speed[a..b].iter().sum::<f64>() / (b - a) as f64
    };
    let seconds: Vec<f64> = (0..speed.len()).map(smooth).collect();
    let mut out = vec![Demand::KeyOn; (key_on * STEPS as f64) as usize];
    for pair in seconds.windows(2) {
        for k in 0..STEPS {
            out.push(Demand::Drive(pair[0] + (pair[1] - pair[0]) * k as f64 / STEPS as f64));
        }
    }
    out
}

/// A given speed trace of (seconds, km/h), times rising: [`STEPS`] demands per second by straight lines
/// between its points, after `key_on` seconds of ignition without engine.
#[must_use]
pub fn given(points: &[(f64, f64)], key_on: f64) -> Vec<Demand> {
    let mut out = vec![Demand::KeyOn; (key_on * STEPS as f64) as usize];
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return out };
    let steps = ((last.0 - first.0) * STEPS as f64) as usize;
    let mut at = 0;
    for k in 0..=steps {
        let t = first.0 + k as f64 / STEPS as f64;
        while at + 2 < points.len() && points[at + 1].0 <= t {
            at += 1;
        }
        let (a, b) = (points[at], points[(at + 1).min(points.len() - 1)]);
        let share = if b.0 > a.0 { ((t - a.0) / (b.0 - a.0)).clamp(0.0, 1.0) } else { 0.0 };
        out.push(Demand::Drive((a.1 + share * (b.1 - a.1)).max(0.0)));
    }
    out
}

/// The workshop's run: ignition on, hot idle, 2500 rpm held, a staircase of three speeds, idle again.
pub fn workshop(draw: &mut Draw, heavy: bool) -> Vec<Demand> {
    let scale = if heavy { 0.6 } else { 1.0 };
    let mut out = Vec::new();
    let mut hold = |demand: Demand, seconds: f64| {
        out.extend(std::iter::repeat_n(demand, (seconds * STEPS as f64) as usize));
    };
    hold(Demand::KeyOn, draw.uniform(20.0, 35.0));
    hold(Demand::Held(0.0), draw.uniform(50.0, 80.0));
    hold(Demand::Held(2500.0 * scale), draw.uniform(50.0, 80.0));
    hold(Demand::Held(0.0), draw.uniform(8.0, 20.0));
    for rpm in [1500.0, 2200.0, 3000.0] {
        hold(Demand::Held((rpm + draw.normal(0.0, 40.0)) * scale), draw.uniform(22.0, 32.0));
    }
    hold(Demand::Held(0.0), draw.uniform(20.0, 35.0));
    out
}

/// Ignition on for `seconds`, nothing else.
#[must_use]
pub fn key_on_only(seconds: f64) -> Vec<Demand> {
    vec![Demand::KeyOn; (seconds * STEPS as f64) as usize]
}

/// Idling for `seconds`.
#[must_use]
pub fn idle_only(seconds: f64) -> Vec<Demand> {
    vec![Demand::Held(0.0); (seconds * STEPS as f64) as usize]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_a_given_trace_is_followed_along_straight_lines() {
        let out = given(&[(5.0, 0.0), (15.0, 50.0), (20.0, 50.0)], 2.0);
        assert_eq!(out.len(), 20 + 151);
        assert_eq!(out[19], Demand::KeyOn);
        assert_eq!(out[20 + 50], Demand::Drive(25.0));
        assert_eq!(out[20 + 150], Demand::Drive(50.0));
        assert_eq!(given(&[], 0.0), Vec::new());
    }

    #[test]
    fn property_speeds_are_those_of_roads() {
        for stream in 0..20 {
            let mut draw = Draw::new(3, stream);
            let trace = drive(&mut draw, 12.0, Style::Mixed, false, 10.0);
            assert!((trace.len() as f64 / STEPS as f64 - 730.0).abs() < 3.0);
            for pair in trace.windows(2) {
                if let (Demand::Drive(a), Demand::Drive(b)) = (pair[0], pair[1]) {
                    assert!((0.0..150.0).contains(&a));
                    assert!((b - a).abs() * STEPS as f64 / 3.6 < 5.0, "acceleration");
                }
            }
        }
    }
}
