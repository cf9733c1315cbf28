//! A fill while it runs: timed weights in, minutes left and alarms out.
//!
//! A pure state machine: the caller brings time and weight, from a scale's line or from a keyboard. The planned course
//! gives the shape; the weights give the pace. Each weight is turned into the time the plan would need for it, and a
//! straight line through those times against the clock, with the plan's own uncertainty as prior, gives the pace and
//! its interval.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result, finite, not_negative, positive};
use crate::estimate::{Estimate, deviate};
use crate::message::{Message, rounded};

/// Weight changes below this many standard uncertainties are not told from none.
const CLEAR: f64 = 4.0;
/// What the planned shape leaves out of the time still to come: relative standard uncertainty, expert guess.
const SHAPE: f64 = 0.05;
/// A gain faster than so many times the planned flow is a hand on the scale, not fluid.
const TOO_FAST: f64 = 5.0;
/// Points kept for the pace, no closer than so many seconds: a scale may send ten lines a second.
const WINDOW: usize = 240;
const APART_S: f64 = 5.0;
/// A fall of the receiver below so many standard uncertainties is a leak. Higher than `CLEAR`, because the highest of
/// many weights is itself high by chance.
const FALLEN: f64 = 8.0;

/// What the fill is meant to do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Target {
    /// Planned course: (s, g moved), rising in both, from (0, 0). See [`Target::of`].
    pub course: Vec<(f64, f64)>,
    /// Relative standard uncertainty of the planned time.
    pub time_uncertainty: f64,
    /// Mass to move, g.
    pub target_g: f64,
    /// Mass the receiver can take at all, g, where known.
    pub room_g: Option<f64>,
    /// Standard uncertainty of one weight, g (resolution, wind, hands).
    pub scale_uncertainty_g: f64,
    /// Mass that stays in the tube when it was empty at the start, g.
    pub tube_g: f64,
    /// Density, kg/m3, to speak of litres.
    pub density_kg_m3: f64,
}

impl Target {
    /// A target from a set-up's course of (s, m3) and a plan's interval.
    ///
    /// `time_uncertainty` is taken from the plan's 90 % interval: ln(p95/p05)/3.29, at least 0.05.
    pub fn of(
        course_m3: &[(f64, f64)],
        minutes: Estimate,
        density_kg_m3: f64,
        tube_g: f64,
        scale_uncertainty_g: f64,
        room_g: Option<f64>,
    ) -> Result<Self> {
        let rho = positive("density", "kg/m3", density_kg_m3)?;
        let course: Vec<(f64, f64)> = course_m3.iter().map(|(s, v)| (*s, v * rho * 1000.0)).collect();
        let spread = (positive("longest time", "min", minutes.p95)?
            / positive("shortest time", "min", minutes.p05)?)
        .ln();
        let target = Self {
            target_g: course.last().map_or(0.0, |p| p.1),
            course,
            time_uncertainty: (spread / 3.29).max(0.05),
            room_g,
            scale_uncertainty_g,
            tube_g,
            density_kg_m3,
        };
        target.check()?;
        Ok(target)
    }

    fn check(&self) -> Result<()> {
        positive("mass to move", "g", self.target_g)?;
        positive("uncertainty of the scale", "g", self.scale_uncertainty_g)?;
        positive("density", "kg/m3", self.density_kg_m3)?;
        positive("uncertainty of the planned time", "", self.time_uncertainty)?;
        not_negative("mass in the tube", "g", self.tube_g)?;
        if let Some(room) = self.room_g {
            positive("room in the receiver", "g", room)?;
        }
        let rising = self.course.windows(2).all(|w| match w {
            [a, b] => a.0 < b.0 && a.1 < b.1 && b.0.is_finite() && b.1.is_finite(),
            _ => true,
        });
        let starts = self.course.first() == Some(&(0.0, 0.0));
        if self.course.len() < 2 || !rising || !starts {
            return Err(Error::NotPhysical {
                what: "planned course",
                value: self.course.len() as f64,
                unit: "points",
                want: "two or more points from (0, 0), rising in time and mass",
            });
        }
        Ok(())
    }

    /// Planned time (s) for a mass; beyond the end at the last pace.
    fn seconds_of(&self, grams: f64) -> f64 {
        let (a, b) = self.piece(|p| p.1 >= grams);
        a.0 + (grams - a.1) * (b.0 - a.0) / (b.1 - a.1)
    }

    /// Planned flow (g/s) at a mass.
    fn flow_at(&self, grams: f64) -> f64 {
        let (a, b) = self.piece(|p| p.1 >= grams);
        (b.1 - a.1) / (b.0 - a.0)
    }

    fn fastest(&self) -> f64 {
        self.course
            .windows(2)
            .filter_map(|w| match w {
                [a, b] => Some((b.1 - a.1) / (b.0 - a.0)),
                _ => None,
            })
            .fold(0.0, f64::max)
    }

    fn piece(&self, past: impl Fn(&(f64, f64)) -> bool) -> ((f64, f64), (f64, f64)) {
        let pieces = self.course.windows(2).filter_map(|w| match w {
            [a, b] => Some((*a, *b)),
            _ => None,
        });
        let mut last = ((0.0, 0.0), (1.0, 1.0));
        for (a, b) in pieces {
            last = (a, b);
            if past(&b) {
                break;
            }
        }
        last
    }
}

/// One timed weight. At least one of the two scales; both where both are weighed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Weight {
    /// Time on any clock that only moves forward, s.
    pub time_s: f64,
    /// Gross weight of the receiver, g.
    pub receiver_g: Option<f64>,
    /// Gross weight of the bottle, g.
    pub bottle_g: Option<f64>,
}

/// The weight (g) in a line as scales send it: an optional head, a sign, a number, an optional unit.
///
/// Point or comma; `g`, `kg` or no unit (then g); blanks anywhere, also between sign and number. Errors when the line
/// holds no number, two numbers, or another unit, so that a torn line is not taken for a weight.
///
/// ```
/// # use additive::live::scale_line;
/// assert_eq!(scale_line("ST,GS,+  1.2345kg")?, 1234.5);
/// assert_eq!(scale_line("  - 12,5 g")?, -12.5);
/// assert!(scale_line("1234 lb").is_err());
/// # Ok::<(), additive::Error>(())
/// ```
pub fn scale_line(line: &str) -> Result<f64> {
    let refuse = || Error::Text {
        file: "scale".to_string(),
        problem: format!(
            "`{}` is not a weight; want a number with g, kg or no unit",
            line.trim().escape_default()
        ),
    };
    let first = line.find(|c: char| c.is_ascii_digit()).ok_or_else(refuse)?;
    let (head, rest) = line.split_at(first);
    let end = rest.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ',')).unwrap_or(rest.len());
    let (digits, tail) = rest.split_at(end);
    let number: f64 = digits.replace(',', ".").parse().map_err(|_| refuse())?;
    let sign = if head.trim_end().ends_with('-') { -1.0 } else { 1.0 };
    let factor = match tail.trim().to_ascii_lowercase().as_str() {
        "" | "g" => 1.0,
        "kg" => 1000.0,
        _ => return Err(refuse()),
    };
    finite("weight", "g", sign * number * factor)
}

/// State of the fill.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// First weights; no pace yet.
    Starting,
    /// Filling as it should.
    Filling,
    /// The weight has stood still for longer than chance allows.
    Stalled,
    /// Fluid is lost: the receiver loses weight, or what left the bottle does not arrive.
    Leaking,
    /// More is in than was meant, or than the receiver can take.
    Overfull,
    /// The mark is reached.
    Done,
    /// The weight jumped: something or somebody is on the scale.
    Disturbed,
}

impl State {
    /// Whether the person at the fill must act at once.
    pub fn is_alarm(self) -> bool {
        matches!(self, State::Stalled | State::Leaking | State::Overfull)
    }
}

/// What is known after a weight.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Status {
    /// State.
    pub state: State,
    /// Mass moved, g.
    pub moved_g: f64,
    /// The same in litres.
    pub moved_l: f64,
    /// Minutes left; `None` before there is a pace, in alarm and when done.
    pub minutes_left: Option<Estimate>,
    /// Pace against the plan (1 = as planned).
    pub pace: Option<Estimate>,
    /// Figure of the receiver's scale at which to stop, g.
    pub stop_receiver_g: Option<f64>,
    /// Figure of the bottle's scale at which to stop, g.
    pub stop_bottle_g: Option<f64>,
    /// Mass lost, where a leak is told, g.
    pub lost_g: Option<f64>,
    /// What to say, cautions with their reason included.
    pub say: Message,
}

/// The state machine of one fill.
#[derive(Debug, Clone)]
pub struct LiveFill {
    target: Target,
    start: Option<Weight>,
    /// (s, g moved, planned s) since the last restart
    track: Vec<(f64, f64, f64)>,
    /// time and mass of the last clear rise
    rise: (f64, f64),
    /// highest mass the receiver showed
    highest_receiver: f64,
    /// moved mass is receiver's gain plus this (a scale moved and settled anew)
    receiver_shift: f64,
    bottle_shift: f64,
    last: Option<Weight>,
    pending: Option<Weight>,
    moved: f64,
}

impl LiveFill {
    /// A fill about to begin. Errors when the target is not usable.
    pub fn new(target: Target) -> Result<Self> {
        target.check()?;
        Ok(Self {
            target,
            start: None,
            track: Vec::new(),
            rise: (0.0, 0.0),
            highest_receiver: 0.0,
            receiver_shift: 0.0,
            bottle_shift: 0.0,
            last: None,
            pending: None,
            moved: 0.0,
        })
    }

    /// Takes a timed weight.
    ///
    /// The first one is the start: nothing has flowed. A weight that is not a number, goes back in time, or lacks a
    /// scale the start had is refused and changes nothing.
    pub fn push(&mut self, weight: Weight) -> Result<Status> {
        finite("time", "s", weight.time_s)?;
        for w in [weight.receiver_g, weight.bottle_g].into_iter().flatten() {
            finite("weight", "g", w)?;
        }
        let Some(start) = self.start else {
            if weight.receiver_g.is_none() && weight.bottle_g.is_none() {
                return Err(missing());
            }
            self.start = Some(weight);
            self.last = Some(weight);
            self.rise = (weight.time_s, 0.0);
            self.track.push((weight.time_s, 0.0, 0.0));
            return Ok(self.status(State::Starting, 0.0, None, None));
        };
        if let Some(last) = self.last
            && weight.time_s <= last.time_s
        {
            return Err(Error::NotPhysical {
                what: "time",
                value: weight.time_s,
                unit: "s",
                want: "later than the last weight's",
            });
        }
        let lacks = |now: Option<f64>, then: Option<f64>| now.is_some() != then.is_some();
        if lacks(weight.receiver_g, start.receiver_g) || lacks(weight.bottle_g, start.bottle_g) {
            return Err(missing());
        }
        if self.jumped(&weight) {
            // a jump that stays is a scale settled anew: carry on from there, having said so
            if let Some(pending) = self.pending
                && self.near(&pending, &weight)
            {
                self.settle(&weight);
            } else {
                self.pending = Some(weight);
            }
            return Ok(self.status(State::Disturbed, self.moved, None, None));
        }
        self.pending = None;
        self.last = Some(weight);
        let (moved, lost) = self.balance(&weight, &start);
        self.moved = moved;
        let planned = self.target.seconds_of(moved);
        if self.track.last().is_none_or(|t| weight.time_s - t.0 >= APART_S) {
            self.track.push((weight.time_s, moved, planned));
        }
        if self.track.len() > WINDOW {
            self.track.remove(0);
        }
        let u = self.target.scale_uncertainty_g;
        let clear = CLEAR * u;
        let stood_before = self.is_stalled(weight.time_s, self.rise.1);
        if moved > self.rise.1 + clear {
            if stood_before {
                // it runs again: the pace starts anew
                self.track = vec![(weight.time_s, moved, planned)];
            }
            self.rise = (weight.time_s, moved);
        }
        let full = self.target.target_g + clear;
        let over_room = self.target.room_g.is_some_and(|room| moved > room + clear);
        let state = if lost.is_some() {
            State::Leaking
        } else if moved > full || over_room {
            State::Overfull
        } else if moved >= self.target.target_g - u {
            State::Done
        } else if self.is_stalled(weight.time_s, moved) {
            State::Stalled
        } else if self.track.len() < 3 || self.rise.1 <= 0.0 {
            State::Starting
        } else {
            State::Filling
        };
        let pace = if state == State::Filling { self.pace() } else { None };
        Ok(self.status(state, moved, lost, pace))
    }

    /// Mass moved and mass lost.
    fn balance(&mut self, now: &Weight, start: &Weight) -> (f64, Option<f64>) {
        let gained = now.receiver_g.zip(start.receiver_g).map(|(n, s)| n - s + self.receiver_shift);
        let given = now.bottle_g.zip(start.bottle_g).map(|(n, s)| s - n + self.bottle_shift);
        let u = self.target.scale_uncertainty_g;
        let mut lost = None;
        if let Some(gained) = gained {
            let fallen = self.highest_receiver - gained;
            if fallen > FALLEN * u {
                lost = Some(fallen);
            }
            self.highest_receiver = self.highest_receiver.max(gained);
        }
        if let (Some(gained), Some(given)) = (gained, given) {
            let gone = given - gained - self.target.tube_g;
            if gone > FALLEN * u {
                lost = Some(lost.map_or(gone, |l: f64| l.max(gone)));
            }
        }
        let moved = match (gained, given) {
            (Some(gained), _) => gained,
            (None, Some(given)) => given - self.target.tube_g.min(given.max(0.0)),
            (None, None) => 0.0,
        };
        (moved, lost)
    }

    /// True when the weight changed faster than any fluid could.
    fn jumped(&self, now: &Weight) -> bool {
        let Some(last) = self.last else { return false };
        let could = TOO_FAST * self.target.fastest() * (now.time_s - last.time_s)
            + 2.0 * CLEAR * self.target.scale_uncertainty_g
            + self.target.tube_g;
        let change = |a: Option<f64>, b: Option<f64>| a.zip(b).map_or(0.0, |(a, b)| (a - b).abs());
        change(now.receiver_g, last.receiver_g) > could || change(now.bottle_g, last.bottle_g) > could
    }

    fn near(&self, a: &Weight, b: &Weight) -> bool {
        let could = TOO_FAST * self.target.fastest() * (b.time_s - a.time_s)
            + CLEAR * self.target.scale_uncertainty_g;
        let close = |x: Option<f64>, y: Option<f64>| x.zip(y).is_none_or(|(x, y)| (x - y).abs() <= could);
        close(a.receiver_g, b.receiver_g) && close(a.bottle_g, b.bottle_g)
    }

    /// Accepts a jump as a new zero of the scales.
    fn settle(&mut self, now: &Weight) {
        if let Some(last) = self.last {
            if let Some((n, l)) = now.receiver_g.zip(last.receiver_g) {
                self.receiver_shift -= n - l;
            }
            if let Some((n, l)) = now.bottle_g.zip(last.bottle_g) {
                self.bottle_shift += n - l;
            }
        }
        let moved = self.moved;
        self.last = Some(*now);
        self.pending = None;
        self.rise = (now.time_s, moved);
        self.track = vec![(now.time_s, moved, self.target.seconds_of(moved))];
    }

    /// True when by the known pace the weight should have risen clearly and has not.
    fn is_stalled(&self, now_s: f64, moved: f64) -> bool {
        let (since, at) = self.rise;
        let waited = now_s - since;
        let pace = self.pace().map_or(1.0, |p| p.0).clamp(0.3, 2.0);
        let expected = self.target.flow_at(at.max(0.0)) * pace * waited;
        let u = self.target.scale_uncertainty_g;
        let at_least = if at <= 0.0 { self.target.tube_g } else { 0.0 };
        waited >= 60.0 && expected > 3.0 * CLEAR * u + at_least && moved - at < CLEAR * u
    }

    /// Pace against the plan and its standard uncertainty: least squares with the plan as prior.
    fn pace(&self) -> Option<(f64, f64)> {
        let n = self.track.len() as f64;
        if n < 2.0 {
            return None;
        }
        let mean_t = self.track.iter().map(|x| x.0).sum::<f64>() / n;
        let mean_s = self.track.iter().map(|x| x.2).sum::<f64>() / n;
        let (mut stt, mut sts) = (0.0, 0.0);
        for (t, _, s) in &self.track {
            stt += (t - mean_t) * (t - mean_t);
            sts += (t - mean_t) * (s - mean_s);
        }
        // noise of a planned time: the scale's, divided by the flow there
        let middle = self.track.get(self.track.len() / 2).map_or(0.0, |x| x.1);
        let noise = self.target.scale_uncertainty_g / self.target.flow_at(middle);
        let prior = self.target.time_uncertainty.powi(-2);
        let data = stt / (noise * noise);
        let pace = (prior + sts / (noise * noise)) / (prior + data);
        let sd = (prior + data).sqrt().recip();
        (pace.is_finite() && sd.is_finite()).then_some((pace.max(0.01), sd))
    }

    fn status(&self, state: State, moved: f64, lost: Option<f64>, pace: Option<(f64, f64)>) -> Status {
        let target = &self.target;
        let left_s = target.seconds_of(target.target_g) - target.seconds_of(moved.max(0.0));
        let minutes_left = pace.and_then(|(pace, sd)| {
            let spread = (sd / pace).hypot(SHAPE);
            let noise = target.scale_uncertainty_g / target.flow_at(target.target_g) / 60.0;
            let samples = (0..199).map(|i| {
                let z = deviate((f64::from(i) + 0.5) / 199.0);
                (left_s / 60.0 / pace * (spread * z).exp() + noise * z).max(0.0)
            });
            Estimate::of(samples.collect())
        });
        let start = self.start;
        let stop_receiver_g =
            start.and_then(|s| s.receiver_g).map(|g| g + target.target_g - self.receiver_shift);
        // the tube keeps its share, so the bottle must give that too
        let stop_bottle_g =
            start.and_then(|s| s.bottle_g).map(|g| g - target.target_g - target.tube_g + self.bottle_shift);
        let grams = rounded(lost.unwrap_or(0.0), 0);
        let say = match state {
            State::Starting => Message::new("live-starting"),
            State::Filling => Message::new("live-filling"),
            State::Stalled => Message::new("live-stalled"),
            State::Leaking => Message::new("live-leaking").number("grams", grams),
            State::Overfull => {
                Message::new("live-overfull").number("grams", rounded(moved - target.target_g, 0))
            }
            State::Done => Message::new("live-done"),
            State::Disturbed => Message::new("live-disturbed"),
        };
        Status {
            state,
            moved_g: moved,
            moved_l: moved / target.density_kg_m3,
            minutes_left,
            pace: pace.map(|(p, sd)| Estimate {
                p05: (p - 1.645 * sd).max(0.0),
                p50: p,
                p95: p + 1.645 * sd,
            }),
            stop_receiver_g,
            stop_bottle_g,
            lost_g: lost,
            say,
        }
    }
}

fn missing() -> Error {
    Error::NotPhysical {
        what: "weight",
        value: f64::NAN,
        unit: "g",
        want: "there for each scale of the first weighing, and for one at least",
    }
}
