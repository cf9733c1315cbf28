//! Regenerations inside a recording: where, how hot, how far they came.
//!
//! A burn counts as *reported* when the controller says so (PID 8B, DPFC1). Heat alone is no report: a hard
//! climb is as hot as a burn; such a stretch is listed when the inlet stays hot although little gas flows, or when
//! gas behind the filter is hotter than any that came in lately. It parts the recording into two states of the filter,
//! but nothing is concluded from it about the soot that is left.

use crate::assessment::Text;
use crate::conditions::{Burn, Conditions, STEP_S};
use crate::quasi::normal_quantile;
use serde::{Deserialize, Serialize};
use wallflow::oxidation::Kinetics;

/// How far a regeneration came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum BurnEnd {
    /// Hot for as long as a complete burn takes, and ended by the controller.
    Complete,
    /// Some soot was burnt; it ended early, or too cold for its time.
    Partial,
    /// Ended before the filter was hot for two minutes, or before the soot could burn.
    Aborted,
    /// The soot burnt faster than wanted: gas behind the filter far hotter than before it.
    Runaway,
    /// The recording stops while it runs.
    Running,
}

impl BurnEnd {
    /// Whether it leaves the filter as a complete regeneration does.
    #[must_use]
    pub fn emptied(self) -> bool {
        matches!(self, Self::Complete | Self::Runaway)
    }

    /// Its word in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Complete => "complete",
            Self::Partial => "partial",
            Self::Aborted => "aborted",
            Self::Runaway => "runaway",
            Self::Running => "running",
        }
    }
}

/// One regeneration that a recording shows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeenBurn {
    /// Number of the recording in the case.
    pub recording: usize,
    /// Start, s since the recording's first frame.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// True when the controller reported it; false when only heat shows it.
    pub reported: bool,
    /// How far it came.
    pub end: BurnEnd,
    /// Minutes with the filter hot enough to burn soot.
    pub hot_minutes: f64,
    /// Hottest gas temperature at the filter, degC.
    pub peak_degc: Option<f64>,
    /// Largest rise of the gas across the filter over ten seconds, against the hottest inlet of the last three
    /// minutes, K.
    pub exotherm_k: Option<f64>,
    /// Share of the soot that kinetics give for these temperatures: 5, 50 and 95 %.
    pub burnt_share: Option<[f64; 3]>,
    /// Signs behind the class, the strongest first.
    pub signs: Vec<Text>,
}

/// Temperature from which soot burns in minutes, K (450 degC with additive, more without; trade reference 3.2).
const HOT_K: f64 = 723.0;
/// Shortest driving burn that may count as complete, minutes (7 to 12 are typical; trade reference 3.3).
pub const FULL_BURN_MIN: f64 = 6.0;
/// Gas behind the filter from which a burn is out of hand, K: 800 degC; inside it is then 100 to 400 K hotter
/// (physics reference 4.3), at the limit of the substrates.
const RUNAWAY_K: f64 = 1073.0;
/// Rise across the filter that goes with it, K.
const RUNAWAY_RISE_K: f64 = 100.0;
/// Gap over which two reports are one burn, s.
const BRIDGE_S: f64 = 60.0;
/// Share of oxygen in the exhaust of a burn (physics reference 4.2).
const OXYGEN: f64 = 0.08;

/// What soot of this car burns like: factor over the undoped kinetics as (ln median, sd). Absolute rates of
/// engines differ tenfold; additive makes them about twenty times faster (physics reference 4.2).
#[must_use]
pub fn rate_factor(doped: Option<bool>) -> (f64, f64) {
    match doped {
        Some(true) => (f64::ln(15.0), 0.9),
        Some(false) => (0.0, 0.8),
        None => (f64::ln(3.0), 1.4),
    }
}

/// The burns of one recording. `doped`: whether the soot carries additive, where that is known.
#[must_use]
pub fn read(c: &Conditions, recording: usize, doped: Option<bool>) -> Vec<SeenBurn> {
    let told = c.regeneration.iter().any(|r| r.is_finite());
    let on: Vec<bool> = if told {
        c.regeneration.iter().map(|r| *r > 0.5).collect()
    } else {
        (0..c.len()).map(|i| c.before_k[i].max(c.filter_k[i]) > HOT_K).collect()
    };
    let (bridge, least) = ((BRIDGE_S / STEP_S) as usize, if told { 10.0 } else { 180.0 });
    runs(&on, bridge)
        .into_iter()
        .filter(|(a, b)| (b - a) as f64 * STEP_S >= least)
        .filter(|&span| told || heated(c, span))
        .map(|span| classify(c, span, recording, told, doped))
        .collect()
}

/// How the last regeneration ended that the controller reports; a report of less than a minute is a start that
/// came to nothing.
#[must_use]
pub fn last_reported(c: &Conditions, doped: Option<bool>) -> Option<BurnEnd> {
    let long = |b: &SeenBurn| b.reported && b.end_s - b.start_s > 60.0;
    read(c, 0, doped).into_iter().rfind(long).map(|b| b.end)
}

/// The last regeneration that parts a recording into two states of the filter: one that the controller reports, or
/// where it reports nothing one that heat shows, with soot burnt and enough of the drive left behind it. If the
/// heat was none of a regeneration, the parting costs points and no truth.
#[must_use]
pub fn parting(c: &Conditions) -> Option<Burn> {
    const LEFT_S: f64 = 240.0;
    c.burn().or_else(|| {
        let after = |b: &SeenBurn| c.len() as f64 * STEP_S - b.end_s > LEFT_S;
        let burnt = |b: &SeenBurn| b.end.emptied() || b.end == BurnEnd::Partial;
        let last = read(c, 0, None).into_iter().rfind(|b| !b.reported && burnt(b) && after(b))?;
        let end = (last.end_s / STEP_S) as usize;
        Some(Burn { minutes: last.hot_minutes, last: end.min(c.len().saturating_sub(1)), ended: true })
    })
}

/// Whether somebody heats this hot stretch: gas comes in hot for a minute while less flows than usual (a climb needs
/// flow), or leaves hotter than it came in.
fn heated(c: &Conditions, (from, to): (usize, usize)) -> bool {
    let running = (0..c.len()).filter(|&i| c.speed_rpm[i] > 500.0).map(|i| c.flow_kg_per_s[i]);
    let Some(usual) = crate::conditions::median(&running.collect::<Vec<f64>>()) else { return false };
    let idle = (from..to).filter(|&i| c.before_k[i] > HOT_K + 20.0 && c.flow_kg_per_s[i] < usual).count();
    let rise = finite_max(rises(c, from, to).into_iter());
    idle as f64 * STEP_S >= 60.0 || rise.is_some_and(|k| k > 25.0)
}

/// Stretches of true, as half-open ranges; gaps of at most `bridge` cells are closed.
fn runs(on: &[bool], bridge: usize) -> Vec<(usize, usize)> {
    let mut out: Vec<(usize, usize)> = Vec::new();
    for (i, _) in on.iter().enumerate().filter(|(_, v)| **v) {
        match out.last_mut() {
            Some(last) if i <= last.1 + bridge => last.1 = i + 1,
            _ => out.push((i, i + 1)),
        }
    }
    out
}

fn finite_max(values: impl Iterator<Item = f64>) -> Option<f64> {
    values.filter(|v| v.is_finite()).reduce(f64::max)
}

fn classify(
    c: &Conditions,
    (from, to): (usize, usize),
    recording: usize,
    reported: bool,
    doped: Option<bool>,
) -> SeenBurn {
    let cells = from..to;
    // The heat goes on for a while after the report ends.
    let tail = (to + (120.0 / STEP_S) as usize).min(c.len());
    let minutes = |n: usize| n as f64 * STEP_S / 60.0;
    let known = cells.clone().any(|i| c.filter_k[i].is_finite());
    let hot = |i: usize| c.filter_k[i].max(c.before_k[i]).max(c.after_k[i]) > HOT_K;
    let hot_minutes = minutes(cells.clone().filter(|&i| hot(i)).count());
    let peak_k = finite_max((from..tail).map(|i| c.filter_k[i].max(c.before_k[i]).max(c.after_k[i])));
    let window = (10.0 / STEP_S) as usize;
    // Against the hottest gas that came in lately: after a climb the brick gives back stored heat, and gas behind
    // it is then hotter than before it without any soot burning.
    let rises = rises(c, from, tail);
    let rise = |i: usize| rises.get(i - from).copied().unwrap_or(f64::NAN);
    let exotherm_k = finite_max(
        (from..tail.saturating_sub(window)).map(|i| (i..i + window).map(rise).sum::<f64>() / window as f64),
    );
    let runaway = (from..tail).filter(|&i| c.after_k[i] > RUNAWAY_K && rise(i) > RUNAWAY_RISE_K).count();
    let burnt_share = known.then(|| burnt(c, from..to, doped));
    let stopped = (to..(to + window).min(c.len())).any(|i| c.speed_rpm[i] < 200.0);
    let running = (c.len() - to) as f64 * STEP_S <= 20.0 && !stopped;
    let trigger = c.trigger_series[to.min(c.len())..]
        .iter()
        .copied()
        .filter(|v| v.is_finite())
        .take((120.0 / STEP_S) as usize)
        .reduce(f64::min);

    let length = minutes(to - from);
    let share = burnt_share.map_or(0.5, |s| s[1]);
    let mut signs = Vec::new();
    let end = if runaway as f64 * STEP_S >= 10.0 {
        signs.push(Text::new("burn-sign-runaway").number("rise", exotherm_k.unwrap_or(f64::NAN), 0));
        BurnEnd::Runaway
    } else if running {
        signs.push(Text::new("burn-sign-running"));
        BurnEnd::Running
    } else if (known && hot_minutes < 2.0) || length < 2.0 || burnt_share.is_some_and(|s| s[2] < 0.3) {
        signs.push(if stopped { Text::new("burn-sign-engine-stopped") } else { Text::new("burn-sign-cold") });
        BurnEnd::Aborted
    } else if (if known { hot_minutes } else { length }) >= FULL_BURN_MIN && share > 0.6 && !stopped {
        BurnEnd::Complete
    } else {
        if stopped {
            signs.push(Text::new("burn-sign-engine-stopped"));
        } else {
            signs.push(Text::new("burn-sign-short"));
        }
        BurnEnd::Partial
    };
    // The controller's view of the next burn may lag: a sign for people, no ground for the class.
    if let Some(t) = trigger.filter(|_| end != BurnEnd::Running) {
        signs.push(if t < 40.0 {
            Text::new("burn-sign-trigger").number("percent", t, 0)
        } else {
            Text::new("burn-sign-trigger-high")
        });
    }
    if let Some(k) = exotherm_k.filter(|k| *k > 15.0 && end != BurnEnd::Runaway) {
        signs.push(Text::new("burn-sign-exotherm").number("rise", k, 0));
    }
    SeenBurn {
        recording,
        start_s: from as f64 * STEP_S,
        end_s: to as f64 * STEP_S,
        reported,
        end,
        hot_minutes,
        peak_degc: peak_k.map(|k| k - 273.15),
        exotherm_k,
        burnt_share,
        signs,
    }
}

/// Gas behind the filter less the hottest before it within the last three minutes, K, cell by cell.
fn rises(c: &Conditions, from: usize, to: usize) -> Vec<f64> {
    let back = (180.0 / STEP_S) as usize;
    (from..to)
        .map(|i| {
            let lately = c.before_k[i.saturating_sub(back)..=i].iter().copied();
            finite_max(lately).map_or(f64::NAN, |hottest| c.after_k[i] - hottest)
        })
        .collect()
}

/// 1 − exp(−∫k dt) over the cells, at the 5, 50 and 95 % quantiles of the rate.
fn burnt(c: &Conditions, cells: std::ops::Range<usize>, doped: Option<bool>) -> [f64; 3] {
    let sum: f64 = cells
        .filter(|&i| c.filter_k[i].is_finite())
        .map(|i| Kinetics::DS.rate(OXYGEN, c.filter_k[i].clamp(250.0, 1500.0)) * STEP_S)
        .sum();
    let (median, sd) = rate_factor(doped);
    [0.05, 0.5, 0.95].map(|q| -(-sum * (median + sd * normal_quantile(q)).exp()).exp_m1())
}

#[cfg(test)]
mod tests {
    use super::*;
    /// One second a row: 300 s of driving, a burn of `hot_s` at `degc`, 300 s after it.
    fn drive(hot_s: usize, degc: f64, rise: f64) -> Conditions {
        use std::fmt::Write as _;
        let mut text = String::from(
            "time [s],engine_speed [rpm],regeneration_active [0/1],filter_inlet_temperature [degC],\
             filter_outlet_temperature [degC]\n",
        );
        for i in 0..600 + hot_s {
            let burning = (300..300 + hot_s).contains(&i);
            let (before, after) = if burning { (degc, degc + rise) } else { (280.0, 270.0) };
            writeln!(text, "{i},2000,{},{before},{after}", u8::from(burning)).expect("text grows");
        }
        let r = recording::read_bytes("drive.csv", text.as_bytes(), &recording::Options::default());
        assert_eq!(r.signals.len(), 4, "{:?}", r.problems);
        Conditions::new(&r, 835.0, None)
    }

    #[test]
    fn analytic_burns_are_told_apart() {
        let end = |c: &Conditions| read(c, 0, None).first().map(|b| b.end);
        assert_eq!(end(&drive(600, 600.0, 30.0)), Some(BurnEnd::Complete));
        assert_eq!(end(&drive(240, 600.0, 30.0)), Some(BurnEnd::Partial));
        assert_eq!(end(&drive(90, 600.0, 0.0)), Some(BurnEnd::Aborted));
        assert_eq!(end(&drive(600, 380.0, 0.0)), Some(BurnEnd::Aborted));
        assert_eq!(end(&drive(300, 650.0, 250.0)), Some(BurnEnd::Runaway));
        assert!(read(&drive(0, 600.0, 0.0), 0, None).is_empty());
    }

    #[test]
    fn property_hotter_burns_more() {
        let share = |degc: f64| read(&drive(600, degc, 0.0), 0, Some(false))[0].burnt_share.map(|s| s[1]);
        let shares: Vec<f64> = [470.0, 520.0, 570.0, 620.0, 670.0].into_iter().filter_map(share).collect();
        assert_eq!(shares.len(), 5);
        assert!(shares.windows(2).all(|w| w[0] < w[1] && w[1] <= 1.0), "{shares:?}");
    }

    #[test]
    fn property_heat_parts_a_drive_on_a_car_that_reports_nothing() {
        use std::fmt::Write as _;
        let drive = |degc: f64| {
            let mut text = String::from(
                "time [s],engine_speed [rpm],exhaust_mass_flow [g/s],filter_inlet_temperature [degC],\
                 filter_outlet_temperature [degC]\n",
            );
            for i in 0..1500 {
                let t = if (500..1000).contains(&i) { degc } else { 250.0 };
                // Traffic: every third minute little flows.
                let flow = if (i / 60) % 3 == 0 { 12.0 } else { 40.0 };
                writeln!(text, "{i},1800,{flow},{t},{t}").expect("text grows");
            }
            let r = recording::read_bytes("drive.csv", text.as_bytes(), &recording::Options::default());
            assert_eq!(r.signals.len(), 4, "{:?}", r.problems);
            Conditions::new(&r, 835.0, None)
        };
        let hot = drive(600.0);
        let end = parting(&hot).map(|b| b.last as f64 * STEP_S);
        assert!(end.is_some_and(|s| (980.0..1060.0).contains(&s)), "{end:?}");
        // Nothing is concluded from it about the soot that is left.
        assert_eq!(last_reported(&hot, None), None);
        assert!(parting(&drive(350.0)).is_none());
    }
}
