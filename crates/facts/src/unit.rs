//! Units at the edge: which units a quantity of a typed reading takes, and its one canonical unit.
//!
//! The factors are definitions (SI brochure; 1 psi = 6.894757 kPa from the international pound and inch,
//! 1 inHg = 3.386389 kPa by convention), nothing here is measured.

use crate::case::{Quantity, Reading};
use std::fmt;

/// A canonical unit: what [`Reading::measured`] converts to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Unit {
    /// kPa.
    Kilopascal,
    /// g/s.
    GramPerSecond,
    /// Litres per hour (a fuel rate by volume; becomes a mass flow only with the fuel's density).
    LitrePerHour,
    /// degC.
    DegreeCelsius,
    /// g.
    Gram,
    /// g per litre of filter volume.
    GramPerLitre,
    /// Percent of whatever the controller takes as full.
    Percent,
    /// km.
    Kilometre,
    /// s.
    Second,
    /// mL.
    Millilitre,
    /// Particles per cm3.
    PerCubicCentimetre,
    /// 1/m (opacity).
    PerMetre,
    /// mm.
    Millimetre,
}

impl Unit {
    /// The unit as it is written in files.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Kilopascal => "kPa",
            Self::GramPerSecond => "g/s",
            Self::LitrePerHour => "L/h",
            Self::DegreeCelsius => "degC",
            Self::Gram => "g",
            Self::GramPerLitre => "g/L",
            Self::Percent => "%",
            Self::Kilometre => "km",
            Self::Second => "s",
            Self::Millilitre => "mL",
            Self::PerCubicCentimetre => "1/cm3",
            Self::PerMetre => "1/m",
            Self::Millimetre => "mm",
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

/// A written unit and how it becomes canonical: canonical = (value + offset) * factor.
struct Written {
    name: &'static str,
    canonical: Unit,
    factor: f64,
    offset: f64,
}

const fn written(name: &'static str, canonical: Unit, factor: f64) -> Written {
    Written { name, canonical, factor, offset: 0.0 }
}

const PRESSURE: &[Written] = &[
    written("kPa", Unit::Kilopascal, 1.0),
    written("hPa", Unit::Kilopascal, 0.1),
    written("mbar", Unit::Kilopascal, 0.1),
    written("Pa", Unit::Kilopascal, 0.001),
    written("bar", Unit::Kilopascal, 100.0),
    written("psi", Unit::Kilopascal, 6.894_757),
    written("inHg", Unit::Kilopascal, 3.386_389),
];
const MASS_FLOW: &[Written] =
    &[written("g/s", Unit::GramPerSecond, 1.0), written("kg/h", Unit::GramPerSecond, 1.0 / 3.6)];
const FUEL_RATE: &[Written] = &[
    written("L/h", Unit::LitrePerHour, 1.0),
    written("g/s", Unit::GramPerSecond, 1.0),
    written("kg/h", Unit::GramPerSecond, 1.0 / 3.6),
];
const TEMPERATURE: &[Written] = &[
    written("degC", Unit::DegreeCelsius, 1.0),
    Written { name: "degF", canonical: Unit::DegreeCelsius, factor: 5.0 / 9.0, offset: -32.0 },
    Written { name: "K", canonical: Unit::DegreeCelsius, factor: 1.0, offset: -273.15 },
];
const PERCENT: &[Written] = &[written("%", Unit::Percent, 1.0)];
const LOAD: &[Written] = &[
    written("g", Unit::Gram, 1.0),
    written("g/L", Unit::GramPerLitre, 1.0),
    written("%", Unit::Percent, 1.0),
];
const DISTANCE: &[Written] =
    &[written("km", Unit::Kilometre, 1.0), written("mi", Unit::Kilometre, 1.609_344)];
const TIME: &[Written] = &[
    written("s", Unit::Second, 1.0),
    written("min", Unit::Second, 60.0),
    written("h", Unit::Second, 3600.0),
];
const VOLUME: &[Written] = &[written("mL", Unit::Millilitre, 1.0), written("L", Unit::Millilitre, 1000.0)];
const VOLUME_OR_PERCENT: &[Written] = &[
    written("mL", Unit::Millilitre, 1.0),
    written("L", Unit::Millilitre, 1000.0),
    written("%", Unit::Percent, 1.0),
];
const PARTICLES: &[Written] = &[written("1/cm3", Unit::PerCubicCentimetre, 1.0)];
const OPACITY: &[Written] = &[written("1/m", Unit::PerMetre, 1.0)];
const LENGTH: &[Written] = &[written("mm", Unit::Millimetre, 1.0)];

fn table(quantity: Quantity) -> &'static [Written] {
    match quantity {
        Quantity::DifferentialPressure
        | Quantity::DifferentialPressureGauge
        | Quantity::IntakeManifoldPressure
        | Quantity::BarometricPressure => PRESSURE,
        Quantity::IntakeAirMassFlow | Quantity::ExhaustMassFlow => MASS_FLOW,
        Quantity::IntakeAirTemperature
        | Quantity::ExhaustTemperatureBefore
        | Quantity::ExhaustTemperatureAfter
        | Quantity::CoolantTemperature => TEMPERATURE,
        Quantity::EngineLoad | Quantity::FuelLevel => PERCENT,
        Quantity::FuelRate => FUEL_RATE,
        Quantity::ControllerSoot | Quantity::ControllerAsh => LOAD,
        Quantity::DistanceSinceRegeneration | Quantity::MeanDistanceBetweenRegenerations => DISTANCE,
        Quantity::TimeSinceRegeneration => TIME,
        Quantity::AdditiveUsed => VOLUME,
        Quantity::AdditiveLeft => VOLUME_OR_PERCENT,
        Quantity::ParticleNumber => PARTICLES,
        Quantity::Opacity => OPACITY,
        Quantity::OilLevel => LENGTH,
    }
}

/// Other spellings that mean a unit without doubt.
fn plain(unit: &str) -> &str {
    match unit.trim() {
        "°C" | "C" | "deg C" | "celsius" => "degC",
        "°F" | "F" => "degF",
        "ml" | "cm3" | "ccm" => "mL",
        "l" | "litre" => "L",
        "l/h" => "L/h",
        "g/l" => "g/L",
        "percent" => "%",
        "#/cm3" | "1/ccm" => "1/cm3",
        "kpa" => "kPa",
        "hpa" => "hPa",
        "m-1" => "1/m",
        other => other,
    }
}

impl Quantity {
    /// The units this quantity takes, as they are written in files; the first is the usual one.
    #[must_use]
    pub fn units(self) -> Vec<&'static str> {
        table(self).iter().map(|w| w.name).collect()
    }

    /// The quantity's identifier, as in files.
    #[must_use]
    pub fn id(self) -> String {
        // An enum without data always serialises to its name.
        serde_json::to_value(self).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
    }

    /// What a value in a canonical unit can be at all: a number outside is a slip of the pen, not a
    /// reading. Common practice, no source; drawn far outside anything a working instrument shows.
    #[must_use]
    pub fn possible(self, unit: Unit) -> (f64, f64) {
        match (self, unit) {
            (Self::DifferentialPressure | Self::DifferentialPressureGauge, _) => (-150.0, 300.0),
            (Self::IntakeManifoldPressure, _) => (5.0, 800.0),
            (Self::BarometricPressure, _) => (30.0, 115.0),
            (Self::IntakeAirMassFlow | Self::ExhaustMassFlow, _) => (0.0, 3000.0),
            (Self::IntakeAirTemperature | Self::CoolantTemperature, _) => (-60.0, 250.0),
            (Self::ExhaustTemperatureBefore | Self::ExhaustTemperatureAfter, _) => (-60.0, 1600.0),
            (Self::EngineLoad, _) => (-125.0, 255.0),
            (Self::FuelLevel, _) => (0.0, 110.0),
            (Self::FuelRate, _) => (0.0, 500.0),
            (Self::ControllerSoot | Self::ControllerAsh, Unit::Percent) => (0.0, 1000.0),
            (Self::ControllerSoot | Self::ControllerAsh, Unit::GramPerLitre) => (0.0, 300.0),
            (Self::ControllerSoot | Self::ControllerAsh, _) => (0.0, 10_000.0),
            (Self::DistanceSinceRegeneration | Self::MeanDistanceBetweenRegenerations, _) => (0.0, 5e6),
            (Self::TimeSinceRegeneration, _) => (0.0, 1e9),
            (Self::AdditiveUsed | Self::AdditiveLeft, Unit::Percent) => (0.0, 120.0),
            (Self::AdditiveUsed | Self::AdditiveLeft, _) => (0.0, 200_000.0),
            (Self::ParticleNumber, _) => (0.0, 1e10),
            (Self::Opacity, _) => (0.0, 100.0),
            (Self::OilLevel, _) => (-500.0, 500.0),
        }
    }
}

/// A typed reading in its canonical unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// The value, in `unit`.
    pub value: f64,
    /// What the instrument may be off, plus or minus (95 of 100 readings), in `unit`. `None`: not told.
    pub uncertainty: Option<f64>,
    /// The canonical unit.
    pub unit: Unit,
}

/// A unit that the quantity does not take.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{quantity} is not read in {unit:?}; it takes {}", accepted.join(", "))]
pub struct UnitError {
    /// The quantity's identifier.
    pub quantity: String,
    /// The unit as written.
    pub unit: String,
    /// The units it takes.
    pub accepted: Vec<&'static str>,
}

impl Reading {
    /// The value in the quantity's canonical unit: pressures kPa, mass flows g/s, temperatures degC,
    /// distances km, times s, additive volumes mL. Soot and ash keep g, g/L or %, a fuel rate L/h or g/s,
    /// additive left mL or %: [`Reading::measured`] says which.
    ///
    /// # Errors
    /// When the quantity does not take the unit.
    pub fn canonical(&self) -> Result<f64, UnitError> {
        self.measured().map(|m| m.value)
    }

    /// The value and its uncertainty in the canonical unit, with that unit.
    ///
    /// # Errors
    /// When the quantity does not take the unit.
    pub fn measured(&self) -> Result<Measured, UnitError> {
        let name = plain(&self.unit);
        let Some(w) = table(self.quantity).iter().find(|w| w.name == name) else {
            return Err(UnitError {
                quantity: self.quantity.id(),
                unit: self.unit.clone(),
                accepted: self.quantity.units(),
            });
        };
        Ok(Measured {
            value: (self.value + w.offset) * w.factor,
            uncertainty: self.uncertainty.map(|u| u * w.factor),
            unit: w.canonical,
        })
    }
}
