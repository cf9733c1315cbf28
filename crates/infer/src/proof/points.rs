//! Typed readings before and after, point by point: what fell, and whether that is more than readings scatter
//! (JCGM 100; trade reference 7.5).

use crate::assessment::ProofVerdict;
use crate::typed::canonical;
use facts::case::{Case, Point, Quantity, Role};
use std::collections::BTreeMap;

/// One operating point before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct PointProof {
    /// The point.
    pub point: Point,
    /// Engine speed, rpm, where told.
    pub engine_speed_rpm: Option<f64>,
    /// Read with an independent gauge.
    pub gauge: bool,
    /// Pressure drop before the work, kPa, less the key-on reading, and its standard uncertainty.
    pub before_kpa: (f64, f64),
    /// The same after the work, at the flow of before where both flows were read.
    pub after_kpa: (f64, f64),
    /// Expanded uncertainty of the difference (coverage factor 2), kPa.
    pub expanded_kpa: f64,
    /// Whether both flows were read.
    pub flow_read: bool,
    /// Fell or rose by more than the expanded uncertainty, or neither.
    pub verdict: ProofVerdict,
}

/// Relative uncertainty of setting a point again: the flow read each time, and the speed held by hand alone (common
/// practice).
const FLOW_READ: f64 = 0.02;
/// See [`FLOW_READ`].
const SPEED_HELD: f64 = 0.04;
/// A gauge of a workshop without a stated uncertainty: half a hectopascal and 3 % of the reading, as limits of a
/// rectangular distribution (common practice).
const GAUGE: (f64, f64) = (0.05, 0.03);
/// Coverage factor of an expanded uncertainty: about 95 of 100 (JCGM 100, 6.3).
const COVERAGE: f64 = 2.0;

type Key = (Point, i64, bool);
type Group = BTreeMap<Quantity, Vec<(f64, f64)>>;

fn groups(case: &Case, before: bool) -> BTreeMap<Key, Group> {
    let mut out: BTreeMap<Key, Group> = BTreeMap::new();
    let side = |role: Option<Role>| match role {
        Some(Role::Before) => Some(true),
        Some(Role::After) => Some(false),
        _ => None,
    };
    for r in case.reading.iter().filter(|r| side(r.role) == Some(before)) {
        let (Some(point), Some(value)) = (r.point, canonical(r)) else { continue };
        let rpm = r.engine_speed_rpm.unwrap_or(0.0).round() as i64;
        for gauge in [false, true] {
            let other =
                if gauge { Quantity::DifferentialPressure } else { Quantity::DifferentialPressureGauge };
            if r.quantity != other {
                out.entry((point, rpm, gauge)).or_default().entry(r.quantity).or_default().push(value);
            }
        }
    }
    out
}

/// Mean and standard uncertainty: scatter of the readings (type A) and the instrument (type B).
fn mean(values: &[(f64, f64)]) -> Option<(f64, f64)> {
    let n = values.len() as f64;
    let m = values.iter().map(|v| v.0).sum::<f64>() / n;
    let scatter = if values.len() > 1 {
        values.iter().map(|v| (v.0 - m).powi(2)).sum::<f64>() / (n - 1.0) / n
    } else {
        0.0
    };
    // A stated uncertainty covers 95 of 100; repeated readings share the instrument's error.
    let instrument = values
        .iter()
        .map(|v| if v.1.is_finite() { v.1 / 2.0 } else { (GAUGE.0 + GAUGE.1 * v.0.abs()) / 3_f64.sqrt() })
        .fold(0.0, f64::max);
    (!values.is_empty()).then(|| (m, scatter.sqrt().hypot(instrument)))
}

/// The points that were read before and after, in the order of load.
#[must_use]
pub fn points(case: &Case) -> Vec<PointProof> {
    let (before, after) = (groups(case, true), groups(case, false));
    let pressure = |g: &Group, gauge: bool| {
        let q = if gauge { Quantity::DifferentialPressureGauge } else { Quantity::DifferentialPressure };
        g.get(&q).and_then(|v| mean(v))
    };
    let zero = |side: &BTreeMap<Key, Group>, gauge: bool| {
        let at_key_on = side.iter().filter(|(k, _)| k.0 == Point::KeyOn && k.2 == gauge);
        at_key_on.filter_map(|(_, g)| pressure(g, gauge)).next()
    };
    let flow = |g: &Group| {
        [Quantity::ExhaustMassFlow, Quantity::IntakeAirMassFlow]
            .into_iter()
            .find_map(|q| Some((q, mean(g.get(&q)?)?.0)))
    };
    let mut out = Vec::new();
    for (key, b) in before.iter().filter(|(k, _)| k.0 != Point::KeyOn) {
        let Some(a) = after.get(key) else { continue };
        let (Some(p_b), Some(p_a)) = (pressure(b, key.2), pressure(a, key.2)) else { continue };
        // The zero is taken off where it was read at both times; else it is taken to be the same and cancels.
        let zeros = zero(&before, key.2).zip(zero(&after, key.2));
        let less = |p: (f64, f64), z: Option<(f64, f64)>| z.map_or(p, |z| (p.0 - z.0, p.1.hypot(z.1)));
        let (p_b, p_a) = (less(p_b, zeros.map(|z| z.0)), less(p_a, zeros.map(|z| z.1)));
        let flows = flow(b).zip(flow(a)).filter(|(x, y)| x.0 == y.0 && x.1 > 0.0 && y.1 > 0.0);
        let scale = flows.map_or(1.0, |(x, y)| x.1 / y.1);
        let again = if flows.is_some() { FLOW_READ } else { SPEED_HELD };
        let before_kpa = (p_b.0, p_b.1.hypot(again * p_b.0));
        let after_kpa = (p_a.0 * scale, (p_a.1 * scale).hypot(again * p_a.0 * scale));
        let expanded_kpa = COVERAGE * before_kpa.1.hypot(after_kpa.1);
        let fall = before_kpa.0 - after_kpa.0;
        out.push(PointProof {
            point: key.0,
            engine_speed_rpm: (key.1 > 0).then_some(key.1 as f64),
            gauge: key.2,
            before_kpa,
            after_kpa,
            expanded_kpa,
            flow_read: flows.is_some(),
            verdict: if fall > expanded_kpa {
                ProofVerdict::Improved
            } else if -fall > expanded_kpa {
                ProofVerdict::Worse
            } else {
                ProofVerdict::NoProvenChange
            },
        });
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn case(rows: &str) -> Case {
        facts::load_case(&format!("schema = \"sootwright.case/1\"\n{rows}"), "c")
            .unwrap_or_else(|e| panic!("{e}"))
    }

    fn reading(role: &str, point: &str, kpa: f64, u: f64) -> String {
        format!(
            "[[reading]]\nrole = \"{role}\"\npoint = \"{point}\"\nengine_speed_rpm = 2500\n\
             quantity = \"differential_pressure\"\nvalue = {kpa}\nunit = \"kPa\"\nuncertainty = {u}\n"
        )
    }

    #[test]
    fn analytic_a_fall_beyond_twice_the_uncertainty_is_shown() {
        // Uncertainty by hand: gauge 0.05 each (k = 1), setting 4 % of 3 and of 2: sqrt(2*0.05² + 0.12² + 0.08²).
        let c = case(&(reading("before", "held", 3.0, 0.1) + &reading("after", "held", 2.0, 0.1)));
        let p = points(&c);
        assert_eq!(p.len(), 1);
        assert!((p[0].expanded_kpa - 2.0 * 0.0258_f64.sqrt()).abs() < 1e-9, "{p:?}");
        assert_eq!(p[0].verdict, ProofVerdict::Improved);
        let c = case(&(reading("before", "held", 3.0, 0.1) + &reading("after", "held", 2.8, 0.1)));
        assert_eq!(points(&c)[0].verdict, ProofVerdict::NoProvenChange);
    }

    #[test]
    fn analytic_points_without_a_partner_compare_nothing() {
        let c = case(&(reading("before", "held", 3.0, 0.1) + &reading("after", "hot_idle", 2.0, 0.1)));
        assert!(points(&c).is_empty());
    }
}
