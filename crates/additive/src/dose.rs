//! Dose chemistry: from metal in the fuel to millilitres, kilometres and grams of oxide.
//!
//! Litres alone mean nothing here: two generations of concentrate may differ fourfold in strength.
//! A concentrate is therefore always a [`Strength`] (density and mass fraction of each metal), and what a
//! reservoir holds is a [`Blend`] whose mass and metal are conserved through pours and doses.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result, not_negative, positive, result, share};

/// Standard atomic mass of oxygen, g/mol (IUPAC abridged value 2021).
const OXYGEN_G_PER_MOL: f64 = 15.999;

/// A catalyst metal a concentrate may hold. In data files it is written by its symbol (`"Ce"`, `"Fe"`).
///
/// Atomic masses are the abridged standard values of IUPAC (2021). The oxide is the one stable in air at filter
/// temperature as commonly given (`from memory`); platinum stays metal. Sulfate and carbonate are left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[allow(missing_docs)] // the variants are element symbols
pub enum Metal {
    Ca,
    Ce,
    Co,
    Cu,
    Fe,
    K,
    La,
    Mg,
    Mn,
    Na,
    Ni,
    Pt,
    Sr,
    Zn,
    Zr,
}

impl Metal {
    /// All metals known here.
    pub const ALL: [Metal; 15] = [
        Metal::Ca,
        Metal::Ce,
        Metal::Co,
        Metal::Cu,
        Metal::Fe,
        Metal::K,
        Metal::La,
        Metal::Mg,
        Metal::Mn,
        Metal::Na,
        Metal::Ni,
        Metal::Pt,
        Metal::Sr,
        Metal::Zn,
        Metal::Zr,
    ];

    /// Element symbol.
    pub fn symbol(self) -> &'static str {
        self.facts().0
    }

    /// The metal of an element symbol, ignoring case and surrounding blanks.
    pub fn from_symbol(symbol: &str) -> Option<Metal> {
        let symbol = symbol.trim();
        Metal::ALL.into_iter().find(|m| m.symbol().eq_ignore_ascii_case(symbol))
    }

    /// Standard atomic mass, g/mol.
    pub fn molar_mass_g_per_mol(self) -> f64 {
        self.facts().1
    }

    /// Mass of oxide per mass of metal, dimensionless; see [`oxide_per_metal`].
    ///
    /// ```
    /// # use additive::dose::Metal;
    /// assert!((Metal::Ce.oxide_per_metal() - 1.22837).abs() < 1e-5); // CeO2
    /// assert!((Metal::Fe.oxide_per_metal() - 1.42973).abs() < 1e-5); // Fe2O3
    /// ```
    pub fn oxide_per_metal(self) -> f64 {
        let (_, mass, metal_atoms, oxygen_atoms) = self.facts();
        (metal_atoms * mass + oxygen_atoms * OXYGEN_G_PER_MOL) / (metal_atoms * mass)
    }

    /// Symbol, atomic mass g/mol, metal and oxygen atoms of the oxide.
    fn facts(self) -> (&'static str, f64, f64, f64) {
        match self {
            Metal::Ca => ("Ca", 40.078, 1.0, 1.0),
            Metal::Ce => ("Ce", 140.116, 1.0, 2.0),
            Metal::Co => ("Co", 58.933, 3.0, 4.0),
            Metal::Cu => ("Cu", 63.546, 1.0, 1.0),
            Metal::Fe => ("Fe", 55.845, 2.0, 3.0),
            Metal::K => ("K", 39.098, 2.0, 1.0),
            Metal::La => ("La", 138.905, 2.0, 3.0),
            Metal::Mg => ("Mg", 24.305, 1.0, 1.0),
            Metal::Mn => ("Mn", 54.938, 2.0, 3.0),
            Metal::Na => ("Na", 22.990, 2.0, 1.0),
            Metal::Ni => ("Ni", 58.693, 1.0, 1.0),
            Metal::Pt => ("Pt", 195.084, 1.0, 0.0),
            Metal::Sr => ("Sr", 87.62, 1.0, 1.0),
            Metal::Zn => ("Zn", 65.38, 1.0, 1.0),
            Metal::Zr => ("Zr", 91.224, 1.0, 2.0),
        }
    }
}

impl std::fmt::Display for Metal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.symbol())
    }
}

/// Mass of oxide per mass of metal for an oxide M*a*O*b* of any metal.
///
/// Equation: (a M + b 15.999) / (a M), with M the atomic mass in g/mol.
/// Use it for a metal that [`Metal`] does not know. Errors when a mass or `metal_atoms` is not above zero.
///
/// ```
/// # use additive::dose::oxide_per_metal;
/// let magnetite = oxide_per_metal(55.845, 3.0, 4.0)?;
/// assert!((magnetite - 1.38199).abs() < 1e-5);
/// # Ok::<(), additive::Error>(())
/// ```
pub fn oxide_per_metal(metal_g_per_mol: f64, metal_atoms: f64, oxygen_atoms: f64) -> Result<f64> {
    let metal = positive("atomic mass", "g/mol", metal_g_per_mol)?
        * positive("metal atoms per formula", "", metal_atoms)?;
    let oxygen = not_negative("oxygen atoms per formula", "", oxygen_atoms)? * OXYGEN_G_PER_MOL;
    result("oxide per metal", "", (metal + oxygen) / metal)
}

/// What a concentrate is made of: density at 20 degC and the mass fraction of each metal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "RawStrength")]
pub struct Strength {
    density_kg_m3: f64,
    mass_fraction: BTreeMap<Metal, f64>,
}

/// A strength as written in a file, not yet checked.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawStrength {
    density_kg_m3: f64,
    mass_fraction: BTreeMap<Metal, f64>,
}

impl TryFrom<RawStrength> for Strength {
    type Error = Error;

    fn try_from(raw: RawStrength) -> Result<Self> {
        Self::new(raw.density_kg_m3, raw.mass_fraction)
    }
}

impl Strength {
    /// A strength from density (kg/m3, 20 degC) and mass fractions (0 to 1, summing to no more than 1).
    ///
    /// A metal named twice counts as the sum of both.
    pub fn new(density_kg_m3: f64, mass_fraction: impl IntoIterator<Item = (Metal, f64)>) -> Result<Self> {
        positive("density of the concentrate", "kg/m3", density_kg_m3)?;
        let mut metals = BTreeMap::new();
        for (metal, fraction) in mass_fraction {
            *metals.entry(metal).or_insert(0.0) += share("mass fraction of metal", fraction)?;
        }
        share("mass fraction of all metals together", metals.values().sum())?;
        Ok(Self { density_kg_m3, mass_fraction: metals })
    }

    /// A strength from density (kg/m3) and grams of each metal per litre of concentrate.
    pub fn from_g_per_l(density_kg_m3: f64, g_per_l: impl IntoIterator<Item = (Metal, f64)>) -> Result<Self> {
        positive("density of the concentrate", "kg/m3", density_kg_m3)?;
        // 1 kg/m3 is 1 g/L
        Self::new(density_kg_m3, g_per_l.into_iter().map(|(metal, grams)| (metal, grams / density_kg_m3)))
    }

    /// Density at 20 degC, kg/m3.
    pub fn density_kg_m3(&self) -> f64 {
        self.density_kg_m3
    }

    /// Mass fraction of each metal, 0 to 1.
    pub fn mass_fractions(&self) -> &BTreeMap<Metal, f64> {
        &self.mass_fraction
    }

    /// Mass fraction of all metals together, 0 to 1.
    pub fn metal_fraction(&self) -> f64 {
        self.mass_fraction.values().sum()
    }

    /// Grams of metal per litre of concentrate.
    pub fn metal_g_per_l(&self) -> f64 {
        self.metal_fraction() * self.density_kg_m3
    }

    /// Mass of oxide per mass of metal of this blend of metals, or `None` without metal.
    pub fn oxide_per_metal(&self) -> Option<f64> {
        let metal = self.metal_fraction();
        let oxide: f64 = self.mass_fraction.iter().map(|(m, x)| m.oxide_per_metal() * x).sum();
        (metal > 0.0).then(|| oxide / metal)
    }
}

/// Volume dose (mL of concentrate per L of fuel) that makes a metal dose (mg per kg of fuel).
///
/// Equation: v = rho_fuel c / (1000 s), with rho_fuel in kg/m3, c in mg/kg, s = `metal_g_per_l` in g/L.
/// Exact arithmetic; valid for any dose. Fuel density counts at the temperature at which its litres are counted.
/// Errors when a density or strength is not above zero or the dose is negative.
///
/// Reference: definition; worked examples in the check rows FBC-DOSE-*.
///
/// ```
/// # use additive::dose::volume_dose_ml_per_l;
/// // 25 mg/kg in fuel of 835 kg/m3, concentrate of 2.4 % metal at 900 kg/m3 = 21.6 g/L
/// let v = volume_dose_ml_per_l(25.0, 835.0, 21.6)?;
/// assert!((v - 0.96644).abs() < 1e-5);
/// # Ok::<(), additive::Error>(())
/// ```
pub fn volume_dose_ml_per_l(
    metal_dose_mg_per_kg: f64,
    fuel_density_kg_m3: f64,
    metal_g_per_l: f64,
) -> Result<f64> {
    not_negative("metal dose", "mg/kg", metal_dose_mg_per_kg)?;
    positive("fuel density", "kg/m3", fuel_density_kg_m3)?;
    if metal_g_per_l == 0.0 {
        return Err(Error::NoMetal { wanted_mg_per_kg: metal_dose_mg_per_kg });
    }
    positive("metal per litre of concentrate", "g/L", metal_g_per_l)?;
    result("volume dose", "mL/L", fuel_density_kg_m3 / 1000.0 * metal_dose_mg_per_kg / metal_g_per_l)
}

/// Metal dose (mg per kg of fuel) that a volume dose (mL per L of fuel) makes; inverse of [`volume_dose_ml_per_l`].
///
/// Equation: c = 1000 v s / rho_fuel. Errors as there.
///
/// ```
/// # use additive::dose::metal_dose_mg_per_kg;
/// assert!((metal_dose_mg_per_kg(0.96644, 835.0, 21.6)? - 25.0).abs() < 1e-3);
/// # Ok::<(), additive::Error>(())
/// ```
pub fn metal_dose_mg_per_kg(
    volume_dose_ml_per_l: f64,
    fuel_density_kg_m3: f64,
    metal_g_per_l: f64,
) -> Result<f64> {
    not_negative("volume dose", "mL/L", volume_dose_ml_per_l)?;
    positive("fuel density", "kg/m3", fuel_density_kg_m3)?;
    not_negative("metal per litre of concentrate", "g/L", metal_g_per_l)?;
    result("metal dose", "mg/kg", volume_dose_ml_per_l * metal_g_per_l * 1000.0 / fuel_density_kg_m3)
}

/// Metal per litre of concentrate (g/L) that makes volume dose and metal dose agree.
///
/// Equation: s = rho_fuel c / (1000 v). Tells the generation of a concentrate from a controller's two set values.
///
/// ```
/// # use additive::dose::required_metal_g_per_l;
/// // 5 L lasting 80 000 km at 6.5 L/100 km is 0.9615 mL/L; at 25 mg/kg that needs 21.7 g/L
/// assert!((required_metal_g_per_l(25.0, 835.0, 5000.0 / 5200.0)? - 21.7).abs() < 0.05);
/// # Ok::<(), additive::Error>(())
/// ```
pub fn required_metal_g_per_l(
    metal_dose_mg_per_kg: f64,
    fuel_density_kg_m3: f64,
    volume_dose_ml_per_l: f64,
) -> Result<f64> {
    not_negative("metal dose", "mg/kg", metal_dose_mg_per_kg)?;
    positive("fuel density", "kg/m3", fuel_density_kg_m3)?;
    positive("volume dose", "mL/L", volume_dose_ml_per_l)?;
    result(
        "metal per litre of concentrate",
        "g/L",
        fuel_density_kg_m3 / 1000.0 * metal_dose_mg_per_kg / volume_dose_ml_per_l,
    )
}

/// What a dosing unit can deliver per litre of fuel, mL/L. Given by the caller; there is no default.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DoseReach {
    /// Least volume dose, mL per L of fuel.
    pub lowest_ml_per_l: f64,
    /// Greatest volume dose, mL per L of fuel.
    pub highest_ml_per_l: f64,
}

/// Volume dose for a metal dose, refused when the strength cannot give it within the reach of the dosing unit.
///
/// Errors: [`Error::NoMetal`], [`Error::DoseOutOfReach`] (both ends stated), or a figure without meaning.
///
/// ```
/// # use additive::dose::{DoseReach, Metal, Strength, reachable_dose_ml_per_l};
/// let strong = Strength::new(1000.0, [(Metal::Fe, 0.065)])?;
/// let reach = DoseReach { lowest_ml_per_l: 0.2, highest_ml_per_l: 1.0 };
/// assert!(reachable_dose_ml_per_l(8.0, 835.0, &strong, reach).is_err()); // would need 0.103 mL/L
/// # Ok::<(), additive::Error>(())
/// ```
pub fn reachable_dose_ml_per_l(
    metal_dose_mg_per_kg: f64,
    fuel_density_kg_m3: f64,
    strength: &Strength,
    reach: DoseReach,
) -> Result<f64> {
    let DoseReach { lowest_ml_per_l, highest_ml_per_l } = reach;
    not_negative("least volume dose", "mL/L", lowest_ml_per_l)?;
    positive("greatest volume dose", "mL/L", highest_ml_per_l)?;
    let needed = volume_dose_ml_per_l(metal_dose_mg_per_kg, fuel_density_kg_m3, strength.metal_g_per_l())?;
    if (lowest_ml_per_l..=highest_ml_per_l).contains(&needed) {
        return Ok(needed);
    }
    let metal = |volume| metal_dose_mg_per_kg_unchecked(volume, fuel_density_kg_m3, strength.metal_g_per_l());
    Err(Error::DoseOutOfReach {
        wanted_mg_per_kg: metal_dose_mg_per_kg,
        needed_ml_per_l: needed,
        lowest_ml_per_l,
        highest_ml_per_l,
        lowest_mg_per_kg: metal(lowest_ml_per_l),
        highest_mg_per_kg: metal(highest_ml_per_l),
    })
}

fn metal_dose_mg_per_kg_unchecked(volume_ml_per_l: f64, fuel_kg_m3: f64, metal_g_per_l: f64) -> f64 {
    volume_ml_per_l * metal_g_per_l * 1000.0 / fuel_kg_m3
}

/// Checks that a stated volume dose, a stated metal dose and a strength agree within a relative tolerance.
///
/// Returns the metal dose that volume dose and strength give, mg/kg. Errors with [`Error::DoseDisagrees`] when it is
/// further than `tolerance` (a share, such as 0.2) from the stated one. A generation mixed up shows as a factor up to
/// four, so a wide tolerance still finds it.
pub fn agreeing_dose_mg_per_kg(
    stated_ml_per_l: f64,
    stated_mg_per_kg: f64,
    fuel_density_kg_m3: f64,
    strength: &Strength,
    tolerance: f64,
) -> Result<f64> {
    positive("stated metal dose", "mg/kg", stated_mg_per_kg)?;
    not_negative("tolerance", "", tolerance)?;
    let given = metal_dose_mg_per_kg(stated_ml_per_l, fuel_density_kg_m3, strength.metal_g_per_l())?;
    if (given / stated_mg_per_kg - 1.0).abs() <= tolerance {
        Ok(given)
    } else {
        Err(Error::DoseDisagrees { stated_ml_per_l, stated_mg_per_kg, given_mg_per_kg: given })
    }
}

/// Concentrate used per distance, mL per 1000 km.
///
/// Equation: 10 f v, with f fuel use in L per 100 km and v volume dose in mL/L.
pub fn use_ml_per_1000km(volume_dose_ml_per_l: f64, fuel_l_per_100km: f64) -> Result<f64> {
    not_negative("volume dose", "mL/L", volume_dose_ml_per_l)?;
    not_negative("fuel use", "L/100 km", fuel_l_per_100km)?;
    result("additive use", "mL/1000 km", 10.0 * fuel_l_per_100km * volume_dose_ml_per_l)
}

/// Distance a volume of concentrate lasts, km.
///
/// Equation: D = 1e5 V u / (v f), with V in L, u the usable share, v in mL/L, f in L/100 km.
/// Nominal: it knows no leak, missed dose or change of use.
///
/// ```
/// # use additive::dose::range_km;
/// let km = range_km(5.0, 1.0, 5000.0 / 5200.0, 6.5)?;
/// assert!((km - 80_000.0).abs() < 1e-6);
/// # Ok::<(), additive::Error>(())
/// ```
pub fn range_km(
    volume_l: f64,
    usable_share: f64,
    volume_dose_ml_per_l: f64,
    fuel_l_per_100km: f64,
) -> Result<f64> {
    not_negative("volume of concentrate", "L", volume_l)?;
    share("usable share", usable_share)?;
    positive("volume dose", "mL/L", volume_dose_ml_per_l)?;
    positive("fuel use", "L/100 km", fuel_l_per_100km)?;
    result("range", "km", 1e5 * volume_l * usable_share / (volume_dose_ml_per_l * fuel_l_per_100km))
}

/// Oxide ash that the additive leaves in the filter, g per 1000 km.
///
/// Equation: m = 10 f rho_fuel c 1e-6 r eta, with f in L/100 km, rho_fuel in kg/m3, c in mg/kg, r oxide per metal
/// and eta the share that stays (more than 0.94 of cerium ash stayed in cordierite traps of buses; source S22 of the
/// physics reference). Oil ash comes on top of it.
///
/// ```
/// # use additive::dose::{Metal, oxide_g_per_1000km};
/// let g = oxide_g_per_1000km(25.0, 835.0, 6.5, Metal::Ce.oxide_per_metal(), 1.0)?;
/// assert!((g * 80.0 - 133.3).abs() < 0.1); // 80 000 km
/// # Ok::<(), additive::Error>(())
/// ```
pub fn oxide_g_per_1000km(
    metal_dose_mg_per_kg: f64,
    fuel_density_kg_m3: f64,
    fuel_l_per_100km: f64,
    oxide_per_metal: f64,
    retained_share: f64,
) -> Result<f64> {
    not_negative("metal dose", "mg/kg", metal_dose_mg_per_kg)?;
    positive("fuel density", "kg/m3", fuel_density_kg_m3)?;
    not_negative("fuel use", "L/100 km", fuel_l_per_100km)?;
    if oxide_per_metal < 1.0 {
        return Err(Error::NotPhysical {
            what: "oxide per metal",
            value: oxide_per_metal,
            unit: "",
            want: "1 or more",
        });
    }
    positive("oxide per metal", "", oxide_per_metal)?;
    share("share of oxide that stays in the filter", retained_share)?;
    let fuel_kg = 10.0 * fuel_l_per_100km * fuel_density_kg_m3 / 1000.0;
    result(
        "oxide ash",
        "g/1000 km",
        fuel_kg * metal_dose_mg_per_kg / 1000.0 * oxide_per_metal * retained_share,
    )
}

/// What a reservoir holds: volume, mass and metal, after any sequence of pours and doses.
///
/// Well mixed and with additive volumes: right to within a per cent for concentrates in like carriers
/// (common practice); a pouch that lies still may hold layers for a while. Mass and every metal are conserved exactly,
/// up to rounding.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Blend {
    volume_l: f64,
    mass_kg: f64,
    metal_g: BTreeMap<Metal, f64>,
}

impl Blend {
    /// An empty reservoir.
    pub fn empty() -> Self {
        Self::default()
    }

    /// A volume (L) of one strength.
    pub fn of(volume_l: f64, strength: &Strength) -> Result<Self> {
        not_negative("volume", "L", volume_l)?;
        let mass_kg = result("mass", "kg", volume_l * strength.density_kg_m3 / 1000.0)?;
        let metal_g = strength.mass_fraction.iter().map(|(m, x)| (*m, mass_kg * 1000.0 * x)).collect();
        Ok(Self { volume_l, mass_kg, metal_g })
    }

    /// Volume, L.
    pub fn volume_l(&self) -> f64 {
        self.volume_l
    }

    /// Mass, kg.
    pub fn mass_kg(&self) -> f64 {
        self.mass_kg
    }

    /// Mass of each metal, g.
    pub fn metal_g(&self) -> &BTreeMap<Metal, f64> {
        &self.metal_g
    }

    /// Mass of all metals, g.
    pub fn total_metal_g(&self) -> f64 {
        self.metal_g.values().sum()
    }

    /// Strength of the blend, or `None` when it is empty.
    pub fn strength(&self) -> Option<Strength> {
        if self.volume_l <= 0.0 || self.mass_kg <= 0.0 {
            return None;
        }
        let fraction = self.metal_g.iter().map(|(m, g)| (*m, (g / 1000.0 / self.mass_kg).clamp(0.0, 1.0)));
        Some(Strength {
            density_kg_m3: self.mass_kg / self.volume_l * 1000.0,
            mass_fraction: fraction.collect(),
        })
    }

    /// Pours another blend in.
    pub fn pour(&mut self, other: &Blend) {
        self.volume_l += other.volume_l;
        self.mass_kg += other.mass_kg;
        for (metal, grams) in &other.metal_g {
            *self.metal_g.entry(*metal).or_insert(0.0) += grams;
        }
    }

    /// Takes a volume (L) out, by dosing, draining or a leak; returns what was taken.
    ///
    /// Errors with [`Error::NotEnough`] and leaves the reservoir as it was when more is asked for than it holds.
    pub fn draw(&mut self, volume_l: f64) -> Result<Blend> {
        not_negative("volume to take", "L", volume_l)?;
        if volume_l > self.volume_l {
            return Err(Error::NotEnough { wanted_l: volume_l, held_l: self.volume_l });
        }
        if volume_l == self.volume_l {
            return Ok(std::mem::take(self));
        }
        let part = volume_l / self.volume_l;
        let taken = Blend {
            volume_l,
            mass_kg: self.mass_kg * part,
            metal_g: self.metal_g.iter().map(|(m, g)| (*m, g * part)).collect(),
        };
        self.volume_l -= taken.volume_l;
        self.mass_kg -= taken.mass_kg;
        for (metal, grams) in &mut self.metal_g {
            *grams -= taken.metal_g.get(metal).copied().unwrap_or(0.0);
        }
        Ok(taken)
    }

    /// Metal dose (mg per kg of fuel) that a volume dose of the present blend gives.
    ///
    /// A controller set for one generation and filled with another doses metal in the ratio of grams per litre.
    /// An empty blend gives no metal.
    pub fn metal_dose_mg_per_kg(&self, volume_dose_ml_per_l: f64, fuel_density_kg_m3: f64) -> Result<f64> {
        let g_per_l = self.strength().map_or(0.0, |s| s.metal_g_per_l());
        metal_dose_mg_per_kg(volume_dose_ml_per_l, fuel_density_kg_m3, g_per_l)
    }
}
