//! Particle number and opacity against the limits of country and date.

use crate::typed::canonical;
use facts::case::{Case, Quantity, Role};
use facts::inspection::{Inspected, InspectionLimit, limits};

/// A reading against a limit, with its uncertainty as a guard band on either side (JCGM 106; ISO 14253-1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Against {
    /// Below the limit by more than the expanded uncertainty.
    Pass,
    /// The same, and above the value from which a remark is made.
    PassWithRemark,
    /// Above it by more than that.
    Fail,
    /// Between: measure again.
    Inconclusive,
}

impl Against {
    /// Its word in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::PassWithRemark => "pass_with_remark",
            Self::Fail => "fail",
            Self::Inconclusive => "inconclusive",
        }
    }
}

/// One reading judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Particle number or opacity.
    pub quantity: Quantity,
    /// Before the work?
    pub before: bool,
    /// Value in 1/cm3 or 1/m.
    pub value: f64,
    /// Expanded uncertainty (95 of 100), same unit.
    pub expanded: f64,
    /// Every limit that holds, with the verdict.
    pub against: Vec<(InspectionLimit, Against)>,
    /// Limits that may hold and lack a fact (first registration, emission class).
    pub open: usize,
}

/// A counter for the periodic test may be off by a quarter (from memory; Recommendation (EU) 2023/688).
const COUNTER: f64 = 0.25;
/// An opacimeter may be off by 0.15 1/m (from memory).
const OPACIMETER: f64 = 0.15;

/// Verdict on a value with its expanded uncertainty.
#[must_use]
pub fn against(value: f64, expanded: f64, limit: &InspectionLimit) -> Against {
    if value - expanded > limit.limit {
        Against::Fail
    } else if value + expanded < limit.limit {
        match limit.remark_above {
            Some(r) if value + expanded >= r => Against::PassWithRemark,
            _ => Against::Pass,
        }
    } else {
        Against::Inconclusive
    }
}

/// All particle numbers and opacities of a case. `plate_per_m` = opacity on the car's plate, which comes before any
/// other limit.
#[must_use]
pub fn judge(case: &Case, list: &[InspectionLimit], of: &Inspected, plate_per_m: Option<f64>) -> Vec<Judged> {
    let readings =
        case.reading.iter().filter(|r| matches!(r.quantity, Quantity::ParticleNumber | Quantity::Opacity));
    readings
        .filter_map(|r| {
            let (value, stated) = canonical(r)?;
            let particles = r.quantity == Quantity::ParticleNumber;
            let expanded = if stated.is_finite() {
                stated
            } else if particles {
                COUNTER * value
            } else {
                OPACIMETER
            };
            let of = Inspected { day: r.time.or(of.day), ..*of };
            let (sure, open) = limits(list, r.quantity, &of);
            let mut sure: Vec<InspectionLimit> = sure.into_iter().cloned().collect();
            let mut open = open.len();
            if let (false, Some(plate), Some(like)) =
                (particles, plate_per_m, list.iter().find(|l| l.quantity == Quantity::Opacity))
            {
                sure = vec![InspectionLimit {
                    limit: plate,
                    remark_above: None,
                    source: "plate of the car".into(),
                    ..like.clone()
                }];
                open = 0;
            }
            Some(Judged {
                quantity: r.quantity,
                before: r.role == Some(Role::Before),
                value,
                expanded,
                against: sure.into_iter().map(|l| (l.clone(), against(value, expanded, &l))).collect(),
                open,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use facts::Moment;
    use facts::inspection::built_in;

    #[test]
    fn reference_guard_bands() {
        // Trade reference 7.5: pass if value + U < limit, fail if value - U > limit, else measure again.
        let limit =
            built_in().iter().find(|l| l.country == "DE").cloned().unwrap_or_else(|| panic!("no limit"));
        assert_eq!(against(150e3, 37e3, &limit), Against::Pass);
        assert_eq!(against(240e3, 60e3, &limit), Against::Inconclusive);
        assert_eq!(against(400e3, 100e3, &limit), Against::Fail);
    }

    #[test]
    fn reference_belgium_passes_with_a_remark() {
        let text = "schema = \"sootwright.case/1\"\n[[reading]]\nquantity = \"particle_number\"\nvalue = 400000\n\
                    unit = \"1/cm3\"\ntime = 2026-01-05\n";
        let case = facts::load_case(text, "c").unwrap_or_else(|e| panic!("{e}"));
        let of = Inspected { country: Some("BE"), euro: Some(5), ..Inspected::default() };
        let told = judge(&case, built_in(), &of, None);
        assert_eq!(told[0].against[0].1, Against::PassWithRemark);
        // Before the rule was in force only the recommendation holds, which is younger still.
        let early = Moment::parse("2021-01-05").unwrap_or_else(|e| panic!("{e}"));
        let mut old = case;
        old.reading[0].time = Some(early);
        assert!(judge(&old, built_in(), &of, None)[0].against.is_empty());
    }

    #[test]
    fn analytic_the_plate_comes_first() {
        let text = "schema = \"sootwright.case/1\"\n[[reading]]\nquantity = \"opacity\"\nvalue = 0.9\nunit = \"1/m\"\n";
        let case = facts::load_case(text, "c").unwrap_or_else(|e| panic!("{e}"));
        let told = judge(&case, built_in(), &Inspected::default(), Some(0.5));
        assert_eq!(told[0].against.len(), 1);
        let (limit, verdict) = &told[0].against[0];
        assert_eq!((limit.limit, *verdict), (0.5, Against::Fail));
        assert_eq!(judge(&case, built_in(), &Inspected::default(), None)[0].open, 3);
    }
}
