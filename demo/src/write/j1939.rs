//! Broadcasts of a heavy vehicle (SAE J1939): engine, air, exhaust and filter groups.

use super::candump::Log;
use crate::draw::Draw;
use crate::sensors::Shown;

/// What this vehicle sends.
#[derive(Debug, Clone, Copy)]
pub struct Style {
    /// EEC3 carries the exhaust mass flow.
    pub exhaust_flow: bool,
    /// EGF1 carries the intake air flow.
    pub intake_flow: bool,
    /// AT1GP carries the pressure behind the filter.
    pub outlet_pressure: bool,
    /// AT1S1 carries the controller's soot and ash.
    pub controller_load: bool,
    /// Slowest-down of all periods.
    pub thinning: f64,
}

impl Style {
    /// Draws a style.
    pub fn draw(draw: &mut Draw) -> Self {
        let exhaust_flow = draw.chance(0.8);
        Self {
            exhaust_flow,
            intake_flow: !exhaust_flow || draw.chance(0.6),
            outlet_pressure: draw.chance(0.25),
            controller_load: draw.chance(0.5),
            thinning: draw.uniform(1.0, 2.0),
        }
    }
}

/// Slow facts that go along.
#[derive(Debug, Clone, Copy)]
pub struct Slow {
    /// Controller's soot, %.
    pub soot: f64,
    /// Controller's ash, %.
    pub ash: f64,
    /// Seconds since the last active regeneration.
    pub since_regeneration: f64,
    /// Fuel density, kg/m3.
    pub fuel_density: f64,
    /// Air over the flow meter that the exhaust figure is built from (the controller's own belief).
    pub downstream: f64,
}

fn word(value: f64, scale: f64, offset: f64) -> [u8; 2] {
    // 0xFAFF is the largest valid value.
    (((value - offset) / scale).round().clamp(0.0, 64_255.0) as u16).to_le_bytes()
}

fn byte(value: f64, scale: f64, offset: f64) -> u8 {
    ((value - offset) / scale).round().clamp(0.0, 250.0) as u8
}

const NOT_AVAILABLE: [u8; 2] = [0xFF; 2];

fn kelvin(t: f64) -> [u8; 2] {
    word(t, 0.03125, -273.0)
}

/// Group number and period in seconds of everything sent.
const GROUPS: [(u32, f64); 13] = [
    (0xF004, 0.2),
    (0xFEF2, 0.3),
    (0xFEDF, 0.3),
    (0xF00A, 0.3),
    (0xFEF6, 0.5),
    (0xFDB2, 0.25),
    (0xFDB4, 0.5),
    (0xFDB3, 0.5),
    (0xFD8C, 0.5),
    (0xFEEE, 1.0),
    (0xFEF5, 1.0),
    (0xFD7C, 1.0),
    (0xFD7B, 5.0),
];

/// Data bytes of a group, `None` when this vehicle does not send it.
#[must_use]
pub fn data(group: u32, s: &Shown, slow: &Slow, style: &Style) -> Option<[u8; 8]> {
    let mut d = [0xFF_u8; 8];
    let mut put = |at: usize, w: [u8; 2]| d[at..at + 2].copy_from_slice(&w);
    match group {
        0xF004 => {
            put(3, word(s.rpm, 0.125, 0.0));
            d[2] = byte(s.load, 1.0, -125.0);
        }
        0xFEF2 => put(0, word(s.fuel * 3600.0 / slow.fuel_density, 0.05, 0.0)),
        0xFEDF if style.exhaust_flow => put(5, word((s.flow + s.fuel) * 3.6, 0.2, 0.0)),
        0xF00A if style.intake_flow => put(2, word(s.flow * 3.6, 0.05, 0.0)),
        0xFEF6 => {
            put(5, kelvin(s.engine_out));
            d[1] = byte((s.manifold - s.barometer).max(0.0), 2.0, 0.0);
            d[2] = byte(s.intake + 8.0, 1.0, -40.0);
        }
        0xFDB2 => put(4, s.drop.map_or(NOT_AVAILABLE, |v| word(v, 0.1, 0.0))),
        0xFDB4 => put(2, kelvin(s.before)),
        0xFDB3 => put(2, kelvin(s.after)),
        0xFD8C if style.outlet_pressure => {
            put(2, word(slow.downstream * (s.flow + s.fuel).powf(1.9) * (s.after + 273.15), 0.1, 0.0));
        }
        0xFEEE => d[0] = byte(s.coolant, 1.0, -40.0),
        0xFEF5 => {
            put(3, kelvin(s.ambient));
            d[0] = byte(s.barometer, 0.5, 0.0);
        }
        0xFD7C => {
            // No lamp, no need, nothing inhibited, automatic start allowed; SPN 3700 tells of a burn.
            d = [0xF8, 0x80 | u8::from(s.burning) << 2, 0x00, 0x00, 0x00, 0x00, 0x01, 0xFF];
        }
        0xFD7B if style.controller_load => {
            d[0] = byte(slow.soot, 1.0, 0.0);
            d[1] = byte(slow.ash, 1.0, 0.0);
            d[2..6].copy_from_slice(&((slow.since_regeneration + s.t) as u32).to_le_bytes());
        }
        _ => return None,
    }
    Some(d)
}

/// Writes the trace as broadcasts.
pub fn write(trace: &[Shown], slow: &Slow, style: &Style, log: &mut Log, draw: &mut Draw) {
    let mut next: Vec<(f64, f64, u32)> = GROUPS
        .iter()
        .map(|(group, period)| {
            let period = period * style.thinning;
            (draw.uniform(0.0, period), period, *group)
        })
        .collect();
    let Some(end) = trace.last().map(|s| s.t) else { return };
    loop {
        let Some(k) = (0..next.len()).min_by(|a, b| next[*a].0.total_cmp(&next[*b].0)) else { return };
        let (t, period, group) = next[k];
        if t > end {
            return;
        }
        next[k].0 = t + period * draw.uniform(0.98, 1.02);
        let index = trace.partition_point(|s| s.t <= t).saturating_sub(1);
        if let Some(bytes) = data(group, &trace[index], slow, style) {
            let priority = if group == 0xF004 { 3 } else { 6 };
            log.frame(t, priority << 26 | group << 8, true, &bytes);
        }
    }
}
