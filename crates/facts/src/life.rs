//! A car's life: all rows of a case as one list, in the order in which they happened as far as that is known.

use crate::case::{
    Case, CounterEntry, CounterRead, FaultMemory, FilterCleaned, FilterReplaced, FuelUsed, LevelRead,
    Observation, OdometerNote, OilChange, OilTopUp, Reading, RecordingRow, Refill, Regeneration,
    RegenerationCount, ReservoirWeighed, Role, Row, SensorReplaced, Stamp, Surroundings, TripComputer, Visit,
    ZeroTaught,
};
use crate::moment::Moment;
use serde::Serialize;
use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};

macro_rules! rows {
    ($($variant:ident($ty:ident) = $list:ident),+ $(,)?) => {
        /// A row of a case.
        #[derive(Debug, Clone, Copy, PartialEq)]
        #[allow(missing_docs)]
        pub enum RowRef<'a> { $($variant(&'a $ty)),+ }

        impl RowRef<'_> {
            /// The name of the list the row stands in, as in the case file.
            #[must_use]
            pub fn list(&self) -> &'static str {
                match self { $(Self::$variant(_) => stringify!($list)),+ }
            }
            /// The row's place in the car's life, as written.
            #[must_use]
            pub fn stamp(&self) -> Stamp {
                match self { $(Self::$variant(r) => r.stamp()),+ }
            }
            /// The row's content as one text: equal rows give equal texts.
            fn content(&self) -> String {
                match self { $(Self::$variant(r) => serde_json::to_string(r)),+ }.unwrap_or_default()
            }
        }

        fn all(case: &Case) -> impl Iterator<Item = (RowRef<'_>, usize)> {
            std::iter::empty()
                $(.chain(case.$list.iter().enumerate().map(|(i, r)| (RowRef::$variant(r), i))))+
        }

        /// Keeps the rows that `keep` wants.
        pub(crate) fn retain(case: &mut Case, mut keep: impl FnMut(RowRef<'_>) -> bool) {
            $(case.$list.retain(|r| keep(RowRef::$variant(r)));)+
        }

        /// Gives every row without an odometer this one.
        pub(crate) fn place_at(case: &mut Case, odometer_km: f64) {
            $(for r in &mut case.$list { r.odometer_km.get_or_insert(odometer_km); })+
        }

        /// The rows of all cases in one, each fact once, sorted. A row that several cases hold is one fact; one
        /// that a single case holds twice is two.
        pub(crate) fn pool(into: &mut Case, from: &[Case]) {
            $(into.$list = pooled(from.iter().map(|c| &c.$list[..]));)+
        }
    };
}

rows! {
    Visit(Visit) = visit,
    Reading(Reading) = reading,
    FaultMemory(FaultMemory) = fault_memory,
    Observation(Observation) = observation,
    Recording(RecordingRow) = recording,
    Refill(Refill) = refill,
    CounterRead(CounterRead) = counter_read,
    CounterEntry(CounterEntry) = counter_entry,
    ReservoirWeighed(ReservoirWeighed) = reservoir_weighed,
    LevelRead(LevelRead) = level_read,
    Surroundings(Surroundings) = surroundings,
    FuelUsed(FuelUsed) = fuel_used,
    TripComputer(TripComputer) = trip_computer,
    OilChange(OilChange) = oil_change,
    OilTopUp(OilTopUp) = oil_top_up,
    Regeneration(Regeneration) = regeneration,
    RegenerationCount(RegenerationCount) = regeneration_count,
    FilterCleaned(FilterCleaned) = filter_cleaned,
    FilterReplaced(FilterReplaced) = filter_replaced,
    SensorReplaced(SensorReplaced) = sensor_replaced,
    ZeroTaught(ZeroTaught) = zero_taught,
    OdometerNote(OdometerNote) = odometer_note,
}

/// What makes two rows one fact: the content without remark and order; the day apart.
fn fact<T: Row + Serialize>(row: &T) -> (String, Option<i64>) {
    let mut value = serde_json::to_value(row).unwrap_or_default();
    if let Some(object) = value.as_object_mut() {
        for key in ["note", "order", "time"] {
            object.remove(key);
        }
    }
    (value.to_string(), row.stamp().time.map(Moment::day))
}

fn pooled<'a, T: Row + Serialize + Clone + 'a>(lists: impl Iterator<Item = &'a [T]>) -> Vec<T> {
    let mut facts: BTreeMap<(String, Option<i64>), Vec<&T>> = BTreeMap::new();
    for list in lists {
        let mut own: BTreeMap<(String, Option<i64>), Vec<&T>> = BTreeMap::new();
        for row in list {
            own.entry(fact(row)).or_default().push(row);
        }
        for (key, rows) in own {
            let known = facts.entry(key).or_default();
            if rows.len() > known.len() {
                *known = rows;
            }
        }
    }
    // The same row once with its date and once without is one fact.
    let dated: BTreeSet<String> = facts.keys().filter(|k| k.1.is_some()).map(|k| k.0.clone()).collect();
    facts.retain(|(content, day), _| day.is_some() || !dated.contains(content));
    let mut out: Vec<(Stamp, &str, &T)> = facts
        .iter()
        .flat_map(|((content, _), rows)| rows.iter().map(|r| (r.stamp(), &content[..], *r)))
        .collect();
    out.sort_by(|a, b| {
        let km = |s: &Stamp| s.odometer_km.unwrap_or(f64::INFINITY);
        km(&a.0)
            .total_cmp(&km(&b.0))
            .then_with(|| a.0.time.cmp(&b.0.time))
            .then_with(|| a.0.order.cmp(&b.0.order))
            .then_with(|| a.1.cmp(b.1))
    });
    out.into_iter().map(|(_, _, row)| row.clone()).collect()
}

/// One row in its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Event<'a> {
    /// The row.
    pub row: RowRef<'a>,
    /// Its index in its list of the case.
    pub index: usize,
    /// Odometer, km: the row's own, else the car's present one. `None` when neither is known; such rows
    /// stand at the end, for they are taken to be of the present.
    pub odometer_km: Option<f64>,
    /// Date or instant.
    pub time: Option<Moment>,
    /// Order among rows at one odometer and time.
    pub order: Option<i64>,
    /// Rows with one number stand in an order that is not known; every order among them must do.
    /// Numbers grow along the list, and a row whose place is known has a number of its own.
    pub tie: usize,
}

/// All rows of the case, earliest first. The result does not depend on where the rows stand in the file:
/// rows are sorted by odometer, then by time, then by `order`, then by their role (before the work comes
/// first, after the work last), then by their content.
#[must_use]
pub fn ordered(case: &Case) -> Vec<Event<'_>> {
    let mut rows: Vec<(Event<'_>, String)> = all(case)
        .map(|(row, index)| {
            let s = row.stamp();
            let odometer_km = s.odometer_km.or(case.car.odometer_km);
            let event = Event { row, index, odometer_km, time: s.time, order: s.order, tie: 0 };
            (event, format!("{} {}", row.list(), row.content()))
        })
        .collect();
    let odometer = |e: &Event<'_>| e.odometer_km.unwrap_or(f64::INFINITY);
    rows.sort_by(|a, b| odometer(&a.0).total_cmp(&odometer(&b.0)).then_with(|| a.1.cmp(&b.1)));
    let mut out = Vec::with_capacity(rows.len());
    let mut tie = 0;
    for group in rows.chunk_by_mut(|a, b| odometer(&a.0).total_cmp(&odometer(&b.0)).is_eq()) {
        place(group, &mut tie);
        out.extend(group.iter().map(|(e, _)| *e));
    }
    out
}

/// Sorts rows at one odometer, given in the order of their content, and numbers the ties.
fn place(rows: &mut [(Event<'_>, String)], tie: &mut usize) {
    if rows.iter().all(|(e, _)| e.time.is_some()) {
        // Stable: what time cannot tell apart keeps the order of the content.
        rows.sort_by_key(|(e, _)| e.time.map(|t| (t.day(), t.instant)));
        let day = |e: &Event<'_>| e.time.map(Moment::day);
        for today in rows.chunk_by_mut(|a, b| day(&a.0) == day(&b.0)) {
            // A bare date could be any hour of its day, so it ties with every instant of that day.
            if today.iter().any(|(e, _)| e.time.is_some_and(|t| t.day_only)) {
                by_order(today, tie);
            } else {
                for moment in today.chunk_by_mut(|a, b| a.0.time == b.0.time) {
                    by_order(moment, tie);
                }
            }
        }
    } else {
        by_order(rows, tie);
    }
}

/// Sorts rows that time does not tell apart by `order`.
fn by_order(rows: &mut [(Event<'_>, String)], tie: &mut usize) {
    if rows.iter().all(|(e, _)| e.order.is_some()) {
        rows.sort_by_key(|(e, _)| e.order);
        for same in rows.chunk_by_mut(|a, b| a.0.order == b.0.order) {
            number(same, tie);
        }
    } else {
        // Some rows could stand anywhere: what is known of the others still shows in the list.
        rows.sort_by(|a, b| role(&a.0).cmp(&role(&b.0)).then_with(|| known(&a.0, &b.0)));
        for part in rows.chunk_by_mut(|a, b| role(&a.0) == role(&b.0)) {
            number(part, tie);
        }
    }
}

/// Before the work (0), the work and what stands as it is (1), after the work (2).
fn role(e: &Event<'_>) -> u8 {
    let role = match e.row {
        RowRef::Reading(r) => r.role,
        RowRef::FaultMemory(r) => r.role,
        RowRef::Recording(r) => r.role,
        _ => None,
    };
    match role {
        Some(Role::Before) => 0,
        Some(Role::Now) | None => 1,
        Some(Role::After) => 2,
    }
}

/// A total order that follows `order` among the rows that have one and puts the others behind, by time.
fn known(a: &Event<'_>, b: &Event<'_>) -> Ordering {
    match (a.order, b.order) {
        (Some(x), Some(y)) => x.cmp(&y),
        (Some(_), None) => Ordering::Less,
        (None, Some(_)) => Ordering::Greater,
        (None, None) => match (a.time, b.time) {
            (Some(x), Some(y)) => x.instant.cmp(&y.instant),
            (Some(_), None) => Ordering::Less,
            (None, Some(_)) => Ordering::Greater,
            (None, None) => Ordering::Equal,
        },
    }
}

fn number(rows: &mut [(Event<'_>, String)], tie: &mut usize) {
    for (e, _) in rows {
        e.tie = *tie;
    }
    *tie += 1;
}

/// Every row, in the order of the case's fields.
pub(crate) fn rows(case: &Case) -> impl Iterator<Item = RowRef<'_>> {
    all(case).map(|(row, _)| row)
}

/// List, index and stamp of every row, in the order of the case's fields.
pub(crate) fn stamps(case: &Case) -> impl Iterator<Item = (&'static str, usize, Stamp)> {
    all(case).map(|(row, i)| (row.list(), i, row.stamp()))
}
