//! From the rows of a case to an ordered story: steps with what was poured, typed in and looked at.
//!
//! Rows that share an odometer and carry neither times nor orders that tell them apart stay undecided:
//! the step then lists every place a look may have among the pours, and the filter weighs them all. All
//! lists are brought into one canonical order, so the order of entry cannot matter, not even in the last bit.

use facts::Case;
use facts::case::{FuelSource, Known, Quantity, Role, Stamp, Wetness};
use std::cmp::Ordering;

/// Something done to reservoir or controller.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fill {
    /// True for a pour, false when only the controller was told something.
    pub pour: bool,
    pub volume_l: Option<f64>,
    pub mass_kg: Option<f64>,
    pub full: Option<bool>,
    pub replaced: bool,
    pub entered_l: Option<f64>,
    pub reset: Option<Known>,
    pub metal_g_per_l: Option<f64>,
    pub density_kg_per_l: Option<f64>,
}

/// Something seen without changing anything.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Look {
    Weighed { net_kg: f64, tare_known: bool, sd_kg: f64 },
    Level { litres: f64, sd_l: f64 },
    Counter { used_l: Option<f64>, left_l: Option<f64>, distance_km: Option<f64>, sd_l: f64 },
    Surroundings { wet: bool },
}

/// A stated figure of fuel.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum FuelFigure {
    /// Litres burnt since a slot was opened.
    Litres { slot: usize, litres: f64, var_l2: f64 },
    /// Average of the trip computer, L/km, since a slot was opened, km ago.
    TripSince { slot: usize, l_per_km: f64, km: f64 },
    /// Average of the trip computer over an unknown stretch.
    Trip { l_per_km: f64 },
}

/// All that happened at one place of the car's life.
#[derive(Debug, Clone, Default)]
pub(super) struct Step {
    pub odometer_km: f64,
    pub day: f64,
    pub open_slots: Vec<usize>,
    pub fuel: Vec<FuelFigure>,
    pub fills: Vec<Fill>,
    pub looks: Vec<Look>,
    /// Ways to place each look: before fill 0, before fill 1, ..., after the last; at least one way.
    pub ways: Vec<Vec<usize>>,
}

/// The car's life as far as the balance needs it.
#[derive(Debug, Clone)]
pub(super) struct Story {
    pub steps: Vec<Step>,
    /// First step that says anything about reservoir or counters.
    pub begin: usize,
    /// Distance per day and its relative standard deviation.
    pub km_per_day: f64,
    pub km_per_day_rel: f64,
}

fn sound(x: f64, low: f64, high: f64) -> Option<f64> {
    (x.is_finite() && x >= low && x <= high).then_some(x)
}

fn within(x: Option<f64>, low: f64, high: f64) -> Option<f64> {
    x.and_then(|x| sound(x, low, high))
}

const DAY_S: f64 = 86_400.0;

/// Where a row stands: odometer, day, instant when known to the minute, order.
#[derive(Debug, Clone, Copy)]
struct Place {
    odometer_km: f64,
    day: Option<f64>,
    exact: bool,
    order: Option<i64>,
    /// Stated to be before (-1) or after (1) the work.
    role: i8,
}

impl Place {
    /// Whether `self` happened before `other`, at one odometer; `None` when nothing says so.
    fn against(&self, other: &Place) -> Option<Ordering> {
        if let (Some(a), Some(b)) = (self.day, other.day)
            && ((a.floor() - b.floor()).abs() > 0.5 || (self.exact && other.exact && a != b))
        {
            return a.partial_cmp(&b);
        }
        match (self.order, other.order) {
            (Some(a), Some(b)) if a != b => Some(a.cmp(&b)),
            _ => None,
        }
    }
}

/// Places rows and knows where the car was when.
struct Clock {
    present_km: f64,
    anchors: Vec<(f64, f64)>,
    rate: f64,
}

impl Clock {
    fn place(&self, stamp: Stamp, role: Option<Role>) -> Place {
        let day = stamp.time.map(|t| t.instant.as_second() as f64 / DAY_S);
        let odometer_km = within(stamp.odometer_km, 0.0, 1e7)
            .or_else(|| day.and_then(|d| self.odometer_of(d)))
            .unwrap_or(self.present_km);
        Place {
            odometer_km,
            day,
            exact: stamp.time.is_some_and(|t| !t.day_only),
            order: stamp.order,
            role: match role {
                Some(Role::Before) => -1,
                Some(Role::After) => 1,
                _ => 0,
            },
        }
    }

    /// Odometer on a day inside the known stretch of the life.
    fn odometer_of(&self, day: f64) -> Option<f64> {
        let after = self.anchors.iter().position(|a| a.1 >= day)?;
        let (b, a) = (self.anchors.get(after)?, self.anchors.get(after.checked_sub(1)?)?);
        let share = if b.1 > a.1 { (day - a.1) / (b.1 - a.1) } else { 1.0 };
        Some(a.0 + share * (b.0 - a.0))
    }

    /// Day at an odometer, by the anchors and beyond them by the mean rate.
    fn day_of(&self, km: f64) -> f64 {
        let (Some(first), Some(last)) = (self.anchors.first(), self.anchors.last()) else {
            return km / self.rate;
        };
        if km <= first.0 {
            return first.1 - (first.0 - km) / self.rate;
        }
        if km >= last.0 {
            return last.1 + (km - last.0) / self.rate;
        }
        let i = self.anchors.partition_point(|a| a.0 < km).max(1);
        match (self.anchors.get(i - 1), self.anchors.get(i)) {
            (Some(a), Some(b)) if b.0 > a.0 => a.1 + (km - a.0) / (b.0 - a.0) * (b.1 - a.1),
            (_, Some(b)) => b.1,
            _ => last.1,
        }
    }
}

fn stamps(case: &Case) -> Vec<Stamp> {
    use facts::case::Row;
    fn all<R: Row>(rows: &[R]) -> impl Iterator<Item = Stamp> + '_ {
        rows.iter().map(Row::stamp)
    }
    all(&case.reading)
        .chain(all(&case.fault_memory))
        .chain(all(&case.observation))
        .chain(all(&case.refill))
        .chain(all(&case.counter_read))
        .chain(all(&case.counter_entry))
        .chain(all(&case.reservoir_weighed))
        .chain(all(&case.level_read))
        .chain(all(&case.surroundings))
        .chain(all(&case.fuel_used))
        .chain(all(&case.trip_computer))
        .chain(all(&case.oil_change))
        .chain(all(&case.oil_top_up))
        .chain(all(&case.regeneration))
        .chain(all(&case.regeneration_count))
        .chain(all(&case.filter_cleaned))
        .chain(all(&case.filter_replaced))
        .chain(all(&case.sensor_replaced))
        .chain(all(&case.zero_taught))
        .chain(all(&case.odometer_note))
        .collect()
}

fn clock(case: &Case) -> (Clock, f64) {
    let all = stamps(case);
    let present_km = within(case.car.odometer_km, 0.0, 1e7)
        .into_iter()
        .chain(all.iter().filter_map(|s| within(s.odometer_km, 0.0, 1e7)))
        .fold(0.0, f64::max);
    let mut anchors: Vec<(f64, f64)> = all
        .iter()
        .filter_map(|s| {
            let day = s.time?.instant.as_second() as f64 / DAY_S;
            within(s.odometer_km, 0.0, 1e7).map(|km| (km, day))
        })
        .collect();
    anchors.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut latest = f64::NEG_INFINITY;
    for a in &mut anchors {
        // A date that runs backwards against the odometer is a slip of the pen; time stands still there.
        latest = latest.max(a.1);
        a.1 = latest;
    }
    let stated = within(case.car.distance_per_year_km, 100.0, 5e5).map(|y| y / 365.25);
    let span = match (anchors.first(), anchors.last()) {
        (Some(a), Some(b)) if b.1 - a.1 >= 10.0 && b.0 > a.0 => Some(((b.0 - a.0) / (b.1 - a.1), b.1 - a.1)),
        _ => None,
    };
    // Relative spread of the distance per day to come: habits change (guess: 15 %), and a short look back says
    // little. Without any word: 15 000 km a year within a factor of two (common practice, no source).
    let history = span.map(|(rate, days)| (rate.clamp(0.5, 1500.0), 0.13 + 0.35 / (1.0 + days / 60.0)));
    let (rate, rel) = match (history, stated) {
        (Some((a, ra)), Some(b)) => {
            let (wa, wb) = (1.0 / (ra * ra), 1.0 / (0.25 * 0.25));
            ((wa * a + wb * b) / (wa + wb), (1.0 / (wa + wb)).sqrt().max(0.12))
        }
        (Some((a, ra)), None) => (a, ra),
        (None, Some(b)) => (b, 0.25),
        (None, None) => (41.0, 0.6),
    };
    (Clock { present_km, anchors, rate }, rel)
}

/// A sortable image of a row's content, so that rows can be put in canonical order.
fn key_of<T: std::fmt::Debug>(t: &T) -> String {
    format!("{t:?}")
}

/// What a scale or a tare may be off when nothing is said, kg (guess: kitchen to parcel scale).
const SCALE_SD_KG: f64 = 0.008;

/// Builds the story. `looks` false leaves out weighings, levels and counter reads.
pub(super) fn story(case: &Case, capacity_l: f64, looks: bool) -> Story {
    let (clock, km_per_day_rel) = clock(case);
    let mut fills: Vec<(Place, Fill)> = Vec::new();
    for r in &case.refill {
        let stamp = facts::case::Row::stamp(r);
        fills.push((
            clock.place(stamp, None),
            Fill {
                pour: true,
                volume_l: within(r.volume_l, 0.0, 1e3),
                mass_kg: within(r.mass_g, 0.0, 1e6).map(|g| g / 1000.0),
                full: r.full,
                replaced: r.reservoir_replaced == Some(true),
                entered_l: within(r.entered_l, 0.0, 1e5),
                reset: r.counter_reset,
                metal_g_per_l: within(r.metal_g_per_l, 1e-6, 1e3),
                density_kg_per_l: within(r.density_kg_per_m3, 300.0, 3000.0).map(|d| d / 1000.0),
            },
        ));
    }
    for r in &case.counter_entry {
        let stamp = facts::case::Row::stamp(r);
        fills.push((
            clock.place(stamp, None),
            Fill {
                pour: false,
                volume_l: None,
                mass_kg: None,
                full: None,
                replaced: false,
                entered_l: within(r.entered_l, 0.0, 1e5),
                reset: r.counter_reset,
                metal_g_per_l: None,
                density_kg_per_l: None,
            },
        ));
    }
    let seen = if looks { self::looks(case, &clock, capacity_l) } else { Vec::new() };
    let fills = told_with_pour(fills, &seen);

    // Steps: one per odometer, and per day within it when every row there carries a day.
    let mut rows: Vec<(Place, Item)> = Vec::new();
    rows.extend(fills.into_iter().map(|(p, f)| (p, Item::Fill(f))));
    rows.extend(seen.into_iter().map(|(p, l)| (p, Item::Look(l))));
    rows.sort_by(|a, b| {
        a.0.odometer_km
            .total_cmp(&b.0.odometer_km)
            .then_with(|| key_of(&a.1).cmp(&key_of(&b.1)))
            .then_with(|| key_of(&a.0).cmp(&key_of(&b.0)))
    });
    let mut steps: Vec<Step> = Vec::new();
    let mut rest = rows.as_slice();
    while let Some(first) = rest.first() {
        let km = first.0.odometer_km;
        let n = rest.partition_point(|r| r.0.odometer_km <= km).max(1);
        let (group, tail) = rest.split_at(n);
        rest = tail;
        if group.iter().all(|r| r.0.day.is_some()) {
            let mut by_day: Vec<&(Place, Item)> = group.iter().collect();
            by_day.sort_by(|a, b| a.0.day.unwrap_or(0.0).floor().total_cmp(&b.0.day.unwrap_or(0.0).floor()));
            for chunk in
                by_day.chunk_by(|a, b| a.0.day.unwrap_or(0.0).floor() == b.0.day.unwrap_or(0.0).floor())
            {
                let day = chunk.iter().filter_map(|r| r.0.day).fold(f64::NEG_INFINITY, f64::max);
                steps.push(step(km, day, chunk));
            }
        } else {
            let chunk: Vec<&(Place, Item)> = group.iter().collect();
            steps.push(step(km, clock.day_of(km), &chunk));
        }
    }
    let first_km = steps.first().map(|s| s.odometer_km);
    if steps.last().is_none_or(|s| s.odometer_km < clock.present_km) {
        steps.push(step(clock.present_km, clock.day_of(clock.present_km), &[]));
    }
    add_fuel(case, &clock, &mut steps);
    let mut day = f64::NEG_INFINITY;
    for s in &mut steps {
        day = day.max(s.day);
        s.day = day;
    }
    let begin = first_km.and_then(|km| steps.iter().position(|s| s.odometer_km >= km)).unwrap_or(0);
    Story { steps, begin, km_per_day: clock.rate, km_per_day_rel }
}

/// Distance within which an entry in a row of its own still belongs to a pour: a road test (guess).
const SAME_VISIT_KM: f64 = 60.0;

/// An entry written in a row of its own is the telling of the pour before it, not a second deed: joins the two where
/// nobody read the counter between them.
fn told_with_pour(mut fills: Vec<(Place, Fill)>, seen: &[(Place, Look)]) -> Vec<(Place, Fill)> {
    let key = |(p, f): &(Place, Fill)| format!("{f:?}{p:?}");
    fills.sort_by(|a, b| a.0.odometer_km.total_cmp(&b.0.odometer_km).then_with(|| key(a).cmp(&key(b))));
    let (mut pours, entries): (Vec<_>, Vec<_>) = fills.into_iter().partition(|f| f.1.pour);
    let mut apart = Vec::new();
    for (at, entry) in entries {
        let between = |pour: &Place| {
            seen.iter().any(|(p, look)| {
                matches!(look, Look::Counter { .. })
                    && (p.odometer_km > pour.odometer_km || p.against(pour) == Some(Ordering::Greater))
                    && (p.odometer_km < at.odometer_km
                        || (p.odometer_km == at.odometer_km && p.against(&at) == Some(Ordering::Less)))
            })
        };
        let fits = |(p, f): &(Place, Fill)| {
            f.entered_l.is_none()
                && p.odometer_km <= at.odometer_km
                && at.odometer_km - p.odometer_km <= SAME_VISIT_KM
                && p.against(&at) != Some(Ordering::Greater)
                && !between(p)
        };
        match pours.iter_mut().rev().find(|f| fits(f)) {
            Some((_, pour)) => {
                pour.entered_l = entry.entered_l;
                if pour.reset.is_none() || entry.reset == Some(Known::Yes) {
                    pour.reset = entry.reset.or(pour.reset);
                }
            }
            None => apart.push((at, entry)),
        }
    }
    pours.append(&mut apart);
    pours
}

#[derive(Debug, Clone, PartialEq)]
enum Item {
    Fill(Fill),
    Look(Look),
}

fn looks(case: &Case, clock: &Clock, capacity_l: f64) -> Vec<(Place, Look)> {
    use facts::case::Row;
    let mut out = Vec::new();
    let table_tare = within(case.reservoir.tare_g, 0.0, 1e6);
    for r in &case.reservoir_weighed {
        let Some(gross) = sound(r.gross_g, 0.0, 1e6) else { continue };
        let tare = within(r.tare_g, 0.0, 1e6).or(table_tare);
        // A scale that steps by r spreads evenly over r: variance r^2 / 12. Plus or minus u holds in 95 of 100.
        let step = within(r.resolution_g, 0.0, 1e4).map(|r| r / 1000.0);
        let given = within(r.uncertainty_g, 0.0, 1e5).map(|u| u / 1960.0);
        let sd = match (step, given) {
            (s, Some(u)) => (u * u + s.unwrap_or(0.0).powi(2) / 12.0).sqrt().max(0.001),
            (Some(s), None) => (s * s / 12.0 + 0.004f64.powi(2)).sqrt(),
            (None, None) => SCALE_SD_KG,
        };
        out.push((
            clock.place(r.stamp(), None),
            Look::Weighed {
                net_kg: (gross - tare.unwrap_or(0.0)) / 1000.0,
                tare_known: tare.is_some(),
                sd_kg: sd,
            },
        ));
    }
    for r in &case.level_read {
        let Some(litres) = sound(r.level_l, 0.0, 1e3) else { continue };
        // By eye without a word on it: 7 % of the capacity (guess).
        let sd = within(r.uncertainty_l, 0.0, 1e3).map_or(0.07 * capacity_l, |u| (u / 1.96).max(0.005));
        out.push((clock.place(r.stamp(), None), Look::Level { litres, sd_l: sd }));
    }
    // A controller shows its figures in steps of a few mL (guess).
    const COUNTER_SD_L: f64 = 0.006;
    for r in &case.counter_read {
        let used = within(r.used_ml, 0.0, 1e6).map(|x| x / 1000.0);
        let left = within(r.left_ml, 0.0, 1e6).map(|x| x / 1000.0);
        let distance = within(r.distance_since_fill_km, 0.0, 1e7);
        if used.is_some() || left.is_some() || distance.is_some() {
            let look =
                Look::Counter { used_l: used, left_l: left, distance_km: distance, sd_l: COUNTER_SD_L };
            out.push((clock.place(r.stamp(), None), look));
        }
    }
    for r in &case.reading {
        if !matches!(r.quantity, Quantity::AdditiveUsed | Quantity::AdditiveLeft) {
            continue;
        }
        let litres = match r.unit.trim() {
            "mL" | "ml" => sound(r.value, 0.0, 1e6).map(|x| x / 1000.0),
            "L" | "l" => sound(r.value, 0.0, 1e3),
            "%" => sound(r.value, 0.0, 200.0).map(|x| x / 100.0 * capacity_l),
            _ => None,
        };
        let Some(litres) = litres else { continue };
        // A figure in percent is shown in whole steps.
        let sd_l = if r.unit.trim() == "%" { 0.005 * capacity_l } else { COUNTER_SD_L };
        let (used_l, left_l) =
            if r.quantity == Quantity::AdditiveUsed { (Some(litres), None) } else { (None, Some(litres)) };
        let place = clock.place(r.stamp(), r.role);
        // The same figure written down twice is one fact.
        let twin = out.iter().any(|(p, l)| {
            p.odometer_km == place.odometer_km
                && p.role == place.role
                && matches!(l, Look::Counter { used_l: u, left_l: f, .. }
                    if (used_l.is_some() && *u == used_l) || (left_l.is_some() && *f == left_l))
        });
        if !twin {
            out.push((place, Look::Counter { used_l, left_l, distance_km: None, sd_l }));
        }
    }
    for r in &case.surroundings {
        out.push((clock.place(r.stamp(), None), Look::Surroundings { wet: r.state == Wetness::Wet }));
    }
    out
}

/// Most placements of looks among fills that are followed in one step.
const MOST_WAYS: usize = 16;

fn step(odometer_km: f64, day: f64, rows: &[&(Place, Item)]) -> Step {
    let mut fills: Vec<(Place, Fill)> = Vec::new();
    let mut looks: Vec<(Place, Look)> = Vec::new();
    for (place, item) in rows {
        match item {
            Item::Fill(f) => fills.push((*place, f.clone())),
            Item::Look(l) => {
                if !looks.iter().any(|(p, seen)| seen == l && p.against(place).is_none()) {
                    looks.push((*place, l.clone()));
                }
            }
        }
    }
    // Fills in their stated order; what nothing orders: pours before entries, then canonical. Insertion keeps
    // this well defined although "stated order" is only partial.
    let mut ordered: Vec<(Place, Fill)> = Vec::new();
    fills.sort_by(|a, b| b.1.pour.cmp(&a.1.pour).then_with(|| key_of(&a.1).cmp(&key_of(&b.1))));
    for f in fills {
        let at =
            ordered.iter().position(|g| f.0.against(&g.0) == Some(Ordering::Less)).unwrap_or(ordered.len());
        ordered.insert(at, f);
    }
    let allowed: Vec<Vec<usize>> = looks
        .iter()
        .map(|(p, _)| {
            if p.role != 0 {
                return vec![if p.role < 0 { 0 } else { ordered.len() }];
            }
            let low =
                ordered.iter().rposition(|f| f.0.against(p) == Some(Ordering::Less)).map_or(0, |i| i + 1);
            let high = ordered
                .iter()
                .position(|f| f.0.against(p) == Some(Ordering::Greater))
                .unwrap_or(ordered.len());
            if low <= high { (low..=high).collect() } else { vec![low] }
        })
        .collect();
    let mut ways: Vec<Vec<usize>> = vec![Vec::new()];
    for (i, places) in allowed.iter().enumerate() {
        let mut next = Vec::new();
        for way in &ways {
            for &at in places {
                let agrees = way.iter().zip(&looks).all(|(&other, (p, _))| {
                    let told = p.against(&looks[i].0);
                    other == at || told.is_none_or(|t| t == Ordering::Equal || t == other.cmp(&at))
                });
                if agrees {
                    let mut w = way.clone();
                    w.push(at);
                    next.push(w);
                }
            }
        }
        if next.is_empty() || next.len() > MOST_WAYS {
            // Too many or contradictory: this look goes to its last allowed place on every way.
            for way in &mut ways {
                way.push(places.last().copied().unwrap_or(0));
            }
        } else {
            ways = next;
        }
    }
    Step {
        odometer_km,
        day,
        fills: ordered.into_iter().map(|f| f.1).collect(),
        looks: looks.into_iter().map(|l| l.1).collect(),
        ways,
        ..Step::default()
    }
}

/// Opens a slot of summed fuel where a stated figure begins and closes it where it ends.
fn add_fuel(case: &Case, clock: &Clock, steps: &mut Vec<Step>) {
    use facts::case::Row;
    struct Span {
        from: f64,
        to: f64,
        litres: Option<(f64, f64)>,
        trip: Option<f64>,
    }
    let mut spans: Vec<Span> = Vec::new();
    let mut bare: Vec<(f64, f64)> = Vec::new();
    for r in &case.fuel_used {
        let to = clock.place(r.stamp(), None).odometer_km;
        if let (Some(from), Some(litres)) = (sound(r.since_odometer_km, 0.0, 1e7), sound(r.fuel_l, 0.0, 1e6))
            && to - from > 1.0
        {
            // Relative standard deviation by source (common practice, no source), and at both ends a tank that
            // was not equally full, for figures that count fuel bought.
            let (rel, ends) = match r.source {
                Some(FuelSource::Receipts) => (0.025, 14.0),
                Some(FuelSource::FleetCard) => (0.015, 14.0),
                Some(FuelSource::Memory) => (0.15, 14.0),
                None => (0.08, 14.0),
            };
            spans.push(Span {
                from,
                to,
                litres: Some((litres, (rel * litres).powi(2) + f64::powi(ends, 2))),
                trip: None,
            });
        }
    }
    for r in &case.trip_computer {
        let Some(per_km) = sound(r.consumption_l_per_100km, 0.5, 150.0).map(|c| c / 100.0) else { continue };
        let to = clock.place(r.stamp(), None).odometer_km;
        match within(r.since_odometer_km, 0.0, 1e7) {
            Some(from) if to - from > 1.0 => spans.push(Span { from, to, litres: None, trip: Some(per_km) }),
            _ => bare.push((to, per_km)),
        }
    }
    spans.sort_by(|a, b| {
        a.to.total_cmp(&b.to)
            .then(a.from.total_cmp(&b.from))
            .then_with(|| format!("{:?}{:?}", a.litres, a.trip).cmp(&format!("{:?}{:?}", b.litres, b.trip)))
    });
    bare.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut at = |km: f64| -> usize {
        match steps.iter().position(|s| s.odometer_km >= km) {
            Some(i) if steps[i].odometer_km == km => i,
            found => {
                let i = found.unwrap_or(steps.len());
                steps.insert(i, step(km, clock.day_of(km), &[]));
                i
            }
        }
    };
    for s in &spans {
        at(s.from);
        at(s.to);
    }
    for b in &bare {
        at(b.0);
    }
    let mut busy_until = [f64::NEG_INFINITY; super::gauss::SLOTS];
    spans.sort_by(|a, b| {
        a.from
            .total_cmp(&b.from)
            .then(a.to.total_cmp(&b.to))
            .then_with(|| format!("{:?}{:?}", a.litres, a.trip).cmp(&format!("{:?}{:?}", b.litres, b.trip)))
    });
    for s in &spans {
        let (from, to) = (
            steps.iter().position(|x| x.odometer_km >= s.from),
            // the last step at that odometer: everything of that day has then been driven
            steps.iter().rposition(|x| x.odometer_km <= s.to),
        );
        let (Some(from), Some(to)) = (from, to) else { continue };
        let km = s.to - s.from;
        if let Some(slot) = busy_until.iter().position(|&b| b < s.from) {
            busy_until[slot] = s.to;
            steps[from].open_slots.push(slot);
            steps[to].fuel.push(match (s.litres, s.trip) {
                (Some((litres, var_l2)), _) => FuelFigure::Litres { slot, litres, var_l2 },
                (None, trip) => FuelFigure::TripSince { slot, l_per_km: trip.unwrap_or(0.06), km },
            });
        } else if let Some(per_km) = s.trip {
            // More figures run at once than there are slots: take it as an average of the car.
            steps[to].fuel.push(FuelFigure::Trip { l_per_km: per_km });
        }
    }
    for (km, l_per_km) in bare {
        if let Some(i) = steps.iter().rposition(|x| x.odometer_km <= km) {
            steps[i].fuel.push(FuelFigure::Trip { l_per_km });
        }
    }
}
