//! Lots traced both ways: every pour of a lot into a car, filtered by lot or by car.

use super::envelope;
use super::folder::{self, Found};
use crate::cli::Lots;
use crate::failure::{Failure, Outcome};
use crate::list::{Cell, List};
use crate::text::Page;
use crate::words::{number, say_with};
use crate::{args, print, print_json};
use additive::stock::{Poured, cars_of_lot, lots_of_car};

/// A pour that a case tells of.
pub struct Pour {
    /// Car.
    pub car: String,
    /// Lot.
    pub lot: String,
    /// Date, where told.
    pub date: Option<String>,
    /// Odometer, km.
    pub odometer_km: Option<f64>,
    /// Volume, mL; from the weight where only that is told and the density is known.
    pub ml: Option<f64>,
}

/// Pours of the cases whose lot was written down.
pub fn pours(cases: &[Found]) -> Vec<Pour> {
    let mut out = Vec::new();
    for c in cases {
        for r in &c.case.refill {
            let Some(lot) = r.lot.as_ref().filter(|l| !l.trim().is_empty()) else { continue };
            let density = r.density_kg_per_m3.or(c.case.reservoir.density_kg_per_m3);
            let weighed = || r.mass_g.zip(density).map(|(g, d)| g / d * 1000.0);
            out.push(Pour {
                car: c.car.clone(),
                lot: lot.trim().to_owned(),
                date: r.time.and_then(|t| t.instant.to_string().get(..10).map(str::to_owned)),
                odometer_km: r.odometer_km,
                ml: r.volume_l.map(|l| 1000.0 * l).or_else(weighed),
            });
        }
    }
    out
}

/// Runs the command.
pub fn run(order: &Lots) -> Result<Outcome, Failure> {
    let types = super::kinds::reservoirs(order.knowledge.as_deref(), &mut Vec::new())?;
    let cases = folder::read(&order.cases, &types)?;
    let all = pours(&cases.cases);
    let mut list = List::new(&[
        ("lot", true, false),
        ("car", true, false),
        ("date", true, false),
        ("odometer_km", true, true),
        ("ml", true, true),
    ]);
    let wanted = |p: &&Pour| {
        order.lot.as_ref().is_none_or(|l| &p.lot == l) && order.car.as_ref().is_none_or(|c| &p.car == c)
    };
    for p in all.iter().filter(wanted) {
        list.rows.push(vec![
            Cell::text(p.lot.clone()),
            Cell::text(p.car.clone()),
            Cell::text(p.date.clone().unwrap_or_default()),
            Cell::number(p.odometer_km.unwrap_or(f64::NAN), 0),
            Cell::number(p.ml.unwrap_or(f64::NAN), 0),
        ]);
    }
    list.arrange(&order.list)?;
    let poured: Vec<Poured> = all
        .iter()
        .map(|p| Poured { lot: p.lot.clone(), car: p.car.clone(), day: 0, ml: p.ml.unwrap_or(0.0) })
        .collect();
    let cars = order.lot.as_ref().map(|lot| cars_of_lot(&poured, lot));
    let lots = order.car.as_ref().map(|car| lots_of_car(&poured, car));
    if order.list.csv {
        print(&list.csv()?)?;
    } else if order.json {
        let value = serde_json::json!({
            "pours": list.json(),
            "cars_of_lot_ml": cars,
            "lots_of_car_ml": lots,
            "broken": super::forecast::broken(&cases.broken),
        });
        print_json(&envelope("lots", cases.inputs, value))?;
    } else {
        let mut page = Page::default();
        list.show(&mut page);
        let joined = |sums: &std::collections::BTreeMap<String, f64>| {
            let list: Vec<String> =
                sums.iter().map(|(k, ml)| format!("{k} ({} mL)", crate::words::digits(*ml, 0))).collect();
            list.join(", ")
        };
        if let (Some(cars), Some(lot)) = (&cars, &order.lot) {
            page.strong(&say_with("out-lot-cars", &args! { "lot" => lot.clone(), "cars" => joined(cars) }));
        }
        if let (Some(lots), Some(car)) = (&lots, &order.car) {
            page.strong(&say_with("out-car-lots", &args! { "car" => car.clone(), "lots" => joined(lots) }));
        }
        let untold = cases.cases.iter().flat_map(|c| &c.case.refill).filter(|r| r.lot.is_none()).count();
        page.line(&say_with(
            "out-lots",
            &args! { "pours" => number(all.len() as f64, 0), "untold" => number(untold as f64, 0) },
        ));
        super::forecast::show_broken(&mut page, &cases.broken);
        print(&page.finish())?;
    }
    Ok(Outcome::Answered)
}
