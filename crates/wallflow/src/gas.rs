//! Properties of exhaust gas and air: composition, molar mass, density, viscosity, heat capacity,
//! mean free path, slip.
//!
//! A [`Gas`] is an ideal mixture. Exhaust is the product of lean complete combustion of a fuel
//! CH<sub>y</sub> with y = 1.86.

use crate::error::{Error, Note, noted, within};

/// Molar gas constant, J/(mol K) (SI 2019, exact).
pub const GAS_CONSTANT: f64 = 8.314_462_618;
/// One standard atmosphere, Pa.
pub const ATMOSPHERE: f64 = 101_325.0;
/// Hydrogen to carbon ratio of the fuel, mol/mol (common practice for diesel fuel).
pub const HYDROGEN_PER_CARBON: f64 = 1.86;
/// Nitrogen (with argon) per oxygen in air, mol/mol.
pub const NITROGEN_PER_OXYGEN: f64 = 3.774;

/// Molar masses, kg/mol (IUPAC 2021 abridged atomic masses).
pub mod molar_mass {
    /// Carbon dioxide, kg/mol.
    pub const CO2: f64 = 44.009e-3;
    /// Water, kg/mol.
    pub const H2O: f64 = 18.015e-3;
    /// Oxygen, kg/mol.
    pub const O2: f64 = 31.998e-3;
    /// Nitrogen, kg/mol.
    pub const N2: f64 = 28.014e-3;
    /// Nitrogen dioxide, kg/mol.
    pub const NO2: f64 = 46.0055e-3;
    /// Carbon, kg/mol.
    pub const C: f64 = 12.011e-3;
}

/// Mole fractions of a combustion gas.
///
/// Argon is counted with nitrogen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Composition {
    /// Carbon dioxide, mol/mol.
    pub co2: f64,
    /// Water vapour, mol/mol.
    pub h2o: f64,
    /// Oxygen, mol/mol.
    pub o2: f64,
    /// Nitrogen and argon, mol/mol.
    pub n2: f64,
}

impl Composition {
    /// Dry air, counted as oxygen and nitrogen only.
    pub const AIR: Self = Self {
        co2: 0.0,
        h2o: 0.0,
        o2: 1.0 / (1.0 + NITROGEN_PER_OXYGEN),
        n2: NITROGEN_PER_OXYGEN / (1.0 + NITROGEN_PER_OXYGEN),
    };

    /// Composition of the gas after lean complete combustion.
    ///
    /// # Equation
    /// Per carbon atom: CO2 = 1, H2O = y/2, O2 = (lambda − 1)(1 + y/4), N2 = 3.774 lambda (1 + y/4),
    /// each divided by the sum.
    ///
    /// # Inputs
    /// `lambda`: air in use over air needed, 1 to 1000. Rich mixtures are refused.
    ///
    /// # Example
    /// ```
    /// let c = wallflow::gas::Composition::exhaust(2.0)?;
    /// assert!((c.o2 - 0.1014).abs() < 1e-4);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    ///
    /// # References
    /// Stoichiometry.
    pub fn exhaust(lambda: f64) -> Result<Self, Error> {
        let lambda = within("lambda", lambda, 1.0, 1000.0, "-")?;
        let need = 1.0 + HYDROGEN_PER_CARBON / 4.0;
        let (co2, h2o) = (1.0, HYDROGEN_PER_CARBON / 2.0);
        let (o2, n2) = ((lambda - 1.0) * need, NITROGEN_PER_OXYGEN * lambda * need);
        let sum = co2 + h2o + o2 + n2;
        Ok(Self { co2: co2 / sum, h2o: h2o / sum, o2: o2 / sum, n2: n2 / sum })
    }

    /// Molar mass, kg/mol: sum of mole fraction times molar mass.
    pub fn molar_mass(&self) -> f64 {
        self.co2 * molar_mass::CO2
            + self.h2o * molar_mass::H2O
            + self.o2 * molar_mass::O2
            + self.n2 * molar_mass::N2
    }
}

/// Coefficients of cp/R = a0 + a1 T + a2 T^2 + a3 T^3 + a4 T^4 below and above 1000 K, in the
/// NASA seven-coefficient form as used by GRI-Mech 3.0 (Smith et al. 1999).
struct HeatCapacity {
    low: [f64; 5],
    high: [f64; 5],
}

const CP_N2: HeatCapacity = HeatCapacity {
    low: [3.298_677, 1.408_240_4e-3, -3.963_222e-6, 5.641_515e-9, -2.444_854e-12],
    high: [2.926_64, 1.487_976_8e-3, -5.684_76e-7, 1.009_703_8e-10, -6.753_351e-15],
};
const CP_O2: HeatCapacity = HeatCapacity {
    low: [3.782_456_36, -2.996_734_16e-3, 9.847_302_01e-6, -9.681_295_09e-9, 3.243_728_37e-12],
    high: [3.282_537_84, 1.483_087_54e-3, -7.579_666_69e-7, 2.094_705_55e-10, -2.167_177_94e-14],
};
const CP_CO2: HeatCapacity = HeatCapacity {
    low: [2.356_773_52, 8.984_596_77e-3, -7.123_562_69e-6, 2.459_190_22e-9, -1.436_995_48e-13],
    high: [3.857_460_29, 4.414_370_26e-3, -2.214_814_04e-6, 5.234_901_88e-10, -4.720_841_64e-14],
};
const CP_H2O: HeatCapacity = HeatCapacity {
    low: [4.198_640_56, -2.036_434_1e-3, 6.520_402_11e-6, -5.487_970_62e-9, 1.771_978_17e-12],
    high: [3.033_992_49, 2.176_918_04e-3, -1.640_725_18e-7, -9.704_198_7e-11, 1.682_009_92e-14],
};

impl HeatCapacity {
    fn over_r(&self, t: f64) -> f64 {
        let a = if t < 1000.0 { &self.low } else { &self.high };
        let [a0, a1, a2, a3, a4] = *a;
        a0 + t * (a1 + t * (a2 + t * (a3 + t * a4)))
    }
}

/// An ideal gas mixture with the constants its properties need.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gas {
    composition: Composition,
    molar_mass: f64,
    sutherland_c: f64,
    sutherland_s: f64,
}

/// Sutherland constants against 1/lambda: air, then exhaust at lambda 3, 2 and 1.3 (least squares
/// on CoolProp 8.0.0 for air and Cantera 3.2.0 for exhaust, 300-1100 K).
const SUTHERLAND: [(f64, f64, f64); 4] = [
    (0.0, 1.5624e-6, 143.69),
    (1.0 / 3.0, 1.5368e-6, 153.93),
    (0.5, 1.5386e-6, 163.48),
    (1.0 / 1.3, 1.5417e-6, 178.87),
];

impl Gas {
    /// Dry air.
    ///
    /// Viscosity fit: C = 1.5624e-6, S = 143.69 K, within 1.3 % of CoolProp 8.0.0 at 300-1100 K.
    /// The usual textbook constants (S = 110.4 K) are 4 % low at 1000 K and are not used.
    pub const fn air() -> Self {
        Self {
            composition: Composition::AIR,
            molar_mass: 28.9647e-3,
            sutherland_c: 1.5624e-6,
            sutherland_s: 143.69,
        }
    }

    /// Lean exhaust at lambda = 2, the default of this crate.
    ///
    /// Viscosity fit: C = 1.5386e-6, S = 163.48 K, within 1.8 % of Cantera 3.2.0 (gri30,
    /// mixture-averaged) at 300-1100 K. Exhaust is 6 % less viscous than air at 300 K and 3 % less
    /// at 1000 K.
    pub fn exhaust() -> Self {
        let (o2, n2) = (0.101_364_3, 0.765_097_9);
        let composition = Composition { co2: 0.069_190_6, h2o: 0.064_347_2, o2, n2 };
        Self { composition, molar_mass: 28.8811e-3, sutherland_c: 1.5386e-6, sutherland_s: 163.48 }
    }

    /// Lean exhaust at any lambda.
    ///
    /// # Equation
    /// [`Composition::exhaust`]; Sutherland constants interpolated linearly in 1/lambda between
    /// fits at lambda 1.3, 2, 3 and air (1/lambda = 0).
    ///
    /// # Inputs
    /// `lambda` from 1 to 1000. Between 1 and 1.3 the viscosity is extrapolated.
    ///
    /// # Example
    /// ```
    /// use wallflow::gas::Gas;
    /// let two = Gas::exhaust_at(2.0)?;
    /// assert!((two.viscosity(600.0) / Gas::exhaust().viscosity(600.0) - 1.0).abs() < 1e-6);
    /// # Ok::<(), wallflow::Error>(())
    /// ```
    ///
    /// # References
    /// Fits to Cantera 3.2.0 (gri30) and CoolProp 8.0.0.
    pub fn exhaust_at(lambda: f64) -> Result<Self, Error> {
        let composition = Composition::exhaust(lambda)?;
        let x = 1.0 / lambda;
        let mut pairs = SUTHERLAND.windows(2);
        // The last pair also serves the extrapolation beyond lambda 1.3.
        let (mut c, mut s) = (0.0, 0.0);
        for pair in &mut pairs {
            let &[(x0, c0, s0), (x1, c1, s1)] = pair else { continue };
            let t = (x - x0) / (x1 - x0);
            (c, s) = (c0 + t * (c1 - c0), s0 + t * (s1 - s0));
            if x <= x1 {
                break;
            }
        }
        Ok(Self { composition, molar_mass: composition.molar_mass(), sutherland_c: c, sutherland_s: s })
    }

    /// Mole fractions.
    pub fn composition(&self) -> Composition {
        self.composition
    }

    /// Molar mass, kg/mol.
    pub fn molar_mass(&self) -> f64 {
        self.molar_mass
    }

    /// Specific gas constant R/M, J/(kg K).
    pub fn specific_constant(&self) -> f64 {
        GAS_CONSTANT / self.molar_mass
    }

    /// Density of the ideal gas, kg/m3.
    ///
    /// # Equation
    /// rho = p M/(R T).
    ///
    /// # Inputs
    /// `pressure`: absolute, Pa, above 0. `temperature`: K, above 0.
    ///
    /// # Validity
    /// Within 0.1 % of CoolProp for air at 1 atm, 300-1000 K. Non-physical input gives a
    /// non-physical result (not a panic); [`FlowState`] refuses it beforehand.
    ///
    /// # Example
    /// ```
    /// let rho = wallflow::gas::Gas::exhaust().density(101_325.0, 573.15);
    /// assert!((rho - 0.614082).abs() < 1e-5);
    /// ```
    pub fn density(&self, pressure: f64, temperature: f64) -> f64 {
        pressure * self.molar_mass / (GAS_CONSTANT * temperature)
    }

    /// Dynamic viscosity, Pa s.
    ///
    /// # Equation
    /// Sutherland: mu = C T^1.5/(T + S).
    ///
    /// # Inputs
    /// `temperature`: K, above 0 (NaN at negative temperatures).
    ///
    /// # Validity
    /// Fitted at 300-1100 K within 1.8 %; [`temperature_note`] says when a temperature lies outside.
    /// Two reference programs disagree by 0.8 % on air: the floor of any such fit.
    ///
    /// # Example
    /// ```
    /// let mu = wallflow::gas::Gas::exhaust().viscosity(573.15);
    /// assert!((mu - 2.86602e-5).abs() < 1e-10);
    /// ```
    ///
    /// # References
    /// Sutherland 1893 (form); constants see [`Gas::exhaust`], [`Gas::air`].
    pub fn viscosity(&self, temperature: f64) -> f64 {
        self.sutherland_c * temperature * temperature.sqrt() / (temperature + self.sutherland_s)
    }

    /// Heat capacity at constant pressure, J/(kg K).
    ///
    /// # Equation
    /// cp = (R/M) sum x_i (cp/R)_i with the NASA polynomials of CO2, H2O, O2 and N2.
    ///
    /// # Inputs
    /// `temperature`: K.
    ///
    /// # Validity
    /// Polynomials hold for 300-3500 K (200 K for O2, CO2 and H2O).
    ///
    /// # Example
    /// ```
    /// let cp = wallflow::gas::Gas::exhaust().heat_capacity(600.0);
    /// assert!((cp - 1104.0).abs() < 3.0);
    /// ```
    ///
    /// # References
    /// Smith et al., GRI-Mech 3.0, 1999 (thermodynamic data; coefficients from memory, checked
    /// against Cantera 3.2.0 and CoolProp 8.0.0 within 0.5 %).
    pub fn heat_capacity(&self, temperature: f64) -> f64 {
        let c = &self.composition;
        let over_r = c.co2 * CP_CO2.over_r(temperature)
            + c.h2o * CP_H2O.over_r(temperature)
            + c.o2 * CP_O2.over_r(temperature)
            + c.n2 * CP_N2.over_r(temperature);
        over_r * GAS_CONSTANT / self.molar_mass
    }

    /// Thermal conductivity, W/(m K).
    ///
    /// # Equation
    /// Modified Eucken: k = mu (1.32 cv + 1.77 R/M) with cv = cp − R/M.
    ///
    /// # Inputs
    /// `temperature`: K.
    ///
    /// # Validity
    /// Within 3 % of Cantera 3.2.0 for lean exhaust at 300-1000 K.
    ///
    /// # Example
    /// ```
    /// let k = wallflow::gas::Gas::exhaust().conductivity(600.0);
    /// assert!((k / 0.04601 - 1.0).abs() < 0.03);
    /// ```
    ///
    /// # References
    /// Svehla 1962 (from memory).
    pub fn conductivity(&self, temperature: f64) -> f64 {
        let r = self.specific_constant();
        let cv = self.heat_capacity(temperature) - r;
        self.viscosity(temperature) * (1.32 * cv + 1.77 * r)
    }

    /// Mean free path, m.
    ///
    /// # Equation
    /// lam = (mu/p) sqrt(pi R T/(2 M)).
    ///
    /// # Inputs
    /// `pressure`: absolute, Pa, above 0. `temperature`: K, above 0.
    ///
    /// # Example
    /// ```
    /// let lam = wallflow::gas::Gas::exhaust().mean_free_path(101_325.0, 573.15);
    /// assert!((lam - 1.44002e-7).abs() < 2e-11);
    /// ```
    ///
    /// # References
    /// Kinetic theory.
    pub fn mean_free_path(&self, pressure: f64, temperature: f64) -> f64 {
        self.viscosity(temperature) / pressure
            * (std::f64::consts::PI * GAS_CONSTANT * temperature / (2.0 * self.molar_mass)).sqrt()
    }

    /// Slip factor of pores of a given size at a given state: [`slip_factor`] at Kn = 2 lam/d.
    ///
    /// `pore`: effective pore diameter, m, above 0. `pressure` Pa absolute, `temperature` K.
    pub fn pore_slip(&self, pore: f64, pressure: f64, temperature: f64) -> f64 {
        slip_factor(2.0 * self.mean_free_path(pressure, temperature) / pore)
    }
}

impl Default for Gas {
    fn default() -> Self {
        Self::exhaust()
    }
}

/// Cunningham slip factor (how many times more permeable a pore is than in continuum flow).
///
/// # Equation
/// SCF = 1 + Kn (1.257 + 0.4 exp(−1.1/Kn)).
///
/// # Inputs
/// `knudsen`: Kn = 2 lam/d, not negative. Zero gives exactly 1.
///
/// # Example
/// ```
/// assert!((wallflow::gas::slip_factor(2.0) - 3.97556).abs() < 1e-5);
/// assert_eq!(wallflow::gas::slip_factor(0.0), 1.0);
/// ```
///
/// # References
/// Cunningham 1910; constants Davies 1945 (from memory).
pub fn slip_factor(knudsen: f64) -> f64 {
    if knudsen <= 0.0 {
        return 1.0;
    }
    1.0 + knudsen * (1.257 + 0.4 * (-1.1 / knudsen).exp())
}

/// Permeability of a bed of equal spheres in continuum flow, m2.
///
/// # Equation
/// Kuwabara cell: k0 = (2 r²/(9 phi)) (1 − 1.8 phi^(1/3) + phi − 0.2 phi²).
///
/// # Inputs
/// `radius`: of the spheres, m. `solid_fraction`: phi, above 0 and below 0.6.
///
/// # Validity
/// Loose beds. Engine soot gives 2 to 10 times more (aggregates leave larger pores), so this is a
/// lower bound of a cake, not a prediction.
///
/// # Example
/// ```
/// let k0 = wallflow::gas::sphere_bed_permeability(12.5e-9, 0.05)?;
/// assert!((k0 / 2.683e-16 - 1.0).abs() < 1e-3);
/// # Ok::<(), wallflow::Error>(())
/// ```
///
/// # References
/// Kuwabara 1959 (from memory).
pub fn sphere_bed_permeability(radius: f64, solid_fraction: f64) -> Result<f64, Error> {
    let r = within("sphere radius", radius, 1e-10, 1e-3, "m")?;
    let phi = within("solid fraction", solid_fraction, 1e-6, 0.6, "-")?;
    Ok(2.0 * r * r / (9.0 * phi) * (1.0 - 1.8 * phi.cbrt() + phi - 0.2 * phi * phi))
}

/// Says when a gas temperature (K) lies outside the range of the viscosity fits (250-1100 K; the
/// fits were made at 300-1100 K and Sutherland's form is trusted 50 K further down).
pub fn temperature_note(temperature: f64) -> Option<Note> {
    noted("gas temperature", temperature, 250.0, 1100.0, "K")
}

/// Flow through a filter: how much, how hot, into which pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlowState {
    mass_flow: f64,
    temperature: f64,
    outlet_pressure: f64,
}

impl FlowState {
    /// Checked constructor.
    ///
    /// # Inputs
    /// `mass_flow`: kg/s, 0 to 10. `temperature`: K, 150 to 2500 (note outside 250-1100, see
    /// [`FlowState::notes`]). `outlet_pressure`: absolute pressure behind the filter, Pa, 1e4 to 1e7.
    pub fn new(mass_flow: f64, temperature: f64, outlet_pressure: f64) -> Result<Self, Error> {
        Ok(Self {
            mass_flow: within("exhaust mass flow", mass_flow, 0.0, 10.0, "kg/s")?,
            temperature: within("gas temperature", temperature, 150.0, 2500.0, "K")?,
            outlet_pressure: within("absolute pressure behind the filter", outlet_pressure, 1e4, 1e7, "Pa")?,
        })
    }

    /// Mass flow, kg/s.
    pub fn mass_flow(&self) -> f64 {
        self.mass_flow
    }

    /// Gas temperature, K.
    pub fn temperature(&self) -> f64 {
        self.temperature
    }

    /// Absolute pressure behind the filter, Pa.
    pub fn outlet_pressure(&self) -> f64 {
        self.outlet_pressure
    }

    /// What should be said about this state beside any result.
    pub fn notes(&self) -> Option<Note> {
        temperature_note(self.temperature)
    }
}
