//! Fuel in engine oil: what late post-injection leaves in the sump.
//!
//! A dipstick rise is one-sided evidence (oil use masks it); flash point, infrared and gas chromatography are the
//! laboratory's measures. Aborted regenerations count in full: attempts predict dilution, successes do not.

use crate::error::{Error, Result, not_negative, positive, result, share};

/// Kinematic viscosity (mm2/s) of oil with fuel in it.
///
/// Equation: ln nu = x ln nu_fuel + (1 - x) ln nu_oil, x by volume (logarithmic mixing, Arrhenius 1887; from memory).
/// Both viscosities at the same temperature. Good for a few per cent of fuel; no limit is enforced but 0 to 1.
///
/// ```
/// # use additive::oil::diluted_viscosity_mm2_s;
/// let nu = diluted_viscosity_mm2_s(10.3, 1.1, 0.05)?; // 100 degC
/// assert!((nu - 9.21).abs() < 0.005);
/// # Ok::<(), additive::Error>(())
/// ```
pub fn diluted_viscosity_mm2_s(oil_mm2_s: f64, fuel_mm2_s: f64, fuel_share: f64) -> Result<f64> {
    let oil = positive("viscosity of the oil", "mm2/s", oil_mm2_s)?;
    let fuel = positive("viscosity of the fuel", "mm2/s", fuel_mm2_s)?;
    let x = share("share of fuel in the oil", fuel_share)?;
    result("viscosity of the mixture", "mm2/s", (x * fuel.ln() + (1.0 - x) * oil.ln()).exp())
}

/// Share of fuel (by volume) that explains a measured viscosity; inverse of [`diluted_viscosity_mm2_s`].
///
/// Errors unless the measured viscosity lies between fuel and oil: shear and oxidation move it too, so it is an
/// indication, not a proof.
pub fn fuel_share_of_viscosity(oil_mm2_s: f64, fuel_mm2_s: f64, measured_mm2_s: f64) -> Result<f64> {
    let oil = positive("viscosity of the oil", "mm2/s", oil_mm2_s)?;
    let fuel = positive("viscosity of the fuel", "mm2/s", fuel_mm2_s)?;
    let measured = positive("viscosity measured", "mm2/s", measured_mm2_s)?;
    if fuel >= oil || measured < fuel || measured > oil {
        return Err(Error::NotPhysical {
            what: "viscosity measured",
            value: measured_mm2_s,
            unit: "mm2/s",
            want: "between that of the fuel and that of the oil",
        });
    }
    Ok(((oil.ln() - measured.ln()) / (oil.ln() - fuel.ln())).clamp(0.0, 1.0))
}

/// Share of fuel in the sump after a number of like cycles, just after the last regeneration.
///
/// Each regeneration adds `added_share`; over `km_between` it evaporates with the distance constant `evaporation_km`.
/// Equation: x_n = d (1 - q^n)/(1 - q) with q = exp(-D/D_e). Steady state before a regeneration is d/(exp(D/D_e) - 1)
/// and just after it d more. Esters hardly evaporate: give a very long `evaporation_km` for them. `added_share` is
/// fitted per vehicle; its size is not published well enough for a default. Kept at 1 at most.
///
/// ```
/// # use additive::oil::fuel_share_after;
/// let x = fuel_share_after(0.004, 300.0, 900.0, 1000)?;
/// let steady = 0.004 / (300.0f64 / 900.0).exp_m1() + 0.004;
/// assert!((x - steady).abs() < 1e-9);
/// # Ok::<(), additive::Error>(())
/// ```
pub fn fuel_share_after(
    added_share: f64,
    km_between: f64,
    evaporation_km: f64,
    attempts: u32,
) -> Result<f64> {
    let d = share("share of fuel added per attempt", added_share)?;
    let ratio = not_negative("distance between attempts", "km", km_between)?
        / positive("distance over which fuel evaporates", "km", evaporation_km)?;
    let n = f64::from(attempts);
    // (1 - q^n)/(1 - q) by expm1, exact also where nothing evaporates
    let sum = if ratio > 0.0 { (-n * ratio).exp_m1() / (-ratio).exp_m1() } else { n };
    result("share of fuel in the oil", "", (d * sum).min(1.0))
}

/// Rise of the sump's volume (mL) that a share of fuel makes.
///
/// Equation: V x/(1 - x), with V the oil in L: 1 % in 5 L is 50 mL. Oil use in the same time hides it.
pub fn sump_rise_ml(oil_l: f64, fuel_share: f64) -> Result<f64> {
    let oil = not_negative("oil in the sump", "L", oil_l)?;
    let x = share("share of fuel in the oil", fuel_share)?;
    if x == 1.0 {
        return Err(Error::NotPhysical {
            what: "share of fuel in the oil",
            value: x,
            unit: "",
            want: "below 1",
        });
    }
    result("rise of the sump", "mL", 1000.0 * oil * x / (1.0 - x))
}
