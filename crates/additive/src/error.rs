//! What can be refused, and the checks that refuse it.

use thiserror::Error;

/// Why an input was refused. Every text says what was wrong, what was given and what to do.
///
/// The enum grows with the crate; match with a wildcard arm.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum Error {
    /// A number without physical meaning where it stands.
    #[error("{what} is {value} {unit}, but must be {want}; check the figure and its unit")]
    NotPhysical {
        /// Quantity, in words.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Unit of the value.
        unit: &'static str,
        /// What would be accepted.
        want: &'static str,
    },
    /// The concentrate holds no metal, so no amount of it makes a metal dose.
    #[error(
        "the concentrate holds no metal, so {wanted_mg_per_kg} mg/kg cannot be dosed with it; check its label"
    )]
    NoMetal {
        /// Metal dose asked for, mg per kg of fuel.
        wanted_mg_per_kg: f64,
    },
    /// The strength cannot give the metal dose within what the dosing unit can deliver.
    #[error(
        "{wanted_mg_per_kg} mg/kg would need {needed_ml_per_l:.4} mL per L of fuel, but the dosing unit gives \
         {lowest_ml_per_l} to {highest_ml_per_l} mL/L: with this strength only {lowest_mg_per_kg:.2} to \
         {highest_mg_per_kg:.2} mg/kg; check the generation of the concentrate"
    )]
    DoseOutOfReach {
        /// Metal dose asked for, mg per kg of fuel.
        wanted_mg_per_kg: f64,
        /// Volume dose it would need, mL per L of fuel.
        needed_ml_per_l: f64,
        /// Least volume dose of the dosing unit, mL/L.
        lowest_ml_per_l: f64,
        /// Greatest volume dose of the dosing unit, mL/L.
        highest_ml_per_l: f64,
        /// Least metal dose with this strength, mg/kg.
        lowest_mg_per_kg: f64,
        /// Greatest metal dose with this strength, mg/kg.
        highest_mg_per_kg: f64,
    },
    /// Volume dose, metal dose and strength were all stated and do not agree.
    #[error(
        "{stated_ml_per_l} mL/L of this strength gives {given_mg_per_kg:.2} mg/kg, not the {stated_mg_per_kg} mg/kg \
         stated; one of dose, strength and generation is wrong"
    )]
    DoseDisagrees {
        /// Volume dose stated, mL/L.
        stated_ml_per_l: f64,
        /// Metal dose stated, mg/kg.
        stated_mg_per_kg: f64,
        /// Metal dose that follows from volume dose and strength, mg/kg.
        given_mg_per_kg: f64,
    },
    /// More was to be drawn than is there.
    #[error("{wanted_l} L cannot be taken from {held_l} L; weigh again or correct the entry")]
    NotEnough {
        /// Volume asked for, L.
        wanted_l: f64,
        /// Volume held, L.
        held_l: f64,
    },
    /// A text of fluids or reservoirs could not be read.
    #[error("{file}: {problem}")]
    Text {
        /// Name the caller gave the text.
        file: String,
        /// What is wrong, with line and column where known.
        problem: String,
    },
    /// A row lacks what it must have, or holds an impossible value.
    #[error("{file}:{line}: entry `{id}`: {problem}")]
    Entry {
        /// Name the caller gave the text.
        file: String,
        /// Line where the row begins, from 1.
        line: usize,
        /// Id of the row.
        id: String,
        /// What is wrong and what to do.
        problem: String,
    },
    /// An id that no row carries.
    #[error("no entry `{id}` is known; known are: {known}")]
    Unknown {
        /// Id asked for.
        id: String,
        /// Ids that exist.
        known: String,
    },
    /// A measured value lies outside everything its class allows.
    #[error(
        "{what} measured {measured:.4} {unit} (95 % {low:.4} to {high:.4}) lies outside the class `{id}` \
         ({class_low:.4} to {class_high:.4}): it may be another fluid; do not pour, identify it first"
    )]
    OutsideClass {
        /// Class the fluid was said to be.
        id: String,
        /// Quantity measured.
        what: &'static str,
        /// Unit.
        unit: &'static str,
        /// Value at the reference temperature.
        measured: f64,
        /// Lower end of the measured 95 % interval.
        low: f64,
        /// Upper end of the measured 95 % interval.
        high: f64,
        /// Lower end of the class.
        class_low: f64,
        /// Upper end of the class.
        class_high: f64,
    },
    /// The fluid's data do not hold what the question needs.
    #[error("`{id}` has no {what}; measure it and enter the measurement")]
    NoData {
        /// Fluid.
        id: String,
        /// What is missing.
        what: &'static str,
    },
    /// A pour that ends before its end.
    #[error(
        "the flow stops after {delivered_l:.3} L of {wanted_l} L: no pressure is left to drive it; vent the bottle, \
         vent the receiver or lower the receiver"
    )]
    FlowStops {
        /// Volume delivered when the flow stops, L.
        delivered_l: f64,
        /// Volume wanted, L.
        wanted_l: f64,
    },
}

/// Result of this crate.
pub type Result<T> = std::result::Result<T, Error>;

/// Refuses everything but a finite number.
pub(crate) fn finite(what: &'static str, unit: &'static str, value: f64) -> Result<f64> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(Error::NotPhysical { what, value, unit, want: "a finite number" })
    }
}

/// Refuses everything but a finite number above zero.
pub(crate) fn positive(what: &'static str, unit: &'static str, value: f64) -> Result<f64> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(Error::NotPhysical { what, value, unit, want: "above zero" })
    }
}

/// Refuses everything but a finite number of zero or more.
pub(crate) fn not_negative(what: &'static str, unit: &'static str, value: f64) -> Result<f64> {
    if value.is_finite() && value >= 0.0 {
        Ok(value)
    } else {
        Err(Error::NotPhysical { what, value, unit, want: "zero or more" })
    }
}

/// Refuses everything but a share from 0 to 1.
pub(crate) fn share(what: &'static str, value: f64) -> Result<f64> {
    if value.is_finite() && (0.0..=1.0).contains(&value) {
        Ok(value)
    } else {
        Err(Error::NotPhysical { what, value, unit: "", want: "from 0 to 1" })
    }
}

/// Refuses a result that left the range of numbers (inputs too large or too small to compute with).
pub(crate) fn result(what: &'static str, unit: &'static str, value: f64) -> Result<f64> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(Error::NotPhysical {
            what,
            value,
            unit,
            want: "computable from the inputs, which are too large or too small",
        })
    }
}

/// Line (from 1) of a byte of a text.
pub(crate) fn line_of(text: &str, byte: usize) -> usize {
    1 + text.as_bytes().iter().take(byte).filter(|b| **b == b'\n').count()
}

/// What a TOML text is refused for, with its line before the words.
pub(crate) fn misread(file: &str, text: &str, e: &toml::de::Error) -> Error {
    let line = line_of(text, e.span().map_or(0, |s| s.start));
    Error::Text { file: format!("{file}:{line}"), problem: e.message().to_string() }
}
