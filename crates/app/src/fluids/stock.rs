//! The shelf: what a pour takes, when to order how much, where a lot went.

use super::{Answer, Facts};
use crate::args;
use crate::failure::Failure;
use crate::text::{Page, of_100};
use crate::words::{number, say_with};
use additive::stock::{
    Container, Demand, Need, Order, Picking, Policy, Poured, cars_of_lot, demand, lots_of_car, order, pick,
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub const EXAMPLE: &str = include_str!("examples/stock.toml");

/// A shelf and what is asked of it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Question {
    fluid: String,
    today: Day,
    pour_ml: Option<f64>,
    #[serde(default)]
    container: Vec<OnShelf>,
    #[serde(default)]
    need: Vec<Need>,
    horizon_days: Option<f64>,
    policy: Option<Policy>,
    #[serde(default)]
    poured: Vec<PouredOn>,
    trace_lot: Option<String>,
    trace_car: Option<String>,
}

/// A container with dates as people write them.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OnShelf {
    id: String,
    fluid: String,
    lot: String,
    left_ml: f64,
    expires: Option<Day>,
    opened: Option<Day>,
    #[serde(default)]
    blocked: bool,
}

impl OnShelf {
    /// The container as the crate knows it.
    pub fn container(&self) -> Container {
        Container {
            id: self.id.clone(),
            fluid: self.fluid.clone(),
            lot: self.lot.clone(),
            left_ml: self.left_ml,
            expires_day: self.expires.map(|d| d.0),
            opened_day: self.opened.map(|d| d.0),
            blocked: self.blocked,
        }
    }
}

/// A pour with its date.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PouredOn {
    lot: String,
    car: String,
    on: Day,
    ml: f64,
}

#[derive(Serialize)]
struct Found {
    picking: Option<Picking>,
    demand: Option<Demand>,
    order: Option<Order>,
    cars_of_lot_ml: Option<BTreeMap<String, f64>>,
    lots_of_car_ml: Option<BTreeMap<String, f64>>,
}

/// A date as people write it (2027-03-01), counted in days since 1970-01-01.
#[derive(Clone, Copy, Deserialize)]
#[serde(try_from = "String")]
pub struct Day(pub i64);

impl TryFrom<String> for Day {
    type Error = jiff::Error;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        let date: Date = text.parse()?;
        let span = date.since((jiff::Unit::Day, jiff::civil::date(1970, 1, 1)))?;
        Ok(Self(i64::from(span.get_days())))
    }
}

/// Says which containers to take.
pub fn takes(page: &mut Page, p: &Picking) {
    for t in &p.takes {
        page.strong(&say_with(
            "out-take",
            &args! { "ml" => number(t.ml, 0), "container" => t.container.clone(), "lot" => t.lot.clone() },
        ));
    }
    if p.short_ml > 0.0 {
        page.warning(&say_with("out-short", &args! { "ml" => number(p.short_ml, 0) }));
    }
    if !p.refused.is_empty() {
        page.line(&say_with("out-refused", &args! { "list" => p.refused.join(", ") }));
    }
}

/// The answer.
pub fn answer(f: &Facts<Question>) -> Result<Answer, Failure> {
    let q = &f.facts;
    let found = find(q).map_err(|e| f.physics(&e))?;
    let mut page = Page::default();
    if let Some(p) = &found.picking {
        takes(&mut page, p);
    }
    if let Some(d) = &found.demand {
        page.line(&say_with(
            "out-demand",
            &args! { "mean" => number(d.mean_l, 2), "sd" => number(d.sd_l, 2) },
        ));
    }
    if let Some(o) = &found.order {
        let id = if o.containers > 0 { "out-order" } else { "out-order-none" };
        page.strong(&say_with(
            id,
            &args! {
                "containers" => o.containers,
                "point" => number(o.reorder_point_l, 2),
                "safety" => number(o.safety_l, 2),
            },
        ));
        if o.limited_by_shelf_life {
            page.line(&say_with("out-order-life", &args! {}));
        }
        page.line(&say_with("out-order-waste", &args! { "percent" => of_100(o.waste_probability) }));
    }
    if let (Some(cars), Some(lot)) = (&found.cars_of_lot_ml, &q.trace_lot) {
        let list: Vec<String> =
            cars.iter().map(|(car, ml)| format!("{car} ({} mL)", crate::words::digits(*ml, 0))).collect();
        page.line(&say_with("out-lot-cars", &args! { "lot" => lot.clone(), "cars" => list.join(", ") }));
    }
    if let (Some(lots), Some(car)) = (&found.lots_of_car_ml, &q.trace_car) {
        let list: Vec<String> =
            lots.iter().map(|(lot, ml)| format!("{lot} ({} mL)", crate::words::digits(*ml, 0))).collect();
        page.line(&say_with("out-car-lots", &args! { "car" => car.clone(), "lots" => list.join(", ") }));
    }
    Ok(Answer::new(&found, page))
}

fn find(q: &Question) -> additive::Result<Found> {
    let today = q.today.0;
    let shelf: Vec<Container> = q.container.iter().map(OnShelf::container).collect();
    let poured: Vec<Poured> = q
        .poured
        .iter()
        .map(|p| Poured { lot: p.lot.clone(), car: p.car.clone(), day: p.on.0, ml: p.ml })
        .collect();
    let expected = (!q.need.is_empty()).then(|| demand(&q.need)).transpose()?;
    let order = match (&expected, &q.policy, q.horizon_days) {
        (Some(d), Some(policy), Some(days)) => {
            let usable = shelf
                .iter()
                .filter(|c| c.fluid == q.fluid && !c.blocked && c.expires_day.is_none_or(|e| e >= today))
                .map(|c| c.left_ml / 1000.0)
                .sum();
            Some(order(d.over(1.0, days)?, usable, policy)?)
        }
        _ => None,
    };
    Ok(Found {
        picking: q.pour_ml.map(|ml| pick(&shelf, &q.fluid, ml, today)).transpose()?,
        demand: expected,
        order,
        cars_of_lot_ml: q.trace_lot.as_ref().map(|lot| cars_of_lot(&poured, lot)),
        lots_of_car_ml: q.trace_car.as_ref().map(|car| lots_of_car(&poured, car)),
    })
}
