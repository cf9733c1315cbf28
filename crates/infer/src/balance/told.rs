//! Whether the history can decide, and what would if it cannot.

use super::model::Constants;
use super::story::{Look, Story};
use super::{OpenQuestion, Text};
use facts::{Case, FaultId};

pub(super) struct Verdict {
    pub told: bool,
    pub open: Vec<OpenQuestion>,
}

fn entropy(faults: &[(Option<FaultId>, f64)]) -> f64 {
    -faults.iter().filter(|f| f.1 > 0.0).map(|f| f.1 * f.1.ln()).sum::<f64>()
}

/// Relative standard deviation of what leaves the reservoir, dose prior opened wide, below which a dose of 0.75 or
/// 1.3 stands at least about two deviations from the set dose.
const PINNED_REL: f64 = 0.17;
/// Probability from which one fault stands out by itself, however little was measured.
const STANDS_OUT: f64 = 0.8;

pub(super) fn judge(
    case: &Case,
    k: &Constants,
    story: &Story,
    with: &[(Option<FaultId>, f64)],
    without: &[(Option<FaultId>, f64)],
    pinned: f64,
) -> Verdict {
    let stands_out = with.iter().any(|(f, p)| f.is_some() && *p >= STANDS_OUT);
    let narrowed = entropy(with) < 0.9 * entropy(without);
    let told = stands_out || (pinned < PINNED_REL && narrowed);
    if told {
        return Verdict { told, open: Vec::new() };
    }

    let looks = || story.steps.iter().flat_map(|s| &s.looks);
    let contents = looks().filter(|l| matches!(l, Look::Weighed { .. } | Look::Level { .. })).count();
    let counters = looks().filter(|l| matches!(l, Look::Counter { .. })).count();
    let per_km = k.set_dose.0 * k.fuel_l_per_km.0;
    let last = story.steps.last().map_or(0.0, |s| s.odometer_km);
    let last_content = story
        .steps
        .iter()
        .rev()
        .find(|s| !s.fills.is_empty() || s.looks.iter().any(|l| !matches!(l, Look::Surroundings { .. })))
        .map_or(last, |s| s.odometer_km);
    // Far enough that the set dose draws a tenth of the capacity, at least 60 mL: fifteen steps of a common scale.
    let draw = (0.1 * k.capacity_l.0).max(0.06);
    let again_km = (draw / per_km.max(1e-7) / 500.0).ceil() * 500.0;
    let reason = if contents == 0 && counters == 0 {
        Text::new("balance-reason-nothing-measured")
    } else if contents == 0 {
        Text::new("balance-reason-content-not-measured")
    } else if last - last_content < 1.0 && pinned > 0.35 {
        Text::new("balance-reason-too-short").number("drawn-ml", 1000.0 * draw, 0)
    } else {
        Text::new("balance-reason-too-wide").number("per-cent", 100.0 * pinned.min(1.0), 0)
    };
    let mut would = Vec::new();
    would.push(if contents == 0 {
        Text::new("balance-weigh-now")
    } else {
        Text::new("balance-weigh-again").number("km", again_km, 0)
    });
    if contents == 0 {
        would.push(Text::new("balance-weigh-again").number("km", again_km, 0));
    }
    if counters < 2 {
        would.push(Text::new(if counters == 0 {
            "balance-read-counter"
        } else {
            "balance-read-counter-again"
        }));
    }
    if case.fuel_used.is_empty() {
        would.push(Text::new("balance-fuel-receipts"));
    }
    if k.set_dose.1 > 0.1 {
        would.push(Text::new("balance-give-dose"));
    }
    if !k.tare_known {
        would.push(Text::new("balance-give-tare"));
    }
    let question =
        OpenQuestion { question: Text::new("balance-question-fault"), reason, would_decide: would };
    Verdict { told, open: vec![question] }
}
