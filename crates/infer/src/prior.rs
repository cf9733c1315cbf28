//! Priors of everything nobody can see, from what the case says and from the published spreads; wide
//! where the literature is wide. A missing fact shows here as a wide spread and nowhere else.

use crate::burns;
use crate::carried::Carried;
use crate::conditions::{Conditions, FlowSource};
use crate::hypothesis::{AshMode, EngineMode, SootMode};
use crate::quasi::{Mixture, normal_probability};
use crate::scenario;
use crate::typed::canonical;
use facts::case::{Case, Category, Channels, Material, Plumbing, Quantity, RegenerationEnd, ReservoirKind};
use wallflow::geometry::{Cells, Geometry, round_face};

/// Coordinates of one sample. All but [`coordinate::PLUG`] are logarithms or plain Gaussians.
pub mod coordinate {
    /// ln soot load, g/L.
    pub const SOOT: usize = 0;
    /// ln ash load, g/L.
    pub const ASH: usize = 1;
    /// Logit of the share of ash in the rear plug.
    pub const PLUG: usize = 2;
    /// ln wall permeability, m2.
    pub const WALL: usize = 3;
    /// Wall loading, standard normal (see `loaded_ratio`).
    pub const LOADED: usize = 4;
    /// ln soot product rho k, kg/m.
    pub const CAKE: usize = 5;
    /// ln effective pore of the cake, m.
    pub const SLIP: usize = 6;
    /// ln ash permeability, m2.
    pub const ASH_LAYER: usize = 7;
    /// ln of true over assumed exhaust flow.
    pub const FLOW: usize = 8;
    /// True minus assumed gas temperature, K.
    pub const HEAT: usize = 9;
    /// ln of filter volume over its median.
    pub const VOLUME: usize = 10;
    /// Cell geometry where it is not given, standard normal.
    pub const CELLS: usize = 11;
    /// Cones and pipe between the taps, ln kPa at the standard condition.
    pub const CONES: usize = 12;
    /// ln sensor gain.
    pub const GAIN: usize = 13;
    /// ln soot load at which the wall has filled to 1 - 1/e, g/L.
    pub const FILLING: usize = 14;
    /// Count.
    pub const COUNT: usize = 15;
}
use coordinate as at;

/// Log-normal by median and standard deviation of the logarithm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogNormal {
    /// Median.
    pub median: f64,
    /// Standard deviation of the logarithm.
    pub sd: f64,
}

impl LogNormal {
    pub(crate) const fn new(median: f64, sd: f64) -> Self {
        Self { median, sd }
    }
    /// Probability of more than `x`.
    fn above(self, x: f64) -> f64 {
        1.0 - normal_probability((x / self.median).ln() / self.sd)
    }
    fn mean(self) -> f64 {
        self.median * (self.sd * self.sd / 2.0).exp()
    }
    fn variance(self) -> f64 {
        ((self.sd * self.sd).exp() - 1.0) * self.mean().powi(2)
    }
    /// Two independent views of one figure, by the precision of their logarithms.
    pub(crate) fn with(self, o: Self) -> Self {
        let (a, b) = (self.sd.powi(-2), o.sd.powi(-2));
        let mean = (a * self.median.ln() + b * o.median.ln()) / (a + b);
        Self::new(mean.exp(), (a + b).powf(-0.5))
    }
    fn times(self, o: Self) -> Self {
        Self::new(self.median * o.median, self.sd.hypot(o.sd))
    }
    /// Sum of independent log-normals by moments (Fenton 1960).
    fn plus(self, o: Self) -> Self {
        let (m, v) = (self.mean() + o.mean(), self.variance() + o.variance());
        let s2 = (1.0 + v / (m * m)).ln();
        Self::new(m / (s2 / 2.0).exp(), s2.sqrt())
    }
}

/// A complete burn leaves less than 1 g/L, often hardly anything (trade reference 3.3).
pub(crate) const AFTER_A_BURN: LogNormal = LogNormal::new(0.25, 1.0);

/// Spread of the zero of a sound sensor, kPa. Workshop guides accept 0.5 to 2 kPa with the engine off as
/// good enough (trade reference 3.1); a sensor in order lies well inside.
pub const ZERO_SD: f64 = 0.15;

/// Everything the estimator needs from the case before it looks at pressure.
#[derive(Debug, Clone)]
pub struct Priors {
    /// Mixtures of the coordinates that no hypothesis changes; `None` for those that one does.
    pub common: [Mixture; at::COUNT],
    /// Heavy vehicle (M2, M3, N2, N3)?
    pub heavy: bool,
    /// Volume median, m3.
    pub volume: f64,
    /// Geometry where all of it is given.
    pub geometry: Option<Geometry>,
    /// Cells where given.
    pub cells: Option<(f64, f64)>,
    /// Length over diameter, for volume-only filters.
    pub length: f64,
    /// Channel width ratio.
    pub ratio: f64,
    /// Ambient pressure, Pa.
    pub ambient_pa: f64,
    /// Probability that the low side of the sensor is open to the surroundings.
    pub one_hose: f64,
    /// Distance since the last complete regeneration, km, with its relative spread.
    pub since_km: Option<(f64, f64)>,
    /// Last regeneration known to have ended early?
    pub ended_early: Option<bool>,
    /// Mean distance between regenerations, km.
    pub between_km: Option<f64>,
    /// Controller's soot figure as (g/L, standard deviation).
    pub controller_soot: Option<(f64, f64)>,
    /// Controller's ash figure as (g/L, standard deviation).
    pub controller_ash: Option<(f64, f64)>,
    /// Signs of short trips: logarithm of the likelihood ratio for `ShortTrips`.
    pub short_trips: f64,
    /// Ash by distance.
    pub ash: LogNormal,
    /// Growth of ash, g per 1000 km.
    pub ash_growth: LogNormal,
    /// Odometer from which facts about the present filter state hold, km.
    pub state_since_km: f64,
    /// Zero of a sensor in order, kPa: mean and standard deviation.
    pub zero: (f64, f64),
    /// Soot laid down, g/L per km, and what the last burn left, g/L, where earlier visits told them.
    pub soot_rate: Option<LogNormal>,
    /// See [`Priors::soot_rate`].
    pub soot_left: Option<LogNormal>,
    /// What earlier visits of the car's life told, with what belongs together.
    pub carried: Option<Box<Carried>>,
}

/// The controller's own view of the soot on the bus as (g/L, standard deviation): a percentage of a limit
/// that only the maker knows (4 to 9 g/L), or the share of the way to its next regeneration (started at 3
/// to 6 g/L; trade reference 3.3). It stands for the controller's model, not for soot (vehicle bus
/// reference 3.2), so it is wide.
fn bus_soot(conditions: &[&Conditions]) -> Option<(f64, f64)> {
    conditions.iter().find_map(|c| {
        let soot = c.controller_soot_percent.map(|p| (p / 100.0 * 6.5, 0.5));
        // A burn in progress or just over leaves the trigger where it was or at zero: it says nothing then.
        let trigger = c.trigger_percent.filter(|_| c.burn().is_none()).map(|p| (p / 100.0 * 4.5, 0.45));
        soot.or(trigger).map(|(v, relative)| (v, f64::hypot(1.4, relative * v)))
    })
}

/// Whether the vehicle is built like a truck or bus, by its category, or where that is not told by its size: light
/// vehicles end at 3.5 t; their engines seldom pass 4.2 L, their filters 6 L, their use 17 L/100 km (common
/// practice).
#[must_use]
pub fn is_heavy(case: &Case) -> bool {
    let above = |v: Option<f64>, limit: f64| v.is_some_and(|v| v > limit);
    match case.car.category {
        Some(c) => matches!(c, Category::M2 | Category::M3 | Category::N2 | Category::N3),
        None => {
            above(case.car.displacement_l, 4.5)
                || above(case.car.mass_kg, 3600.0)
                || above(case.filter.volume_l, 8.0)
                || above(case.car.consumption_l_per_100km, 18.0)
        }
    }
}

fn find(case: &Case, q: Quantity) -> impl Iterator<Item = (f64, &facts::case::Reading)> {
    case.reading.iter().filter(move |r| r.quantity == q).filter_map(|r| Some((canonical(r)?.0, r)))
}

impl Priors {
    /// From the case and, where there are recordings, what they say of flow source and surroundings.
    #[must_use]
    #[allow(clippy::too_many_lines)]
    pub fn new(case: &Case, conditions: &[&Conditions], flow_guessed: bool) -> Self {
        let heavy = is_heavy(case);
        let odometer = case.car.odometer_km.or_else(|| conditions.iter().find_map(|c| c.odometer_km));

        // Volume and shape.
        let face =
            match (case.filter.diameter_mm, case.filter.oval_long_axis_mm, case.filter.oval_short_axis_mm) {
                (Some(d), _, _) => Some(round_face(d / 1000.0)),
                (None, Some(a), Some(b)) => Some(std::f64::consts::FRAC_PI_4 * a * b / 1e6),
                _ => None,
            };
        let length_given = case.filter.length_mm.map(|l| l / 1000.0);
        let (volume, volume_sd) = match (face, length_given, case.filter.volume_l) {
            (Some(f), Some(l), _) => (f * l, 0.01),
            (_, _, Some(v)) => (v / 1000.0, 0.02),
            // Filters of cars are built at 1.2 to 2.2 times the displacement (common practice).
            _ => match case.car.displacement_l {
                Some(d) => (d * 1.65 / 1000.0, 0.25),
                None if heavy => (14e-3, 0.45),
                None => (3e-3, 0.35),
            },
        };
        let length = length_given.unwrap_or_else(|| face.map_or((volume / 0.9).cbrt() * 1.1, |f| volume / f));
        let cells = case.filter.cell_density_cpsi.zip(case.filter.wall_thickness_mm.map(|w| w / 1000.0));
        let ratio = match (case.filter.channels, case.filter.channel_width_ratio) {
            (_, Some(r)) => r,
            (Some(Channels::InletWide), None) => 1.25,
            _ => 1.0,
        };
        let geometry = cells.and_then(|c| build_geometry(c, ratio, volume, length));

        // Substrate and deposits: spreads of the measured tables (physics reference 2.7, 2.8).
        let (wall, wall_sd) = match case.filter.material {
            Some(Material::Cordierite) => (4.0e-13, 0.45),
            Some(Material::SiliconCarbide) => (9.0e-13, 0.55),
            Some(Material::AluminiumTitanate) => (5.5e-13, 0.5),
            None => (6.0e-13, 0.7),
        };
        // Two light-duty filters near 3.3e-12, four heavy ones near 1.6e-12, one laboratory: each group is
        // drawn towards the pooled 1.9e-12 and kept wide.
        let (cake, cake_sd) = if heavy { (1.7e-12, 0.45) } else { (2.6e-12, 0.47) };
        let mut common = std::array::from_fn(|_| Mixture::normal(0.0, 1.0));
        common[at::PLUG] = Mixture::normal(0.3, 0.9);
        // Few filters, few laboratories: one filter in five may lie well outside the published spread.
        let tailed = |m: f64, sd: f64| Mixture::of(vec![(0.8, m, sd), (0.2, m, 1.9 * sd)]);
        common[at::WALL] = tailed(f64::ln(wall), wall_sd);
        common[at::LOADED] = tailed(0.0, 1.0);
        // The jump is usually quoted to be over at 0.2 to 1 g/L; four coarse walls took 1.1 to 2.1 (physics
        // reference 2.6), three times this constant.
        common[at::FILLING] = Mixture::normal(f64::ln(0.45), 0.65);
        common[at::CAKE] = tailed(f64::ln(cake), cake_sd);
        common[at::SLIP] = Mixture::normal(f64::ln(150e-9), 0.5);
        common[at::ASH_LAYER] = tailed(f64::ln(6e-14), 0.5);
        common[at::VOLUME] = Mixture::normal(0.0, volume_sd);
        // One velocity head in the pipe is about 0.25 kPa at the standard flow; one to four of them lie
        // between the taps (physics reference 2.3: vehicle constant, to be fitted).
        common[at::CONES] = Mixture::normal(f64::ln(0.45), 0.8);
        common[at::GAIN] = Mixture::normal(0.0, 0.035);

        let source = conditions.iter().find_map(|c| c.flow_source);
        let flow_sd = match (source, flow_guessed) {
            (Some(FlowSource::Exhaust | FlowSource::AirMeter), _) => 0.045,
            (Some(FlowSource::SpeedDensity), _) => 0.13,
            (None, false) => 0.05,
            (None, true) if case.car.displacement_l.is_some() => 0.15,
            (None, true) => 0.35,
        };
        // A flow guessed from engine size misses by a third now and then: boost and EGR are not known.
        common[at::FLOW] = if flow_sd > 0.1 { tailed(0.0, flow_sd) } else { Mixture::normal(0.0, flow_sd) };
        let heat_sd = match conditions.first().map(|c| c.filter_sensors) {
            Some(2..) => 9.0,
            Some(1) => 20.0,
            Some(0) => 60.0,
            None => 12.0,
        };
        common[at::HEAT] = Mixture::normal(0.0, heat_sd);

        let ambient_pa = case
            .ambient
            .pressure_kpa
            .or_else(|| conditions.iter().find_map(|c| c.barometer_kpa))
            .or_else(|| case.ambient.altitude_m.map(|h| 101.3 * (1.0 - 2.2558e-5 * h).powf(5.2559)))
            .map_or(100_000.0, |k| k * 1000.0);
        let one_hose = match case.sensor.plumbing {
            Some(Plumbing::TwoHoses) => 0.0,
            Some(Plumbing::OneHose) => 1.0,
            _ => 0.3,
        };

        // Life.
        let latest = |rows: &mut dyn Iterator<Item = Option<f64>>| {
            rows.flatten()
                .filter(|o| o.is_finite())
                .fold(None, |m: Option<f64>, o| Some(m.map_or(o, |x| x.max(o))))
        };
        let complete = latest(&mut case.regeneration.iter().filter_map(|r| {
            matches!(r.controller_says, Some(RegenerationEnd::Complete)).then_some(r.odometer_km)
        }));
        let typed_since = find(case, Quantity::DistanceSinceRegeneration).last();
        let cleaned = latest(
            &mut case
                .filter_cleaned
                .iter()
                .map(|r| r.odometer_km)
                .chain(std::iter::once(case.filter.cleaned_odometer_km)),
        );
        let fitted = latest(
            &mut case
                .filter_replaced
                .iter()
                .map(|r| r.odometer_km)
                .chain(std::iter::once(case.filter.fitted_odometer_km)),
        );
        let reset = latest(&mut [cleaned, fitted].into_iter());
        let mut since_km = typed_since
            .map(|(d, r)| {
                let past = odometer.zip(r.odometer_km).map_or(0.0, |(now, then)| (now - then).max(0.0));
                (d + past, 0.05)
            })
            .or_else(|| odometer.zip(complete).map(|(now, then)| ((now - then).max(0.0), 0.03)));
        // A burn inside the recording is the newest fact of all.
        let burn = conditions.iter().find_map(|c| burns::last_reported(c, scenario::doped(case)));
        let mut seen_early = None;
        if let Some(end) = burn {
            if end.emptied() {
                since_km = Some((5.0, 0.6));
            }
            seen_early = Some(!end.emptied());
        }
        if let (None, Some(now), Some(at_km)) = (burn, odometer, reset) {
            // Cleaning or a new filter also starts the soot anew.
            let d = (now - at_km).max(0.0);
            if since_km.is_none_or(|(s, _)| d < s) {
                since_km = Some((d, 0.03));
            }
        }
        let between_km = find(case, Quantity::MeanDistanceBetweenRegenerations)
            .last()
            .map(|x| x.0)
            .or_else(|| conditions.iter().find_map(|c| c.mean_regeneration_km))
            .filter(|&k| k > 5.0);
        let ended_early = case
            .regeneration
            .iter()
            .max_by(|a, b| a.odometer_km.unwrap_or(f64::MAX).total_cmp(&b.odometer_km.unwrap_or(f64::MAX)))
            .and_then(|r| match r.controller_says {
                Some(RegenerationEnd::Complete) => Some(false),
                Some(RegenerationEnd::Partial | RegenerationEnd::Aborted) => Some(true),
                _ => None,
            });

        let ended_early = seen_early.or(ended_early);

        let volume_l = volume * 1000.0;
        let figure = |q: Quantity, full_scale: f64, relative: f64, floor: f64| {
            find(case, q).last().map(|(v, r)| {
                let (v, relative) = match r.unit.trim() {
                    "g" => (v / volume_l, relative.hypot(volume_sd)),
                    // A percentage refers to a limit that only the maker knows.
                    "%" => (v / 100.0 * full_scale, relative.hypot(0.3)),
                    _ => (v, relative),
                };
                (v, (floor * floor + (relative * v).powi(2)).sqrt())
            })
        };
        // The controller's figure was read before or during a burn that the recording shows: it is over.
        let typed = if burn.is_some() { None } else { figure(Quantity::ControllerSoot, 7.0, 0.4, 1.3) };
        let controller_soot = typed.or_else(|| bus_soot(conditions));
        let controller_ash = figure(Quantity::ControllerAsh, 50.0, 0.4, 4.0);

        let ash = ash_load(case, odometer, cleaned, fitted, volume_l, heavy);

        let mut short_trips = 0.0;
        if let Some(km) = case.car.usual_trip_km {
            // An engine is warm after some ten kilometres; below that no regeneration gets under way.
            short_trips += (1.5 * (12.0 / km.max(0.5)).ln()).clamp(-2.3, 1.5);
        }
        if let (Some((d, _)), Some(m)) = (since_km, between_km) {
            short_trips += (2.0 * (d / m - 1.0)).clamp(-1.0, 1.5);
        }
        let counted: (u32, u32) = case
            .regeneration_count
            .iter()
            .fold((0, 0), |s, r| (s.0 + r.completed.unwrap_or(0), s.1 + r.aborted.unwrap_or(0)));
        if counted.0 + counted.1 >= 4 {
            let share = f64::from(counted.1) / f64::from(counted.0 + counted.1);
            short_trips += (4.0 * (share - 0.25)).clamp(-0.8, 1.5);
        }

        let state_since_km = latest(&mut case.regeneration.iter().map(|r| r.odometer_km).chain([reset]))
            .unwrap_or(f64::NEG_INFINITY);
        Self {
            common,
            heavy,
            volume,
            geometry,
            cells,
            length,
            ratio,
            ambient_pa,
            one_hose,
            since_km,
            ended_early,
            between_km,
            controller_soot,
            controller_ash,
            short_trips,
            ash,
            ash_growth: ash_growth(case, heavy),
            state_since_km,
            zero: (0.0, ZERO_SD),
            soot_rate: None,
            soot_left: None,
            carried: None,
        }
    }

    /// Soot laid down, g/L per km, before any visit told it.
    pub(crate) fn usual_soot_rate(&self) -> LogNormal {
        // A car that regenerates every 300 to 1000 km at 3 to 6 g/L lays down about 9 mg/L a kilometre;
        // trucks burn much of theirs passively (trade reference 3.3, from memory).
        match (self.between_km, self.heavy) {
            (Some(km), _) => LogNormal::new(4.2 / km.max(30.0), 0.45),
            (None, false) => LogNormal::new(0.009, 0.55),
            (None, true) => LogNormal::new(0.0025, 0.9),
        }
    }

    /// Mean and spread of ln soot load of a car of which nothing is wrong.
    pub(crate) fn usual_soot(&self) -> (f64, f64) {
        let of = self.soot(SootMode::Usual, EngineMode::Sound, false);
        of.parts().first().map_or((0.0, 1.0), |p| (p.1, p.2))
    }

    /// Mean and spread of ln ash load by distance.
    pub(crate) fn usual_ash(&self) -> (f64, f64) {
        self.ash_load(AshMode::ByDistance).parts().first().map_or((0.0, 1.0), |p| (p.1, p.2))
    }

    /// Distance over which the soot gathered, km.
    pub(crate) fn soot_distance(&self) -> LogNormal {
        match self.since_km {
            Some((km, sd)) => LogNormal::new(km.max(3.0), sd),
            None => {
                let usual = self.between_km.unwrap_or(if self.heavy { 1500.0 } else { 450.0 });
                LogNormal::new(usual * 0.55, 0.8)
            }
        }
    }

    /// Soot load of a mechanism, g/L. `undoped` raises what an additive system would have burnt.
    #[must_use]
    pub fn soot(&self, soot: SootMode, engine: EngineMode, undoped: bool) -> Mixture {
        if soot == SootMode::Misled {
            let part = |m, w: f64| {
                let of = self.soot(m, engine, undoped);
                of.parts().iter().map(|&(v, a, s)| (w * v, a, s)).collect::<Vec<_>>()
            };
            let mut parts = part(SootMode::Usual, 0.5);
            parts.extend(part(SootMode::ShortTrips, 0.3));
            parts.extend(part(SootMode::Incomplete, 0.2));
            return Mixture::of(parts);
        }
        let mut rate = self.soot_rate.unwrap_or_else(|| self.usual_soot_rate());
        let more = match engine {
            EngineMode::EgrOpen | EngineMode::Sooting => LogNormal::new(1.7, 0.25),
            EngineMode::BoostLeak => LogNormal::new(1.5, 0.25),
            EngineMode::Cold => LogNormal::new(1.3, 0.2),
            _ => LogNormal::new(1.0, 0.0),
        };
        rate = rate.times(more);
        if soot == SootMode::ShortTrips {
            rate = rate.times(LogNormal::new(1.6, 0.25));
        }
        if undoped {
            rate = rate.times(LogNormal::new(1.2, 0.2));
        }
        let distance = self.soot_distance();
        let left = match soot {
            SootMode::Incomplete => LogNormal::new(3.0, 0.5),
            SootMode::ShortTrips => LogNormal::new(0.8, 0.8),
            _ => self.soot_left.unwrap_or(AFTER_A_BURN),
        };
        let sum = left.plus(rate.times(distance));
        // Controllers start a burn, and passive oxidation grows, long before the channels are full.
        let cap = |m: f64| if m > 5.0 { 5.0 + (1.0 + (m - 5.0) / 4.0).ln() * 4.0 } else { m };
        let mut parts = vec![(0.9, cap(sum.median).max(0.05).ln(), sum.sd.clamp(0.25, 0.9))];
        // How far the load can have come since the last complete burn; unknown distance = any.
        let room = self.since_km.map_or(1.0, |(km, _)| (km / 150.0).clamp(0.02, 1.0));
        if soot == SootMode::ShortTrips && room > 0.5 {
            parts[0].1 = parts[0].1.max(f64::ln(4.0));
            parts.push((0.6, f64::ln(7.0), 0.35));
        }
        // Whatever the book-keeping says, some cars have burnt or collected unseen.
        parts.push((0.1, f64::ln(0.5 + 2.5 * room), 0.9));
        Mixture::of(parts)
    }

    /// Ash load of a mechanism, g/L.
    #[must_use]
    pub fn ash_load(&self, ash: AshMode) -> Mixture {
        let by_distance = (self.ash.median.max(0.05).ln(), self.ash.sd.clamp(0.2, 1.4));
        match ash {
            AshMode::ByDistance => Mixture::normal(by_distance.0, by_distance.1),
            AshMode::Fast => Mixture::normal(by_distance.0 + 0.45, by_distance.1.hypot(0.25)),
            AshMode::Full => {
                Mixture::normal(f64::max(f64::ln(55.0), by_distance.0 + 0.2).min(f64::ln(90.0)), 0.28)
            }
        }
    }

    /// How much likelier than a car of unknown distance this one carries so much ash that its filter is due, by
    /// the distance since it was new or cleaned: ash only comes with distance, oil and additive. Due counts from
    /// 45 g/L, the middle of what makers name (30 to 60 g/L; trade reference 5.3). One case in twenty is full for
    /// reasons that no distance tells (an oil leak, a cleaning that was none; expert guess).
    #[must_use]
    pub fn full_of_ash(&self) -> f64 {
        const DUE_G_PER_L: f64 = 45.0;
        const UNTOLD: f64 = 0.05;
        let unknown = self
            .ash_growth
            .times(LogNormal::new(if self.heavy { 250.0 } else { 110.0 }, 0.7))
            .times(LogNormal::new(1e-3 / self.volume, 0.02));
        let due = |ash: LogNormal| ash.above(DUE_G_PER_L) + UNTOLD;
        due(self.ash) / due(unknown)
    }

    /// Flow factor of a mechanism; `seen` = what the air ratio says of the meter (ln, standard deviation).
    #[must_use]
    pub fn flow(&self, engine: EngineMode, seen: Option<(f64, f64)>) -> Mixture {
        let base = self.common[at::FLOW].parts()[0].2;
        match (engine, seen) {
            (EngineMode::MeterDrift, Some((shown_high, sd))) => {
                Mixture::of(vec![(0.7, -shown_high, sd.hypot(0.05)), (0.15, -0.17, 0.08), (0.15, 0.17, 0.08)])
            }
            (EngineMode::MeterDrift, None) => Mixture::of(vec![(0.5, -0.17, 0.08), (0.5, 0.17, 0.08)]),
            (EngineMode::BoostLeak, _) => Mixture::normal(-0.08, base.hypot(0.05)),
            _ => self.common[at::FLOW].clone(),
        }
    }

    /// Temperature error of a mechanism, K.
    #[must_use]
    pub fn heat(&self, engine: EngineMode) -> Mixture {
        let base = self.common[at::HEAT].parts()[0].2;
        match engine {
            EngineMode::TemperatureSensor => {
                Mixture::of(vec![(0.5, -40.0, base.hypot(25.0)), (0.5, 40.0, base.hypot(25.0))])
            }
            _ => self.common[at::HEAT].clone(),
        }
    }

    /// Wall loading ratio from its standard normal: light-duty walls often show no jump, heavy-duty ones
    /// a factor 2.4 to 7 (physics reference 2.6, 2.7).
    #[must_use]
    pub fn loaded_ratio(&self, z: f64) -> f64 {
        let (m, s) = if self.heavy { (1.0, 0.55) } else { (0.3, 0.5) };
        (m + s * z).clamp(0.0, 2.3).exp()
    }

    /// The geometry of a sample.
    #[must_use]
    pub fn geometry_of(&self, x: &[f64; at::COUNT]) -> Option<Geometry> {
        if let Some(g) = self.geometry {
            return Some(g);
        }
        // Common cell formats (cpsi, wall in mm) from coarse to fine, `common practice`.
        let z = x[at::CELLS];
        let cells = self.cells.unwrap_or((200.0 * (0.22 * z).exp(), 0.33e-3 * (-0.12 * z).exp()));
        build_geometry(cells, self.ratio, self.volume * x[at::VOLUME].exp(), self.length)
    }
}

fn build_geometry(cells: (f64, f64), ratio: f64, volume: f64, length: f64) -> Option<Geometry> {
    let per_area = wallflow::geometry::cells_from_cpsi(cells.0);
    let c = if (ratio - 1.0).abs() < 1e-3 {
        Cells::symmetric(per_area, cells.1).ok()?
    } else {
        Cells::inlet_wide(per_area, cells.1, ratio).ok()?
    };
    Geometry::from_volume(c, volume, length).ok()
}

/// Oxide per metal by mass (from atomic masses): Ce 1.228, Fe 1.430; others near 1.3.
fn oxide_ratio(case: &Case) -> f64 {
    let of = |s: &str| match s {
        "Ce" => 1.228,
        "Fe" => 1.430,
        "Pt" => 1.0,
        _ => 1.3,
    };
    let m = &case.reservoir.metals;
    if m.is_empty() {
        return 1.3;
    }
    let total: f64 = m.iter().map(|x| x.mass_share.unwrap_or(1.0)).sum();
    m.iter().map(|x| x.mass_share.unwrap_or(1.0) * of(&x.symbol)).sum::<f64>() / total.max(1e-9)
}

fn ash_load(
    case: &Case,
    odometer: Option<f64>,
    cleaned: Option<f64>,
    fitted: Option<f64>,
    volume_l: f64,
    heavy: bool,
) -> LogNormal {
    let from = match (cleaned, fitted) {
        (Some(c), Some(f)) => Some(c.max(f)),
        (c, f) => c.or(f),
    };
    let distance = match (odometer, from) {
        (Some(now), Some(then)) => LogNormal::new((now - then).max(100.0), 0.02),
        // Most filters are as old as the car, some were changed.
        (Some(now), None) => LogNormal::new((now * 0.75).max(100.0), 0.5),
        _ => LogNormal::new(if heavy { 250e3 } else { 110e3 }, 0.7),
    };
    let mass = ash_growth(case, heavy).times(distance).times(LogNormal::new(1e-3, 0.0));
    let load = mass.times(LogNormal::new(1.0 / volume_l, 0.02));
    if cleaned.is_some() && cleaned >= fitted {
        // Cleaning leaves some behind.
        return load.plus(LogNormal::new(2.0, 0.7));
    }
    load
}

/// Ash that a car feeds its filter with, g per 1000 km.
fn ash_growth(case: &Case, heavy: bool) -> LogNormal {
    // Oil: physics reference 5.1. Heavy vehicles burn more oil per distance, in larger filters.
    let use_l = case
        .oil
        .use_l_per_1000km
        .map_or(LogNormal::new(if heavy { 0.25 } else { 0.09 }, 0.45), |u| LogNormal::new(u.max(1e-3), 0.2));
    let percent = case
        .oil
        .sulfated_ash_percent
        .map_or(LogNormal::new(0.8, 0.22), |p| LogNormal::new(p.max(0.05), 0.05));
    let density = case.oil.density_kg_per_m3.unwrap_or(855.0);
    let oil = use_l.times(percent).times(LogNormal::new(density / 100.0 * 0.5, 0.3));
    // Additive: physics reference 5.2; over 94 % stays in the filter.
    let fuel_l_per_1000km = case
        .car
        .consumption_l_per_100km
        .map_or(LogNormal::new(if heavy { 280.0 } else { 63.0 }, 0.25), |c| LogNormal::new(c * 10.0, 0.08));
    let fuel_density = case.fuel.density_kg_per_m3.unwrap_or(835.0);
    let set_dose = case.reservoir.dose_mg_per_kg.or_else(|| {
        let per_l = case.reservoir.metal_g_per_l?;
        Some(case.reservoir.dose_ml_per_l? * per_l / fuel_density * 1000.0)
    });
    let dose = match (case.reservoir.kind, set_dose) {
        (Some(ReservoirKind::None), _) => None,
        (_, Some(d)) => Some(LogNormal::new(d.max(0.05), 0.1)),
        (Some(_), None) => Some(LogNormal::new(8.0, 0.7)),
        (None, None) if heavy => None,
        // Whether this car doses at all is not known: few mg at most in the middle.
        (None, None) => Some(LogNormal::new(3.0, 1.1)),
    };
    let mut per_1000km = oil;
    if let Some(d) = dose {
        per_1000km = per_1000km.plus(
            d.times(fuel_l_per_1000km)
                .times(LogNormal::new(fuel_density * 1e-6 * oxide_ratio(case) * 0.95, 0.05)),
        );
    }
    let over_the_years = per_1000km.times(LogNormal::new(1.0, ASH_VARIES));
    weighed_growth(case).map_or(over_the_years, |w| over_the_years.with(w))
}

/// Spread of what a filter holds about oil use, ash content and yield as they are today (ln): oils and habits change
/// over the years, an ageing engine burns more, some ash leaves with the gas. Expert guess.
const ASH_VARIES: f64 = 0.25;

/// What dry weighings before and after cleaning say of the growth, g per 1000 km: cleaning takes out about nine
/// tenths (common practice, a fifth either way), over the distance since the filter was new or last cleaned.
fn weighed_growth(case: &Case) -> Option<LogNormal> {
    let resets = |until: f64| {
        case.filter_cleaned
            .iter()
            .map(|r| r.odometer_km)
            .chain(case.filter_replaced.iter().map(|r| r.odometer_km))
            .chain([case.filter.fitted_odometer_km])
            .flatten()
            .filter(move |o| *o < until - 1000.0)
            .fold(None, |m: Option<f64>, o| Some(m.map_or(o, |x| x.max(o))))
    };
    case.filter_cleaned
        .iter()
        .filter_map(|r| {
            let at = r.odometer_km.or(case.car.odometer_km)?;
            let distance = at - resets(at)?;
            let removed = r.mass_before_g? - r.mass_after_g?;
            (removed > 5.0)
                .then(|| LogNormal::new(removed / 0.9 / distance * 1000.0, f64::hypot(0.2, 12.0 / removed)))
        })
        .reduce(LogNormal::with)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_ash_is_due_the_likelier_the_longer_it_came() {
        let at = |km: f64| {
            let mut case = Case::default();
            case.car.category = Some(Category::M1);
            case.car.displacement_l = Some(2.0);
            case.car.odometer_km = Some(km);
            case.filter.fitted_odometer_km = Some(0.0);
            Priors::new(&case, &[], false).full_of_ash()
        };
        let due: Vec<f64> = [10e3, 50e3, 120e3, 200e3, 300e3].map(at).to_vec();
        assert!(due.windows(2).all(|w| w[0] <= w[1]), "{due:?}");
        assert!(due[0] < 0.6 && due[4] > 1.5, "{due:?}");
    }

    #[test]
    fn analytic_size_tells_a_truck_where_the_category_does_not() {
        let mut case = Case::default();
        assert!(!is_heavy(&case));
        case.car.displacement_l = Some(9.0);
        assert!(is_heavy(&case));
        case.car.category = Some(Category::N1);
        assert!(!is_heavy(&case), "a category that is told decides");
    }
}
