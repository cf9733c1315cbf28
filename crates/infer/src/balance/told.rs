//! Whether the history can decide, and what would if it cannot.

use super::model::Constants;
use super::story::{Look, Step, Story};
use super::{OpenQuestion, Text};
use facts::{Case, FaultId};

pub(super) struct Verdict {
    pub told: bool,
    pub open: Vec<OpenQuestion>,
}

/// Relative standard deviation of what leaves the reservoir, dose prior opened wide, below which a dose of 0.75 or
/// 1.3 stands at least about two deviations from the set dose.
const PINNED_REL: f64 = 0.17;
/// The same when the content is known at both ends of a long enough stretch: a reservoir that ran dry on the way,
/// or a leak beside the dose, leaves the dose itself wider although the history decides.
const PINNED_LOOSE_REL: f64 = 0.45;
/// Probability from which one fault stands out by itself, however little was measured.
const STANDS_OUT: f64 = 0.75;
/// Probability of a car without a fault below which it is ruled out: then the first of the faults is told from half on.
const RULED_OUT: f64 = 0.03;
/// Probability that the first must have where nobody read the controller's counters.
const WITHOUT_COUNTER: f64 = 0.5;

/// What is drawn by the set dose before a second weighing tells much, L: a tenth of the capacity, and not less
/// than 60 mL, some ten times what a scale and its tare may be off (guess).
fn telling_draw(k: &Constants) -> f64 {
    (0.1 * k.capacity_l.0).max(0.06)
}

fn weighed(s: &Step) -> bool {
    s.looks.iter().any(|l| matches!(l, Look::Weighed { .. } | Look::Level { .. }))
}

/// True when content was known at two places between which the set dose draws enough to tell.
fn spanned(k: &Constants, story: &Story) -> bool {
    let known = |s: &&Step| weighed(s) || s.fills.iter().any(|f| f.pour && f.full == Some(true));
    let first = story.steps.iter().find(known);
    let last = story.steps.iter().rev().find(|s| weighed(s));
    match (first, last) {
        (Some(a), Some(b)) => {
            (b.odometer_km - a.odometer_km) * k.set_dose.0 * k.fuel_l_per_km.0 > telling_draw(k)
        }
        _ => false,
    }
}

/// Decides whether the fault is told; else names what is missing, the most telling first.
pub(super) fn judge(
    case: &Case,
    k: &Constants,
    story: &Story,
    faults: &[(Option<FaultId>, f64)],
    pinned: f64,
) -> Verdict {
    let looks = || story.steps.iter().flat_map(|s| &s.looks);
    let contents = story.steps.iter().filter(|s| weighed(s)).count();
    let counters = looks().filter(|l| matches!(l, Look::Counter { .. })).count();
    let first = faults.iter().map(|f| f.1).fold(0.0, f64::max);
    let of = |fault| faults.iter().find(|f| f.0 == fault).map_or(0.0, |f| f.1);
    let sound = of(None) + of(Some(FaultId::AdditiveEmpty));
    let stands_out = faults.iter().any(|(f, p)| f.is_some() && *p >= STANDS_OUT)
        || (counters > 0 && sound < RULED_OUT && first >= WITHOUT_COUNTER && of(None) < first);
    let allowed = pinned < PINNED_REL || (pinned < PINNED_LOOSE_REL && spanned(k, story));
    if stands_out || (allowed && (counters > 0 || first >= WITHOUT_COUNTER)) {
        return Verdict { told: true, open: Vec::new() };
    }

    let draw = telling_draw(k);
    let again_km = (draw / (k.set_dose.0 * k.fuel_l_per_km.0).max(1e-7) / 500.0).ceil() * 500.0;
    let reason = if contents == 0 && counters == 0 {
        Text::new("balance-reason-nothing-measured")
    } else if contents == 0 {
        Text::new("balance-reason-content-not-measured")
    } else if allowed {
        Text::new("balance-reason-counter-not-read")
    } else if !spanned(k, story) {
        Text::new("balance-reason-too-short").number("drawn-ml", 1000.0 * draw, 0)
    } else {
        Text::new("balance-reason-too-wide").number("per-cent", 100.0 * pinned.min(1.0), 0)
    };
    let mut would = Vec::new();
    if !allowed {
        if contents == 0 {
            would.push(Text::new("balance-weigh-now"));
        }
        would.push(Text::new("balance-weigh-again").number("km", again_km, 0));
    }
    if counters == 0 {
        would.push(Text::new("balance-read-counter"));
    } else if counters == 1 {
        would.push(Text::new("balance-read-counter-again").number("km", again_km, 0));
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
    Verdict { told: false, open: vec![question] }
}
