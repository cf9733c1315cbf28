//! Stock: expected demand, when to order how much, which container first, and lots traced both ways.
//!
//! Pure functions over lists; days are whole numbers from any epoch the caller keeps to.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Gamma, Normal};

use crate::error::{Result, not_negative, positive, result};

/// One expected use of a fluid: so much, due within the horizon with a probability.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Need {
    /// Volume when it comes, L.
    pub litres: f64,
    /// Standard uncertainty of that volume, L.
    pub standard_uncertainty_l: f64,
    /// Probability that it comes within the horizon, 0 to 1.
    pub probability: f64,
}

/// Demand over a span of days.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Demand {
    /// Mean, L.
    pub mean_l: f64,
    /// Standard deviation, L.
    pub sd_l: f64,
}

/// Demand that independent needs add up to.
///
/// Equation: mean = sum p v; variance = sum p (u2 + v2) - (p v)2, each need coming or not.
pub fn demand(needs: &[Need]) -> Result<Demand> {
    let (mut mean, mut variance) = (0.0, 0.0);
    for n in needs {
        let v = not_negative("volume needed", "L", n.litres)?;
        let u = not_negative("uncertainty of the volume", "L", n.standard_uncertainty_l)?;
        let p = crate::error::share("probability of a need", n.probability)?;
        mean += p * v;
        variance += p * (u * u + v * v) - (p * v) * (p * v);
    }
    Ok(Demand {
        mean_l: result("demand", "L", mean)?,
        sd_l: result("spread of the demand", "L", variance.max(0.0).sqrt())?,
    })
}

impl Demand {
    /// Demand of another span, mean and variance in proportion (needs that come independently in time).
    pub fn over(self, days: f64, of_days: f64) -> Result<Demand> {
        let ratio = not_negative("span", "d", days)? / positive("span of the demand", "d", of_days)?;
        Ok(Demand {
            mean_l: result("demand", "L", self.mean_l * ratio)?,
            sd_l: result("spread of the demand", "L", self.sd_l * ratio.sqrt())?,
        })
    }

    /// Quantile of the demand, L.
    ///
    /// A gamma law of the same mean and variance (never negative, skewed as few large needs are); where the coefficient
    /// of variation is below 0.1 a normal law, which it then equals to the third figure.
    pub fn quantile_l(self, share: f64) -> Result<f64> {
        let share = crate::error::share("service level", share)?.clamp(1e-9, 1.0 - 1e-9);
        let (mean, sd) = (
            not_negative("demand", "L", self.mean_l)?,
            not_negative("spread of the demand", "L", self.sd_l)?,
        );
        if mean == 0.0 || sd == 0.0 {
            return Ok(mean);
        }
        let normal = |mean: f64, sd: f64| Normal::new(mean, sd).map(|n| n.inverse_cdf(share).max(0.0)).ok();
        let quantile = if sd < 0.1 * mean {
            normal(mean, sd)
        } else {
            let shape = (mean / sd).powi(2);
            Gamma::new(shape, 1.0).ok().map(|g| gamma_quantile(&g, shape, share) * mean / shape)
        };
        result("quantile of the demand", "L", quantile.unwrap_or(f64::NAN))
    }
}

/// Quantile of a gamma law of rate 1 by bisection of its distribution function, which keeps to its bracket for any
/// shape.
fn gamma_quantile(gamma: &Gamma, shape: f64, share: f64) -> f64 {
    let (mut low, mut high) = (0.0, shape + 1.0);
    for _ in 0..200 {
        if gamma.cdf(high) >= share || high > 1e12 {
            break;
        }
        high *= 2.0;
    }
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if gamma.cdf(middle) < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// What the shelf's owner decides about one fluid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Policy {
    /// Days from order to shelf.
    pub lead_time_days: f64,
    /// Days between looks at the shelf.
    pub review_days: f64,
    /// Probability of not running out before the next delivery, 0 to 1.
    pub service_level: f64,
    /// Volume of one container, L.
    pub container_l: f64,
    /// Shelf life when delivered, days.
    pub shelf_life_days: f64,
    /// Days of demand one order should cover.
    pub cover_days: f64,
}

/// When to order, and how much.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Order {
    /// Order when what can still be used falls to this, L.
    pub reorder_point_l: f64,
    /// Of that, held against chance, L.
    pub safety_l: f64,
    /// Containers to order now; zero while the shelf is above the point.
    pub containers: u32,
    /// True when shelf life, not the wish for cover, set the number.
    pub limited_by_shelf_life: bool,
    /// Probability that one container alone outlives its shelf life before it is used up (demand over the shelf life
    /// below one container); high means: buy when needed, or a smaller container.
    pub waste_probability: f64,
}

/// Reorder point and number of containers (periodic review, s-S).
///
/// Equation: reorder point = quantile at the service level of the demand over lead time and review; order up to that
/// plus the demand of the days to cover, in whole containers, but no more than the 20 % quantile of the demand over the
/// shelf life uses up together with what is there. `daily` is the demand of one day. `usable_l` is what lies on the
/// shelf in date plus what is on order. Demand laws as in [`Demand::quantile_l`].
pub fn order(daily: Demand, usable_l: f64, policy: &Policy) -> Result<Order> {
    let usable = not_negative("stock", "L", usable_l)?;
    let container = positive("volume of a container", "L", policy.container_l)?;
    let life = positive("shelf life", "d", policy.shelf_life_days)?;
    let wait = not_negative("lead time", "d", policy.lead_time_days)?
        + not_negative("review", "d", policy.review_days)?;
    let cover = not_negative("days to cover", "d", policy.cover_days)?;
    let until = daily.over(wait, 1.0)?;
    let point = until.quantile_l(policy.service_level)?;
    let aged = daily.over(life, 1.0)?;
    let least_used = aged.quantile_l(0.2)?;
    let wanted = ((point + daily.mean_l * cover - usable) / container).ceil().max(0.0);
    let allowed = ((least_used - usable) / container).floor().max(0.0);
    // A point of next to nothing is no reason to buy: then a container is ordered when a car asks for one.
    let needed_now = usable <= point && point > 0.01 * container;
    let count = if needed_now { wanted.min(allowed).max(1.0) } else { 0.0 };
    Ok(Order {
        reorder_point_l: point,
        safety_l: (point - until.mean_l).max(0.0),
        containers: count.min(1e6) as u32,
        limited_by_shelf_life: needed_now && allowed < wanted,
        waste_probability: share_below(aged, container)?,
    })
}

/// Probability that a demand stays below a volume, by bisection of its quantile.
fn share_below(demand: Demand, litres: f64) -> Result<f64> {
    if demand.sd_l == 0.0 || demand.mean_l == 0.0 {
        return Ok(if demand.mean_l < litres { 1.0 } else { 0.0 });
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if demand.quantile_l(middle)? < litres {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(0.5 * (low + high))
}

/// A container on the shelf.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Container {
    /// Its own id or code.
    pub id: String,
    /// Fluid.
    pub fluid: String,
    /// Lot.
    pub lot: String,
    /// Left in it, mL.
    pub left_ml: f64,
    /// Last day it may be used; `None` when the label gives none (used after all dated ones).
    pub expires_day: Option<i64>,
    /// Day it was opened.
    pub opened_day: Option<i64>,
    /// True when the lot was blocked.
    pub blocked: bool,
}

/// A part of a pour, from one container.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Take {
    /// Container.
    pub container: String,
    /// Lot.
    pub lot: String,
    /// Volume, mL.
    pub ml: f64,
}

/// Which containers a pour takes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Picking {
    /// In this order.
    pub takes: Vec<Take>,
    /// What the shelf cannot give, mL.
    pub short_ml: f64,
    /// Containers left out: out of date or blocked.
    pub refused: Vec<String>,
}

/// First expired, first out: containers for a pour of one fluid today.
///
/// In date and not blocked only; the nearest expiry first, opened ones before unopened of the same day, then by id.
/// Conserves volume: takes and shortage add up to what was asked for.
pub fn pick(shelf: &[Container], fluid: &str, ml: f64, today: i64) -> Result<Picking> {
    let mut left = not_negative("volume to pour", "mL", ml)?;
    for c in shelf {
        not_negative("volume left in a container", "mL", c.left_ml)?;
    }
    let usable = |c: &&Container| !c.blocked && c.expires_day.is_none_or(|day| day >= today);
    let mine = || shelf.iter().filter(|c| c.fluid == fluid && c.left_ml > 0.0);
    let refused = mine().filter(|c| !usable(c)).map(|c| c.id.clone()).collect();
    let mut order: Vec<&Container> = mine().filter(usable).collect();
    order.sort_by_key(|c| {
        (
            c.expires_day.unwrap_or(i64::MAX),
            c.opened_day.is_none(),
            c.opened_day.unwrap_or(i64::MAX),
            c.id.clone(),
        )
    });
    let mut takes = Vec::new();
    for c in order {
        if left <= 0.0 {
            break;
        }
        let ml = left.min(c.left_ml);
        left -= ml;
        takes.push(Take { container: c.id.clone(), lot: c.lot.clone(), ml });
    }
    Ok(Picking { takes, short_ml: left, refused })
}

/// One pour from a lot into a car.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Poured {
    /// Lot.
    pub lot: String,
    /// Car.
    pub car: String,
    /// Day.
    pub day: i64,
    /// Volume, mL.
    pub ml: f64,
}

/// Which cars got a lot: volume by car, mL.
pub fn cars_of_lot(poured: &[Poured], lot: &str) -> BTreeMap<String, f64> {
    sums(poured.iter().filter(|p| p.lot == lot), |p| &p.car)
}

/// Which lots a car got: volume by lot, mL.
pub fn lots_of_car(poured: &[Poured], car: &str) -> BTreeMap<String, f64> {
    sums(poured.iter().filter(|p| p.car == car), |p| &p.lot)
}

fn sums<'a>(
    rows: impl Iterator<Item = &'a Poured>,
    key: impl Fn(&'a Poured) -> &'a String,
) -> BTreeMap<String, f64> {
    let mut out = BTreeMap::new();
    for p in rows {
        *out.entry(key(p).clone()).or_insert(0.0) += p.ml;
    }
    out
}
