//! Gravity transfer: how long a fill takes, what would make it faster, and where it stops by itself.
//!
//! Quasi-steady flow through a smooth tube, driven by the level difference and by the gas pressures above both
//! liquids. Common practice (no source): 2 L through a small bore takes 20 to 30 minutes, and is faster with the
//! receiver lower. [`Fill::plan`] is where to begin; which containers of which lots a fill takes is
//! [`crate::stock::pick`] for its volume, and [`crate::live`] follows it while it runs. Lengths are metres, volumes cubic metres, pressures pascal inside [`Setup`]; [`Fill`] speaks the
//! trade's units and carries uncertainty.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result, finite, not_negative, positive, result};
use crate::estimate::{Estimate, Uncertain, deviate, quasi_points};
use crate::fluid::{Fluid, Spread};
use crate::message::{Message, rounded};

/// Standard gravity, m/s2.
pub const GRAVITY: f64 = 9.80665;
/// Standard pressure of the air, Pa.
pub const ATMOSPHERE_PA: f64 = 101_325.0;
/// Reynolds number at which the flow is taken to leave the laminar regime (Avila et al. 2011, as in the package
/// `fluids`).
pub const CRITICAL_REYNOLDS: f64 = 2040.0;
/// What the model leaves out (developing flow, tube not round, swelling): relative standard uncertainty of time,
/// expert guess.
const DISCREPANCY: f64 = 0.10;
/// The same where the flow is transitional for a part of the time.
const DISCREPANCY_TRANSITIONAL: f64 = 0.20;
/// Width of the mass's 90 % interval, as a ratio, from which a measured density is asked for (our choice).
const WIDE_MASS: f64 = 1.03;
/// Width of the time's 90 % interval, as a ratio, from which the first weights should decide (our choice).
const WIDE_TIME: f64 = 3.0;
/// Surface tension of a hydrocarbon carrier, N/m (from memory).
const CARRIER_TENSION: f64 = 0.025;
/// Quasi-random points per plan.
const POINTS: usize = 256;

/// The tube between bottle and receiver.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Line {
    /// Inner diameter, m.
    pub bore_m: f64,
    /// Length, m.
    pub length_m: f64,
    /// Sum of loss coefficients, referred to the velocity in the tube: 2.5 for a plain tube (exit energy 2.0 laminar,
    /// sharp entry 0.5), 1 to 5 more for each coupling (range of the trade, calibrate).
    pub k_sum: f64,
}

/// How the bottle takes in air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Bottle {
    /// Open to the air above the liquid.
    Vented,
    /// Rigid and closed: the gas space expands and holds the liquid back.
    Closed {
        /// Gas above the liquid at the start, m3.
        gas_m3: f64,
    },
    /// Pressed by hand or air with a steady gauge pressure.
    Squeezed {
        /// Gauge pressure, Pa.
        gauge_pa: f64,
    },
    /// Soft and closed: walls come in as it empties and pull back.
    Collapsing {
        /// Volume given up per pascal of underpressure, m3/Pa (to be fitted).
        m3_per_pa: f64,
    },
    /// Closed with a vent tube reaching below the level: constant head until its tip is bare.
    Mariotte {
        /// Depth of the tube's tip below the level at the start, m.
        tip_below_level_m: f64,
    },
}

/// What is filled.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Receiver {
    /// Flexible: no back pressure until it is full.
    Pouch,
    /// Rigid with an open vent.
    RigidVented {
        /// Area of its liquid surface where the inlet is submerged and the rising level counts, m2; `None` when the
        /// liquid drips in from above.
        level_area_m2: Option<f64>,
    },
    /// Rigid and closed: its air is compressed and stops the flow.
    RigidUnvented {
        /// Air in it at the start, m3.
        gas_m3: f64,
    },
}

/// A transfer, in SI units.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    /// Tube.
    pub line: Line,
    /// Density of the liquid, kg/m3.
    pub density_kg_m3: f64,
    /// Dynamic viscosity, Pa s.
    pub viscosity_pa_s: f64,
    /// Height at the start from the level in the bottle to the level in the receiver (inlet submerged) or to the
    /// outlet (dripping in from above), m.
    pub head_m: f64,
    /// Area of the liquid surface in the bottle, m2.
    pub bottle_area_m2: f64,
    /// How the bottle takes in air.
    pub bottle: Bottle,
    /// What is filled.
    pub receiver: Receiver,
}

/// Regime of the flow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Regime {
    /// Reynolds number up to 2040.
    Laminar,
    /// No steady solution on either branch: held at 2040; true flow is unsteady, time good to about 20 %.
    Transitional,
    /// Above.
    Turbulent,
}

/// Flow at one instant.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Flow {
    /// Volume flow, m3/s.
    pub m3_per_s: f64,
    /// Reynolds number in the tube.
    pub reynolds: f64,
    /// Regime.
    pub regime: Regime,
}

/// Darcy friction factor of a smooth tube.
///
/// Laminar 64/Re up to Re 2040, above it the implicit law 1/sqrt(f) = -2 lg(2.51/(Re sqrt f)) of Prandtl and
/// von Karman (Colebrook with no roughness). Within 0.1 % of the package `fluids` 1.3.1 on the check rows LIQ-F-*.
/// Errors unless Re is above zero.
///
/// ```
/// # use additive::transfer::friction_factor;
/// assert!((friction_factor(1000.0)? - 0.064).abs() < 1e-12);
/// assert!((friction_factor(4000.0)? - 0.0399).abs() < 1e-4);
/// # Ok::<(), additive::Error>(())
/// ```
pub fn friction_factor(reynolds: f64) -> Result<f64> {
    let re = positive("Reynolds number", "", reynolds)?;
    result("friction factor", "", if re <= CRITICAL_REYNOLDS { 64.0 / re } else { turbulent_factor(re) })
}

fn turbulent_factor(re: f64) -> f64 {
    let mut x = 1.8 * (re / 6.9).log10(); // explicit start, Haaland 1983
    for _ in 0..6 {
        x = -2.0 * (2.51 * x / re).log10();
    }
    1.0 / (x * x)
}

/// Flow through the tube at a driving pressure (Pa).
///
/// Equation: p = (f L/d + K) rho v2/2. Laminar branch in closed form; turbulent by fixed-point iteration; where
/// neither has a root the Reynolds number is held at 2040. No pressure, no flow.
///
/// ```
/// # use additive::transfer::{Line, flow_at};
/// let line = Line { bore_m: 0.003, length_m: 1.5, k_sum: 2.5 };
/// let flow = flow_at(850.0 * 9.80665 * 0.5, &line, 850.0, 0.004)?;
/// assert!((flow.m3_per_s * 1e6 - 1.368).abs() < 0.005); // mL/s
/// # Ok::<(), additive::Error>(())
/// ```
pub fn flow_at(pressure_pa: f64, line: &Line, density_kg_m3: f64, viscosity_pa_s: f64) -> Result<Flow> {
    finite("driving pressure", "Pa", pressure_pa)?;
    check_line(line)?;
    positive("density", "kg/m3", density_kg_m3)?;
    positive("viscosity", "Pa s", viscosity_pa_s)?;
    let flow = flow_unchecked(pressure_pa, line, density_kg_m3, viscosity_pa_s);
    result("flow", "m3/s", flow.m3_per_s)?;
    result("Reynolds number", "", flow.reynolds)?;
    Ok(flow)
}

fn flow_unchecked(pressure_pa: f64, line: &Line, rho: f64, mu: f64) -> Flow {
    let Line { bore_m: d, length_m: length, k_sum: k } = *line;
    let area = std::f64::consts::PI * d * d / 4.0;
    let at = |v: f64, regime| Flow { m3_per_s: v * area, reynolds: rho * v * d / mu, regime };
    if pressure_pa <= 0.0 {
        return at(0.0, Regime::Laminar);
    }
    // K rho/2 v2 + 32 mu L/d2 v = p, in the form that stays exact for K = 0
    let a = 32.0 * mu * length / (d * d);
    let b = 0.5 * k * rho;
    let laminar = 2.0 * pressure_pa / (a + (a * a + 4.0 * b * pressure_pa).sqrt());
    let critical = CRITICAL_REYNOLDS * mu / (rho * d);
    if laminar <= critical {
        return at(laminar, Regime::Laminar);
    }
    let needed = |v: f64| (turbulent_factor(rho * v * d / mu) * length / d + k) * 0.5 * rho * v * v;
    if pressure_pa <= needed(critical) {
        return at(critical, Regime::Transitional);
    }
    let mut v = laminar;
    for _ in 0..40 {
        let f = turbulent_factor((rho * v * d / mu).max(CRITICAL_REYNOLDS));
        let next = (2.0 * pressure_pa / (rho * (f * length / d + k))).sqrt();
        let done = (next - v).abs() <= 1e-10 * next;
        v = next;
        if done {
            break;
        }
    }
    at(v.max(critical), Regime::Turbulent)
}

fn check_line(line: &Line) -> Result<()> {
    positive("bore", "m", line.bore_m)?;
    positive("length of the tube", "m", line.length_m)?;
    not_negative("sum of loss coefficients", "", line.k_sum)?;
    Ok(())
}

impl Setup {
    fn check(&self) -> Result<()> {
        check_line(&self.line)?;
        positive("density", "kg/m3", self.density_kg_m3)?;
        positive("viscosity", "Pa s", self.viscosity_pa_s)?;
        finite("head", "m", self.head_m)?;
        positive("area of the bottle", "m2", self.bottle_area_m2)?;
        match self.bottle {
            Bottle::Vented => 0.0,
            Bottle::Closed { gas_m3 } => positive("gas space of the bottle", "m3", gas_m3)?,
            Bottle::Squeezed { gauge_pa } => not_negative("pressure on the bottle", "Pa", gauge_pa)?,
            Bottle::Collapsing { m3_per_pa } => positive("compliance of the bottle", "m3/Pa", m3_per_pa)?,
            Bottle::Mariotte { tip_below_level_m } => {
                not_negative("depth of the vent tube", "m", tip_below_level_m)?
            }
        };
        match self.receiver {
            Receiver::Pouch | Receiver::RigidVented { level_area_m2: None } => 0.0,
            Receiver::RigidVented { level_area_m2: Some(area) } => {
                positive("area of the receiver", "m2", area)?
            }
            Receiver::RigidUnvented { gas_m3 } => positive("air in the receiver", "m3", gas_m3)?,
        };
        Ok(())
    }

    /// Pressure (Pa) that drives the flow after a volume (m3) has left the bottle. Never rises with volume.
    pub fn drive_pa(&self, out_m3: f64) -> f64 {
        let fallen = out_m3 / self.bottle_area_m2;
        let level = match self.bottle {
            Bottle::Mariotte { tip_below_level_m } => fallen.max(tip_below_level_m),
            _ => fallen,
        };
        let risen = match self.receiver {
            Receiver::RigidVented { level_area_m2: Some(area) } => out_m3 / area,
            _ => 0.0,
        };
        let above = match self.bottle {
            Bottle::Vented | Bottle::Mariotte { .. } => 0.0,
            // isothermal; vapour of the liquid left out
            Bottle::Closed { gas_m3 } => -ATMOSPHERE_PA * out_m3 / (gas_m3 + out_m3),
            Bottle::Squeezed { gauge_pa } => gauge_pa,
            Bottle::Collapsing { m3_per_pa } => -out_m3 / m3_per_pa,
        };
        let behind = match self.receiver {
            Receiver::RigidUnvented { gas_m3 } if out_m3 < gas_m3 => {
                ATMOSPHERE_PA * out_m3 / (gas_m3 - out_m3)
            }
            Receiver::RigidUnvented { .. } => f64::INFINITY,
            _ => 0.0,
        };
        self.density_kg_m3 * GRAVITY * (self.head_m - level - risen) + above - behind
    }

    /// Flow after a volume (m3) has left the bottle.
    pub fn flow_after(&self, out_m3: f64) -> Result<Flow> {
        self.check()?;
        let drive = self.drive_pa(not_negative("volume", "m3", out_m3)?);
        flow_at(drive.max(-1e300), &self.line, self.density_kg_m3, self.viscosity_pa_s)
    }

    /// Volume (m3) at which the flow stops by itself, whatever is in the bottle.
    ///
    /// For a rigid closed bottle whose level hardly falls this is Vg rho g h/(p0 - rho g h): millilitres. For a closed
    /// receiver Vr rho g h/(p0 + rho g h). Found by bisection of [`Setup::drive_pa`].
    pub fn stops_after_m3(&self) -> Result<f64> {
        self.check()?;
        Ok(self.stall_unchecked())
    }

    fn stall_unchecked(&self) -> f64 {
        if self.drive_pa(0.0) <= 0.0 {
            return 0.0;
        }
        let mut high = 1e-9;
        while self.drive_pa(high) > 0.0 {
            high *= 2.0;
            if high > 1e9 {
                return f64::INFINITY;
            }
        }
        let mut low = 0.0;
        for _ in 0..100 {
            let middle = 0.5 * (low + high);
            if self.drive_pa(middle) > 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        low
    }

    /// Time (s) to move a volume (m3).
    ///
    /// Equation: t = integral of dV/Q(V), quasi-steady. The variable u = -ln(1 - V/Vstop) takes the slow end near the
    /// stop out of the integrand; five-point Gauss on 24 panels. For laminar flow with K = 0 it is the closed form
    /// (A_b/c) ln(h0/(h0 - V/A_b)). Errors with [`Error::FlowStops`] when the flow ends before the volume is over.
    ///
    /// ```
    /// # use additive::transfer::*;
    /// let setup = Setup {
    ///     line: Line { bore_m: 0.003, length_m: 1.5, k_sum: 0.0 },
    ///     density_kg_m3: 850.0, viscosity_pa_s: 0.004, head_m: 0.8, bottle_area_m2: 0.01,
    ///     bottle: Bottle::Vented, receiver: Receiver::Pouch,
    /// };
    /// assert!((setup.seconds_for(2e-3)?.seconds - 1041.6).abs() < 0.1);
    /// # Ok::<(), additive::Error>(())
    /// ```
    pub fn seconds_for(&self, volume_m3: f64) -> Result<Drain> {
        self.check()?;
        positive("volume", "m3", volume_m3)?;
        self.drain_unchecked(volume_m3, 24)
    }

    fn drain_unchecked(&self, volume_m3: f64, panels: usize) -> Result<Drain> {
        let stop = self.stall_unchecked();
        if volume_m3 >= stop {
            return Err(Error::FlowStops { delivered_l: stop * 1e3, wanted_l: volume_m3 * 1e3 });
        }
        let flow =
            |v: f64| flow_unchecked(self.drive_pa(v), &self.line, self.density_kg_m3, self.viscosity_pa_s);
        let endless = stop.is_infinite();
        let end = if endless { volume_m3 } else { -(-volume_m3 / stop).ln_1p() };
        let (mut seconds, mut transitional) = (0.0, false);
        let step = end / panels as f64;
        for panel in 0..panels {
            for (x, w) in GAUSS {
                let u = step * (panel as f64 + 0.5 * (1.0 + x));
                let (v, scale) = if endless { (u, 1.0) } else { (-stop * (-u).exp_m1(), stop * (-u).exp()) };
                let f = flow(v);
                transitional |= f.regime == Regime::Transitional;
                seconds += 0.5 * w * step * scale / f.m3_per_s;
            }
        }
        let start = flow(0.0);
        result("time of the transfer", "s", seconds)?;
        result("Reynolds number", "", start.reynolds)?;
        Ok(Drain { seconds, start, transitional })
    }

    /// The course of a transfer: (s, m3) at `steps` equal steps of volume, from (0, 0).
    pub fn course(&self, volume_m3: f64, steps: usize) -> Result<Vec<(f64, f64)>> {
        let steps = steps.clamp(1, 1000);
        let mut course = vec![(0.0, 0.0)];
        for i in 1..=steps {
            let v = volume_m3 * i as f64 / steps as f64;
            course.push((self.seconds_for(v)?.seconds, v));
        }
        Ok(course)
    }
}

/// Nodes and weights of the five-point Gauss-Legendre rule.
const GAUSS: [(f64, f64); 5] = [
    (-0.906_179_845_938_664, 0.236_926_885_056_189_1),
    (-0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.0, 0.568_888_888_888_888_9),
    (0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.906_179_845_938_664, 0.236_926_885_056_189_1),
];

/// Time of a transfer.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Drain {
    /// Time, s.
    pub seconds: f64,
    /// Flow at the start.
    pub start: Flow,
    /// True when the flow is transitional for a part of the time: time good to about 20 %.
    pub transitional: bool,
}

/// Bore (m) below which a bottle cannot take in air through the tube that empties it.
///
/// Equation: d = sqrt(3.37 sigma/(rho g)), with sigma the surface tension, N/m (Bretherton 1961; from memory). Above it
/// an unvented bottle glugs, and its time cannot be told.
pub fn glug_bore_m(surface_tension_n_per_m: f64, density_kg_m3: f64) -> Result<f64> {
    positive("surface tension", "N/m", surface_tension_n_per_m)?;
    positive("density", "kg/m3", density_kg_m3)?;
    result("bore", "m", (3.37 * surface_tension_n_per_m / (density_kg_m3 * GRAVITY)).sqrt())
}

/// A fill as the technician describes it. Unknown uncertainties are the caller's to widen; nothing is assumed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fill {
    /// Volume to move, L.
    pub volume_l: f64,
    /// Inner diameter of the tube, mm.
    pub bore_mm: Uncertain,
    /// Length of the tube, m.
    pub length_m: Uncertain,
    /// Sum of loss coefficients; 2.5 for a plain tube, 1 to 5 more for each coupling.
    pub fittings_k: Uncertain,
    /// Height from the level in the bottle to the receiver's level or outlet at the start, cm.
    pub head_cm: Uncertain,
    /// Area of the liquid surface in the bottle, cm2.
    pub bottle_area_cm2: Uncertain,
    /// How the bottle takes in air.
    pub bottle: Bottle,
    /// What is filled.
    pub receiver: Receiver,
    /// Temperature of the liquid, degC.
    pub degc: f64,
    /// Gauge pressure a hand puts on the bottle, kPa, where pressing it is to be weighed as a lever.
    pub press_kpa: Option<Uncertain>,
}

/// What would make a fill faster.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Lever {
    /// Receiver 30 cm lower.
    LowerReceiver,
    /// Bottle warmed to 20 degC in warm water; never with a flame.
    WarmBottle,
    /// Bottle vented.
    VentBottle,
    /// Bottle pressed by hand with its vent closed.
    PressBottle,
}

/// A lever and what it does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LeverEffect {
    /// Lever.
    pub lever: Lever,
    /// Minutes the fill then takes; `None` when it would still stop by itself.
    pub minutes_then: Option<Estimate>,
    /// Minutes saved; `None` when the fill as set up stops by itself, so that nothing can be compared.
    pub minutes_saved: Option<Estimate>,
    /// What to say, caution with its reason included.
    pub say: Message,
}

/// Answer of [`Fill::plan`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FillPlan {
    /// Minutes; `None` when it is likelier than not that the flow stops by itself.
    pub minutes: Option<Estimate>,
    /// Probability that the flow stops before the volume is over.
    pub stops_probability: f64,
    /// Litres delivered when it stops, where it may.
    pub stops_after_l: Option<Estimate>,
    /// Reynolds number at the start.
    pub start_reynolds: Estimate,
    /// Share of cases that are transitional for a part of the time.
    pub transitional_share: f64,
    /// Mass to move, g: where to stop is the scale's figure at the start plus this (receiver) or minus this (bottle).
    pub mass_g: Estimate,
    /// Mass that stays in the tube when it was empty at the start, g.
    pub tube_g: f64,
    /// What would make it faster.
    pub levers: Vec<LeverEffect>,
    /// What to say.
    pub say: Vec<Message>,
}

/// One case drawn from the uncertainties.
struct Case {
    setup: Setup,
    viscosity_at_20_pa_s: Option<f64>,
    press_pa: Option<f64>,
    model: f64,
}

impl Fill {
    /// Minutes with their interval, what each lever saves and where to stop by weight.
    ///
    /// Uncertainties go through the draining equation at 256 quasi-random points (the same each time): bore, length,
    /// fittings, head and area as log-normals, the fluid's density evenly and its viscosity evenly in the logarithm
    /// between the limits of its class at today's temperature, and 10 % for what the model leaves out (20 % where the
    /// flow is transitional). Needs density and viscosity of the fluid, else refused with what to measure.
    pub fn plan(&self, fluid: &Fluid) -> Result<FillPlan> {
        let cases = self.cases(fluid)?;
        let volume_m3 = self.volume_l / 1000.0;
        let minutes = |setup: &Setup, model: f64| {
            setup.drain_unchecked(volume_m3, 12).map(|d| {
                let spread = if d.transitional { DISCREPANCY_TRANSITIONAL } else { DISCREPANCY };
                (d, d.seconds / 60.0 * (spread * model).exp())
            })
        };
        let base: Vec<_> = cases.iter().map(|c| minutes(&c.setup, c.model)).collect();
        let n = cases.len() as f64;
        let stopped: Vec<f64> = base
            .iter()
            .filter_map(|r| match r {
                Err(Error::FlowStops { delivered_l, .. }) => Some(*delivered_l),
                _ => None,
            })
            .collect();
        if let Some(other) = base.iter().find_map(|r| match r {
            Err(Error::FlowStops { .. }) | Ok(_) => None,
            Err(e) => Some(e.clone()),
        }) {
            return Err(other);
        }
        let stops_probability = stopped.len() as f64 / n;
        let reynolds: Vec<f64> = cases
            .iter()
            .map(|c| {
                let s = &c.setup;
                flow_unchecked(s.drive_pa(0.0), &s.line, s.density_kg_m3, s.viscosity_pa_s).reynolds
            })
            .collect();
        let transitional =
            base.iter().filter(|r| matches!(r, Ok((d, _)) if d.transitional)).count() as f64 / n;
        let flows = stops_probability <= 0.5;
        let levers = self
            .levers()
            .into_iter()
            .map(|lever| {
                let mut then = Vec::new();
                let mut saved = Vec::new();
                for (case, before) in cases.iter().zip(&base) {
                    if let Ok((_, after)) = minutes(&pulled(lever, case), case.model) {
                        then.push(after);
                        if let Ok((_, before)) = before {
                            saved.push(before - after);
                        }
                    }
                }
                let works = 2 * then.len() > cases.len();
                let minutes_then = if works { Estimate::of(then) } else { None };
                let minutes_saved = if works && flows { Estimate::of(saved) } else { None };
                LeverEffect { lever, minutes_then, minutes_saved, say: lever.say() }
            })
            .collect();
        let mass = Estimate::of(cases.iter().map(|c| c.setup.density_kg_m3 * self.volume_l).collect());
        let tube_m3 =
            std::f64::consts::PI / 4.0 * (self.bore_mm.value / 1000.0).powi(2) * self.length_m.value;
        let (Some(start_reynolds), Some(mass_g)) = (Estimate::of(reynolds), mass) else {
            return Err(Error::NotPhysical { what: "fill", value: f64::NAN, unit: "", want: "computable" });
        };
        let minutes = if flows {
            Estimate::of(base.iter().filter_map(|r| r.as_ref().ok().map(|(_, m)| *m)).collect())
        } else {
            None
        };
        let mut say = self.say(stops_probability, &stopped, transitional);
        if mass_g.p95 > WIDE_MASS * mass_g.p05 {
            say.push(Message::new("fill-measure-density"));
        }
        if minutes.is_some_and(|m| m.p95 > WIDE_TIME * m.p05) {
            say.push(Message::new("fill-measure-viscosity"));
        }
        Ok(FillPlan {
            minutes,
            stops_probability,
            stops_after_l: Estimate::of(stopped),
            start_reynolds,
            transitional_share: transitional,
            mass_g,
            tube_g: tube_m3 * mass_g.p50 / self.volume_l * 1000.0,
            levers,
            say,
        })
    }

    /// The set-up with every figure at its best value, for the live course of a fill.
    pub fn best_setup(&self, fluid: &Fluid) -> Result<Setup> {
        self.check()?;
        let (density, viscosity) = (fluid.density_kg_m3(self.degc)?, fluid.kinematic_mm2_s(self.degc)?);
        let nu = log_between(viscosity, 0.5);
        Ok(self.setup([0.0; 5], density.middle(), nu))
    }

    fn check(&self) -> Result<()> {
        positive("volume to fill", "L", self.volume_l)?;
        finite("temperature", "degC", self.degc)?;
        for (what, unit, u) in [
            ("bore", "mm", self.bore_mm),
            ("length of the tube", "m", self.length_m),
            ("head", "cm", self.head_cm),
            ("area of the bottle", "cm2", self.bottle_area_cm2),
        ] {
            u.checked(what, unit)?;
            positive(what, unit, u.value)?;
        }
        self.fittings_k.checked("sum of loss coefficients", "")?;
        not_negative("sum of loss coefficients", "", self.fittings_k.value)?;
        if let Some(press) = self.press_kpa {
            press.checked("pressure on the bottle", "kPa")?;
            not_negative("pressure on the bottle", "kPa", press.value)?;
        }
        self.setup([0.0; 5], 850.0, 4.0).check()
    }

    fn setup(&self, z: [f64; 5], density_kg_m3: f64, nu_mm2_s: f64) -> Setup {
        let [bore, length, k, head, area] = z;
        Setup {
            line: Line {
                bore_m: self.bore_mm.positive_at(bore) / 1000.0,
                length_m: self.length_m.positive_at(length),
                k_sum: self.fittings_k.positive_at(k),
            },
            density_kg_m3,
            viscosity_pa_s: nu_mm2_s * 1e-6 * density_kg_m3,
            head_m: self.head_cm.positive_at(head) / 100.0,
            bottle_area_m2: self.bottle_area_cm2.positive_at(area) / 1e4,
            bottle: self.bottle,
            receiver: self.receiver,
        }
    }

    fn cases(&self, fluid: &Fluid) -> Result<Vec<Case>> {
        self.check()?;
        let density = fluid.density_kg_m3(self.degc)?;
        let viscosity = fluid.kinematic_mm2_s(self.degc)?;
        let at_20 = fluid.kinematic_mm2_s(20.0).ok();
        quasi_points(POINTS, 9)
            .into_iter()
            .map(|p| {
                let [bore, length, k, head, area, rho, nu, press, model] = p.as_slice() else {
                    return Err(Error::NotPhysical {
                        what: "sample",
                        value: f64::NAN,
                        unit: "",
                        want: "nine numbers",
                    });
                };
                let rho = density.low + rho * (density.high - density.low);
                let z = [*bore, *length, *k, *head, *area].map(deviate);
                let setup = self.setup(z, rho, log_between(viscosity, *nu));
                setup.check()?;
                Ok(Case {
                    setup,
                    viscosity_at_20_pa_s: at_20.map(|v| log_between(v, *nu) * 1e-6 * rho),
                    press_pa: self.press_kpa.map(|p| p.positive_at(deviate(*press)) * 1000.0),
                    model: deviate(*model),
                })
            })
            .collect()
    }

    /// Levers that are not pulled yet.
    fn levers(&self) -> Vec<Lever> {
        let mut levers = vec![Lever::LowerReceiver];
        if self.degc < 20.0 {
            levers.push(Lever::WarmBottle);
        }
        if matches!(self.bottle, Bottle::Closed { .. } | Bottle::Collapsing { .. }) {
            levers.push(Lever::VentBottle);
        }
        if self.press_kpa.is_some() && !matches!(self.bottle, Bottle::Squeezed { .. }) {
            levers.push(Lever::PressBottle);
        }
        levers
    }

    fn say(&self, stops_probability: f64, stopped: &[f64], transitional: f64) -> Vec<Message> {
        let mut say = Vec::new();
        if stops_probability > 0.05 {
            let after = Estimate::of(stopped.to_vec()).map_or(0.0, |e| e.p50);
            say.push(
                Message::new("fill-stops-by-itself")
                    .number("percent", rounded(stops_probability * 100.0, 0))
                    .number("millilitres", rounded(after * 1000.0, 0)),
            );
        }
        // 850 kg/m3: the bore goes with the square root, so the carrier's own density does not matter here
        let glugs = glug_bore_m(CARRIER_TENSION, 850.0).is_ok_and(|bore| self.bore_mm.value / 1000.0 > bore);
        if matches!(self.bottle, Bottle::Closed { .. }) && glugs {
            say.push(Message::new("fill-may-glug"));
        }
        if transitional > 0.05 {
            say.push(Message::new("fill-transitional"));
        }
        say.push(Message::new("fill-no-flame"));
        say.push(Message::new("fill-wear"));
        say.push(Message::new("fill-makers-procedure"));
        say
    }
}

impl Lever {
    /// The lever in a sentence, with its caution.
    pub fn say(self) -> Message {
        Message::new(match self {
            Lever::LowerReceiver => "lever-lower-receiver",
            Lever::WarmBottle => "lever-warm-bottle",
            Lever::VentBottle => "lever-vent-bottle",
            Lever::PressBottle => "lever-press-bottle",
        })
    }
}

/// The set-up of a case with a lever pulled.
fn pulled(lever: Lever, case: &Case) -> Setup {
    let mut setup = case.setup;
    match lever {
        Lever::LowerReceiver => setup.head_m += 0.30,
        Lever::WarmBottle => {
            if let Some(mu) = case.viscosity_at_20_pa_s {
                setup.viscosity_pa_s = mu;
            }
        }
        Lever::VentBottle => setup.bottle = Bottle::Vented,
        Lever::PressBottle => {
            if let Some(gauge_pa) = case.press_pa {
                setup.bottle = Bottle::Squeezed { gauge_pa };
            }
        }
    }
    setup
}

fn log_between(spread: Spread, share: f64) -> f64 {
    (spread.low.ln() + share * (spread.high.ln() - spread.low.ln())).exp()
}
