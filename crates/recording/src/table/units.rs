//! Units as tables write them. Factors: NIST SP 811 (2008), appendix B.

use crate::quantity::Quantity;

/// `value in the quantity's unit = value * factor + offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Conversion {
    pub factor: f64,
    pub offset: f64,
}

const fn times(factor: f64) -> Option<Conversion> {
    Some(Conversion { factor, offset: 0.0 })
}

/// Small letters, no blanks, brackets or degree signs.
fn plain(unit: &str) -> String {
    let mut text: String = unit
        .trim()
        .trim_matches(['[', ']', '(', ')'])
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '°' | 'º' | '·' | '*'))
        .flat_map(char::to_lowercase)
        .map(|c| match c {
            '³' => '3',
            'μ' => 'µ',
            c => c,
        })
        .collect();
    for word in ["_abs", "abs.", "absolute", "abs"] {
        if let Some(rest) = text.strip_suffix(word) {
            text = rest.to_owned();
        }
    }
    text
}

/// How to convert `unit` to the quantity's own unit; `None` if it is not a unit of that quantity.
pub(crate) fn conversion(quantity: Quantity, unit: &str) -> Option<Conversion> {
    let text = plain(unit);
    let text = text.as_str();
    match quantity.unit() {
        "kPa" => match text {
            "kpa" => times(1.0),
            "pa" => times(0.001),
            "hpa" | "mbar" => times(0.1),
            "bar" => times(100.0),
            "mpa" => times(1000.0),
            "psi" => times(6.894_757),
            "inhg" => times(3.386_389),
            "mmhg" | "torr" => times(0.133_322_4),
            "inh2o" | "inwc" => times(0.249_088_9),
            "mmh2o" => times(0.009_806_65),
            _ => None,
        },
        "degC" => match text {
            "c" | "degc" | "celsius" | "deg.c" | "deg_c" | "gradc" => times(1.0),
            "f" | "degf" | "fahrenheit" => Some(Conversion { factor: 5.0 / 9.0, offset: -160.0 / 9.0 }),
            "k" | "kelvin" => Some(Conversion { factor: 1.0, offset: -273.15 }),
            _ => None,
        },
        "rpm" => match text {
            "rpm" | "1/min" | "/min" | "min-1" | "min^-1" | "u/min" | "r/min" | "rev/min" | "upm" => {
                times(1.0)
            }
            _ => None,
        },
        "km/h" => match text {
            "km/h" | "kmh" | "kph" | "km_h" => times(1.0),
            "mph" => times(1.609_344),
            "m/s" => times(3.6),
            _ => None,
        },
        "g/s" => match text {
            "g/s" | "g/sec" | "gps" => times(1.0),
            "mg/s" => times(0.001),
            "kg/s" => times(1000.0),
            "kg/h" => times(1.0 / 3.6),
            "kg/min" => times(1000.0 / 60.0),
            "g/min" => times(1.0 / 60.0),
            "lb/min" => times(7.559_873),
            _ => None,
        },
        "L/h" => match text {
            "l/h" | "lph" | "l/hr" => times(1.0),
            "l/min" => times(60.0),
            "ml/s" => times(3.6),
            "ml/min" => times(0.06),
            "ml/h" => times(0.001),
            _ => None,
        },
        "L" => match text {
            "l" => times(1.0),
            "ml" => times(0.001),
            _ => None,
        },
        "%" => match text {
            "%" | "percent" | "pct" | "prozent" => times(1.0),
            _ => None,
        },
        "V" => match text {
            "v" | "volt" => times(1.0),
            "mv" => times(0.001),
            _ => None,
        },
        "km" => match text {
            "km" => times(1.0),
            "m" => times(0.001),
            "mi" | "mile" | "miles" => times(1.609_344),
            _ => None,
        },
        "s" => seconds(unit).and_then(times),
        "min" => seconds(unit).and_then(|s| times(s / 60.0)),
        "N m" => matches!(text, "nm" | "n.m" | "n-m").then_some(Conversion { factor: 1.0, offset: 0.0 }),
        "deg" => {
            matches!(text, "" | "deg" | "degca" | "ca").then_some(Conversion { factor: 1.0, offset: 0.0 })
        }
        "ppm" | "mg/m3" => (text == quantity.unit()).then_some(Conversion { factor: 1.0, offset: 0.0 }),
        _ => matches!(text, "" | "-" | "1" | "0/1" | "bool" | "count" | "enum" | "state")
            .then_some(Conversion { factor: 1.0, offset: 0.0 }),
    }
}

/// Seconds in a unit of time.
pub(crate) fn seconds(unit: &str) -> Option<f64> {
    Some(match plain(unit).as_str() {
        "s" | "sec" | "secs" | "second" | "seconds" | "sek" => 1.0,
        "ms" | "msec" | "millis" | "milliseconds" => 1e-3,
        "us" | "µs" | "usec" | "microseconds" => 1e-6,
        "ns" => 1e-9,
        "min" | "minutes" => 60.0,
        "h" | "hours" | "std" => 3600.0,
        _ => return None,
    })
}

/// True if the text is a unit of anything, or a sign for "no unit".
pub(crate) fn is_unit(text: &str) -> bool {
    let inner = plain(text);
    matches!(inner.as_str(), "-" | "hh:mm:ss" | "h:m:s" | "datetime")
        || seconds(text).is_some()
        || Quantity::ALL
            .iter()
            .any(|q| !q.is_state_or_count() && !inner.is_empty() && conversion(*q, text).is_some())
}

/// A unit at the end of a column's name, as in `speed_km_h`: the rest of the name and the unit.
pub(crate) fn suffix(name: &str) -> Option<(&str, &'static str)> {
    const SUFFIXES: [(&str, &str); 27] = [
        ("_km_h", "km/h"),
        ("_kmh", "km/h"),
        ("_mph", "mph"),
        ("_kpa", "kPa"),
        ("_hpa", "hPa"),
        ("_mbar", "mbar"),
        ("_bar", "bar"),
        ("_pa", "Pa"),
        ("_psi", "psi"),
        ("_degc", "degC"),
        ("_deg_c", "degC"),
        ("_celsius", "degC"),
        ("_c", "degC"),
        ("_rpm", "rpm"),
        ("_g_s", "g/s"),
        ("_g_per_s", "g/s"),
        ("_kg_h", "kg/h"),
        ("_kg_per_h", "kg/h"),
        ("_l_h", "L/h"),
        ("_l_per_h", "L/h"),
        ("_percent", "%"),
        ("_pct", "%"),
        ("_km", "km"),
        ("_ms", "ms"),
        ("_min", "min"),
        ("_s", "s"),
        ("_v", "V"),
    ];
    // Longest first, so that `_g_s` is not taken for `_s`.
    SUFFIXES
        .iter()
        .filter_map(|(ending, unit)| name.strip_suffix(ending).map(|rest| (rest, *unit)))
        .filter(|(rest, _)| !rest.is_empty())
        .min_by_key(|(rest, _)| rest.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reference_conversions_nist_sp_811() {
        let to = |q, unit, v: f64| conversion(q, unit).map(|c| v * c.factor + c.offset);
        let close =
            |a: Option<f64>, b: f64| assert!((a.unwrap() - b).abs() < 1e-6 * b.abs().max(1.0), "{a:?} {b}");
        close(to(Quantity::BarometricPressure, "[hPa]", 1013.25), 101.325);
        close(to(Quantity::BarometricPressure, "psi", 14.695_95), 101.325);
        close(to(Quantity::OilTemperature, "°F", 212.0), 100.0);
        close(to(Quantity::OilTemperature, "K", 373.15), 100.0);
        close(to(Quantity::ExhaustMassFlow, "kg/h", 36.0), 10.0);
        close(to(Quantity::VehicleSpeed, "mph", 60.0), 96.560_64);
        assert_eq!(conversion(Quantity::FilterDifferentialPressure, ""), None);
        assert_eq!(conversion(Quantity::FilterDifferentialPressure, "%"), None);
    }

    #[test]
    fn regress_suffixes() {
        assert_eq!(suffix("exhaust_mass_flow_g_s"), Some(("exhaust_mass_flow", "g/s")));
        assert_eq!(suffix("time_s"), Some(("time", "s")));
        assert_eq!(suffix("speed_km_h"), Some(("speed", "km/h")));
        assert_eq!(suffix("engine_speed"), None);
    }
}
