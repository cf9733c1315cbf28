//! What messages say, gathered.

use super::columns::{Columns, NamedColumns, sort_by_time};
use super::{Role, dbc_key};
use crate::dbc::Dbc;
use crate::field::Decoded;
use crate::model::{
    CodeMemory, CutEnd, NamedSignal, Note, NoteKind, Problems, Recording, Service, Signal, TroubleCode,
};
use crate::quantity::Quantity;
use crate::{checks, codes, j1939, obd, uds, vin};
use rustc_hash::{FxHashMap, FxHashSet};
use std::fmt::Write as _;

/// At most this many notes of one kind and source are written out; the rest is only counted.
const NOTES_PER_SENDER: u32 = 50;

/// Where and when a message was seen.
#[derive(Clone, Copy)]
pub(super) struct At {
    pub time_s: f64,
    pub line: u64,
    pub bus: u16,
    pub id: u32,
    pub extended: bool,
}

impl At {
    pub fn sender(&self, buses: &[Vec<u8>]) -> String {
        let id = if self.extended { format!("{:08X}", self.id) } else { format!("{:03X}", self.id) };
        prefixed(buses, self.bus, id)
    }

    fn module(&self) -> (u16, u32) {
        (self.bus, self.id)
    }
}

/// Adds the interface name when it is not the first one of the recording.
pub(super) fn prefixed(buses: &[Vec<u8>], bus: u16, text: String) -> String {
    match buses.get(usize::from(bus)) {
        Some(name) if bus > 0 => format!("{} {text}", String::from_utf8_lossy(name)),
        _ => text,
    }
}

const GROUP_KEY: u64 = 1 << 63;

fn parameter_key(at: At, pid: u8, field: usize) -> u64 {
    u64::from(at.bus & 0x7F) << 56 | u64::from(at.id) << 16 | u64::from(pid) << 8 | field as u64
}

pub(super) fn group_key(bus: u16, source: u8, pgn: u32, field: usize) -> u64 {
    GROUP_KEY | u64::from(bus & 0x7F) << 56 | u64::from(source) << 32 | u64::from(pgn) << 8 | field as u64
}

/// A note that may come many times; written once, with a count.
struct Repeated {
    note: Note,
    count: u64,
    last_s: f64,
}

/// How often a service was spoken, and how long its answers took.
#[derive(Clone, Copy, Default)]
struct Spoken {
    messages: u64,
    answers: u64,
    waited_s: f64,
}

#[derive(Clone, Copy)]
struct Asked {
    time_s: f64,
    id: u32,
    service: u8,
}

/// Everything gathered, apart from the transport states that messages are borrowed from.
pub(super) struct Sink {
    pub recording: Recording,
    pub problems: Problems,
    pub columns: Columns,
    pub buses: Vec<Vec<u8>>,
    code_index: FxHashMap<(u16, u32, CodeMemory, u64), usize>,
    repeated: Vec<Repeated>,
    repeated_index: FxHashMap<(NoteKind, u16, u32, u64), usize>,
    changing: FxHashMap<(u16, u32, u8), u32>,
    readiness: FxHashMap<(u16, u32), ([u8; 4], u32)>,
    /// Support masks of a module: parameters 00, 20 .. C0.
    masks: FxHashMap<(u16, u32), [Option<u32>; 8]>,
    odd_lengths: FxHashSet<(u16, u32, u8, usize)>,
    memory_reads: FxHashMap<(u16, u32, u8), (u64, usize, usize)>,
    inhibited: FxHashMap<(u16, u8), u16>,
    asked: Option<Asked>,
    services: FxHashMap<(u16, u32, bool, u8), Spoken>,
    /// Service and time of the last request on each bus.
    last_request: FxHashMap<u16, (u8, f64)>,
    pub dbc: Dbc,
    pub named: NamedColumns,
    /// Signals that a container names itself.
    pub adopted: (Vec<Signal>, Vec<NamedSignal>),
}

impl Sink {
    pub fn new(recording: Recording, problems: Problems, dbc: Dbc) -> Self {
        Sink {
            recording,
            problems,
            columns: Columns::default(),
            buses: Vec::new(),
            code_index: FxHashMap::default(),
            repeated: Vec::new(),
            repeated_index: FxHashMap::default(),
            changing: FxHashMap::default(),
            readiness: FxHashMap::default(),
            masks: FxHashMap::default(),
            odd_lengths: FxHashSet::default(),
            memory_reads: FxHashMap::default(),
            inhibited: FxHashMap::default(),
            asked: None,
            services: FxHashMap::default(),
            last_request: FxHashMap::default(),
            dbc,
            named: NamedColumns::default(),
            adopted: Default::default(),
        }
    }

    pub fn transport_error(&mut self, at: At, error: &dyn std::fmt::Display) {
        self.recording.counts.transport_errors += 1;
        let buses = &self.buses;
        self.problems.add(
            Some(at.line),
            None,
            || format!("{}: {error}", at.sender(buses)),
            "that message was left out; the rest was read",
        );
    }

    /// Writes a note the first time; later only counts it.
    fn repeat(&mut self, at: At, kind: NoteKind, code: u64, text: impl FnOnce() -> String) {
        // The sender is part of the key; a damaged log must not fill the memory with notes.
        let key = (kind, at.bus, at.id, code);
        let known = self.repeated_index.get(&key).copied();
        if let Some(old) = known.and_then(|n| self.repeated.get_mut(n)) {
            old.count += 1;
            old.last_s = at.time_s;
        } else if self.repeated.len() < 10_000 {
            self.repeated_index.insert(key, self.repeated.len());
            let source = at.sender(&self.buses);
            let note = Note { time_s: Some(at.time_s), source, kind, text: text() };
            self.repeated.push(Repeated { note, count: 1, last_s: at.time_s });
        }
    }

    pub fn changing(&mut self, at: At, service: u8, what: impl FnOnce() -> String) {
        let seen = self.changing.entry((at.bus, at.id, service)).or_default();
        *seen += 1;
        if *seen <= NOTES_PER_SENDER {
            let text = format!("{}; values before and after may not be comparable", what());
            let source = at.sender(&self.buses);
            let note = Note { time_s: Some(at.time_s), source, kind: NoteKind::ChangingRequest, text };
            self.recording.notes.push(note);
        }
    }

    /// A complete diagnostic message.
    pub fn message(&mut self, at: At, role: Role, known: bool, message: &[u8]) {
        let Some((service, rest)) = message.split_first() else { return };
        let response = *service & 0x40 != 0;
        if known {
            let spoken = self.services.entry((at.bus, at.id, at.extended, *service)).or_default();
            spoken.messages += 1;
            match (response, self.last_request.get(&at.bus)) {
                (false, _) => {
                    self.last_request.insert(at.bus, (*service, at.time_s));
                }
                // P2* of ISO 15765-4 is five seconds: what comes later answers something else.
                (true, Some((asked, time))) if asked | 0x40 == *service && at.time_s - time <= 5.0 => {
                    spoken.answers += 1;
                    spoken.waited_s += at.time_s - time;
                }
                _ => {}
            }
        }
        match role {
            Role::Request if !response => self.request(at, *service, rest),
            Role::Response if response => self.response(at, *service, rest),
            Role::General { .. } | Role::Addressed if !response => {
                if known && at.extended {
                    self.request(at, *service, rest);
                } else if (0x10..=0x3E).contains(service) || matches!(service, 0x83..=0x87) {
                    // Perhaps a request; believed when the answer comes.
                    self.asked = Some(Asked { time_s: at.time_s, id: at.id, service: *service });
                }
            }
            Role::General { .. } | Role::Addressed => {
                let about = if *service == 0x7F { rest.first().copied() } else { Some(service & !0x40) };
                let answered = self.asked.filter(|a| {
                    Some(a.service) == about && a.id != at.id && at.time_s - a.time_s <= 6.0 && !at.extended
                });
                if let Some(asked) = answered {
                    self.asked = None;
                    let by = At { time_s: asked.time_s, id: asked.id, ..at };
                    self.request(by, asked.service, &[]);
                }
                if known || answered.is_some() {
                    self.response(at, *service, rest);
                }
            }
            _ => {}
        }
    }

    fn request(&mut self, at: At, service: u8, rest: &[u8]) {
        if let Some(what) = uds::changing_service(service) {
            self.changing(at, service, || {
                let mut text = format!("request {service:02X}");
                for byte in rest.iter().take(8) {
                    let _ = write!(text, " {byte:02X}");
                }
                let _ = write!(text, " {what}");
                text
            });
        }
    }

    fn response(&mut self, at: At, service: u8, rest: &[u8]) {
        match service {
            0x41 => self.live_data(at, rest),
            0x42 => self.freeze_frame(at, rest),
            0x43 => self.obd_codes(at, rest, CodeMemory::Stored, 0x03),
            0x47 => self.obd_codes(at, rest, CodeMemory::Pending, 0x07),
            0x4A => self.obd_codes(at, rest, CodeMemory::Permanent, 0x0A),
            0x46 => self.monitors(at, rest),
            0x49 => self.vehicle_information(at, rest),
            0x59 => self.uds_codes(at, rest),
            0x62 => self.identifiers(at, rest),
            0x7F => self.negative(at, rest),
            0x44 | 0x54 => {
                self.changing(at, service, || "confirms that trouble codes were cleared".to_owned());
            }
            _ => {}
        }
    }

    fn live_data(&mut self, at: At, answer: &[u8]) {
        // The usual case first: one parameter whose length is known.
        if let [pid, data @ ..] = answer
            && obd::lengths(*pid).iter().any(|n| usize::from(*n) == data.len())
        {
            return self.parameter(at, *pid, data, "01");
        }
        if let Some(found) = obd::split(answer, 0) {
            for (pid, data) in found.as_slice() {
                self.parameter(at, *pid, data, "01");
            }
            return;
        }
        let Some((pid, data)) = answer.split_first() else { return };
        self.odd_answer(at, *pid, data.len());
    }

    fn odd_answer(&mut self, at: At, pid: u8, length: usize) {
        if !self.odd_lengths.insert((at.bus, at.id, pid, length)) {
            return;
        }
        let buses = &self.buses;
        match obd::lengths(pid) {
            [] => self.repeat(at, NoteKind::RawData, 0x1_0000 | u64::from(pid), || {
                format!("parameter {pid:02X} is not known here ({length} bytes)")
            }),
            [due, ..] => self.problems.add(
                Some(at.line),
                None,
                || {
                    format!(
                        "{}: parameter {pid:02X} came with {length} bytes where {due} are due, or an answer with \
                         several parameters does not come out even",
                        at.sender(buses)
                    )
                },
                "its values were left out: the layout is not certain; keep the recording and report it",
            ),
        }
    }

    fn parameter(&mut self, at: At, pid: u8, data: &[u8], service: &str) {
        if obd::fields(pid, data.len()).is_empty() && obd::is_passed_over(pid) {
            self.repeat(at, NoteKind::RawData, 0x1_0000 | u64::from(pid), || {
                format!("parameter {pid:02X} is shown as bytes: {}", hex(data))
            });
        }
        for (n, field) in obd::fields(pid, data.len()).iter().enumerate() {
            let buses = &self.buses;
            let stored = self.columns.push(parameter_key(at, pid, n), at.time_s, field.decode(data), || {
                format!("{} {service} {pid:02X}", at.sender(buses))
            });
            self.recording.counts.absent_values += u64::from(!stored);
        }
        match (pid, data) {
            (0x00 | 0x20 | 0x40 | 0x60 | 0x80 | 0xA0 | 0xC0, [a, b, c, d]) => {
                let masks = self.masks.entry(at.module()).or_default();
                if let Some(mask) = masks.get_mut(usize::from(pid / 0x20)) {
                    *mask = Some(mask.unwrap_or(0) | u32::from_be_bytes([*a, *b, *c, *d]));
                }
            }
            (0x01, [a, b, c, d]) => self.readiness(at, [*a, *b, *c, *d]),
            (0x1C, [value]) => self.repeat(at, NoteKind::Identification, 0x1C00 | u64::from(*value), || {
                match obd::standard_name(*value) {
                    Some(name) => format!("OBD standard: {name}"),
                    None => format!("OBD standard number {value}"),
                }
            }),
            (0x51, [value]) => {
                self.repeat(
                    at,
                    NoteKind::Identification,
                    0x5100 | u64::from(*value),
                    || match obd::fuel_name(*value) {
                        Some(name) => format!("fuel: {name}"),
                        None => format!("fuel number {value}"),
                    },
                )
            }
            _ => {}
        }
    }

    fn readiness(&mut self, at: At, data: [u8; 4]) {
        let (last, changes) = self.readiness.entry(at.module()).or_insert(([0xFF; 4], 0));
        if *last == data || *changes >= NOTES_PER_SENDER {
            return;
        }
        *last = data;
        *changes += 1;
        let status = obd::MonitorStatus::read(data);
        let incomplete: Vec<&str> = status.incomplete().collect();
        let text = format!(
            "lamp {}, {} stored codes, {} ignition, self-tests not complete: {}",
            if status.lamp { "on" } else { "off" },
            status.codes,
            if status.compression_ignition { "compression" } else { "spark" },
            if incomplete.is_empty() { "none".to_owned() } else { incomplete.join(", ") },
        );
        let source = at.sender(&self.buses);
        self.recording.notes.push(Note { time_s: Some(at.time_s), source, kind: NoteKind::Readiness, text });
    }

    fn freeze_frame(&mut self, at: At, answer: &[u8]) {
        let Some(found) = obd::split(answer, 1) else {
            if let Some((pid, data)) = answer.split_first() {
                self.odd_answer(at, *pid, data.len());
            }
            return;
        };
        for (pid, data) in found.as_slice() {
            if let (0x02, [a, b]) = (*pid, *data) {
                let code = u16::from_be_bytes([*a, *b]);
                if let Some(text) = codes::obd_code(code) {
                    self.code(at, at.id, CodeMemory::FreezeFrame, u64::from(code), |_| Found::obd(text));
                }
                continue;
            }
            for (n, decoded) in obd::decode(*pid, data).enumerate() {
                if let Some(value) = decoded.converted {
                    self.repeat(at, NoteKind::FreezeFrame, u64::from(*pid) << 8 | n as u64, || {
                        let q = decoded.quantity;
                        format!("freeze frame: {q} {value:.4} {}", q.unit())
                    });
                }
            }
        }
    }

    fn obd_codes(&mut self, at: At, answer: &[u8], memory: CodeMemory, service: u8) {
        let found = match obd::codes(answer) {
            Ok(found) => found,
            Err((stated, follow)) => {
                let buses = &self.buses;
                self.problems.add(
                    Some(at.line),
                    None,
                    || {
                        let sender = at.sender(buses);
                        format!(
                            "{sender}: service {service:02X} states {stated} trouble codes, {follow} follow"
                        )
                    },
                    "the answer was left out; read the fault memory again",
                );
                return;
            }
        };
        let mut count = 0;
        for code in found {
            count += 1;
            if let Some(text) = codes::obd_code(code) {
                self.code(at, at.id, memory, u64::from(code), |_| Found::obd(text));
            }
        }
        self.memory_read(at, service, count);
    }

    fn memory_read(&mut self, at: At, service: u8, count: usize) {
        let read = self.memory_reads.entry((at.bus, at.id, service)).or_insert((0, count, count));
        read.0 += 1;
        read.2 = count;
        self.repeat(at, NoteKind::FaultMemoryRead, u64::from(service), String::new);
    }

    fn uds_codes(&mut self, at: At, answer: &[u8]) {
        let buses = &self.buses;
        match uds::fault_memory(answer) {
            None => self.problems.add(
                Some(at.line),
                None,
                || format!("{}: the answer to service 19 does not come out even", at.sender(buses)),
                "the answer was left out; read the fault memory again",
            ),
            Some(uds::FaultMemory::Codes { codes: list, .. }) => {
                // Status bits 0 failed now, 1 failed this cycle, 2 pending, 3 confirmed, 5 failed since clear: without
                // any of them the module only lists a code it could set.
                let mut count = 0;
                for found in list.iter().filter(|c| c.status.is_none_or(|s| s & 0x2F != 0)) {
                    count += 1;
                    let [a, b, c] = found.bytes;
                    let key = u64::from(u32::from_be_bytes([0, a, b, c]));
                    if let Some((text, failure_type)) = codes::uds_code(found.bytes) {
                        let status = found.status;
                        self.code(at, at.id, CodeMemory::Uds, key, |old| Found {
                            failure_type: Some(failure_type),
                            status: status.or(old.and_then(|o| o.status)),
                            ..Found::obd(text)
                        });
                    }
                }
                self.memory_read(at, 0x19, count);
            }
            Some(uds::FaultMemory::Count { count, .. }) => {
                self.repeat(at, NoteKind::FaultMemoryRead, 0x1901_0000 | u64::from(count), || {
                    format!("service 19: {count} trouble codes counted")
                });
            }
            Some(uds::FaultMemory::Other) => {
                let sub = answer.first().copied().unwrap_or(0);
                self.repeat(at, NoteKind::RawData, 0x1900_0000 | u64::from(sub), || {
                    format!("service 19 {sub:02X}: {}", hex(answer))
                });
            }
        }
    }

    /// Service 22: identifier and data, possibly several. Lengths are not in the message; they are known for
    /// the identifiers that stand for OBD parameters (F4xx, J1979-2 and ISO 27145, from memory) only.
    fn identifiers(&mut self, at: At, answer: &[u8]) {
        let mut rest = answer;
        while let [high, low, data @ ..] = rest {
            let did = u16::from_be_bytes([*high, *low]);
            match (high, did) {
                (0xF4, _) => {
                    let known = obd::lengths(*low).iter().map(|n| usize::from(*n));
                    // The length that fits the end, or else one behind which another identifier stands.
                    let length = known.clone().find(|n| *n == data.len()).or_else(|| {
                        known.clone().find(|n| data.get(*n).is_some_and(|b| (0xF0..=0xF8).contains(b)))
                    });
                    let Some((body, after)) = length.and_then(|n| data.split_at_checked(n)) else {
                        self.raw_identifier(at, did, data);
                        return;
                    };
                    self.parameter(at, *low, body, "22 F4");
                    rest = after;
                }
                // F6xx is a monitor of service 06, F8xx an information type of service 09 (J1979-2, from memory).
                (0xF6, _) => {
                    if data.is_empty() || !(data.len() + 1).is_multiple_of(9) {
                        self.raw_identifier(at, did, data);
                    } else {
                        self.monitors(at, &[&[*low], data].concat());
                    }
                    return;
                }
                (0xF8, _) if did != 0xF802 => {
                    // The count that service 09 has before the data is not there.
                    self.vehicle_information(at, &[&[*low, 1], data].concat());
                    return;
                }
                (_, 0xF190 | 0xF802) => {
                    let (body, after) = data.split_at_checked(17).unwrap_or((data, &[]));
                    self.vin(at, body);
                    rest = after;
                }
                _ => {
                    self.raw_identifier(at, did, data);
                    return;
                }
            }
        }
    }

    fn raw_identifier(&mut self, at: At, did: u16, data: &[u8]) {
        self.repeat(at, NoteKind::RawData, 0x2200_0000 | u64::from(did), || {
            let printable = data.len() >= 4 && data.iter().all(|b| (0x20..0x7F).contains(b));
            let text =
                if printable { format!(" ({})", String::from_utf8_lossy(data)) } else { String::new() };
            let name = uds::identifier_name(did).map_or_else(String::new, |name| format!(" ({name})"));
            format!("identifier {did:04X}{name}: {}{text}", hex(data))
        });
    }

    fn negative(&mut self, at: At, rest: &[u8]) {
        let [service, code, ..] = *rest else { return };
        if code == 0x78 {
            // The answer follows later: nothing is wrong.
            self.recording.counts.pending_responses += 1;
            return;
        }
        self.repeat(at, NoteKind::NegativeResponse, u64::from(service) << 8 | u64::from(code), || {
            format!("refused service {service:02X}: {} ({code:02X})", uds::negative_name(code))
        });
    }

    fn monitors(&mut self, at: At, rest: &[u8]) {
        // A support mask (four bytes) or records of nine bytes.
        if !rest.len().is_multiple_of(9) {
            return;
        }
        for result in obd::monitor_results(rest) {
            let key = 0x0600_0000 | u64::from(result.monitor) << 8 | u64::from(result.test);
            self.repeat(at, NoteKind::Readiness, key, || {
                let verdict = if result.passed() { "passed" } else { "failed" };
                let (monitor, test) = (result.monitor, result.test);
                let name = obd::monitor_name(monitor).map_or_else(String::new, |name| format!(" ({name})"));
                match result.scaled() {
                    Some(([value, low, high], unit)) => format!(
                        "monitor {monitor:02X}{name} test {test:02X} {verdict}: {value:.6} {unit}, allowed {low:.6} to {high:.6}"
                    ),
                    None => {
                        let [value, low, high] = result.raw;
                        let scaling = result.scaling;
                        format!(
                            "monitor {monitor:02X}{name} test {test:02X} {verdict}: raw {value}, allowed {low} to {high} \
                             (scaling {scaling:02X})"
                        )
                    }
                }
            });
        }
    }

    fn vehicle_information(&mut self, at: At, answer: &[u8]) {
        let [kind, data @ ..] = answer else { return };
        let texts = |size: usize| -> Vec<String> {
            let body = data.get(1..).unwrap_or(&[]);
            body.chunks(size)
                .map(|c| {
                    String::from_utf8_lossy(c)
                        .trim_matches(|c: char| c == '\0' || c.is_whitespace())
                        .to_owned()
                })
                .filter(|t| !t.is_empty())
                .collect()
        };
        match kind {
            0x02 => self.vin(at, data.get(1..).unwrap_or(&[])),
            0x04 => self.repeat(at, NoteKind::Identification, 0x0904, || {
                format!("calibration: {}", texts(16).join(", "))
            }),
            0x06 => self.repeat(at, NoteKind::Identification, 0x0906, || {
                let numbers: Vec<String> =
                    data.get(1..).unwrap_or(&[]).chunks_exact(4).map(|c| hex(c).replace(' ', "")).collect();
                format!("calibration verification number: {}", numbers.join(", "))
            }),
            0x0A => self.repeat(at, NoteKind::Identification, 0x090A, || {
                format!("module name: {}", texts(20).join(" "))
            }),
            0x0B => self.repeat(at, NoteKind::Readiness, 0x090B, || {
                let pairs = data.get(1..).unwrap_or(&[]).chunks_exact(2);
                let mut text = "in-use counters:".to_owned();
                for (name, pair) in obd::PERFORMANCE_COUNTERS.iter().zip(pairs) {
                    if let [a, b] = pair {
                        let _ = write!(text, " {name} {}", u16::from_be_bytes([*a, *b]));
                    }
                }
                text
            }),
            _ => {}
        }
    }

    fn vin(&mut self, at: At, bytes: &[u8]) {
        let Some(text) = vin::from_bytes(bytes) else {
            let empty = bytes.iter().all(|b| matches!(b, 0 | 0xFF | 0x20));
            // Told once for each module.
            if !empty && self.odd_lengths.insert((at.bus, at.id, 0x02, usize::MAX)) {
                let buses = &self.buses;
                self.problems.add(
                    Some(at.line),
                    None,
                    || format!("{}: the vehicle identification number is not well formed", at.sender(buses)),
                    "compare it with the vehicle's papers",
                );
            }
            return;
        };
        match &self.recording.vin {
            None => {
                self.recording.vin = Some(text.to_owned());
                if !vin::check(text).check_matches {
                    self.repeat(at, NoteKind::Identification, 0x0902, || {
                        "the check digit of the vehicle identification number does not match; European vehicles \
                         need not carry one"
                            .to_owned()
                    });
                }
            }
            Some(known) if known != text => {
                self.repeat(at, NoteKind::Identification, 0x1_0902, || {
                    "another module gives a different vehicle identification number: a part from another \
                     vehicle, or two recordings in one"
                        .to_owned()
                });
            }
            Some(_) => {}
        }
    }

    fn code(
        &mut self,
        at: At,
        module: u32,
        memory: CodeMemory,
        number: u64,
        found: impl FnOnce(Option<&TroubleCode>) -> Found,
    ) {
        let key = (at.bus, module, memory, number);
        match self.code_index.get(&key).and_then(|n| self.recording.trouble_codes.get_mut(*n)) {
            Some(old) => {
                let found = found(Some(old));
                old.status = found.status;
                old.occurrences = found.occurrences.or(old.occurrences);
                old.last_s = at.time_s;
                old.reports += 1;
            }
            None => {
                let found = found(None);
                self.code_index.insert(key, self.recording.trouble_codes.len());
                let group = matches!(memory, CodeMemory::Active | CodeMemory::PreviouslyActive);
                let source = if group {
                    prefixed(&self.buses, at.bus, format!("SA {module:02X}"))
                } else {
                    at.sender(&self.buses)
                };
                self.recording.trouble_codes.push(TroubleCode {
                    code: found.code,
                    failure_type: found.failure_type,
                    status: found.status,
                    occurrences: found.occurrences,
                    memory,
                    source,
                    meaning: found.meaning,
                    first_s: at.time_s,
                    last_s: at.time_s,
                    reports: 1,
                });
            }
        }
    }

    /// A complete parameter group.
    pub fn group(&mut self, at: At, source: u8, pgn: u32, data: &[u8]) {
        match pgn {
            65226 => return self.group_codes(at, source, CodeMemory::Active, data),
            65227 => return self.group_codes(at, source, CodeMemory::PreviouslyActive, data),
            // Vehicle identification, ends with an asterisk (from memory of SAE J1939-71).
            65260 => {
                let number = data.split(|b| *b == b'*').next().unwrap_or(&[]);
                return self.vin(at, number);
            }
            j1939::FILTER_CONTROL => self.inhibit_note(at, source, pgn, data),
            _ => {}
        }
        for (n, parameter) in j1939::parameters(pgn).iter().enumerate() {
            let buses = &self.buses;
            let number = parameter.number;
            let key = group_key(at.bus, source, pgn, n);
            let stored = self.columns.push(key, at.time_s, parameter.decode(data), || {
                prefixed(buses, at.bus, format!("SA {source:02X} PGN {pgn} SPN {number}"))
            });
            self.recording.counts.absent_values += u64::from(!stored);
        }
    }

    fn group_codes(&mut self, at: At, source: u8, memory: CodeMemory, data: &[u8]) {
        let Some((lamps, list)) = j1939::trouble_codes(data) else { return };
        if memory == CodeMemory::Active && lamps.malfunction < 2 {
            let on = f64::from(lamps.malfunction);
            let decoded = Decoded {
                quantity: Quantity::MalfunctionLamp,
                instance: 0,
                value: Some(on),
                unit: "0/1",
                converted: Some(on),
                resolution: 1.0,
            };
            let buses = &self.buses;
            self.columns.push(group_key(at.bus, source, 65226, 0), at.time_s, decoded, || {
                prefixed(buses, at.bus, format!("SA {source:02X} PGN 65226 SPN 1213"))
            });
        }
        for found in list {
            let number = u64::from(found.spn) << 8 | u64::from(found.fmi);
            self.code(at, u32::from(source), memory, number, |_| Found {
                code: format!("SPN {} FMI {}", found.spn, found.fmi),
                failure_type: None,
                status: None,
                occurrences: found.occurrences,
                meaning: codes::fmi_meaning(found.fmi),
            });
        }
    }

    pub fn inhibit_note(&mut self, at: At, source: u8, pgn: u32, data: &[u8]) {
        if pgn != j1939::FILTER_CONTROL {
            return;
        }
        let bits = j1939::inhibit_bits(data);
        let last = self.inhibited.insert((at.bus, source), bits);
        if bits == last.unwrap_or(0) {
            return;
        }
        for (n, reason) in j1939::INHIBIT_REASONS.iter().enumerate() {
            if bits >> n & 1 == 1 && last.unwrap_or(0) >> n & 1 == 0 {
                self.repeat(at, NoteKind::RegenerationInhibited, n as u64, || {
                    format!("regeneration inhibited: {reason}")
                });
            }
        }
    }

    /// Signals of the user's own descriptions out of a parameter group of any length.
    pub fn described_group(&mut self, at: At, source: u8, pgn: u32, data: &[u8]) {
        if self.dbc.is_empty() {
            return;
        }
        let Some(number) = self.dbc.group(pgn) else { return };
        let Some(message) = self.dbc.message(number) else { return };
        for (n, signal) in message.signals.iter().enumerate() {
            if !message.applies(signal, data) {
                continue;
            }
            let buses = &self.buses;
            let slot = self.named.slot(dbc_key(at.bus, u32::from(source), number, n), || NamedSignal {
                source: prefixed(buses, at.bus, format!("SA {source:02X} PGN {pgn}")),
                ..signal.named(&message.name)
            });
            self.named.push(slot, at.time_s, signal.value(data, message.by_group));
        }
    }

    /// Signals of the user's own descriptions out of one frame.
    pub fn described(&mut self, at: At, number: u32, data: &[u8]) {
        let Some(message) = self.dbc.message(number) else { return };
        for (n, signal) in message.signals.iter().enumerate() {
            if !message.applies(signal, data) {
                continue;
            }
            let buses = &self.buses;
            let slot = self.named.slot(dbc_key(at.bus, at.id, number, n), || NamedSignal {
                source: at.sender(buses),
                ..signal.named(&message.name)
            });
            self.named.push(slot, at.time_s, signal.value(data, message.by_group));
        }
    }

    /// An 11-bit identifier has carried a whole message behind an address byte.
    pub fn address_byte_learnt(&mut self, at: At) {
        self.repeat(at, NoteKind::Assumption, 0xADD, || {
            "the first data byte is taken for an address (extended addressing): a message of several frames \
             fitted together that way"
                .to_owned()
        });
    }

    /// Hands out what was gathered so far and is certain; the rest waits for the end.
    pub fn take(&mut self, disordered: bool) -> (Vec<Signal>, Vec<NamedSignal>) {
        let mut signals = Vec::new();
        for slot in &mut self.columns.slots {
            if slot.signal.value.is_empty()
                || checks::needs_whole_recording(&slot.signal)
                || slot.key & GROUP_KEY == 0 && !supported(&self.masks, slot.key)
            {
                continue;
            }
            slot.handed_out += slot.signal.value.len() as u64;
            let mut times = std::mem::take(&mut slot.signal.time_s);
            let mut values = std::mem::take(&mut slot.signal.value);
            if disordered {
                sort_by_time(&mut times, &mut values);
            }
            signals.push(Signal {
                time_s: times,
                value: values,
                source: slot.signal.source.clone(),
                ..slot.signal
            });
        }
        let mut named = Vec::new();
        for slot in self.named.slots.iter_mut().filter(|s| !s.value.is_empty()) {
            let mut times = std::mem::take(&mut slot.time_s);
            let mut values = std::mem::take(&mut slot.value);
            if disordered {
                sort_by_time(&mut times, &mut values);
            }
            named.push(NamedSignal { time_s: times, value: values, ..slot.clone() });
        }
        (signals, named)
    }

    pub fn finish(mut self, disordered: bool, cut: CutEnd) -> Recording {
        let mut signals = Vec::new();
        for slot in self.columns.slots {
            let mut signal = slot.signal;
            if slot.absent > 0 {
                let all = if signal.value.is_empty() && slot.handed_out == 0 { "always" } else { "at times" };
                self.recording.notes.push(Note {
                    time_s: None,
                    source: signal.source.clone(),
                    kind: NoteKind::Absent,
                    text: format!(
                        "{} instance {}: {all} not supported, not available or in error ({} times)",
                        signal.quantity, signal.instance, slot.absent
                    ),
                });
            }
            if signal.value.is_empty() {
                continue;
            }
            if slot.key & GROUP_KEY == 0 && !supported(&self.masks, slot.key) {
                self.problems.add(
                    None,
                    None,
                    || {
                        format!(
                            "{}: {} was answered although the module's support mask says that it has no such \
                             parameter",
                            signal.source, signal.quantity
                        )
                    },
                    "its values were left out",
                );
                continue;
            }
            if disordered {
                sort_by_time(&mut signal.time_s, &mut signal.value);
            }
            signals.push(signal);
        }
        checks::filter_pressure_scale(&mut signals, &mut self.recording.notes, &mut self.problems);
        checks::disputed_references(&mut signals, &mut self.recording.notes, &mut self.problems);
        self.recording.signals = signals;
        let (signals, named) = self.adopted;
        self.recording.signals.extend(signals);
        self.recording.named = self.named.slots;
        self.recording.named.extend(named);
        if disordered {
            for signal in &mut self.recording.named {
                sort_by_time(&mut signal.time_s, &mut signal.value);
            }
        }
        let mut services: Vec<_> = self.services.into_iter().collect();
        services.sort_unstable_by_key(|(key, _)| *key);
        for ((bus, id, extended, service), spoken) in services {
            let at = At { time_s: 0.0, line: 0, bus, id, extended };
            let source = at.sender(&self.buses);
            let mean_answer_s = (spoken.answers > 0).then(|| spoken.waited_s / spoken.answers as f64);
            let messages = spoken.messages;
            self.recording.services.push(Service { source, service, messages, mean_answer_s });
        }
        self.recording.buses = self.buses.iter().map(|b| String::from_utf8_lossy(b).into_owned()).collect();

        for mut repeated in self.repeated {
            if repeated.note.kind == NoteKind::FaultMemoryRead && repeated.note.text.is_empty() {
                continue;
            }
            if repeated.count > 1 {
                let _ = write!(
                    repeated.note.text,
                    " ({} times, last at {:.3} s)",
                    repeated.count, repeated.last_s
                );
            }
            self.recording.notes.push(repeated.note);
        }
        let mut reads: Vec<_> = self.memory_reads.into_iter().collect();
        reads.sort_unstable();
        for ((bus, id, service), (times, first, last)) in reads {
            let at = At { time_s: 0.0, line: 0, bus, id, extended: id > 0x7FF };
            let change =
                if first == last { String::new() } else { format!(" ({first} at the first reading)") };
            self.recording.notes.push(Note {
                time_s: None,
                source: at.sender(&self.buses),
                kind: NoteKind::FaultMemoryRead,
                text: format!("service {service:02X} read {times} times: {last} trouble codes{change}"),
            });
        }
        for ((_, _, service), seen) in self.changing.iter().filter(|(_, seen)| **seen > NOTES_PER_SENDER) {
            self.recording.notes.push(Note {
                time_s: None,
                source: "bus".to_owned(),
                kind: NoteKind::ChangingRequest,
                text: format!("request {service:02X}: {} further ones", seen - NOTES_PER_SENDER),
            });
        }
        cut.report(&mut self.problems);
        self.recording.problems = self.problems.finish();
        self.recording
    }
}

/// What a code's key facts are, before it becomes an entry.
struct Found {
    code: String,
    failure_type: Option<u8>,
    status: Option<u8>,
    occurrences: Option<u8>,
    meaning: Option<&'static str>,
}

impl Found {
    fn obd(code: String) -> Self {
        let meaning = codes::meaning(&code);
        Found { code, failure_type: None, status: None, occurrences: None, meaning }
    }
}

/// False only if the module gave a support mask for the parameter's range and its bit is 0.
fn supported(masks: &FxHashMap<(u16, u32), [Option<u32>; 8]>, key: u64) -> bool {
    let (bus, id, pid) =
        ((key >> 56 & 0x7F) as u16, (key >> 16 & 0x1FFF_FFFF) as u32, (key >> 8 & 0xFF) as u8);
    let Some(position) = pid.checked_sub(1) else { return true };
    let mask = masks.get(&(bus, id)).and_then(|m| m.get(usize::from(position / 32)).copied().flatten());
    mask.is_none_or(|mask| mask & (0x8000_0000 >> (position % 32)) != 0)
}

/// Bytes as text, long ones cut.
fn hex(bytes: &[u8]) -> String {
    let mut text = String::new();
    for (n, byte) in bytes.iter().take(64).enumerate() {
        let _ = write!(text, "{}{byte:02X}", if n == 0 { "" } else { " " });
    }
    if bytes.len() > 64 {
        let _ = write!(text, " ... ({} bytes)", bytes.len());
    }
    text
}
