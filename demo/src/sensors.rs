//! From what is to what the controller believes: plumbing, zero, gain, lag, noise, dropouts.

use crate::cycle::STEPS;
use crate::draw::Draw;
use crate::faults::{Fault, HoseFault, ProbeFault};
use crate::vehicle::{Air, Instant};
use facts::case::Plumbing;

/// Constants of the car's sensors.
#[derive(Debug, Clone)]
pub struct Sensors {
    /// Plumbing of the pressure sensor.
    pub plumbing: Plumbing,
    /// Zero without any fault, kPa.
    pub zero: f64,
    /// Gain of the pressure sensor.
    pub gain: f64,
    /// Lag of hose and sensor, s.
    pub lag: f64,
    /// Noise of the pressure signal, kPa.
    pub noise: f64,
    /// Noise that grows with the reading (pulsation), share.
    pub pulsation: f64,
    /// The controller shows nothing below zero.
    pub clipped: bool,
    /// Step of the controller's own rounding, kPa.
    pub step: f64,
    /// Gain of the air-flow meter without fault.
    pub flow_gain: f64,
    /// Gain of the fuel figure.
    pub fuel_gain: f64,
    /// Bias of the gas temperatures (engine out, before, after), K.
    pub probe_bias: [f64; 3],
    /// Lag of the gas temperature sensors, s.
    pub probe_lag: f64,
    /// Bias of manifold pressure, kPa.
    pub manifold_bias: f64,
    /// Bias of the small temperatures (coolant, intake, ambient), K.
    pub small_bias: [f64; 3],
}

impl Sensors {
    /// Draws sensors.
    pub fn draw(draw: &mut Draw, heavy: bool, fault: &Fault) -> Self {
        // One hose has no second one to lose.
        let one_hose = !heavy && fault.hose != HoseFault::OffDownstream && draw.chance(0.25);
        let zero = match draw.weighted(&[0.68, 0.22, 0.10]) {
            0 => draw.normal(0.0, 0.035),
            1 => draw.normal(0.0, 0.13),
            _ => draw.uniform(-0.38, 0.38),
        };
        Self {
            plumbing: if one_hose { Plumbing::OneHose } else { Plumbing::TwoHoses },
            zero: if fault.zero == 0.0 { zero.clamp(-0.38, 0.38) } else { fault.zero },
            gain: 1.0 + draw.normal(0.0, 0.03).clamp(-0.06, 0.06),
            lag: draw.log_uniform(0.1, 1.0),
            noise: draw.log_uniform(0.01, 0.08),
            pulsation: draw.uniform(0.0, 0.03),
            clipped: draw.chance(0.12),
            step: if heavy || draw.chance(0.1) { 0.1 } else { 0.01 },
            flow_gain: (1.0 + draw.normal(0.0, 0.03).clamp(-0.07, 0.07)) * fault.flow_gain,
            fuel_gain: 1.0 + draw.normal(0.0, 0.03),
            probe_bias: [draw.normal(0.0, 6.0), draw.normal(0.0, 5.0), draw.normal(0.0, 5.0)],
            probe_lag: draw.uniform(2.0, 14.0),
            manifold_bias: draw.normal(0.0, 1.0),
            small_bias: [draw.normal(0.0, 1.2), draw.normal(0.0, 1.5), draw.normal(0.0, 1.5)],
        }
    }

    /// What the pressure sensor shows with nothing flowing, kPa (before rounding).
    #[must_use]
    pub fn zero_shown(&self) -> f64 {
        if self.clipped { self.zero.max(0.0) } else { self.zero }
    }
}

/// What the controller holds at one instant. Values are before the rounding of the bus.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// Seconds since the beginning.
    pub t: f64,
    /// Engine speed, rpm.
    pub rpm: f64,
    /// Road speed, km/h.
    pub speed: f64,
    /// Calculated load, %.
    pub load: f64,
    /// Fuel, g/s.
    pub fuel: f64,
    /// Air through the meter, g/s.
    pub flow: f64,
    /// Manifold pressure, kPa absolute.
    pub manifold: f64,
    /// Barometer, kPa.
    pub barometer: f64,
    /// Intake air, degC.
    pub intake: f64,
    /// Outside air, degC.
    pub ambient: f64,
    /// Coolant, degC.
    pub coolant: f64,
    /// Recirculation asked for, %.
    pub egr_command: f64,
    /// Recirculation as the controller sees it, %.
    pub egr_actual: f64,
    /// Gas behind the engine, degC.
    pub engine_out: f64,
    /// Gas before the filter, degC.
    pub before: f64,
    /// Gas after the filter, degC.
    pub after: f64,
    /// Difference between the taps, kPa; `None` while it drops out.
    pub drop: Option<f64>,
    /// Supply, V.
    pub supply: f64,
    /// The controller says that it burns soot.
    pub burning: bool,
}

/// Stretches in which something goes missing or stands still.
#[derive(Debug, Clone, Default)]
pub struct Interruptions {
    /// The pressure is missing (start and end in steps).
    pub missing: Vec<(usize, usize)>,
    /// The pressure stands still.
    pub still: Vec<(usize, usize)>,
}

impl Interruptions {
    /// Draws some for a trace of `steps`.
    pub fn draw(draw: &mut Draw, steps: usize) -> Self {
        let mut out = Self::default();
        let mut some = |p: f64, most: usize, low: f64, high: f64| {
            let mut list = Vec::new();
            if draw.chance(p) {
                for _ in 0..draw.uniform(1.0, most as f64 + 0.99) as usize {
                    let begin = draw.uniform(0.0, steps as f64) as usize;
                    let end = begin + (draw.uniform(low, high) * STEPS as f64) as usize;
                    list.push((begin, end.min(steps)));
                }
            }
            list
        };
        out.missing = some(0.35, 4, 2.0, 25.0);
        out.still = some(0.12, 2, 8.0, 60.0);
        out
    }

    fn hit(list: &[(usize, usize)], i: usize) -> bool {
        list.iter().any(|(a, b)| (*a..*b).contains(&i))
    }
}

/// Shows a true trace through sensors and faults.
pub fn show(
    truth: &[Instant],
    sensors: &Sensors,
    fault: &Fault,
    air: Air,
    interruptions: &Interruptions,
    draw: &mut Draw,
) -> Vec<Shown> {
    let dt = 1.0 / STEPS as f64;
    let Some(first) = truth.first() else { return Vec::new() };
    let mut slow_hose = 0.0;
    let mut lagged = 0.0;
    let mut probes = [first.port, first.before, first.after];
    let mut last_shown = sensors.zero_shown();
    let mut meter = first.meter;
    let mut out = Vec::with_capacity(truth.len());
    for (i, now) in truth.iter().enumerate() {
        let one_hose = sensors.plumbing == Plumbing::OneHose;
        let upstream = now.drop + now.downstream;
        let right = if one_hose { upstream } else { now.drop };
        let at_sensor = match fault.hose {
            HoseFault::None | HoseFault::BlockedSlow(_) => right,
            HoseFault::OffUpstream => {
                if one_hose {
                    0.0
                } else {
                    -now.downstream
                }
            }
            HoseFault::OffDownstream => upstream,
            HoseFault::Swapped => -right,
            HoseFault::Leaking(share) => share * right,
            HoseFault::BlockedShut(enclosed) => enclosed,
        };
        let at_sensor = if let HoseFault::BlockedSlow(lag) = fault.hose {
            slow_hose += dt / lag * (at_sensor - slow_hose);
            slow_hose
        } else {
            at_sensor
        };
        lagged += (1.0 - (-dt / sensors.lag).exp()) * (at_sensor - lagged);
        let ripple =
            if now.running { sensors.noise + sensors.pulsation * lagged.abs() } else { 0.4 * sensors.noise };
        let mut drop = sensors.gain * lagged + sensors.zero + draw.normal(0.0, ripple);
        if let Some(value) = fault.frozen {
            drop = value;
        }
        if Interruptions::hit(&interruptions.still, i) {
            drop = last_shown;
        }
        last_shown = drop;
        if sensors.clipped {
            drop = drop.max(0.0);
        }
        for (probe, gas) in probes.iter_mut().zip([now.port, now.before, now.after]) {
            *probe += dt / sensors.probe_lag * (gas - *probe);
        }
        let mut temperatures = [0.0; 3];
        for (shown, (probe, bias)) in temperatures.iter_mut().zip(probes.iter().zip(sensors.probe_bias)) {
            *shown = probe - 273.15 + bias + draw.normal(0.0, 0.5);
        }
        match fault.probe {
            ProbeFault::None => {}
            ProbeFault::Offset(k) => temperatures[1] += k,
            ProbeFault::Stuck(value) => temperatures[1] = value,
        }
        meter += dt / 0.15 * (now.meter - meter);
        let flow = (meter * sensors.flow_gain * (1.0 + draw.normal(0.0, 0.012))).max(0.0);
        let small = |v: f64, k: usize| v + sensors.small_bias[k];
        out.push(Shown {
            t: now.t,
            rpm: now.rpm,
            speed: now.speed,
            load: if now.running { 100.0 * (0.12 + 0.88 * now.load) } else { 0.0 },
            fuel: now.fuel * sensors.fuel_gain,
            flow,
            manifold: now.manifold + sensors.manifold_bias + draw.normal(0.0, 0.4),
            barometer: air.pressure / 1000.0,
            intake: small(now.intake, 1),
            ambient: small(air.temperature - 273.15, 2),
            coolant: small(now.coolant, 0),
            egr_command: now.egr_command,
            egr_actual: (now.egr_actual + draw.normal(0.0, 0.8)).clamp(0.0, 100.0),
            engine_out: temperatures[0],
            before: temperatures[1],
            after: temperatures[2],
            drop: (!Interruptions::hit(&interruptions.missing, i))
                .then(|| (drop / sensors.step).round() * sensors.step),
            supply: if now.running { 14.1 } else { 12.3 } + draw.normal(0.0, 0.03),
            burning: now.burning,
        });
    }
    out
}
