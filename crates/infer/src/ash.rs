//! Ash to come and ash taken out: growth, when cleaning is due, how long the plug is, what weighing says.
//!
//! Growth and load come from one posterior: a car whose ash load came out high also feeds its filter faster.
//! ln growth given ln load is the Gaussian conditional of the prior ln load = ln growth + ln distance.

use crate::balance::Window;
use crate::posterior::{Draws, plug_length_share};
use crate::prior::{Priors, coordinate as at};
use crate::quasi::{Points, normal_quantile, weighted_quantiles};
use facts::case::Case;
use serde::{Deserialize, Serialize};

/// What a dry weighing before and after cleaning says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Cleaning {
    /// Odometer of it, km.
    pub odometer_km: Option<f64>,
    /// Ash and soot taken out, g, with its standard uncertainty.
    pub removed_g: (f64, f64),
    /// Ash that book-keeping expects at that odometer, g: 5, 50 and 95 %, where the distance is known.
    pub expected_g: Option<[f64; 3]>,
    /// Growth that it speaks for, g per 1000 km, where the distance is known.
    pub growth_g_per_1000km: Option<f64>,
}

/// Ash, now and to come.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AshOutlook {
    /// Growth, g per 1000 km: 5, 50 and 95 %.
    pub growth_g_per_1000km: [f64; 3],
    /// Distance from now until cleaning or replacement, km; zero when it is due.
    pub due_km: Window,
    /// Odometer at which it is due, km, where the odometer is known.
    pub due_odometer_km: Option<Window>,
    /// False when neither pressure told the ash nor the case says where on the odometer the filter was new or
    /// cleaned: the window then is that of any such car.
    pub told: bool,
    /// Ash load at which cars are cleaned, g/L: from, to.
    pub limit_g_per_l: (f64, f64),
    /// Plug length over channel length: 5, 50 and 95 %.
    pub plug_length_share: [f64; 3],
    /// Probability that the load exceeds what distance explains (above its 95 % quantile): odd deposits in the middle
    /// of the channels, a wrong oil, or soot that does not burn.
    pub beyond_distance: f64,
    /// Weighings around cleanings.
    pub cleanings: Vec<Cleaning>,
}

/// Standard uncertainty of a weighing of a dry filter, g: moisture and the balance (from memory: 0.1 to 1 g with a
/// good balance and a hot filter, a workshop does worse).
const WEIGHING_G: f64 = 8.0;

/// Normal probability density quantile 95 %.
const Z95: f64 = 1.645;

/// The outlook from the posterior draws.
#[must_use]
pub fn outlook(case: &Case, p: &Priors, draws: &Draws, ash_told: bool) -> AshOutlook {
    let limit = wallflow::limits::ash_load();
    let n = draws.ash.len();
    let points = Points;
    let (mean, sd) = (p.ash.median.max(0.05).ln(), p.ash.sd.max(0.05));
    let slope = (p.ash_growth.sd / sd).powi(2).clamp(0.0, 1.0);
    let rest = p.ash_growth.sd * (1.0 - slope).max(0.0).sqrt();
    let mut growth = Vec::with_capacity(n);
    let mut due = Vec::with_capacity(n);
    for i in 0..n {
        let z = normal_quantile(points.at(i, 0));
        let g = p.ash_growth.median
            * (slope * (draws.ash[i].max(0.01).ln() - mean)).clamp(-1.5, 1.5).exp()
            * (rest * z).exp();
        let threshold = limit.low + (limit.high - limit.low) * points.at(i, 1);
        growth.push(g);
        due.push(((threshold - draws.ash[i]) * draws.volume[i] / g * 1000.0).max(0.0));
    }
    let w = &draws.weight;
    let [p10, p50, p90] = weighted_quantiles(&due, w, [0.1, 0.5, 0.9]);
    let plugs: Vec<(f64, f64)> =
        draws.x.iter().zip(w).step_by(6).filter_map(|(x, w)| Some((plug_length_share(x, p)?, *w))).collect();
    let (shares, weights): (Vec<f64>, Vec<f64>) = plugs.into_iter().unzip();
    let top = mean + Z95 * sd;
    let total: f64 = w.iter().sum::<f64>().max(1e-300);
    let beyond: f64 = draws.x.iter().zip(w).filter(|(x, _)| x[at::ASH] > top).map(|(_, w)| w).sum();
    let odometer = case.car.odometer_km;
    AshOutlook {
        growth_g_per_1000km: weighted_quantiles(&growth, w, [0.05, 0.5, 0.95]),
        due_km: Window { p10, p50, p90 },
        due_odometer_km: odometer.map(|o| Window { p10: o + p10, p50: o + p50, p90: o + p90 }),
        told: ash_told || (odometer.is_some() && start_km(case, None).is_some()),
        limit_g_per_l: (limit.low, limit.high),
        plug_length_share: weighted_quantiles(&shares, &weights, [0.05, 0.5, 0.95]),
        beyond_distance: beyond / total,
        cleanings: cleanings(case, p),
    }
}

/// Odometer of the last new or cleaned filter before `until` (any, when none).
fn start_km(case: &Case, until: Option<f64>) -> Option<f64> {
    case.filter_cleaned
        .iter()
        .map(|r| r.odometer_km)
        .chain(case.filter_replaced.iter().map(|r| r.odometer_km))
        .chain([case.filter.fitted_odometer_km, case.filter.cleaned_odometer_km])
        .flatten()
        .filter(|o| until.is_none_or(|u| *o < u - 1.0))
        .reduce(f64::max)
}

fn cleanings(case: &Case, p: &Priors) -> Vec<Cleaning> {
    case.filter_cleaned
        .iter()
        .filter_map(|r| {
            let kg = |g: f64| (g / 1000.0, WEIGHING_G / 1000.0);
            let (removed, u) =
                wallflow::ash::removed_by_cleaning(kg(r.mass_before_g?), kg(r.mass_after_g?)).ok()?;
            let distance = r
                .odometer_km
                .or(case.car.odometer_km)
                .and_then(|o| Some(o - start_km(case, Some(o))?))
                .filter(|d| *d > 1000.0);
            let g = p.ash_growth;
            Some(Cleaning {
                odometer_km: r.odometer_km.or(case.car.odometer_km),
                removed_g: (removed * 1000.0, u * 1000.0),
                expected_g: distance
                    .map(|d| [-Z95, 0.0, Z95].map(|z| g.median * (g.sd * z).exp() * d / 1000.0)),
                growth_g_per_1000km: distance.map(|d| removed * 1e6 / d),
            })
        })
        .collect()
}
