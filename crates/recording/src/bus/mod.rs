//! From frames to signals: knows which identifiers speak which protocol and gathers what they say.

mod clock;
mod columns;
mod sink;

use crate::dbc::{self, Dbc};
use crate::frame::{Frame, FrameKind};
use crate::model::{CutEnd, Identifier, NamedSignal, Note, NoteKind, Options, Problems, Recording, Signal};
use crate::{isotp, j1939};
use clock::Clock;
pub(crate) use columns::sort_by_time;
use rustc_hash::FxHashMap;
use sink::{At, Sink, group_key, prefixed};
use std::fmt::Write as _;

/// What an identifier is used for.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Role {
    Request,
    Response,
    /// Diagnostic traffic of unknown direction; certain for 29 bit, a guess for 11 bit.
    General {
        certain: bool,
    },
    /// Perhaps diagnostic traffic with an address byte.
    Addressed,
    Group,
    None,
}

fn role(id: u32, extended: bool) -> Role {
    if !extended {
        return match id {
            0x7DF..=0x7E7 => Role::Request,
            0x7E8..=0x7EF => Role::Response,
            0x700..=0x7FF => Role::General { certain: false },
            // Left to makers; met with an address byte before the frame type (extended addressing).
            0x600..=0x6FF => Role::Addressed,
            _ => Role::None,
        };
    }
    let (target, source) = (id >> 8 & 0xFF, id & 0xFF);
    match id >> 16 & 0xFF {
        // Normal fixed addressing: DA to one, DB to all; mixed: CE to one, CD to all (ISO 15765-2).
        0xDB | 0xCD => Role::Request,
        0xDA | 0xCE if source == 0xF1 => Role::Request,
        0xDA | 0xCE if target == 0xF1 => Role::Response,
        0xDA | 0xCE => Role::General { certain: true },
        _ => Role::Group,
    }
}

/// One signal of a parameter group in a frame of up to eight bytes, ready to be taken out of a 64-bit word.
struct Quick {
    slot: u32,
    shift: u8,
    /// Data bytes the frame must have.
    end: u8,
    mask: u64,
    /// The largest raw number that is a value.
    limit: u64,
    scale: f64,
    offset: f64,
    per: f64,
}

/// A frame whose signals have not been taken out yet.
struct Waiting {
    time_s: f64,
    word: u64,
    length: u8,
}

/// So many frames of one identifier wait until their signals are taken out, signal by signal: the processor need not
/// guess which values are there.
const HOLD: usize = 64;

/// What is to be done with the frames of one identifier on one bus; worked out at its first frame.
struct Plan {
    bus: u16,
    id: u32,
    extended: bool,
    kind: Kind,
    source: u8,
    pgn: u32,
    quick: Vec<Quick>,
    waiting: Vec<Waiting>,
    /// Message of the user's descriptions.
    described: Option<u32>,
    transport: Transport,
    frames: u64,
    first_s: f64,
    last_s: f64,
    shortest: u8,
    longest: u8,
    last_length: u8,
    /// What inhibits a regeneration, as last said.
    inhibited: u16,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Other,
    Diagnostic(Role),
    /// TP.CM
    Control,
    /// TP.DT
    Data,
    /// A request for a group.
    Request,
    /// A group whose signals are in `quick`, and nothing else but what inhibits a regeneration.
    Quick,
    /// A group that is more than signals.
    Group,
}

/// Transport state of one diagnostic identifier. Where an address byte comes before the frame type each address
/// has its own.
#[derive(Default)]
struct Transport {
    normal: isotp::Assembler,
    addressed: Vec<(u8, isotp::Assembler)>,
    /// The first byte is an address: stated by the identifier, or learnt from the traffic.
    with_address: bool,
    /// Messages of more than one frame: proof that the identifier speaks ISO-TP.
    long_messages: u64,
}

/// At most this many addresses are kept apart on one identifier.
const ADDRESSES: usize = 32;

impl Transport {
    fn assembler(&mut self, address: u8) -> &mut isotp::Assembler {
        let found = self.addressed.iter().position(|(a, _)| *a == address);
        let place = found.unwrap_or_else(|| {
            if self.addressed.len() < ADDRESSES {
                self.addressed.push((address, isotp::Assembler::default()));
            }
            self.addressed.len() - 1
        });
        match self.addressed.get_mut(place) {
            Some((_, assembler)) => assembler,
            None => &mut self.normal,
        }
    }

    fn unfinished(&self) -> impl Iterator<Item = (usize, usize)> {
        let addressed = self.addressed.iter().filter_map(|(_, a)| a.unfinished());
        self.normal.unfinished().into_iter().chain(addressed)
    }
}

/// Entries of the table of identifiers seen last.
const RECENT: usize = 1024;

/// Told every frame as it is read, with its bus.
pub(crate) type Tap<'t> = Option<&'t mut dyn FnMut(&Frame, u16)>;

/// Turns frames into a recording. Feed frames in file order, then call [`Decoder::finish`].
pub(crate) struct Decoder<'t> {
    tap: Tap<'t>,
    plans: Vec<Plan>,
    index: FxHashMap<u64, u32>,
    recent: Vec<(u64, u32)>,
    sessions: FxHashMap<(u16, u8, u8), j1939::Session>,
    sink: Sink,
    /// How many frames of one identifier may wait. 1 once two identifiers feed one signal: its samples stay in order.
    hold: usize,
    last_bus: u16,
    clock: Clock,
    error_classes: u32,
    adopted_duration_s: f64,
}

/// Bus, width and identifier in one number.
#[inline]
fn plan_key(bus: u16, id: u32, extended: bool) -> u64 {
    u64::from(bus) << 32 | u64::from(extended) << 31 | u64::from(id)
}

fn dbc_key(bus: u16, id: u32, message: u32, signal: usize) -> (u16, u32, u32, u32) {
    (bus, id, message, signal as u32)
}

impl<'t> Decoder<'t> {
    pub(crate) fn new(recording: Recording, mut problems: Problems, options: &Options, tap: Tap<'t>) -> Self {
        let mut dbc = Dbc::default();
        for (name, text) in &options.descriptions {
            if let Err(error) = dbc.add(text) {
                problems.add_for(name, error.line, error.what, dbc::WHAT_TO_DO);
            }
        }
        Decoder {
            tap,
            plans: Vec::new(),
            index: FxHashMap::default(),
            recent: vec![(u64::MAX, 0); RECENT],
            sessions: FxHashMap::default(),
            sink: Sink::new(recording, problems, dbc),
            hold: HOLD,
            last_bus: 0,
            clock: Clock::default(),
            error_classes: 0,
            adopted_duration_s: 0.0,
        }
    }

    /// Times are differences to the frame before (`candump -td`): they are summed.
    pub(crate) fn times_are_differences(&mut self) {
        self.clock.sum_differences = true;
        self.note(
            NoteKind::Assumption,
            "time",
            "times are differences to the frame before: they were summed".to_owned(),
        );
    }

    pub(crate) fn problems(&mut self) -> &mut Problems {
        &mut self.sink.problems
    }

    pub(crate) fn recording(&mut self) -> &mut Recording {
        &mut self.sink.recording
    }

    pub(crate) fn note(&mut self, kind: NoteKind, source: &str, text: String) {
        self.sink.recording.notes.push(Note { time_s: None, source: source.to_owned(), kind, text });
    }

    /// The number of an interface; nearly always the one of the frame before.
    pub(crate) fn bus(&mut self, name: &[u8]) -> u16 {
        let buses = &mut self.sink.buses;
        if buses.get(usize::from(self.last_bus)).is_some_and(|last| last == name) {
            return self.last_bus;
        }
        let found = buses.iter().position(|b| b == name).unwrap_or_else(|| {
            // A damaged file may hold any number of names: beyond 127 they share one.
            if buses.len() < 128 {
                buses.push(name.to_owned());
            }
            buses.len() - 1
        });
        self.last_bus = found as u16;
        self.last_bus
    }

    /// Number of data bytes of the last frame with this identifier, if there was one.
    pub(crate) fn last_length(&self, frame: &Frame, bus: u16) -> Option<u8> {
        let number = self.index.get(&plan_key(bus, frame.id, frame.extended))?;
        self.plans.get(*number as usize).map(|p| p.last_length)
    }

    #[inline]
    fn plan(&mut self, frame: &Frame, bus: u16, time_s: f64) -> usize {
        let key = plan_key(bus, frame.id, frame.extended);
        let place = (key.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 54) as usize & (RECENT - 1);
        if let Some((seen, number)) = self.recent.get(place)
            && *seen == key
        {
            return *number as usize;
        }
        let number = match self.index.get(&key) {
            Some(number) => *number,
            None => {
                let plan = self.new_plan(frame, bus, time_s);
                self.plans.push(plan);
                let number = self.plans.len() as u32 - 1;
                self.index.insert(key, number);
                number
            }
        };
        if let Some(entry) = self.recent.get_mut(place) {
            *entry = (key, number);
        }
        number as usize
    }

    fn new_plan(&mut self, frame: &Frame, bus: u16, time_s: f64) -> Plan {
        let id = j1939::Id::from_can(frame.id);
        let role = role(frame.id, frame.extended);
        let kind = match role {
            Role::None => Kind::Other,
            Role::Group => match id.pgn {
                0xEC00 => Kind::Control,
                0xEB00 => Kind::Data,
                0xEA00 => Kind::Request,
                // Torque requests are everyday traffic between controllers; from a service tool they are a test.
                0 if !matches!(id.source, 0xF9 | 0xFA) => Kind::Other,
                pgn if j1939::only_signals(pgn) || pgn == j1939::FILTER_CONTROL => Kind::Quick,
                _ => Kind::Group,
            },
            role => Kind::Diagnostic(role),
        };
        let described = if kind == Kind::Group {
            // What is matched by its group is found when its data arrive.
            let exact = self.sink.dbc.exact(frame.id, frame.extended);
            exact.filter(|n| self.sink.dbc.message(*n).is_some_and(|m| !m.by_group))
        } else {
            self.sink.dbc.frame(frame.id, frame.extended)
        };
        let mut plan = Plan {
            bus,
            id: frame.id,
            extended: frame.extended,
            kind,
            source: id.source,
            pgn: id.pgn,
            quick: Vec::new(),
            waiting: Vec::new(),
            described,
            transport: Transport::default(),
            frames: 0,
            first_s: time_s,
            last_s: time_s,
            shortest: u8::MAX,
            longest: 0,
            last_length: 0,
            inhibited: 0,
        };
        let mut shared = false;
        plan.transport.with_address = frame.extended && matches!(frame.id >> 16 & 0xFF, 0xCD | 0xCE);
        if kind == Kind::Quick {
            let Sink { columns, buses, .. } = &mut self.sink;
            let known = columns.slots.len();
            for (n, parameter) in j1939::parameters(id.pgn).iter().enumerate() {
                let key = group_key(bus, id.source, id.pgn, n);
                let slot = columns.slot(key, &parameter.decode(&[]), || {
                    let (source, pgn, number) = (id.source, id.pgn, parameter.number);
                    prefixed(buses, bus, format!("SA {source:02X} PGN {pgn} SPN {number}"))
                });
                // The group comes with another priority, or came by transport.
                shared |= (slot as usize) < known;
                let (shift, bits, limit) = parameter.place();
                let (scale, offset, per) = parameter.scaling();
                let end = ((u32::from(shift) + bits).div_ceil(8)) as u8;
                let mask = (1u64 << bits) - 1;
                // Beyond the eighth byte it comes by transport only.
                if end <= 8 {
                    plan.quick.push(Quick { slot, shift, end, mask, limit, scale, offset, per });
                }
            }
        }
        if shared && self.hold > 1 {
            self.settle();
            self.hold = 1;
        }
        plan
    }

    /// Takes one frame. `place` is its line, or its byte in a binary container.
    #[inline]
    pub(crate) fn frame(&mut self, frame: &Frame, bus: u16, place: u64) {
        let (now_ns, step) = self.clock.at(frame.time_ns);
        if let Some(step) = step {
            self.clock_set(step, place);
        }
        if let Some(tap) = &mut self.tap {
            tap(frame, bus);
        }
        let counts = &mut self.sink.recording.counts;
        counts.frames += 1;
        match frame.kind {
            FrameKind::Classic => {}
            FrameKind::Fd { .. } => counts.fd_frames += 1,
            FrameKind::Remote => {
                counts.remote_frames += 1;
                return;
            }
            FrameKind::Error => {
                counts.error_frames += 1;
                self.error_classes |= frame.id;
                return;
            }
        }
        let time_s = now_ns as f64 / 1e9;
        let number = self.plan(frame, bus, time_s);
        let Some(plan) = self.plans.get_mut(number) else { return };
        plan.frames += 1;
        plan.last_s = time_s;
        plan.last_length = frame.length;
        plan.shortest = plan.shortest.min(frame.length);
        plan.longest = plan.longest.max(frame.length);
        if plan.kind == Kind::Quick && frame.length <= 8 {
            if !plan.quick.is_empty() {
                plan.waiting.push(Waiting { time_s, word: frame.word(), length: frame.length });
                if plan.waiting.len() >= self.hold {
                    settle(plan, &mut self.sink);
                }
            }
            let inhibited = plan.pgn == j1939::FILTER_CONTROL && {
                let bits = j1939::inhibit_bits(frame.data());
                std::mem::replace(&mut plan.inhibited, bits) != bits
            };
            if plan.described.is_none() && !inhibited {
                return;
            }
        }
        self.full(frame, number, now_ns, place);
    }

    /// Takes out the signals of all frames that wait.
    fn settle(&mut self) {
        for plan in self.plans.iter_mut().filter(|p| !p.waiting.is_empty()) {
            settle(plan, &mut self.sink);
        }
    }

    #[cold]
    fn clock_set(&mut self, step: i64, place: u64) {
        let seconds = step as f64 / 1e9;
        self.sink.problems.add(
            Some(place),
            None,
            || format!("the clock steps back by {seconds:.3} s"),
            "later times were moved to follow on; the true gap is unknown",
        );
    }

    /// Everything but the signals of a short parameter group.
    fn full(&mut self, frame: &Frame, number: usize, now_ns: i64, place: u64) {
        let Some(plan) = self.plans.get_mut(number) else { return };
        let at = At {
            time_s: now_ns as f64 / 1e9,
            line: place,
            bus: plan.bus,
            id: plan.id,
            extended: plan.extended,
        };
        if let Some(described) = plan.described {
            self.sink.described(at, described, frame.data());
        }
        match plan.kind {
            Kind::Other => {}
            Kind::Quick if frame.length <= 8 => {
                self.sink.inhibit_note(at, plan.source, plan.pgn, frame.data())
            }
            Kind::Quick | Kind::Group => {
                if plan.kind == Kind::Quick {
                    settle(plan, &mut self.sink);
                }
                if let Some(what) = j1939::changing_group(plan.pgn) {
                    self.sink.changing(at, 0xEE, || what.to_owned());
                }
                if plan.kind == Kind::Group {
                    self.sink.described_group(at, plan.source, plan.pgn, frame.data());
                }
                self.sink.group(at, plan.source, plan.pgn, frame.data());
            }
            Kind::Request => {
                if let [a, b, c, ..] = *frame.data()
                    && let Some(what) = j1939::clearing_group(u32::from_le_bytes([a, b, c, 0]))
                {
                    self.sink.changing(at, 0xEA, || format!("request {what}"));
                }
            }
            Kind::Control | Kind::Data => self.group_transport(at, now_ns, frame.data()),
            Kind::Diagnostic(role) => {
                diagnostic_frame(&mut plan.transport, &mut self.sink, at, now_ns, role, frame.data());
            }
        }
    }

    fn group_transport(&mut self, at: At, now_ns: i64, data: &[u8]) {
        let id = j1939::Id::from_can(at.id);
        let sink = &mut self.sink;
        if id.pgn == 0xEC00 {
            // Clear-to-send, end and abort come from the receiver; the session belongs to the data's sender.
            let answer = matches!(data.first(), Some(17 | 19));
            let key = if answer {
                (at.bus, id.destination, id.source)
            } else {
                (at.bus, id.source, id.destination)
            };
            if answer {
                if let Some(session) = self.sessions.get_mut(&key) {
                    session.clear_to_send(now_ns, data);
                }
            } else {
                let mut key = key;
                if data.first() == Some(&255) && !self.sessions.contains_key(&key) {
                    key = (at.bus, id.destination, id.source);
                }
                if let Some(error) = self.sessions.entry(key).or_default().control(now_ns, data) {
                    sink.transport_error(at, &error);
                }
            }
            return;
        }
        let Some(session) = self.sessions.get_mut(&(at.bus, id.source, id.destination)) else { return };
        let outcome = session.data(now_ns, data);
        if let Some(error) = outcome.error {
            sink.transport_error(at, &error);
        }
        if let Some((pgn, message)) = outcome.message {
            if !j1939::parameters(pgn).is_empty() {
                for plan in self.plans.iter_mut().filter(|p| !p.waiting.is_empty()) {
                    settle(plan, sink);
                }
            }
            sink.recording.counts.messages += 1;
            sink.described_group(at, id.source, pgn, message);
            sink.group(at, id.source, pgn, message);
        }
    }

    /// Makes room for what the rest of the content will bring if it is like the beginning.
    pub(crate) fn expect(&mut self, read: usize, of: usize) {
        self.settle();
        for slot in &mut self.sink.columns.slots {
            let seen = slot.signal.value.len();
            let coming =
                (seen as f64 * (of.saturating_sub(read)) as f64 / read.max(1) as f64 * 1.02) as usize;
            slot.signal.time_s.reserve(coming + 16);
            slot.signal.value.reserve(coming + 16);
        }
    }

    /// Hands out the samples gathered so far, so that they need not be kept. Signals whose scale the whole
    /// recording decides are kept to the end.
    pub(crate) fn take(&mut self) -> (Vec<Signal>, Vec<NamedSignal>) {
        self.settle();
        self.sink.take(self.clock.disordered)
    }

    /// Time of the first frame as written.
    pub(crate) fn first_ns(&self) -> Option<i64> {
        self.clock.first_ns
    }

    /// Takes in signals that a container names itself. Duration and beginning count only when there are no frames.
    pub(crate) fn adopt(
        &mut self,
        signals: Vec<Signal>,
        named: Vec<NamedSignal>,
        duration_s: f64,
        start_epoch_s: Option<f64>,
    ) {
        self.sink.adopted = (signals, named);
        if self.clock.first_ns.is_none() {
            self.adopted_duration_s = duration_s;
            self.sink.recording.start_epoch_s = start_epoch_s;
        }
    }

    /// Closes the recording: runs the self-checks, sorts, writes the notes that were counted.
    pub(crate) fn finish(mut self, mut cut: CutEnd) -> Recording {
        self.settle();
        let mut open: Vec<(String, usize, usize)> = Vec::new();
        for plan in &self.plans {
            let Kind::Diagnostic(role) = plan.kind else { continue };
            let guess = matches!(role, Role::General { certain: false } | Role::Addressed);
            let known = !guess || plan.transport.long_messages > 0;
            for (got, of) in plan.transport.unfinished().filter(|_| known) {
                open.push((self.sender(plan), got, of));
            }
        }
        for ((bus, source, _), session) in &self.sessions {
            if let Some((got, of)) = session.unfinished() {
                open.push((prefixed(&self.sink.buses, *bus, format!("SA {source:02X}")), got, of));
            }
        }
        open.sort();
        let end = self.sink.problems.end_place(&self.sink.recording.counts);
        for (sender, got, of) in open {
            if cut.line.is_none() && cut.byte.is_none() {
                (cut.line, cut.byte) = end;
            }
            cut.what.push(format!(
                "transfer of {sender} unfinished at the end of the file ({got} of {of} bytes)"
            ));
        }

        let mut ids: Vec<(bool, u32)> = self.plans.iter().map(|p| (p.extended, p.id)).collect();
        ids.sort_unstable();
        ids.dedup();
        let mut identifiers: Vec<Identifier> = self
            .plans
            .iter()
            .map(|plan| Identifier {
                bus: plan.bus,
                id: plan.id,
                extended: plan.extended,
                frames: plan.frames,
                first_s: plan.first_s,
                last_s: plan.last_s,
                shortest: plan.shortest,
                longest: plan.longest,
            })
            .collect();
        identifiers.sort_unstable_by_key(|i| (i.bus, i.extended, i.id));
        let recording = &mut self.sink.recording;
        recording.identifiers = identifiers;
        recording.counts.ids = ids.len() as u64;
        recording.duration_s = self.clock.duration_s().max(self.adopted_duration_s);
        // Before 1973 it is no date but a time since some start.
        if recording.start_epoch_s.is_none() {
            recording.start_epoch_s = self
                .clock
                .first_ns
                .map(|ns| ns as f64 / 1e9)
                .filter(|s| *s > 1e8 && !self.clock.sum_differences);
        }
        let counts = self.sink.recording.counts;
        if counts.frames + counts.rows + counts.lost_lines == 0 && cut.what.is_empty() {
            self.sink.problems.add(
                None,
                Some(counts.bytes),
                || "no frame and no sample in it".to_owned(),
                "check that the recording was saved and that the bus was awake",
            );
        }
        self.error_note();
        let disordered = self.clock.disordered;
        self.sink.finish(disordered, cut)
    }

    fn sender(&self, plan: &Plan) -> String {
        At { time_s: 0.0, line: 0, bus: plan.bus, id: plan.id, extended: plan.extended }
            .sender(&self.sink.buses)
    }

    fn error_note(&mut self) {
        const CLASSES: [&str; 9] = [
            "transmit timeout",
            "lost arbitration",
            "controller",
            "protocol",
            "transceiver",
            "no acknowledge",
            "bus off",
            "bus error",
            "restarted",
        ];
        let count = self.sink.recording.counts.error_frames;
        if count == 0 {
            return;
        }
        let mut text = format!("{count} error frames on the bus:");
        for (n, name) in CLASSES.iter().enumerate() {
            if self.error_classes >> n & 1 == 1 {
                let _ = write!(text, " {name},");
            }
        }
        let text = text.trim_end_matches([',', ':']).to_owned();
        self.note(NoteKind::Bus, "bus", text);
    }
}

/// Takes the signals out of the frames that wait, one signal after the other. Every value is written and only those that
/// are there are kept, which costs less than a wrong guess at a branch.
fn settle(plan: &mut Plan, sink: &mut Sink) {
    let waiting = &plan.waiting;
    for quick in &plan.quick {
        let Some(slot) = sink.columns.slots.get_mut(quick.slot as usize) else { continue };
        let Signal { time_s, value, .. } = &mut slot.signal;
        let before = value.len();
        let all = before + waiting.len();
        time_s.resize(all, 0.0);
        value.resize(all, 0.0);
        let mut kept = 0;
        if let (Some(times), Some(values)) = (time_s.get_mut(before..), value.get_mut(before..)) {
            for frame in waiting {
                let raw = frame.word >> quick.shift & quick.mask;
                let there = raw <= quick.limit && quick.end <= frame.length;
                let scaled = raw as i64 as f64 * quick.scale + quick.offset;
                if let (Some(t), Some(v)) = (times.get_mut(kept), values.get_mut(kept)) {
                    (*t, *v) = (frame.time_s, if quick.per == 1.0 { scaled } else { scaled / quick.per });
                }
                kept += usize::from(there);
            }
        }
        time_s.truncate(before + kept);
        value.truncate(before + kept);
        let absent = (waiting.len() - kept) as u64;
        slot.absent += absent;
        sink.recording.counts.absent_values += absent;
    }
    plan.waiting.clear();
}

fn diagnostic_frame(
    transport: &mut Transport,
    sink: &mut Sink,
    at: At,
    now_ns: i64,
    role: Role,
    data: &[u8],
) {
    let guess = matches!(role, Role::General { certain: false } | Role::Addressed);
    // Extended and mixed addressing put an address byte before the frame type. A 29-bit identifier tells; on 11 bit
    // it is tried on those identifiers that the standard leaves open, beside the plain form, until one has carried a
    // message of several frames.
    if !transport.with_address && role != Role::Addressed {
        let outcome = transport.normal.push(now_ns, data);
        let long = data.first().is_some_and(|b| b >> 4 == 2);
        if let Some(error) = outcome.error
            // On an 11-bit id that is not one of OBD's, frames that make no sense are simply not ISO-TP.
            && (!guess || transport.long_messages > 0)
        {
            sink.transport_error(at, &error);
        }
        if let Some(message) = outcome.message {
            transport.long_messages += u64::from(long);
            let known = !guess || transport.long_messages > 0;
            sink.recording.counts.messages += u64::from(known);
            sink.message(at, role, known, message);
        }
        if !guess || transport.long_messages > 0 {
            return;
        }
    }
    let Some((address, rest)) = data.split_first() else { return };
    let certain = transport.with_address;
    let outcome = transport.assembler(*address).push_behind_address(now_ns, rest);
    let long = rest.first().is_some_and(|b| b >> 4 == 2);
    let error = outcome.error;
    if let Some(message) = outcome.message {
        // A guess is believed only when several frames fitted together.
        if certain || long {
            sink.recording.counts.messages += 1;
            sink.message(at, role, true, message);
            if !certain {
                transport.with_address = true;
                transport.long_messages += 1;
                sink.address_byte_learnt(at);
            }
        }
    }
    if let Some(error) = error.filter(|_| certain) {
        sink.transport_error(at, &error);
    }
}
