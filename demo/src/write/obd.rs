//! Cyclic OBD requests and responses on ISO-TP (SAE J1979 on ISO 15765-4).

use super::candump::Log;
use crate::draw::Draw;
use crate::sensors::Shown;

/// What this car supports and how it is asked.
#[derive(Debug, Clone)]
pub struct Style {
    /// 29-bit ids.
    pub extended: bool,
    /// Air mass by PID 66 (two sensors with support byte) instead of 10.
    pub flow_66: bool,
    /// Fuel by PID 9D (g/s) instead of 5E (L/h).
    pub fuel_9d: bool,
    /// Temperature before and after the filter by PID 7C.
    pub filter_temperatures: bool,
    /// Temperature after the filter is supported.
    pub after: bool,
    /// Gas temperatures by PID 78.
    pub gas_temperatures: bool,
    /// Recirculation by PID 69.
    pub recirculation: bool,
    /// Barometer by PID 33.
    pub barometer: bool,
    /// Regeneration status by PID 8B.
    pub status: bool,
    /// Requests are in the log too.
    pub requests: bool,
    /// Mean time from one request to the next, s.
    pub pace: f64,
    /// Several PIDs in one request.
    pub grouped: bool,
}

impl Style {
    /// Draws a style.
    pub fn draw(draw: &mut Draw) -> Self {
        let filter_temperatures = draw.chance(0.85);
        Self {
            extended: draw.chance(0.2),
            flow_66: draw.chance(0.35),
            fuel_9d: draw.chance(0.4),
            filter_temperatures,
            after: draw.chance(0.75),
            gas_temperatures: !filter_temperatures || draw.chance(0.35),
            recirculation: draw.chance(0.75),
            barometer: draw.chance(0.92),
            status: draw.chance(0.5),
            requests: draw.chance(0.8),
            pace: draw.uniform(0.07, 0.13),
            grouped: draw.chance(0.4),
        }
    }
}

/// Slow facts that go along with the signals.
#[derive(Debug, Clone, Copy)]
pub struct Slow {
    /// Odometer, km.
    pub odometer: f64,
    /// Fuel level, %.
    pub fuel_level: f64,
    /// Distance since codes were cleared, km.
    pub since_cleared: f64,
    /// Controller's regeneration trigger, %.
    pub trigger: f64,
    /// Controller's mean distance between regenerations, km.
    pub mean_distance: f64,
    /// Controller's mean time between regenerations, min.
    pub mean_time: f64,
    /// Fuel density, kg/m3.
    pub fuel_density: f64,
}

fn byte(value: f64) -> u8 {
    value.round().clamp(0.0, 255.0) as u8
}

fn word(value: f64) -> [u8; 2] {
    (value.round().clamp(0.0, 65_535.0) as u16).to_be_bytes()
}

/// The data bytes of a PID, `None` where this car does not support it or it drops out.
#[must_use]
pub fn data(pid: u8, s: &Shown, slow: &Slow, style: &Style) -> Option<Vec<u8>> {
    let kelvin = |t: f64| word((t + 40.0) * 10.0);
    Some(match pid {
        0x04 => vec![byte(s.load * 2.55)],
        0x05 => vec![byte(s.coolant + 40.0)],
        0x0B => vec![byte(s.manifold)],
        0x0C => word(s.rpm * 4.0).to_vec(),
        0x0D => vec![byte(s.speed)],
        0x0F => vec![byte(s.intake + 40.0)],
        0x10 if !style.flow_66 => word(s.flow * 100.0).to_vec(),
        0x66 if style.flow_66 => {
            let [a, b] = word(s.flow * 32.0);
            vec![0x01, a, b, 0, 0]
        }
        0x2F => vec![byte(slow.fuel_level * 2.55)],
        0x31 => word(slow.since_cleared).to_vec(),
        0x33 if style.barometer => vec![byte(s.barometer)],
        0x42 => word(s.supply * 1000.0).to_vec(),
        0x46 => vec![byte(s.ambient + 40.0)],
        0x5E if !style.fuel_9d => word(s.fuel * 3600.0 / slow.fuel_density / 0.05).to_vec(),
        0x9D if style.fuel_9d => {
            let [a, b] = word(s.fuel * 50.0);
            vec![a, b, a, b]
        }
        0x69 if style.recirculation => {
            let error = if s.egr_command > 1.0 {
                (s.egr_actual - s.egr_command) / s.egr_command * 100.0
            } else {
                0.0
            };
            vec![
                0x07,
                byte(s.egr_command * 2.55),
                byte(s.egr_actual * 2.55),
                byte(128.0 + error.clamp(-100.0, 99.0) * 1.28),
                0,
                0,
                0,
            ]
        }
        0x78 if style.gas_temperatures => {
            let (a, b, c) = (kelvin(s.engine_out), kelvin(s.before), kelvin(s.after));
            // Without PID 7C sensor 2 stands before the filter and sensor 3 after it.
            let third = style.after && !style.filter_temperatures;
            let c = if third { c } else { [0, 0] };
            vec![if third { 7 } else { 3 }, a[0], a[1], b[0], b[1], c[0], c[1], 0, 0]
        }
        0x7A => {
            let [a, b] = ((s.drop? * 100.0).round().clamp(-32_768.0, 32_767.0) as i16).to_be_bytes();
            vec![0x01, a, b, 0, 0, 0, 0]
        }
        0x7C if style.filter_temperatures => {
            let (a, b) = (kelvin(s.before), if style.after { kelvin(s.after) } else { [0, 0] });
            vec![if style.after { 3 } else { 1 }, a[0], a[1], b[0], b[1], 0, 0, 0, 0]
        }
        0x8B if style.status => {
            let (time, distance) = (word(slow.mean_time), word(slow.mean_distance));
            let state = if s.burning { 0x03 } else { 0x00 };
            vec![0x73, state, byte(slow.trigger * 2.55), time[0], time[1], distance[0], distance[1]]
        }
        0xA6 => ((slow.odometer * 10.0) as u32).to_be_bytes().to_vec(),
        _ => return None,
    })
}

/// PIDs and how many requests of 100 ask for each.
const FAST: [&[u8]; 6] = [&[0x7A], &[0x0C, 0x0D], &[0x10, 0x66], &[0x7A], &[0x0B, 0x04], &[0x5E, 0x9D]];
const MIDDLE: [u8; 4] = [0x7C, 0x78, 0x69, 0x0F];
const RARE: [u8; 8] = [0x05, 0x33, 0x46, 0x8B, 0x2F, 0x42, 0x31, 0xA6];

/// Writes the whole trace as cyclic requests and responses.
pub fn write(trace: &[Shown], slow: &Slow, style: &Style, log: &mut Log, draw: &mut Draw) {
    let Some(end) = trace.last().map(|s| s.t) else { return };
    let supported: Vec<u8> = [
        0x04, 0x05, 0x0B, 0x0C, 0x0D, 0x0F, 0x10, 0x2F, 0x31, 0x33, 0x42, 0x46, 0x5E, 0x66, 0x69, 0x78, 0x7A,
        0x7C, 0x8B, 0x9D, 0xA6,
    ]
    .into_iter()
    .filter(|pid| *pid == 0x7A || data(*pid, &trace[0], slow, style).is_some())
    .collect();
    let mut t = 0.02;
    // What is supported is asked first.
    for base in (0..=0xA0).step_by(0x20) {
        let mut mask = 0_u32;
        for pid in &supported {
            let place = i32::from(*pid) - base - 1;
            if (0..32).contains(&place) {
                mask |= 1 << (31 - place);
            }
        }
        if base < 0xA0 && supported.iter().any(|p| i32::from(*p) > base + 0x20) {
            mask |= 1;
        }
        t += exchange(log, style, t, &[base as u8], &[(base as u8, mask.to_be_bytes().to_vec())]);
        t += 0.04;
    }
    let (mut fast, mut middle, mut rare, mut turn) = (0, 0, 0, 0_u32);
    while t < end {
        let index = trace.partition_point(|s| s.t <= t).saturating_sub(1);
        let now = &trace[index];
        // One round: six fast ones, one middle one; a rare one every second round.
        let mut pids: Vec<u8> = match turn % 15 {
            6 | 13 => {
                middle += 1;
                vec![MIDDLE[middle % MIDDLE.len()]]
            }
            14 => {
                rare += 1;
                vec![RARE[rare % RARE.len()]]
            }
            _ => {
                fast += 1;
                FAST[fast % FAST.len()].to_vec()
            }
        };
        turn += 1;
        pids.retain(|p| supported.contains(p));
        if pids.is_empty() {
            continue;
        }
        let batches: Vec<Vec<u8>> =
            if style.grouped { vec![pids] } else { pids.iter().map(|p| vec![*p]).collect() };
        for batch in batches {
            let answers: Vec<(u8, Vec<u8>)> =
                batch.iter().filter_map(|p| Some((*p, data(*p, now, slow, style)?))).collect();
            let took = exchange(log, style, t, &batch, &answers);
            t += took.max(style.pace * draw.uniform(0.7, 1.3));
        }
    }
}

/// One request and its answer; returns the seconds it took.
fn exchange(log: &mut Log, style: &Style, t: f64, pids: &[u8], answers: &[(u8, Vec<u8>)]) -> f64 {
    let (request, response, physical) =
        if style.extended { (0x18DB_33F1, 0x18DA_F110, 0x18DA_10F1) } else { (0x7DF, 0x7E8, 0x7E0) };
    let padded = |bytes: &[u8]| {
        let mut frame = [0x55_u8; 8];
        frame[..bytes.len()].copy_from_slice(bytes);
        frame
    };
    if style.requests {
        let mut ask = vec![pids.len() as u8 + 1, 0x01];
        ask.extend_from_slice(pids);
        log.frame(t, request, style.extended, &padded(&ask));
    }
    if answers.is_empty() {
        return 0.05;
    }
    let mut payload = vec![0x41];
    for (pid, data) in answers {
        payload.push(*pid);
        payload.extend_from_slice(data);
    }
    let mut at = t + 0.008;
    if payload.len() <= 7 {
        let mut frame = vec![payload.len() as u8];
        frame.extend_from_slice(&payload);
        log.frame(at, response, style.extended, &padded(&frame));
        return 0.012;
    }
    let mut first = vec![0x10 | (payload.len() >> 8) as u8, payload.len() as u8];
    first.extend_from_slice(&payload[..6]);
    log.frame(at, response, style.extended, &padded(&first));
    if style.requests {
        at += 0.001;
        log.frame(at, physical, style.extended, &padded(&[0x30, 0x00, 0x00]));
    }
    for (n, chunk) in payload[6..].chunks(7).enumerate() {
        at += 0.002;
        let mut frame = vec![0x20 | ((n as u8 + 1) & 0x0F)];
        frame.extend_from_slice(chunk);
        log.frame(at, response, style.extended, &padded(&frame));
    }
    at - t + 0.004
}
