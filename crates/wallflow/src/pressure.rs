//! Pressure drop of a wall-flow filter: closed-form two-channel solution (the default) and the
//! classic formula with even wall flow.
//!
//! Both leave out axial momentum and treat the density as one number; the full solution is in
//! [`crate::channel`]. Against measured loading curves the form holds to 1-4 %; the constants do not
//! (30-80 %), so fit them or integrate over them.

use crate::deposits::{Deposits, Layers};
use crate::error::Error;
use crate::gas::{FlowState, Gas};
use crate::geometry::Geometry;
use crate::media::Media;

/// Friction constant of laminar flow in a square duct: dp/dx = −F mu U/a², F = 2 (f Re)_Fanning
/// = 28.454 (Shah and London 1978; their polynomial gives 28.459).
pub const SQUARE_DUCT: f64 = 28.454;

/// Twice the Fanning f Re of a rectangular duct by Shah and London's polynomial.
///
/// `aspect`: short over long side, 0 to 1 (other values are turned round: 2 means 0.5).
///
/// ```
/// assert!((wallflow::pressure::duct_friction(1.0) - 28.4592).abs() < 1e-3);
/// assert!((wallflow::pressure::duct_friction(0.0) - 48.0).abs() < 1e-12);
/// ```
pub fn duct_friction(aspect: f64) -> f64 {
    let e = if aspect > 1.0 { aspect.recip() } else { aspect };
    let p = 1.0 + e * (-1.3553 + e * (1.9467 + e * (-1.7012 + e * (0.9564 - e * 0.2537))));
    48.0 * p
}

/// Losses where the gas enters and leaves the channels, and in cones and pipe between the taps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ends {
    /// zeta_c = 1.1 − 0.4 sig_in, zeta_e = (1 − sig_out)² (reference choice of this project; the
    /// literature holds sums of 0.8-1.6, from memory), cones without loss.
    Reference,
    /// Given constants.
    Given {
        /// Loss on entering, in velocity heads of the inlet channel.
        contraction: f64,
        /// Loss on leaving, in velocity heads of the outlet channel.
        expansion: f64,
        /// Cones and pipe between the taps: B in 1/m^4 with dP = B rho Q².
        cones: f64,
    },
    /// No losses.
    None,
}

impl Ends {
    /// Contraction and expansion loss factors and the constant of the cones.
    pub fn factors(&self, geometry: &Geometry, layers: &Layers) -> (f64, f64, f64) {
        match *self {
            Self::Reference => {
                let half = geometry.cells().per_area() / 2.0;
                let open_in = half * layers.width_after_soot * layers.width_after_soot;
                let closed_out = 1.0 - geometry.open_outlet_share();
                (1.1 - 0.4 * open_in, closed_out * closed_out, 0.0)
            }
            Self::Given { contraction, expansion, cones } => (contraction, expansion, cones),
            Self::None => (0.0, 0.0, 0.0),
        }
    }
}

/// A filter: body, media, end losses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Filter {
    /// Body.
    pub geometry: Geometry,
    /// Wall, cake and ash.
    pub media: Media,
    /// End losses.
    pub ends: Ends,
}

/// At which pressure the gas density of the closed forms is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Density {
    /// At p_out + dP/2 (default). Within 2.5 % of the compressible solution for mL below 2.
    Mean,
    /// At the outlet pressure. Up to 10 % too high on loaded filters; for comparison only.
    Outlet,
}

/// Pressure drop split by cause, Pa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PressureDrop {
    /// Wall, Darcy.
    pub wall: f64,
    /// Wall, Forchheimer.
    pub forchheimer: f64,
    /// Ash layer.
    pub ash: f64,
    /// Soot cake.
    pub soot: f64,
    /// Friction in the inlet channels.
    pub inlet_channels: f64,
    /// Friction in the outlet channels.
    pub outlet_channels: f64,
    /// Entering the channels.
    pub contraction: f64,
    /// Leaving the channels.
    pub expansion: f64,
    /// Cones and pipe between the taps.
    pub cones: f64,
    /// Density used, kg/m3.
    pub density: f64,
}

impl PressureDrop {
    /// Part proportional to viscosity and flow, Pa.
    pub fn viscous(&self) -> f64 {
        self.wall + self.ash + self.soot + self.inlet_channels + self.outlet_channels
    }
    /// Part proportional to density and flow squared, Pa.
    pub fn inertial(&self) -> f64 {
        self.forchheimer + self.contraction + self.expansion + self.cones
    }
    /// Sum, Pa.
    pub fn total(&self) -> f64 {
        self.viscous() + self.inertial()
    }
}

/// Viscous resistance of a filter split by cause, 1/m3: dP = resistance × mu × Q.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Viscous {
    /// Wall.
    pub wall: f64,
    /// Ash layer.
    pub ash: f64,
    /// Soot cake.
    pub soot: f64,
    /// Friction in inlet and outlet channels.
    pub channels: f64,
    /// Sum of all.
    pub total: f64,
}

/// Resistances across the wall, 1/m: (p1 − p2) = mu u_w × (wall + ash + soot), u_w on the clean face.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Across {
    pub wall: f64,
    pub ash: f64,
    pub soot: f64,
}

impl Across {
    pub fn sum(&self) -> f64 {
        self.wall + self.ash + self.soot
    }
}

/// Cross-wall resistances for given widths (m) of the channel.
pub(crate) fn across(
    geometry: &Geometry,
    media: &Media,
    fill: f64,
    widths: (f64, f64),
    mean_free_path: f64,
) -> Across {
    let (after_ash, after_soot) = widths;
    let clean = geometry.inlet_width();
    let ash = if after_ash < clean {
        clean / (2.0 * media.ash().permeability()) * (clean / after_ash).ln()
    } else {
        0.0
    };
    let soot = if after_soot < after_ash {
        clean / (2.0 * media.cake().permeability(mean_free_path)) * (after_ash / after_soot).ln()
    } else {
        0.0
    };
    Across { wall: geometry.wall() / media.wall().permeability(fill, mean_free_path), ash, soot }
}

/// Everything the closed form needs, per unit of mu and of flow.
struct Solved {
    across: Across,
    wall_share: f64,
    inlet: f64,
    outlet: f64,
    total: f64,
}

/// Closed form of the two-channel problem: pressure drop over mu Q (1/m3), split by dissipated power
/// (at constant density dP Q is exactly the power lost in wall and channels).
fn solve(geometry: &Geometry, layers: &Layers, across: Across, split_channels: bool) -> Solved {
    let a = layers.width_clean;
    let length = layers.filtering_length;
    let (in2, out2) = (
        layers.width_after_soot * layers.width_after_soot,
        geometry.outlet_width() * geometry.outlet_width(),
    );
    let (inlet, outlet) = (SQUARE_DUCT / (in2 * in2), SQUARE_DUCT / (out2 * out2));
    let both = inlet + outlet;
    let share_out = outlet / both;
    let share_in = 1.0 - share_out;
    let rw = across.sum();
    let m = (4.0 * a * both / rw).sqrt();
    let ml = m * length;
    let q = geometry.inlet_channels().recip();
    let plug = outlet * layers.plug_length;
    let mixed = share_in * share_in + share_out * share_out;
    let cross = share_in * share_out;
    // Integrals over the length: wall = the power integral of u_w², s1, s2 = of the deviation of the
    // inlet flow from its share.
    let (total, wall, s1, s2);
    if ml < 1e-3 {
        // Even wall flow; the next term is smaller by (mL)²/12.
        wall = rw / (4.0 * a * length);
        s1 = (share_in - share_out) * length / 2.0;
        s2 = length * (mixed - cross) / 3.0;
        total = wall + both * length * (mixed - cross) / 3.0 + cross * both * length;
    } else {
        let e = (-ml).exp();
        let square = 1.0 - e * e;
        let (csch, coth, half) = (2.0 * e / square, (1.0 + e * e) / square, (1.0 - e) / (1.0 + e));
        let start = m / (4.0 * a) * (share_in * coth + share_out * csch);
        total = rw * start + outlet * (share_in * length - (share_in - share_out) * half / m);
        let (l_csch2, coth_m, csch_m) = (length * csch * csch, coth / m, csch / m);
        wall = rw * m * m / (4.0 * a)
            * (mixed * (l_csch2 + coth_m) / 2.0 + cross * (length * coth * csch + csch_m));
        s1 = (share_in - share_out) * half / m;
        s2 = mixed * (coth_m - l_csch2) / 2.0 - cross * (length * coth * csch - csch_m);
    }
    let (mut friction_in, mut friction_out) = (0.0, 0.0);
    if split_channels {
        let s2 = s2.max(0.0);
        friction_in = inlet * (s2 + 2.0 * share_out * s1 + share_out * share_out * length);
        friction_out = outlet * (s2 - 2.0 * share_in * s1 + share_in * share_in * length) + plug;
    }
    Solved {
        across,
        wall_share: wall * q / rw,
        inlet: friction_in * q,
        outlet: friction_out * q,
        total: (total + plug) * q,
    }
}

/// Closed-form viscous resistance in exhaust gas: [`viscous_resistance_in`] with [`Gas::exhaust`].
///
/// # Example
/// ```
/// use wallflow::{Cells, Deposits, Gas, Geometry, Media, geometry::round_face, media, pressure};
/// let g = Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?;
/// let m = Media::default()
///     .with_wall(media::Wall::new(5e-13)?)
///     .with_cake(media::Cake::new(1.8e-12, 90.0)?);
/// let r = pressure::viscous_resistance(&g, &Deposits::new(3.0, 0.0, 0.0)?, &m, 573.15, 101_325.0)?;
/// let q = 200.0 / 3600.0 / 0.614082;
/// assert!((r.total * 2.86602e-5 * q - 3506.55).abs() < 0.5);
/// # Ok::<(), wallflow::Error>(())
/// ```
pub fn viscous_resistance(
    geometry: &Geometry,
    deposits: &Deposits,
    media: &Media,
    temperature: f64,
    pressure: f64,
) -> Result<Viscous, Error> {
    // The gas matters only through slip.
    viscous_resistance_in(&Gas::exhaust(), geometry, deposits, media, temperature, pressure)
}

/// Viscous resistance of a filter by the closed form of the two-channel problem, 1/m3.
///
/// # Equations
/// Two channels coupled by a wall, laminar friction, constant density, no axial momentum. With
/// q = Q/n, al = F mu/a2⁴, be = F mu/a_out⁴, th = be/(al + be), Rw = mu (w/k_w + (a/2k_a) ln(a/a1) +
/// (a/2k_s) ln(a1/a2)), m² = 4 a (al + be)/Rw:
///
/// u_w(0) = (q m/4a) ((1 − th) cosh mL + th)/sinh mL,
///
/// dP = Rw u_w(0) + be q ((1 − th) L − (1 − 2 th) tanh(mL/2)/m) + be q Lp.
///
/// All terms are proportional to mu Q. They are split by dissipated power: wall, ash and soot share
/// the integral of Rw u_w², the channels take the rest.
///
/// # Inputs
/// `temperature` K and `pressure` Pa absolute, both above 0, set only the slip in wall and cake;
/// without slip they are not used.
///
/// # Validity
/// Channel Reynolds numbers below about 2000. Leaving out axial momentum costs up to 3 %
/// with equal channels and up to 8 % on bare filters with much wider inlet channels (see
/// [`crate::channel`]). A full channel is an error.
///
/// # References
/// Bissett, Chem. Eng. Sci. 39 (1984) 1233 (model); closed form derived by this project and checked
/// against a boundary-value solver.
pub fn viscous_resistance_in(
    gas: &Gas,
    geometry: &Geometry,
    deposits: &Deposits,
    media: &Media,
    temperature: f64,
    pressure: f64,
) -> Result<Viscous, Error> {
    let layers = deposits.layers(geometry, media)?;
    let lam = mean_free_path(gas, media, pressure, temperature)?;
    let fill = media.wall().fill_of(deposits.soot(), deposits.wall_fill());
    let widths = (layers.width_after_ash, layers.width_after_soot);
    let s = solve(geometry, &layers, across(geometry, media, fill, widths, lam), false);
    let (wall, ash, soot) =
        (s.across.wall * s.wall_share, s.across.ash * s.wall_share, s.across.soot * s.wall_share);
    Ok(Viscous { wall, ash, soot, channels: s.total - wall - ash - soot, total: s.total })
}

/// Mean free path if any medium needs it, else zero.
fn mean_free_path(gas: &Gas, media: &Media, pressure: f64, temperature: f64) -> Result<f64, Error> {
    if !media.needs_slip() {
        return Ok(0.0);
    }
    let lam = gas.mean_free_path(pressure, temperature);
    if lam.is_finite() && lam > 0.0 {
        Ok(lam)
    } else {
        Err(Error::NotFinite { what: "mean free path from temperature and pressure", value: lam })
    }
}

/// Inertial constant of the filter faces, 1/m4: dP = B rho Q².
///
/// # Equation
/// B = zeta_c/(2 (n a2²)²) + zeta_e/(2 (n a_out²)²).
///
/// # Inputs
/// Loss factors in velocity heads of the channels. On a vehicle cones, bends and pipe between the
/// taps usually add several times this; treat B as a constant of the vehicle.
///
/// # Example
/// ```
/// use wallflow::{Cells, Deposits, Geometry, Media, geometry::round_face, pressure};
/// let g = Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?;
/// let b = pressure::inertial_coefficient(&g, &Deposits::NONE, &Media::default(), 0.9621, 0.4294)?;
/// let q = 200.0 / 3600.0 / 0.614082;
/// assert!((b * 0.614082 * q * q - (77.1516 + 34.4352)).abs() < 0.1);
/// # Ok::<(), wallflow::Error>(())
/// ```
pub fn inertial_coefficient(
    geometry: &Geometry,
    deposits: &Deposits,
    media: &Media,
    zeta_contraction: f64,
    zeta_expansion: f64,
) -> Result<f64, Error> {
    let layers = deposits.layers(geometry, media)?;
    let (c, e) = head_areas(geometry, &layers);
    Ok(zeta_contraction * c + zeta_expansion * e)
}

/// 1/(2 A²) of all inlet and of all outlet channels, 1/m4.
fn head_areas(geometry: &Geometry, layers: &Layers) -> (f64, f64) {
    let n = geometry.inlet_channels();
    let inlet = n * layers.width_after_soot * layers.width_after_soot;
    let outlet = n * geometry.outlet_width() * geometry.outlet_width();
    (0.5 / (inlet * inlet), 0.5 / (outlet * outlet))
}

/// Pressure drop by the closed form, split by cause.
///
/// # Equations
/// [`viscous_resistance_in`] times mu Q, plus the Forchheimer term beta rho u_w² w with the mean wall
/// velocity, plus zeta_c rho U_i²/2 + zeta_e rho U_o²/2 + B rho Q². With [`Density::Mean`] the density
/// satisfies rho = rho(p_out + dP/2) exactly.
///
/// # Inputs
/// SI; see [`FlowState`], [`Deposits`], [`Filter`].
///
/// # Validity
/// As [`viscous_resistance_in`]; [`FlowState::notes`] says when the gas temperature is outside its
/// correlation.
///
/// # Example
/// ```
/// use wallflow::{Cells, Density, Deposits, Ends, Filter, FlowState, Gas, Geometry, Media};
/// use wallflow::{geometry::round_face, media, pressure};
/// let filter = Filter {
///     geometry: Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?,
///     media: Media::default()
///         .with_wall(media::Wall::new(5e-13)?)
///         .with_cake(media::Cake::new(1.8e-12, 90.0)?),
///     ends: Ends::None,
/// };
/// let flow = FlowState::new(200.0 / 3600.0, 573.15, 101_325.0)?;
/// let d = pressure::closed_form(
///     &filter, &Deposits::new(6.0, 0.0, 0.0)?, &Gas::exhaust(), &flow, Density::Outlet)?;
/// assert!((d.total() / 5991.8 - 1.0).abs() < 5e-4);
/// # Ok::<(), wallflow::Error>(())
/// ```
///
/// # References
/// As [`viscous_resistance_in`].
pub fn closed_form(
    filter: &Filter,
    deposits: &Deposits,
    gas: &Gas,
    flow: &FlowState,
    density: Density,
) -> Result<PressureDrop, Error> {
    evaluate(filter, deposits, gas, flow, density, |geometry, layers, across| {
        let s = solve(geometry, layers, across, true);
        // Friction is what the wall leaves of the total; the split keeps its proportion.
        let channels = (s.total - s.across.sum() * s.wall_share).max(0.0);
        let scale = channels / (s.inlet + s.outlet);
        (s.wall_share, s.inlet * scale, s.outlet * scale)
    })
}

/// Pressure drop by the classic formula with even wall flow, split by cause.
///
/// # Equations
/// u_w = Q/(4 a Le n), U_i = Q/(n a2²), U_o = Q/(n a_out²). Wall mu u_w w/k_w, ash
/// (mu u_w a/2k_a) ln(a/a1), soot (mu u_w a/2k_s) ln(a1/a2), inlet F mu U_i Le/(3 a2²), outlet
/// F mu U_o (Le/3 + Lp)/a_out², ends as in [`closed_form`].
///
/// # Inputs
/// As [`closed_form`].
///
/// # Validity
/// First-order expansion of the closed form in (mL)²: 0.1-0.5 % high for mL below 2, 5 % high for a
/// bare, very permeable wall. Kept for comparison with the literature; prefer [`closed_form`].
///
/// # Example
/// ```
/// use wallflow::{Cells, Density, Deposits, Ends, Filter, FlowState, Gas, Geometry, Media};
/// use wallflow::{geometry::round_face, media, pressure};
/// let filter = Filter {
///     geometry: Geometry::new(Cells::from_cpsi_mil(200.0, 12.0)?, round_face(0.1438), 0.1524)?,
///     media: Media::default().with_wall(media::Wall::new(5e-13)?),
///     ends: Ends::Reference,
/// };
/// let flow = FlowState::new(200.0 / 3600.0, 573.15, 101_325.0)?;
/// let d = pressure::classic(&filter, &Deposits::NONE, &Gas::exhaust(), &flow, Density::Outlet)?;
/// assert!((d.total() - 1404.4).abs() < 1.0);
/// # Ok::<(), wallflow::Error>(())
/// ```
///
/// # References
/// Konstandopoulos and Johnson, SAE 890405 (form from memory, derived again).
pub fn classic(
    filter: &Filter,
    deposits: &Deposits,
    gas: &Gas,
    flow: &FlowState,
    density: Density,
) -> Result<PressureDrop, Error> {
    evaluate(filter, deposits, gas, flow, density, |geometry, layers, _| {
        let n = geometry.inlet_channels();
        let length = layers.filtering_length;
        let (i2, o2) = (
            layers.width_after_soot * layers.width_after_soot,
            geometry.outlet_width() * geometry.outlet_width(),
        );
        (
            1.0 / (4.0 * layers.width_clean * length * n),
            SQUARE_DUCT * length / (3.0 * n * i2 * i2),
            SQUARE_DUCT * (length / 3.0 + layers.plug_length) / (n * o2 * o2),
        )
    })
}

/// Shared part of the two formulas. `viscous` returns, per mu Q: the factor of the cross-wall
/// resistances, the inlet friction, the outlet friction.
fn evaluate(
    filter: &Filter,
    deposits: &Deposits,
    gas: &Gas,
    flow: &FlowState,
    density: Density,
    viscous: impl Fn(&Geometry, &Layers, Across) -> (f64, f64, f64),
) -> Result<PressureDrop, Error> {
    let (geometry, media) = (&filter.geometry, &filter.media);
    let layers = deposits.layers(geometry, media)?;
    let fill = media.wall().fill_of(deposits.soot(), deposits.wall_fill());
    let widths = (layers.width_after_ash, layers.width_after_soot);
    let (temperature, outlet) = (flow.temperature(), flow.outlet_pressure());
    let mu_m = gas.viscosity(temperature) * flow.mass_flow();
    let m2 = flow.mass_flow() * flow.mass_flow();
    let rt = gas.specific_constant() * temperature;

    let (zeta_c, zeta_e, cones) = filter.ends.factors(geometry, &layers);
    let (head_c, head_e) = head_areas(geometry, &layers);
    let face = 4.0 * layers.width_clean * layers.filtering_length * geometry.inlet_channels();
    let forchheimer = media.wall().forchheimer() * geometry.wall() / (face * face);
    let inertial = forchheimer + zeta_c * head_c + zeta_e * head_e + cones;

    // dP = K/p_mean, so with p_mean = p_out + dP/2 the drop solves a quadratic. Only slip, which
    // depends weakly on pressure, needs repeated passes.
    let mut pressure = outlet;
    let repeat = density == Density::Mean && media.needs_slip();
    let (mut parts, mut split);
    let (mut older, mut old) = (f64::NAN, f64::NAN);
    let mut pass = 0;
    loop {
        let lam = mean_free_path(gas, media, pressure, temperature)?;
        parts = across(geometry, media, fill, widths, lam);
        split = viscous(geometry, &layers, parts);
        if density == Density::Outlet {
            break;
        }
        let (wall, inlet, outlet_friction) = split;
        let k = rt * (mu_m * (parts.sum() * wall + inlet + outlet_friction) + m2 * inertial);
        let drop = 2.0 * k / (outlet + (outlet * outlet + 2.0 * k).sqrt());
        let next = outlet + drop / 2.0;
        pass += 1;
        if !repeat || pass >= 30 || (next - pressure).abs() <= 1e-8 * pressure {
            pressure = next;
            break;
        }
        // Secant on next(p) − p from the second pass on.
        let miss = next - pressure;
        let slope = (miss - old) / (pressure - older);
        (older, old) = (pressure, miss);
        let jump = if slope < -0.2 { pressure - miss / slope } else { next };
        pressure = jump.max(outlet);
    }
    let rho = pressure / rt;
    let (viscous_scale, inertial_scale) = (mu_m / rho, m2 / rho);
    let (wall, inlet, outlet_friction) = split;
    let result = PressureDrop {
        wall: parts.wall * wall * viscous_scale,
        forchheimer: forchheimer * inertial_scale,
        ash: parts.ash * wall * viscous_scale,
        soot: parts.soot * wall * viscous_scale,
        inlet_channels: inlet * viscous_scale,
        outlet_channels: outlet_friction * viscous_scale,
        contraction: zeta_c * head_c * inertial_scale,
        expansion: zeta_e * head_e * inertial_scale,
        cones: cones * inertial_scale,
        density: rho,
    };
    let total = result.total();
    if total.is_finite() { Ok(result) } else { Err(Error::NotFinite { what: "pressure drop", value: total }) }
}
