//! A life told in one case file or in a folder of them, as the visits that it is made of.
//!
//! Both forms are equal: [`join`] makes one case of the files of a folder, and [`of`] takes a case apart into
//! what the workshop had in hand at each visit, every part an ordinary single-visit case.

use crate::case::{Case, Plumbing, Row, Visit};
use crate::finding::{Finding, Findings, Places};
use crate::life::{self, RowRef};
use crate::moment::Moment;
use crate::{check, load::Kept};

/// Rows no further apart belong to one visit, whatever their dates, km: a test drive within a stay.
const SAME_STAY_KM: f64 = 20.0;
/// Rows no further apart belong to one visit when their dates, where known, lie within [`SAME_STAY_DAYS`], km.
const NEAR_KM: f64 = 150.0;
/// See [`NEAR_KM`].
const SAME_STAY_DAYS: f64 = 3.0;
/// Odometers that differ by less are one reading, km.
const STEP_KM: f64 = 1.0;

/// Where a row stands.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Place {
    odometer_km: Option<f64>,
    time: Option<Moment>,
}

impl Place {
    fn km(self) -> f64 {
        self.odometer_km.unwrap_or(f64::INFINITY)
    }

    /// Whether both can belong to one stay.
    fn near(self, other: Self) -> bool {
        let days = self.time.zip(other.time).map(|(a, b)| a.days_since(b).abs());
        match (self.odometer_km, other.odometer_km) {
            (Some(a), Some(b)) => {
                let km = (a - b).abs();
                km <= SAME_STAY_KM || (km <= NEAR_KM && days.is_none_or(|d| d <= SAME_STAY_DAYS))
            }
            _ => days.is_none_or(|d| d <= SAME_STAY_DAYS),
        }
    }
}

/// Rows that make a visit; all others are history.
fn makes_a_visit(row: RowRef<'_>) -> bool {
    matches!(
        row,
        RowRef::Visit(_)
            | RowRef::Reading(_)
            | RowRef::FaultMemory(_)
            | RowRef::Observation(_)
            | RowRef::Recording(_)
    )
}

/// A row's own odometer, else that of a row of the same day, else the car's present one.
fn place(case: &Case, row: RowRef<'_>) -> Place {
    let stamp = row.stamp();
    let same_day = || {
        let day = stamp.time?.day();
        life::rows(case)
            .map(|r| r.stamp())
            .filter(|s| s.time.is_some_and(|t| t.day() == day))
            .filter_map(|s| s.odometer_km)
            .reduce(f64::max)
    };
    let odometer_km = stamp.odometer_km.or_else(same_day).or_else(|| match stamp.time {
        // A date that no odometer is known of says more than the present odometer does.
        Some(t) if later_than(case, t) => None,
        _ => case.car.odometer_km,
    });
    Place { odometer_km, time: stamp.time }
}

/// Whether some visit of the case is dated after `t`.
fn later_than(case: &Case, t: Moment) -> bool {
    life::rows(case)
        .filter(|r| makes_a_visit(*r))
        .filter_map(|r| r.stamp().time)
        .any(|o| o.days_since(t) > SAME_STAY_DAYS)
}

/// The stays of a case: first and last place of each, earliest first.
fn stays(case: &Case) -> Vec<(Place, Place)> {
    let mut fixed: Vec<Place> = Vec::new();
    let mut free: Vec<Place> = Vec::new();
    for row in life::rows(case).filter(|r| makes_a_visit(*r)) {
        let at = place(case, row);
        if matches!(row, RowRef::Visit(_)) {
            fixed.push(at);
        } else {
            free.push(at);
        }
    }
    // A visit that is told as such takes the rows about it; other rows find together.
    free.retain(|p| !fixed.iter().any(|f| f.near(*p)));
    let order = |a: &Place, b: &Place| match (a.odometer_km, b.odometer_km, a.time, b.time) {
        (Some(x), Some(y), ..) if x != y => x.total_cmp(&y),
        (_, _, Some(s), Some(t)) => s.cmp(&t),
        _ => a.km().total_cmp(&b.km()),
    };
    free.sort_by(order);
    let mut out: Vec<(Place, Place)> = Vec::new();
    for p in free {
        match out.last_mut() {
            Some((first, last)) if first.near(p) => {
                *last = Place { odometer_km: p.odometer_km.or(last.odometer_km), time: p.time.or(last.time) };
            }
            _ => out.push((p, p)),
        }
    }
    fixed.sort_by(order);
    fixed.dedup_by(|a, b| (a.km() - b.km()).abs() <= STEP_KM && a.near(*b));
    out.extend(fixed.into_iter().map(|f| (f, f)));
    out.sort_by(|a, b| order(&a.0, &b.0));
    out
}

/// How far a place lies from a stay: kilometres where both have an odometer, else days.
fn distance(p: Place, stay: &(Place, Place)) -> f64 {
    let to = |s: Place| match (p.odometer_km, s.odometer_km) {
        (Some(a), Some(b)) => {
            let days = p.time.zip(s.time).map_or(0.0, |(x, y)| x.days_since(y).abs());
            (a - b).abs() + 0.01 * days
        }
        _ => p.time.zip(s.time).map_or(1e9, |(x, y)| x.days_since(y).abs()),
    };
    to(stay.0).min(to(stay.1))
}

/// The visits of a life, earliest first, each as the case that the workshop had in hand then: all rows of
/// history up to it, and its own readings, observations, fault memories and recordings. A case of a single
/// visit comes out as it went in, with its rows sorted.
#[must_use]
pub fn of(case: &Case) -> Vec<Case> {
    let mut whole = case.clone();
    life::pool(&mut whole, std::slice::from_ref(case));
    let stays = stays(&whole);
    if stays.len() < 2 && (whole.visit.is_empty() || stays.is_empty()) {
        return vec![whole];
    }
    (0..stays.len()).map(|k| at(&whole, &stays, k)).collect()
}

fn at(case: &Case, stays: &[(Place, Place)], k: usize) -> Case {
    let mut out = case.clone();
    let Some((first, last)) = stays.get(k).copied() else { return out };
    let own = |p: Place| {
        let mut best = (f64::INFINITY, 0);
        for (i, s) in stays.iter().enumerate() {
            let d = distance(p, s);
            if d < best.0 {
                best = (d, i);
            }
        }
        best.1 == k
    };
    let latest = k + 1 == stays.len();
    let until = last.odometer_km.map(|l| first.odometer_km.map_or(l, |f| f.max(l)));
    let mut surroundings: Vec<Visit> = Vec::new();
    life::retain(&mut out, |row| {
        let p = place(case, row);
        if makes_a_visit(row) {
            let keep = own(p);
            if let (RowRef::Visit(v), true) = (row, keep) {
                surroundings.push(v.clone());
            }
            return keep;
        }
        latest
            || match (p.odometer_km, until) {
                (Some(row), Some(visit)) => row <= visit + STEP_KM,
                _ => p.time.zip(last.time).is_some_and(|(row, visit)| row.days_since(visit) <= 0.5),
            }
    });
    if !latest {
        out.car.odometer_km = until;
        let past = |km: Option<f64>| km.filter(|o| until.is_none_or(|u| *o <= u + STEP_KM));
        out.filter.fitted_odometer_km = past(out.filter.fitted_odometer_km);
        out.filter.cleaned_odometer_km = past(out.filter.cleaned_odometer_km);
        // The table tells of the last day; the height of the workshop stays.
        out.ambient.temperature_degc = None;
    }
    for v in surroundings {
        out.ambient.pressure_kpa = v.pressure_kpa.or(out.ambient.pressure_kpa);
        out.ambient.temperature_degc = v.temperature_degc.or(out.ambient.temperature_degc);
        out.ambient.altitude_m = v.altitude_m.or(out.ambient.altitude_m);
    }
    out.visit.clear();
    out
}

/// One case of the dated case files of one car. `files` = name and content of each.
///
/// Rows that several files hold are one fact. Constants come from the latest file that gives them; those that
/// no work on a car changes must agree. Also returned: what is accepted but worth a second look.
///
/// # Errors
/// Files of different cars, an odometer that falls, files that cannot be put in order.
pub fn join(folder: &str, mut files: Vec<(String, Case)>) -> Result<(Case, Vec<Finding>), Findings> {
    let mut errors = Vec::new();
    let mut warnings = Vec::new();
    order_files(&mut files, &mut warnings);
    let Some((_, newest)) = files.last() else { return Ok((Case::default(), warnings)) };
    let mut out = newest.clone();
    for pair in files.windows(2) {
        if let [(a_name, a), (b_name, b)] = pair {
            contradictions(a_name, a, b_name, b, &mut errors);
        }
    }
    let mut parts = Vec::new();
    for (_, case) in &files {
        let mut part = case.clone();
        if let Some(km) = case.car.odometer_km {
            let told_as_visit =
                part.visit.iter().any(|v| v.odometer_km.is_none_or(|o| (o - km).abs() <= STEP_KM));
            if !told_as_visit && has_facts_of_a_visit(&part) {
                part.visit.push(visit_of(case, km));
            }
            life::place_at(&mut part, km);
        }
        parts.push(part);
    }
    // What the newest file leaves out, the one before it may tell.
    parts.iter().rev().for_each(|part| fill_constants(&mut out, part));
    life::pool(&mut out, &parts);
    out.car.odometer_km = files.iter().filter_map(|(_, c)| c.car.odometer_km).reduce(f64::max);
    let found = check::check(&out, &Places::new(folder, ""), &Kept::new());
    errors.extend(found.errors);
    if errors.is_empty() {
        return Ok((out, warnings));
    }
    errors.sort();
    errors.dedup();
    Err(Findings { findings: errors })
}

fn has_facts_of_a_visit(case: &Case) -> bool {
    life::rows(case)
        .any(|r| makes_a_visit(r) && r.stamp().odometer_km.is_none_or(|o| Some(o) == case.car.odometer_km))
}

/// The visit that a file of a folder stands for.
fn visit_of(case: &Case, odometer_km: f64) -> Visit {
    let time = life::rows(case)
        .filter(|r| {
            makes_a_visit(*r) && r.stamp().odometer_km.is_none_or(|o| (o - odometer_km).abs() <= STEP_KM)
        })
        .filter_map(|r| r.stamp().time)
        .max();
    Visit {
        odometer_km: Some(odometer_km),
        time,
        order: None,
        note: None,
        pressure_kpa: case.ambient.pressure_kpa,
        temperature_degc: case.ambient.temperature_degc,
        altitude_m: case.ambient.altitude_m,
    }
}

fn at_file(file: &str, what: String, advice: &str) -> Finding {
    Finding { file: file.to_owned(), line: 1, column: 1, what, advice: advice.to_owned() }
}

/// Earliest first: by odometer, files without one by their dates or names between the others.
fn order_files(files: &mut [(String, Case)], warnings: &mut Vec<Finding>) {
    files.sort_by(|a, b| a.0.cmp(&b.0));
    let dated = |c: &Case| life::rows(c).filter(|r| makes_a_visit(*r)).filter_map(|r| r.stamp().time).max();
    if files.iter().all(|(_, c)| dated(c).is_some()) {
        files.sort_by_key(|(_, c)| dated(c));
    }
    for i in 0..files.len() {
        if files[i].1.car.odometer_km.is_some() {
            continue;
        }
        let before = files[..i].iter().filter_map(|f| f.1.car.odometer_km).reduce(f64::max);
        let after = files[i + 1..].iter().filter_map(|f| f.1.car.odometer_km).reduce(f64::min);
        let guess = match (before, after) {
            (Some(a), Some(b)) => Some(0.5 * (a + b)),
            (Some(a), None) => Some(a + 1000.0),
            (None, Some(b)) => Some((b - 1000.0).max(0.0)),
            (None, None) => None,
        };
        if let Some(km) = guess {
            files[i].1.car.odometer_km = Some(km.round());
            warnings.push(at_file(
                &files[i].0,
                format!(
                    "car.odometer_km is missing; by its date or name the visit is taken to be near {km:.0} km"
                ),
                "give the odometer of the visit",
            ));
        }
    }
    files.sort_by(|a, b| {
        let km = |c: &Case| c.car.odometer_km.unwrap_or(f64::INFINITY);
        km(&a.1).total_cmp(&km(&b.1))
    });
}

/// Constants that two files of one car cannot tell differently.
fn contradictions(a_name: &str, a: &Case, b_name: &str, b: &Case, errors: &mut Vec<Finding>) {
    let mut differ = |key: &str, x: String, y: String| {
        errors.push(at_file(
            b_name,
            format!("{key} is {y} here and {x} in {a_name}"),
            "the files of a folder must be of one car: move the other car's files, or correct the figure",
        ));
    };
    fn word<T: serde::Serialize>(v: &T) -> String {
        serde_json::to_string(v).unwrap_or_default()
    }
    if let (Some(x), Some(y)) = (&a.car.id, &b.car.id)
        && x != y
    {
        differ("car.id", word(x), word(y));
    }
    if let (Some(x), Some(y)) = (a.car.category, b.car.category)
        && x != y
    {
        differ("car.category", word(&x), word(&y));
    }
    if let (Some(x), Some(y)) = (a.sensor.plumbing, b.sensor.plumbing)
        && x != y
        && x != Plumbing::Unknown
        && y != Plumbing::Unknown
    {
        differ("sensor.plumbing", word(&x), word(&y));
    }
    let mut number = |key: &str, x: Option<f64>, y: Option<f64>, share: f64| {
        if let (Some(x), Some(y)) = (x, y)
            && (x - y).abs() > share * x.abs().max(y.abs())
        {
            differ(key, x.to_string(), y.to_string());
        }
    };
    number("car.displacement_l", a.car.displacement_l, b.car.displacement_l, 0.06);
    number("car.power_kw", a.car.power_kw, b.car.power_kw, 0.25);
    // A filter that was replaced, told or not, may be of another make; it still fits the same car.
    let replaced = b.filter_replaced.len() > a.filter_replaced.len()
        || a.filter.fitted_odometer_km != b.filter.fitted_odometer_km;
    if !replaced {
        number("filter.volume_l", a.filter.volume_l, b.filter.volume_l, 0.15);
        number("filter.diameter_mm", a.filter.diameter_mm, b.filter.diameter_mm, 0.06);
        number("filter.length_mm", a.filter.length_mm, b.filter.length_mm, 0.06);
    }
}

/// Takes over what the newer files left out.
fn fill_constants(out: &mut Case, part: &Case) {
    macro_rules! fill {
        ($($table:ident . $key:ident),+ $(,)?) => { $(
            if out.$table.$key.is_none() { out.$table.$key.clone_from(&part.$table.$key); }
        )+ };
    }
    fill!(
        car.id,
        car.category,
        car.mass_kg,
        car.displacement_l,
        car.power_kw,
        car.consumption_l_per_100km,
        car.distance_per_year_km,
        car.usual_trip_km,
        car.has_aus32,
        filter.material,
        filter.diameter_mm,
        filter.oval_long_axis_mm,
        filter.oval_short_axis_mm,
        filter.length_mm,
        filter.volume_l,
        filter.cell_density_cpsi,
        filter.wall_thickness_mm,
        filter.channels,
        filter.channel_width_ratio,
        filter.fitted_odometer_km,
        filter.cleaned_odometer_km,
        sensor.plumbing,
        sensor.range_kpa,
        reservoir.kind,
        reservoir.car_type,
        reservoir.fluid,
        reservoir.capacity_l,
        reservoir.reserve_l,
        reservoir.tare_g,
        reservoir.metal_g_per_l,
        reservoir.metal_mass_percent,
        reservoir.density_kg_per_m3,
        reservoir.dose_mg_per_kg,
        reservoir.dose_ml_per_l,
        oil.use_l_per_1000km,
        oil.sulfated_ash_percent,
        oil.density_kg_per_m3,
        fuel.density_kg_per_m3,
        ambient.altitude_m,
    );
    if out.reservoir.metals.is_empty() {
        out.reservoir.metals.clone_from(&part.reservoir.metals);
    }
    if out.title.is_none() {
        out.title.clone_from(&part.title);
    }
}

/// Odometer and date of a visit as [`of`] gives it.
#[must_use]
pub fn when(case: &Case) -> (Option<f64>, Option<Moment>) {
    let time = life::rows(case).filter(|r| makes_a_visit(*r)).filter_map(|r| r.stamp().time).max();
    (case.car.odometer_km, time)
}

/// Whether a row stands before another beyond doubt, by odometer, date or order.
#[must_use]
pub fn surely_before(a: &impl Row, b: &impl Row) -> bool {
    let (a, b) = (a.stamp(), b.stamp());
    match (a.odometer_km, b.odometer_km) {
        (Some(x), Some(y)) if (x - y).abs() > STEP_KM => x < y,
        _ => match (a.time, b.time) {
            (Some(x), Some(y)) if x.surely_before(y) || y.surely_before(x) => x.surely_before(y),
            _ => a.order.zip(b.order).is_some_and(|(x, y)| x < y),
        },
    }
}
