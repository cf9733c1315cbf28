//! One value inside a message: where it stands, how it is scaled, when it is absent.

use crate::quantity::Quantity;

/// How the raw number is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Raw {
    U8,
    /// As `U8`, but four times as wide when this bit of the support byte is set.
    U8Wide(u8),
    U16,
    I16,
    U32,
    /// `length` bits from bit `shift` of the byte.
    Bits {
        shift: u8,
        length: u8,
    },
    /// Two bits from bit `shift` of the byte; 3 says "not supported".
    State {
        shift: u8,
    },
}

/// A field of an OBD parameter. `value = raw * mul / div + add` in `unit`; divided by `per` it is in the
/// quantity's unit. The order of operations is the one the standard's text suggests, so that results agree to
/// the last place with tools that follow it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Field {
    pub quantity: Quantity,
    pub instance: u8,
    pub unit: &'static str,
    /// Bit of the first byte that must be set for the field to mean anything; `NONE` = always there.
    pub support: u8,
    /// Bit of the first byte that says "no reading yet"; `NONE` = there is no such bit.
    pub blocked: u8,
    pub start: u8,
    pub raw: Raw,
    pub mul: f64,
    pub div: f64,
    pub add: f64,
    pub per: f64,
}

/// No bit.
pub(crate) const NONE: u8 = 0xFF;

/// A value taken out of a message, in the unit the source uses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decoded {
    /// What it is.
    pub quantity: Quantity,
    /// Bank or sensor, as in [`Signal::instance`](crate::Signal::instance).
    pub instance: u8,
    /// The value in [`Decoded::unit`]; `None` when the source says it is absent.
    pub value: Option<f64>,
    /// The source's unit, which may differ from the quantity's (kg/h and g/s).
    pub unit: &'static str,
    /// The value in the quantity's own unit.
    pub converted: Option<f64>,
    /// One count in the quantity's own unit.
    pub resolution: f64,
}

impl Field {
    /// The raw number, or `None` if the data end before it.
    pub fn raw(&self, data: &[u8]) -> Option<f64> {
        let at = |n: u8| data.get(usize::from(self.start) + usize::from(n)).copied();
        Some(match self.raw {
            Raw::U8 => f64::from(at(0)?),
            Raw::U8Wide(bit) => {
                let wide = data.first()? >> bit & 1 == 1;
                f64::from(at(0)?) * if wide { 4.0 } else { 1.0 }
            }
            Raw::U16 => f64::from(u16::from_be_bytes([at(0)?, at(1)?])),
            Raw::I16 => f64::from(i16::from_be_bytes([at(0)?, at(1)?])),
            Raw::U32 => f64::from(u32::from_be_bytes([at(0)?, at(1)?, at(2)?, at(3)?])),
            Raw::Bits { shift, length } => f64::from(at(0)? >> shift & ((1u16 << length) - 1) as u8),
            Raw::State { shift } => f64::from(Some(at(0)? >> shift & 3).filter(|state| *state < 3)?),
        })
    }

    /// True if the support bits say that the field is filled.
    pub fn present(&self, data: &[u8]) -> bool {
        let bit = |n: u8| data.first().is_some_and(|b| b >> n & 1 == 1);
        (self.support == NONE || bit(self.support)) && (self.blocked == NONE || !bit(self.blocked))
    }

    /// The field's value out of the parameter's data bytes.
    pub fn decode(&self, data: &[u8]) -> Decoded {
        let value = self
            .present(data)
            .then(|| self.raw(data))
            .flatten()
            .map(|raw| raw * self.mul / self.div + self.add);
        let wide = matches!(self.raw, Raw::U8Wide(bit) if data.first().is_some_and(|b| b >> bit & 1 == 1));
        Decoded {
            quantity: self.quantity,
            instance: self.instance,
            value,
            unit: self.unit,
            converted: value.map(|v| v / self.per),
            resolution: self.mul / self.div / self.per * if wide { 4.0 } else { 1.0 },
        }
    }
}
