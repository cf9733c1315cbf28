//! The filter: one fault hypothesis with its beginning is one run through the story.
//!
//! Within a run everything continuous is Gaussian; what is discrete (full or topped up, was the counter reset,
//! ran dry or not, which of two rows came first, a slip in reading) branches into components that are weighed by
//! how well they foretold the facts. Runs that share their sound beginning share its computation.

use super::gauss::*;
use super::prior::AdditivePrior;
use super::story::{Fill, FuelFigure, Look, Step, Story};
use facts::case::{Category, Known};
use facts::{Case, FaultId};

/// Constants of the car as far as they are given, each with the spread of what is not.
#[derive(Debug, Clone)]
pub(super) struct Constants {
    /// Fuel, L per km, and relative standard deviation.
    pub fuel_l_per_km: (f64, f64),
    /// Set dose, L of concentrate per L of fuel, and relative standard deviation (0 = given by volume).
    pub set_dose: (f64, f64),
    /// Capacity, L, and standard deviation, L.
    pub capacity_l: (f64, f64),
    /// Density of the concentrate, kg/L, and relative standard deviation.
    pub density: (f64, f64),
    /// Metal of the concentrate that the car is set for, g/L.
    pub metal_g_per_l: Option<f64>,
    /// ln(metal stated to be in the reservoir / metal that the two set doses need), when all three are given.
    pub strength_mismatch: Option<f64>,
    /// True when the tare of every weighing is known.
    pub tare_known: bool,
}

fn within(x: Option<f64>, low: f64, high: f64) -> Option<f64> {
    x.filter(|x| x.is_finite() && *x >= low && *x <= high)
}

impl Constants {
    /// Reads the constants; whatever is missing or impossible gets a wide class value.
    pub(super) fn of(case: &Case) -> Self {
        let r = &case.reservoir;
        // A stated average consumption is off by 9 % (common practice, no source: people round, seasons differ).
        // Without one: by category, within a factor of about 1.35.
        let fuel = match within(case.car.consumption_l_per_100km, 0.5, 150.0) {
            Some(c) => (c / 100.0, 0.09),
            None => match case.car.category {
                Some(Category::N1) => (0.085, 0.3),
                Some(Category::M2 | Category::M3 | Category::N2 | Category::N3) => (0.25, 0.35),
                Some(Category::M1) | None => (0.065, 0.3),
            },
        };
        let fuel_density = within(case.fuel.density_kg_per_m3, 600.0, 1100.0).unwrap_or(835.0);
        let density_given = within(r.density_kg_per_m3, 300.0, 3000.0).map(|d| d / 1000.0);
        let metal = within(r.metal_g_per_l, 1e-3, 2e3).or_else(|| {
            let percent = within(r.metal_mass_percent, 1e-4, 100.0)?;
            Some(percent / 100.0 * density_given? * 1000.0)
        });
        let dose_by_mass = within(r.dose_mg_per_kg, 1e-3, 1e4);
        let by_metal = match (dose_by_mass, metal) {
            (Some(c), Some(m)) => additive::dose::volume_dose_ml_per_l(c, fuel_density, m).ok(),
            _ => None,
        };
        let set = match (within(r.dose_ml_per_l, 1e-4, 50.0), by_metal.filter(|v| (1e-4..50.0).contains(v))) {
            (Some(v), _) => (v / 1000.0, 0.0),
            // strength and fuel density as printed are good to some 3 % together (from memory: EN 590 spans 3 %)
            (None, Some(v)) => (v / 1000.0, 0.03),
            // 0.1 to 1 mL/L over the generations known (worked examples of dose by generation)
            (None, None) => (0.0004, 0.6),
        };
        let strength_mismatch = match (within(r.dose_ml_per_l, 1e-4, 50.0), dose_by_mass, metal) {
            (Some(v), Some(c), Some(m)) => additive::dose::required_metal_g_per_l(c, fuel_density, v)
                .ok()
                .filter(|need| *need > 0.0)
                .map(|need| (m / need).ln()),
            _ => None,
        };
        let largest = case
            .refill
            .iter()
            .filter_map(|f| within(f.volume_l, 0.0, 1e3))
            .chain(case.level_read.iter().filter_map(|l| within(Some(l.level_l), 0.0, 1e3)))
            .fold(0.0, f64::max);
        // Reservoirs hold 1 to 5 L (from memory); a stated capacity is good to 3 % (guess).
        let capacity = match within(r.capacity_l, 0.01, 1e3) {
            Some(c) => (c, 0.03 * c),
            None => {
                let c = (1.15 * largest).max(2.3);
                (c, 0.35 * c)
            }
        };
        let tare_known = within(r.tare_g, 0.0, 1e6).is_some()
            || case.reservoir_weighed.iter().all(|w| within(w.tare_g, 0.0, 1e6).is_some());
        Self {
            fuel_l_per_km: fuel,
            set_dose: set,
            capacity_l: capacity,
            // A printed density is good to 1 %, temperature of the day included; unknown: 0.80 to 1.05 (memory).
            density: density_given.map_or((0.91, 0.06), |d| (d, 0.01)),
            metal_g_per_l: metal,
            strength_mismatch,
            tare_known,
        }
    }
}

/// What makes a run differ from the sound car.
#[derive(Debug, Clone, Copy)]
pub(super) enum Change {
    /// True dose over set dose.
    Dose { mean: f64, sd: f64 },
    /// Leak, L per day.
    Leak { mean: f64, sd: f64 },
    /// Share of refuelling recognised.
    Recognised { mean: f64, sd: f64 },
}

/// What is odd about one fill.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Twist {
    Plain,
    NotReset,
    WrongEntry,
    WrongStrength,
}

/// A weighed component of the posterior.
#[derive(Debug, Clone)]
pub(super) struct Part {
    pub fault: Option<FaultId>,
    pub g: Gauss,
}

/// Standard deviation of fuel per km over a short stretch against the car's own mean: season 5 % and load, road
/// and driver another 5 % (guesses), independent from one [`STRETCH_KM`] to the next.
const STRETCH_REL: f64 = 0.07;
const STRETCH_KM: f64 = 6000.0;
/// Drift of the car's own mean over 20 000 km (guess: drivers and errands change).
const DRIFT_REL: f64 = 0.035;
/// Dosing follows refuelling, burning follows later: a tank not equally full at both ends, L of fuel.
const TANK_L: f64 = 12.0;
/// How far a controller's distance may stand off the odometer, km, besides one in a hundred (guess).
const DISTANCE_SD_KM: f64 = 20.0;
/// Probability that a figure was misread or written down wrong (guess).
const SLIP: f64 = 0.01;
/// Probability that a controller that adds was told the poured volume where no entry is written down (guess).
const ADDED_POUR: f64 = 0.8;
/// Histories of more steps than this get one beginning in each interval, shorter ones two.
const MANY_STEPS: usize = 24;
/// Components kept in one run.
const KEEP: usize = 8;

/// Variance of the share recognised over `fuel_l` of fuel: refuellings of some 45 L are seen or not, one by one.
pub(super) fn recognised_var(share: f64, fuel_l: f64) -> f64 {
    let share = share.clamp(0.0, 1.0);
    share * (1.0 - share) * 45.0 / fuel_l.max(45.0)
}

/// Relative variance of the fuel burnt over `km` against the car's mean at that time.
pub(super) fn stretch_var(km: f64) -> f64 {
    STRETCH_REL * STRETCH_REL * STRETCH_KM / (km.max(0.0) + STRETCH_KM)
}

/// Relative variance that the drift of the mean adds to the fuel of the next `km`.
pub(super) fn drift_var(km: f64) -> f64 {
    DRIFT_REL * DRIFT_REL * km.max(0.0) / 20_000.0
}

pub(super) struct Model<'a> {
    pub k: &'a Constants,
    pub story: &'a Story,
    pub prior: &'a AdditivePrior,
    /// Whether it matters how the controller takes an entry.
    pub entries: bool,
}

fn prune(gs: &mut Vec<Gauss>, keep: usize) {
    let best = gs.iter().map(|g| g.log_weight).fold(f64::NEG_INFINITY, f64::max);
    if gs.len() > 1 {
        gs.retain(|g| g.log_weight > best - 12.0);
    }
    if gs.len() > keep {
        // stable: components of equal weight stay in their order of making
        gs.sort_by(|a, b| b.log_weight.total_cmp(&a.log_weight));
        gs.truncate(keep);
    }
}

/// Log-likelihood of what is noted about a reset, relative between the two truths (guess).
fn noted(reset: Option<Known>, happened: bool) -> f64 {
    match (reset, happened) {
        (Some(Known::Yes), true) => 0.6f64,
        (Some(Known::Yes), false) => 0.07,
        (Some(Known::No), true) => 0.02,
        (Some(Known::No), false) => 0.5,
        (Some(Known::Unknown) | None, true) => 0.38,
        (Some(Known::Unknown) | None, false) => 0.43,
    }
    .ln()
}

impl Model<'_> {
    fn cap(&self) -> f64 {
        self.k.capacity_l.0
    }

    /// Belief before the first row.
    fn start(&self) -> Vec<Gauss> {
        let cap = self.cap();
        let mut g = Gauss::new();
        g.set(FUEL_RATE, 1.0, self.k.fuel_l_per_km.1.powi(2));
        g.set(DOSE, 1.0, self.prior.dose_rel.powi(2));
        g.set(GAIN, 1.0, self.prior.gain_rel.powi(2));
        g.set(RECOGNISED, 1.0, 0.0);
        g.set(CAPACITY, cap, self.k.capacity_l.1.powi(2));
        g.set(DENSITY, 1.0, self.k.density.1.powi(2));
        // A known tare still leaves fluid in hoses and coupling out or in (guess 8 g); an unknown one weighs
        // 0.1 to 1 kg (guess).
        let (tare, tare_sd) = if self.k.tare_known { (0.0, 0.008) } else { (0.5, 0.3) };
        g.set(TARE, tare, tare_sd * tare_sd);
        g.set(SET, 1.0, self.k.set_dose.1.powi(2));
        // Trip computers are off by 4 to 5 % of their own (common practice, no source).
        g.set(TRIP, 1.0, 0.045f64.powi(2));
        g.set(CONTENT, 0.5 * cap, (0.33 * cap).powi(2));
        g.keep_above(&[(CONTENT, 1.0)], 0.0);
        g.keep_above(&[(CONTENT, -1.0), (CAPACITY, 1.0)], -0.03 * cap);
        g.log_weight = 0.0;
        g.assign(LEFT, 0.0, &[(CONTENT, 1.0)]);
        g.noise(LEFT, (0.2 * cap).powi(2));
        g.set(USED, 0.5 * cap, (0.5 * cap).powi(2));
        g.assign(POURED, 0.0, &[(CONTENT, 1.0)]);
        if !self.entries {
            return vec![g];
        }
        // Most controllers set their figure to the entry; some add it (guess).
        let mut adding = g.clone();
        adding.adds = true;
        adding.log_weight = 0.3f64.ln();
        g.log_weight = 0.7f64.ln();
        vec![g, adding]
    }

    /// Drives a stretch. `live` is false before the first row about the reservoir: only fuel is summed.
    fn drive(&self, gs: &mut Vec<Gauss>, km: f64, days: f64, live: bool) {
        if km <= 0.0 && days <= 0.0 {
            return;
        }
        let d = self.k.set_dose.0;
        let mean_fuel = km * self.k.fuel_l_per_km.0;
        let mut split = Vec::new();
        for g in gs.iter_mut() {
            g.set(SCRATCH, 0.0, 0.0);
            g.add_product(SCRATCH, mean_fuel, &[FUEL_RATE]);
            g.noise(SCRATCH, mean_fuel * mean_fuel * stretch_var(km));
            g.noise(FUEL_RATE, drift_var(km));
            for slot in SLOT..N {
                g.add(slot, 0.0, &[(SCRATCH, 1.0)]);
            }
            if !live {
                continue;
            }
            g.add(BURNT, 0.0, &[(SCRATCH, 1.0)]);
            let counted = [SET, RECOGNISED, GAIN, SCRATCH];
            if g.m[RECOGNISED] < 1.0 {
                // which refuellings were seen is luck that counter and content share
                let by_luck = recognised_var(g.m[RECOGNISED], mean_fuel) * mean_fuel * mean_fuel * d * d;
                g.set(LUCK, 0.0, by_luck);
                g.add(USED, 0.0, &[(LUCK, 1.0)]);
                g.add(LEFT, 0.0, &[(LUCK, -1.0)]);
                g.add(COUNTED, 0.0, &[(LUCK, 1.0)]);
                if !g.dry {
                    let dose = g.m[DOSE];
                    g.add(CONTENT, 0.0, &[(LUCK, -dose)]);
                }
            }
            g.add_product(USED, d, &counted);
            g.add_product(LEFT, -d, &counted);
            g.add_product(COUNTED, d, &counted);
            if g.dry {
                continue;
            }
            g.add_product(CONTENT, -d, &[SET, RECOGNISED, DOSE, SCRATCH]);
            if g.m[LEAK] > 0.0 {
                g.add(CONTENT, 0.0, &[(LEAK, -days)]);
            }
            let sd = g.var(CONTENT).sqrt().max(1e-9);
            let empty = phi(-g.m[CONTENT] / sd);
            if empty > 1e-6 {
                let mut dry = g.clone();
                dry.keep_above(&[(CONTENT, -1.0)], 0.0);
                dry.set(CONTENT, 0.0, 0.0);
                dry.dry = true;
                if empty > 1.0 - 1e-7 {
                    *g = dry;
                } else {
                    g.keep_above(&[(CONTENT, 1.0)], 0.0);
                    split.push(dry);
                }
            }
        }
        gs.append(&mut split);
        prune(gs, KEEP);
    }

    fn look(&self, gs: &mut Vec<Gauss>, look: &Look, km: f64) {
        let cap = self.cap();
        let tank = self.k.set_dose.0 * TANK_L;
        // Observes with a chance that the figure is a slip, spread evenly over `range`.
        let observe =
            |g: &mut Gauss, h: &[(usize, f64)], y: f64, var: f64, range: f64, extra: &mut Vec<Gauss>| {
                let slip = g.log_weight + SLIP.ln() - range.ln();
                let untouched = g.clone();
                g.observe(h, y, var);
                g.log_weight += (1.0 - SLIP).ln();
                if slip > g.log_weight - 6.0 {
                    let mut u = untouched;
                    u.log_weight = slip;
                    extra.push(u);
                }
            };
        let mut extra = Vec::new();
        match look {
            Look::Weighed { net_kg, tare_known, sd_kg } => {
                let rho = self.k.density.0;
                for g in gs.iter_mut() {
                    let (c, q) = (g.m[CONTENT].max(0.0), g.m[DENSITY]);
                    // A tare given for this weighing although others lack theirs: the shared unknown is not in it.
                    let shared = if *tare_known && !self.k.tare_known { 0.0 } else { 1.0 };
                    let h = [(CONTENT, rho * q), (DENSITY, rho * c), (TARE, shared)];
                    let residue = if g.dry { 0.012 * cap * rho } else { 0.0 };
                    let var = sd_kg * sd_kg + (rho * tank).powi(2) + residue * residue;
                    observe(g, &h, net_kg + rho * c * q, var, 1.2 * rho * cap, &mut extra);
                }
            }
            Look::Level { litres, sd_l } => {
                for g in gs.iter_mut() {
                    let var = sd_l * sd_l + tank * tank;
                    observe(g, &[(CONTENT, 1.0)], *litres, var, 1.2 * cap, &mut extra);
                }
            }
            Look::Counter { used_l, left_l, distance_km, sd_l } => {
                for g in gs.iter_mut() {
                    if let Some(used) = used_l {
                        let var = sd_l * sd_l + (0.004 * used).powi(2) + tank * tank;
                        observe(g, &[(USED, 1.0)], *used, var, 2.0 * cap, &mut extra);
                    }
                }
                gs.append(&mut extra);
                for g in gs.iter_mut() {
                    match left_l {
                        // A figure of zero says only that the controller believes in no more than that.
                        Some(left) if *left < 0.002 * cap => {
                            let (mean, var) = g.form(&[(LEFT, 1.0)]);
                            let below = phi((0.01 * cap - mean) / (var + tank * tank).sqrt());
                            if below > 0.02 {
                                g.noise(LEFT, tank * tank);
                                g.keep_above(&[(LEFT, -1.0)], -0.01 * cap);
                            } else {
                                g.log_weight += (below + 0.2 * SLIP).ln();
                            }
                        }
                        Some(left) => {
                            let var = sd_l * sd_l + (0.004 * left).powi(2) + tank * tank;
                            observe(g, &[(LEFT, 1.0)], *left, var, 2.0 * cap, &mut extra);
                        }
                        None => {}
                    }
                    if let Some(distance) = distance_km {
                        // By chance it may be anything up to 100 000 km.
                        let chance = 1e-5f64;
                        let fits = g.reset_at_km.map_or(0.0, |at| {
                            let since = (km - at).max(0.0);
                            log_normal(distance - since, (DISTANCE_SD_KM + 0.01 * since).powi(2)).exp()
                        });
                        g.log_weight += if g.reset_at_km.is_some() {
                            (0.96 * fits + 0.04 * chance).ln()
                        } else {
                            chance.ln()
                        };
                    }
                }
            }
            Look::Surroundings { wet } => {
                for g in gs.iter_mut() {
                    // Wet although sound: drips of an earlier fill. A slow leak dries up (guesses).
                    let p: f64 = match g.m[LEAK] {
                        l if l <= 0.0 => 0.04,
                        l if l < 0.003 => 0.55,
                        _ => 0.82,
                    };
                    g.log_weight += if *wet { p } else { 1.0 - p }.ln();
                }
            }
        }
        gs.append(&mut extra);
        prune(gs, KEEP);
    }

    /// Pours and entries. Returns the branches.
    fn fill(&self, gs: Vec<Gauss>, f: &Fill, km: f64, twist: Twist) -> Vec<Gauss> {
        let mut out = Vec::new();
        for mut g in gs {
            if let (Some(row), Some(set)) = (f.metal_g_per_l, self.k.metal_g_per_l) {
                // Labels of one fluid agree within some per cent; generations differ by up to a factor of four.
                let sd: f64 = if twist == Twist::WrongStrength { 0.7 } else { 0.06 };
                g.log_weight += log_normal((row / set).ln(), sd * sd);
            }
            if !f.pour {
                self.controller(g, f, km, None, false, twist, &mut out);
                continue;
            }
            if twist == Twist::WrongStrength {
                g.noise(DENSITY, 0.07f64.powi(2));
            }
            if let Some(d) = f.density_kg_per_l {
                // hydrometer and temperature together: 1.2 % (guess)
                g.observe(&[(DENSITY, 1.0)], d / self.k.density.0, 0.012f64.powi(2));
            }
            let branches: &[(bool, f64)] = match (f.full, f.replaced, f.volume_l.or(f.mass_kg)) {
                (Some(true), _, _) | (_, true, _) => &[(true, 1.0)],
                (Some(false), ..) => &[(false, 1.0)],
                (None, _, None) => &[(true, 0.75), (false, 0.25)],
                (None, _, Some(_)) => &[(true, 0.5), (false, 0.5)],
            };
            for &(full, weight) in branches {
                let mut b = g.clone();
                b.log_weight += weight.ln();
                let volume = self.pour(&mut b, f, full);
                if b.log_weight.is_finite() {
                    self.controller(b, f, km, volume, full, twist, &mut out);
                }
            }
        }
        prune(&mut out, KEEP);
        out
    }

    /// Content after a pour; returns the volume when it was stated.
    fn pour(&self, b: &mut Gauss, f: &Fill, full: bool) -> Option<f64> {
        let cap = self.cap();
        let rho = self.k.density.0;
        // The poured volume goes into the scratch variable. A graduated container is good to 2 % and 15 mL, a
        // weighed pour to 6 g (guesses).
        let stated = match (f.volume_l, f.mass_kg) {
            (Some(v), mass) => {
                b.set(SCRATCH, v, (0.02 * v).powi(2) + 0.015f64.powi(2));
                if let Some(kg) = mass {
                    let q = b.m[DENSITY];
                    b.observe(&[(SCRATCH, rho * q), (DENSITY, rho * v)], kg + rho * q * v, 0.006f64.powi(2));
                }
                Some(v)
            }
            (None, Some(kg)) => {
                let v = kg / (rho * b.m[DENSITY].max(0.3));
                b.assign(SCRATCH, 2.0 * v, &[(DENSITY, -v / b.m[DENSITY].max(0.3))]);
                b.noise(SCRATCH, 0.008f64.powi(2));
                Some(v)
            }
            (None, None) => None,
        };
        b.dry = false;
        if f.replaced {
            b.set(LEAK, 0.0, 0.0);
            match stated {
                Some(_) => b.assign(CONTENT, 0.0, &[(SCRATCH, 1.0)]),
                None => {
                    b.assign(CONTENT, 0.0, &[(CAPACITY, 1.0)]);
                    b.noise(CONTENT, (0.03 * cap).powi(2));
                }
            }
        } else if full {
            // Filled to capacity within 3 % (guess): a pour of known volume then also tells what was left before.
            let var = (0.03 * cap).powi(2);
            if stated.is_some() {
                b.add(CONTENT, 0.0, &[(SCRATCH, 1.0)]);
                b.observe(&[(CONTENT, 1.0), (CAPACITY, -1.0)], 0.0, var);
            } else {
                b.assign(CONTENT, 0.0, &[(CAPACITY, 1.0)]);
                b.noise(CONTENT, var);
            }
        } else {
            if stated.is_none() {
                b.set(SCRATCH, 0.4 * cap, (0.25 * cap).powi(2));
            } else {
                // A top-up may be any volume: its density, so that it compares with a fill to capacity.
                b.log_weight -= (0.7 * cap).ln();
            }
            b.add(CONTENT, 0.0, &[(SCRATCH, 1.0)]);
            b.add(POURED, 0.0, &[(SCRATCH, 1.0)]);
            b.keep_above(&[(CONTENT, -1.0), (CAPACITY, 1.0)], -0.04 * cap);
            b.keep_above(&[(CONTENT, 1.0)], 0.0);
        }
        if full || f.replaced {
            b.assign(POURED, 0.0, &[(CONTENT, 1.0)]);
            b.set(BURNT, 0.0, 0.0);
            b.set(COUNTED, 0.0, 0.0);
        }
        stated
    }

    /// What the controller was told after a pour, or without one.
    #[allow(clippy::too_many_arguments)]
    fn controller(
        &self,
        g: Gauss,
        f: &Fill,
        km: f64,
        volume: Option<f64>,
        full: bool,
        twist: Twist,
        out: &mut Vec<Gauss>,
    ) {
        let cap = self.cap();
        if twist == Twist::NotReset && f.pour {
            let mut b = g;
            b.log_weight += noted(f.reset, false);
            if f.entered_l.is_some() {
                // something was typed in, and the controller did not take it (ignition cycle, wrong controller)
                b.log_weight += 0.12f64.ln() - cap.ln();
            }
            out.push(b);
            return;
        }
        let whole = full || f.replaced;
        let resets: [(bool, f64); 2] = match (f.pour, whole) {
            (true, true) => [(true, 0.98), (false, if f.entered_l.is_some() { 0.02 } else { 0.005 })],
            (true, false) => [(true, 0.6), (false, 0.4)],
            (false, _) => [(true, 0.75), (false, 0.25)],
        };
        for (reset, weight) in resets {
            let mut b = g.clone();
            b.log_weight += weight.ln() + noted(f.reset, reset);
            if reset {
                b.set(USED, 0.0, 1e-8);
                b.reset_at_km = Some(km);
            }
            if twist == Twist::WrongEntry && self.distances() {
                // the quantity may have been right and the distance wrong (guess)
                let mut far = b.clone();
                far.log_weight += 0.1f64.ln();
                far.reset_at_km = None;
                self.right_entry(far, f, volume, whole, out);
                b.log_weight += 0.9f64.ln();
            }
            match (twist, f.entered_l) {
                (Twist::WrongEntry, Some(e)) => self.wrong_entry(b, e, volume, whole, out),
                (Twist::WrongEntry, None) => self.unseen_entry(b, volume, whole, f.pour, out),
                _ => self.right_entry(b, f, volume, whole, out),
            }
        }
    }

    /// True when somebody read the controller's distance since the fill.
    fn distances(&self) -> bool {
        let mut looks = self.story.steps.iter().flat_map(|s| &s.looks);
        looks.any(|l| matches!(l, Look::Counter { distance_km: Some(_), .. }))
    }

    /// The controller was told what is so, written down or not.
    fn right_entry(&self, mut b: Gauss, f: &Fill, volume: Option<f64>, whole: bool, out: &mut Vec<Gauss>) {
        let cap = self.cap();
        if let Some(e) = f.entered_l {
            self.judge_entry(&mut b, e, volume);
            self.take_entry(&mut b, e);
            out.push(b);
            return;
        }
        if let (true, Some(v), true) = (b.adds, volume, f.pour) {
            // a controller that adds was most likely told what was poured
            let mut added = b.clone();
            added.log_weight += ADDED_POUR.ln();
            added.add(LEFT, v, &[]);
            added.noise(LEFT, (0.03 * v + 0.005).powi(2));
            b.log_weight += (1.0 - ADDED_POUR).ln();
            out.push(added);
        }
        if whole {
            b.set(LEFT, cap, (0.025 * cap).powi(2));
        } else {
            b.assign(LEFT, 0.0, &[(CONTENT, 1.0)]);
            b.noise(LEFT, (0.08 * cap).powi(2));
        }
        out.push(b);
    }

    /// Right entries: the content for a controller that sets its figure, the poured volume for one that adds.
    fn judge_entry(&self, b: &mut Gauss, e: f64, volume: Option<f64>) {
        let cap = self.cap();
        if b.adds {
            match volume {
                Some(v) => b.log_weight += log_normal(e - v, (0.05 * v + 0.03).powi(2)),
                None => b.log_weight -= cap.ln(),
            }
        } else {
            b.observe(&[(CONTENT, 1.0)], e, (0.07 * cap).powi(2));
        }
    }

    fn take_entry(&self, b: &mut Gauss, e: f64) {
        if b.adds {
            b.add(LEFT, e, &[]);
        } else {
            b.set(LEFT, e, (0.01 * e + 0.002).powi(2));
        }
    }

    /// The stated entry was wrong, or another one was typed than the one written down.
    fn wrong_entry(&self, b: Gauss, e: f64, volume: Option<f64>, whole: bool, out: &mut Vec<Gauss>) {
        let cap = self.cap();
        let right = volume.unwrap_or(b.m[CONTENT]).max(0.01);
        let slip = |factor: f64| {
            let target = right * factor;
            if e > 0.0 { log_normal((e / target).ln(), 0.04).exp() / e } else { 0.0 }
        };
        let mut stated = b.clone();
        let even = if e <= 1.5 * cap { 1.0 / (1.5 * cap) } else { 1e-4 };
        // mL for L and back, a figure ten times off, the capacity after a top-up, or anything (guesses)
        let capacity = if whole { 0.0 } else { log_normal(e - cap, (0.03 * cap).powi(2)).exp() };
        let density = 0.15 * (slip(1000.0) + slip(0.001))
            + 0.05 * (slip(10.0) + slip(0.1))
            + 0.25 * capacity
            + if whole { 0.6 } else { 0.35 } * even;
        stated.log_weight += 0.7f64.ln() + density.max(1e-12).ln();
        self.take_entry(&mut stated, e);
        out.push(stated);
        let mut other = b;
        other.log_weight += 0.3f64.ln();
        self.judge_entry(&mut other, e, volume);
        self.unseen_entry(other, volume, whole, true, out);
    }

    /// A wrong entry that nobody wrote down.
    fn unseen_entry(&self, b: Gauss, volume: Option<f64>, whole: bool, poured: bool, out: &mut Vec<Gauss>) {
        let cap = self.cap();
        let mut branch = |weight: f64, mean: f64, sd: f64| {
            let mut x = b.clone();
            x.log_weight += weight.ln();
            x.set(LEFT, mean, sd * sd);
            out.push(x);
        };
        branch(0.2, 0.001 * cap, 0.004 * cap);
        branch(0.4, 0.6 * cap, 0.4 * cap);
        if !whole {
            branch(0.3, cap, 0.03 * cap);
        }
        if poured && let Some(v) = volume {
            branch(0.1, v, 0.03 * cap);
        }
    }

    fn step(&self, gs: &mut Vec<Gauss>, s: &Step, twist: impl Fn(usize) -> Twist) {
        for figure in &s.fuel {
            let rate = self.k.fuel_l_per_km.0;
            for g in gs.iter_mut() {
                match *figure {
                    FuelFigure::Litres { slot, litres, var_l2 } => {
                        g.observe(&[(SLOT + slot, 1.0)], litres, var_l2);
                    }
                    FuelFigure::TripSince { slot, l_per_km, km } => {
                        // shown = TRIP * burnt / km
                        let (t, burnt) = (g.m[TRIP], g.m[SLOT + slot]);
                        let h = [(SLOT + slot, t / km), (TRIP, burnt / km)];
                        g.observe(&h, l_per_km + t * burnt / km, (0.012 * l_per_km).powi(2));
                    }
                    FuelFigure::Trip { l_per_km } => {
                        let (t, f) = (g.m[TRIP], g.m[FUEL_RATE]);
                        let h = [(FUEL_RATE, rate * t), (TRIP, rate * f)];
                        // over an unknown stretch: half the spread of a stretch on top
                        g.observe(&h, l_per_km + rate * t * f, (0.03 * l_per_km).powi(2));
                    }
                }
            }
        }
        for &slot in &s.open_slots {
            for g in gs.iter_mut() {
                g.set(SLOT + slot, 0.0, 0.0);
            }
        }
        let mut all = Vec::new();
        for (w, way) in s.ways.iter().enumerate() {
            let last = w + 1 == s.ways.len();
            let mut branch = if last { std::mem::take(gs) } else { gs.clone() };
            for at in 0..=s.fills.len() {
                for (look, _) in s.looks.iter().zip(way).filter(|(_, place)| **place == at) {
                    self.look(&mut branch, look, s.odometer_km);
                }
                if let Some(f) = s.fills.get(at) {
                    branch = self.fill(branch, f, s.odometer_km, twist(at));
                }
            }
            let share = -(s.ways.len() as f64).ln();
            branch.iter_mut().for_each(|g| g.log_weight += share);
            all.append(&mut branch);
        }
        prune(&mut all, KEEP);
        *gs = all;
    }

    /// Length of the interval that ends at step `i`: km and days.
    fn interval(&self, i: usize) -> (f64, f64) {
        match (i.checked_sub(1).and_then(|j| self.story.steps.get(j)), self.story.steps.get(i)) {
            (Some(a), Some(b)) => ((b.odometer_km - a.odometer_km).max(0.0), (b.day - a.day).max(0.0)),
            _ => (0.0, 0.0),
        }
    }

    /// Runs steps `from..` of the story; `twisted` = (step, fill, how).
    fn run(&self, mut gs: Vec<Gauss>, from: usize, twisted: Option<(usize, usize, Twist)>) -> Vec<Gauss> {
        for (i, s) in self.story.steps.iter().enumerate().skip(from) {
            let (km, days) = self.interval(i);
            self.drive(&mut gs, km, days, i > self.story.begin);
            self.step(&mut gs, s, |f| match twisted {
                Some((ts, tf, how)) if ts == i && tf == f => how,
                _ => Twist::Plain,
            });
            if gs.is_empty() {
                break;
            }
        }
        gs
    }

    /// The sound car: belief after each step; entry 0 is the belief before the first step.
    fn baseline(&self, start: Vec<Gauss>) -> Vec<Vec<Gauss>> {
        let mut shots = vec![start];
        for (i, s) in self.story.steps.iter().enumerate() {
            let mut gs = shots.last().cloned().unwrap_or_default();
            let (km, days) = self.interval(i);
            self.drive(&mut gs, km, days, i > self.story.begin);
            self.step(&mut gs, s, |_| Twist::Plain);
            shots.push(gs);
        }
        shots
    }

    /// Relative standard deviation to which the facts alone pin what leaves the reservoir, dose prior opened wide.
    pub(super) fn pinned_dose_rel(&self) -> f64 {
        let mut start = self.start();
        for g in &mut start {
            g.set(DOSE, 1.0, 0.25);
        }
        let gs = self.run(start, 0, None);
        let top = gs.iter().map(|g| g.log_weight).fold(f64::NEG_INFINITY, f64::max);
        let (mut w, mut m1, mut m2) = (0.0, 0.0, 0.0);
        for g in &gs {
            let p = (g.log_weight - top).exp();
            w += p;
            m1 += p * g.m[DOSE];
            m2 += p * (g.m[DOSE] * g.m[DOSE] + g.var(DOSE));
        }
        if w > 0.0 { ((m2 / w - (m1 / w).powi(2)).max(0.0)).sqrt() } else { f64::INFINITY }
    }

    /// Every hypothesis with every beginning, weighed; log weights hold prior and evidence.
    pub(super) fn posterior(&self) -> Vec<Part> {
        let story = self.story;
        let n = story.steps.len();
        let shots = self.baseline(self.start());
        let mut parts = Vec::new();
        // Without a fault the strength of the fluid in the reservoir agrees with the two set doses.
        let agrees = self.k.strength_mismatch.map_or(0.0, |x| log_normal(x, 0.12f64.powi(2)));
        let differs = self.k.strength_mismatch.map_or(0.0, |x| log_normal(x, 0.7f64.powi(2)));

        // the sound car, emptied by its normal use or not
        let sound_prior = (self.prior.sound.max(1e-12)).ln() + agrees;
        let floor = 0.05 * self.cap();
        for g in shots.last().cloned().unwrap_or_default() {
            let mut full = g.clone();
            let mut empty = g;
            full.keep_above(&[(CONTENT, 1.0)], floor);
            empty.keep_above(&[(CONTENT, -1.0)], -floor);
            full.log_weight += sound_prior;
            empty.log_weight += sound_prior + self.prior.empty_odds.max(1e-12).ln();
            parts.push(Part { fault: None, g: full });
            parts.push(Part { fault: Some(FaultId::AdditiveEmpty), g: empty });
        }

        let mut add = |fault: FaultId, log_prior: f64, gs: Vec<Gauss>| {
            for mut g in gs {
                g.log_weight += log_prior + if fault == FaultId::WrongStrength { 0.0 } else { agrees };
                if g.log_weight.is_finite() {
                    parts.push(Part { fault: Some(fault), g });
                }
            }
        };

        for (km_weighted, fault, share, nodes) in self.changes() {
            let log_fault = share.max(1e-12).ln();
            for (onset, weight) in self.onsets(km_weighted) {
                let places = if onset == 0 || n > MANY_STEPS { 1 } else { 2 };
                for &(change, node_weight) in nodes {
                    let Some(before) = shots.get(onset) else { continue };
                    for place in 0..places {
                        let gs = self.with_change(before.clone(), onset, change, (place, places));
                        let share = weight * node_weight / places as f64;
                        add(fault, log_fault + share.ln(), gs);
                    }
                }
            }
        }

        // one odd fill
        let fills: Vec<(usize, usize, bool)> = story
            .steps
            .iter()
            .enumerate()
            .flat_map(|(i, s)| s.fills.iter().enumerate().map(move |(j, f)| (i, j, f.pour)))
            .collect();
        let odd = |fault: FaultId,
                   share: f64,
                   how: Twist,
                   entries: bool,
                   log_extra: f64,
                   open: f64,
                   add: &mut dyn FnMut(FaultId, f64, Vec<Gauss>)| {
            let picked: Vec<_> = fills.iter().filter(|f| f.2 || entries).collect();
            let recent = picked.len().min((300 / n.max(1)).clamp(2, 8));
            for &&(i, j, _) in &picked[picked.len() - recent..] {
                let Some(before) = shots.get(i) else { continue };
                let gs = self.run(before.clone(), i, Some((i, j, how)));
                let weight = share * (1.0 - open) / recent as f64;
                add(fault, weight.max(1e-12).ln() + log_extra, gs);
            }
            // the odd fill happened before the story begins, or the story has none
            let rest = if recent == 0 { share } else { share * open };
            if rest > 0.0 {
                let mut start = self.start();
                for g in &mut start {
                    match how {
                        Twist::WrongStrength => g.noise(DENSITY, 0.07f64.powi(2)),
                        _ => {
                            g.set(LEFT, 0.4 * self.cap(), (0.4 * self.cap()).powi(2));
                        }
                    }
                }
                add(fault, rest.ln() + log_extra, self.run(start, 0, None));
            }
        };
        odd(
            FaultId::CounterNotReset,
            self.prior.counter_not_reset,
            Twist::NotReset,
            false,
            0.0,
            0.1,
            &mut add,
        );
        odd(
            FaultId::WrongQuantityEntered,
            self.prior.wrong_quantity,
            Twist::WrongEntry,
            true,
            0.0,
            0.1,
            &mut add,
        );
        odd(
            FaultId::WrongStrength,
            self.prior.wrong_strength,
            Twist::WrongStrength,
            false,
            differs,
            0.25,
            &mut add,
        );

        // a refill that nobody wrote down
        let share = self.prior.refill_unwritten.max(1e-12).ln();
        for (onset, weight) in self.onsets(true) {
            if onset == 0 || onset >= n {
                continue;
            }
            for early in [true, false] {
                for told in [true, false] {
                    for full in [true, false] {
                        let Some(before) = shots.get(onset) else { continue };
                        let gs = self.with_hidden_refill(before.clone(), onset, early, told, full);
                        let odds = 0.25 * if full { 0.6 } else { 0.4 };
                        add(FaultId::RefillNotWrittenDown, share + weight.ln() + f64::ln(odds), gs);
                    }
                }
            }
        }
        parts
    }

    /// Kinds of lasting change: whether its beginning is spread by distance (else by days), prior and nodes.
    #[allow(clippy::type_complexity)]
    fn changes(&self) -> [(bool, FaultId, f64, &'static [(Change, f64)]); 4] {
        use Change::{Dose, Leak, Recognised};
        // Nodes cover the whole range that counts as the fault; their weights are guesses.
        const UNDER: &[(Change, f64)] = &[
            (Dose { mean: 0.08, sd: 0.08 }, 0.15),
            (Dose { mean: 0.28, sd: 0.08 }, 0.22),
            (Dose { mean: 0.46, sd: 0.08 }, 0.30),
            (Dose { mean: 0.63, sd: 0.07 }, 0.33),
        ];
        const OVER: &[(Change, f64)] = &[
            (Dose { mean: 1.40, sd: 0.09 }, 0.40),
            (Dose { mean: 1.65, sd: 0.12 }, 0.32),
            (Dose { mean: 2.05, sd: 0.20 }, 0.20),
            (Dose { mean: 2.8, sd: 0.40 }, 0.08),
        ];
        const LEAKS: &[(Change, f64)] = &[
            (Leak { mean: 0.0015, sd: 0.0005 }, 0.12),
            (Leak { mean: 0.003, sd: 0.001 }, 0.20),
            (Leak { mean: 0.006, sd: 0.002 }, 0.25),
            (Leak { mean: 0.012, sd: 0.004 }, 0.22),
            (Leak { mean: 0.025, sd: 0.008 }, 0.13),
            (Leak { mean: 0.06, sd: 0.02 }, 0.08),
        ];
        const MISSED: &[(Change, f64)] = &[
            (Recognised { mean: 0.03, sd: 0.04 }, 0.35),
            (Recognised { mean: 0.25, sd: 0.10 }, 0.25),
            (Recognised { mean: 0.50, sd: 0.10 }, 0.25),
            (Recognised { mean: 0.70, sd: 0.08 }, 0.15),
        ];
        [
            (true, FaultId::AdditiveUnderDosed, self.prior.under_dosed, UNDER),
            (true, FaultId::AdditiveOverDosed, self.prior.over_dosed, OVER),
            (false, FaultId::AdditiveLeak, self.prior.leak, LEAKS),
            (true, FaultId::RefuellingNotRecognised, self.prior.refuelling_not_recognised, MISSED),
        ]
    }

    /// Beginnings: 0 = before the story, i = in the interval that ends at step i; weights add up to 1.
    fn onsets(&self, by_km: bool) -> Vec<(usize, f64)> {
        // Long histories get fewer beginnings each, so that the time stays in bounds.
        let most = (300 / self.story.steps.len().max(1)).clamp(3, 10);
        let before = self.prior.before_story.clamp(0.01, 0.99);
        let mut lengths: Vec<(usize, f64)> = (self.story.begin + 1..self.story.steps.len())
            .map(|i| {
                let (km, days) = self.interval(i);
                (i, if by_km { km } else { days })
            })
            .filter(|(_, l)| *l > 0.0)
            .collect();
        if lengths.len() > most {
            // The longest intervals stand for all; a tie goes to the later one.
            lengths.sort_by(|a, b| b.1.total_cmp(&a.1).then(b.0.cmp(&a.0)));
            lengths.truncate(most);
            lengths.sort_by_key(|l| l.0);
        }
        let total: f64 = lengths.iter().map(|l| l.1).sum();
        if total <= 0.0 {
            return vec![(0, 1.0)];
        }
        let mut out = vec![(0, before)];
        out.extend(lengths.into_iter().map(|(i, l)| (i, (1.0 - before) * l / total)));
        out
    }

    fn switch(&self, g: &mut Gauss, change: Change) {
        match change {
            Change::Dose { mean, sd } => g.set(DOSE, mean, sd * sd),
            Change::Leak { mean, sd } => g.set(LEAK, mean, sd * sd),
            Change::Recognised { mean, sd } => g.set(RECOGNISED, mean, sd * sd),
        }
    }

    /// A lasting change that begins somewhere in one of the `places` equal parts of the interval ending at step
    /// `onset` (0: before the story), the parts numbered from 0.
    fn with_change(
        &self,
        mut gs: Vec<Gauss>,
        onset: usize,
        change: Change,
        (place, places): (usize, usize),
    ) -> Vec<Gauss> {
        if onset == 0 {
            for g in &mut gs {
                self.switch(g, change);
            }
            return self.run(gs, 0, None);
        }
        let (km, days) = self.interval(onset);
        let before = (place as f64 + 0.5) / places as f64;
        self.drive(&mut gs, before * km, before * days, true);
        for g in &mut gs {
            self.switch(g, change);
        }
        self.drive(&mut gs, (1.0 - before) * km, (1.0 - before) * days, true);
        // The beginning is spread evenly over its part: 0.29 of it (standard deviation of an even spread).
        let (km, days) = (km / places as f64, days / places as f64);
        let additive = self.k.set_dose.0 * self.k.fuel_l_per_km.0 * km * 0.29;
        for g in gs.iter_mut().filter(|g| !g.dry) {
            match change {
                Change::Dose { mean, .. } => g.noise(CONTENT, (additive * (mean - 1.0)).powi(2)),
                Change::Leak { mean, .. } => g.noise(CONTENT, (days * 0.29 * mean).powi(2)),
                Change::Recognised { mean, .. } => {
                    g.set(SCRATCH, 0.0, (additive * (1.0 - mean)).powi(2));
                    for (i, sign) in [(CONTENT, 1.0), (USED, -1.0), (LEFT, 1.0), (COUNTED, -1.0)] {
                        g.add(i, 0.0, &[(SCRATCH, sign)]);
                    }
                }
            }
        }
        self.finish(gs, onset)
    }

    /// The step at the end of interval `at` and all after it.
    fn finish(&self, mut gs: Vec<Gauss>, at: usize) -> Vec<Gauss> {
        if let Some(s) = self.story.steps.get(at) {
            self.step(&mut gs, s, |_| Twist::Plain);
        }
        self.run(gs, at + 1, None)
    }

    /// Odometer of the last reset before the first reading of the controller's distance since the fill at step `at` or
    /// later, by that reading; `None` when a fill comes before it.
    fn said_place(&self, at: usize) -> Option<f64> {
        for s in self.story.steps.get(at..)? {
            let said = s.looks.iter().find_map(|l| match l {
                Look::Counter { distance_km: Some(d), .. } => Some(s.odometer_km - d),
                _ => None,
            });
            if said.is_some() || !s.fills.is_empty() {
                return said;
            }
        }
        None
    }

    /// Distance from a place to the first reading of the controller's distance at step `at` or later, km.
    fn since_said(&self, at: usize, place: f64) -> f64 {
        let reads =
            |s: &&Step| s.looks.iter().any(|l| matches!(l, Look::Counter { distance_km: Some(_), .. }));
        let read = self.story.steps.iter().skip(at).find(reads);
        read.map_or(0.0, |s| (s.odometer_km - place).max(0.0))
    }

    fn with_hidden_refill(
        &self,
        mut gs: Vec<Gauss>,
        at: usize,
        early: bool,
        told: bool,
        full: bool,
    ) -> Vec<Gauss> {
        let cap = self.cap();
        let (km, days) = self.interval(at);
        let start = self.story.steps.get(at.wrapping_sub(1)).map_or(0.0, |s| s.odometer_km);
        // The controller's distance since the fill, where it was told and somebody read it, says where it was: then one
        // place stands for both halves of the interval.
        let said = if told { self.said_place(at).filter(|p| (start..=start + km).contains(p)) } else { None };
        let share = match said {
            Some(place) if km > 0.0 => (place - start) / km,
            _ if early => 0.25,
            _ => 0.75,
        };
        let spread = if said.is_some() { 0.01 } else { 0.144 };
        let place = start + share * km;
        self.drive(&mut gs, share * km, share * days, true);
        for g in &mut gs {
            g.dry = false;
            if full {
                g.assign(CONTENT, 0.0, &[(CAPACITY, 1.0)]);
                g.noise(CONTENT, (0.04 * cap).powi(2));
                g.assign(POURED, 0.0, &[(CONTENT, 1.0)]);
                g.set(BURNT, 0.0, 0.0);
                g.set(COUNTED, 0.0, 0.0);
            } else {
                g.set(SCRATCH, 0.45 * cap, (0.22 * cap).powi(2));
                g.add(CONTENT, 0.0, &[(SCRATCH, 1.0)]);
                g.add(POURED, 0.0, &[(SCRATCH, 1.0)]);
                // the amount was free to fit in: no evidence in that it did
                let w = g.log_weight;
                g.keep_above(&[(CONTENT, -1.0), (CAPACITY, 1.0)], -0.04 * cap);
                g.log_weight = w;
            }
            if told {
                g.set(USED, 0.0, 1e-8);
                g.assign(LEFT, 0.0, &[(CONTENT, 1.0)]);
                g.noise(LEFT, (0.05 * cap).powi(2));
                g.reset_at_km = Some(place);
                if said.is_some() {
                    // it may have been anywhere in the interval, and the figure was free to fit
                    let since = self.since_said(at, place);
                    let width = (DISTANCE_SD_KM + 0.01 * since) * std::f64::consts::TAU.sqrt();
                    g.log_weight += (width / km.max(width)).ln();
                }
            }
            if full || told {
                // where in its half it was: standard deviation 0.144 of the interval
                let rate = self.k.fuel_l_per_km.0 * spread * km;
                g.set(SCRATCH, 0.0, rate * rate);
                let d = self.k.set_dose.0;
                if full {
                    g.add(CONTENT, 0.0, &[(SCRATCH, -d)]);
                    g.add(BURNT, 0.0, &[(SCRATCH, 1.0)]);
                    g.add(COUNTED, 0.0, &[(SCRATCH, d)]);
                }
                if told {
                    g.add(USED, 0.0, &[(SCRATCH, d)]);
                    g.add(LEFT, 0.0, &[(SCRATCH, -d)]);
                }
            }
        }
        self.drive(&mut gs, (1.0 - share) * km, (1.0 - share) * days, true);
        self.finish(gs, at)
    }
}

/// Log evidence of a list of components.
pub(super) fn evidence<'a>(gs: impl Iterator<Item = &'a Gauss>) -> f64 {
    gs.fold(f64::NEG_INFINITY, |a, g| log_add(a, g.log_weight))
}
