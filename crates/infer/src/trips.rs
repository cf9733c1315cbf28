//! Will this driving ever finish a regeneration, and what change of habit would?
//!
//! A burn that the controller asks for needs the engine warm and then a stretch of load without a stop. A trip
//! gives what is left of it once the coolant is warm; a burn that is broken off starts again from what is left.

use crate::quasi::{Points, normal_quantile};

/// One kind of trip that is driven again and again.
#[derive(Debug, Clone, PartialEq)]
pub struct Trip {
    /// How often a week.
    pub per_week: f64,
    /// Length, km.
    pub km: f64,
    /// Longest stretch of warm, steady driving in it, minutes (see [`from_speeds`] and [`from_words`]).
    pub usable_min: f64,
}

/// Where a trip goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Road {
    /// Stop and go.
    Town,
    /// Country roads.
    Country,
    /// Motorway.
    Motorway,
}

/// Minutes of driving until the coolant is warm enough for a burn (75 degC): 8 in town, 6 on the road (common
/// practice; longer in winter).
const WARM_MIN: (f64, f64) = (8.0, 6.0);
/// Below this speed the exhaust of a small engine cools off, km/h (common practice).
const FAST_KM_PER_H: f64 = 50.0;
/// A stop longer than this breaks a stretch, s (common practice).
const STOP_S: f64 = 45.0;
/// Minutes of burning that a complete driving regeneration takes: median and spread of the logarithm (7 to 12
/// typical, up to 25; trade reference 3.3, from memory).
const NEEDS_MIN: (f64, f64) = (12.0, 0.35);
/// A controller tries for about this distance before it gives up and lights the lamp, km (common practice).
const PATIENCE_KM: (f64, f64) = (150.0, 0.5);

/// A trip told in words: usable minutes from the kind of road.
#[must_use]
pub fn from_words(road: Road, km: f64, per_week: f64) -> Trip {
    let (speed, share, warm) = match road {
        // In town stretches above the speed do not last; idling and creeping keep some heat in.
        Road::Town => (24.0, 0.25, WARM_MIN.0),
        Road::Country => (62.0, 0.75, WARM_MIN.1),
        Road::Motorway => (100.0, 0.95, WARM_MIN.1),
    };
    let minutes = km / speed * 60.0;
    Trip { per_week, km, usable_min: (minutes - warm).max(0.0) * share }
}

/// A trip from a speed trace of (seconds, km/h) with rising times: longest stretch after warming up that is fast
/// on average over two minutes and has no long stop.
#[must_use]
pub fn from_speeds(points: &[(f64, f64)], per_week: f64) -> Option<Trip> {
    let (first, last) = (points.first()?, points.last()?);
    let mut km = 0.0;
    let (mut best, mut now, mut stopped) = (0.0_f64, 0.0_f64, 0.0);
    let mut mean = 0.0;
    let mut driven = 0.0;
    for pair in points.windows(2) {
        let [a, b] = pair else { continue };
        let dt = (b.0 - a.0).max(0.0);
        let v = 0.5 * (a.1 + b.1);
        km += v * dt / 3600.0;
        driven += dt;
        mean += (1.0 - (-dt / 120.0).exp()) * (v - mean);
        stopped = if v < 2.0 { stopped + dt } else { 0.0 };
        let warm =
            driven > 60.0 * if km / (driven / 3600.0).max(1e-9) < 35.0 { WARM_MIN.0 } else { WARM_MIN.1 };
        if warm && mean > FAST_KM_PER_H && stopped < STOP_S {
            now += dt;
        } else if mean < 0.6 * FAST_KM_PER_H || stopped >= STOP_S {
            now = 0.0;
        }
        best = best.max(now);
    }
    (last.0 > first.0).then_some(Trip { per_week, km, usable_min: best / 60.0 })
}

/// What a week of driving does to a burn that is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// Probability that a burn finishes before the controller gives up.
    pub finishes: f64,
    /// Distance a week, km.
    pub km_per_week: f64,
    /// Minutes of the longest usable stretch of any trip.
    pub longest_min: f64,
    /// One trip a week added that makes nine burns in ten finish: minutes at a steady 70 km/h and more, after the
    /// engine is warm; none where the week already does.
    pub added_min: Option<f64>,
    /// With that trip.
    pub finishes_then: f64,
}

/// Draws over what is not known.
const DRAWS: usize = 400;
/// Wanted share of burns that finish.
const ENOUGH: f64 = 0.9;

fn finishes(week: &[Trip]) -> f64 {
    let per_week: f64 = week.iter().map(|t| t.per_week).sum();
    let km: f64 = week.iter().map(|t| t.per_week * t.km).sum();
    if per_week <= 0.0 || km <= 0.0 {
        return 0.0;
    }
    let points = Points;
    let mut good = 0.0;
    for i in 0..DRAWS {
        let z = |j: usize| normal_quantile(points.at(i, j));
        let needs = NEEDS_MIN.0 * (NEEDS_MIN.1 * z(0)).exp();
        let patience = PATIENCE_KM.0 * (PATIENCE_KM.1 * z(1)).exp();
        let weeks = patience / km;
        // A trip finishes the burn when its stretch is long enough; traffic moves it by a quarter.
        let fails: f64 = week
            .iter()
            .map(|t| {
                let margin = ((t.usable_min.max(0.01) / needs).ln() / 0.25).clamp(-8.0, 8.0);
                let p = crate::quasi::normal_probability(margin);
                t.per_week * weeks * (1.0 - p).max(1e-9).ln()
            })
            .sum();
        good += 1.0 - fails.exp();
    }
    good / DRAWS as f64
}

/// Judges a week of driving. `None` for a week without trips.
#[must_use]
pub fn judge(week: &[Trip]) -> Option<Verdict> {
    let km_per_week: f64 = week.iter().map(|t| t.per_week * t.km).sum();
    if km_per_week <= 0.0 {
        return None;
    }
    let now = finishes(week);
    let with = |minutes: f64| {
        let mut more = week.to_vec();
        more.push(Trip { per_week: 1.0, km: (minutes + WARM_MIN.1) / 60.0 * 75.0, usable_min: minutes });
        finishes(&more)
    };
    let mut added_min = None;
    let mut finishes_then = now;
    if now < ENOUGH {
        for minutes in (10..=60).step_by(5).map(f64::from) {
            finishes_then = with(minutes);
            added_min = Some(minutes);
            if finishes_then >= ENOUGH {
                break;
            }
        }
    }
    let longest_min = week.iter().map(|t| t.usable_min).fold(0.0, f64::max);
    Some(Verdict { finishes: now, km_per_week, longest_min, added_min, finishes_then })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_school_runs_never_finish_and_a_motorway_does() {
        let school = judge(&[from_words(Road::Town, 3.0, 10.0)]).expect("a week");
        assert!(school.finishes < 0.05, "{school:?}");
        assert!(school.added_min.is_some() && school.finishes_then > school.finishes + 0.2, "{school:?}");
        let commuter = judge(&[from_words(Road::Motorway, 45.0, 10.0)]).expect("a week");
        assert!(commuter.finishes > 0.95 && commuter.added_min.is_none(), "{commuter:?}");
        assert!(judge(&[]).is_none());
    }

    #[test]
    fn analytic_a_steady_hour_is_usable_but_for_warming_up() {
        let trace: Vec<(f64, f64)> = (0..=3600).map(|s| (f64::from(s), 90.0)).collect();
        let trip = from_speeds(&trace, 1.0).expect("a trip");
        assert!((trip.km - 90.0).abs() < 0.1 && (52.0..=54.5).contains(&trip.usable_min), "{trip:?}");
        let creeping: Vec<(f64, f64)> = (0..=3600).map(|s| (f64::from(s), 20.0)).collect();
        assert_eq!(from_speeds(&creeping, 1.0).map(|t| t.usable_min), Some(0.0));
    }
}
