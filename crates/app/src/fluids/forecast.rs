//! When each car of a folder is due, what all of them will need of each fluid, and what to order for it.

use super::folder::{self, Found};
use super::stock::{Day, OnShelf};
use super::{envelope, misread};
use crate::cli::{Forecast, Which};
use crate::failure::{Failure, Outcome};
use crate::inputs::read_text;
use crate::list::{Cell, List};
use crate::output::{Input, id};
use crate::text::Page;
use crate::words::{number, say, say_with};
use crate::{args, print, print_json};
use additive::stock::{Container, Need, Policy, demand, order as reorder, pick};
use indicatif::{ProgressBar, ProgressStyle};
use infer::balance::{AdditivePrior, Balance, balance};
use jiff::ToSpan;
use serde::Deserialize;
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};

pub const EXAMPLE: &str = include_str!("examples/shelf.toml");

/// Days looked ahead when nothing else is said.
const HORIZON_DAYS: f64 = 90.0;
/// What a fill may differ from capacity less reserve, standard deviation over the capacity (guess).
const FILL_REL: f64 = 0.05;

/// The shelf and what its owner decides.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Shelf {
    today: Option<Day>,
    horizon_days: Option<f64>,
    #[serde(default)]
    container: Vec<OnShelf>,
    /// By fluid; the row `any` holds for all others.
    #[serde(default)]
    policy: BTreeMap<String, Policy>,
}

/// One car's outlook.
struct Car {
    file: String,
    name: String,
    fluid: String,
    odometer_km: Option<f64>,
    /// Day of its last dated fact.
    at: Option<i64>,
    balance: Balance,
}

/// Files that could not be read, for other programs.
pub fn broken(list: &[(String, String)]) -> Value {
    list.iter().map(|(file, what)| serde_json::json!({ "file": file, "what": what })).collect()
}

/// Files that could not be read, for people.
pub fn show_broken(page: &mut Page, list: &[(String, String)]) {
    if !list.is_empty() {
        page.heading(&say("head-broken"));
        for (_, what) in list {
            page.item(what);
        }
    }
}

/// The word for a concentrate: its id, else metals and strength, so that unlike cars are never summed.
fn fluid_of(c: &Found) -> String {
    let r = &c.case.reservoir;
    if let Some(fluid) = &r.fluid {
        return fluid.clone();
    }
    let metals: Vec<String> = r
        .metals
        .iter()
        .filter_map(|m| serde_json::to_value(m).ok().and_then(|v| v.as_str().map(str::to_owned)))
        .collect();
    match (metals.is_empty(), r.metal_g_per_l) {
        (true, None) => say("fluid-not-told"),
        (true, Some(g)) => format!("{g:.0} g/L"),
        (false, None) => metals.join(" "),
        (false, Some(g)) => format!("{} {g:.0} g/L", metals.join(" ")),
    }
}

fn last_day(c: &Found) -> Option<i64> {
    facts::life::ordered(&c.case).iter().filter_map(|e| e.time.map(facts::moment::Moment::day)).max()
}

/// Balances of all cases on all processors, in the order of the cases.
fn balances(cases: Vec<Found>, reserve_l: Option<f64>) -> Vec<Car> {
    let bar = ProgressBar::new(cases.len() as u64);
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos}/{len} {eta}") {
        bar.set_style(style);
    }
    let next = AtomicUsize::new(0);
    let workers = std::thread::available_parallelism().map_or(1, usize::from).min(cases.len().max(1));
    let mut done: Vec<(usize, Balance)> = std::thread::scope(|scope| {
        let work = || {
            let mut mine = Vec::new();
            loop {
                let i = next.fetch_add(1, Ordering::Relaxed);
                let Some(c) = cases.get(i) else { return mine };
                mine.push((i, balance(&c.case, &AdditivePrior::default(), reserve_l)));
                bar.inc(1);
            }
        };
        let handles: Vec<_> = (0..workers).map(|_| scope.spawn(work)).collect();
        handles.into_iter().filter_map(|h| h.join().ok()).flatten().collect()
    });
    bar.finish_and_clear();
    done.sort_by_key(|d| d.0);
    done.into_iter()
        .zip(cases)
        .map(|((_, balance), c)| Car {
            fluid: fluid_of(&c),
            odometer_km: facts::life::ordered(&c.case)
                .iter()
                .filter_map(|e| e.odometer_km)
                .chain(c.case.car.odometer_km)
                .reduce(f64::max),
            at: last_day(&c),
            name: c.car,
            file: c.file,
            balance,
        })
        .collect()
}

/// A day as people write it; nothing beyond the calendar.
fn date(day: f64) -> String {
    let epoch = jiff::civil::date(1970, 1, 1);
    if !day.is_finite() || day.abs() > 2.9e6 {
        return String::new();
    }
    epoch.checked_add((day.round() as i64).days()).map_or_else(|_| String::new(), |d| d.to_string())
}

fn today() -> i64 {
    jiff::Timestamp::now().as_second().div_euclid(86_400)
}

/// Runs the command.
pub fn run(order: &Forecast) -> Result<Outcome, Failure> {
    if order.shelf_example {
        print(EXAMPLE)?;
        return Ok(Outcome::Answered);
    }
    let mut inputs = Vec::new();
    let types = super::kinds::reservoirs(order.knowledge.as_deref(), &mut inputs)?;
    let shelf = match &order.shelf {
        Some(path) => {
            let (text, blake3) = read_text(path)?;
            let shown = path.display().to_string();
            let shelf: Shelf = toml::from_str(&text).map_err(|e| misread(&shown, &text, &e))?;
            inputs.push(Input { path: shown, kind: "facts".into(), blake3 });
            shelf
        }
        None => Shelf::default(),
    };
    let given = order.today.as_deref().map(|t| Day::try_from(t.to_owned())).transpose();
    let given =
        given.map_err(|e| Failure::Usage(say_with("error-date", &args! { "why" => e.to_string() })))?;
    let now = given.or(shelf.today).map_or_else(today, |d| d.0);
    let horizon = order.horizon_days.or(shelf.horizon_days).unwrap_or(HORIZON_DAYS);
    if !(horizon.is_finite() && horizon > 0.0) {
        return Err(Failure::Usage(say("error-horizon")));
    }
    let cases = folder::read(&order.cases, &types)?;
    inputs.extend(cases.inputs);
    let unreadable = cases.broken;
    let cars = balances(cases.cases, order.reserve_l);

    let refuse = |e: additive::Error| Failure::Refused(e.to_string());
    let mut list = car_list(&cars, now, horizon);
    list.arrange(&order.list)?;
    let needs = needs(&cars, now, horizon);
    let demands = demand_list(&needs, &shelf, now, horizon).map_err(refuse)?;
    let plan = plan_list(&cars, &shelf, now, horizon).map_err(refuse)?;
    if order.list.csv {
        print(&match order.which {
            Which::Cars => list.csv()?,
            Which::Demand => demands.csv()?,
            Which::Plan => plan.csv()?,
        })?;
    } else if order.json {
        let value = serde_json::json!({
            "today": date(now as f64),
            "horizon_days": horizon,
            "cars": list.json(),
            "demand": demands.json(),
            "plan": plan.json(),
            "broken": broken(&unreadable),
        });
        print_json(&envelope("forecast", inputs, value))?;
    } else {
        let mut page = Page::default();
        page.heading(&say_with(
            "head-forecast",
            &args! { "cars" => number(list.rows.len() as f64, 0), "of" => number(cars.len() as f64, 0) },
        ));
        list.show(&mut page);
        page.line(&say("note-forecast"));
        page.heading(&say_with(
            "head-demand",
            &args! { "days" => number(horizon, 0), "today" => date(now as f64) },
        ));
        demands.show(&mut page);
        if !plan.rows.is_empty() {
            page.heading(&say("head-plan"));
            plan.show(&mut page);
        }
        show_broken(&mut page, &unreadable);
        print(&page.finish())?;
    }
    Ok(Outcome::Answered)
}

fn car_list(cars: &[Car], now: i64, horizon: f64) -> List {
    let mut list = List::new(&[
        ("car", true, false),
        ("fluid", false, false),
        ("left_l_p05", false, true),
        ("left_l_p50", true, true),
        ("left_l_p95", false, true),
        ("due_km_p10", false, true),
        ("due_km_p50", true, true),
        ("due_km_p90", false, true),
        ("due_odometer_km_p10", false, true),
        ("due_odometer_km_p50", true, true),
        ("due_odometer_km_p90", false, true),
        ("due_days_p10", false, true),
        ("due_days_p50", false, true),
        ("due_days_p90", false, true),
        ("due_date_p10", true, false),
        ("due_date_p50", true, false),
        ("due_date_p90", true, false),
        ("due_in_horizon", true, true),
        ("told", false, false),
        ("fault", true, false),
        ("fault_probability", false, true),
        ("file", false, false),
    ]);
    for c in cars {
        let b = &c.balance;
        let base = c.at.unwrap_or(now) as f64;
        let (km, days) = (b.due_km, b.due_days);
        let odometer = |x: f64| Cell::number(c.odometer_km.map_or(f64::NAN, |o| o + x), 0);
        let first = b.additive_faults.iter().max_by(|a, b| a.1.total_cmp(&b.1));
        let told = b.faults_told;
        let fault = first.map_or("none", |f| id(f.0));
        list.rows.push(vec![
            Cell::text(c.name.clone()),
            Cell::text(c.fluid.clone()),
            Cell::number(b.left_l.p05, 3),
            Cell::number(b.left_l.p50, 3),
            Cell::number(b.left_l.p95, 3),
            Cell::number(km.p10, 0),
            Cell::number(km.p50, 0),
            Cell::number(km.p90, 0),
            odometer(km.p10),
            odometer(km.p50),
            odometer(km.p90),
            Cell::number(days.p10, 0),
            Cell::number(days.p50, 0),
            Cell::number(days.p90, 0),
            Cell::text(date(base + days.p10)),
            Cell::text(date(base + days.p50)),
            Cell::text(date(base + days.p90)),
            Cell::number(within(c, now, horizon), 3),
            Cell::text(told.to_string()),
            Cell::text(if told { fault } else { "" }),
            Cell::number(first.map_or(f64::NAN, |f| f.1), 3),
            Cell::text(c.file.clone()),
        ]);
    }
    list
}

/// Probability that a car is due within the horizon from today, what is overdue included.
fn within(c: &Car, now: i64, horizon: f64) -> f64 {
    let since = (now - c.at.unwrap_or(now)).max(0) as f64;
    c.balance.outlook.due_within_days(since + horizon)
}

/// What a fill takes, L.
fn fill_l(c: &Car) -> f64 {
    (c.balance.capacity_l - c.balance.reserve_l).max(0.0)
}

fn needs(cars: &[Car], now: i64, horizon: f64) -> BTreeMap<String, Vec<Need>> {
    let mut out: BTreeMap<String, Vec<Need>> = BTreeMap::new();
    for c in cars {
        out.entry(c.fluid.clone()).or_default().push(Need {
            litres: fill_l(c),
            standard_uncertainty_l: FILL_REL * c.balance.capacity_l,
            probability: within(c, now, horizon),
        });
    }
    out
}

fn containers(shelf: &Shelf) -> Vec<Container> {
    shelf.container.iter().map(OnShelf::container).collect()
}

fn demand_list(
    needs: &BTreeMap<String, Vec<Need>>,
    shelf: &Shelf,
    now: i64,
    horizon: f64,
) -> additive::Result<List> {
    let mut list = List::new(&[
        ("fluid", true, false),
        ("cars", true, true),
        ("expected_fills", true, true),
        ("mean_l", true, true),
        ("sd_l", true, true),
        ("on_shelf_l", true, true),
        ("reorder_point_l", true, true),
        ("safety_l", false, true),
        ("order_containers", true, true),
        ("limited_by_shelf_life", false, false),
        ("waste_probability", false, true),
    ]);
    let there = containers(shelf);
    for (fluid, needs) in needs {
        let expected = demand(needs)?;
        let usable: f64 = there
            .iter()
            .filter(|c| c.fluid == *fluid && !c.blocked && c.expires_day.is_none_or(|e| e >= now))
            .map(|c| c.left_ml / 1000.0)
            .sum();
        let policy = shelf.policy.get(fluid).or_else(|| shelf.policy.get("any"));
        let order = policy.map(|p| reorder(expected.over(1.0, horizon)?, usable, p)).transpose()?;
        let of = |f: &dyn Fn(&additive::stock::Order) -> f64| order.as_ref().map_or(f64::NAN, f);
        list.rows.push(vec![
            Cell::text(fluid.clone()),
            Cell::number(needs.len() as f64, 0),
            Cell::number(needs.iter().map(|n| n.probability).sum(), 2),
            Cell::number(expected.mean_l, 2),
            Cell::number(expected.sd_l, 2),
            Cell::number(usable, 2),
            Cell::number(of(&|o| o.reorder_point_l), 2),
            Cell::number(of(&|o| o.safety_l), 2),
            Cell::number(of(&|o| f64::from(o.containers)), 0),
            Cell::text(order.as_ref().map_or_else(String::new, |o| o.limited_by_shelf_life.to_string())),
            Cell::number(of(&|o| o.waste_probability), 3),
        ]);
    }
    Ok(list)
}

/// Which container goes into which car: cars likelier due than not within the horizon, the first due first, each from
/// the container that expires first among those in date on the day.
fn plan_list(cars: &[Car], shelf: &Shelf, now: i64, horizon: f64) -> additive::Result<List> {
    let mut list = List::new(&[
        ("date", true, false),
        ("car", true, false),
        ("fluid", true, false),
        ("container", true, false),
        ("lot", true, false),
        ("ml", true, true),
        ("short_ml", true, true),
    ]);
    let mut there = containers(shelf);
    if there.is_empty() {
        return Ok(list);
    }
    let due = |c: &Car| (c.at.unwrap_or(now) as f64 + c.balance.due_days.p50).max(now as f64);
    let mut coming: Vec<&Car> = cars.iter().filter(|c| due(c) <= now as f64 + horizon).collect();
    coming.sort_by(|a, b| due(a).total_cmp(&due(b)).then_with(|| a.file.cmp(&b.file)));
    for c in coming {
        let picking = pick(&there, &c.fluid, 1000.0 * fill_l(c), due(c) as i64)?;
        let mut row = |container: &str, lot: &str, ml: f64, short: f64| {
            list.rows.push(vec![
                Cell::text(date(due(c))),
                Cell::text(c.name.clone()),
                Cell::text(c.fluid.clone()),
                Cell::text(container),
                Cell::text(lot),
                Cell::number(ml, 0),
                Cell::number(short, 0),
            ]);
        };
        for t in &picking.takes {
            row(&t.container, &t.lot, t.ml, f64::NAN);
            for held in there.iter_mut().filter(|h| h.id == t.container) {
                held.left_ml = (held.left_ml - t.ml).max(0.0);
            }
        }
        if picking.short_ml > 0.0 {
            row("", "", f64::NAN, picking.short_ml);
        }
    }
    Ok(list)
}
