//! Exported columns (CSV) in the shapes that equipment writes.

use crate::draw::Draw;
use crate::sensors::Shown;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Shape of the export.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Comma, our names, unit in brackets.
    Plain,
    /// Semicolon, decimal comma, byte-order mark, our names.
    Continental,
    /// Foreign names and units, to be mapped by the case.
    Foreign,
    /// As foreign, in the old Windows encoding with clock times.
    OldWindows,
}

impl Shape {
    /// Draws a shape.
    pub fn draw(draw: &mut Draw) -> Self {
        draw.pick([Self::Plain, Self::Continental, Self::Foreign, Self::OldWindows])
    }
}

struct Column {
    ours: &'static str,
    unit: &'static str,
    foreign: &'static str,
    digits: usize,
    value: fn(&Shown) -> Option<f64>,
}

const COLUMNS: [Column; 12] = [
    Column { ours: "engine_speed", unit: "rpm", foreign: "Motordrehzahl", digits: 0, value: |s| Some(s.rpm) },
    Column { ours: "vehicle_speed", unit: "km/h", foreign: "Tempo", digits: 0, value: |s| Some(s.speed) },
    Column {
        ours: "intake_air_mass_flow",
        unit: "g/s",
        foreign: "Luftmasse",
        digits: 2,
        value: |s| Some(s.flow),
    },
    Column { ours: "fuel_mass_rate", unit: "g/s", foreign: "Kraftstoff", digits: 3, value: |s| Some(s.fuel) },
    Column {
        ours: "filter_differential_pressure",
        unit: "hPa",
        foreign: "Druck \u{fc}ber Filter",
        digits: 1,
        value: |s| s.drop.map(|d| d * 10.0),
    },
    Column {
        ours: "filter_inlet_temperature",
        unit: "degC",
        foreign: "Temperatur vor Filter",
        digits: 1,
        value: |s| Some(s.before),
    },
    Column {
        ours: "filter_outlet_temperature",
        unit: "degC",
        foreign: "Temperatur nach Filter",
        digits: 1,
        value: |s| Some(s.after),
    },
    Column {
        ours: "intake_manifold_pressure",
        unit: "kPa",
        foreign: "Saugrohrdruck",
        digits: 0,
        value: |s| Some(s.manifold),
    },
    Column {
        ours: "barometric_pressure",
        unit: "kPa",
        foreign: "Luftdruck",
        digits: 0,
        value: |s| Some(s.barometer),
    },
    Column {
        ours: "coolant_temperature",
        unit: "degC",
        foreign: "K\u{fc}hlmittel",
        digits: 0,
        value: |s| Some(s.coolant),
    },
    Column {
        ours: "intake_air_temperature",
        unit: "degC",
        foreign: "Ansaugluft",
        digits: 0,
        value: |s| Some(s.intake),
    },
    Column { ours: "engine_load", unit: "%", foreign: "Last", digits: 0, value: |s| Some(s.load) },
];

/// The file's bytes and, for foreign names, the mapping the case needs.
#[must_use]
pub fn write(trace: &[Shown], shape: Shape, every: usize) -> (Vec<u8>, BTreeMap<String, String>) {
    let continental = shape != Shape::Plain && shape != Shape::Foreign;
    let foreign = matches!(shape, Shape::Foreign | Shape::OldWindows);
    let separator = if continental { ";" } else { "," };
    let mut text = String::new();
    let mut mapping = BTreeMap::new();
    text.push_str(if shape == Shape::OldWindows { "Zeit" } else { "time [s]" });
    for c in &COLUMNS {
        // Writing into a String does not fail.
        let _ = if foreign {
            mapping.insert(c.foreign.to_owned(), format!("{} [{}]", c.ours, c.unit));
            write!(text, "{separator}{}", c.foreign)
        } else {
            write!(text, "{separator}{} [{}]", c.ours, c.unit)
        };
    }
    text.push_str(if continental { "\r\n" } else { "\n" });
    for s in trace.iter().step_by(every.max(1)) {
        let mut row = if shape == Shape::OldWindows {
            let t = 8.0 * 3600.0 + 13.0 * 60.0 + s.t;
            let (h, m) = ((t / 3600.0) as u32, (t / 60.0) as u32 % 60);
            format!("{h:02}:{m:02}:{:04.1}", (t % 60.0 * 10.0).floor() / 10.0)
        } else {
            format!("{:.1}", s.t)
        };
        for c in &COLUMNS {
            row.push_str(separator);
            if let Some(v) = (c.value)(s) {
                let _ = write!(row, "{v:.*}", c.digits);
            }
        }
        if continental {
            row = row.replace('.', ",");
        }
        text.push_str(&row);
        text.push_str(if continental { "\r\n" } else { "\n" });
    }
    if shape == Shape::OldWindows {
        // All letters used lie in Latin-1.
        let bytes = text.chars().map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?')).collect();
        return (bytes, mapping);
    }
    let mut bytes = if shape == Shape::Continental { vec![0xEF, 0xBB, 0xBF] } else { Vec::new() };
    bytes.extend_from_slice(text.as_bytes());
    (bytes, mapping)
}
