//! A second inventor of additive histories, unlike [`crate::histories`] in structure and noise.
//!
//! Where the first drives from tank to tank, this one lives day by day: driving that changes with week and season
//! and with a new errand in mid-life, consumption whose error stays for weeks, refuelling by habit (a card that
//! stops at a sum, a driver who fills up), a doser that squirts in whole strokes, a controller that counts in
//! steps, scales as coarse as 50 g, missing dates, constants that nobody knows, several refills in a life,
//! entries written down apart from the pour, and faults that begin in mid-life or grow. Estimator and inventor share
//! the words of the facts and nothing else; no figure here is taken from its priors. Everything follows from the seed.

use crate::histories::{History, Truth};
use facts::FaultId;
use facts::case::{
    Case, Category, CounterEntry, CounterRead, FuelSource, FuelUsed, Known, LevelRead, OdometerNote,
    Quantity, Reading, Refill, ReservoirKind, ReservoirWeighed, Surroundings, TripComputer, Wetness,
};
use facts::moment::Moment;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, LogNormal, StudentT};

struct Luck(ChaCha8Rng);

impl Luck {
    fn in_range(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }
    fn yes(&mut self, p: f64) -> bool {
        self.0.random::<f64>() < p
    }
    fn one_of<T: Copy, const K: usize>(&mut self, all: [T; K]) -> T {
        let i = (self.0.random::<f64>() * K as f64) as usize;
        all[i.min(K - 1)]
    }
    /// Heavy-tailed, of about unit spread.
    fn shock(&mut self) -> f64 {
        StudentT::new(5.0).map_or(0.0, |t| t.sample(&mut self.0)) * 0.775
    }
    fn log_spread(&mut self, sigma: f64) -> f64 {
        LogNormal::new(0.0, sigma).map_or(1.0, |l| l.sample(&mut self.0))
    }
}

/// What the truth of a day needs.
struct World {
    day: f64,
    odometer: f64,
    // driving
    weekday_km: f64,
    weekend_km: f64,
    winter: f64,
    errand_day: f64,
    errand: f64,
    // fuel
    base_l_per_km: f64,
    error: f64,
    cold: f64,
    tank: f64,
    tank_size: f64,
    burnt: f64,
    fills_up: bool,
    // reservoir
    volume: f64,
    brim: f64,
    density: f64,
    stroke_l: f64,
    carried: f64,
    // dosing
    set: f64,
    true_dose: f64,
    sees: f64,
    leak: f64,
    leak_growth: f64,
    // controller
    counts_used: f64,
    counts_left: f64,
    counts_km: f64,
    gauge: f64,
}

impl World {
    fn live_a_day(&mut self, luck: &mut Luck) {
        let weekday = (self.day as i64).rem_euclid(7) < 5;
        let mut km = if weekday { self.weekday_km } else { self.weekend_km } * luck.log_spread(0.5) * 0.88;
        km *= 1.0 + self.winter * (self.day / 58.1).sin();
        if self.day > self.errand_day {
            km *= self.errand;
        }
        if luck.yes(0.04) {
            km = 0.0;
        }
        // consumption: an error that fades over about three weeks, cold days, short trips
        self.error = 0.955 * self.error + 0.018 * luck.shock();
        let short = if km < 12.0 { 0.12 } else { 0.0 };
        let rate = self.base_l_per_km
            * (1.0 + self.error + short + self.cold * (1.0 + (self.day / 58.1).cos())).max(0.6);
        let fuel = km * rate;
        self.odometer += km;
        self.burnt += fuel;
        self.tank -= fuel;
        if self.leak > 0.0 {
            self.leak *= 1.0 + self.leak_growth;
            self.volume = (self.volume - self.leak).max(0.0);
        }
        while self.tank < 0.15 * self.tank_size {
            let room = self.tank_size - self.tank;
            let bought = if self.fills_up {
                room * luck.in_range(0.93, 1.0)
            } else {
                room.min(luck.one_of([20.0, 25.0, 32.0]))
            };
            self.tank += bought;
            if bought > 5.0 && luck.yes(self.sees) {
                let counted = self.set * bought * self.gauge * (1.0 + 0.02 * luck.shock());
                self.counts_used += counted;
                self.counts_left = (self.counts_left - counted).max(0.0);
                let wanted = self.set * bought * self.true_dose * (1.0 + 0.03 * luck.shock()) + self.carried;
                let strokes = (wanted / self.stroke_l).floor().max(0.0);
                self.carried = wanted - strokes * self.stroke_l;
                self.volume = (self.volume - strokes * self.stroke_l).max(0.0);
            }
        }
        self.day += 1.0;
    }

    fn live_until(&mut self, odometer: f64, luck: &mut Luck) {
        let mut days = 0;
        while self.odometer < odometer && days < 20_000 {
            self.live_a_day(luck);
            days += 1;
        }
    }
}

/// How this workshop writes things down.
struct Habits {
    dates: f64,
    tare: f64,
    tare_truth: f64,
    tare_per_row: bool,
    grain_g: f64,
    shake_g: f64,
    says_uncertainty: bool,
    counter_grain_ml: f64,
    as_readings: bool,
    adds: bool,
    stated_capacity: f64,
    stated_density: f64,
}

fn date(day: f64, luck: &mut Luck, habits: &Habits) -> Option<Moment> {
    if !luck.yes(habits.dates) {
        return None;
    }
    let start = Moment::parse("2031-09-14").ok()?;
    let at = start.instant.checked_add(std::time::Duration::from_secs_f64(day.max(0.0) * 86_400.0)).ok()?;
    Moment::parse(at.to_string().get(..10)?).ok()
}

/// Invents one history of the other kind. `too_little` leaves so few facts that no fault can be told.
#[must_use]
pub fn ledger(seed: u64, fault: Option<FaultId>, too_little: bool) -> History {
    use FaultId as F;
    let mut luck = Luck(ChaCha8Rng::seed_from_u64(seed ^ 0x5eed_1ed6));
    let l = &mut luck;
    let van = l.yes(0.2);
    let base = if van { l.in_range(0.075, 0.12) } else { l.in_range(0.045, 0.085) };
    let capacity = l.one_of([1.0, 1.2, 1.5, 1.8, 2.0, 2.3, 3.0, 3.0, 4.5]);
    let lasts_km = l.in_range(50_000.0, 160_000.0);
    let set = capacity / (lasts_km * base);
    let weekday_km = l.in_range(15.0, 110.0);
    let density = l.in_range(810.0, 1030.0);
    let tare = l.in_range(120.0, 1400.0).round();
    let habits = Habits {
        dates: l.one_of([1.0, 1.0, 1.0, 0.6, 0.6, 0.0]),
        tare,
        tare_truth: tare + 12.0 * l.shock(),
        tare_per_row: l.yes(0.5),
        grain_g: l.one_of([1.0, 1.0, 5.0, 10.0, 20.0, 50.0]),
        shake_g: l.in_range(1.0, 12.0),
        says_uncertainty: l.yes(0.4),
        counter_grain_ml: l.one_of([1.0, 2.0, 5.0, 10.0, 20.0]),
        as_readings: l.yes(0.2),
        adds: l.yes(0.3),
        stated_capacity: capacity,
        stated_density: (density * l.log_spread(0.008)).round(),
    };
    let tank_size = l.in_range(45.0, 80.0);
    let mut w = World {
        day: l.in_range(0.0, 365.0).floor(),
        odometer: l.in_range(8_000.0, 220_000.0).round(),
        weekday_km,
        weekend_km: weekday_km * l.in_range(0.1, 1.6),
        winter: l.in_range(0.0, 0.25),
        errand_day: if l.yes(0.3) { l.in_range(300.0, 1500.0) } else { f64::INFINITY },
        errand: l.in_range(0.55, 1.7),
        base_l_per_km: base,
        error: 0.0,
        cold: l.in_range(0.0, 0.05),
        tank: 0.7 * tank_size,
        tank_size,
        burnt: 0.0,
        fills_up: l.yes(0.7),
        volume: 0.0,
        brim: capacity * (1.0 + 0.02 * l.shock()),
        density,
        stroke_l: l.one_of([0.0001, 0.0005, 0.001]),
        carried: 0.0,
        set,
        true_dose: (1.0 + 0.05 * l.shock()).clamp(0.82, 1.22),
        sees: 1.0,
        leak: 0.0,
        leak_growth: 0.0,
        counts_used: 0.0,
        counts_left: 0.0,
        counts_km: 0.0,
        gauge: 1.0 + 0.025 * l.shock(),
    };
    let mut case = head(&w, &habits, l, van, fault == Some(F::WrongStrength));
    let reserve = 0.1 * capacity;

    // First row: a new filled reservoir, a refill, or simply a look at a reservoir of unknown history.
    let opening = if too_little { 0 } else { l.one_of([0, 0, 0, 1, 2]) };
    w.volume = w.brim * l.in_range(0.05, 0.3);
    // until the first row the controller was right
    w.counts_left = w.volume;
    match opening {
        0 => fill(&mut w, &mut case, l, &habits, &Deed { full: true, ..Deed::default() }),
        1 => fill(&mut w, &mut case, l, &habits, &Deed { full: true, new_part: true, ..Deed::default() }),
        _ => {
            w.volume = w.brim * l.in_range(0.6, 1.0);
            w.counts_left = w.volume;
            w.counts_used = capacity - w.volume;
            w.counts_km = w.odometer - l.in_range(3_000.0, 0.3 * lasts_km);
            weigh(&w, &mut case, l, &habits, 1);
            counters(&w, &mut case, l, &habits, 1);
        }
    }
    let begin = w.odometer;
    let burnt_at_begin = w.burnt;
    if too_little {
        skimp(&mut w, &mut case, l, &habits, fault);
    } else {
        tell(&mut w, &mut case, l, &habits, fault, lasts_km);
        fuel_figures(&w, &mut case, l, &habits, begin, burnt_at_begin);
    }
    if l.yes(0.8) {
        case.car.odometer_km = Some(w.odometer.round());
    }
    History { truth: future(w, l, fault, !too_little, reserve), case }
}

fn head(w: &World, habits: &Habits, l: &mut Luck, van: bool, strength: bool) -> Case {
    let mut case = Case { schema: facts::case::SCHEMA.to_owned(), ..Case::default() };
    if l.yes(0.6) {
        case.car.category = Some(if van { Category::N1 } else { Category::M1 });
    }
    if l.yes(0.7) {
        case.car.consumption_l_per_100km =
            Some((w.base_l_per_km * 1050.0 * l.log_spread(0.08)).round() / 10.0);
    }
    if l.yes(0.4) {
        let year = (5.0 * w.weekday_km + 2.0 * w.weekend_km) * 52.0;
        case.car.distance_per_year_km = Some((year * l.log_spread(0.2) / 1000.0).round().max(1.0) * 1000.0);
    }
    let r = &mut case.reservoir;
    if l.yes(0.8) {
        r.kind = Some(if l.yes(0.5) { ReservoirKind::Pouch } else { ReservoirKind::Tank });
    }
    if l.yes(0.85) {
        r.capacity_l = Some(habits.stated_capacity);
    }
    if l.yes(0.85) {
        r.density_kg_per_m3 = Some(habits.stated_density);
    }
    if !habits.tare_per_row {
        r.tare_g = Some(habits.tare);
    }
    let metal = (l.in_range(15.0, 75.0) * 10.0).round() / 10.0;
    let by_metal = l.yes(0.3);
    if by_metal || strength || l.yes(0.4) {
        r.metal_g_per_l = Some(metal);
    }
    if by_metal {
        // set dose by metal: mg/kg = mL/L x g/L / fuel density
        case.fuel.density_kg_per_m3 = Some(835.0);
        r.dose_mg_per_kg = Some((w.set * 1e3 * metal / 0.835 * 100.0).round() / 100.0);
    } else {
        r.dose_ml_per_l = Some((w.set * 1e6).round() / 1000.0);
    }
    case
}

#[derive(Default, Clone, Copy)]
struct Deed {
    full: bool,
    new_part: bool,
    silent: bool,
    kept_from_controller: bool,
    wrong_figure: bool,
    other_fluid: bool,
}

fn fill(w: &mut World, case: &mut Case, l: &mut Luck, habits: &Habits, deed: &Deed) {
    let before = if deed.new_part { 0.0 } else { w.volume };
    let room = (w.brim - before).max(0.03);
    let poured = if deed.full { room * l.in_range(0.97, 1.0) } else { room * l.in_range(0.25, 0.85) };
    let strength = if l.yes(0.5) { l.in_range(0.3, 0.65) } else { l.in_range(1.5, 3.2) };
    let fluid_density = if deed.other_fluid { w.density + 45.0 * strength.ln() } else { w.density };
    w.density = (before * w.density + poured * fluid_density) / (before + poured);
    w.volume = before + poured;
    if deed.new_part {
        w.leak = 0.0;
    }
    let right = if habits.adds { poured } else { w.volume };
    let mut typed = (right * 100.0).round() / 100.0;
    if deed.wrong_figure {
        typed = match l.one_of([0, 1, 1, 2, 3]) {
            0 => typed / 1000.0,
            1 if !deed.full => habits.stated_capacity,
            1 => (typed * l.in_range(0.35, 0.65) * 10.0).round() / 10.0,
            2 => (typed * l.in_range(0.3, 0.7) * 10.0).round() / 10.0,
            _ => (typed * l.in_range(1.4, 1.9) * 10.0).round() / 10.0,
        };
    }
    if !deed.kept_from_controller {
        w.counts_used = 0.0;
        w.counts_km = w.odometer;
        w.counts_left = if habits.adds && !deed.new_part { w.counts_left + typed } else { typed };
    }
    if deed.silent {
        return;
    }
    let time = date(w.day, l, habits);
    let odometer_km = Some(w.odometer.round());
    let reset = if deed.kept_from_controller {
        l.one_of([None, None, Some(Known::Unknown), Some(Known::No), Some(Known::Yes)])
    } else {
        l.one_of([None, Some(Known::Yes), Some(Known::Yes), Some(Known::Unknown)])
    };
    let entered = (!deed.kept_from_controller && l.yes(0.65)).then_some(typed);
    // the entry in a row of its own
    let apart = entered.is_some() && l.yes(0.25);
    let by_scale = l.yes(0.35);
    let both = deed.other_fluid || l.yes(0.1);
    case.refill.push(Refill {
        odometer_km,
        time,
        order: Some(2),
        note: None,
        volume_l: (!by_scale || both).then(|| (poured * (1.0 + 0.012 * l.shock()) * 100.0).round() / 100.0),
        mass_g: (by_scale || both).then(|| (poured * fluid_density + 5.0 * l.shock()).max(1.0).round()),
        full: if l.yes(0.75) { Some(deed.full) } else { None },
        reservoir_replaced: deed.new_part.then_some(true),
        entered_l: if apart { None } else { entered },
        counter_reset: reset,
        metal_g_per_l: match case.reservoir.metal_g_per_l {
            Some(m) if deed.other_fluid && l.yes(0.8) => Some((m * strength).round()),
            Some(m) if l.yes(0.15) => Some((m * l.log_spread(0.02)).round()),
            _ => None,
        },
        density_kg_per_m3: (deed.other_fluid && l.yes(0.4))
            .then(|| (fluid_density + 4.0 * l.shock()).round()),
        lot: None,
    });
    if apart {
        case.counter_entry.push(CounterEntry {
            odometer_km,
            time,
            order: Some(3),
            note: None,
            entered_l: entered,
            counter_reset: reset,
        });
    }
}

fn weigh(w: &World, case: &mut Case, l: &mut Luck, habits: &Habits, order: i64) {
    let gross = habits.tare_truth + w.volume * w.density + habits.shake_g * l.shock();
    case.reservoir_weighed.push(ReservoirWeighed {
        odometer_km: Some(w.odometer.round()),
        time: date(w.day, l, habits),
        order: Some(order),
        note: None,
        gross_g: ((gross / habits.grain_g).round() * habits.grain_g).max(0.0),
        tare_g: habits.tare_per_row.then_some(habits.tare),
        resolution_g: l.yes(0.8).then_some(habits.grain_g),
        uncertainty_g: habits.says_uncertainty.then(|| (2.0 * habits.shake_g).ceil() + habits.grain_g),
    });
}

fn sight(w: &World, case: &mut Case, l: &mut Luck, habits: &Habits, order: i64, rel: f64) {
    let u = (rel * habits.stated_capacity * 100.0).round() / 100.0;
    case.level_read.push(LevelRead {
        odometer_km: Some(w.odometer.round()),
        time: date(w.day, l, habits),
        order: Some(order),
        note: None,
        level_l: ((w.volume + 0.5 * u * l.shock()).max(0.0) * 20.0).round() / 20.0,
        uncertainty_l: l.yes(0.8).then_some(u),
    });
}

fn counters(w: &World, case: &mut Case, l: &mut Luck, habits: &Habits, order: i64) {
    let grain = |x: f64| (x * 1000.0 / habits.counter_grain_ml).floor() * habits.counter_grain_ml;
    let odometer_km = Some(w.odometer.round());
    if habits.as_readings {
        // typed from the equipment's screen, left in per cent
        let percent = l.yes(0.4) && case.reservoir.capacity_l.is_some();
        let (value, unit) = if percent {
            ((100.0 * w.counts_left / habits.stated_capacity).round().min(200.0), "%")
        } else {
            (grain(w.counts_left), "mL")
        };
        let mut push = |quantity, value, unit: &str| {
            let row = serde_json::json!({
                "quantity": quantity, "value": value, "unit": unit, "odometer_km": odometer_km, "order": order,
            });
            if let Ok(r) = serde_json::from_value::<Reading>(row) {
                case.reading.push(r);
            }
        };
        push(Quantity::AdditiveLeft, value, unit);
        if l.yes(0.5) {
            push(Quantity::AdditiveUsed, grain(w.counts_used), "mL");
        }
        return;
    }
    let what = l.in_range(0.0, 1.0);
    case.counter_read.push(CounterRead {
        odometer_km,
        time: date(w.day, l, habits),
        order: Some(order),
        note: None,
        used_ml: (what < 0.75).then(|| grain(w.counts_used)),
        left_ml: (what > 0.4).then(|| grain(w.counts_left)),
        distance_since_fill_km: l.yes(0.35).then(|| (w.odometer - w.counts_km).max(0.0).round()),
    });
}

fn look_around(w: &World, case: &mut Case, l: &mut Luck, habits: &Habits) {
    let ml = 1000.0 * w.leak;
    let wet = l.yes(match ml {
        x if x <= 0.0 => 0.06,
        x if x < 2.5 => 0.45,
        _ => 0.8,
    });
    case.surroundings.push(Surroundings {
        odometer_km: Some(w.odometer.round()),
        time: date(w.day, l, habits),
        order: Some(1),
        note: None,
        state: if wet { Wetness::Wet } else { Wetness::Dry },
    });
}

/// So little that nobody could tell.
fn skimp(w: &mut World, case: &mut Case, l: &mut Luck, habits: &Habits, fault: Option<FaultId>) {
    use FaultId as F;
    match fault {
        Some(F::AdditiveLeak) => w.leak = l.in_range(0.0015, 0.006),
        Some(F::AdditiveUnderDosed) => w.true_dose = l.in_range(0.3, 0.7),
        Some(F::AdditiveOverDosed) => w.true_dose = l.in_range(1.35, 1.9),
        Some(F::RefuellingNotRecognised) => w.sees = l.in_range(0.1, 0.6),
        _ => {}
    }
    let burn_for = |l: &mut Luck, low: f64, high: f64, w: &World| {
        l.in_range(low, high) * habits.stated_capacity / (w.set * w.base_l_per_km)
    };
    match l.one_of([0, 1, 2, 3, 4, 5]) {
        // nothing but notes of the odometer
        0 => {
            let on = w.odometer + l.in_range(4_000.0, 30_000.0);
            w.live_until(on, l);
            note(w, case, l, habits);
        }
        // the counter alone
        1 | 2 => {
            for _ in 0..l.one_of([1, 2]) {
                let on = w.odometer + burn_for(l, 0.05, 0.3, w);
                w.live_until(on, l);
                counters(w, case, l, habits, 1);
            }
        }
        // weighed again after a few days
        3 | 4 => {
            if l.yes(0.5) {
                weigh(w, case, l, habits, 4);
            }
            let on = w.odometer + l.in_range(50.0, 700.0);
            w.live_until(on, l);
            weigh(w, case, l, habits, 1);
            if l.yes(0.5) {
                counters(w, case, l, habits, 1);
            }
        }
        // one glance at a level as coarse as the question
        _ => {
            let on = w.odometer + burn_for(l, 0.05, 0.12, w);
            w.live_until(on, l);
            sight(w, case, l, habits, 1, 0.4);
        }
    }
}

fn note(w: &World, case: &mut Case, l: &mut Luck, habits: &Habits) {
    case.odometer_note.push(OdometerNote {
        odometer_km: Some(w.odometer.round()),
        time: date(w.day, l, habits),
        order: None,
        note: None,
    });
}

fn tell(
    w: &mut World,
    case: &mut Case,
    l: &mut Luck,
    habits: &Habits,
    fault: Option<FaultId>,
    lasts_km: f64,
) {
    use FaultId as F;
    let odd_fill = matches!(
        fault,
        Some(F::CounterNotReset | F::WrongQuantityEntered | F::WrongStrength | F::RefillNotWrittenDown)
    );
    let visits = l.one_of([3, 4, 5, 6]);
    let stretch = match fault {
        Some(F::AdditiveEmpty) => lasts_km * l.in_range(0.95, 1.3),
        _ => lasts_km * l.in_range(0.35, 1.1),
    };
    let begin = w.odometer;
    // in the middle of its life, at a visit or between two
    let starts = begin + stretch * l.in_range(-0.3, 0.55);
    let refill_after = lasts_km * l.in_range(0.3, 0.75);
    // An odd fill is followed by at least one more visit.
    let odd_at = 1 + (l.in_range(0.0, 0.999) * (visits - 2) as f64) as usize;
    let mut last_fill = begin;
    let mut broken = false;
    for visit in 0..visits {
        let place = if visit + 1 == visits {
            begin + stretch
        } else {
            begin + stretch * (visit as f64 + l.in_range(0.6, 1.2)) / visits as f64
        };
        if !broken && starts <= place {
            w.live_until(starts.min(place), l);
            broken = true;
            match fault {
                Some(F::AdditiveUnderDosed) => w.true_dose = l.in_range(0.05, 0.68),
                Some(F::AdditiveOverDosed) => w.true_dose = l.in_range(1.38, 2.2),
                Some(F::RefuellingNotRecognised) => w.sees = l.one_of([0.0, 0.0, 0.2, 0.4, 0.6]),
                Some(F::AdditiveLeak) => {
                    let per_day = (5.0 * w.weekday_km + 2.0 * w.weekend_km) / 7.0;
                    let days = ((begin + stretch - w.odometer) / per_day).max(20.0);
                    w.leak = (w.brim * l.in_range(0.12, 0.5) / days).max(0.0013);
                    w.leak_growth = l.one_of([0.0, 0.0, 0.3 / days, -0.2 / days]);
                }
                _ => {}
            }
        }
        let mut last = visit + 1 == visits;
        while w.odometer < place {
            let on = (w.odometer + 300.0).min(place);
            w.live_until(on, l);
            // nobody lets it run dry unless that is the story: the driver comes when the lamp is on
            if fault != Some(F::AdditiveEmpty) && visit > odd_at && w.volume < 0.09 * habits.stated_capacity {
                last = true;
                break;
            }
            if fault != Some(F::AdditiveEmpty) && visit <= odd_at && w.volume < 0.12 * habits.stated_capacity
            {
                break;
            }
        }
        if last && fault == Some(F::AdditiveEmpty) {
            while w.volume > 0.045 * habits.stated_capacity {
                let on = w.odometer + 400.0;
                w.live_until(on, l);
            }
        }
        if fault == Some(F::RefillNotWrittenDown) && visit == odd_at {
            let deed = Deed {
                full: l.yes(0.65),
                silent: true,
                kept_from_controller: l.yes(0.35),
                ..Deed::default()
            };
            fill(w, case, l, habits, &deed);
            let on = w.odometer + l.in_range(200.0, 5_000.0);
            w.live_until(on, l);
        }
        if last || l.yes(0.6) {
            weigh(w, case, l, habits, 0);
        } else if l.yes(0.5) {
            let coarse = l.in_range(0.04, 0.12);
            sight(w, case, l, habits, 0, coarse);
        }
        if last || l.yes(0.6) {
            counters(w, case, l, habits, 1);
        }
        if l.yes(0.4) {
            look_around(w, case, l, habits);
        }
        let odd = odd_fill && visit == odd_at && fault != Some(F::RefillNotWrittenDown);
        let low = w.volume < 0.2 * habits.stated_capacity;
        let due = (low || w.odometer - last_fill > refill_after) && !last && fault != Some(F::AdditiveEmpty);
        if odd || due {
            last_fill = w.odometer;
            let deed = Deed {
                full: l.yes(0.65),
                new_part: l.yes(0.08),
                kept_from_controller: odd && fault == Some(F::CounterNotReset),
                wrong_figure: odd && fault == Some(F::WrongQuantityEntered),
                other_fluid: odd && fault == Some(F::WrongStrength),
                silent: false,
            };
            fill(w, case, l, habits, &deed);
            if l.yes(0.4) {
                weigh(w, case, l, habits, 4);
            }
            if l.yes(0.4) {
                counters(w, case, l, habits, 5);
            }
        }
        if l.yes(0.3) {
            note(w, case, l, habits);
        }
        if last {
            break;
        }
    }
}

fn fuel_figures(w: &World, case: &mut Case, l: &mut Luck, habits: &Habits, begin: f64, burnt_at_begin: f64) {
    let burnt = w.burnt - burnt_at_begin;
    if l.yes(0.5) {
        let (source, wrong, share) = match l.one_of([0, 1, 2]) {
            // receipts: some are lost, so the sum is rather low
            0 => (FuelSource::Receipts, 0.015, l.in_range(0.95, 1.0)),
            1 => (FuelSource::FleetCard, 0.01, 1.0),
            _ => (FuelSource::Memory, 0.15, 1.0),
        };
        case.fuel_used.push(FuelUsed {
            odometer_km: Some(w.odometer.round()),
            time: date(w.day, l, habits),
            order: None,
            note: None,
            since_odometer_km: begin.round(),
            fuel_l: (burnt * share * l.log_spread(wrong)).round().max(1.0),
            source: Some(source),
        });
    }
    if l.yes(0.45) {
        let mean = 100.0 * burnt / (w.odometer - begin).max(1.0);
        // trip computers flatter
        let shown = mean * 0.97 * l.log_spread(0.04);
        case.trip_computer.push(TripComputer {
            odometer_km: Some(w.odometer.round()),
            time: date(w.day, l, habits),
            order: None,
            note: None,
            since_odometer_km: l.yes(0.5).then(|| begin.round()),
            consumption_l_per_100km: (shown * 10.0).round() / 10.0,
        });
    }
}

fn future(mut w: World, l: &mut Luck, fault: Option<FaultId>, tellable: bool, reserve: f64) -> Truth {
    let (km, day) = (w.odometer, w.day);
    let (dose_factor, leak, left_l) = (w.true_dose * w.sees, 1000.0 * w.leak, w.volume);
    let mut days = 0;
    while w.volume > reserve && days < 60_000 {
        w.live_a_day(l);
        days += 1;
    }
    Truth {
        fault,
        tellable,
        dose_factor,
        leak_ml_per_day: leak,
        left_l,
        due_km: w.odometer - km,
        due_days: w.day - day,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::histories::KINDS;

    #[test]
    fn property_a_seed_gives_one_ledger_and_its_truth_is_of_its_kind() {
        for (i, fault) in KINDS.iter().enumerate() {
            let seed = 40 + i as u64;
            let a = ledger(seed, *fault, false);
            assert_eq!(a, ledger(seed, *fault, false));
            assert_eq!(a.truth.fault, *fault);
            assert!(a.truth.left_l >= 0.0 && a.truth.due_km >= 0.0);
            assert!(!a.case.reservoir_weighed.is_empty());
            match fault {
                Some(FaultId::AdditiveLeak) => assert!(a.truth.leak_ml_per_day > 1.0),
                Some(FaultId::AdditiveUnderDosed) => assert!(a.truth.dose_factor < 0.75),
                Some(FaultId::AdditiveOverDosed) => assert!(a.truth.dose_factor > 1.3),
                _ => {}
            }
        }
    }
}
