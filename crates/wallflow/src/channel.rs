//! Full one-dimensional solution of the two-channel problem.
//!
//! An inlet and an outlet channel, coupled by wall, ash and cake, are solved for mass flow and both
//! pressures along the axis: ideal gas at one temperature, momentum flux, Darcy and Forchheimer
//! resistance of the wall, slip in wall and cake, soot and ash varying along the axis, an ash plug,
//! channels of unequal width, losses at the ends, and zones of the face in parallel.
//!
//! # Equations
//! Per inlet channel of open area A1(x) and outlet channel of area A2, with mass flows M1 and
//! M2 = M − M1 and velocities u = M/(rho A):
//!
//! - mass: dM1/dx = −4 a rho_w u_w,
//! - momentum: A1 dp1/dx + d(b M1 u1)/dx = −F mu u1, the same for the outlet channel,
//! - wall: p1 − p2 = mu u_w (w/k_w + (a/2k_a) ln(a/a1) + (a/2k_s) ln(a1/a2)) + beta rho_w u_w² w with
//!   rho_w at (p1 + p2)/2,
//! - gas: rho = p M/(R T),
//! - ends: M1(0) = M, M1(Le) = 0, p2 = p_out behind the plug.
//!
//! # Method
//! Three-point Lobatto collocation of order four on a mesh that holds the knots of the deposit
//! profiles and resolves the boundary layers; Newton's method with exact derivatives; banded
//! elimination. Agrees with SciPy `solve_bvp` to better than 1e-6 (`checks/`).
//!
//! # Validity
//! Laminar channels with the friction of a solid-walled square duct (suction changes friction when
//! rho u_w a/mu exceeds about 1). Slip follows the local pressure (p1 + p2)/2. Isothermal Mach numbers above
//! [`MACH_LIMIT`] are refused. Ceramic end plugs shorten the channel and add no friction.
//!
//! # References
//! Bissett, Chem. Eng. Sci. 39 (1984) 1233 (model, from memory; equations derived again). Ascher,
//! Mattheij, Russell, Numerical Solution of Boundary Value Problems, 1995 (method).

use crate::banded::Banded;
use crate::deposits::{Deposits, Layers, rings};
use crate::error::{Error, within};
use crate::gas::{FlowState, Gas};
use crate::geometry::Geometry;
use crate::media::Slip;
use crate::pressure::{self, Density, Filter, SQUARE_DUCT};

/// Largest isothermal Mach number u/sqrt(R T/M) that is solved for.
pub const MACH_LIMIT: f64 = 0.7;

/// How a deposit is spread along the filtering length: relative thickness, mean one.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// Values at equally spaced knots from the front to the end; a single one means even.
    values: Vec<f64>,
}

impl Profile {
    /// The same everywhere.
    pub fn even() -> Self {
        Self { values: vec![1.0] }
    }

    /// Linear between values at equally spaced knots, scaled so that the mean is one.
    ///
    /// # Inputs
    /// At least two values, not negative, not all zero; only their ratios matter.
    ///
    /// # Example
    /// ```
    /// use wallflow::channel::Profile;
    /// let more_at_the_end = Profile::new(&[0.5, 1.5])?;
    /// assert_eq!(more_at_the_end.at(0.5), 1.0);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    pub fn new(values: &[f64]) -> Result<Self, Error> {
        if values.len() < 2 {
            return Err(Error::Count { what: "profile knots", given: values.len(), wanted: 2 });
        }
        for &v in values {
            within("profile value", v, 0.0, 1e12, "-")?;
        }
        let pieces = (values.len() - 1) as f64;
        let mean = values.windows(2).map(|w| w.iter().sum::<f64>() / 2.0).sum::<f64>() / pieces;
        within("mean of the profile", mean, 1e-12, 1e12, "-")?;
        Ok(Self { values: values.iter().map(|v| v / mean).collect() })
    }

    /// Relative thickness at a relative position (0 front, 1 end; outside: the end value).
    pub fn at(&self, position: f64) -> f64 {
        let last = self.values.len() - 1;
        let s = (position * last as f64).clamp(0.0, last as f64);
        let i = (s.floor() as usize).min(last.saturating_sub(1));
        match (self.values.get(i), self.values.get(i + 1)) {
            (Some(a), Some(b)) => a + (b - a) * (s - i as f64),
            (Some(a), None) => *a,
            _ => 1.0,
        }
    }

    fn pieces(&self) -> usize {
        (self.values.len() - 1).max(1)
    }
}

impl Default for Profile {
    fn default() -> Self {
        Self::even()
    }
}

/// A part of the face with its own deposits, in parallel with the others.
#[derive(Debug, Clone, PartialEq)]
pub struct Zone {
    /// Share of the face, 0 to 1; all zones together make 1.
    pub share: f64,
    /// Loads per volume of this zone.
    pub deposits: Deposits,
    /// How the soot is spread along the axis.
    pub soot: Profile,
    /// How the ash on the wall is spread along the axis.
    pub ash: Profile,
}

impl Zone {
    /// The whole face with even deposits.
    pub fn whole(deposits: Deposits) -> Self {
        Self { share: 1.0, deposits, soot: Profile::even(), ash: Profile::even() }
    }
}

/// What to solve and how finely.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Momentum factor b: 1 (default), 0 to leave axial momentum out, 1.38 for the developed profile of
    /// a square duct (from memory).
    pub momentum: f64,
    /// Ideal gas (default) or constant density at the outlet pressure.
    pub compressible: bool,
    /// Mesh intervals wanted over the filtering length; `None` chooses them (at least 32, eight per
    /// unit of mL).
    pub intervals: Option<usize>,
}

impl Default for Options {
    fn default() -> Self {
        Self { momentum: 1.0, compressible: true, intervals: None }
    }
}

/// One zone of a solution.
#[derive(Debug, Clone, PartialEq)]
pub struct ZoneSolution {
    /// Mass flow through the zone, kg/s.
    pub mass_flow: f64,
    /// p1(0) − p2(L), Pa.
    pub channels: f64,
    /// Loss on entering, Pa.
    pub contraction: f64,
    /// Loss on leaving, Pa.
    pub expansion: f64,
    /// Positions from the front, m.
    pub position: Vec<f64>,
    /// Mass flow in one inlet channel, kg/s.
    pub inlet_mass_flow: Vec<f64>,
    /// Absolute pressure in the inlet channel, Pa.
    pub inlet_pressure: Vec<f64>,
    /// Absolute pressure in the outlet channel, Pa.
    pub outlet_pressure: Vec<f64>,
    /// Wall velocity on the clean wall face, m/s.
    pub wall_velocity: Vec<f64>,
}

impl ZoneSolution {
    /// Drop from the chamber in front to the chamber behind, Pa.
    pub fn total(&self) -> f64 {
        self.channels + self.contraction + self.expansion
    }
}

/// Result of [`solve`].
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Drop from chamber to chamber, the same for all zones, Pa.
    pub filter: f64,
    /// Drop in cones and pipe between the taps, Pa.
    pub cones: f64,
    /// The zones in the order given.
    pub zones: Vec<ZoneSolution>,
}

impl Solution {
    /// Whole pressure drop, Pa.
    pub fn total(&self) -> f64 {
        self.filter + self.cones
    }
}

/// Solves for one even filter: [`solve`] with one [`Zone::whole`].
///
/// # Example
/// ```
/// use wallflow::{Cells, Deposits, Ends, Filter, FlowState, Gas, Geometry, Media};
/// use wallflow::{channel, geometry::round_face, media};
/// let filter = Filter {
///     geometry: Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?,
///     media: Media::default()
///         .with_wall(media::Wall::new(5e-13)?)
///         .with_cake(media::Cake::new(1.8e-12, 90.0)?),
///     ends: Ends::None,
/// };
/// let flow = FlowState::new(200.0 / 3600.0, 573.15, 101_325.0)?;
/// let s = channel::solve_even(
///     &filter, &Deposits::new(3.0, 0.0, 0.0)?, &Gas::exhaust(), &flow, &Default::default())?;
/// assert!((s.total() / 3428.49 - 1.0).abs() < 1e-3);
/// # Ok::<(), wallflow::Error>(())
/// ```
pub fn solve_even(
    filter: &Filter,
    deposits: &Deposits,
    gas: &Gas,
    flow: &FlowState,
    options: &Options,
) -> Result<Solution, Error> {
    solve(filter, &[Zone::whole(*deposits)], gas, flow, options)
}

/// Solves the two-channel problem for zones in parallel.
///
/// # Equations
/// See the [module](self). The zones share the drop from chamber to chamber, including their own
/// losses on entering (density at p1(0)) and leaving (density at p_out); the cones see the whole flow
/// at the mean density.
///
/// # Inputs
/// `zones`: at least one, shares adding up to 1 within 1e-6. `flow`: whole flow. `options`: momentum
/// factor 0 to 2.
///
/// # Errors
/// A channel that is full anywhere, a flow that chokes, shares that do not add up, or (extreme inputs)
/// an iteration that does not settle.
///
/// # Example
/// ```
/// use wallflow::{Cells, Deposits, Ends, Filter, FlowState, Gas, Geometry, Media};
/// use wallflow::{channel::{self, Profile, Zone}, geometry::round_face};
/// let filter = Filter {
///     geometry: Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?,
///     media: Media::default(),
///     ends: Ends::Reference,
/// };
/// let flow = FlowState::new(0.05, 573.15, 101_325.0)?;
/// let core = Zone { share: 0.5, soot: Profile::new(&[0.8, 1.0, 1.2])?,
///     ..Zone::whole(Deposits::new(2.0, 5.0, 0.7)?) };
/// let rim = Zone { share: 0.5, ..Zone::whole(Deposits::new(4.0, 5.0, 0.7)?) };
/// let s = channel::solve(&filter, &[core, rim], &Gas::exhaust(), &flow, &Default::default())?;
/// assert!(s.zones[0].mass_flow > s.zones[1].mass_flow);
/// # Ok::<(), wallflow::Error>(())
/// ```
pub fn solve(
    filter: &Filter,
    zones: &[Zone],
    gas: &Gas,
    flow: &FlowState,
    options: &Options,
) -> Result<Solution, Error> {
    if zones.is_empty() {
        return Err(Error::Count { what: "zones", given: 0, wanted: 1 });
    }
    within("momentum factor", options.momentum, 0.0, 2.0, "-")?;
    let sum: f64 = zones.iter().map(|z| z.share).sum();
    within("sum of the shares of the zones", sum, 1.0 - 1e-6, 1.0 + 1e-6, "-")?;
    let mut problems = Vec::with_capacity(zones.len());
    for zone in zones {
        problems.push(Problem::new(filter, zone, gas, flow, options)?);
    }
    let mut flows: Vec<f64> = zones.iter().map(|z| flow.mass_flow() * z.share / sum).collect();
    let mut states = Vec::with_capacity(zones.len());
    for (problem, &m) in problems.iter_mut().zip(&flows) {
        states.push(problem.solve(m)?);
    }
    if flow.mass_flow() > 0.0 && zones.len() > 1 {
        share_flow(&mut problems, &mut flows, &mut states, flow.mass_flow())?;
    }
    let filter_drop = states.iter().zip(&flows).map(|(s, m)| s.total() * m).sum::<f64>();
    let filter_drop = if flow.mass_flow() > 0.0 { filter_drop / flow.mass_flow() } else { 0.0 };

    let rt = gas.specific_constant() * flow.temperature();
    let mean = if options.compressible { filter_drop / 2.0 } else { 0.0 };
    let rho = (flow.outlet_pressure() + mean) / rt;
    let constant = problems.first().map_or(0.0, |p| p.cones);
    let cones = constant * flow.mass_flow() * flow.mass_flow() / rho;
    let zones = problems.iter().zip(&states).zip(&flows).map(|((p, s), &m)| p.report(s, m)).collect();
    Ok(Solution { filter: filter_drop, cones, zones })
}

/// Splits the flow so that all zones have the same drop: quasi-Newton with secant slopes.
fn share_flow(
    problems: &mut [Problem<'_>],
    flows: &mut [f64],
    states: &mut [State],
    whole: f64,
) -> Result<(), Error> {
    const WANTED: f64 = 1e-10;
    const MOST: usize = 60;
    let mut slopes: Vec<f64> = states.iter().zip(flows.iter()).map(|(s, m)| s.total() / m).collect();
    let mut spread = f64::INFINITY;
    for _ in 0..MOST {
        let weight: f64 = slopes.iter().map(|s| s.recip()).sum();
        let target = states.iter().zip(&slopes).map(|(s, k)| s.total() / k).sum::<f64>() / weight;
        spread = states.iter().map(|s| (s.total() / target - 1.0).abs()).fold(0.0, f64::max);
        if spread < WANTED {
            return Ok(());
        }
        for (((problem, m), state), slope) in
            problems.iter_mut().zip(flows.iter_mut()).zip(states.iter_mut()).zip(slopes.iter_mut())
        {
            let (old_flow, old_drop) = (*m, state.total());
            // A step never leaves less than a fifth of the flow or more than five times it.
            let step = (target - old_drop) / *slope;
            *m = (old_flow + step).clamp(0.2 * old_flow, 5.0 * old_flow);
            *state = problem.solve(*m)?;
            // Keep clear of rounding: a secant over less than this says nothing.
            let moved = *m - old_flow;
            if moved.abs() > 1e-7 * old_flow {
                let secant = (state.total() - old_drop) / moved;
                if secant > 0.0 && secant.is_finite() {
                    *slope = secant;
                }
            }
        }
        // Clamped steps may not add up: scale back to the whole flow.
        let sum: f64 = flows.iter().sum();
        if (sum / whole - 1.0).abs() > 1e-12 {
            for (((problem, m), state), _) in
                problems.iter_mut().zip(flows.iter_mut()).zip(states.iter_mut()).zip(&slopes)
            {
                *m *= whole / sum;
                *state = problem.solve(*m)?;
            }
        }
    }
    // Rounding in the drops of very unequal zones may keep the spread above the aim.
    if spread < 1e-8 {
        return Ok(());
    }
    Err(Error::NoConvergence {
        what: "flow split between zones",
        residual: spread,
        wanted: WANTED,
        iterations: MOST,
    })
}

/// A number with its derivatives by the three unknowns of a place.
#[derive(Debug, Clone, Copy)]
struct Dual {
    v: f64,
    d: [f64; 3],
}

impl Dual {
    fn variable(v: f64, index: usize, scale: f64) -> Self {
        let mut d = [0.0; 3];
        d[index] = scale;
        Self { v, d }
    }
    fn constant(v: f64) -> Self {
        Self { v, d: [0.0; 3] }
    }
    fn map(self, v: f64, slope: f64) -> Self {
        Self { v, d: self.d.map(|x| x * slope) }
    }
    fn both(self, other: Self, v: f64, mine: f64, its: f64) -> Self {
        let ([a0, a1, a2], [b0, b1, b2]) = (self.d, other.d);
        Self { v, d: [a0 * mine + b0 * its, a1 * mine + b1 * its, a2 * mine + b2 * its] }
    }
}

impl std::ops::Add for Dual {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        self.both(o, self.v + o.v, 1.0, 1.0)
    }
}
impl std::ops::Sub for Dual {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        self.both(o, self.v - o.v, 1.0, -1.0)
    }
}
impl std::ops::Mul for Dual {
    type Output = Self;
    fn mul(self, o: Self) -> Self {
        self.both(o, self.v * o.v, o.v, self.v)
    }
}
impl std::ops::Div for Dual {
    type Output = Self;
    fn div(self, o: Self) -> Self {
        let q = self.v / o.v;
        self.both(o, q, 1.0 / o.v, -q / o.v)
    }
}
impl std::ops::Mul<f64> for Dual {
    type Output = Self;
    fn mul(self, s: f64) -> Self {
        self.map(self.v * s, s)
    }
}

/// Coefficients at one place of the channel.
#[derive(Debug, Clone, Copy, Default)]
struct Place {
    /// Open area of the inlet channel, m2.
    area: f64,
    /// Slope of that area along the axis, m.
    slope: f64,
    /// Cross-wall resistance of wall, ash and cake without viscosity, 1/m, at the reference state of slip.
    wall: f64,
    ash: f64,
    soot: f64,
}

/// A mesh interval with its coefficients at both ends and in the middle. They are kept per interval
/// because slopes jump at the knots of a profile.
#[derive(Debug, Clone, Copy)]
struct Interval {
    length: f64,
    places: [Place; 3],
}

/// Scaled unknowns at a node: M1/M, (p1 − p_out)/P, (p2 − p_out)/P.
type Node = [f64; 3];

/// A converged zone.
struct State {
    nodes: Vec<Node>,
    scale: f64,
    channels: f64,
    contraction: f64,
    expansion: f64,
}

impl State {
    fn total(&self) -> f64 {
        self.channels + self.contraction + self.expansion
    }
}

/// One zone, ready to be solved for any flow.
struct Problem<'a> {
    filter: &'a Filter,
    zone: &'a Zone,
    gas: &'a Gas,
    options: &'a Options,
    geometry: Geometry,
    layers: Layers,
    positions: Vec<f64>,
    intervals: Vec<Interval>,
    outlet_area: f64,
    mu: f64,
    rt: f64,
    temperature: f64,
    outlet_pressure: f64,
    zeta: (f64, f64),
    cones: f64,
    slips: (Option<Slip>, Option<Slip>),
    /// Mean free path times pressure, m Pa.
    path: f64,
    matrix: Banded,
    last: Option<Vec<Node>>,
}

impl<'a> Problem<'a> {
    fn new(
        filter: &'a Filter,
        zone: &'a Zone,
        gas: &'a Gas,
        flow: &FlowState,
        options: &'a Options,
    ) -> Result<Self, Error> {
        let geometry = filter.geometry.zone(zone.share)?;
        let layers = zone.deposits.layers(&geometry, &filter.media)?;
        let length = layers.filtering_length();
        let outlet_area = geometry.outlet_width() * geometry.outlet_width();
        let (temperature, outlet_pressure) = (flow.temperature(), flow.outlet_pressure());

        // Scale of the boundary layers of the wall flow, from mean deposits.
        let lam = gas.mean_free_path(outlet_pressure, temperature);
        let fill = filter.media.wall().fill_of(zone.deposits.soot(), zone.deposits.wall_fill());
        let widths = (layers.width_after_ash, layers.width_after_soot);
        let rw = pressure::across(&geometry, &filter.media, fill, widths, lam).sum();
        let in2 = layers.width_after_soot * layers.width_after_soot;
        let both = SQUARE_DUCT * (1.0 / (in2 * in2) + 1.0 / (outlet_area * outlet_area));
        let ml = length * (4.0 * layers.width_clean * both / rw).sqrt();
        let wanted = options.intervals.unwrap_or((8.0 * ml).ceil() as usize).clamp(32, 2000);

        let positions = mesh(zone, wanted, length);
        let mut problem = Self {
            filter,
            zone,
            gas,
            options,
            geometry,
            layers,
            intervals: Vec::with_capacity(positions.len()),
            matrix: Banded::new(3 * positions.len()),
            positions,
            outlet_area,
            mu: gas.viscosity(temperature),
            rt: gas.specific_constant() * temperature,
            temperature,
            outlet_pressure,
            zeta: (0.0, 0.0),
            cones: 0.0,
            slips: filter.media.slips(),
            path: lam * outlet_pressure,
            last: None,
        };
        problem.fill_intervals()?;
        let front = problem.intervals.first().map_or(in2, |i| i.places[0].area);
        let front = Layers { width_after_soot: front.sqrt(), ..layers };
        let (contraction, expansion, cones) = filter.ends.factors(&geometry, &front);
        problem.zeta = (contraction, expansion);
        problem.cones = cones;
        Ok(problem)
    }

    /// Works out the coefficients of all intervals.
    fn fill_intervals(&mut self) -> Result<(), Error> {
        let (media, deposits) = (self.filter.media.at_reference(), &self.zone.deposits);
        let clean2 = self.layers.width_clean * self.layers.width_clean;
        let length = self.layers.filtering_length();
        let per_length = self.geometry.volume() / (self.geometry.inlet_channels() * length);
        let ash_area = (1.0 - deposits.plug_share()) * deposits.ash() * per_length / media.ash().packing();
        let soot_area = deposits.soot() * per_length / media.cake().packing();
        let place = |x: f64, slope: f64| -> Result<Place, Error> {
            let (ash, soot) = (self.zone.ash.at(x / length), self.zone.soot.at(x / length));
            let widths = rings(clean2, ash_area * ash, soot_area * soot)?;
            let fill = media.wall().fill_of(deposits.soot() * soot, deposits.wall_fill());
            let pressure::Across { wall, ash, soot } =
                pressure::across(&self.geometry, &media, fill, widths, 0.0);
            Ok(Place { area: widths.1 * widths.1, slope, wall, ash, soot })
        };
        let even = self.zone.ash.values.len() == 1 && self.zone.soot.values.len() == 1;
        let mut intervals = std::mem::take(&mut self.intervals);
        intervals.clear();
        let mut front = place(0.0, 0.0)?;
        for pair in self.positions.windows(2) {
            let &[x0, x1] = pair else { continue };
            let (middle, end) =
                if even { (front, front) } else { (place(0.5 * (x0 + x1), 0.0)?, place(x1, 0.0)?) };
            // Deposit areas are linear between knots, so the slope of the open area is exact.
            let slope = (end.area - front.area) / (x1 - x0);
            let places = [front, middle, end].map(|p| Place { slope, ..p });
            intervals.push(Interval { length: x1 - x0, places });
            front = end;
        }
        self.intervals = intervals;
        Ok(())
    }

    /// Cross-wall resistance at a local pressure, 1/m.
    fn resistance(&self, place: &Place, pressure: Dual) -> Dual {
        let (wall, cake) = self.slips;
        let mut sum = Dual::constant(place.ash);
        let path = self.path / pressure.v;
        for (slip, part) in [(wall, place.wall), (cake, place.soot)] {
            sum = sum
                + match slip {
                    Some(slip) if part > 0.0 => {
                        let (factor, slope) = slip.factor_and_slope(path);
                        // d(part/factor)/dp with dpath/dp = −path/p.
                        let by_pressure = part / (factor * factor) * slope * path / pressure.v;
                        pressure.map(part / factor, by_pressure)
                    }
                    _ => Dual::constant(part),
                };
        }
        sum
    }

    /// Right-hand sides of the three scaled equations, with derivatives. `None` where the gas would
    /// choke or a pressure is not positive.
    fn slopes(&self, place: &Place, node: &Node, flow: f64, scale: f64) -> Option<[Dual; 3]> {
        let b = self.options.momentum;
        let m1 = Dual::variable(node[0] * flow, 0, flow);
        let m2 = Dual::constant(flow) - m1;
        let p1 = Dual::variable(self.outlet_pressure + node[1] * scale, 1, scale);
        let p2 = Dual::variable(self.outlet_pressure + node[2] * scale, 2, scale);
        if p1.v <= 0.0 || p2.v <= 0.0 {
            return None;
        }
        let outlet_rho = Dual::constant(self.outlet_pressure / self.rt);
        let density = |p: Dual| if self.options.compressible { p * (1.0 / self.rt) } else { outlet_rho };

        let drop = p1 - p2;
        let rho_w = density((p1 + p2) * 0.5);
        let darcy = self.resistance(place, (p1 + p2) * 0.5) * self.mu;
        let inertia = rho_w * (self.filter.media.wall().forchheimer() * self.geometry.wall());
        let u_w = if inertia.v == 0.0 {
            drop / darcy
        } else {
            // The root of inertia u|u| + darcy u = drop that stays exact for small inertia.
            let under = inertia * drop * (4.0 * drop.v.signum()) + darcy * darcy;
            let root = under.v.sqrt();
            drop * 2.0 / (under.map(root, 0.5 / root) + darcy)
        };
        let g = rho_w * u_w * (4.0 * self.layers.width_clean);

        let u1 = m1 / (density(p1) * place.area);
        let u2 = m2 / (density(p2) * self.outlet_area);
        let f = SQUARE_DUCT * self.mu;
        let narrowing = m1 * u1 * (b * place.slope / place.area);
        let push1 = u1 * g * (2.0 * b) + narrowing - u1 * f;
        let push2 = u2 * g * (-2.0 * b) - u2 * f;
        let (mut room1, mut room2) = (Dual::constant(place.area), Dual::constant(self.outlet_area));
        if self.options.compressible {
            room1 = room1 - m1 * u1 * b / p1;
            room2 = room2 - m2 * u2 * b / p2;
            let least = 1.0 - MACH_LIMIT * MACH_LIMIT;
            if room1.v < least * place.area || room2.v < least * self.outlet_area {
                return None;
            }
        }
        Some([g * (-1.0 / flow), push1 / room1 * (1.0 / scale), push2 / room2 * (1.0 / scale)])
    }

    /// Fills matrix and right-hand side for a Newton step; returns the largest residual.
    fn assemble(&mut self, nodes: &[Node], flow: f64, scale: f64, end: f64) -> Option<f64> {
        let mut matrix = std::mem::replace(&mut self.matrix, Banded::new(0));
        matrix.clear();
        let worst = self.assemble_into(&mut matrix, nodes, flow, scale, end);
        self.matrix = matrix;
        worst
    }

    fn assemble_into(
        &self,
        matrix: &mut Banded,
        nodes: &[Node],
        flow: f64,
        scale: f64,
        end: f64,
    ) -> Option<f64> {
        let (first, last) = (nodes.first()?, nodes.last()?);
        let mut worst = 0.0_f64;
        let mut put = |matrix: &mut Banded, row: usize, value: f64| {
            worst = if value.is_finite() { worst.max(value.abs()) } else { f64::INFINITY };
            matrix.set_right(row, -value);
        };
        matrix.set(0, 0, 1.0);
        put(matrix, 0, first[0] - 1.0);
        for (i, (interval, pair)) in self.intervals.iter().zip(nodes.windows(2)).enumerate() {
            let &[y0, y1] = pair else { continue };
            let h = interval.length;
            let [front, middle, back] = &interval.places;
            let f0 = self.slopes(front, &y0, flow, scale)?;
            let f1 = self.slopes(back, &y1, flow, scale)?;
            let mut ym = [0.0; 3];
            for k in 0..3 {
                ym[k] = 0.5 * (y0[k] + y1[k]) + h / 8.0 * (f0[k].v - f1[k].v);
            }
            let fm = self.slopes(middle, &ym, flow, scale)?;
            for k in 0..3 {
                let row = 1 + 3 * i + k;
                put(matrix, row, y1[k] - y0[k] - h / 6.0 * (f0[k].v + 4.0 * fm[k].v + f1[k].v));
                for c in 0..3 {
                    // Derivative of the middle slope through the middle state.
                    let (mut left, mut right) = (0.5 * fm[k].d[c], 0.5 * fm[k].d[c]);
                    for j in 0..3 {
                        left += fm[k].d[j] * h / 8.0 * f0[j].d[c];
                        right -= fm[k].d[j] * h / 8.0 * f1[j].d[c];
                    }
                    let unit = if k == c { 1.0 } else { 0.0 };
                    matrix.set(row, 3 * i + c, -unit - h / 6.0 * (f0[k].d[c] + 4.0 * left));
                    matrix.set(row, 3 * i + 3 + c, unit - h / 6.0 * (f1[k].d[c] + 4.0 * right));
                }
            }
        }
        let n = 3 * nodes.len();
        matrix.set(n - 2, n - 3, 1.0);
        put(matrix, n - 2, last[0]);
        matrix.set(n - 1, n - 1, 1.0);
        put(matrix, n - 1, last[2] - end);
        Some(worst)
    }

    /// Newton's method with step halving, from `nodes`, at a flow per channel.
    fn newton(&mut self, mut nodes: Vec<Node>, flow: f64, scale: f64) -> Result<Vec<Node>, Error> {
        // A full step this small leaves an error of about its square.
        const WANTED: f64 = 1e-6;
        const MOST: usize = 40;
        let end = (self.plug_pressure(flow)? - self.outlet_pressure) / scale;
        let mut residual = match self.assemble(&nodes, flow, scale, end) {
            Some(r) => r,
            None => return Err(self.choked(&nodes, flow, scale)),
        };
        let mut size = f64::INFINITY;
        for _ in 0..MOST {
            let Some(step) = self.matrix.solve().map(<[f64]>::to_vec) else { break };
            size = step.iter().fold(0.0_f64, |w, v| w.max(v.abs()));
            let mut factor = 1.0;
            loop {
                let mut trial = nodes.clone();
                for (node, d) in trial.iter_mut().zip(step.chunks_exact(3)) {
                    for (y, d) in node.iter_mut().zip(d) {
                        *y += factor * d;
                    }
                }
                let after = self.assemble(&trial, flow, scale, end);
                let better = after.is_some_and(|r| r <= residual * (1.0 - 0.1 * factor) || r < 1e-12);
                if better || (size < WANTED && after.is_some()) {
                    nodes = trial;
                    residual = after.unwrap_or(residual);
                    break;
                }
                factor *= 0.5;
                if factor < 1e-6 {
                    return Err(if after.is_none() {
                        self.choked(&trial, flow, scale)
                    } else {
                        Error::NoConvergence {
                            what: "two-channel solution",
                            residual: size,
                            wanted: WANTED,
                            iterations: MOST,
                        }
                    });
                }
            }
            if size < WANTED && factor == 1.0 {
                return Ok(nodes);
            }
        }
        Err(Error::NoConvergence {
            what: "two-channel solution",
            residual: size,
            wanted: WANTED,
            iterations: MOST,
        })
    }

    /// Pressure in the outlet channel at the end of the filtering length: behind it lie the ash plug's
    /// neighbours, a plain duct with the whole flow.
    fn plug_pressure(&self, flow: f64) -> Result<f64, Error> {
        let out = self.outlet_pressure;
        let flux = flow / self.outlet_area;
        let friction = SQUARE_DUCT * self.mu * flux * self.rt * self.layers.plug_length / self.outlet_area;
        if !self.options.compressible {
            return Ok(out + friction / out);
        }
        let dynamic = self.options.momentum * flux * flux * self.rt;
        let mach = flux * self.rt.sqrt() / out;
        if mach > MACH_LIMIT {
            return Err(Error::Choked { mach, limit: MACH_LIMIT, place: "outlet channel" });
        }
        // (p² − p_out²)/2 − b G² RT ln(p/p_out) = friction, increasing and convex in p above p_out.
        let mut p = (out * out + 2.0 * friction).sqrt();
        for _ in 0..30 {
            let value = 0.5 * (p * p - out * out) - dynamic * (p / out).ln() - friction;
            let next = p - value / (p - dynamic / p);
            if (next / p - 1.0).abs() < 1e-15 {
                break;
            }
            p = next;
        }
        Ok(p)
    }

    fn choked(&self, nodes: &[Node], flow: f64, scale: f64) -> Error {
        let root = self.rt.sqrt();
        let area = self.intervals.first().map_or(f64::NAN, |i| i.places[0].area);
        let front = self.outlet_pressure + nodes.first().map_or(0.0, |n| n[1]) * scale;
        let inlet = flow * root / (area * front.max(self.outlet_pressure));
        let outlet = flow * root / (self.outlet_area * self.outlet_pressure);
        let (mach, place) =
            if inlet > outlet { (inlet, "inlet channel") } else { (outlet, "outlet channel") };
        Error::Choked { mach, limit: MACH_LIMIT, place }
    }

    /// Solves for a mass flow of the whole zone.
    fn solve(&mut self, mass_flow: f64) -> Result<State, Error> {
        let count = self.positions.len();
        if mass_flow <= 0.0 {
            return Ok(State {
                nodes: vec![[0.0; 3]; count],
                scale: 1.0,
                channels: 0.0,
                contraction: 0.0,
                expansion: 0.0,
            });
        }
        let flow = mass_flow / self.geometry.inlet_channels();
        let state = FlowState::new(mass_flow, self.temperature, self.outlet_pressure)?;
        let estimate = Filter { geometry: self.geometry, ..*self.filter };
        let estimate =
            pressure::closed_form(&estimate, &self.zone.deposits, self.gas, &state, Density::Mean)?;
        let scale = estimate.viscous().max(1e-9 * self.outlet_pressure);

        let mut nodes = match self.last.take() {
            Some(nodes) => self.newton(nodes, flow, scale),
            None => self.newton(self.guess(), flow, scale),
        };
        if nodes.is_err() {
            // Climb to the flow in steps, each starting from the one before.
            nodes = self.climb(flow, scale);
        }
        let nodes = nodes?;
        let front = nodes.first().map_or(0.0, |n| n[1]) * scale;
        let (rho_in, rho_out) = if self.options.compressible {
            ((self.outlet_pressure + front) / self.rt, self.outlet_pressure / self.rt)
        } else {
            (self.outlet_pressure / self.rt, self.outlet_pressure / self.rt)
        };
        let area = self.intervals.first().map_or(f64::NAN, |i| i.places[0].area);
        let head = |rho: f64, area: f64| 0.5 * (flow / area) * (flow / area) / rho;
        let contraction = self.zeta.0 * head(rho_in, area);
        let expansion = self.zeta.1 * head(rho_out, self.outlet_area);
        self.last = Some(nodes.clone());
        Ok(State { nodes, scale, channels: front, contraction, expansion })
    }

    fn climb(&mut self, flow: f64, scale: f64) -> Result<Vec<Node>, Error> {
        let mut nodes = self.guess();
        let mut before = 1.0;
        for part in [0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0] {
            // Pressures grow about in proportion to flow.
            for [_, p1, p2] in &mut nodes {
                *p1 *= part / before;
                *p2 *= part / before;
            }
            nodes = self.newton(nodes, flow * part, scale)?;
            before = part;
        }
        Ok(nodes)
    }

    /// Even wall flow, all of the drop across the wall.
    fn guess(&self) -> Vec<Node> {
        let length = self.layers.filtering_length();
        self.positions.iter().map(|x| [1.0 - x / length, 1.0, 0.0]).collect()
    }

    fn report(&self, state: &State, mass_flow: f64) -> ZoneSolution {
        let flow = mass_flow / self.geometry.inlet_channels();
        let pressure = |v: f64| self.outlet_pressure + v * state.scale;
        let inlet_pressure: Vec<f64> = state.nodes.iter().map(|n| pressure(n[1])).collect();
        let outlet_pressure: Vec<f64> = state.nodes.iter().map(|n| pressure(n[2])).collect();
        let places =
            self.intervals.iter().map(|i| &i.places[0]).chain(self.intervals.last().map(|i| &i.places[2]));
        let wall_velocity = places
            .zip(&state.nodes)
            .map(|(place, node)| {
                // dM1/dx = −4 a rho_w u_w; slopes() returns it per unit of flow.
                let slope = if flow > 0.0 { self.slopes(place, node, flow, state.scale) } else { None };
                let [p1, p2] = [pressure(node[1]), pressure(node[2])];
                let p = if self.options.compressible { 0.5 * (p1 + p2) } else { self.outlet_pressure };
                let flux = slope.map_or(0.0, |[g, _, _]| -g.v * flow);
                flux * self.rt / (4.0 * self.layers.width_clean * p)
            })
            .collect();
        ZoneSolution {
            mass_flow,
            channels: state.channels,
            contraction: state.contraction,
            expansion: state.expansion,
            position: self.positions.clone(),
            inlet_mass_flow: state.nodes.iter().map(|n| n[0] * flow).collect(),
            inlet_pressure,
            outlet_pressure,
            wall_velocity,
        }
    }
}

/// Node positions over `length`: the knots of both profiles, each piece cut evenly so that about
/// `wanted` intervals result.
fn mesh(zone: &Zone, wanted: usize, length: f64) -> Vec<f64> {
    let mut knots: Vec<f64> = Vec::new();
    for pieces in [zone.soot.pieces(), zone.ash.pieces()] {
        knots.extend((0..=pieces).map(|k| k as f64 / pieces as f64));
    }
    knots.sort_by(f64::total_cmp);
    knots.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    let mut nodes = vec![0.0];
    for pair in knots.windows(2) {
        let &[from, to] = pair else { continue };
        let cuts = ((to - from) * wanted as f64).ceil().max(1.0) as usize;
        nodes.extend((1..=cuts).map(|k| length * (from + (to - from) * k as f64 / cuts as f64)));
    }
    nodes
}
