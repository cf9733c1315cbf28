//! SAE J1939: identifiers, ranges, parameter groups, trouble codes.
//!
//! Positions and scales after an extract of the J1939 digital annex (October 2020) in the open project
//! j1939-84; ranges and the identifier layout from memory of SAE J1939-21 and -71, and seen in recordings.

use crate::field::Decoded;
use crate::quantity::Quantity::{self, *};

/// The parts of a 29-bit identifier.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Id {
    /// Priority, 0 highest.
    pub priority: u8,
    /// Parameter group number.
    pub pgn: u32,
    /// Destination address; 255 = all.
    pub destination: u8,
    /// Source address.
    pub source: u8,
}

impl Id {
    /// Takes an identifier apart.
    pub fn from_can(id: u32) -> Self {
        let (pf, ps) = ((id >> 16 & 0xFF) as u8, (id >> 8 & 0xFF) as u8);
        let page = id >> 8 & 0x3_0000;
        let (pgn, destination) = if pf < 240 {
            (page | u32::from(pf) << 8, ps)
        } else {
            (page | u32::from(pf) << 8 | u32::from(ps), 255)
        };
        Id { priority: (id >> 26 & 7) as u8, pgn, destination, source: id as u8 }
    }
}

/// What a raw number of 8, 16 or 32 bits says (SAE J1939-71 transmitted ranges, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Range {
    /// A value.
    Valid,
    /// Reserved or with a meaning of its own for this parameter.
    Specific,
    /// The sender says that it has an error.
    Error,
    /// The sender has no such value.
    NotAvailable,
}

/// Sorts a raw number of `bytes` bytes by its top byte.
pub fn range(raw: u32, bytes: u8) -> Range {
    match raw >> (8 * u32::from(bytes.clamp(1, 4) - 1)) {
        0..=0xFA => Range::Valid,
        0xFB..=0xFD => Range::Specific,
        0xFE => Range::Error,
        _ => Range::NotAvailable,
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Raw {
    U8,
    U16,
    U32,
    /// Two bits: 0 and 1 count, 2 is an error, 3 not available.
    State,
    /// Two bits of which 2 has a meaning too.
    State3,
    /// Three bits: 7 is not available.
    Three,
    /// Five bits that may straddle two bytes: 31 is not available.
    Five,
}

/// One parameter of a group: value = raw * scale + offset in `unit`; divided by `per` it is in the quantity's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spn {
    pub number: u32,
    quantity: Quantity,
    instance: u8,
    start: u8,
    shift: u8,
    raw: Raw,
    scale: f64,
    offset: f64,
    unit: &'static str,
    per: f64,
}

const fn spn(number: u32, quantity: Quantity, instance: u8, start: u8, raw: Raw, unit: &'static str) -> Spn {
    // Positions are written as in the standard, counted from 1.
    Spn {
        number,
        quantity,
        instance,
        start: start - 1,
        shift: 0,
        raw,
        scale: 1.0,
        offset: 0.0,
        unit,
        per: 1.0,
    }
}

impl Spn {
    const fn scaled(mut self, scale: f64, offset: f64) -> Spn {
        self.scale = scale;
        self.offset = offset;
        self
    }
    const fn per(mut self, per: f64) -> Spn {
        self.per = per;
        self
    }
    const fn bit(mut self, bit: u8) -> Spn {
        self.shift = bit - 1;
        self
    }

    /// First bit, number of bits and the largest raw number that is a value.
    pub(crate) fn place(&self) -> (u8, u32, u64) {
        let (bits, limit) = match self.raw {
            Raw::U8 => (8, 0xFA),
            Raw::U16 => (16, 0xFAFF),
            Raw::U32 => (32, 0xFAFF_FFFF),
            Raw::State => (2, 1),
            Raw::State3 => (2, 2),
            Raw::Three => (3, 6),
            Raw::Five => (5, 30),
        };
        (self.start.saturating_mul(8).saturating_add(self.shift), bits, limit)
    }

    /// Scale, offset and divisor into the quantity's unit.
    pub(crate) fn scaling(&self) -> (f64, f64, f64) {
        (self.scale, self.offset, self.per)
    }

    pub(crate) fn decode(&self, data: &[u8]) -> Decoded {
        let at = |n: usize| data.get(usize::from(self.start) + n).copied();
        let bits = |mask: u8| at(0).map(|b| b >> self.shift & mask);
        let valid = |raw: u32, bytes: u8| (range(raw, bytes) == Range::Valid).then_some(raw);
        let raw = match self.raw {
            Raw::U8 => at(0).and_then(|a| valid(u32::from(a), 1)),
            Raw::U16 => match (at(0), at(1)) {
                (Some(a), Some(b)) => valid(u32::from(u16::from_le_bytes([a, b])), 2),
                _ => None,
            },
            Raw::U32 => match (at(0), at(1), at(2), at(3)) {
                (Some(a), Some(b), Some(c), Some(d)) => valid(u32::from_le_bytes([a, b, c, d]), 4),
                _ => None,
            },
            Raw::State => bits(3).filter(|v| *v < 2).map(u32::from),
            Raw::State3 => bits(3).filter(|v| *v < 3).map(u32::from),
            Raw::Three => bits(7).filter(|v| *v < 7).map(u32::from),
            Raw::Five => match (at(0), at(1)) {
                (Some(a), Some(b)) => {
                    let raw = u32::from(u16::from_le_bytes([a, b]) >> self.shift) & 31;
                    (raw < 31).then_some(raw)
                }
                _ => None,
            },
        };
        let value = raw.map(|raw| f64::from(raw) * self.scale + self.offset);
        Decoded {
            quantity: self.quantity,
            instance: self.instance,
            value,
            unit: self.unit,
            converted: value.map(|v| v / self.per),
            resolution: self.scale / self.per,
        }
    }
}

const fn temperature(number: u32, q: Quantity, instance: u8, start: u8) -> Spn {
    spn(number, q, instance, start, Raw::U16, "degC").scaled(0.03125, -273.0)
}
const fn temperature_byte(number: u32, q: Quantity, instance: u8, start: u8) -> Spn {
    spn(number, q, instance, start, Raw::U8, "degC").scaled(1.0, -40.0)
}
const fn torque(number: u32, q: Quantity, start: u8) -> Spn {
    spn(number, q, 0, start, Raw::U8, "%").scaled(1.0, -125.0)
}
const fn kpa(number: u32, q: Quantity, instance: u8, start: u8) -> Spn {
    spn(number, q, instance, start, Raw::U16, "kPa").scaled(0.1, 0.0)
}
const fn mass_flow(number: u32, q: Quantity, instance: u8, start: u8, scale: f64) -> Spn {
    spn(number, q, instance, start, Raw::U16, "kg/h").scaled(scale, 0.0).per(3.6)
}
const fn state(number: u32, q: Quantity, start: u8, bit: u8) -> Spn {
    spn(number, q, 0, start, Raw::State, "").bit(bit)
}
const fn counter(number: u32, q: Quantity, start: u8, unit: &'static str) -> Spn {
    spn(number, q, 0, start, Raw::U32, unit)
}

macro_rules! rows {
    ($($spn:expr),+ $(,)?) => {{ const ROWS: &[Spn] = &[$($spn),+]; ROWS }};
}

/// The parameters read out of a group; empty for groups that are passed over.
pub(crate) fn parameters(pgn: u32) -> &'static [Spn] {
    match pgn {
        // EEC1
        61444 => rows![
            torque(512, TorqueDemanded, 2),
            torque(513, TorqueActual, 3),
            spn(190, EngineSpeed, 0, 4, Raw::U16, "rpm").scaled(0.125, 0.0),
        ],
        // EEC2
        61443 => rows![
            spn(91, Pedal, 1, 2, Raw::U8, "%").scaled(0.4, 0.0),
            spn(92, EngineLoad, 0, 3, Raw::U8, "%"),
            state(5399, ThermalManagementActive, 6, 5),
        ],
        // EGF1
        61450 => {
            rows![mass_flow(2659, EgrMassFlow, 0, 1, 0.05), mass_flow(132, IntakeAirMassFlow, 0, 3, 0.05)]
        }
        // AT1IG1, AT1OG1
        61454 => rows![spn(3216, Nox, 1, 1, Raw::U16, "ppm").scaled(0.05, -200.0)],
        61455 => rows![spn(3226, Nox, 2, 1, Raw::U16, "ppm").scaled(0.05, -200.0)],
        // EEC3
        65247 => rows![torque(514, TorqueFriction, 1), mass_flow(3236, ExhaustMassFlow, 1, 6, 0.2)],
        // LFE1
        65266 => rows![spn(183, FuelVolumeRate, 0, 1, Raw::U16, "L/h").scaled(0.05, 0.0)],
        // IC1
        65270 => rows![
            spn(81, FilterInletPressure, 0, 1, Raw::U8, "kPa").scaled(0.5, 0.0),
            spn(102, BoostPressure, 0, 2, Raw::U8, "kPa").scaled(2.0, 0.0),
            temperature_byte(105, ChargeAirTemperature, 0, 3),
            temperature(173, ExhaustTemperature, 0, 6),
        ],
        // ET1
        65262 => {
            rows![temperature_byte(110, CoolantTemperature, 0, 1), temperature(175, OilTemperature, 0, 3)]
        }
        // AMB
        65269 => rows![
            spn(108, BarometricPressure, 0, 1, Raw::U8, "kPa").scaled(0.5, 0.0),
            temperature(171, AmbientTemperature, 0, 4),
        ],
        // ET
        65031 => rows![
            temperature(2433, ExhaustManifoldTemperature, 2, 1),
            temperature(2434, ExhaustManifoldTemperature, 1, 3),
        ],
        // AT1IG2, AT1OG2, AT1IMG
        64948 => rows![
            temperature(3241, ExhaustTemperature, 1, 1),
            temperature(3242, FilterInletTemperature, 1, 3),
        ],
        64947 => rows![
            temperature(3245, ExhaustTemperature, 3, 1),
            temperature(3246, FilterOutletTemperature, 1, 3),
        ],
        64946 => rows![
            temperature(3249, ExhaustTemperature, 2, 1),
            temperature(3250, FilterMiddleTemperature, 1, 3),
            kpa(3251, FilterDifferentialPressure, 1, 5),
            spn(3253, FilterPressureFailureMode, 1, 7, Raw::Five, "").bit(6),
        ],
        // AT2IG2, AT2OG2, AT2IMG: numbers run on from 3275 in the order of the first bank
        64945 => rows![
            temperature(3275, ExhaustTemperature, 11, 1),
            temperature(3276, FilterInletTemperature, 2, 3),
        ],
        64944 => rows![
            temperature(3279, ExhaustTemperature, 13, 1),
            temperature(3280, FilterOutletTemperature, 2, 3),
        ],
        64943 => rows![
            temperature(3283, ExhaustTemperature, 12, 1),
            temperature(3284, FilterMiddleTemperature, 2, 3),
            kpa(3285, FilterDifferentialPressure, 2, 5),
        ],
        // AT1GP
        64908 => rows![kpa(3609, FilterInletPressure, 1, 1), kpa(3610, FilterOutletPressure, 1, 3)],
        // AT1S1, AT1S2
        64891 => rows![
            spn(3719, ControllerSootLoad, 0, 1, Raw::U8, "%"),
            spn(3720, ControllerAshLoad, 0, 2, Raw::U8, "%"),
            counter(3721, TimeSinceRegeneration, 3, "s"),
            spn(5466, SootThreshold, 0, 7, Raw::U16, "%").scaled(0.0025, 0.0),
        ],
        64697 => rows![counter(5978, TimeToRegeneration, 1, "s")],
        // DPFC1
        64892 => rows![
            spn(3697, FilterLamp, 0, 1, Raw::Three, ""),
            state(3699, PassiveRegenerationActive, 2, 1),
            state(3700, RegenerationActive, 2, 3),
            spn(3700, RegenerationState, 0, 2, Raw::State3, "").bit(3),
            spn(3701, RegenerationNeed, 0, 2, Raw::Three, "").bit(5),
            state(3702, RegenerationInhibited, 3, 1),
            state(3703, RegenerationInhibitSwitch, 3, 3),
            state(3718, RegenerationAutomatic, 7, 1),
            spn(3698, HotExhaustLamp, 0, 7, Raw::Three, "").bit(3),
            spn(4175, RegenerationForced, 0, 7, Raw::Three, "").bit(6),
        ],
        // AT1HI1 (40 bytes, comes by transport)
        64920 => rows![
            counter(3523, RegenerationTimeTotal, 5, "s"),
            counter(3525, ActiveRegenerationCount, 13, "1"),
            counter(3726, PassiveRegenerationCount, 21, "1"),
            counter(5454, MeanTimeBetweenRegenerations, 33, "s").per(60.0),
            counter(5827, MeanDistanceBetweenRegenerations, 37, "km").scaled(0.125, 0.0),
        ],
        // AT1FC1
        64929 => rows![
            spn(3481, ExhaustFuelRate, 0, 3, Raw::U16, "L/h").scaled(0.05, 0.0),
            spn(3483, ExhaustFuelRegenerationState, 0, 7, Raw::State3, "").bit(5),
        ],
        // AT1T1I1
        65110 => rows![
            spn(1761, ReagentLevel, 0, 1, Raw::U8, "%").scaled(0.4, 0.0),
            temperature_byte(3031, ReagentTemperature, 1, 2),
        ],
        // A1DEFI1
        64923 => rows![
            temperature_byte(3515, ReagentTemperature, 2, 1),
            spn(3516, ReagentConcentration, 0, 2, Raw::U8, "%").scaled(0.25, 0.0),
        ],
        // HOURS
        65253 => rows![counter(247, EngineRunTime, 1, "s").scaled(180.0, 0.0)],
        // VDHR, VD
        65217 => rows![counter(917, Odometer, 1, "m").scaled(5.0, 0.0).per(1000.0)],
        65248 => rows![counter(245, Odometer, 5, "km").scaled(0.125, 0.0)],
        _ => &[],
    }
}

/// DPFC1, the group that says what the filter's control does and what keeps it from regenerating.
pub(crate) const FILTER_CONTROL: u32 = 64892;

/// True if nothing but its signals is of interest in a group.
pub(crate) fn only_signals(pgn: u32) -> bool {
    !matches!(pgn, 65226 | 65227 | 65260 | FILTER_CONTROL) && changing_group(pgn).is_none()
}

/// Decodes the parameters of a group that are known here: suspect parameter number and value. Values outside
/// the valid range (not available, error) come as absent.
pub fn decode(pgn: u32, data: &[u8]) -> impl Iterator<Item = (u32, Decoded)> {
    parameters(pgn).iter().map(move |p| (p.number, p.decode(data)))
}

/// Reasons why a regeneration is inhibited, SPN 3704 to 3717 in their order.
pub(crate) const INHIBIT_REASONS: [&str; 14] = [
    "clutch disengaged",
    "service brake",
    "power take-off",
    "accelerator pedal",
    "out of neutral",
    "vehicle speed too high",
    "parking brake not set",
    "exhaust too cold",
    "system fault",
    "system timeout",
    "temporary lock",
    "permanent lock",
    "engine not warm",
    "vehicle speed too low",
];

/// The inhibit reasons that are set in a DPFC1 message.
pub fn inhibit_reasons(data: &[u8]) -> impl Iterator<Item = &'static str> {
    let bits = inhibit_bits(data);
    INHIBIT_REASONS.into_iter().enumerate().filter(move |(n, _)| bits >> n & 1 == 1).map(|(_, reason)| reason)
}

/// One bit for each reason, the first one lowest.
pub(crate) fn inhibit_bits(data: &[u8]) -> u16 {
    // From byte 3 bit 5 on, two bits each; 01 = yes.
    let word = data.iter().take(8).rev().fold(0u64, |word, b| word << 8 | u64::from(*b));
    let pairs = word >> 20 & 0x0FFF_FFFF;
    let yes = pairs & !(pairs >> 1) & 0x0555_5555;
    // Every second bit, closed up.
    let bits = (yes | yes >> 1) & 0x3333_3333;
    let bits = (bits | bits >> 2) & 0x0F0F_0F0F;
    let bits = (bits | bits >> 4) & 0x00FF_00FF;
    (bits | bits >> 8) as u16
}

/// State of the four lamps: 0 off, 1 on, 2 error, 3 not available.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lamps {
    /// Malfunction indicator lamp.
    pub malfunction: u8,
    /// Red stop lamp.
    pub red_stop: u8,
    /// Amber warning lamp.
    pub amber_warning: u8,
    /// Protect lamp.
    pub protect: u8,
}

/// A J1939 trouble code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SpnCode {
    /// Suspect parameter number.
    pub spn: u32,
    /// Failure mode.
    pub fmi: u8,
    /// How often it occurred; `None` = not available.
    pub occurrences: Option<u8>,
    /// The number is coded in one of the older ways: it may be wrong.
    pub old_coding: bool,
}

/// Reads DM1 or DM2: lamps and codes. `None` if the message is too short. Zero and padding are no codes.
pub fn trouble_codes(data: &[u8]) -> Option<(Lamps, impl Iterator<Item = SpnCode>)> {
    let [lamps, _flashing, rest @ ..] = data else { return None };
    let lamps = Lamps {
        malfunction: lamps >> 6 & 3,
        red_stop: lamps >> 4 & 3,
        amber_warning: lamps >> 2 & 3,
        protect: lamps & 3,
    };
    let codes = rest.chunks_exact(4).filter_map(|c| {
        let [a, b, c, d] = *c else { return None };
        let code = SpnCode {
            spn: u32::from(a) | u32::from(b) << 8 | u32::from(c >> 5) << 16,
            fmi: c & 31,
            occurrences: (d & 127 != 127).then_some(d & 127),
            old_coding: d >> 7 == 1,
        };
        let none = code.spn == 0 && code.fmi == 0 || [a, b, c, d] == [0xFF; 4];
        (!none).then_some(code)
    });
    Some((lamps, codes))
}

/// Requests that change a vehicle on J1939, by group; `None` for those that do not (from memory of the
/// standard). Seen in a recording they are noted.
pub(crate) fn changing_group(pgn: u32) -> Option<&'static str> {
    Some(match pgn {
        0 => "torque or speed control request (TSC1)",
        55552 | 55296 | 55040 => "memory access (DM14 to DM16)",
        65240 => "commanded address",
        _ => return None,
    })
}

/// Groups whose request clears a fault memory.
pub(crate) fn clearing_group(pgn: u32) -> Option<&'static str> {
    Some(match pgn {
        65228 => "asks to clear previously active trouble codes (DM3)",
        65235 => "asks to clear active trouble codes (DM11)",
        _ => return None,
    })
}

/// Longest pause between two packets (from memory of SAE J1939-21): 750 ms broadcast, 1250 ms to one address.
const LONGEST_GAP_NS: i64 = 1_250_000_000;

/// Why a transport session was dropped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum TransportError {
    /// A packet out of order.
    WrongNumber {
        /// The number due.
        due: u8,
        /// The number seen.
        seen: u8,
    },
    /// A new session began before the old one was complete.
    Interrupted,
    /// Too long without a packet.
    TimedOut,
    /// Size and number of packets in the announcement do not fit each other.
    BadAnnouncement,
    /// One side broke the session off.
    Aborted,
}

impl std::fmt::Display for TransportError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            TransportError::WrongNumber { due, seen } => write!(f, "packet {seen} where {due} was due"),
            TransportError::Interrupted => write!(f, "new session before the old one was complete"),
            TransportError::TimedOut => write!(f, "session broken off: too long without a packet"),
            TransportError::BadAnnouncement => write!(f, "size and number of packets do not fit each other"),
            TransportError::Aborted => write!(f, "session aborted by one side"),
        }
    }
}

impl std::error::Error for TransportError {}

/// What one transport frame led to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Outcome<'a> {
    /// A complete message: group and data.
    pub message: Option<(u32, &'a [u8])>,
    /// What went wrong.
    pub error: Option<TransportError>,
}

/// Puts the packets of one transport session together: broadcast (BAM) or to one address (RTS, CTS). Keep one
/// for each pair of source and destination.
#[derive(Debug, Clone, Default)]
pub struct Session {
    buffer: Vec<u8>,
    pgn: u32,
    size: usize,
    packets: u8,
    next: u8,
    running: bool,
    last_ns: i64,
}

impl Session {
    /// Takes a connection-management frame (TP.CM, group 60416) of the data's sender.
    pub fn control(&mut self, time_ns: i64, data: &[u8]) -> Option<TransportError> {
        let [kind, low, high, packets, _, a, b, c] = *data else { return None };
        match kind {
            16 | 32 => {
                let error = self.running.then_some(TransportError::Interrupted);
                let size = usize::from(u16::from_le_bytes([low, high]));
                self.running = false;
                self.buffer.clear();
                if !(9..=1785).contains(&size) || usize::from(packets) != size.div_ceil(7) {
                    return Some(TransportError::BadAnnouncement);
                }
                self.pgn = u32::from_le_bytes([a, b, c, 0]);
                (self.size, self.packets, self.next) = (size, packets, 1);
                self.running = true;
                self.last_ns = time_ns;
                error
            }
            255 => std::mem::take(&mut self.running).then_some(TransportError::Aborted),
            _ => None,
        }
    }

    /// The receiver asks for packets from `next` on: a repetition starts there.
    pub fn clear_to_send(&mut self, time_ns: i64, data: &[u8]) {
        let [17, _, next, ..] = *data else { return };
        self.last_ns = time_ns;
        if self.running && next >= 1 && next < self.next {
            self.next = next;
            self.buffer.truncate(usize::from(next - 1) * 7);
        }
    }

    /// Takes a data frame (TP.DT, group 60160).
    pub fn data(&mut self, time_ns: i64, data: &[u8]) -> Outcome<'_> {
        let Some((number, payload)) = data.split_first() else { return Outcome::default() };
        if !self.running {
            // Recording began in the middle of a session: nothing to report.
            return Outcome::default();
        }
        let fail = |error| Outcome { message: None, error: Some(error) };
        if time_ns.saturating_sub(self.last_ns) > LONGEST_GAP_NS {
            self.running = false;
            return fail(TransportError::TimedOut);
        }
        if *number != self.next {
            self.running = false;
            return fail(TransportError::WrongNumber { due: self.next, seen: *number });
        }
        self.last_ns = time_ns;
        self.next = self.next.wrapping_add(1);
        let missing = self.size.saturating_sub(self.buffer.len());
        self.buffer.extend_from_slice(payload.get(..missing.min(7)).unwrap_or(payload));
        if self.buffer.len() < self.size {
            if *number == self.packets {
                // The last packet was too short for what was announced.
                self.running = false;
                return fail(TransportError::BadAnnouncement);
            }
            return Outcome::default();
        }
        self.running = false;
        Outcome { message: Some((self.pgn, &self.buffer)), error: None }
    }

    /// Bytes received and announced of a session that is still running.
    pub fn unfinished(&self) -> Option<(usize, usize)> {
        self.running.then_some((self.buffer.len(), self.size))
    }
}
