//! Burning of the soot along the axis of the filter: when it is burnt, how hot it gets, where, and what
//! a drop to idle or a lift of the throttle does.
//!
//! # Equations
//! Per volume of filter, with S the filtration area per volume, h the heat transfer of the channels, G(x)
//! the mass flow per face area still in the inlet channels and g(x) the flow through the wall per volume:
//!
//! - inlet gas: G cp dT1/dx = h S (Ts − T1),
//! - outlet gas: (G0 − G) cp dT2/dx = g cp (Ts − T2) + h S (Ts − T2): gas leaves the wall at Ts,
//! - solid: C dTs/dt = h S (T1 − Ts) + h S (T2 − Ts) + g cp (T1 − Ts) + H r + d/dx(k dTs/dx) − loss,
//! - soot kinds j: dm_j/dt = −r k_j m_j/(sum k m), with r limited by the oxygen that passes
//!   ([`limited_rate`]), plus NO2,
//! - flow: g follows the resistance of the wall and the cake left, so burnt stretches draw more gas
//!   (pressure in the channels taken as even).
//!
//! # Validity
//! One filter channel pair in a body without radial differences: set the loss to zero for the hot core.
//! Kinetics of soot differ tenfold between engines, so peaks are for comparing situations and for showing
//! danger, **never for showing safety**. Gas is quasi-steady. All soot is counted to CO2.
//!
//! What makes a lift of the throttle dangerous is not the cooler gas by itself but what comes with it:
//! without fuel the gas is air (20.9 % oxygen instead of some 10 %), and less of it carries the heat off.
//! [`Axial::worst_lift`] takes both in and finds 30 to 300 K above the peak of constant feed. Cooler gas
//! alone, at unchanged oxygen and flow, raises the peak by no more than a few kelvin here where 50 K was
//! published for a planar filter: there oxygen is used up along the flow, so a colder front leaves more of
//! it to the rear; in the channels of this model every stretch of wall sees the oxygen of the feed.
//!
//! # References
//! Bissett 1984 and Konstandopoulos et al., SAE 2000-01-1016 (models of this type, from memory). Drop to
//! idle: Tan et al., Appl. Therm. Eng. 2020, 115628. Drop of feed temperature: Chen, Martirosyan, Luss,
//! Ind. Eng. Chem. Res. 48 (2009) 8451.

use crate::error::{Error, within};
use crate::gas::{Gas, molar_mass};
use crate::geometry::Geometry;
use crate::integrate::{Control, integrate};
use crate::media::Media;
use crate::oxidation::{Feed, HEAT_TO_CO2, Kinetics, NO2_PER_SOOT, Nitrogen, OXYGEN_PER_SOOT, limited_rate};

/// Nusselt number of laminar flow in a square duct at constant wall temperature (Shah and London 1978).
pub const NUSSELT: f64 = 2.976;

/// A filter body with its soot, resolved along the axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Axial {
    /// Body.
    pub geometry: Geometry,
    /// Wall and cake: only how their resistance shares the flow matters here.
    pub media: Media,
    /// Heat capacity of the body, J/(m3 K), see [`crate::limits::heat_capacity`].
    pub heat_capacity: f64,
    /// Conductivity of the solid, W/(m K), see [`crate::limits::conductivity`]; the open part of the
    /// cross-section is taken off here.
    pub conductivity: f64,
    /// Heat loss of the whole body to ambient, W/K; zero for the core.
    pub loss: f64,
    /// Ambient temperature, K.
    pub ambient: f64,
    /// Kinds of soot, for example undoped and doped, with their kinetics.
    pub kinds: Vec<Kinetics>,
    /// Burning by NO2, the same for all kinds.
    pub nitrogen: Option<Nitrogen>,
    /// Number of cells along the axis, 4 to 400; 40 resolves a peak within a few kelvin.
    pub cells: usize,
}

/// What burns: soot load of each kind and temperature at the start, even along the axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Start {
    /// Soot of each kind, kg/m3 of filter.
    pub soot: Vec<f64>,
    /// Temperature of the body, K.
    pub temperature: f64,
}

/// Result of [`Axial::run`].
#[derive(Debug, Clone, PartialEq)]
pub struct Burn {
    /// Highest temperature of the solid anywhere, K.
    pub peak_temperature: f64,
    /// When, s.
    pub peak_time: f64,
    /// Where, as a share of the length from the front.
    pub peak_position: f64,
    /// Steepest axial gradient, K/m.
    pub steepest_gradient: f64,
    /// Soot left, kg/m3, mean over the length.
    pub soot_left: f64,
    /// Share of the soot at the start that was burnt (0 when there was none).
    pub burnt_share: f64,
    /// Time at which 90 % of the soot at the start was gone, s.
    pub time_to_90: Option<f64>,
    /// Temperature along the axis at the end, K.
    pub temperature: Vec<f64>,
    /// Soot of all kinds along the axis at the end, kg/m3.
    pub soot: Vec<f64>,
    /// Time, highest temperature, temperature of the leaving gas (K), mean soot (kg/m3) at every step.
    pub trace: Vec<(f64, f64, f64, f64)>,
    /// Heat released, stored and carried off, J: what enters must leave (for checks).
    pub heat: HeatBalance,
}

/// Where the heat went, J.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatBalance {
    /// Released by soot.
    pub released: f64,
    /// Stored in the body.
    pub stored: f64,
    /// Carried off by gas (leaving minus entering) and lost to ambient.
    pub carried: f64,
}

/// Quantities that follow from the state and the feed at one moment.
struct Moment {
    flux: Vec<f64>,
    rates: Vec<f64>,
    leaving: f64,
}

impl Axial {
    /// Follows the body through feeds one after the other.
    ///
    /// # Inputs
    /// SI, see the fields; `start.soot` as many values as `kinds`, each 0 to 1000 kg/m3. The soot feed of
    /// [`Feed`] is spread evenly and counts to the first kind.
    ///
    /// # Errors
    /// Values without meaning, lists of unequal length, a channel too full for its soot.
    ///
    /// # Example
    /// ```
    /// use wallflow::oxidation::{Feed, Kinetics};
    /// use wallflow::regeneration::{Axial, Start};
    /// use wallflow::{Cells, Geometry, Media, geometry::round_face};
    /// let filter = Axial {
    ///     geometry: Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?,
    ///     media: Media::default(), heat_capacity: 0.67e6, conductivity: 1.5, loss: 0.0,
    ///     ambient: 298.15, kinds: vec![Kinetics::DS], nitrogen: None, cells: 40,
    /// };
    /// let feed = Feed { duration: 900.0, mass_flow: 0.04, temperature: 873.15, oxygen: 0.08,
    ///     no2: 0.0, soot: 0.0 };
    /// let burn = filter.run(&Start { soot: vec![4.0], temperature: 573.15 }, &[feed])?;
    /// assert!(burn.burnt_share > 0.8 && burn.peak_temperature > 873.15);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    pub fn run(&self, start: &Start, feeds: &[Feed]) -> Result<Burn, Error> {
        self.check(start, feeds)?;
        let n = self.cells;
        let mut y = vec![start.temperature; n];
        for soot in &start.soot {
            y.extend(std::iter::repeat_n(*soot, n));
        }
        // Two more: heat released, heat carried off by gas and loss, J.
        y.extend([0.0, 0.0]);
        let soot_at_start: f64 = start.soot.iter().sum();
        let mut scale = vec![1000.0; n];
        scale.extend(std::iter::repeat_n(0.1 + soot_at_start, n * self.kinds.len()));
        scale.extend([1e6, 1e6]);

        let mut burn = Burn {
            peak_temperature: start.temperature,
            peak_time: 0.0,
            peak_position: 0.0,
            steepest_gradient: 0.0,
            soot_left: soot_at_start,
            burnt_share: 0.0,
            time_to_90: None,
            temperature: Vec::new(),
            soot: Vec::new(),
            trace: Vec::new(),
            heat: HeatBalance { released: 0.0, stored: 0.0, carried: 0.0 },
        };
        let control = Control { longest: 1.0, tolerance: 1e-5, most: 400_000 };
        let dx = self.geometry.length() / n as f64;
        let mut time = 0.0;
        for feed in feeds {
            let span = (time, time + feed.duration);
            integrate(
                &mut y,
                span,
                &scale,
                &control,
                |y, d| self.derivative(feed, y, d),
                |at, y| {
                    let (temperature, rest) = y.split_at_mut(n);
                    let soots = rest.len() - 2;
                    for m in rest.iter_mut().take(soots) {
                        *m = m.max(0.0);
                    }
                    let mean = rest.iter().take(soots).sum::<f64>() / n as f64;
                    let mut hottest = 0.0;
                    for (i, &t) in temperature.iter().enumerate() {
                        if t > hottest {
                            hottest = t;
                        }
                        if t > burn.peak_temperature {
                            (burn.peak_temperature, burn.peak_time) = (t, at);
                            burn.peak_position = (i as f64 + 0.5) / n as f64;
                        }
                    }
                    for pair in temperature.windows(2) {
                        if let [a, b] = pair {
                            burn.steepest_gradient = burn.steepest_gradient.max((b - a).abs() / dx);
                        }
                    }
                    if burn.time_to_90.is_none() && soot_at_start > 0.0 && mean <= 0.1 * soot_at_start {
                        burn.time_to_90 = Some(at);
                    }
                    burn.soot_left = mean;
                    burn.trace.push((at, hottest, 0.0, mean));
                    // The leaving gas needs the whole march; it is worked out once per step.
                    let leaving = self.moment(feed, y).leaving;
                    if let Some(last) = burn.trace.last_mut() {
                        last.2 = leaving;
                    }
                },
            )?;
            time = span.1;
        }
        if soot_at_start > 0.0 {
            burn.burnt_share = 1.0 - burn.soot_left / soot_at_start;
        }
        let volume = self.geometry.volume();
        let cell = volume / n as f64;
        burn.temperature = y.iter().take(n).copied().collect();
        burn.soot =
            (0..n).map(|i| (0..self.kinds.len()).filter_map(|k| y.get(n * (k + 1) + i)).sum()).collect();
        burn.heat = HeatBalance {
            released: y.get(y.len() - 2).copied().unwrap_or(0.0),
            stored: burn
                .temperature
                .iter()
                .map(|t| (t - start.temperature) * self.heat_capacity * cell)
                .sum(),
            carried: y.last().copied().unwrap_or(0.0),
        };
        Ok(burn)
    }

    fn check(&self, start: &Start, feeds: &[Feed]) -> Result<(), Error> {
        within("heat capacity per volume", self.heat_capacity, 1e4, 1e8, "J/(m3 K)")?;
        within("conductivity", self.conductivity, 0.0, 1000.0, "W/(m K)")?;
        within("heat loss", self.loss, 0.0, 1e4, "W/K")?;
        within("ambient temperature", self.ambient, 150.0, 500.0, "K")?;
        within("cells along the axis", self.cells as f64, 4.0, 400.0, "-")?;
        within("temperature", start.temperature, 150.0, 3000.0, "K")?;
        if self.kinds.is_empty() || start.soot.len() != self.kinds.len() {
            let wanted = self.kinds.len().max(1);
            return Err(Error::Count { what: "soot kinds", given: start.soot.len(), wanted });
        }
        for &s in &start.soot {
            within("soot load", s, 0.0, 1000.0, "kg/m3")?;
        }
        // The cake must fit the channel.
        crate::deposits::Deposits::new(start.soot.iter().sum(), 0.0, 0.0)?
            .layers(&self.geometry, &self.media)?;
        if feeds.is_empty() {
            return Err(Error::Count { what: "feeds", given: 0, wanted: 1 });
        }
        feeds.iter().try_for_each(Feed::check)
    }

    /// Flow through the wall and burning rates, cell by cell (per volume), and the gas that leaves.
    fn moment(&self, feed: &Feed, y: &[f64]) -> Moment {
        let n = self.cells;
        let gas = Gas::exhaust();
        let volume = self.geometry.volume();
        let kinds = self.kinds.len();
        let soot = |k: usize, i: usize| y.get(n * (k + 1) + i).copied().unwrap_or(0.0).max(0.0);
        // Resistance to mass flow: viscosity times temperature times (wall + thin cake).
        let wall = self.geometry.wall() / self.media.wall().clean();
        let area = self.geometry.filtration_area_per_volume();
        let conductance: Vec<f64> = y
            .iter()
            .take(n)
            .enumerate()
            .map(|(i, &t)| {
                let load: f64 = (0..kinds).map(|k| soot(k, i)).sum();
                let t = t.max(100.0);
                1.0 / (gas.viscosity(t) * t * (wall + load / (area * self.media.cake().product())))
            })
            .collect();
        let sum: f64 = conductance.iter().sum();
        let per_volume = feed.mass_flow * n as f64 / (volume * sum);
        let flux: Vec<f64> = conductance.iter().map(|c| c * per_volume).collect();

        let oxygen = feed.oxygen * molar_mass::O2 / gas.molar_mass() / OXYGEN_PER_SOOT;
        let no2 = feed.no2 * molar_mass::NO2 / gas.molar_mass() / NO2_PER_SOOT;
        let mut rates = vec![0.0; n * kinds];
        for (i, (&t, &g)) in y.iter().zip(&flux).enumerate() {
            let t = t.max(100.0);
            let kinetic: f64 =
                self.kinds.iter().enumerate().map(|(k, kin)| kin.rate(feed.oxygen, t) * soot(k, i)).sum();
            let share = if kinetic > 0.0 { limited_rate(kinetic, g * oxygen) / kinetic } else { 0.0 };
            let load: f64 = (0..kinds).map(|k| soot(k, i)).sum();
            let mut by_no2 = 0.0;
            if let Some(nitrogen) = self.nitrogen {
                let supply = if no2 > 0.0 { nitrogen.share * g * no2 } else { 0.0 };
                let rate = nitrogen.rate(feed.no2, t);
                by_no2 = if load > 0.0 { (rate * load).min(supply) / load } else { 0.0 };
            }
            for (k, kin) in self.kinds.iter().enumerate() {
                if let Some(rate) = rates.get_mut(n * k + i) {
                    *rate = (kin.rate(feed.oxygen, t) * share + by_no2) * soot(k, i);
                }
            }
        }
        let mut moment = Moment { flux, rates, leaving: feed.temperature };
        moment.leaving = self.march(feed, y, &moment, |_, _| ());
        moment
    }

    /// Marches the gas through both channels; `heat` receives the heat given to the solid of each cell
    /// (W/m3). Returns the temperature of the leaving gas.
    ///
    /// Within a cell the solid is at one temperature, so both gas equations have exact solutions.
    fn march(&self, feed: &Feed, y: &[f64], moment: &Moment, mut heat: impl FnMut(usize, f64)) -> f64 {
        if feed.mass_flow <= 0.0 {
            return feed.temperature;
        }
        let n = self.cells;
        let gas = Gas::exhaust();
        let face = self.geometry.face_area();
        let dx = self.geometry.length() / n as f64;
        let cp = gas.heat_capacity(feed.temperature);
        let h = NUSSELT * gas.conductivity(feed.temperature) / self.geometry.inlet_width();
        let exchange = h * self.geometry.filtration_area_per_volume() * dx;
        let whole = feed.mass_flow / face;
        let (mut inlet, mut t1, mut outlet, mut t2) = (whole, feed.temperature, 0.0, 0.0);
        for (i, (&solid, &g)) in y.iter().take(n).zip(&moment.flux).enumerate() {
            let through = (g * dx).min(inlet);
            // Inlet gas relaxes towards the solid; what passes the wall gives up its rest there. With the
            // flow falling linearly, (T1 − Ts) falls as (G/G0)^(exchange/(through cp)).
            let after = inlet - through;
            let power = exchange / (through.max(1e-12 * whole) * cp);
            let left = if after > 1e-9 * whole { (after / inlet).powf(power) } else { 0.0 };
            let t1_after = solid + (t1 - solid) * left;
            let given = cp * (inlet * (t1 - solid) - after * (t1_after - solid));
            (inlet, t1) = (after, t1_after);
            // Outlet gas: mixes with gas at the temperature of the solid and relaxes towards it.
            let sum = outlet + through;
            let mixed = if sum > 0.0 { solid + (t2 - solid) * outlet / sum } else { solid };
            let t2_after = solid + (mixed - solid) * (-exchange / (sum.max(1e-12 * whole) * cp)).exp();
            let taken = cp * sum * (mixed - t2_after);
            (outlet, t2) = (sum, t2_after);
            heat(i, (given + taken) / dx);
        }
        t2
    }

    fn derivative(&self, feed: &Feed, y: &[f64], d: &mut [f64]) {
        let n = self.cells;
        let kinds = self.kinds.len();
        let volume = self.geometry.volume();
        let cell = volume / n as f64;
        let dx = self.geometry.length() / n as f64;
        let moment = self.moment(feed, y);
        d.fill(0.0);
        let mut to_solid = vec![0.0; n];
        self.march(feed, y, &moment, |i, q| {
            if let Some(slot) = to_solid.get_mut(i) {
                *slot = q;
            }
        });
        let solid_share = 1.0 - self.geometry.open_inlet_share() - self.geometry.open_outlet_share();
        let spread = self.conductivity * solid_share / (dx * dx);
        let temperature = |i: usize| y.get(i).copied().unwrap_or(0.0);
        let (mut released, mut carried) = (0.0, 0.0);
        for i in 0..n {
            let t = temperature(i);
            let burning: f64 = (0..kinds).filter_map(|k| moment.rates.get(n * k + i)).sum();
            let before = if i > 0 { temperature(i - 1) - t } else { 0.0 };
            let behind = if i + 1 < n { temperature(i + 1) - t } else { 0.0 };
            let lost = self.loss / volume * (t - self.ambient);
            let gained = to_solid.get(i).copied().unwrap_or(0.0);
            if let Some(slot) = d.get_mut(i) {
                *slot =
                    (gained + HEAT_TO_CO2 * burning + spread * (before + behind) - lost) / self.heat_capacity;
            }
            released += HEAT_TO_CO2 * burning * cell;
            carried += (lost - gained) * cell;
        }
        for (slot, rate) in d.iter_mut().skip(n).zip(&moment.rates) {
            *slot = -rate;
        }
        for slot in d.iter_mut().skip(n).take(n) {
            *slot += feed.soot / volume;
        }
        if let [.., heat, away] = d {
            (*heat, *away) = (released, carried);
        }
    }

    /// Highest temperature when the engine drops to idle at the worst moment of a regeneration.
    ///
    /// # Method
    /// Runs `hot` and switches to `idle` after 12 different times spread over `hot.duration`; returns the
    /// burn with the highest peak and the time of the switch. For a lift of the throttle see
    /// [`Axial::worst_lift`].
    ///
    /// # Validity
    /// As the module: shows danger, never safety. Published peaks of 800-1300 °C at 6-12 g/L are from
    /// memory.
    ///
    /// # Example
    /// ```
    /// use wallflow::oxidation::{Feed, Kinetics};
    /// use wallflow::regeneration::{Axial, Start};
    /// use wallflow::{Cells, Geometry, Media, geometry::round_face};
    /// let filter = Axial {
    ///     geometry: Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?,
    ///     media: Media::default(), heat_capacity: 0.67e6, conductivity: 1.5, loss: 0.0,
    ///     ambient: 298.15, kinds: vec![Kinetics::DS], nitrogen: None, cells: 16,
    /// };
    /// let hot = Feed { duration: 240.0, mass_flow: 0.05, temperature: 893.15, oxygen: 0.08,
    ///     no2: 0.0, soot: 0.0 };
    /// let idle = Feed { duration: 300.0, mass_flow: 25.0 / 3600.0, temperature: 523.15,
    ///     oxygen: 0.17, ..hot };
    /// let start = Start { soot: vec![8.0], temperature: 573.15 };
    /// let (worst, _) = filter.worst_drop(&start, &hot, &idle)?;
    /// assert!(worst.peak_temperature > filter.run(&start, &[hot])?.peak_temperature);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    pub fn worst_drop(&self, start: &Start, hot: &Feed, idle: &Feed) -> Result<(Burn, f64), Error> {
        const TRIES: usize = 12;
        let mut worst: Option<(Burn, f64)> = None;
        for k in 1..=TRIES {
            let at = hot.duration * k as f64 / TRIES as f64;
            let burn = self.run(start, &[Feed { duration: at, ..*hot }, *idle])?;
            if worst.as_ref().is_none_or(|(w, _)| burn.peak_temperature > w.peak_temperature) {
                worst = Some((burn, at));
            }
        }
        worst.ok_or(Error::Count { what: "feeds", given: 0, wanted: 1 })
    }

    /// Highest temperature when the driver lifts the throttle at the worst moment of a regeneration.
    ///
    /// # Method
    /// As [`Axial::worst_drop`], switching from `hot` to [`lifted`]: air instead of exhaust, 100 K cooler,
    /// half the flow, for `seconds`.
    ///
    /// # Inputs
    /// `start` and `hot` as in [`Axial::run`]; `seconds` of overrun, above 0.
    ///
    /// # Validity
    /// As the module: shows danger, never safety.
    ///
    /// # Errors
    /// As [`Axial::run`].
    ///
    /// # Example
    /// ```
    /// use wallflow::oxidation::{Feed, Kinetics};
    /// use wallflow::regeneration::{Axial, Start};
    /// use wallflow::{Cells, Geometry, Media, geometry::round_face};
    /// let filter = Axial {
    ///     geometry: Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?,
    ///     media: Media::default(), heat_capacity: 0.67e6, conductivity: 1.5, loss: 0.0,
    ///     ambient: 298.15, kinds: vec![Kinetics::DS], nitrogen: None, cells: 16,
    /// };
    /// let hot = Feed { duration: 120.0, mass_flow: 0.033, temperature: 873.15, oxygen: 0.10,
    ///     no2: 0.0, soot: 0.0 };
    /// let start = Start { soot: vec![6.0], temperature: 573.15 };
    /// let (worst, _) = filter.worst_lift(&start, &hot, 300.0)?;
    /// assert!(worst.peak_temperature > filter.run(&start, &[hot])?.peak_temperature + 50.0);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    pub fn worst_lift(&self, start: &Start, hot: &Feed, seconds: f64) -> Result<(Burn, f64), Error> {
        self.worst_drop(start, hot, &lifted(hot, seconds))
    }
}

/// Oxygen in dry air, mole fraction (20.95 %).
pub const OXYGEN_IN_AIR: f64 = 0.2095;

/// What the filter is fed after a lift of the throttle out of the feed `hot`.
///
/// # Method
/// Overrun cuts the fuel: the gas is air ([`OXYGEN_IN_AIR`]), no soot and no NO2 come with it. It is taken
/// 100 K cooler (the size of the published drop: Chen, Martirosyan, Luss, Ind. Eng. Chem. Res. 48 (2009)
/// 8451; the pipe holds the heat for a while) and half as much (unthrottled engine falling back from boost
/// to about ambient pressure, common practice).
///
/// # Inputs
/// `hot`: the feed before; `seconds`: how long the lift lasts.
///
/// ```
/// use wallflow::oxidation::Feed;
/// use wallflow::regeneration::lifted;
/// let hot = Feed { duration: 600.0, mass_flow: 0.04, temperature: 873.15, oxygen: 0.08, no2: 0.0, soot: 1e-7 };
/// let after = lifted(&hot, 60.0);
/// assert_eq!((after.mass_flow, after.temperature, after.soot), (0.02, 773.15, 0.0));
/// assert!(after.oxygen > 0.2);
/// ```
#[must_use]
pub fn lifted(hot: &Feed, seconds: f64) -> Feed {
    Feed {
        duration: seconds,
        mass_flow: 0.5 * hot.mass_flow,
        temperature: hot.temperature - 100.0,
        oxygen: OXYGEN_IN_AIR,
        no2: 0.0,
        soot: 0.0,
    }
}
