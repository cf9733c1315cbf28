//! Recording a vehicle while it runs, read-only and without any input or output of its own: which request is due next,
//! what came back, when to wait.
//!
//! [`Recorder`] is asked for the next frame ([`Recorder::next`]) and told every frame that was received
//! ([`Recorder::received`]); whoever drives it owns the bus, the clock and the file. What it can ask for is bounded by
//! the types in [`request`].

pub mod request;
pub mod slcan;

use crate::field::Decoded;
use crate::frame::{Frame, FrameKind};
use crate::quantity::Quantity;
use crate::{isotp, obd};
use request::{Address, Outgoing, Request, Standing};
use std::collections::{BTreeMap, VecDeque};

const MS: i64 = 1_000_000;
/// P2 of ISO 15765-4 (from memory) is 50 ms; slow gateways get more.
const ANSWER_NS: i64 = 200 * MS;
/// P2*: after "response pending".
const PENDING_NS: i64 = 5_000 * MS;
/// The rest of a long answer.
const LONG_NS: i64 = 1_000 * MS;
/// Shortest pause between two requests.
const PAUSE_NS: i64 = 10 * MS;
/// Longest pause a module that is busy or silent is left alone for.
const LONGEST_PAUSE_NS: i64 = 2_000 * MS;
/// A parameter that was refused or not answered this often is asked no more.
const GIVE_UP: u32 = 3;

/// What a request is due again after.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Due {
    request: Request,
    every_ns: i64,
    next_ns: i64,
    failures: u32,
}

/// The request that is under way.
#[derive(Debug, Clone, Copy)]
struct Waiting {
    request: Request,
    to: Address,
    until_ns: i64,
}

/// A value as last read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Latest {
    /// When it was read.
    pub time_ns: i64,
    /// In the quantity's unit.
    pub value: f64,
}

/// What happened so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub struct Tally {
    /// Requests sent.
    pub asked: u64,
    /// Answers complete.
    pub answered: u64,
    /// Requests without an answer in time.
    pub silent: u64,
    /// Requests refused.
    pub refused: u64,
    /// "Busy" and "response pending".
    pub busy: u64,
    /// Error frames of the bus.
    pub bus_errors: u64,
}

/// Decides what is asked next.
#[derive(Debug)]
pub struct Recorder {
    extended: bool,
    module: Address,
    /// Asked once, in order: what is supported, identification, codes.
    once: VecDeque<Request>,
    cyclic: Vec<Due>,
    waiting: Option<Waiting>,
    go_on: VecDeque<Outgoing>,
    assemblers: BTreeMap<u32, isotp::Assembler>,
    latest: BTreeMap<(Quantity, u8), Latest>,
    speed_ns: Option<i64>,
    quiet_until_ns: i64,
    pause_ns: i64,
    asked_all: bool,
    stopping: bool,
    tally: Tally,
}

/// Live data worth having, and how often: what tells of a filter first. Seconds between two requests.
const WANTED: [(u8, f64); 30] = [
    (0x0C, 0.2),
    (0x0D, 0.2),
    (0x7A, 0.2),
    (0x10, 0.2),
    (0x66, 0.2),
    (0x7C, 0.5),
    (0x78, 0.5),
    (0x9E, 0.5),
    (0x0B, 0.5),
    (0x04, 0.5),
    (0x87, 0.5),
    (0x73, 0.5),
    (0x69, 0.5),
    (0x2C, 1.0),
    (0x5E, 1.0),
    (0x9D, 1.0),
    (0x70, 1.0),
    (0x8B, 1.0),
    (0x7B, 1.0),
    (0x79, 1.0),
    (0x0F, 2.0),
    (0x05, 5.0),
    (0x33, 5.0),
    (0x46, 5.0),
    (0x42, 5.0),
    (0x5C, 5.0),
    (0x85, 5.0),
    (0x9B, 5.0),
    (0x31, 30.0),
    (0xA6, 30.0),
];

impl Recorder {
    /// A recorder for a vehicle with 11-bit (7E0) or 29-bit (18DA10F1) diagnostic identifiers.
    pub fn new(extended: bool) -> Self {
        let module = match Address::short(0) {
            Some(short) if !extended => short,
            _ => Address::long(0x10),
        };
        let mut once: VecDeque<Request> = VecDeque::new();
        // The road speed first: nothing goes to all modules before the vehicle is known to stand.
        once.push_back(Request::LiveData { parameter: 0x0D });
        once.push_back(Request::LiveData { parameter: 0x00 });
        once.push_back(Request::VehicleInformation { kind: 0x02 });
        once.push_back(Request::LiveData { parameter: 0x01 });
        once.push_back(Request::LiveData { parameter: 0x1C });
        once.push_back(Request::LiveData { parameter: 0x51 });
        once.extend([Request::StoredCodes, Request::PendingCodes, Request::PermanentCodes]);
        once.push_back(Request::FreezeFrame { parameter: 0x02, frame: 0 });
        Recorder {
            extended,
            module,
            once,
            cyclic: Vec::new(),
            waiting: None,
            go_on: VecDeque::new(),
            assemblers: BTreeMap::new(),
            latest: BTreeMap::new(),
            speed_ns: None,
            quiet_until_ns: i64::MIN,
            pause_ns: PAUSE_NS,
            asked_all: false,
            stopping: false,
            tally: Tally::default(),
        }
    }

    /// The frame to send at this moment, if one is due.
    pub fn next(&mut self, now_ns: i64) -> Option<Outgoing> {
        if let Some(go_on) = self.go_on.pop_front() {
            return Some(go_on);
        }
        if let Some(waiting) = self.waiting {
            if now_ns < waiting.until_ns {
                return None;
            }
            self.waiting = None;
            self.tally.silent += 1;
            self.failed(waiting.request);
            self.back_off(now_ns);
        }
        if now_ns < self.quiet_until_ns || self.stopping {
            return None;
        }
        let request = self.due(now_ns)?;
        let mut to = self.module;
        // Once, while the vehicle stands, all modules are asked what they support: others may answer too.
        let proof = Standing::seen(
            self.value(Quantity::VehicleSpeed, 0).map(|l| l.value),
            self.speed_ns.map_or(i64::MAX, |t| now_ns.saturating_sub(t)),
        );
        if let (Request::LiveData { parameter: 0 }, false, Some(proof)) = (request, self.asked_all, proof) {
            self.asked_all = true;
            to = Address::all(self.extended, proof);
        }
        self.waiting = Some(Waiting { request, to, until_ns: now_ns.saturating_add(ANSWER_NS) });
        self.tally.asked += 1;
        Some(Outgoing::ask(request, to))
    }

    /// Asks nothing more; an answer under way is still let through.
    pub fn stop(&mut self) {
        self.stopping = true;
    }

    /// True if no answer is under way.
    pub fn is_idle(&self) -> bool {
        self.waiting.is_none() && self.go_on.is_empty()
    }

    fn due(&mut self, now_ns: i64) -> Option<Request> {
        if let Some(request) = self.once.pop_front() {
            return Some(request);
        }
        // The one that is overdue by most of its own period.
        let lateness = |d: &Due| now_ns.saturating_sub(d.next_ns) as f64 / d.every_ns.max(1) as f64;
        let due = self
            .cyclic
            .iter_mut()
            .filter(|d| d.failures < GIVE_UP && d.next_ns <= now_ns)
            .max_by(|a, b| lateness(a).total_cmp(&lateness(b)))?;
        due.next_ns = now_ns.saturating_add(due.every_ns);
        Some(due.request)
    }

    /// Takes a frame that was received.
    pub fn received(&mut self, now_ns: i64, frame: &Frame) {
        match frame.kind {
            FrameKind::Error => {
                self.tally.bus_errors += 1;
                self.back_off(now_ns);
                return;
            }
            FrameKind::Remote => return,
            _ => {}
        }
        let Some(from) = Address::of_answer(frame.id, frame.extended) else { return };
        // Long answers are let through: the flow control goes to the one module that sends.
        if frame.data().first().is_some_and(|b| b >> 4 == 1) {
            if let Some(go_on) = Outgoing::go_on(from).filter(|_| self.waiting.is_some()) {
                self.go_on.push_back(go_on);
            }
            if let Some(waiting) = &mut self.waiting {
                waiting.until_ns = now_ns.saturating_add(LONG_NS);
            }
        }
        let assembler = self.assemblers.entry(frame.id).or_default();
        let Some(message) = assembler.push(now_ns, frame.data()).message.map(<[u8]>::to_vec) else { return };
        self.message(now_ns, &message);
    }

    fn message(&mut self, now_ns: i64, message: &[u8]) {
        let Some(waiting) = self.waiting else { return };
        match *message {
            [0x7F, service, 0x78, ..] if service == waiting.request.service() => {
                self.tally.busy += 1;
                if let Some(waiting) = &mut self.waiting {
                    waiting.until_ns = now_ns.saturating_add(PENDING_NS);
                }
            }
            [0x7F, service, 0x21, ..] if service == waiting.request.service() => {
                self.tally.busy += 1;
                self.waiting = None;
                self.once_more(waiting.request, now_ns);
                self.back_off(now_ns);
            }
            [0x7F, service, ..] if service == waiting.request.service() => {
                self.tally.refused += 1;
                self.waiting = None;
                self.failed(waiting.request);
                self.rest(now_ns);
            }
            [service, ref rest @ ..] if service == waiting.request.service() | 0x40 => {
                self.tally.answered += 1;
                self.pause_ns = PAUSE_NS;
                // All modules may answer a request to all: the window stays open.
                if waiting.to.is_physical() {
                    self.waiting = None;
                }
                self.succeeded(waiting.request);
                self.rest(now_ns);
                if service == 0x41 {
                    self.live_data(now_ns, rest);
                }
            }
            _ => {}
        }
    }

    fn live_data(&mut self, now_ns: i64, answer: &[u8]) {
        let Some(found) = obd::split(answer, 0) else { return };
        for (parameter, data) in found.as_slice() {
            if let (0x00 | 0x20 | 0x40 | 0x60 | 0x80 | 0xA0, [a, b, c, d]) = (*parameter, *data) {
                self.supported(*parameter, [*a, *b, *c, *d], now_ns);
            }
            for Decoded { quantity, instance, converted, .. } in obd::decode(*parameter, data) {
                if let Some(value) = converted {
                    self.latest.insert((quantity, instance), Latest { time_ns: now_ns, value });
                    if quantity == Quantity::VehicleSpeed {
                        self.speed_ns = Some(now_ns);
                    }
                }
            }
        }
    }

    fn supported(&mut self, base: u8, mask: [u8; 4], now_ns: i64) {
        for parameter in obd::supported(base, mask) {
            let request = Request::LiveData { parameter };
            if parameter % 0x20 == 0 && parameter <= 0xA0 {
                if !self.once.contains(&request) {
                    self.once.push_back(request);
                }
                continue;
            }
            let wanted = WANTED.iter().find(|(p, _)| *p == parameter);
            if let Some((_, seconds)) = wanted.filter(|_| self.cyclic.iter().all(|d| d.request != request)) {
                let every_ns = (seconds * 1e9) as i64;
                self.cyclic.push(Due { request, every_ns, next_ns: now_ns, failures: 0 });
            }
        }
    }

    fn once_more(&mut self, request: Request, now_ns: i64) {
        match self.cyclic.iter_mut().find(|d| d.request == request) {
            Some(due) => due.next_ns = now_ns,
            None => self.once.push_front(request),
        }
    }

    fn failed(&mut self, request: Request) {
        if let Some(due) = self.cyclic.iter_mut().find(|d| d.request == request) {
            due.failures += 1;
        }
    }

    fn succeeded(&mut self, request: Request) {
        if let Some(due) = self.cyclic.iter_mut().find(|d| d.request == request) {
            due.failures = 0;
        }
    }

    fn rest(&mut self, now_ns: i64) {
        self.quiet_until_ns = self.quiet_until_ns.max(now_ns.saturating_add(self.pause_ns));
    }

    /// Busy, silent, or the bus in error: twice the pause each time, up to two seconds.
    fn back_off(&mut self, now_ns: i64) {
        self.pause_ns = (self.pause_ns * 2).min(LONGEST_PAUSE_NS);
        self.rest(now_ns);
    }

    /// The last value of a quantity.
    pub fn value(&self, quantity: Quantity, instance: u8) -> Option<Latest> {
        self.latest.get(&(quantity, instance)).copied()
    }

    /// All values as last read, in the order of the quantities.
    pub fn values(&self) -> impl Iterator<Item = (Quantity, u8, Latest)> {
        self.latest.iter().map(|((quantity, instance), latest)| (*quantity, *instance, *latest))
    }

    /// Counts of what happened so far.
    pub fn tally(&self) -> Tally {
        self.tally
    }

    /// The pause between two requests at this moment, in nanoseconds.
    pub fn pause_ns(&self) -> i64 {
        self.pause_ns
    }
}

/// A frame as a line of candump text in the compact form, with its end.
pub fn candump_line(interface: &str, time_ns: i64, frame: &Frame, sent: bool) -> String {
    let micros = time_ns.max(0) / 1000;
    let id = if frame.extended { format!("{:08X}", frame.id) } else { format!("{:03X}", frame.id) };
    let mut text = format!("({}.{:06}) {interface} ", micros / 1_000_000, micros % 1_000_000);
    match frame.kind {
        FrameKind::Remote => text += &format!("{id}#R{}", frame.length().min(8)),
        FrameKind::Error => text += &format!("{:08X}#0000000000000000", 0x2000_0000 | frame.id),
        FrameKind::Fd { bit_rate_switch, error_state } => {
            let flags = u8::from(bit_rate_switch) | u8::from(error_state) << 1;
            text += &format!("{id}##{flags:X}");
        }
        FrameKind::Classic => text += &format!("{id}#"),
    }
    if !matches!(frame.kind, FrameKind::Remote | FrameKind::Error) {
        for byte in frame.data() {
            text += &format!("{byte:02X}");
        }
    }
    text += if sent { " T\n" } else { " R\n" };
    text
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop here")]
    use super::*;

    fn answer(id: u32, bytes: &[u8]) -> Frame {
        let mut frame = Frame { id, extended: id > 0x7FF, ..Frame::default() };
        let mut data = vec![bytes.len() as u8];
        data.extend_from_slice(bytes);
        data.resize(8, 0xAA);
        frame.set_data(&data);
        frame
    }

    fn asked(outgoing: Outgoing) -> (u32, Vec<u8>) {
        let frame = outgoing.frame();
        let length = usize::from(frame.data()[0]);
        (frame.id, frame.data()[1..1 + length].to_vec())
    }

    #[test]
    fn regress_nothing_goes_to_all_modules_while_the_car_moves() {
        for (speed, first) in [(0u8, 0x7DF), (50, 0x7E0)] {
            let mut r = Recorder::new(false);
            assert_eq!(asked(r.next(0).unwrap()), (0x7E0, vec![1, 0x0D]));
            r.received(20 * MS, &answer(0x7E8, &[0x41, 0x0D, speed]));
            let (id, message) = asked(r.next(40 * MS).unwrap());
            assert_eq!((id, message), (first, vec![1, 0]));
        }
        // A speed of 0 that is too old proves nothing.
        let mut r = Recorder::new(false);
        r.next(0).unwrap();
        r.received(20 * MS, &answer(0x7E8, &[0x41, 0x0D, 0]));
        assert_eq!(asked(r.next(1500 * MS).unwrap()).0, 0x7E0);
    }

    #[test]
    fn regress_long_answers_get_one_flow_control_to_their_module() {
        let mut r = Recorder::new(true);
        r.next(0).unwrap();
        let mut first = Frame { id: 0x18DA_F110, extended: true, ..Frame::default() };
        first.set_data(&[0x10, 0x09, 0x41, 0x7A, 0x01, 0x00, 0x19, 0x00]);
        r.received(10 * MS, &first);
        let frame = r.next(11 * MS).unwrap().frame();
        assert_eq!((frame.id, frame.data()[0]), (0x18DA_10F1, 0x30));
        assert_eq!(r.next(11 * MS), None, "the answer is still coming");
    }

    #[test]
    fn regress_it_backs_off_when_busy_silent_or_in_error() {
        let mut r = Recorder::new(false);
        r.next(0).unwrap();
        r.received(10 * MS, &answer(0x7E8, &[0x7F, 0x01, 0x21]));
        assert_eq!((r.next(20 * MS), r.pause_ns()), (None, 20 * MS));
        assert_eq!(asked(r.next(40 * MS).unwrap()).1, [1, 0x0D], "the same is asked again");
        // Pending: waits up to five seconds.
        r.received(50 * MS, &answer(0x7E8, &[0x7F, 0x01, 0x78]));
        assert_eq!(r.next(4900 * MS), None);
        assert!(!r.is_idle());
        // Silent: the next one follows after a longer pause, and so on up to two seconds.
        let mut now = 5100 * MS;
        for _ in 0..2000 {
            r.next(now);
            now += 50 * MS;
        }
        assert_eq!(r.pause_ns(), LONGEST_PAUSE_NS);
        assert!(r.tally().silent > 5);
        let error = Frame { kind: FrameKind::Error, ..Frame::default() };
        r.received(now, &error);
        assert_eq!(r.next(now + 1), None);
        assert_eq!(r.tally().bus_errors, 1);
        r.stop();
        assert_eq!(r.next(now + 60_000 * MS), None, "stopped");
        assert!(r.is_idle());
    }

    #[test]
    fn regress_what_is_written_is_read_again() {
        let mut frame = answer(0x7E8, &[0x41, 0x0D, 0x32]);
        let line = candump_line("can0", 1_700_000_000_123_456_789, &frame, false);
        assert_eq!(line, "(1700000000.123456) can0 7E8#03410D32AAAAAAAA R\n");
        frame.extended = true;
        let mut back = Frame::default();
        let line = candump_line("can0", 5_000, &frame, true);
        crate::candump::parse_line(line.as_bytes(), &mut back).unwrap();
        assert_eq!((back.id, back.extended, back.data()), (0x7E8, true, frame.data()));
    }
}
