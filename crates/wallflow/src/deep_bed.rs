//! Deep-bed phase: soot collected inside the wall before and while the cake forms.
//!
//! The wall is a stack of thin slabs of spherical unit collectors. Soot coats the collectors of the first
//! slabs, which lowers porosity and permeability until the first slab is so full that all further soot
//! stays on top as cake. This makes the pressure drop rise steeply at first and then along a straight
//! line; [`crate::media::Wall::with_loading`] is the one-line stand-in for it.
//!
//! # Equations
//! d_c0 = 1.5 d_pore (1 − eps0)/eps0; b with (d_c0/b)³ = 1 − eps0; with soot mass m_c per collector:
//! d_c = 2 (3 m_c/(4 pi rho) + (d_c0/2)³)^(1/3), eps = 1 − (1 − eps0)(d_c/d_c0)³,
//! k/k0 = (d_c/d_c0)² f(eps)/f(eps0) with
//! f = (2/9)(2 − 1.8 (1 − eps)^(1/3) − eps − 0.2 (1 − eps)²)/(1 − eps).
//! Share to the cake: (d_c² − d_c0²)/((psi b)² − d_c0²) of the first slab.
//! A slab of thickness D collects 1 − exp(−1.5 eta (1 − eps) D/(eps d_c)), with eta from diffusion
//! (3.5 g Pe^(−2/3)) and interception (1.5 N² g³/(1 + N)^((3 − 2 eps)/(3 eps))), N = d_p/d_c,
//! g = (eps/(2 − eps − 1.8 (1 − eps)^(1/3) − 0.2 (1 − eps)²))^(1/3).
//!
//! # Validity
//! Whether and how much a given wall jumps cannot be told from its pores (measured resistance ratios are 1
//! to 7); the percolation factor psi and the density of soot in the wall are fitted (0.865-0.925, 8-14
//! kg/m3). With the constants printed for four cordierite grades the whole measured loading curves come out
//! with a root mean square of 11-24 %, low at the end by 9-20 %. Constant temperature and velocity during loading.
//!
//! # References
//! Konstandopoulos et al., SAE 2000-01-1016 (unit collector, table 7). Collection efficiency: Lee and
//! Gieseke 1979 (from memory).

use crate::error::{Error, within};
use crate::gas::{ATMOSPHERE, Gas, slip_factor};
use std::f64::consts::PI;

/// Boltzmann constant, J/K (SI 2019, exact).
const BOLTZMANN: f64 = 1.380_649e-23;
/// Slabs of the wall.
const SLABS: usize = 20;

/// Constants of a wall that collects soot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Collector {
    /// Mean pore diameter, m.
    pub pore: f64,
    /// Porosity of the bare wall.
    pub porosity: f64,
    /// Percolation factor psi.
    pub percolation: f64,
    /// Density of the soot deposited inside the wall, kg/m3.
    pub soot_density: f64,
    /// Permeability of the bare wall, m2.
    pub permeability: f64,
    /// Thickness of the wall, m.
    pub thickness: f64,
    /// Diameter of the soot particles, m (about 1e-7, from memory).
    pub particle: f64,
}

/// A wall being loaded.
#[derive(Debug, Clone, PartialEq)]
pub struct DeepBed {
    collector: Collector,
    bare_diameter: f64,
    cell: f64,
    /// Soot per collector in each slab, kg.
    masses: [f64; SLABS],
    cake: f64,
    escaped: f64,
}

impl DeepBed {
    /// A bare wall.
    ///
    /// # Inputs
    /// `pore` 1e-6 to 1e-4 m, `porosity` 0.2 to 0.8, `percolation` 0.5 to 1 (and large enough that psi b
    /// exceeds d_c0), `soot_density` 1 to 2000 kg/m3, `permeability` 1e-16 to 1e-8 m2, `thickness` 1e-5 to
    /// 5e-3 m, `particle` 1e-9 to 1e-6 m.
    pub fn new(collector: Collector) -> Result<Self, Error> {
        let c = collector;
        within("mean pore size", c.pore, 1e-6, 1e-4, "m")?;
        within("porosity", c.porosity, 0.2, 0.8, "-")?;
        within("soot density in the wall", c.soot_density, 1.0, 2000.0, "kg/m3")?;
        within("wall permeability", c.permeability, 1e-16, 1e-8, "m2")?;
        within("wall thickness", c.thickness, 1e-5, 5e-3, "m")?;
        within("particle size", c.particle, 1e-9, 1e-6, "m")?;
        let solid = 1.0 - c.porosity;
        let bare_diameter = 1.5 * c.pore * solid / c.porosity;
        let cell = bare_diameter / solid.cbrt();
        // Below this the first slab would be full when bare.
        within("percolation factor", c.percolation, 1.001 * solid.cbrt(), 1.0, "-")?;
        Ok(Self { collector, bare_diameter, cell, masses: [0.0; SLABS], cake: 0.0, escaped: 0.0 })
    }

    /// Diameter of a coated collector, m, and porosity around it.
    fn coated(&self, mass: f64) -> (f64, f64) {
        let bare = self.bare_diameter / 2.0;
        let cubed = 3.0 * mass / (4.0 * PI * self.collector.soot_density) + bare * bare * bare;
        let diameter = 2.0 * cubed.cbrt();
        let ratio = diameter / self.bare_diameter;
        (diameter, 1.0 - (1.0 - self.collector.porosity) * ratio * ratio * ratio)
    }

    /// Share of arriving soot that stays on top, 0 to 1.
    pub fn cake_share(&self) -> f64 {
        let (diameter, _) = self.coated(self.masses.first().copied().unwrap_or(0.0));
        let bare2 = self.bare_diameter * self.bare_diameter;
        let full = self.collector.percolation * self.cell;
        ((diameter * diameter - bare2) / (full * full - bare2)).clamp(0.0, 1.0)
    }

    /// Permeability of the wall as it is now, m2 (slabs in series).
    pub fn permeability(&self) -> f64 {
        let bare = shape(self.collector.porosity);
        let resistance: f64 = self
            .masses
            .iter()
            .map(|&m| {
                let (diameter, porosity) = self.coated(m);
                let ratio = diameter / self.bare_diameter;
                bare / (ratio * ratio * shape(porosity))
            })
            .sum();
        self.collector.permeability * SLABS as f64 / resistance
    }

    /// Soot on top, inside the wall, and through it, kg per m2 of wall.
    pub fn soot(&self) -> (f64, f64, f64) {
        (self.cake, self.masses.iter().sum::<f64>() * self.per_area(), self.escaped)
    }

    /// Collectors of a slab per m2 of wall.
    fn per_area(&self) -> f64 {
        self.collector.thickness / SLABS as f64 * 6.0 / (PI * self.cell * self.cell * self.cell)
    }

    /// Lets soot arrive.
    ///
    /// # Inputs
    /// `soot`: kg per m2 of wall in this step, 0 to 1; steps of a hundredth of the load or less keep the
    /// result within a percent. `velocity`: wall velocity, m/s, 1e-6 to 10. `temperature`: K, 150 to 2500.
    ///
    /// # Example
    /// ```
    /// use wallflow::deep_bed::{Collector, DeepBed};
    /// let mut wall = DeepBed::new(Collector { pore: 13.4e-6, porosity: 0.48, percolation: 0.92,
    ///     soot_density: 14.1, permeability: 2.4e-13, thickness: 0.43e-3, particle: 1e-7 })?;
    /// for _ in 0..300 { wall.load(1e-5, 0.03, 533.15)?; }
    /// let (cake, inside, through) = wall.soot();
    /// assert!((cake + inside + through - 3e-3).abs() < 1e-12);
    /// assert!(wall.permeability() < 2.4e-13 && wall.cake_share() > 0.9);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    pub fn load(&mut self, soot: f64, velocity: f64, temperature: f64) -> Result<(), Error> {
        let soot = within("soot per wall area", soot, 0.0, 1.0, "kg/m2")?;
        let velocity = within("wall velocity", velocity, 1e-6, 10.0, "m/s")?;
        let temperature = within("gas temperature", temperature, 150.0, 2500.0, "K")?;
        let gas = Gas::exhaust();
        let lam = gas.mean_free_path(ATMOSPHERE, temperature);
        let p = self.collector.particle;
        let diffusivity = BOLTZMANN * temperature * slip_factor(2.0 * lam / p)
            / (3.0 * PI * gas.viscosity(temperature) * p);
        let per_area = self.per_area();
        let share = self.cake_share();
        self.cake += share * soot;
        let mut left = (1.0 - share) * soot;
        let slab = self.collector.thickness / SLABS as f64;
        for i in 0..SLABS {
            let mass = self.masses.get(i).copied().unwrap_or(0.0);
            let (diameter, porosity) = self.coated(mass);
            let solid = 1.0 - porosity;
            let g = (porosity / (2.0 - porosity - 1.8 * solid.cbrt() - 0.2 * solid * solid)).cbrt();
            let peclet = velocity / porosity * diameter / diffusivity;
            let n = p / diameter;
            let by_diffusion = (3.5 * g * peclet.powf(-2.0 / 3.0)).min(1.0);
            let by_interception =
                1.5 * n * n * g * g * g / (1.0 + n).powf((3.0 - 2.0 * porosity) / (3.0 * porosity));
            let eta = by_diffusion + by_interception - by_diffusion * by_interception;
            let kept = left * -(-1.5 * eta * solid * slab / (porosity * diameter)).exp_m1();
            // A collector cannot outgrow its cell: what does not fit goes on.
            let full = 0.999 * self.cell / 2.0;
            let bare = self.bare_diameter / 2.0;
            let most =
                4.0 / 3.0 * PI * self.collector.soot_density * (full * full * full - bare * bare * bare);
            let taken = kept.min(((most - mass) * per_area).max(0.0));
            if let Some(m) = self.masses.get_mut(i) {
                *m += taken / per_area;
            }
            left -= taken;
        }
        self.escaped += left;
        Ok(())
    }
}

/// f(eps) of the Kuwabara cell.
fn shape(porosity: f64) -> f64 {
    let solid = (1.0 - porosity).max(1e-9);
    2.0 / 9.0 * (2.0 - 1.8 * solid.cbrt() - porosity - 0.2 * solid * solid) / solid
}
