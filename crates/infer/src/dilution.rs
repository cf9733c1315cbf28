//! Fuel in the engine oil from the regenerations that were attempted.
//!
//! Late injections wet the cylinder walls and part of that fuel reaches the sump; an aborted burn brings as
//! much as a complete one, so attempts are counted (physics reference 9.2). Between burns the fuel leaves
//! again with a distance constant:
//!
//! x = d n/D · E (1 − exp(−D/E)), d = rise per attempt, n/D = attempts per distance since the oil change, E =
//! distance in which the fuel falls to 1/e.
//!
//! d: 60 to 250 g of late fuel a burn (13 kW of heat for ten minutes, half of it injected late), 0.5 to 3 % of
//! it to the sump (from memory, not verified), 4.3 kg of oil: median 0.04 %, a factor of 2 either way. E: chosen so that a
//! car that regenerates every 450 km comes out at the fleet mean of 0.36 % (oil-laboratory note, physics
//! reference 9.1); a factor of 2 either way, expert guess. Fuel with ester stays in the oil, which this leaves out.

use crate::quasi::{Points, normal_quantile, weighted_quantiles};
use facts::case::Case;
use serde::{Deserialize, Serialize};

/// Fuel in the oil from which laboratories say "act now", percent by mass (physics reference 9.1).
pub const ACT_PERCENT: f64 = 4.0;

/// What the counts of regenerations say of fuel in the oil.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FuelInOil {
    /// Percent by mass: 5, 50 and 95 %.
    pub percent: [f64; 3],
    /// Regenerations attempted since the oil was changed (expected).
    pub attempts: f64,
    /// Distance since the oil was changed, km (median where it is not known).
    pub since_km: f64,
    /// Whether the odometer of the oil change was told.
    pub change_told: bool,
    /// Probability of more than [`ACT_PERCENT`].
    pub above: f64,
}

/// ln of the rise per attempt into 4.3 kg of oil, percent, with its spread.
const RISE: (f64, f64) = (-3.2, 0.7);
/// ln of the distance constant, km, with its spread.
const LOSS_KM: (f64, f64) = (8.3, 0.7);
/// Usual volume of oil of a car, L (common practice, 4 to 6).
const OIL_L: f64 = 5.0;

/// The estimate; none where the case holds no counts of regenerations.
#[must_use]
pub fn fuel_in_oil(case: &Case) -> Option<FuelInOil> {
    let now = case.car.odometer_km;
    let at = |o: Option<f64>| o.or(now);
    let count = |r: &facts::case::RegenerationCount| {
        let n = r.completed.unwrap_or(0) + r.aborted.unwrap_or(0);
        (n > 0).then(|| (f64::from(n), at(r.odometer_km)))
    };
    let mut counts: Vec<(f64, Option<f64>)> = case.regeneration_count.iter().filter_map(count).collect();
    counts.sort_by(|a, b| a.1.unwrap_or(f64::MAX).total_cmp(&b.1.unwrap_or(f64::MAX)));
    let (last, last_km) = *counts.last()?;
    let changed = case.oil_change.iter().filter_map(|r| at(r.odometer_km)).reduce(f64::max);
    // Attempts per km: between two counts where there are two, else over the life of the car.
    let earlier = counts.iter().rev().skip(1).find_map(|&(n, km)| {
        let d = last_km? - km?;
        (d > 50.0 && last >= n).then_some(((last - n) / d, 0.15))
    });
    let (rate, rate_sd) = match (earlier, last_km) {
        (Some(r), _) => r,
        // A life's mean says less of the last months.
        (None, Some(km)) if km > 100.0 => (last / km, 0.45),
        _ => return None,
    };
    let since = changed.zip(now).map(|(then, now)| (now - then).max(50.0));
    let volume_l = case.oil_change.iter().rev().find_map(|r| r.volume_l).unwrap_or(OIL_L).clamp(1.0, 60.0);
    // What somebody wrote down since the change is a least number.
    let written = changed.map_or(0.0, |then| {
        case.regeneration.iter().filter(|r| at(r.odometer_km).is_some_and(|o| o >= then)).count() as f64
    });
    let points = Points;
    let n = 2000;
    let mut share = Vec::with_capacity(n);
    for i in 0..n {
        let z: [f64; 4] = std::array::from_fn(|j| normal_quantile(points.at(i, j)));
        let rise = (RISE.0 + RISE.1 * z[0]).exp() * OIL_L / volume_l;
        let loss = (LOSS_KM.0 + LOSS_KM.1 * z[1]).exp();
        // Oil is changed every 10 000 to 30 000 km; half of that lies behind (common practice).
        let km = since.unwrap_or_else(|| 8000.0 * (0.7 * z[3]).exp());
        let per_km = (rate * (rate_sd * z[2]).exp()).max(written / km);
        share.push(rise * per_km * loss * -(-km / loss).exp_m1());
    }
    let weight = vec![1.0; n];
    let since_km = since.unwrap_or(8000.0);
    Some(FuelInOil {
        percent: weighted_quantiles(&share, &weight, [0.05, 0.5, 0.95]),
        attempts: (rate * since_km).max(written),
        since_km,
        change_told: since.is_some(),
        above: share.iter().filter(|x| **x > ACT_PERCENT).count() as f64 / n as f64,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use facts::case::{OilChange, RegenerationCount};

    fn case(odometer: f64, counts: &[(f64, u32, u32)], changed: Option<f64>) -> Case {
        let mut c = Case::default();
        c.car.odometer_km = Some(odometer);
        let row = |&(km, done, aborted): &(f64, u32, u32)| RegenerationCount {
            odometer_km: Some(km),
            time: None,
            order: None,
            note: None,
            completed: Some(done),
            aborted: Some(aborted),
        };
        c.regeneration_count = counts.iter().map(row).collect();
        c.oil_change = changed
            .map(|km| OilChange {
                odometer_km: Some(km),
                time: None,
                order: None,
                note: None,
                sulfated_ash_percent: None,
                volume_l: None,
            })
            .into_iter()
            .collect();
        c
    }

    #[test]
    fn reference_the_fleet_lies_where_laboratories_see_it() {
        // Physics reference 9.1: fleet mean 0.36 % in diesel sumps; cars with many interrupted burns 3 to 8 %.
        let fleet = fuel_in_oil(&case(120e3, &[(120e3, 250, 20)], Some(110e3))).expect("counts");
        assert!(fleet.percent[0] < 0.36 && fleet.percent[2] > 0.36, "{fleet:?}");
        assert!((0.15..0.8).contains(&fleet.percent[1]), "{fleet:?}");
        let town =
            fuel_in_oil(&case(120e3, &[(110e3, 900, 600), (120e3, 950, 700)], Some(110e3))).expect("counts");
        assert!(town.percent[2] > 3.0 && town.percent[1] > 2.0 * fleet.percent[1], "{town:?}");
    }

    #[test]
    fn property_attempts_count_not_successes() {
        let done = fuel_in_oil(&case(120e3, &[(110e3, 100, 0), (120e3, 140, 0)], Some(110e3)));
        let aborted = fuel_in_oil(&case(120e3, &[(110e3, 100, 0), (120e3, 100, 40)], Some(110e3)));
        assert_eq!(done, aborted);
    }

    #[test]
    fn property_fresh_oil_holds_less() {
        let at =
            |changed: f64| fuel_in_oil(&case(120e3, &[(120e3, 300, 60)], Some(changed))).expect("counts");
        assert!(at(119.5e3).percent[1] < at(110e3).percent[1]);
        assert!(fuel_in_oil(&case(120e3, &[], Some(110e3))).is_none());
    }
}
