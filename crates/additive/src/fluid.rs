//! Fluids as data: density, viscosity, refractive index, look and mixing, every number with source and mark.
//!
//! The caller hands over texts (TOML, `schema = "sootwright.fluids/1"`): first the general ones, then the workshop's
//! own. A later row with the same `id` overrides field by field; a row may start from another with `based_on`. No maker
//! publishes data of concentrates, so the general rows are wide classes; the workshop's `[[measured]]` rows narrow them.
//!
//! ```
//! use additive::fluid::Library;
//! let general = r#"
//! schema = "sootwright.fluids/1"
//! [[fluid]]
//! id = "class"
//! name = "Iron concentrate"
//! kind = "concentrate"
//! density_kg_m3 = [{ degc = 20, low = 800, high = 1050, source = "range of the trade", mark = "from_memory" }]
//! density_per_k = { low = -0.8, high = -0.6, source = "hydrocarbons", mark = "from_memory" }
//! "#;
//! let own = r#"
//! schema = "sootwright.fluids/1"
//! [[fluid]]
//! id = "can-17"
//! based_on = "class"
//! [[measured]]
//! fluid = "can-17"
//! quantity = "density_kg_m3"
//! value = 862.0
//! standard_uncertainty = 2.0
//! degc = 20.0
//! source = "hydrometer"
//! "#;
//! let library = Library::from_texts([("fluids.toml", general), ("own.toml", own)])?;
//! let rho = library.get("can-17")?.density_kg_m3(20.0)?;
//! assert!((rho.low - 858.08).abs() < 1e-9 && (rho.high - 865.92).abs() < 1e-9);
//! # Ok::<(), additive::Error>(())
//! ```

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::dose::Metal;
use crate::error::{Error, Result, finite, line_of, misread, not_negative, positive};

/// Schema a text of fluids must name.
pub const SCHEMA: &str = "sootwright.fluids/1";

/// Half width of a 95 % interval in standard uncertainties.
const TWO_SIDED_95: f64 = 1.96;

/// How far a figure can be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// Limit of a named standard, seen in print or reprint.
    Standard,
    /// Seen in the source named.
    Seen,
    /// Measured by the workshop.
    Measured,
    /// Computed from other figures, as the source says.
    Computed,
    /// Recalled, not looked up.
    FromMemory,
    /// What the trade does; no source.
    CommonPractice,
    /// Our estimate.
    ExpertGuess,
}

/// What family a fluid belongs to. Fluids of different families must never share a container.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Urea in water: AUS 32 and the same out of its limits.
    UreaSolution,
    /// Concentrate of a fuel-borne catalyst.
    Concentrate,
    /// Diesel fuel.
    Diesel,
    /// Petrol.
    Petrol,
    /// Water.
    Water,
    /// Water with alcohol or glycol: screen wash, coolant.
    WaterMix,
    /// Engine oil.
    Oil,
    /// Two fluids in one vessel.
    Mixture,
    /// Anything else.
    Other,
}

/// Look of a sample in clear glass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Look {
    /// Clear, no colour.
    ClearColourless,
    /// Clear, straw to yellow.
    PaleYellow,
    /// Clear, dyed blue, pink, green or red.
    Dyed,
    /// Brown or red-brown, light passes.
    BrownClear,
    /// Dark, no light passes.
    DarkOpaque,
    /// Cloudy or with floating matter.
    Cloudy,
    /// Two layers after standing.
    TwoLayers,
}

impl Look {
    /// All looks.
    pub const ALL: [Look; 7] = [
        Look::ClearColourless,
        Look::PaleYellow,
        Look::Dyed,
        Look::BrownClear,
        Look::DarkOpaque,
        Look::Cloudy,
        Look::TwoLayers,
    ];
}

/// What a drop does in a glass of water.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum InWater {
    /// Disappears in the water.
    Mixes,
    /// Stays on top.
    Floats,
    /// Sinks and stays apart.
    Sinks,
    /// Makes a milky cloud.
    Clouds,
}

impl InWater {
    /// All outcomes.
    pub const ALL: [InWater; 4] = [InWater::Mixes, InWater::Floats, InWater::Sinks, InWater::Clouds];
}

/// Limits of a figure, with where they come from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Band {
    /// Lower limit.
    pub low: f64,
    /// Upper limit; equal to `low` for a single figure.
    pub high: f64,
    /// Author, year, standard or how it was got.
    pub source: String,
    /// How far to trust it.
    pub mark: Mark,
}

/// Limits of a figure at one temperature.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Point {
    /// Temperature, degC.
    pub degc: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Author, year, standard or how it was got.
    pub source: String,
    /// How far to trust it.
    pub mark: Mark,
}

/// Limits computed for a temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread {
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// True when the temperature lies outside that of the data by more than 5 K.
    pub extrapolated: bool,
}

impl Spread {
    /// Middle of the limits.
    pub fn middle(&self) -> f64 {
        0.5 * (self.low + self.high)
    }
}

/// One fluid, complete and checked. Fields that are `None` or empty are not known.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fluid {
    /// Id used everywhere.
    pub id: String,
    /// Name to show.
    pub name: String,
    /// Family.
    pub kind: Kind,
    /// Family of concentrates that may not be mixed with another.
    pub generation: Option<String>,
    /// Carrier in words.
    pub carrier: Option<String>,
    /// Metals it may hold.
    pub metals: Vec<Metal>,
    /// Mass fraction of metal, 0 to 1.
    pub metal_fraction: Option<Band>,
    /// Grams of metal per litre where that is what is known.
    pub metal_g_per_l: Option<Band>,
    /// Urea, per cent by mass.
    pub urea_pct: Option<Band>,
    /// Density against temperature, kg/m3, rising in temperature.
    pub density: Vec<Point>,
    /// Change of density per kelvin, kg/(m3 K), for temperatures outside the points.
    pub density_per_k: Option<Band>,
    /// Kinematic viscosity against temperature, mm2/s, rising in temperature.
    pub viscosity: Vec<Point>,
    /// Refractive index at 20 degC, sodium line.
    pub refractive_20: Option<Band>,
    /// Change of refractive index per kelvin.
    pub refractive_per_k: Option<Band>,
    /// Share of samples clear enough for a refractometer.
    pub refractive_readable: f64,
    /// Freezing or cloud point, degC.
    pub freezing_degc: Option<Band>,
    /// How samples look, as weights.
    pub looks: BTreeMap<Look, f64>,
    /// What a drop does in water, as weights.
    pub in_water: BTreeMap<InWater, f64>,
    /// Shelf life unopened, months.
    pub shelf_life_months: Option<Band>,
    /// Other limits of a standard, by name with the unit in it.
    pub limits: BTreeMap<String, Band>,
    /// True when its vapour or mist burns.
    pub burns: bool,
    /// Where the weights of look and mixing come from, and whatever else there is to say.
    pub note: Option<String>,
}

impl Fluid {
    /// Density (kg/m3) at a temperature (degC): limits.
    ///
    /// Linear between points; beyond them the row's `density_per_k` (both of its limits widen the answer), else the
    /// slope of the nearest two points, else refused further than 5 K from a lone point.
    pub fn density_kg_m3(&self, degc: f64) -> Result<Spread> {
        finite("temperature", "degC", degc)?;
        let no_data = |what| Error::NoData { id: self.id.clone(), what };
        let (first, last) = match (self.density.first(), self.density.last()) {
            (Some(first), Some(last)) => (first, last),
            _ => return Err(no_data("density")),
        };
        let near = |p: &Point| (degc - p.degc).abs() <= 5.0;
        if let Some((a, b)) = bracket(&self.density, degc) {
            let part = (degc - a.degc) / (b.degc - a.degc);
            return Ok(Spread {
                low: a.low + part * (b.low - a.low),
                high: a.high + part * (b.high - a.high),
                extrapolated: false,
            });
        }
        let edge = if degc < first.degc { first } else { last };
        let away = degc - edge.degc;
        let extrapolated = !near(edge);
        let spread = if let Some(slope) = &self.density_per_k {
            let (a, b) = (slope.low * away, slope.high * away);
            Spread { low: edge.low + a.min(b), high: edge.high + a.max(b), extrapolated }
        } else if near(edge) {
            Spread { low: edge.low, high: edge.high, extrapolated }
        } else {
            return Err(no_data("density at this temperature"));
        };
        if spread.low > 0.0 && spread.high.is_finite() {
            Ok(spread)
        } else {
            Err(no_data("density at this temperature"))
        }
    }

    /// Kinematic viscosity (mm2/s) at a temperature (degC): limits.
    ///
    /// Between and beyond two points: Walther's equation as in ASTM D341, lg lg(nu + 0.7) = A - B lg T, where both are
    /// 2 mm2/s or more; below that Andrade's ln nu = a + b/T, which D341's short form does not cover. A lone point
    /// holds within 5 K only.
    pub fn kinematic_mm2_s(&self, degc: f64) -> Result<Spread> {
        finite("temperature", "degC", degc)?;
        let no_data = || Error::NoData { id: self.id.clone(), what: "viscosity at this temperature" };
        if degc <= -273.15 {
            return Err(no_data());
        }
        let points = self.viscosity.as_slice();
        let (a, b) = match points {
            [] => return Err(no_data()),
            [only] if (degc - only.degc).abs() <= 5.0 => {
                return Ok(Spread { low: only.low, high: only.high, extrapolated: false });
            }
            [_] => return Err(no_data()),
            [first, second, ..] if degc < first.degc => (first, second),
            [.., before, last] => bracket(points, degc).unwrap_or((before, last)),
        };
        let low = viscosity_between(a.degc, a.low, b.degc, b.low, degc)?;
        let high = viscosity_between(a.degc, a.high, b.degc, b.high, degc)?;
        let extrapolated = degc < a.degc - 5.0 || degc > b.degc + 5.0;
        Ok(Spread { low: low.min(high), high: high.max(low), extrapolated })
    }

    /// Refractive index at a temperature (degC): limits, or `None` where the row has none.
    pub fn refractive_index(&self, degc: f64) -> Option<Spread> {
        let band = self.refractive_20.as_ref()?;
        let away = degc - 20.0;
        let (a, b) = self.refractive_per_k.as_ref().map_or((0.0, 0.0), |s| (s.low * away, s.high * away));
        Some(Spread { low: band.low + a.min(b), high: band.high + a.max(b), extrapolated: away.abs() > 15.0 })
    }

    /// Grams of metal per litre at 20 degC: limits, from `metal_g_per_l` or from mass fraction and density.
    pub fn strength_g_per_l(&self) -> Result<Spread> {
        if let Some(band) = &self.metal_g_per_l {
            return Ok(Spread { low: band.low, high: band.high, extrapolated: false });
        }
        let Some(fraction) = &self.metal_fraction else {
            return Err(Error::NoData { id: self.id.clone(), what: "metal content" });
        };
        let rho = self.density_kg_m3(20.0)?;
        Ok(Spread { low: fraction.low * rho.low, high: fraction.high * rho.high, extrapolated: false })
    }
}

/// Kinematic viscosity (mm2/s) at a temperature from two known points.
///
/// Walther (ASTM D341 short form) when both are 2 mm2/s or more, else Andrade. Temperatures in degC, above -273.15 and
/// different from each other; viscosities above zero. Valid between the points; beyond them an extrapolation.
///
/// ```
/// # use additive::fluid::viscosity_between;
/// let nu = viscosity_between(20.0, 4.0, 40.0, 2.5, 0.0)?;
/// assert!((nu - 7.47).abs() < 0.01); // physics reference 7.4
/// # Ok::<(), additive::Error>(())
/// ```
pub fn viscosity_between(degc_a: f64, nu_a: f64, degc_b: f64, nu_b: f64, degc: f64) -> Result<f64> {
    let kelvin = |t| positive("temperature", "K", t + 273.15);
    let (ta, tb, t) = (kelvin(degc_a)?, kelvin(degc_b)?, kelvin(degc)?);
    positive("kinematic viscosity", "mm2/s", nu_a)?;
    positive("kinematic viscosity", "mm2/s", nu_b)?;
    if ta == tb {
        return Err(Error::NotPhysical {
            what: "temperature of the second point",
            value: degc_b,
            unit: "degC",
            want: "another than the first",
        });
    }
    let nu = if nu_a >= 2.0 && nu_b >= 2.0 {
        let z = |nu: f64| (nu + 0.7).log10().log10();
        let b = (z(nu_a) - z(nu_b)) / (tb.log10() - ta.log10());
        let lg = z(nu_a) + b * (ta.log10() - t.log10());
        10f64.powf(10f64.powf(lg)) - 0.7
    } else {
        let b = (nu_a.ln() - nu_b.ln()) / (1.0 / ta - 1.0 / tb);
        (nu_a.ln() + b * (1.0 / t - 1.0 / ta)).exp()
    };
    positive("kinematic viscosity at that temperature", "mm2/s", nu)
}

/// Neighbouring points around a temperature, or `None` outside them.
fn bracket(points: &[Point], degc: f64) -> Option<(&Point, &Point)> {
    points.windows(2).find_map(|w| match w {
        [a, b] if (a.degc..=b.degc).contains(&degc) => Some((a, b)),
        _ => None,
    })
}

/// One row of the measured table of urea in water.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct UreaRow {
    /// Urea, per cent by mass.
    pub urea_pct: f64,
    /// Density at 20 degC, kg/m3.
    pub density_kg_m3: f64,
    /// Refractive index at 20 degC, sodium line, where printed.
    pub refractive_20: Option<f64>,
    /// Dynamic viscosity at 20 degC, mPa s.
    pub viscosity_mpa_s: f64,
}

/// Urea in water at 20 degC: measured table with linear interpolation.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct UreaTable {
    /// Where the table comes from.
    pub source: String,
    rows: Vec<UreaRow>,
}

impl UreaTable {
    /// Rows, rising in urea.
    pub fn rows(&self) -> &[UreaRow] {
        &self.rows
    }

    /// Density (kg/m3, 20 degC) of a solution of so much urea (per cent by mass); `None` outside the table.
    pub fn density_kg_m3(&self, urea_pct: f64) -> Option<f64> {
        self.interpolate(urea_pct, |r| Some(r.urea_pct), |r| Some(r.density_kg_m3))
    }

    /// Refractive index (20 degC) of a solution of so much urea (per cent by mass); `None` outside the table.
    pub fn refractive_20(&self, urea_pct: f64) -> Option<f64> {
        self.interpolate(urea_pct, |r| Some(r.urea_pct), |r| r.refractive_20)
    }

    /// Urea (per cent by mass) of a solution of this density (kg/m3, 20 degC); `None` outside the table.
    pub fn urea_pct_of_density(&self, density_kg_m3: f64) -> Option<f64> {
        self.interpolate(density_kg_m3, |r| Some(r.density_kg_m3), |r| Some(r.urea_pct))
    }

    /// Urea (per cent by mass) of a solution of this refractive index (20 degC); `None` outside the table.
    pub fn urea_pct_of_refractive(&self, refractive_20: f64) -> Option<f64> {
        self.interpolate(refractive_20, |r| r.refractive_20, |r| Some(r.urea_pct))
    }

    fn interpolate(
        &self,
        at: f64,
        x: impl Fn(&UreaRow) -> Option<f64>,
        y: impl Fn(&UreaRow) -> Option<f64>,
    ) -> Option<f64> {
        self.rows.windows(2).find_map(|w| {
            let [a, b] = w else { return None };
            let (xa, xb, ya, yb) = (x(a)?, x(b)?, y(a)?, y(b)?);
            (xa..=xb).contains(&at).then(|| if xb > xa { ya + (yb - ya) * (at - xa) / (xb - xa) } else { ya })
        })
    }
}

/// Quantity a workshop may measure of a fluid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Density, kg/m3.
    DensityKgM3,
    /// Kinematic viscosity, mm2/s.
    KinematicMm2S,
    /// Refractive index of the sodium line.
    RefractiveIndex,
    /// Metal, grams per litre of concentrate (laboratory or data sheet).
    MetalGPerL,
    /// Metal, mass fraction (laboratory or data sheet).
    MetalFraction,
}

/// A measurement that narrows a fluid's class.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    /// Fluid it belongs to.
    pub fluid: String,
    /// What was measured.
    pub quantity: Quantity,
    /// Value in the quantity's unit.
    pub value: f64,
    /// Standard uncertainty in the same unit.
    pub standard_uncertainty: f64,
    /// Temperature of the sample, degC.
    pub degc: f64,
    /// Instrument, sheet or laboratory.
    pub source: String,
}

impl Fluid {
    /// Narrows the class by a measurement.
    ///
    /// The class spans a family of parallel curves; those outside the measured 95 % interval (1.96 standard
    /// uncertainties) go. Errors with [`Error::OutsideClass`] when none is left: then it may be another fluid.
    pub fn narrow(&mut self, measured: &Measured) -> Result<()> {
        let Measured { value, standard_uncertainty, degc, .. } = *measured;
        positive("measured value", "", value)?;
        not_negative("standard uncertainty", "", standard_uncertainty)?;
        finite("temperature", "degC", degc)?;
        let half = TWO_SIDED_95 * standard_uncertainty;
        let source = measured.source.as_str();
        let id = self.id.clone();
        let no_data = |what| Error::NoData { id: id.clone(), what };
        match measured.quantity {
            Quantity::DensityKgM3 => {
                let class = self.density_kg_m3(degc)?;
                // what the temperature correction adds to a class of one curve must not count as class width
                let slope = self.density_per_k.as_ref().map_or(0.0, |s| 0.5 * (s.high - s.low));
                let away = self.density.iter().map(|p| (p.degc - degc).abs()).fold(f64::INFINITY, f64::min);
                let part =
                    kept(&id, "density", "kg/m3", (class.low, class.high), value, half + slope * away)?;
                cut_points(&mut self.density, part, source, |x| x, |x| x);
            }
            Quantity::KinematicMm2S => {
                let class = self.kinematic_mm2_s(degc)?;
                let low = (value - half).max(value * 1e-3);
                let (mid, half) =
                    (0.5 * ((value + half).ln() + low.ln()), 0.5 * ((value + half).ln() - low.ln()));
                let part =
                    kept(&id, "ln viscosity", "ln mm2/s", (class.low.ln(), class.high.ln()), mid, half)?;
                cut_points(&mut self.viscosity, part, source, f64::ln, f64::exp);
            }
            Quantity::RefractiveIndex => {
                let class = self.refractive_index(degc).ok_or_else(|| no_data("refractive index"))?;
                let part = kept(&id, "refractive index", "", (class.low, class.high), value, half)?;
                cut_band(self.refractive_20.as_mut(), part, source);
            }
            Quantity::MetalGPerL => {
                let class = self.strength_g_per_l()?;
                let part = kept(&id, "metal content", "g/L", (class.low, class.high), value, half)?;
                let mut band =
                    Band { low: class.low, high: class.high, source: String::new(), mark: Mark::Computed };
                cut_band(Some(&mut band), part, source);
                self.metal_g_per_l = Some(band);
            }
            Quantity::MetalFraction => {
                let band = self.metal_fraction.as_ref().ok_or_else(|| no_data("metal content"))?;
                let part = kept(&id, "metal fraction", "", (band.low, band.high), value, half)?;
                cut_band(self.metal_fraction.as_mut(), part, source);
            }
        }
        Ok(())
    }
}

/// The part of a class, as shares from its low to its high end, that a measured interval leaves.
fn kept(
    id: &str,
    what: &'static str,
    unit: &'static str,
    (class_low, class_high): (f64, f64),
    measured: f64,
    half: f64,
) -> Result<(f64, f64)> {
    let (low, high) = (measured - half, measured + half);
    if low > class_high || high < class_low {
        return Err(Error::OutsideClass {
            id: id.to_string(),
            what,
            unit,
            measured,
            low,
            high,
            class_low,
            class_high,
        });
    }
    let width = class_high - class_low;
    if width <= 0.0 {
        return Ok((0.0, 1.0));
    }
    Ok((((low - class_low) / width).clamp(0.0, 1.0), ((high - class_low) / width).clamp(0.0, 1.0)))
}

fn cut_points(
    points: &mut [Point],
    (from, to): (f64, f64),
    source: &str,
    into: impl Fn(f64) -> f64,
    back: impl Fn(f64) -> f64,
) {
    for p in points {
        let (low, high) = (into(p.low), into(p.high));
        (p.low, p.high) = (back(low + from * (high - low)), back(low + to * (high - low)));
        p.source = format!("{source}; within: {}", p.source);
        p.mark = Mark::Measured;
    }
}

fn cut_band(band: Option<&mut Band>, (from, to): (f64, f64), source: &str) {
    if let Some(b) = band {
        let (low, high) = (b.low, b.high);
        (b.low, b.high) = (low + from * (high - low), low + to * (high - low));
        b.source = format!("{source}; within: {}", b.source);
        b.mark = Mark::Measured;
    }
}

/// A text of fluids as written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Text {
    schema: String,
    #[serde(default)]
    fluid: Vec<toml::Spanned<Entry>>,
    #[serde(default)]
    measured: Vec<toml::Spanned<Measured>>,
    urea_in_water: Option<UreaText>,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct UreaText {
    source: String,
    /// per cent, kg/m3, nD20, mPa s; a missing index is written 0
    rows: Vec<[f64; 4]>,
}

/// A row of a text: whatever it does not say is taken from earlier rows of the same id.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    id: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    based_on: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    kind: Option<Kind>,
    #[serde(skip_serializing_if = "Option::is_none")]
    generation: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    carrier: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    metals: Option<Vec<Metal>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    metal_fraction: Option<Band>,
    #[serde(skip_serializing_if = "Option::is_none")]
    metal_g_per_l: Option<Band>,
    #[serde(skip_serializing_if = "Option::is_none")]
    urea_pct: Option<Band>,
    #[serde(skip_serializing_if = "Option::is_none")]
    density_kg_m3: Option<Vec<Point>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    density_per_k: Option<Band>,
    #[serde(skip_serializing_if = "Option::is_none")]
    viscosity_mm2_s: Option<Vec<Point>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    refractive_20: Option<Band>,
    #[serde(skip_serializing_if = "Option::is_none")]
    refractive_per_k: Option<Band>,
    #[serde(skip_serializing_if = "Option::is_none")]
    refractive_readable: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    freezing_degc: Option<Band>,
    #[serde(skip_serializing_if = "Option::is_none")]
    looks: Option<BTreeMap<Look, f64>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    in_water: Option<BTreeMap<InWater, f64>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    shelf_life_months: Option<Band>,
    #[serde(skip_serializing_if = "Option::is_none")]
    limits: Option<BTreeMap<String, Band>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    burns: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<String>,
}

impl Entry {
    /// This row over an earlier one.
    fn over(self, under: Entry) -> Entry {
        Entry {
            id: self.id,
            based_on: self.based_on.or(under.based_on),
            name: self.name.or(under.name),
            kind: self.kind.or(under.kind),
            generation: self.generation.or(under.generation),
            carrier: self.carrier.or(under.carrier),
            metals: self.metals.or(under.metals),
            metal_fraction: self.metal_fraction.or(under.metal_fraction),
            metal_g_per_l: self.metal_g_per_l.or(under.metal_g_per_l),
            urea_pct: self.urea_pct.or(under.urea_pct),
            density_kg_m3: self.density_kg_m3.or(under.density_kg_m3),
            density_per_k: self.density_per_k.or(under.density_per_k),
            viscosity_mm2_s: self.viscosity_mm2_s.or(under.viscosity_mm2_s),
            refractive_20: self.refractive_20.or(under.refractive_20),
            refractive_per_k: self.refractive_per_k.or(under.refractive_per_k),
            refractive_readable: self.refractive_readable.or(under.refractive_readable),
            freezing_degc: self.freezing_degc.or(under.freezing_degc),
            looks: self.looks.or(under.looks),
            in_water: self.in_water.or(under.in_water),
            shelf_life_months: self.shelf_life_months.or(under.shelf_life_months),
            limits: self.limits.or(under.limits),
            burns: self.burns.or(under.burns),
            note: self.note.or(under.note),
        }
    }

    /// The complete fluid, or what is wrong with it.
    fn complete(self) -> std::result::Result<Fluid, String> {
        let points = |what: &str, points: Option<Vec<Point>>| -> std::result::Result<Vec<Point>, String> {
            let mut points = points.unwrap_or_default();
            for p in &points {
                let fine =
                    p.degc.is_finite() && p.degc > -273.15 && p.low > 0.0 && p.low <= p.high && p.high < 1e6;
                if !fine {
                    return Err(format!(
                        "{what} at {} degC runs from {} to {}; want 0 < low <= high",
                        p.degc, p.low, p.high
                    ));
                }
            }
            points.sort_by(|a, b| a.degc.total_cmp(&b.degc));
            if points.windows(2).any(|w| matches!(w, [a, b] if a.degc == b.degc)) {
                return Err(format!("{what} has two points at one temperature; keep one"));
            }
            Ok(points)
        };
        let checked = |what: &str, band: Option<Band>, from: f64, to: f64| match band {
            Some(b) if !(b.low >= from && b.low <= b.high && b.high <= to) => {
                Err(format!("{what} runs from {} to {}; want {from} <= low <= high <= {to}", b.low, b.high))
            }
            band => Ok(band),
        };
        fn weights<K: Ord>(
            what: &str,
            map: Option<BTreeMap<K, f64>>,
        ) -> std::result::Result<BTreeMap<K, f64>, String> {
            let map = map.unwrap_or_default();
            let sum: f64 = map.values().sum();
            if map.values().all(|w| *w >= 0.0 && w.is_finite()) && (map.is_empty() || sum > 0.0) {
                Ok(map)
            } else {
                Err(format!("weights of {what} must be zero or more and not all zero"))
            }
        }
        let readable = self.refractive_readable.unwrap_or(1.0);
        if !(0.0..=1.0).contains(&readable) {
            return Err(format!("refractive_readable is {readable}; want 0 to 1"));
        }
        Ok(Fluid {
            name: self.name.ok_or("has no name; write name = \"...\"")?,
            kind: self.kind.ok_or("has no kind; write kind = \"concentrate\" or another family")?,
            generation: self.generation,
            carrier: self.carrier,
            metals: self.metals.unwrap_or_default(),
            metal_fraction: checked("metal_fraction", self.metal_fraction, 0.0, 1.0)?,
            metal_g_per_l: checked("metal_g_per_l", self.metal_g_per_l, 0.0, 5000.0)?,
            urea_pct: checked("urea_pct", self.urea_pct, 0.0, 100.0)?,
            density: points("density_kg_m3", self.density_kg_m3)?,
            density_per_k: checked("density_per_k", self.density_per_k, -10.0, 10.0)?,
            viscosity: points("viscosity_mm2_s", self.viscosity_mm2_s)?,
            refractive_20: checked("refractive_20", self.refractive_20, 1.0, 3.0)?,
            refractive_per_k: checked("refractive_per_k", self.refractive_per_k, -0.01, 0.01)?,
            refractive_readable: readable,
            freezing_degc: checked("freezing_degc", self.freezing_degc, -273.15, 1000.0)?,
            looks: weights("looks", self.looks)?,
            in_water: weights("in_water", self.in_water)?,
            shelf_life_months: checked("shelf_life_months", self.shelf_life_months, 0.0, 1200.0)?,
            limits: self.limits.unwrap_or_default(),
            burns: self.burns.unwrap_or(true),
            note: self.note,
            id: self.id,
        })
    }
}

/// All fluids known, by id, and the measured table of urea in water where a text brings it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Library {
    fluids: BTreeMap<String, Fluid>,
    /// Urea in water at 20 degC.
    pub urea: Option<UreaTable>,
}

impl Library {
    /// Reads texts given as (name, content), general ones first, the workshop's own last.
    ///
    /// Errors name the text, the line and the row. A measurement outside its class refuses the text: it
    /// may be another fluid.
    pub fn from_texts<'a>(texts: impl IntoIterator<Item = (&'a str, &'a str)>) -> Result<Self> {
        let mut entries: Entries = BTreeMap::new();
        let mut measured = Vec::new();
        let mut urea = None;
        for (file, content) in texts {
            let refuse = |problem: String| Error::Text { file: file.to_string(), problem };
            let text: Text = toml::from_str(content).map_err(|e| misread(file, content, &e))?;
            if text.schema != SCHEMA {
                return Err(refuse(format!(
                    "schema is \"{}\"; this program reads \"{SCHEMA}\"",
                    text.schema
                )));
            }
            for entry in text.fluid {
                let line = line_of(content, entry.span().start);
                let entry = entry.into_inner();
                let id = entry.id.clone();
                let merged = match entries.remove(&id) {
                    Some((_, under)) => entry.over(under),
                    None => entry,
                };
                entries.insert(id, ((file.to_string(), line), merged));
            }
            measured.extend(text.measured.into_iter().map(|m| {
                let line = line_of(content, m.span().start);
                ((file.to_string(), line), m.into_inner())
            }));
            if let Some(table) = text.urea_in_water {
                urea = Some(urea_table(file, table)?);
            }
        }
        let mut fluids = BTreeMap::new();
        for (id, ((file, line), _)) in &entries {
            let refuse =
                |problem: String| Error::Entry { file: file.clone(), line: *line, id: id.clone(), problem };
            let fluid = inherited(id, &entries).and_then(Entry::complete).map_err(refuse)?;
            fluids.insert(id.clone(), fluid);
        }
        let mut library = Library { fluids, urea };
        for ((file, line), m) in &measured {
            let refuse = |problem: String| Error::Entry {
                file: file.clone(),
                line: *line,
                id: m.fluid.clone(),
                problem,
            };
            let fluid = library.fluids.get_mut(&m.fluid).ok_or_else(|| {
                refuse("is measured but not among the fluids; add a [[fluid]] row for it".to_string())
            })?;
            fluid.narrow(m).map_err(|e| refuse(e.to_string()))?;
        }
        Ok(library)
    }

    /// A fluid by id.
    pub fn get(&self, id: &str) -> Result<&Fluid> {
        self.fluids.get(id).ok_or_else(|| Error::Unknown {
            id: id.to_string(),
            known: self.fluids.keys().map(String::as_str).collect::<Vec<_>>().join(", "),
        })
    }

    /// All fluids in the order of their ids.
    pub fn iter(&self) -> impl Iterator<Item = &Fluid> {
        self.fluids.values()
    }

    /// All fluids as one text, complete in themselves: `based_on` and the workshop's measurements are worked in. Reads
    /// back the same.
    pub fn to_text(&self) -> Result<String> {
        let text = Written {
            schema: SCHEMA,
            urea_in_water: self.urea.as_ref().map(|t| UreaText {
                source: t.source.clone(),
                rows: t
                    .rows
                    .iter()
                    .map(|r| [r.urea_pct, r.density_kg_m3, r.refractive_20.unwrap_or(0.0), r.viscosity_mpa_s])
                    .collect(),
            }),
            fluid: self.fluids.values().cloned().map(Entry::from).collect(),
        };
        toml::to_string(&text).map_err(|e| Error::Text { file: "fluids".to_string(), problem: e.to_string() })
    }
}

#[derive(Serialize)]
struct Written {
    schema: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    urea_in_water: Option<UreaText>,
    fluid: Vec<Entry>,
}

impl From<Fluid> for Entry {
    fn from(f: Fluid) -> Self {
        fn filled<T>(list: Vec<T>) -> Option<Vec<T>> {
            (!list.is_empty()).then_some(list)
        }
        fn named<K, V>(map: BTreeMap<K, V>) -> Option<BTreeMap<K, V>> {
            (!map.is_empty()).then_some(map)
        }
        Self {
            id: f.id,
            based_on: None,
            name: Some(f.name),
            kind: Some(f.kind),
            generation: f.generation,
            carrier: f.carrier,
            metals: filled(f.metals),
            metal_fraction: f.metal_fraction,
            metal_g_per_l: f.metal_g_per_l,
            urea_pct: f.urea_pct,
            density_kg_m3: filled(f.density),
            density_per_k: f.density_per_k,
            viscosity_mm2_s: filled(f.viscosity),
            refractive_20: f.refractive_20,
            refractive_per_k: f.refractive_per_k,
            refractive_readable: Some(f.refractive_readable),
            freezing_degc: f.freezing_degc,
            looks: named(f.looks),
            in_water: named(f.in_water),
            shelf_life_months: f.shelf_life_months,
            limits: named(f.limits),
            burns: Some(f.burns),
            note: f.note,
        }
    }
}

/// Rows by id, each with the text and line it stands in.
type Entries = BTreeMap<String, ((String, usize), Entry)>;

/// A row with everything it takes over from the rows it is based on.
fn inherited(id: &str, entries: &Entries) -> std::result::Result<Entry, String> {
    let mut seen = BTreeSet::new();
    let mut whole: Option<Entry> = None;
    let mut next = Some(id.to_string());
    while let Some(id) = next {
        if !seen.insert(id.clone()) {
            return Err(format!("`based_on` leads back to `{id}`"));
        }
        let (_, entry) =
            entries.get(&id).ok_or_else(|| format!("is based on `{id}`, which no text holds"))?;
        next = entry.based_on.clone();
        whole = Some(match whole {
            Some(w) => w.over(entry.clone()),
            None => entry.clone(),
        });
    }
    whole.ok_or_else(|| "is missing".to_string())
}

fn urea_table(file: &str, text: UreaText) -> Result<UreaTable> {
    let mut rows: Vec<UreaRow> = text
        .rows
        .iter()
        .map(|&[urea_pct, density_kg_m3, nd, viscosity_mpa_s]| UreaRow {
            urea_pct,
            density_kg_m3,
            refractive_20: (nd > 0.0).then_some(nd),
            viscosity_mpa_s,
        })
        .collect();
    rows.sort_by(|a, b| a.urea_pct.total_cmp(&b.urea_pct));
    let rising = rows.windows(2).all(|w| match w {
        [a, b] => a.urea_pct < b.urea_pct && a.density_kg_m3 < b.density_kg_m3,
        _ => true,
    });
    let fine = rising
        && rows.len() >= 2
        && rows.iter().all(|r| r.density_kg_m3.is_finite() && r.density_kg_m3 > 0.0);
    if !fine {
        return Err(Error::Text {
            file: file.to_string(),
            problem: "urea_in_water must have two rows or more, rising in urea and density".to_string(),
        });
    }
    Ok(UreaTable { source: text.source, rows })
}
