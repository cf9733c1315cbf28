//! Porous media of a filter: wall, soot cake, ash, with their permeabilities and packing densities.
//!
//! Every default carries its source. Measured values scatter by a factor of two and more, so each
//! default comes with a [`Spread`] that an estimator can take as a prior.

use crate::error::{Error, within};
use crate::gas::{ATMOSPHERE, Gas, slip_factor};

/// Substrate of the filter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Material {
    /// Cordierite, usually in one piece.
    Cordierite,
    /// Silicon carbide, cemented from segments.
    SiliconCarbide,
    /// Aluminium titanate.
    AluminiumTitanate,
    /// Not known.
    Unknown,
}

/// Where a number comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Mark {
    /// Seen in a published source, named beside it.
    Seen,
    /// Fitted by this project to published measurements.
    Fitted,
    /// Common practice; no source.
    CommonPractice,
    /// From memory of the literature; not verified.
    FromMemory,
}

/// A positive quantity known within a factor: log-normal with a median and a spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Median, in the unit of the quantity.
    pub median: f64,
    /// Standard deviation of the natural logarithm.
    pub log_sigma: f64,
    /// How well it is founded.
    pub mark: Mark,
    /// Source.
    pub source: &'static str,
}

const S57: &str = "Konstandopoulos et al., SAE 2000-01-1016 (tables 6, 7, A1 and figures 4, 5, 10-13, 23)";
const MEMORY: &str = "from memory of the literature, not verified";

/// Clean permeability of the wall (bare, without soot), m2.
///
/// Cordierite: eleven printed and refitted values from 1.8e-13 to 6e-13 m2. The others are ranges
/// from memory taken as a 90 % interval.
///
/// ```
/// use wallflow::media::{Material, wall_permeability};
/// let s = wall_permeability(Material::Cordierite);
/// assert!(s.median > 1.8e-13 && s.median < 6e-13);
/// ```
pub fn wall_permeability(material: Material) -> Spread {
    match material {
        Material::Cordierite => Spread { median: 3.5e-13, log_sigma: 0.40, mark: Mark::Fitted, source: S57 },
        Material::SiliconCarbide => {
            Spread { median: 1.0e-12, log_sigma: 0.45, mark: Mark::FromMemory, source: MEMORY }
        }
        Material::AluminiumTitanate => {
            Spread { median: 5.5e-13, log_sigma: 0.40, mark: Mark::FromMemory, source: MEMORY }
        }
        Material::Unknown => {
            Spread { median: 5.5e-13, log_sigma: 0.65, mark: Mark::FromMemory, source: MEMORY }
        }
    }
}

/// How many times the resistance of the wall rises when it fills with soot (1 = not at all).
///
/// Four bare cordierite grades rise 2.4 to 7 times, two light-duty filters not at all; a bench
/// engine's filter by 1.7. The spread is for the **excess** over 1; its centre and width are this project's
/// reading of those few ratios, not a fit, hence the weakest mark.
///
/// # References
/// Refits of SAE 2000-01-1016 figures 4, 5, 10-13; Du et al., Energies 11 (2018) 472, table 4.
pub fn wall_loading_excess() -> Spread {
    Spread { median: 0.8, log_sigma: 1.2, mark: Mark::FromMemory, source: S57 }
}

/// Which vehicles a cake product was measured on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Duty {
    /// Cars and vans: two filters, 3.0e-12 and 3.5e-12 kg/m.
    Light,
    /// Heavy vehicles: four filters, 1.2e-12 to 1.8e-12 kg/m.
    Heavy,
    /// Not known: all six pooled.
    Any,
}

/// Product of packing density and permeability of the soot cake, kg/m.
///
/// Only this product shows in the pressure drop (the density alone matters above about 8 g/L). Six
/// filters of one laboratory, so the spread never goes below 0.4.
///
/// ```
/// use wallflow::media::{Duty, cake_product};
/// assert_eq!(cake_product(Duty::Any).median, 1.9e-12);
/// ```
pub fn cake_product(duty: Duty) -> Spread {
    let (median, log_sigma) = match duty {
        Duty::Light => (3.2e-12, 0.43),
        Duty::Heavy => (1.5e-12, 0.43),
        Duty::Any => (1.9e-12, 0.43),
    };
    Spread { median, log_sigma, mark: Mark::Fitted, source: S57 }
}

/// Packing density of the soot cake, kg/m3: printed 91-110, refits 83-139, porosity 0.93-0.97 on
/// membranes (Liu et al., Powder Technology 2013).
pub fn cake_packing() -> Spread {
    Spread { median: 95.0, log_sigma: 0.2, mark: Mark::Fitted, source: S57 }
}

/// Product of packing density and permeability of ash on the wall, kg/m: 2.1e-11 to 2.5e-11 when all
/// ash of the one measured filter lay on the wall.
pub fn ash_product() -> Spread {
    Spread { median: 2.4e-11, log_sigma: 0.5, mark: Mark::Fitted, source: S57 }
}

/// Packing density of ash on the wall, kg/m3: 400-1000 in a graduated tube.
pub fn ash_packing() -> Spread {
    Spread { median: 400.0, log_sigma: 0.4, mark: Mark::Seen, source: S57 }
}

/// Packing density of the ash plug, kg/m3: 300-700.
pub fn plug_packing() -> Spread {
    Spread { median: 500.0, log_sigma: 0.3, mark: Mark::FromMemory, source: MEMORY }
}

/// Rise of a permeability with temperature by slip of the gas in its pores.
///
/// # Equation
/// k(T, p) = k_ref SCF(2 lam(T, p)/d)/SCF(2 lam(T_ref, 1 atm)/d), [`slip_factor`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slip {
    pore: f64,
    reference_temperature: f64,
    reference_factor: f64,
}

impl Slip {
    /// Checked constructor.
    ///
    /// # Inputs
    /// `pore`: effective pore diameter, m, 1e-9 to 1e-3. Soot cakes: 50-150 nm if only the law of
    /// temperature is wanted (from memory); walls: 10-20 um, where slip is 1.01-1.05.
    /// `reference_temperature`: K at which the permeability was stated (at 1 atm), 150 to 2500.
    pub fn new(pore: f64, reference_temperature: f64) -> Result<Self, Error> {
        let pore = within("effective pore size", pore, 1e-9, 1e-3, "m")?;
        let reference_temperature =
            within("reference temperature of slip", reference_temperature, 150.0, 2500.0, "K")?;
        let reference_factor = Gas::exhaust().pore_slip(pore, ATMOSPHERE, reference_temperature);
        Ok(Self { pore, reference_temperature, reference_factor })
    }

    /// Effective pore diameter, m.
    pub fn pore(&self) -> f64 {
        self.pore
    }

    /// Temperature at which the permeability was stated, K.
    pub fn reference_temperature(&self) -> f64 {
        self.reference_temperature
    }

    /// Permeability at a mean free path (m) over permeability at the reference state.
    pub fn factor(&self, mean_free_path: f64) -> f64 {
        slip_factor(2.0 * mean_free_path / self.pore) / self.reference_factor
    }
}

impl Slip {
    /// As [`Slip::factor`], with its derivative by the mean free path, 1/m.
    pub(crate) fn factor_and_slope(&self, mean_free_path: f64) -> (f64, f64) {
        let per_path = 2.0 / self.pore;
        let kn = per_path * mean_free_path;
        let bend = 0.4 * (-1.1 / kn).exp();
        let factor = 1.0 + kn * (1.257 + bend);
        let slope = 1.257 + bend * (1.0 + 1.1 / kn);
        (factor / self.reference_factor, slope * per_path / self.reference_factor)
    }
}

fn slip_of(slip: Option<Slip>, mean_free_path: f64) -> f64 {
    slip.map_or(1.0, |s| s.factor(mean_free_path))
}

/// The porous wall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wall {
    clean: f64,
    loaded_ratio: f64,
    filling_load: f64,
    forchheimer: f64,
    slip: Option<Slip>,
}

impl Wall {
    /// A wall that does not change when soot enters it.
    ///
    /// `permeability`: m2, 1e-16 to 1e-8.
    pub fn new(permeability: f64) -> Result<Self, Error> {
        let clean = within("wall permeability", permeability, 1e-16, 1e-8, "m2")?;
        Ok(Self { clean, loaded_ratio: 1.0, filling_load: 0.5, forchheimer: 0.0, slip: None })
    }

    /// The wall with a resistance that rises as it fills with soot (deep-bed phase).
    ///
    /// # Inputs
    /// `loaded_ratio`: resistance full over resistance bare, 1 to 1000. `filling_load`: soot load
    /// (kg/m3 of filter) at which 63 % of the rise is reached, 1e-3 to 100; measured curves reach
    /// 95 % at 1.1-2.1, i.e. 0.37-0.7.
    ///
    /// # Validity
    /// An empirical law for one number each, to be fitted or integrated over. Whether a wall jumps
    /// cannot be predicted from its pores. The soot inside the wall is counted in the cake as well,
    /// as in the fits the numbers come from.
    ///
    /// # References
    /// SAE 2000-01-1016, figures 10-13 (our fits).
    pub fn with_loading(mut self, loaded_ratio: f64, filling_load: f64) -> Result<Self, Error> {
        self.loaded_ratio = within("resistance ratio of the loaded wall", loaded_ratio, 1.0, 1000.0, "-")?;
        self.filling_load = within("filling load of the wall", filling_load, 1e-3, 100.0, "kg/m3")?;
        Ok(self)
    }

    /// The wall with slip in its pores.
    pub fn with_slip(mut self, slip: Slip) -> Self {
        self.slip = Some(slip);
        self
    }

    /// The wall with a Forchheimer (inertial) coefficient beta in 1/m, 0 to 1e10, so that the wall adds
    /// beta rho u² w. The Ergun estimate is 5e5-7e5 1/m, 0.2 Pa at 0.04 m/s; the default is 0.
    pub fn with_forchheimer(mut self, beta: f64) -> Result<Self, Error> {
        self.forchheimer = within("Forchheimer coefficient", beta, 0.0, 1e10, "1/m")?;
        Ok(self)
    }

    /// Permeability of the bare wall at the reference state, m2.
    pub fn clean(&self) -> f64 {
        self.clean
    }
    /// Resistance full of soot over resistance bare.
    pub fn loaded_ratio(&self) -> f64 {
        self.loaded_ratio
    }
    /// Forchheimer coefficient, 1/m.
    pub fn forchheimer(&self) -> f64 {
        self.forchheimer
    }

    /// Fill of the wall after a soot load has been collected on a bare filter: 1 − exp(−s/s_f).
    pub fn fill(&self, soot: f64) -> f64 {
        -(-soot / self.filling_load).exp_m1()
    }

    /// Permeability, m2, at a fill (0 to 1) and a mean free path (m):
    /// k = k_clean slip/(1 + (r − 1) fill).
    ///
    /// ```
    /// use wallflow::media::Wall;
    /// let wall = Wall::new(3e-13)?.with_loading(2.0, 0.6)?;
    /// assert!((wall.fill(0.6) - 0.632).abs() < 1e-3);
    /// assert!((wall.permeability(1.0, 0.0) - 1.5e-13).abs() < 1e-27);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    pub fn permeability(&self, fill: f64, mean_free_path: f64) -> f64 {
        self.clean * slip_of(self.slip, mean_free_path) / (1.0 + (self.loaded_ratio - 1.0) * fill)
    }

    pub(crate) fn fill_of(&self, soot: f64, told: Option<f64>) -> f64 {
        match told {
            _ if self.loaded_ratio == 1.0 => 0.0,
            Some(fill) => fill,
            None => self.fill(soot),
        }
    }
}

/// The soot cake.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cake {
    product: f64,
    packing: f64,
    slip: Option<Slip>,
}

impl Cake {
    /// Checked constructor.
    ///
    /// # Inputs
    /// `product`: packing density times permeability, kg/m, 1e-15 to 1e-8 (see [`cake_product`]).
    /// `packing`: packing density, kg/m3, 5 to 2000.
    pub fn new(product: f64, packing: f64) -> Result<Self, Error> {
        Ok(Self {
            product: within("soot cake product", product, 1e-15, 1e-8, "kg/m")?,
            packing: within("soot packing density", packing, 5.0, 2000.0, "kg/m3")?,
            slip: None,
        })
    }

    /// The cake with slip in its pores. Without it the resistance rises with temperature as the
    /// viscosity does; with it, it falls (by 38 % from 25 to 600 °C for 25 nm spheres).
    pub fn with_slip(mut self, slip: Slip) -> Self {
        self.slip = Some(slip);
        self
    }

    /// Packing density times permeability at the reference state, kg/m.
    pub fn product(&self) -> f64 {
        self.product
    }
    /// Packing density, kg/m3.
    pub fn packing(&self) -> f64 {
        self.packing
    }
    /// Permeability, m2, at a mean free path (m).
    pub fn permeability(&self, mean_free_path: f64) -> f64 {
        self.product / self.packing * slip_of(self.slip, mean_free_path)
    }
}

/// Ash on the wall and in the plug. The plug counts as tight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ash {
    permeability: f64,
    packing: f64,
    plug_packing: f64,
}

impl Ash {
    /// Checked constructor.
    ///
    /// # Inputs
    /// `permeability` of the layer: m2, 1e-18 to 1e-9. `packing` of the layer and `plug_packing`:
    /// kg/m3, 20 to 7000.
    pub fn new(permeability: f64, packing: f64, plug_packing: f64) -> Result<Self, Error> {
        Ok(Self {
            permeability: within("ash permeability", permeability, 1e-18, 1e-9, "m2")?,
            packing: within("ash packing density", packing, 20.0, 7000.0, "kg/m3")?,
            plug_packing: within("ash plug packing density", plug_packing, 20.0, 7000.0, "kg/m3")?,
        })
    }

    /// Permeability of the layer, m2.
    pub fn permeability(&self) -> f64 {
        self.permeability
    }
    /// Packing density of the layer, kg/m3.
    pub fn packing(&self) -> f64 {
        self.packing
    }
    /// Packing density of the plug, kg/m3.
    pub fn plug_packing(&self) -> f64 {
        self.plug_packing
    }
}

/// All porous media of one filter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Media {
    wall: Wall,
    cake: Cake,
    ash: Ash,
}

impl Media {
    /// From its parts.
    pub const fn new(wall: Wall, cake: Cake, ash: Ash) -> Self {
        Self { wall, cake, ash }
    }

    /// Medians for a material: wall from [`wall_permeability`] that does not jump, cake product of
    /// all duties with constant permeability, packing 90 kg/m3, ash 6e-14 m2 at 400 kg/m3, plug
    /// 500 kg/m3. One sample of a wide distribution: vary it, do not trust it.
    pub fn typical(material: Material) -> Self {
        let clean = wall_permeability(material).median;
        Self { wall: Wall { clean, ..DEFAULT.wall }, ..DEFAULT }
    }

    /// The same media with another wall.
    pub fn with_wall(mut self, wall: Wall) -> Self {
        self.wall = wall;
        self
    }
    /// The same media with another soot cake.
    pub fn with_cake(mut self, cake: Cake) -> Self {
        self.cake = cake;
        self
    }
    /// The same media with other ash.
    pub fn with_ash(mut self, ash: Ash) -> Self {
        self.ash = ash;
        self
    }

    /// The wall.
    pub fn wall(&self) -> &Wall {
        &self.wall
    }
    /// The soot cake.
    pub fn cake(&self) -> &Cake {
        &self.cake
    }
    /// The ash.
    pub fn ash(&self) -> &Ash {
        &self.ash
    }

    /// Slip of wall and cake.
    pub(crate) fn slips(&self) -> (Option<Slip>, Option<Slip>) {
        (self.wall.slip, self.cake.slip)
    }

    /// The same media without slip, as they are at the reference state.
    pub(crate) fn at_reference(mut self) -> Self {
        (self.wall.slip, self.cake.slip) = (None, None);
        self
    }

    pub(crate) fn needs_slip(&self) -> bool {
        self.wall.slip.is_some() || self.cake.slip.is_some()
    }
}

const DEFAULT: Media = Media {
    wall: Wall { clean: 5.5e-13, loaded_ratio: 1.0, filling_load: 0.5, forchheimer: 0.0, slip: None },
    cake: Cake { product: 1.9e-12, packing: 90.0, slip: None },
    ash: Ash { permeability: 6e-14, packing: 400.0, plug_packing: 500.0 },
};

impl Default for Media {
    /// [`Media::typical`] of an unknown material.
    fn default() -> Self {
        DEFAULT
    }
}
