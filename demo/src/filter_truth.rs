//! The filter as it truly is: body, constants, deposits, and the pressure difference between its taps by
//! the one-dimensional solution, in one or two radial zones.

use crate::draw::Draw;
use crate::gas;
use crate::one_d::{Channel, STATIONS};
use facts::case::Material;

/// Standard temperature of the standard pressure drop, K (300 degC).
pub const STANDARD_TEMPERATURE: f64 = 573.15;
/// Outlet pressure of the standard pressure drop, Pa.
pub const STANDARD_PRESSURE: f64 = 101_325.0;

/// Body of the filter, known to whoever can read a catalogue.
#[derive(Debug, Clone, Copy)]
pub struct Body {
    /// Substrate material.
    pub material: Material,
    /// Diameter of a round body, or the diameter of the circle of equal area, m.
    pub diameter: f64,
    /// Axes of an oval body, m, when it is not round.
    pub oval: Option<(f64, f64)>,
    /// Length, m.
    pub length: f64,
    /// Cells per square inch.
    pub cpsi: f64,
    /// Wall thickness, m.
    pub wall: f64,
    /// Inlet channel width over outlet channel width.
    pub width_ratio: f64,
}

impl Body {
    /// Volume, m3.
    #[must_use]
    pub fn volume(&self) -> f64 {
        std::f64::consts::FRAC_PI_4 * self.diameter * self.diameter * self.length
    }

    /// Volume, L.
    #[must_use]
    pub fn volume_l(&self) -> f64 {
        self.volume() * 1e3
    }

    fn channels(&self) -> f64 {
        self.cpsi / (0.0254 * 0.0254) * std::f64::consts::FRAC_PI_4 * self.diameter * self.diameter / 2.0
    }

    fn widths(&self) -> (f64, f64) {
        let open = 0.0254 / self.cpsi.sqrt() - self.wall;
        let outlet = 2.0 * open / (1.0 + self.width_ratio);
        (self.width_ratio * outlet, outlet)
    }

    /// Draws a body for an engine of `displacement` L.
    pub fn draw(draw: &mut Draw, displacement: f64, heavy: bool) -> Self {
        let material = match (heavy, draw.weighted(&[0.2, 0.65, 0.15])) {
            (true, 1) if draw.chance(0.7) => Material::Cordierite,
            (_, 0) => Material::Cordierite,
            (_, 1) => Material::SiliconCarbide,
            _ => Material::AluminiumTitanate,
        };
        let (cpsi, wall_mil) = match material {
            Material::Cordierite => draw.pick([(200.0, 12.0), (200.0, 13.0), (300.0, 9.0)]),
            Material::SiliconCarbide => {
                draw.pick([(200.0, 14.0), (300.0, 10.0), (300.0, 12.0), (180.0, 20.0)])
            }
            Material::AluminiumTitanate => draw.pick([(300.0, 13.0), (300.0, 12.0)]),
        };
        let volume =
            displacement * if heavy { draw.uniform(1.1, 1.9) } else { draw.uniform(1.2, 2.1) } * 1e-3;
        let slender = draw.uniform(0.8, 1.5);
        // Catalogue steps: half a millimetre in length, a tenth of an inch in diameter.
        let diameter = (volume / slender * 4.0 / std::f64::consts::PI).cbrt();
        let diameter = (diameter / 0.00254).round() * 0.00254;
        let length = volume / (std::f64::consts::FRAC_PI_4 * diameter * diameter);
        let length = (length / 0.0005).round() * 0.0005;
        let oval = (!heavy && draw.chance(0.12)).then(|| {
            let stretch = draw.uniform(1.1, 1.5).sqrt();
            (diameter * stretch, diameter / stretch)
        });
        let width_ratio = if draw.chance(0.3) { draw.pick([1.1, 1.15, 1.2, 1.3, 1.4]) } else { 1.0 };
        Self { material, diameter, oval, length, cpsi, wall: wall_mil * 25.4e-6, width_ratio }
    }
}

/// Constants nobody can look up, drawn for each filter.
#[derive(Debug, Clone, Copy)]
pub struct Constants {
    /// Permeability of the bare wall, m2.
    pub wall_permeability: f64,
    /// Resistance of the wall full of soot over that of the bare wall.
    pub wall_jump: f64,
    /// Soot load over which the wall fills (1/e), kg/m3.
    pub wall_filling: f64,
    /// Pore of the wall for slip, m.
    pub wall_pore: f64,
    /// Permeability times packing density of the soot cake at 280 degC, kg/m.
    pub soot_product: f64,
    /// Packing density of the soot cake, kg/m3.
    pub soot_packing: f64,
    /// Pore of the cake for slip, m.
    pub cake_pore: f64,
    /// Permeability times packing density of the ash layer, kg/m.
    pub ash_product: f64,
    /// Packing density of the ash layer, kg/m3.
    pub ash_packing: f64,
    /// Packing density of the ash plug, kg/m3.
    pub plug_packing: f64,
    /// Share of the ash in the plug.
    pub plug_share: f64,
    /// Contraction loss in velocity heads of the inlet channels.
    pub contraction: f64,
    /// Expansion loss in velocity heads of the outlet channels.
    pub expansion: f64,
    /// Loss of cones and pipe between the taps: dP = cone rho Q2, 1/m4.
    pub cone: f64,
    /// Forchheimer constant of the wall, 1/m.
    pub forchheimer: f64,
    /// Momentum factor of the channel flow.
    pub momentum: f64,
    /// Ceramic plugs at both ends, m together.
    pub ceramic_plugs: f64,
    /// Soot gradient along the channel (-1..1) and its hump.
    pub soot_slope: f64,
    /// Size of the hump in the soot profile.
    pub soot_hump: f64,
    /// Ash gradient along the channel.
    pub ash_slope: f64,
    /// Size of a mid-channel ash heap (0 = none), as a multiple of the mean layer.
    pub ash_heap: f64,
    /// Outer zone: share of the face (0 = one zone), soot and ash there over the mean of the inner one, share
    /// of the excess temperature lost.
    pub outer: Outer,
}

/// The outer radial zone.
#[derive(Debug, Clone, Copy)]
pub struct Outer {
    /// Share of the face, 0 when the filter has one zone.
    pub share: f64,
    /// Soot per volume there over that in the core.
    pub soot: f64,
    /// Ash per volume there over that in the core.
    pub ash: f64,
    /// Share of the gas temperature above ambient that is lost there.
    pub cooling: f64,
}

impl Constants {
    /// Draws constants, wider than the literature suggests.
    pub fn draw(draw: &mut Draw, body: &Body, heavy: bool) -> Self {
        let (median, spread) = match body.material {
            Material::Cordierite => (3.6e-13, 0.50),
            Material::SiliconCarbide => (9.0e-13, 0.55),
            Material::AluminiumTitanate => (6.0e-13, 0.55),
        };
        let zoned = draw.chance(0.5);
        // Velocity heads in the pipe between the taps: pipe 45-70 mm for cars, 90-130 mm for heavy ones.
        let pipe = if heavy { draw.uniform(0.09, 0.13) } else { draw.uniform(0.045, 0.07) };
        let heads = draw.log_uniform(0.2, 2.5);
        let area = std::f64::consts::FRAC_PI_4 * pipe * pipe;
        Self {
            wall_permeability: draw.log_normal(median, spread),
            wall_jump: if draw.chance(0.45) {
                draw.uniform(1.0, 1.25)
            } else {
                draw.log_normal(2.0, 0.5).clamp(1.0, 6.0)
            },
            wall_filling: draw.log_uniform(0.15, 0.8),
            wall_pore: draw.log_uniform(8e-6, 28e-6),
            soot_product: draw.log_normal(if heavy { 1.8e-12 } else { 2.5e-12 }, 0.52),
            soot_packing: draw.log_normal(95.0, 0.22),
            cake_pore: draw.log_uniform(40e-9, 300e-9),
            ash_product: draw.log_normal(2.0e-11, 0.5),
            ash_packing: draw.log_normal(400.0, 0.3),
            plug_packing: draw.log_normal(480.0, 0.2),
            plug_share: draw.uniform(0.05, 0.97),
            contraction: draw.uniform(0.2, 1.15),
            expansion: draw.uniform(0.3, 0.65),
            cone: heads / (2.0 * area * area),
            forchheimer: if draw.chance(0.5) { 0.0 } else { draw.log_uniform(1e5, 5e7) },
            momentum: draw.uniform(1.0, 1.38),
            ceramic_plugs: draw.uniform(0.008, 0.022),
            soot_slope: draw.normal(0.0, 0.2).clamp(-0.5, 0.5),
            soot_hump: draw.normal(0.0, 0.1).clamp(-0.25, 0.25),
            ash_slope: draw.normal(0.25, 0.25).clamp(-0.5, 0.8),
            ash_heap: if draw.chance(0.07) { draw.uniform(1.0, 4.0) } else { 0.0 },
            outer: Outer {
                share: if zoned { draw.uniform(0.2, 0.55) } else { 0.0 },
                soot: draw.uniform(0.4, 1.05),
                ash: draw.uniform(0.6, 1.1),
                cooling: draw.uniform(0.0, 0.12),
            },
        }
    }
}

/// What lies in the filter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// Soot, g/L of filter volume.
    pub soot: f64,
    /// Ash, g/L of filter volume.
    pub ash: f64,
    /// True when a partial burn left the wall bare under the cake.
    pub bare_wall: bool,
}

impl Load {
    /// Nothing at all.
    pub const NONE: Self = Self { soot: 0.0, ash: 0.0, bare_wall: true };
}

struct Zone {
    channel: Channel,
    channels: f64,
    cooling: f64,
    open_inlet: f64,
}

/// A filter in one state, ready to be asked for pressure differences.
pub struct Solid {
    zones: Vec<Zone>,
    constants: Constants,
    outlet_width: f64,
}

/// Reason why a state cannot be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the deposits do not fit into the channels")]
pub struct DoesNotFit;

impl Solid {
    /// Lays `load` into the filter.
    ///
    /// # Errors
    /// When soot and ash do not fit.
    pub fn new(body: &Body, constants: &Constants, load: Load) -> Result<Self, DoesNotFit> {
        let outer = constants.outer;
        let mean = |ratio: f64| 1.0 - outer.share + outer.share * ratio;
        let mut zones = Vec::new();
        for (share, soot, ash, cooling) in [
            (1.0 - outer.share, 1.0 / mean(outer.soot), 1.0 / mean(outer.ash), 0.0),
            (outer.share, outer.soot / mean(outer.soot), outer.ash / mean(outer.ash), outer.cooling),
        ] {
            if share > 0.0 {
                let here = Load { soot: load.soot * soot, ash: load.ash * ash, bare_wall: load.bare_wall };
                zones.push(Self::zone(body, constants, here, share, cooling)?);
            }
        }
        Ok(Self { zones, constants: *constants, outlet_width: body.widths().1 })
    }

    fn zone(body: &Body, c: &Constants, load: Load, share: f64, cooling: f64) -> Result<Zone, DoesNotFit> {
        let (inlet, outlet) = body.widths();
        let per_channel = body.volume() / body.channels();
        let filtering = body.length - c.ceramic_plugs;
        let plug = c.plug_share * load.ash * per_channel / (inlet * inlet * c.plug_packing);
        let length = filtering - plug;
        if length < 0.2 * filtering {
            return Err(DoesNotFit);
        }
        let mut after_ash = [0.0; STATIONS];
        let mut after_soot = [0.0; STATIONS];
        let shape = |i: usize, slope: f64, hump: f64, heap: f64| {
            let x = i as f64 / (STATIONS - 1) as f64;
            let bump = heap * (-((x - 0.55) / 0.08).powi(2)).exp();
            1.0 + slope * (2.0 * x - 1.0) + hump * (std::f64::consts::TAU * x).cos() + bump
        };
        let mean = |slope: f64, hump: f64, heap: f64| {
            // Trapezoid over the stations, as the mass is laid.
            (0..STATIONS)
                .map(|i| shape(i, slope, hump, heap) * if i == 0 || i == STATIONS - 1 { 0.5 } else { 1.0 })
                .sum::<f64>()
                / (STATIONS - 1) as f64
        };
        let ash_mean = mean(c.ash_slope, 0.0, c.ash_heap);
        let soot_mean = mean(c.soot_slope, c.soot_hump, 0.0);
        for i in 0..STATIONS {
            let ash = (1.0 - c.plug_share) * load.ash * per_channel / length / c.ash_packing
                * shape(i, c.ash_slope, 0.0, c.ash_heap)
                / ash_mean;
            let soot = load.soot * per_channel / length / c.soot_packing
                * shape(i, c.soot_slope, c.soot_hump, 0.0)
                / soot_mean;
            let open_ash = inlet * inlet - ash;
            let open_soot = open_ash - soot;
            if open_soot < 0.02 * inlet * inlet {
                return Err(DoesNotFit);
            }
            after_ash[i] = open_ash.sqrt();
            after_soot[i] = open_soot.sqrt();
        }
        let fill = if load.bare_wall { 0.0 } else { 1.0 - (-load.soot / c.wall_filling).exp() };
        // The product holds for gas at 280 degC and 1 atm (where filters were measured); take slip out.
        let slip = gas::slip(c.cake_pore, STANDARD_PRESSURE, 553.15);
        let channel = Channel {
            length,
            plug,
            inlet,
            outlet,
            after_ash,
            after_soot,
            wall: body.wall,
            wall_permeability: [c.wall_permeability / (1.0 + (c.wall_jump - 1.0) * fill); STATIONS],
            wall_pore: c.wall_pore,
            ash_permeability: c.ash_product / c.ash_packing,
            cake_permeability: c.soot_product / c.soot_packing / slip,
            cake_pore: c.cake_pore,
            forchheimer: c.forchheimer,
            momentum: c.momentum,
        };
        Ok(Zone { open_inlet: after_soot[0], channel, channels: body.channels() * share, cooling })
    }

    fn zone_drop(&self, zone: &Zone, flow: f64, temperature: f64, p_out: f64) -> Option<f64> {
        let temperature = temperature - zone.cooling * (temperature - 295.0);
        let per_channel = flow / zone.channels;
        let body = zone.channel.pressure_drop(per_channel, temperature, p_out)?;
        let rho = gas::density(p_out + body / 2.0, temperature);
        let u_in = per_channel / (rho * zone.open_inlet * zone.open_inlet);
        let u_out = per_channel / (rho * self.outlet_width * self.outlet_width);
        Some(
            body + rho / 2.0
                * (self.constants.contraction * u_in * u_in + self.constants.expansion * u_out * u_out),
        )
    }

    /// Pressure difference between the taps, Pa, for `flow` kg/s at `temperature` K with `p_out` Pa behind.
    /// `None` when the solution does not converge.
    #[must_use]
    pub fn pressure_drop(&self, flow: f64, temperature: f64, p_out: f64) -> Option<f64> {
        let across = match self.zones.as_slice() {
            [one] => self.zone_drop(one, flow, temperature, p_out)?,
            [core, outer] => {
                let mut x = core.channels / (core.channels + outer.channels);
                let mut drop = 0.0;
                for _ in 0..30 {
                    let a = self.zone_drop(core, x * flow, temperature, p_out)?;
                    let b = self.zone_drop(outer, (1.0 - x) * flow, temperature, p_out)?;
                    drop = 0.5 * (a + b);
                    if (a - b).abs() < 1e-4 * drop {
                        break;
                    }
                    let (ra, rb) = (a / x, b / (1.0 - x));
                    x = rb / (ra + rb);
                }
                drop
            }
            _ => return None,
        };
        let rho = gas::density(p_out + across / 2.0, temperature);
        Some(across + self.constants.cone * flow * flow / rho)
    }

    /// Tabulates the pressure difference for flows up to `max_flow` kg/s in front of a silencer.
    ///
    /// # Errors
    /// When the solution does not converge somewhere.
    pub fn table(&self, max_flow: f64, ambient: f64, silencer: Silencer) -> Result<Table, DoesNotFit> {
        let flows: Vec<f64> = FLOW_STEPS.iter().map(|f| f * max_flow).collect();
        let mut log_resistance = Vec::with_capacity(flows.len());
        for &flow in &flows {
            let mut row = [0.0; TEMPERATURES.len()];
            for (cell, &temperature) in row.iter_mut().zip(&TEMPERATURES) {
                let p_out = ambient + silencer.back_pressure(flow, temperature);
                let drop = self.pressure_drop(flow, temperature, p_out).ok_or(DoesNotFit)?;
                *cell = (drop / flow).ln();
            }
            log_resistance.push(row);
        }
        Ok(Table { flows, log_resistance })
    }
}

const TEMPERATURES: [f64; 7] = [260.0, 340.0, 440.0, 560.0, 700.0, 850.0, 1020.0];
const FLOW_STEPS: [f64; 9] = [0.01, 0.04, 0.09, 0.16, 0.26, 0.4, 0.58, 0.78, 1.0];

/// Pipe and silencer behind the filter.
#[derive(Debug, Clone, Copy)]
pub struct Silencer {
    /// Back pressure at the reference flow and 300 degC, Pa.
    pub at_reference: f64,
    /// Reference flow, kg/s.
    pub reference_flow: f64,
}

impl Silencer {
    /// Gauge pressure in front of the silencer, Pa.
    #[must_use]
    pub fn back_pressure(&self, flow: f64, temperature: f64) -> f64 {
        self.at_reference * (flow / self.reference_flow).powf(1.9) * (temperature / STANDARD_TEMPERATURE)
    }
}

/// The pressure difference of one filter state over flow and temperature.
#[derive(Debug, Clone)]
pub struct Table {
    flows: Vec<f64>,
    log_resistance: Vec<[f64; TEMPERATURES.len()]>,
}

impl Table {
    /// Pressure difference, Pa, for `flow` kg/s and `temperature` K; beyond the table's edge it is carried on.
    #[must_use]
    pub fn pressure_drop(&self, flow: f64, temperature: f64) -> f64 {
        if flow <= 0.0 {
            return 0.0;
        }
        let i = self.flows.partition_point(|f| *f < flow).clamp(1, self.flows.len() - 1) - 1;
        let x = ((flow - self.flows[i]) / (self.flows[i + 1] - self.flows[i])).clamp(-0.5, 1.5);
        let j = TEMPERATURES.partition_point(|t| *t < temperature).clamp(1, TEMPERATURES.len() - 1) - 1;
        let y = (temperature / TEMPERATURES[j]).ln() / (TEMPERATURES[j + 1] / TEMPERATURES[j]).ln();
        let row = |i: usize| {
            self.log_resistance[i][j] + y * (self.log_resistance[i][j + 1] - self.log_resistance[i][j])
        };
        flow * (row(i) + x * (row(i + 1) - row(i))).exp()
    }
}

/// A way round the wall: cracked or broken-out cells.
#[derive(Debug, Clone, Copy)]
pub struct Crack {
    /// Share of the flow that goes through the crack where the intact, empty filter has the standard drop.
    pub share: f64,
}

/// Drop of a cracked filter: `intact` in parallel with an orifice.
///
/// `reference` = (flow, drop) of the intact new filter at standard conditions, which sizes the orifice.
#[must_use]
pub fn cracked(
    intact: impl Fn(f64) -> f64,
    flow: f64,
    temperature: f64,
    crack: Crack,
    reference: (f64, f64),
) -> f64 {
    if flow <= 0.0 {
        return 0.0;
    }
    // Orifice: flow = c sqrt(drop / T).
    let c = crack.share * reference.0 / (reference.1 / STANDARD_TEMPERATURE).sqrt();
    let (mut low, mut high) = (0.0, flow);
    for _ in 0..40 {
        let through = 0.5 * (low + high);
        let drop = intact(through);
        if through + c * (drop / temperature).sqrt() > flow {
            high = through;
        } else {
            low = through;
        }
    }
    intact(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_table_follows_the_solution() {
        let mut draw = Draw::new(7, 0);
        for _ in 0..6 {
            let body = Body::draw(&mut draw, 1.6, false);
            let c = Constants::draw(&mut draw, &body, false);
            let solid = Solid::new(&body, &c, Load { soot: 4.0, ash: 15.0, bare_wall: false }).unwrap();
            let silencer = Silencer { at_reference: 800.0, reference_flow: 0.05 };
            let table = solid.table(0.18, 99_000.0, silencer).unwrap();
            for (flow, t) in [(0.007, 390.0), (0.03, 480.0), (0.06, 620.0), (0.12, 760.0)] {
                let exact = solid.pressure_drop(flow, t, 99_000.0 + silencer.back_pressure(flow, t)).unwrap();
                let told = table.pressure_drop(flow, t);
                assert!((told / exact - 1.0).abs() < 0.01, "{flow} {t}: {told} {exact}");
            }
        }
    }

    #[test]
    fn property_crack_lowers_the_drop() {
        let intact = |m: f64| 40_000.0 * m + 2e5 * m * m;
        let whole = intact(0.05);
        let crack = Crack { share: 0.5 };
        let broken = cracked(intact, 0.05, STANDARD_TEMPERATURE, crack, (0.05, whole));
        assert!(broken < 0.8 * whole && broken > 0.2 * whole);
    }
}
