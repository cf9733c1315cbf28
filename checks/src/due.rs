//! Do windows that claim to hold eight times in ten do so on cars whose habits change?

use demo::habits::{Future, future};
use facts::Knowledge;
use infer::Evidence;
use infer::balance::Window;
use infer::due::{HORIZON_KM, Says, What};

/// One window against what came.
#[derive(Debug, Clone, Copy)]
pub struct Held {
    /// What fell due.
    pub what: What,
    /// Whether the window of kilometres held.
    pub km: bool,
    /// Whether the window of days held; none without one.
    pub days: Option<bool>,
    /// What the window was good for.
    pub says: Says,
    /// Far end over near end.
    pub width: f64,
    /// True distance below the window (-1), in it (0) or above it (1).
    pub side: i8,
}

fn holds(w: Window, truth: f64, horizon: f64) -> (bool, i8) {
    // Beyond the horizon everything is one.
    let (truth, high) = (truth.min(horizon), w.p90.min(horizon));
    let side = if truth < w.p10.min(horizon) - 1e-6 { -1 } else { i8::from(truth > high + 1e-6) };
    (side == 0, side)
}

/// The windows of the first `count` cars of a seed.
#[must_use]
pub fn back_test(seed: u64, count: usize) -> Vec<Held> {
    let mut out = Vec::new();
    for index in 0..count {
        let Future { case, additive, ash, soot } = future(seed, index);
        let a = infer::assess(&Evidence { case: &case, recordings: &[], knowledge: Knowledge::built_in() });
        for d in &a.due {
            let truth = match d.what {
                What::Additive => additive,
                What::Ash => Some(ash),
                What::Soot => Some(soot),
            };
            let Some((km, days)) = truth else { continue };
            let (held, side) = holds(d.km, km, HORIZON_KM);
            // Days stop where the kilometres do.
            let days = d.days.filter(|_| km < HORIZON_KM).map(|w| holds(w, days, f64::INFINITY).0);
            let width = d.km.p90 / d.km.p10.max(100.0);
            out.push(Held { what: d.what, km: held, days, says: d.says, width, side });
        }
    }
    out
}

/// Share of windows that hold and their count.
#[must_use]
pub fn share(list: &[Held], of: impl Fn(&Held) -> Option<bool>) -> (f64, usize) {
    let told: Vec<bool> = list.iter().filter_map(of).collect();
    (told.iter().filter(|h| **h).count() as f64 / told.len().max(1) as f64, told.len())
}
