//! Cars whose use changes: what comes is played forward day by day, so that forecasts can be held against it.
//!
//! Nothing here is the estimator's model. Habits change at random (a job, a home, a winter): yearly distance, trips
//! and consumption jump; fuel, oil and soot follow the trips of each day.

use crate::draw::Draw;
use facts::case::{
    Car, Case, Category, Known, Metal, Refill, RegenerationCount, Reservoir, ReservoirKind, ReservoirWeighed,
    SCHEMA,
};

/// A car today, and what became of it.
#[derive(Debug, Clone)]
pub struct Future {
    /// What is told today.
    pub case: Case,
    /// Distance and days until the additive falls to its reserve; none for a car without.
    pub additive: Option<(f64, f64)>,
    /// Until the ash reaches the load at which this car's filter is cleaned.
    pub ash: (f64, f64),
    /// Until a burn that was asked for fails until the soot makes trouble.
    pub soot: (f64, f64),
}

/// Further than this nothing is played, km.
pub const FARTHEST_KM: f64 = 130_000.0;

/// How a car is driven at present.
#[derive(Debug, Clone, Copy)]
struct Habit {
    km_per_day: f64,
    /// Usual trip, km.
    trip: f64,
    /// L/100 km.
    consumption: f64,
}

impl Habit {
    fn changed(self, draw: &mut Draw) -> Self {
        Self {
            km_per_day: (self.km_per_day * draw.log_normal(1.0, 0.35)).clamp(3.0, 250.0),
            trip: (self.trip * draw.log_normal(1.0, 0.5)).clamp(1.5, 120.0),
            consumption: self.consumption * draw.log_normal(1.0, 0.07),
        }
    }
}

/// What one day of driving does.
struct Day {
    km: f64,
    fuel_l: f64,
    /// Longest trip, km.
    longest: f64,
}

fn day(draw: &mut Draw, habit: Habit, number: f64) -> Day {
    let mut out = Day { km: 0.0, fuel_l: 0.0, longest: 0.0 };
    // Winters cost fuel (common practice: some 5 % either way about the mean of the year).
    let season = 1.0 + 0.05 * (number / 365.25 * std::f64::consts::TAU).cos();
    while out.km < habit.km_per_day * 0.5 || draw.chance((1.0 - out.km / habit.km_per_day).clamp(0.0, 0.9)) {
        let km = if draw.chance(0.04) { draw.uniform(40.0, 260.0) } else { draw.log_normal(habit.trip, 0.5) };
        out.km += km;
        out.longest = out.longest.max(km);
        out.fuel_l += km / 100.0 * habit.consumption * season * draw.log_normal(1.0, 0.12);
    }
    out
}

/// The `index`-th car of `seed`.
#[must_use]
pub fn future(seed: u64, index: usize) -> Future {
    let draw = &mut Draw::new(seed, 3_000_000 + index as u64);
    let displacement = draw.pick([1.6, 2.0, 2.2]);
    let volume = displacement * draw.uniform(1.3, 2.0);
    let mut habit = Habit {
        km_per_day: draw.log_normal(14_000.0, 0.45) / 365.25,
        trip: draw.log_normal(18.0, 0.6).clamp(2.0, 80.0),
        consumption: draw.uniform(5.0, 8.5),
    };
    // Past: the filter is as old as the car, or was replaced.
    let odometer = draw.uniform(60_000.0, 210_000.0).round();
    let fitted = if draw.chance(0.7) { 0.0 } else { (odometer * draw.uniform(0.2, 0.7)).round() };
    let oil_use = draw.log_normal(0.10, 0.5).min(0.7);
    let sulfated_ash = draw.pick([0.5, 0.7, 0.8]);
    let with_additive = draw.chance(0.7);
    let (dose_mg, metal_g_per_l, density) = (draw.pick([4.0, 8.0, 10.0]), draw.uniform(25.0, 60.0), 900.0);
    let fuel_density = 835.0;
    // Ash, g/L per km: oil that burns, and the additive's metal.
    let oil_ash = oil_use / 1000.0 * 855.0 * sulfated_ash / 100.0 * draw.uniform(0.3, 0.8) / volume;
    let metal_ash = |fuel_l: f64| fuel_l * fuel_density / 1000.0 * dose_mg * 1e-3 * 1.43 * 0.93 / volume;
    let per_km = oil_ash + if with_additive { metal_ash(habit.consumption / 100.0) } else { 0.0 };
    let mut ash = (per_km * (odometer - fitted)).min(38.0);
    let cleaned_at = draw.uniform(30.0, 60.0).max(ash + 0.5);

    // Additive today.
    let ml_per_l = fuel_density * 1e-3 * dose_mg / metal_g_per_l;
    let capacity = draw.pick([1.2, 1.8, 2.5, 3.0]);
    let dose_factor = draw.log_normal(1.0, 0.05);
    let range_km = capacity * 1000.0 / ml_per_l / habit.consumption * 100.0;
    let since_fill = draw.uniform(0.05, 0.75) * range_km;
    let since_fill = since_fill.min(0.8 * odometer).round();
    let past = habit.consumption * draw.log_normal(1.0, 0.05);
    let mut left = capacity - since_fill / 100.0 * past * ml_per_l * dose_factor / 1000.0;
    let reserve = 0.1 * capacity;

    // Soot today: somewhere on the way to the next burn.
    let soot_per_km = draw.log_normal(0.009, 0.5);
    let mut soot = draw.uniform(0.2, 4.0);
    let (asks, trouble) = (draw.uniform(3.2, 5.6), draw.uniform(7.2, 10.0));
    // Counts so far, played over the last 15 000 km.
    let (mut done, mut broken) = (0_u32, 0_u32);
    let mut before = draw.uniform(0.2, 3.0);
    let mut km = 0.0;
    let mut number = draw.uniform(0.0, 365.0);
    while km < 15_000.0 {
        let d = day(draw, habit, number);
        km += d.km;
        number += 1.0;
        burn(draw, &mut before, d, soot_per_km, asks, &mut |ok| if ok { done += 1 } else { broken += 1 });
        // A workshop or a motorway helped.
        before = before.min(trouble - 0.3);
    }

    let mut case = Case { schema: SCHEMA.to_owned(), ..Case::default() };
    case.car = Car {
        category: Some(Category::M1),
        displacement_l: Some(displacement),
        odometer_km: Some(odometer),
        consumption_l_per_100km: draw
            .chance(0.8)
            .then(|| tenth(habit.consumption * draw.log_normal(1.0, 0.05))),
        distance_per_year_km: draw
            .chance(0.8)
            .then(|| (habit.km_per_day * 0.365_25 * draw.log_normal(1.0, 0.12)).round() * 1000.0)
            .filter(|k| *k > 0.0),
        usual_trip_km: draw.chance(0.6).then(|| tenth(habit.trip * draw.log_normal(1.0, 0.25))),
        ..Car::default()
    };
    case.filter.volume_l = Some(tenth(volume));
    case.filter.fitted_odometer_km = Some(fitted);
    case.oil.use_l_per_1000km =
        draw.chance(0.6).then(|| ((oil_use * draw.log_normal(1.0, 0.2)) * 100.0).round() / 100.0);
    case.oil.sulfated_ash_percent = draw.chance(0.6).then_some(sulfated_ash);
    if draw.chance(0.6) {
        case.regeneration_count.push(RegenerationCount {
            odometer_km: None,
            time: None,
            order: None,
            note: None,
            completed: Some(done),
            aborted: Some(broken),
        });
    }
    case.reservoir = Reservoir { kind: Some(ReservoirKind::None), ..Reservoir::default() };
    if with_additive {
        tell_additive(
            draw,
            &mut case,
            (capacity, reserve, left),
            (metal_g_per_l, dose_mg, density),
            odometer - since_fill,
        );
    }

    // The time to come.
    let (mut additive, mut full, mut stuck) = (None, None, None);
    let (mut km, mut days) = (0.0, 0.0);
    let mut habits_change = 365.25 * draw.uniform(0.2, 3.0);
    while km < FARTHEST_KM && (full.is_none() || stuck.is_none() || (with_additive && additive.is_none())) {
        if days > habits_change {
            habit = habit.changed(draw);
            habits_change = days + 365.25 * draw.uniform(0.4, 4.0);
        }
        let d = day(draw, habit, number + days);
        km += d.km;
        days += 1.0;
        left -= d.fuel_l * ml_per_l * dose_factor / 1000.0;
        ash += oil_ash * d.km + if with_additive { metal_ash(d.fuel_l) } else { 0.0 };
        if left <= reserve {
            additive.get_or_insert((km, days));
        }
        if ash >= cleaned_at {
            full.get_or_insert((km, days));
        }
        burn(draw, &mut soot, d, soot_per_km, asks, &mut |_| {});
        if soot >= trouble {
            stuck.get_or_insert((km, days));
            soot = 0.3;
        }
    }
    let far = (FARTHEST_KM, days * FARTHEST_KM / km.max(1.0));
    Future {
        case,
        additive: with_additive.then(|| additive.unwrap_or(far)),
        ash: full.unwrap_or(far),
        soot: stuck.unwrap_or(far),
    }
}

/// Soot of a day, and a burn where it is asked for and a trip is long enough.
fn burn(draw: &mut Draw, soot: &mut f64, d: Day, per_km: f64, asks: f64, told: &mut dyn FnMut(bool)) {
    *soot += d.km * per_km * draw.log_normal(1.0, 0.2);
    if *soot < asks || d.longest < 6.0 {
        return;
    }
    // Minutes of warm driving in the longest trip, against what a burn takes.
    let minutes = (d.longest / 45.0 * 60.0 - 7.0).max(0.0) * 0.7;
    if minutes > draw.log_normal(11.0, 0.3) {
        *soot = draw.uniform(0.05, 0.7);
        told(true);
    } else if minutes > 3.0 {
        *soot -= (*soot * 0.03 * minutes).min(0.4 * *soot);
        told(false);
    }
}

fn tell_additive(
    draw: &mut Draw,
    case: &mut Case,
    (capacity, reserve, left): (f64, f64, f64),
    (metal, dose, density): (f64, f64, f64),
    filled_at: f64,
) {
    case.reservoir = Reservoir {
        kind: Some(ReservoirKind::Tank),
        capacity_l: Some(capacity),
        reserve_l: Some(reserve),
        metals: vec![Metal { symbol: "Fe".into(), mass_share: None }],
        metal_g_per_l: Some((metal * 10.0).round() / 10.0),
        density_kg_per_m3: Some(density),
        dose_mg_per_kg: Some(dose),
        tare_g: Some(400.0),
        ..Reservoir::default()
    };
    case.refill.push(Refill {
        odometer_km: Some(filled_at),
        time: None,
        order: None,
        note: None,
        volume_l: None,
        mass_g: None,
        full: Some(true),
        reservoir_replaced: None,
        entered_l: None,
        counter_reset: Some(Known::Yes),
        metal_g_per_l: None,
        density_kg_per_m3: None,
        lot: None,
    });
    if draw.chance(0.4) {
        case.reservoir_weighed.push(ReservoirWeighed {
            odometer_km: None,
            time: None,
            order: None,
            note: None,
            gross_g: (400.0 + left.max(0.0) * density + draw.normal(0.0, 6.0)).round(),
            tare_g: None,
            resolution_g: Some(1.0),
            uncertainty_g: Some(15.0),
        });
    }
}

fn tenth(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_a_future_repeats_and_stays_in_its_bounds() {
        for index in 0..4 {
            let (a, b) = (future(3, index), future(3, index));
            assert_eq!((a.additive, a.ash, a.soot), (b.additive, b.ash, b.soot));
            assert!(a.ash.0 > 0.0 && a.ash.0 <= FARTHEST_KM + 600.0 && a.ash.1 > 0.0);
        }
    }
}
