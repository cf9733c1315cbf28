//! Ash: what oil and additive leave, how fast it grows, how it is spread.

use crate::error::{Error, within};

/// Atomic mass of oxygen, g/mol (IUPAC 2021 abridged).
const OXYGEN: f64 = 15.999;

/// What becomes of a metal of the additive in the filter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Oxide {
    /// Cerium to CeO2.
    CeriumIv,
    /// Iron to Fe2O3.
    IronIii,
    /// Iron to Fe3O4.
    IronIiIii,
    /// Platinum stays metal.
    Platinum,
    /// Copper to CuO.
    CopperIi,
    /// Manganese to Mn2O3.
    ManganeseIii,
    /// Manganese to Mn3O4.
    ManganeseIiIii,
    /// Strontium to SrO.
    StrontiumIi,
    /// Strontium to SrSO4 (with sulfur of fuel and oil).
    StrontiumSulfate,
    /// Zinc to ZnO.
    ZincIi,
    /// Calcium to CaSO4.
    CalciumSulfate,
    /// Magnesium to MgO.
    MagnesiumIi,
}

impl Oxide {
    /// Mass of the compound per mass of metal, kg/kg, from atomic masses.
    ///
    /// # Equation
    /// (x M_metal + y M_O \[+ M_S\])/(x M_metal).
    ///
    /// ```
    /// use wallflow::ash::Oxide;
    /// assert!((Oxide::CeriumIv.per_metal() - 1.22837).abs() < 1e-5);
    /// assert!((Oxide::IronIii.per_metal() - 1.42973).abs() < 1e-5);
    /// assert_eq!(Oxide::Platinum.per_metal(), 1.0);
    /// ```
    ///
    /// # References
    /// IUPAC atomic masses 2021 (abridged).
    pub fn per_metal(self) -> f64 {
        const SULFUR: f64 = 32.06;
        let (metal, atoms, oxygen, other) = match self {
            Self::CeriumIv => (140.116, 1.0, 2.0, 0.0),
            Self::IronIii => (55.845, 2.0, 3.0, 0.0),
            Self::IronIiIii => (55.845, 3.0, 4.0, 0.0),
            Self::Platinum => (195.084, 1.0, 0.0, 0.0),
            Self::CopperIi => (63.546, 1.0, 1.0, 0.0),
            Self::ManganeseIii => (54.938, 2.0, 3.0, 0.0),
            Self::ManganeseIiIii => (54.938, 3.0, 4.0, 0.0),
            Self::StrontiumIi => (87.62, 1.0, 1.0, 0.0),
            Self::StrontiumSulfate => (87.62, 1.0, 4.0, SULFUR),
            Self::ZincIi => (65.38, 1.0, 1.0, 0.0),
            Self::CalciumSulfate => (40.078, 1.0, 4.0, SULFUR),
            Self::MagnesiumIi => (24.305, 1.0, 1.0, 0.0),
        };
        (atoms * metal + oxygen * OXYGEN + other) / (atoms * metal)
    }
}

/// Ash from burnt oil that stays in the filter, kg.
///
/// # Equation
/// m = B rho x eta.
///
/// # Inputs
/// `oil`: volume burnt, m3. `density`: kg/m3, 700-1100 (usually 855, from memory). `sulfated_ash`: mass
/// fraction, 0 to 0.05 (low-ash oils 0.005 and 0.008, older ones 0.01 and more, from memory). `retained`:
/// share found of the theoretical ash, 0 to 2 (usually 0.3-0.7, from memory: part of the oil leaves as
/// vapour and the standard counts sulfates).
///
/// # Example
/// ```
/// let per_1000_km = wallflow::ash::from_oil(0.1e-3, 855.0, 0.008, 0.6)?;
/// assert!((per_1000_km - 0.4104e-3).abs() < 1e-9);
/// # Ok::<(), wallflow::Error>(())
/// ```
pub fn from_oil(oil: f64, density: f64, sulfated_ash: f64, retained: f64) -> Result<f64, Error> {
    Ok(within("oil volume", oil, 0.0, 1e3, "m3")?
        * within("oil density", density, 700.0, 1100.0, "kg/m3")?
        * within("sulfated ash", sulfated_ash, 0.0, 0.05, "kg/kg")?
        * within("retained share of oil ash", retained, 0.0, 2.0, "-")?)
}

/// Ash from a fuel-borne catalyst that stays in the filter, kg.
///
/// # Equation
/// m = fuel mass × metal dose × compound per metal × eta.
///
/// # Inputs
/// `fuel`: mass burnt, kg. `dose`: metal per fuel, kg/kg (25 mg/kg = 25e-6), 0 to 0.01. `retained`: 0
/// to 1; above 0.94 was found for cerium over 100 000 km in buses (cordierite filter durability study,
/// SAE abstract).
///
/// # Example
/// ```
/// use wallflow::ash::{Oxide, from_additive};
/// let fuel = 80_000.0 * 0.065e-3 * 835.0; // 80 000 km at 6.5 L/100 km
/// let m = from_additive(fuel, 25e-6, Oxide::CeriumIv, 1.0)?;
/// assert!((m - 0.133338).abs() < 1e-5);
/// # Ok::<(), wallflow::Error>(())
/// ```
pub fn from_additive(fuel: f64, dose: f64, oxide: Oxide, retained: f64) -> Result<f64, Error> {
    Ok(within("fuel mass", fuel, 0.0, 1e8, "kg")?
        * within("metal dose", dose, 0.0, 0.01, "kg/kg")?
        * oxide.per_metal()
        * within("retained share of additive ash", retained, 0.0, 1.0, "-")?)
}

/// What a vehicle feeds its filter with per distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Growth {
    /// Ash from oil, kg per m driven.
    pub oil: f64,
    /// Ash from additive, kg per m driven.
    pub additive: f64,
}

impl Growth {
    /// Both together, kg per m.
    pub fn total(&self) -> f64 {
        self.oil + self.additive
    }

    /// Ash load after a distance (m) in a filter of a volume (m3) that held `before` kg/m3, kg/m3.
    ///
    /// ```
    /// use wallflow::ash::Growth;
    /// let g = Growth { oil: 0.41e-9, additive: 1.67e-9 };
    /// assert!((g.load(80_000e3, 3e-3, 0.0) - 55.47).abs() < 0.01);
    /// ```
    pub fn load(&self, distance: f64, volume: f64, before: f64) -> f64 {
        before + self.total() * distance / volume
    }

    /// Distance, m, until a load (kg/m3) is reached from `before`; zero when it already is, infinite
    /// when nothing grows.
    ///
    /// # Equation
    /// (load − before) V/(rate of growth), the growth taken as even over the distance.
    ///
    /// ```
    /// use wallflow::ash::Growth;
    /// // 0.41 g per 1000 km from oil; from 10 to 30 g/L in 2.5 L: 50 g.
    /// let growth = Growth { oil: 0.41e-9, additive: 0.0 };
    /// assert!((growth.distance_to(30.0, 2.5e-3, 10.0) / 1000.0 - 121_951.0).abs() < 1.0);
    /// ```
    pub fn distance_to(&self, load: f64, volume: f64, before: f64) -> f64 {
        let missing = load - before;
        if missing <= 0.0 { 0.0 } else { missing * volume / self.total() }
    }
}

/// What weighing before and after cleaning says about ash, kg: median difference and its standard
/// uncertainty.
///
/// # Equation
/// dm = before − after; u² = u_before² + u_after² (same balance: no common part is assumed).
///
/// # Inputs
/// Masses and standard uncertainties in kg. Weigh dry: a filter below 100 °C takes up moisture
/// (from memory). Soot left in the filter counts as ash here.
///
/// ```
/// let (kg, u) = wallflow::ash::removed_by_cleaning((4.310, 0.001), (4.205, 0.001))?;
/// assert!((kg - 0.105).abs() < 1e-12 && (u - 0.001414).abs() < 1e-6);
/// # Ok::<(), wallflow::Error>(())
/// ```
pub fn removed_by_cleaning(before: (f64, f64), after: (f64, f64)) -> Result<(f64, f64), Error> {
    let mass = |what, v| within(what, v, 0.0, 1000.0, "kg");
    let removed = mass("mass before cleaning", before.0)? - mass("mass after cleaning", after.0)?;
    let u = mass("uncertainty of mass before", before.1)?.hypot(mass("uncertainty of mass after", after.1)?);
    Ok((removed, u))
}
