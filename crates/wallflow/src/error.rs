//! What can be wrong with an input, with the two values that disagree.

/// Why a calculation was refused. Every variant carries the value that was given and what it was
/// compared with, so that a caller can say what to change.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// A value is not a finite number.
    #[error("{what} is not a finite number ({value})")]
    NotFinite {
        /// Name of the quantity.
        what: &'static str,
        /// The value given.
        value: f64,
    },
    /// A value lies outside the range in which the equations mean anything.
    #[error("{what} is {value} {unit}, outside {low} to {high} {unit}")]
    OutOfRange {
        /// Name of the quantity.
        what: &'static str,
        /// The value given.
        value: f64,
        /// Lowest value accepted.
        low: f64,
        /// Highest value accepted.
        high: f64,
        /// Unit of all three.
        unit: &'static str,
    },
    /// The wall is as thick as the distance between channel centres, so no channel is left.
    #[error("a wall of {wall_m} m leaves no channel at a pitch of {pitch_m} m")]
    NoChannel {
        /// Wall thickness, m.
        wall_m: f64,
        /// Distance between channel centres, m.
        pitch_m: f64,
    },
    /// A deposit needs more cross-section than the inlet channel has.
    #[error("{what} needs {needed_m2:e} m2 of an inlet channel that has {available_m2:e} m2")]
    ChannelFull {
        /// The deposit that does not fit.
        what: &'static str,
        /// Cross-section the deposit needs, m2.
        needed_m2: f64,
        /// Cross-section that is left for it, m2.
        available_m2: f64,
    },
    /// The ash plug reaches the front of the channel.
    #[error("an ash plug of {plug_m} m does not fit a filtering length of {length_m} m")]
    PlugTooLong {
        /// Length of the plug, m.
        plug_m: f64,
        /// Filtering length without plug, m.
        length_m: f64,
    },
    /// The gas would reach the speed of sound in a channel; no steady solution exists.
    #[error("the flow chokes: Mach number {mach} at {place}, limit {limit}")]
    Choked {
        /// Mach number (isothermal) reached.
        mach: f64,
        /// Largest Mach number the model covers.
        limit: f64,
        /// Where.
        place: &'static str,
    },
    /// An iteration did not settle.
    #[error("{what} did not settle: residual {residual:e} after {iterations} iterations, wanted {wanted:e}")]
    NoConvergence {
        /// What was iterated.
        what: &'static str,
        /// Last residual (relative).
        residual: f64,
        /// Residual that was wanted.
        wanted: f64,
        /// Number of iterations made.
        iterations: usize,
    },
    /// Two lists that belong together differ in length, or a list is too short.
    #[error("{what}: {given} values given, {wanted} wanted")]
    Count {
        /// Name of the list.
        what: &'static str,
        /// Number of values given.
        given: usize,
        /// Number of values wanted (at least).
        wanted: usize,
    },
}

/// Accepts a finite value within a closed range, else says which bound it broke.
pub(crate) fn within(
    what: &'static str,
    value: f64,
    low: f64,
    high: f64,
    unit: &'static str,
) -> Result<f64, Error> {
    if !value.is_finite() {
        return Err(Error::NotFinite { what, value });
    }
    if value < low || value > high {
        return Err(Error::OutOfRange { what, value, low, high, unit });
    }
    Ok(value)
}

/// Something the caller should say beside a result: the value was used as given, but it lies
/// outside the range the correlation was made for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Note {
    /// Name of the quantity.
    pub what: &'static str,
    /// The value that was used.
    pub value: f64,
    /// Lower end of the range the correlation was made for.
    pub low: f64,
    /// Upper end of that range.
    pub high: f64,
    /// Unit of all three.
    pub unit: &'static str,
}

impl std::fmt::Display for Note {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "{} is {} {u}, outside {} to {} {u} for which the correlation was made",
            self.what,
            self.value,
            self.low,
            self.high,
            u = self.unit
        )
    }
}

/// A note when `value` lies outside `low..=high`.
pub(crate) fn noted(what: &'static str, value: f64, low: f64, high: f64, unit: &'static str) -> Option<Note> {
    if value >= low && value <= high { None } else { Some(Note { what, value, low, high, unit }) }
}
