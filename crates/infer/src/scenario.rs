//! How hot a service regeneration may get: the axial model of `wallflow` for the median and the upper soot load,
//! steady, with the engine dropped to idle and with the throttle lifted at the worst moment.
//!
//! Soot of engines differs tenfold in how fast it burns. The model may show danger; it never shows safety, and no
//! verdict is made from it.

use crate::posterior::Draws;
use crate::prior::{Priors, coordinate as at};
use crate::quasi::weighted_quantiles;
use crate::safety::substrate;
use crate::typed::typical_point;
use facts::case::{Case, Point, ReservoirKind};
use wallflow::media::Media;
use wallflow::oxidation::{DOPED_RATE_FACTOR, Feed, Kinetics};
use wallflow::regeneration::{Axial, Burn, Start};
use wallflow::{Error, limits};

/// One moment: time s, hottest place of the filter, gas that leaves it, both degC.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Since the burner was lit, s.
    pub time_s: f64,
    /// Hottest place of the filter, degC.
    pub hottest_degc: f64,
    /// Gas that leaves the filter, degC.
    pub leaving_degc: f64,
}

/// What happens in the middle of a simulated burn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event {
    /// Nothing: it is held to the end.
    Held,
    /// The engine drops to idle at the worst moment.
    DropToIdle,
    /// The throttle is lifted for two minutes at the worst moment: air, cooler, half the flow.
    Lift,
}

impl Event {
    /// Its word in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Held => "held",
            Self::DropToIdle => "drop_to_idle",
            Self::Lift => "lift",
        }
    }
}

/// One simulated burn.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// Soot at the start, g/L.
    pub soot_g_per_l: f64,
    /// Whether this is the upper soot load (95 %) and not the median.
    pub upper: bool,
    /// What happens.
    pub event: Event,
    /// When, s; none where it is held.
    pub event_s: Option<f64>,
    /// Hottest anywhere, degC.
    pub peak_degc: f64,
    /// Where, share of the length from the front.
    pub peak_position: f64,
    /// Time in which 90 % was burnt, s.
    pub time_to_90_s: Option<f64>,
    /// Share burnt by the end.
    pub burnt_share: f64,
    /// Over time.
    pub trace: Vec<Moment>,
}

/// The simulated burns with what they were made from.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Median soot held and dropped to idle, upper soot (95 %) held, dropped to idle and with the throttle lifted.
    pub courses: Vec<Course>,
    /// Gas temperature that the burn aims at, degC.
    pub feed_degc: f64,
    /// Exhaust flow of it, g/s.
    pub flow_g_per_s: f64,
    /// Whether the soot was taken to carry additive.
    pub doped: bool,
    /// Temperature at which substrates take damage, degC: from, to (from memory, coarse).
    pub damage_degc: (f64, f64),
}

/// Moments kept of a course.
const KEPT: usize = 160;

/// Whether soot of this car carries additive, where the case tells.
#[must_use]
pub fn doped(case: &Case) -> Option<bool> {
    match case.reservoir.kind {
        Some(ReservoirKind::None) => Some(false),
        Some(_) => Some(true),
        None if case.reservoir == facts::case::Reservoir::default() => None,
        None => Some(true),
    }
}

/// Runs the courses. Takes a second or two: not part of an assessment.
///
/// # Errors
/// When the physics refuses the filter (a channel too full for its soot).
pub fn run(case: &Case, draws: &Draws) -> Result<Option<Scenario>, Error> {
    let priors = Priors::new(case, &[], false);
    let Some(geometry) = priors.geometry_of(&[0.0; at::COUNT]) else { return Ok(None) };
    let material = substrate(case);
    let doped = doped(case).unwrap_or(false);
    let kinetics = if doped { Kinetics::DS.faster(DOPED_RATE_FACTOR)? } else { Kinetics::DS };
    let filter = Axial {
        geometry,
        media: Media::typical(material),
        // The worse end of each range: less mass to heat, less spread of heat, no loss in the core.
        heat_capacity: limits::heat_capacity(material).low,
        conductivity: limits::conductivity(material).low,
        loss: 0.0,
        ambient: 293.15,
        kinds: vec![kinetics],
        nitrogen: None,
        cells: 20,
    };
    // Filter inlet in a burn: 450 to 550 degC with additive, 570 to 650 without (trade reference 3.2).
    let feed_degc = if doped { 500.0 } else { 610.0 };
    let (flow, _) = typical_point(case, Point::Held, 2000.0);
    let hot = Feed {
        duration: 900.0,
        mass_flow: flow,
        temperature: feed_degc + 273.15,
        oxygen: 0.08,
        no2: 0.0,
        soot: 0.0,
    };
    let (idle_flow, _) = typical_point(case, Point::HotIdle, 0.0);
    let idle = Feed { duration: 300.0, mass_flow: idle_flow, temperature: 523.15, oxygen: 0.17, ..hot };
    let [median, upper] = weighted_quantiles(&draws.soot, &draws.weight, [0.5, 0.95]);
    let mut courses = Vec::new();
    for (load, is_upper) in [(median, false), (upper, true)] {
        let start = Start { soot: vec![load.clamp(0.05, 40.0)], temperature: 473.15 };
        let mut add = |event, at, burn: &Burn| courses.push(course(load, is_upper, event, at, burn));
        add(Event::Held, None, &filter.run(&start, &[hot])?);
        let (burn, when) = filter.worst_drop(&start, &hot, &idle)?;
        add(Event::DropToIdle, Some(when), &burn);
        if is_upper {
            let (burn, when) = filter.worst_lift(&start, &hot, 120.0)?;
            add(Event::Lift, Some(when), &burn);
        }
    }
    let damage = limits::peak_temperature(material);
    Ok(Some(Scenario {
        courses,
        feed_degc,
        flow_g_per_s: 1000.0 * flow,
        doped,
        damage_degc: (damage.low - 273.15, damage.high - 273.15),
    }))
}

fn course(soot: f64, upper: bool, event: Event, event_s: Option<f64>, burn: &Burn) -> Course {
    let every = (burn.trace.len() / KEPT).max(1);
    let last = burn.trace.len().saturating_sub(1);
    // Thinned, but never without its hottest moment.
    let hottest = burn.trace.iter().enumerate().max_by(|a, b| a.1.1.total_cmp(&b.1.1)).map_or(0, |(i, _)| i);
    let trace = burn
        .trace
        .iter()
        .enumerate()
        .filter(|(i, _)| i % every == 0 || *i == last || *i == hottest)
        .map(|(_, t)| Moment { time_s: t.0, hottest_degc: t.1 - 273.15, leaving_degc: t.2 - 273.15 })
        .collect();
    Course {
        soot_g_per_l: soot,
        upper,
        event,
        event_s,
        peak_degc: burn.peak_temperature - 273.15,
        peak_position: burn.peak_position,
        time_to_90_s: burn.time_to_90,
        burnt_share: burn.burnt_share,
        trace,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hottest(loads: [f64; 2]) -> Vec<f64> {
        let mut case = Case::default();
        case.car.displacement_l = Some(1.6);
        case.filter.volume_l = Some(2.5);
        case.reservoir.kind = Some(ReservoirKind::None);
        let n = 200;
        let soot = (0..n).map(|i| if i < 120 { loads[0] } else { loads[1] }).collect();
        let draws = Draws { soot, weight: vec![1.0; n], ..Draws::default() };
        let s = run(&case, &draws).expect("physics").expect("a filter");
        s.courses.iter().map(|c| c.peak_degc).collect()
    }

    #[test]
    fn property_more_soot_and_a_drop_to_idle_are_hotter() {
        let peaks = hottest([3.0, 9.0]);
        assert_eq!(peaks.len(), 5);
        assert!(peaks[1] >= peaks[0] && peaks[3] > peaks[2], "{peaks:?}");
        assert!(peaks[3] > peaks[1], "{peaks:?}");
    }
}
