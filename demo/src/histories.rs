//! Invented additive histories with known truth: tank by tank, a car is driven, refuelled, dosed, leaks, is
//! weighed, filled and miscounted; then only what a workshop would have written down goes into a case.
//!
//! The car is simulated event by event with its own random numbers; nothing here shares a formula or a constant with
//! the estimator, and spreads are drawn wider than its priors. Everything follows from the seed.

use facts::FaultId;
use facts::case::{
    Case, CounterRead, FuelSource, FuelUsed, Known, LevelRead, OdometerNote, Refill, ReservoirKind,
    ReservoirWeighed, Surroundings, TripComputer, Wetness,
};
use facts::moment::Moment;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What is true of an invented car at its last fact.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// The balance fault, if any.
    pub fault: Option<FaultId>,
    /// True when the history holds enough to tell the fault.
    pub tellable: bool,
    /// True dose over set dose, missed refuellings included.
    pub dose_factor: f64,
    /// Leak, mL per day.
    pub leak_ml_per_day: f64,
    /// Additive left, L.
    pub left_l: f64,
    /// Distance from the last fact to a tenth of the capacity, km, all going on as it is.
    pub due_km: f64,
    /// Days to the same.
    pub due_days: f64,
}

/// An invented history.
#[derive(Debug, Clone, PartialEq)]
pub struct History {
    /// What the workshop wrote down.
    pub case: Case,
    /// What is true.
    pub truth: Truth,
}

/// The balance faults that are invented; the first is none.
pub const KINDS: [Option<FaultId>; 10] = [
    None,
    Some(FaultId::AdditiveLeak),
    Some(FaultId::AdditiveUnderDosed),
    Some(FaultId::AdditiveOverDosed),
    Some(FaultId::AdditiveEmpty),
    Some(FaultId::CounterNotReset),
    Some(FaultId::RefillNotWrittenDown),
    Some(FaultId::WrongQuantityEntered),
    Some(FaultId::RefuellingNotRecognised),
    Some(FaultId::WrongStrength),
];

struct Dice(ChaCha8Rng);

impl Dice {
    fn even(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }
    fn chance(&mut self, p: f64) -> bool {
        self.0.random::<f64>() < p
    }
    /// Standard normal by Box and Muller (1958).
    fn normal(&mut self) -> f64 {
        let u = 1.0 - self.0.random::<f64>();
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * self.0.random::<f64>()).cos()
    }
    fn factor(&mut self, sd: f64) -> f64 {
        (sd * self.normal()).exp()
    }
    fn between_log(&mut self, low: f64, high: f64) -> f64 {
        self.even(low.ln(), high.ln()).exp()
    }
}

/// The car as it truly is.
struct Car {
    km: f64,
    day: f64,
    content: f64,
    capacity: f64,
    /// Density of what is in the reservoir, g/L.
    density: f64,
    used: f64,
    left: f64,
    fill_km: f64,
    fuel_sum: f64,
    since_fuel_l: f64,
    litres_per_km: f64,
    mood: f64,
    season: f64,
    km_per_day: f64,
    tank_l: f64,
    set_dose: f64,
    dose: f64,
    gain: f64,
    leak_l_per_day: f64,
    recognised: f64,
}

impl Car {
    /// Drives to the next refuelling or to `until` km, whichever comes first.
    fn hop(&mut self, until: f64, dice: &mut Dice) {
        let rate = self.litres_per_km
            * self.mood
            * (1.0 + self.season * (std::f64::consts::TAU * self.day / 365.25).cos());
        let room = dice.even(0.5, 0.95) * self.tank_l;
        let to_tank = ((room - self.since_fuel_l) / rate).max(0.5);
        let d = to_tank.min((until - self.km).max(0.0));
        let days = d / (self.km_per_day * dice.factor(0.35)).max(1.0);
        self.km += d;
        self.day += days;
        self.fuel_sum += d * rate;
        self.since_fuel_l += d * rate;
        self.content = (self.content - self.leak_l_per_day * days).max(0.0);
        if self.since_fuel_l >= room - 1e-6 || d >= to_tank {
            let bought = self.since_fuel_l;
            self.since_fuel_l = 0.0;
            // character of use wanders from tank to tank
            self.mood = (1.0 + 0.93 * (self.mood - 1.0) + 0.03 * dice.normal()).clamp(0.7, 1.4);
            if dice.chance(self.recognised) {
                let believed = self.set_dose * self.gain * bought;
                self.used += believed;
                self.left = (self.left - believed).max(0.0);
                self.content = (self.content - self.set_dose * self.dose * bought).max(0.0);
            }
        }
    }

    fn drive_to(&mut self, until: f64, dice: &mut Dice) {
        while self.km < until - 1e-6 {
            self.hop(until, dice);
        }
    }
}

/// The date `day` days after an invented start.
fn moment(day: f64) -> Option<Moment> {
    let start = Moment::parse("2028-03-01").ok()?;
    let instant =
        start.instant.checked_add(std::time::Duration::from_secs_f64(day.max(0.0) * 86_400.0)).ok()?;
    Moment::parse(instant.to_string().get(..10)?).ok()
}

/// How a workshop measures.
struct Shop {
    tare_g: f64,
    true_tare_g: f64,
    step_g: f64,
    noise_g: f64,
    density: f64,
    counter_step: f64,
}

/// Invents one history: a fault kind (or none), or one that is too short to tell.
#[must_use]
pub fn history(seed: u64, fault: Option<FaultId>, too_little: bool) -> History {
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(seed));
    let d = &mut dice;
    let litres_per_km = d.between_log(0.042, 0.105);
    let capacity_stated = (d.between_log(1.0, 5.2) * 10.0).round() / 10.0;
    let capacity = capacity_stated * d.factor(0.025);
    let range_km = d.between_log(45_000.0, 150_000.0);
    let set_dose = capacity_stated / (range_km * litres_per_km);
    let density_stated = (d.even(800.0, 1040.0)).round();
    let tare_g = d.even(150.0, 900.0).round();
    let shop = Shop {
        tare_g,
        true_tare_g: tare_g + 10.0 * d.normal(),
        step_g: [1.0, 2.0, 5.0, 10.0, 20.0][(d.even(0.0, 4.999)) as usize],
        noise_g: d.between_log(2.0, 14.0),
        density: density_stated * d.factor(0.011),
        counter_step: [1.0, 1.0, 5.0, 10.0][(d.even(0.0, 3.999)) as usize],
    };
    let adds = d.chance(0.3);
    let mut car = Car {
        km: d.even(20_000.0, 160_000.0).round(),
        day: 0.0,
        content: 0.0,
        capacity,
        density: shop.density,
        used: 0.0,
        left: 0.0,
        fill_km: 0.0,
        fuel_sum: 0.0,
        since_fuel_l: 0.0,
        litres_per_km,
        mood: 1.0,
        season: d.even(0.0, 0.08),
        km_per_day: d.between_log(18.0, 130.0),
        tank_l: d.even(42.0, 70.0),
        set_dose,
        dose: (1.0 + 0.08 * d.normal()).clamp(0.8, 1.25),
        gain: 1.0 + 0.035 * d.normal(),
        leak_l_per_day: 0.0,
        recognised: 1.0,
    };

    let mut case = Case { schema: facts::case::SCHEMA.to_owned(), ..Case::default() };
    case.reservoir.kind = Some(if d.chance(0.6) { ReservoirKind::Pouch } else { ReservoirKind::Tank });
    case.reservoir.capacity_l = Some(capacity_stated);
    case.reservoir.density_kg_per_m3 = Some(density_stated);
    case.reservoir.dose_ml_per_l = Some((set_dose * 1e6).round() / 1000.0);
    let metal = d.between_log(20.0, 70.0).round();
    if d.chance(0.7) || fault == Some(FaultId::WrongStrength) {
        case.reservoir.metal_g_per_l = Some(metal);
    }
    if d.chance(0.85) {
        case.car.consumption_l_per_100km = Some((litres_per_km * 1000.0 * d.factor(0.11)).round() / 10.0);
    }
    if d.chance(0.4) {
        case.car.distance_per_year_km =
            Some((car.km_per_day * 365.25 * d.factor(0.15) / 1000.0).round() * 1000.0);
    }

    // the first fill, full and entered
    let start_km = car.km;
    let first_content = d.even(0.02, 0.3) * capacity;
    car.content = first_content;
    pour(&mut car, &mut case, d, &shop, Pour { full: true, adds, ..Pour::default() });

    if too_little {
        short(&mut car, &mut case, d, &shop, fault, capacity_stated);
    } else {
        long(&mut car, &mut case, d, &shop, fault, metal, adds, range_km);
        fuel_rows(&mut car, &mut case, d, start_km);
    }
    case.car.odometer_km = Some(car.km.round());

    let truth = look_ahead(&car, d, fault, !too_little, 0.1 * capacity_stated);
    History { case, truth }
}

#[derive(Default)]
struct Pour {
    full: bool,
    share: f64,
    adds: bool,
    unwritten: bool,
    not_reset: bool,
    wrong: bool,
    strength: bool,
    metal: f64,
}

fn pour(car: &mut Car, case: &mut Case, d: &mut Dice, shop: &Shop, p: Pour) {
    let before = car.content;
    let room = (car.capacity * (1.0 + 0.025 * d.normal()) - before).max(0.05);
    let volume = if p.full { room } else { room * p.share };
    let ratio = if d.chance(0.5) { d.even(0.25, 0.7) } else { d.even(1.4, 3.0) };
    let poured_density = if !p.strength {
        shop.density
    } else if ratio < 1.0 {
        shop.density * d.even(0.90, 0.97)
    } else {
        shop.density * d.even(1.03, 1.10)
    };
    car.content = before + volume;
    car.density = (before * car.density + volume * poured_density) / car.content;
    let stated = case.reservoir.capacity_l.unwrap_or(car.capacity);
    let right = if p.adds {
        volume
    } else if p.full {
        stated
    } else {
        car.content
    };
    let mut entered = (right * 100.0).round() / 100.0;
    if p.wrong {
        entered = match (d.even(0.0, 4.0)) as usize {
            0 => entered / 1000.0,
            1 if !p.full => stated,
            2 => volume * 0.5 * (1.0 + d.even(0.0, 0.4)),
            _ => {
                let off = stated * d.even(0.3, 0.6);
                if entered > 0.6 * stated { entered - off } else { entered + off }
            }
        };
    }
    let reset = !p.not_reset;
    if reset {
        car.used = 0.0;
        car.fill_km = car.km;
        car.left = if p.adds { (car.left + entered).min(3.0 * stated) } else { entered };
        if p.adds && p.full && !p.wrong {
            car.left = stated;
        }
    }
    if p.unwritten {
        return;
    }
    let by_mass = d.chance(0.4);
    let mut row = Refill {
        odometer_km: Some(car.km.round()),
        time: if d.chance(0.85) { moment(car.day) } else { None },
        order: Some(2),
        note: None,
        volume_l: None,
        mass_g: None,
        full: if p.full {
            if d.chance(0.8) { Some(true) } else { None }
        } else if d.chance(0.8) {
            Some(false)
        } else {
            None
        },
        reservoir_replaced: None,
        entered_l: None,
        counter_reset: None,
        metal_g_per_l: None,
        density_kg_per_m3: None,
        lot: None,
    };
    if by_mass {
        row.mass_g = Some((volume * poured_density + 6.0 * d.normal()).max(1.0).round());
    } else {
        row.volume_l = Some((volume * (1.0 + 0.015 * d.normal()) * 100.0).round() / 100.0);
    }
    if p.not_reset {
        row.counter_reset = match (d.even(0.0, 4.0)) as usize {
            0 => Some(Known::Yes),
            1 => Some(Known::No),
            2 => Some(Known::Unknown),
            _ => None,
        };
    } else {
        row.counter_reset = if d.chance(0.6) { Some(Known::Yes) } else { None };
        if d.chance(0.6) {
            row.entered_l = Some(entered);
        }
    }
    if p.strength {
        if d.chance(0.7) {
            row.metal_g_per_l = Some((p.metal * ratio).round());
        } else {
            row.density_kg_per_m3 = Some((poured_density * d.factor(0.004)).round());
        }
    }
    case.refill.push(row);
}

fn weigh(car: &Car, case: &mut Case, d: &mut Dice, shop: &Shop, order: i64) {
    let gross = shop.true_tare_g + car.content * car.density + shop.noise_g * d.normal();
    case.reservoir_weighed.push(ReservoirWeighed {
        odometer_km: Some(car.km.round()),
        time: moment(car.day),
        order: Some(order),
        note: None,
        gross_g: ((gross / shop.step_g).round() * shop.step_g).max(0.0),
        tare_g: Some(shop.tare_g),
        resolution_g: Some(shop.step_g),
        uncertainty_g: if d.chance(0.6) { Some((2.0 * shop.noise_g).ceil()) } else { None },
    });
}

fn count(car: &Car, case: &mut Case, d: &mut Dice, shop: &Shop, order: i64) {
    let shown = |l: f64| (l * 1000.0 / shop.counter_step).round() * shop.counter_step;
    let which = d.even(0.0, 1.0);
    case.counter_read.push(CounterRead {
        odometer_km: Some(car.km.round()),
        time: moment(car.day),
        order: Some(order),
        note: None,
        used_ml: if which < 0.7 { Some(shown(car.used)) } else { None },
        left_ml: if which > 0.35 { Some(shown(car.left)) } else { None },
        distance_since_fill_km: if d.chance(0.3) {
            Some((car.km - car.fill_km).max(0.0).round())
        } else {
            None
        },
    });
}

fn surroundings(car: &Car, case: &mut Case, d: &mut Dice, order: i64) {
    let rate = car.leak_l_per_day * 1000.0;
    let wet = d.chance(if rate <= 0.0 {
        0.05
    } else if rate < 3.0 {
        0.5
    } else {
        0.85
    });
    case.surroundings.push(Surroundings {
        odometer_km: Some(car.km.round()),
        time: moment(car.day),
        order: Some(order),
        note: None,
        state: if wet { Wetness::Wet } else { Wetness::Dry },
    });
}

fn note(car: &Car, case: &mut Case) {
    case.odometer_note.push(OdometerNote {
        odometer_km: Some(car.km.round()),
        time: moment(car.day),
        order: None,
        note: None,
    });
}

fn short(car: &mut Car, case: &mut Case, d: &mut Dice, shop: &Shop, fault: Option<FaultId>, capacity: f64) {
    match fault {
        Some(FaultId::AdditiveLeak) => car.leak_l_per_day = d.between_log(0.002, 0.01),
        Some(FaultId::AdditiveUnderDosed) => car.dose = d.even(0.3, 0.7),
        Some(FaultId::AdditiveOverDosed) => car.dose = d.even(1.35, 1.8),
        _ => {}
    }
    let kind = (d.even(0.0, 4.0)) as usize;
    let km = match kind {
        // filled, driven, nothing looked at; or only the counter read
        0 | 1 => d.even(5_000.0, 25_000.0),
        // weighed too soon
        _ => d.even(100.0, 0.03 * capacity / (car.set_dose * car.litres_per_km)),
    };
    car.drive_to(car.km + km, d);
    match kind {
        0 => note(car, case),
        1 => {
            car.used = (car.used).max(0.0);
            count(car, case, d, shop, 1);
        }
        _ => weigh(car, case, d, shop, 1),
    }
}

#[allow(clippy::too_many_arguments)]
fn long(
    car: &mut Car,
    case: &mut Case,
    d: &mut Dice,
    shop: &Shop,
    fault: Option<FaultId>,
    metal: f64,
    adds: bool,
    range_km: f64,
) {
    use FaultId as F;
    let at_fill = matches!(
        fault,
        Some(F::CounterNotReset | F::RefillNotWrittenDown | F::WrongQuantityEntered | F::WrongStrength)
    );
    let refill = at_fill || (fault != Some(F::AdditiveEmpty) && d.chance(0.35));
    // Share of the range driven in all: an emptied reservoir needs more than one.
    let total = match fault {
        Some(F::AdditiveEmpty) => range_km * d.even(1.0, 1.35) / car.dose,
        _ if refill => range_km * d.even(0.6, 1.3),
        _ => range_km * d.even(0.35, 0.8),
    };
    let start = car.km;
    let visits = 3 + d.even(0.0, 2.999) as usize;
    let refill_at = if refill { 1 + d.even(0.0, (visits - 2) as f64 - 0.001) as usize } else { usize::MAX };
    let onset = start + total * d.even(-0.2, 0.6);
    let (dose_new, leak_new, seen_new) = match fault {
        Some(F::AdditiveUnderDosed) => (d.even(0.1, 0.7), 0.0, 1.0),
        Some(F::AdditiveOverDosed) => (d.even(1.35, 2.4), 0.0, 1.0),
        // enough to take 15 % to 60 % of the capacity from onset to the end
        Some(F::AdditiveLeak) => {
            let days = (start + total - onset.max(start)) / car.km_per_day;
            (car.dose, (car.capacity * d.even(0.15, 0.6) / days).max(0.0012), 1.0)
        }
        Some(F::RefuellingNotRecognised) => (car.dose, 0.0, d.even(0.0, 0.65)),
        _ => (car.dose, 0.0, 1.0),
    };
    let mut changed = false;
    for visit in 0..visits {
        let place = if visit + 1 == visits {
            start + total
        } else {
            start + total * ((visit + 1) as f64 + d.even(-0.25, 0.25)) / visits as f64
        };
        if !changed && onset < place {
            car.drive_to(onset.max(car.km), d);
            (car.dose, car.leak_l_per_day, car.recognised) = (dose_new, leak_new, seen_new);
            changed = true;
        }
        car.drive_to(place, d);
        let last = visit + 1 == visits;
        if last && fault == Some(F::AdditiveEmpty) {
            while car.content > 0.04 * car.capacity {
                let on = car.km + 500.0;
                car.drive_to(on, d);
            }
        }
        let weighed = last || d.chance(0.55);
        let counted = if last { d.chance(0.9) } else { d.chance(0.6) };
        if fault == Some(F::RefillNotWrittenDown) && visit == refill_at {
            // somewhere between this visit and the one before
            let full = d.chance(0.6);
            let share = d.even(0.4, 0.9);
            let not_reset = d.chance(0.4);
            pour(
                car,
                case,
                d,
                shop,
                Pour { full, share, adds, unwritten: true, not_reset, ..Pour::default() },
            );
            let on = d.even(500.0, 4000.0);
            car.drive_to(car.km + on, d);
        }
        if weighed {
            weigh(car, case, d, shop, 0);
        } else if d.chance(0.25) {
            let u = d.even(0.03, 0.1) * car.capacity;
            case.level_read.push(LevelRead {
                odometer_km: Some(car.km.round()),
                time: moment(car.day),
                order: Some(0),
                note: None,
                level_l: (car.content + 0.5 * u * d.normal()).max(0.0),
                uncertainty_l: Some(u),
            });
        }
        if counted {
            count(car, case, d, shop, 1);
        }
        if d.chance(0.35) || (last && fault == Some(F::AdditiveLeak) && d.chance(0.5)) {
            surroundings(car, case, d, 1);
        }
        if visit == refill_at && fault != Some(F::RefillNotWrittenDown) {
            let full = if fault == Some(F::WrongQuantityEntered) { d.chance(0.5) } else { d.chance(0.7) };
            let share = d.even(0.3, 0.8);
            pour(
                car,
                case,
                d,
                shop,
                Pour {
                    full,
                    share,
                    adds,
                    unwritten: false,
                    not_reset: fault == Some(F::CounterNotReset),
                    wrong: fault == Some(F::WrongQuantityEntered),
                    strength: fault == Some(F::WrongStrength),
                    metal,
                },
            );
            if d.chance(0.4) {
                weigh(car, case, d, shop, 3);
            }
        }
        if d.chance(0.5) {
            note(car, case);
        }
    }
}

fn fuel_rows(car: &mut Car, case: &mut Case, d: &mut Dice, start_km: f64) {
    if d.chance(0.6) {
        let (source, sd) = match d.even(0.0, 3.0) as usize {
            0 => (FuelSource::Receipts, 0.03),
            1 => (FuelSource::FleetCard, 0.018),
            _ => (FuelSource::Memory, 0.17),
        };
        case.fuel_used.push(FuelUsed {
            odometer_km: Some(car.km.round()),
            time: moment(car.day),
            order: None,
            note: None,
            since_odometer_km: start_km,
            fuel_l: ((car.fuel_sum - car.since_fuel_l) * d.factor(sd)).round().max(1.0),
            source: Some(source),
        });
    }
    if d.chance(0.4) {
        let mean = 100.0 * car.fuel_sum / (car.km - start_km).max(1.0);
        case.trip_computer.push(TripComputer {
            odometer_km: Some(car.km.round()),
            time: moment(car.day),
            order: None,
            note: None,
            since_odometer_km: if d.chance(0.6) { Some(start_km) } else { None },
            consumption_l_per_100km: (mean * d.factor(0.05) * 10.0).round() / 10.0,
        });
    }
}

fn look_ahead(car: &Car, d: &mut Dice, fault: Option<FaultId>, tellable: bool, reserve: f64) -> Truth {
    let (km, day) = (car.km, car.day);
    let mut next = Car { ..*car };
    let (dose_factor, leak) = (car.dose * car.recognised, car.leak_l_per_day * 1000.0);
    while next.content > reserve && next.km < km + 3e6 {
        let until = next.km + 1e5;
        next.hop(until, d);
    }
    Truth {
        fault,
        tellable,
        dose_factor,
        leak_ml_per_day: leak,
        left_l: car.content,
        due_km: next.km - km,
        due_days: next.day - day,
    }
}
