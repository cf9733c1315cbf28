//! The states of the car that a life tells of, in order: one a visit, two where a visit has readings from
//! before and from after its work; and what happened between one and the next.

use crate::assess::Evidence;
use crate::typed::{self, STAY_KM};
use facts::case::{Case, RegenerationEnd, Role, Row};

/// One state of the car.
#[derive(Debug, Clone)]
pub(crate) struct Stage {
    /// Number of the visit.
    pub visit: usize,
    /// The facts that hold at it.
    pub case: Case,
    /// Role of the readings and recordings that show it.
    pub role: Role,
    /// No other state of the visit comes before it.
    pub first_of_visit: bool,
    /// No other state of the visit comes after it.
    pub last_of_visit: bool,
    /// A regeneration or cleaning belongs to the visit.
    pub burnt: bool,
}

/// The states of one visit.
pub(crate) fn of((visit, evidence): (usize, &Evidence)) -> Vec<Stage> {
    let case = evidence.case;
    let role = typed::current_role(case);
    let at_visit = |row: &dyn Fn() -> facts::case::Stamp| {
        let km = row().odometer_km;
        km.is_none_or(|o| case.car.odometer_km.is_none_or(|now| o >= now - STAY_KM))
    };
    let before = case.reading.iter().any(|r| r.role == Some(Role::Before) && r.point.is_some())
        || case.recording.iter().any(|r| r.role == Some(Role::Before));
    let burnt = case.regeneration.iter().any(|r| at_visit(&|| r.stamp()))
        || case.filter_cleaned.iter().any(|r| at_visit(&|| r.stamp()))
        || before && role == Role::After;
    let whole = Stage { visit, case: case.clone(), role, first_of_visit: true, last_of_visit: true, burnt };
    if !before || role != Role::After {
        return vec![whole];
    }
    // Before the work none of it had been done.
    let mut earlier = case.clone();
    earlier.regeneration.retain(|r| !at_visit(&|| r.stamp()));
    earlier.filter_cleaned.retain(|r| !at_visit(&|| r.stamp()));
    earlier.filter_replaced.retain(|r| !at_visit(&|| r.stamp()));
    earlier.sensor_replaced.retain(|r| !at_visit(&|| r.stamp()));
    earlier.zero_taught.retain(|r| !at_visit(&|| r.stamp()));
    earlier.reading.retain(|r| r.role == Some(Role::Before));
    let first =
        Stage { case: earlier, role: Role::Before, last_of_visit: false, burnt: false, ..whole.clone() };
    vec![first, Stage { first_of_visit: false, ..whole }]
}

/// What is told to have happened between two states.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Gap {
    /// Distance driven, km.
    pub km: Option<f64>,
    /// Both states lie in one stay.
    pub same_stay: bool,
    pub sensor_replaced: bool,
    pub zero_taught: bool,
    /// Odometer at which the filter was replaced.
    pub filter_replaced: Option<f64>,
    /// Odometer at which the filter was cleaned.
    pub filter_cleaned: Option<f64>,
    /// How a regeneration of the stay itself ended.
    pub regeneration: Option<RegenerationEnd>,
}

impl Gap {
    pub(crate) fn between(a: &Stage, b: &Stage) -> Self {
        let (x, y) = (&a.case, &b.case);
        let now = y.car.odometer_km;
        let last = |n: usize, m: usize, odometers: &mut dyn Iterator<Item = Option<f64>>| {
            (m > n).then(|| odometers.flatten().reduce(f64::max).or(now).unwrap_or(0.0))
        };
        let same_stay = a.visit == b.visit;
        let mut filter_replaced = last(
            x.filter_replaced.len(),
            y.filter_replaced.len(),
            &mut y.filter_replaced.iter().map(|r| r.odometer_km),
        );
        if let (None, Some(then), Some(fitted)) =
            (filter_replaced, x.car.odometer_km, y.filter.fitted_odometer_km)
            && fitted > then
        {
            filter_replaced = Some(fitted);
        }
        let mut filter_cleaned = last(
            x.filter_cleaned.len(),
            y.filter_cleaned.len(),
            &mut y.filter_cleaned.iter().map(|r| r.odometer_km),
        );
        if let (None, Some(then), Some(at)) =
            (filter_cleaned, x.car.odometer_km, y.filter.cleaned_odometer_km)
            && at > then
        {
            filter_cleaned = Some(at);
        }
        Self {
            km: x.car.odometer_km.zip(now).map(|(p, n)| (n - p).max(0.0)),
            same_stay,
            sensor_replaced: y.sensor_replaced.len() > x.sensor_replaced.len(),
            zero_taught: y.zero_taught.len() > x.zero_taught.len(),
            filter_replaced,
            filter_cleaned,
            regeneration: (same_stay && y.regeneration.len() > x.regeneration.len()).then(|| {
                y.regeneration
                    .iter()
                    .max_by(|p, q| {
                        let km = |r: &facts::case::Regeneration| r.odometer_km.unwrap_or(f64::MAX);
                        km(p).total_cmp(&km(q)).then(p.order.cmp(&q.order))
                    })
                    .and_then(|r| r.controller_says)
                    .unwrap_or(RegenerationEnd::Unknown)
            }),
        }
    }
}
