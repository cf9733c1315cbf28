//! What comes: when the additive falls to its reserve, when the filter is full of ash, when soot will next make
//! trouble, by odometer and by days, from the posterior at the last visit and from how the car is used.

use crate::assessment::Assessment;
use crate::balance::Window;
use crate::posterior::Draws;
use crate::quasi::{Points, normal_quantile, weighted_quantiles};
use facts::case::{Case, RegenerationEnd};
use facts::life::ordered;
use serde::{Deserialize, Serialize};

/// What falls due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum What {
    /// The additive falls to its reserve.
    Additive,
    /// The filter holds as much ash as filters are cleaned at.
    Ash,
    /// A burn is due and does not finish until the soot makes trouble.
    Soot,
}

impl What {
    /// Its word in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Additive => "additive",
            Self::Ash => "ash",
            Self::Soot => "soot",
        }
    }
}

/// A window that holds eight times in ten.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Due {
    /// What.
    pub what: What,
    /// Distance from now, km. A distance of [`HORIZON_KM`] stands for that far or further.
    pub km: Window,
    /// Odometer, km, where the present one is known.
    pub odometer_km: Option<Window>,
    /// Days from now; none where nothing tells how far the car goes in a year.
    pub days: Option<Window>,
    /// False where the window is that of any such car.
    pub told: bool,
    /// What the window is good for.
    pub says: Says,
}

/// What a window is good for, to somebody who plans visits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Says {
    /// A visit can be planned by it: print it.
    Window,
    /// Its far end says nothing, its near end that the next service comes first: print "not before".
    NotBefore,
    /// Neither end helps: print why instead.
    Nothing,
}

impl Says {
    /// Its word in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Window => "window",
            Self::NotBefore => "not_before",
            Self::Nothing => "nothing",
        }
    }
}

/// Between two services of a car lie about so many kilometres (common practice: 15 000 to 30 000 km).
const SERVICE_KM: f64 = 15_000.0;
/// A window whose far end is further than this many times the near end does not place a visit (expert guess).
const WIDE: f64 = 5.0;

/// What a window of kilometres from now is good for. It places a visit when its ends lie within a factor of five
/// or when it ends before the next service does; a wider one may still say that the next service comes first; one
/// that reaches from before the next service to nowhere says nothing and is not to be printed.
#[must_use]
pub fn says(km: Window) -> Says {
    let known = km.p10.is_finite() && km.p90.is_finite();
    if known && km.p90 < HORIZON_KM && (km.p90 <= SERVICE_KM || km.p90 <= WIDE * km.p10) {
        Says::Window
    } else if km.p10.is_finite() && km.p10 >= SERVICE_KM {
        Says::NotBefore
    } else {
        Says::Nothing
    }
}

/// How far a car goes in a year.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Use {
    /// km per year.
    pub km_per_year: f64,
    /// Standard deviation of its logarithm over the time to come, changes of habit included.
    pub sd: f64,
    /// Whether the case tells it at all.
    pub told: bool,
}

/// Further than this nothing is said, km.
pub const HORIZON_KM: f64 = 120_000.0;
/// Quantile of the standard normal distribution at 90 %.
const Z90: f64 = 1.2816;
/// Spread of a car's yearly distance from one year to the next (ln). Expert guess: jobs and homes change.
const HABIT: f64 = 0.25;

/// How the car is used: dated rows of its life, what the owner says, else what such cars do.
#[must_use]
pub fn yearly(case: &Case) -> Use {
    let heavy = crate::prior::Priors::new(case, &[], false).heavy;
    let mut views: Vec<(f64, f64)> = Vec::new();
    if let Some(km) = case.car.distance_per_year_km {
        views.push((km, 0.25));
    }
    let dated: Vec<(f64, f64)> = ordered(case)
        .into_iter()
        .filter_map(|e| Some((e.time?.instant.as_second() as f64 / 86_400.0 / 365.25, e.odometer_km?)))
        .collect();
    if let Some(&(now, at)) = dated.iter().max_by(|a, b| a.0.total_cmp(&b.0)) {
        // The last two years say more of the next one than the years before.
        let recent =
            dated.iter().filter(|d| (0.25..=2.2).contains(&(now - d.0))).min_by(|a, b| a.0.total_cmp(&b.0));
        let older = dated.iter().filter(|d| now - d.0 > 0.25).max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some(&(then, from)) = recent.or(older) {
            let years = now - then;
            views.push(((at - from) / years, 0.1 + 0.15 / years.sqrt()));
        }
    }
    views.retain(|v| v.0 > 200.0);
    let told = !views.is_empty();
    views.push(if heavy { (75_000.0, 0.5) } else { (14_000.0, 0.45) });
    let precision: f64 = views.iter().map(|v| v.1.powi(-2)).sum();
    let sum: f64 = views.iter().map(|v| v.0.ln() * v.1.powi(-2)).sum();
    Use { km_per_year: (sum / precision).exp(), sd: precision.powf(-0.5).hypot(HABIT), told }
}

fn days(km: Window, used: Use) -> Window {
    let middle = km.p50 / used.km_per_year * 365.25;
    let side = |other: f64| {
        if km.p50 <= 0.0 || other <= 0.0 { 0.0 } else { ((other / km.p50).ln() / Z90).abs() }
    };
    let at = |sign: f64, own: f64| middle * (sign * Z90 * own.hypot(used.sd)).exp();
    if km.p50 <= 0.0 {
        return Window {
            p10: 0.0,
            p50: 0.0,
            p90: km.p90 / used.km_per_year * 365.25 * (Z90 * used.sd).exp(),
        };
    }
    Window {
        p10: if km.p10 <= 0.0 { 0.0 } else { at(-1.0, side(km.p10)) },
        p50: middle,
        p90: at(1.0, side(km.p90)),
    }
}

/// The windows of one car, the nearest first.
#[must_use]
pub fn due(case: &Case, a: &Assessment, draws: &Draws) -> Vec<Due> {
    let used = yearly(case);
    let mut out = Vec::new();
    let mut add = |what, km: Window, told| {
        let cut = |x: f64| x.clamp(0.0, HORIZON_KM);
        let km = Window { p10: cut(km.p10), p50: cut(km.p50), p90: cut(km.p90) };
        let odometer_km =
            case.car.odometer_km.map(|o| Window { p10: o + km.p10, p50: o + km.p50, p90: o + km.p90 });
        out.push(Due {
            what,
            km,
            odometer_km,
            days: used.told.then(|| days(km, used)),
            told,
            says: says(km),
        });
    };
    if let Some(b) = &a.additive {
        add(What::Additive, habit(b.due_km), b.left_l.told);
    }
    add(What::Ash, habit(a.ash.due_km), a.ash.told);
    let (km, told) = soot_trouble(case, draws);
    add(What::Soot, km, told);
    out.sort_by(|x, y| x.km.p50.total_cmp(&y.km.p50));
    out
}

/// Consumption and oil use follow habits too, which the past does not know: a window in km widens by a tenth.
fn habit(w: Window) -> Window {
    let wide = |x: f64| {
        if w.p50 <= 0.0 || x <= 0.0 {
            x
        } else {
            w.p50 * ((x / w.p50).ln().signum() * (x / w.p50).ln().hypot(Z90 * 0.1)).exp()
        }
    };
    Window { p10: wide(w.p10), p50: w.p50, p90: wide(w.p90) }
}

/// Soot load at which a controller asks for a burn, and at which it cuts the power, g/L: median and spread of the
/// logarithm (3 to 6 and 7 to 12; trade reference 3.3, from memory).
const ASKS: (f64, f64) = (4.3, 0.2);
/// See [`ASKS`].
const TROUBLE: (f64, f64) = (8.5, 0.15);

/// Distance until a burn that was asked for fails until the soot makes trouble, km.
///
/// A burn that is asked for finishes within the distance in which soot grows from [`ASKS`] to [`TROUBLE`], or it
/// does not. How often it does not: the counts of completed and aborted burns, the usual trip, and rows of the
/// life, as a Beta.
fn soot_trouble(case: &Case, draws: &Draws) -> (Window, bool) {
    let p = crate::prior::Priors::new(case, &[], false);
    let rate = p.soot_rate.unwrap_or_else(|| p.usual_soot_rate());
    // Start: one burn in forty goes so wrong on a car that is driven far, one in four on one that never gets warm.
    let trip = case.car.usual_trip_km;
    let mut fails = match trip {
        Some(km) if km < 6.0 => (1.0, 3.0),
        Some(km) if km < 12.0 => (0.6, 6.0),
        Some(_) => (0.3, 14.0),
        None => (0.4, 8.0),
    };
    let mut told = trip.is_some();
    let (mut done, mut broken) = (0.0, 0.0);
    for r in &case.regeneration_count {
        done += f64::from(r.completed.unwrap_or(0));
        broken += f64::from(r.aborted.unwrap_or(0));
    }
    for r in &case.regeneration {
        match r.controller_says {
            Some(RegenerationEnd::Complete) => done += 1.0,
            Some(RegenerationEnd::Aborted | RegenerationEnd::Partial) => broken += 1.0,
            _ => {}
        }
    }
    if done + broken > 3.0 {
        // A broken burn is tried again on the next trips: trouble needs about four in a row.
        let q: f64 = broken / (done + broken);
        let weight = (done + broken).min(12.0);
        fails.0 += q.powi(3) * weight;
        fails.1 += (1.0 - q.powi(3)) * weight;
        told = true;
    }
    let n = draws.soot.len();
    let points = Points;
    let share = fails.0 / (fails.0 + fails.1);
    let spread = (share * (1.0 - share) / (fails.0 + fails.1 + 1.0)).sqrt();
    let mut km = Vec::with_capacity(n);
    for i in 0..n {
        let z = |j: usize| normal_quantile(points.at(i, j));
        let ask = ASKS.0 * (ASKS.1 * z(20)).exp();
        let trouble = (TROUBLE.0 * (TROUBLE.1 * z(21)).exp()).max(1.2 * ask);
        let r = rate.median * (rate.sd * 0.7 * z(22)).exp();
        let q = (share + spread * z(23)).clamp(0.002, 0.95);
        // Cycles until one fails: geometric.
        let u = points.at(i, 24);
        let good = (u.ln() / (1.0 - q).ln()).floor().max(0.0);
        let soot = draws.soot[i];
        let first = (trouble - soot).max(0.0) / r;
        let cycle = (ask - 0.3).max(0.5) / r;
        let reached = if soot >= ask && good < 1.0 {
            first
        } else {
            (ask - soot).max(0.0) / r + good * cycle + (trouble - ask) / r
        };
        km.push(reached.min(2.0 * HORIZON_KM));
    }
    let [p10, p50, p90] = weighted_quantiles(&km, &draws.weight, [0.1, 0.5, 0.9]);
    (Window { p10, p50, p90 }, told)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn case(rows: &str) -> Case {
        facts::load_case(&format!("schema = \"sootwright.case/1\"\n{rows}"), "c")
            .unwrap_or_else(|e| panic!("{e}"))
    }

    #[test]
    fn analytic_dated_rows_give_the_yearly_distance() {
        let c = case(
            "[car]\nodometer_km = 150000\n[[odometer_note]]\nodometer_km = 110000\ntime = 2029-05-02\n\
             [[odometer_note]]\nodometer_km = 150000\ntime = 2031-05-02\n",
        );
        let u = yearly(&c);
        assert!(u.told && (u.km_per_year / 20_000.0).ln().abs() < 0.12, "{u:?}");
        assert!(!yearly(&case("[car]\nodometer_km = 150000\n")).told);
    }

    #[test]
    fn analytic_a_window_that_places_no_visit_is_withheld() {
        let w = |p10, p90| Window { p10, p50: 0.5 * (p10 + p90), p90 };
        assert_eq!(says(w(3600.0, 610_000.0)), Says::Nothing);
        assert_eq!(says(w(0.0, 9_000.0)), Says::Window);
        assert_eq!(says(w(20_000.0, 60_000.0)), Says::Window);
        assert_eq!(says(w(40_000.0, 610_000.0)), Says::NotBefore);
        assert_eq!(says(w(9_000.0, f64::INFINITY)), Says::Nothing);
    }

    #[test]
    fn property_short_trips_bring_soot_trouble_nearer() {
        let draws = Draws { soot: vec![2.0; 400], weight: vec![1.0; 400], ..Draws::default() };
        let near = soot_trouble(&case("[car]\nusual_trip_km = 3\n"), &draws).0;
        let far = soot_trouble(&case("[car]\nusual_trip_km = 40\n"), &draws).0;
        assert!(near.p50 < 0.5 * far.p50, "{near:?} {far:?}");
        assert!(near.p10 <= near.p50 && near.p50 <= near.p90);
    }
}
