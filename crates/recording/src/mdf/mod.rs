//! ASAM MDF 4: frames of bus logging and plain groups of signals.

mod blocks;
mod layout;
mod turned;

use crate::binary::fd_length;
use crate::bus::{Decoder, Tap};
use crate::frame::{Direction, Frame, FrameKind};
use crate::model::{CutEnd, NamedSignal, NoteKind, Options, Problems, Recording, Signal};
use crate::table::quantity_of;
use blocks::{File, Form, Piece};
use layout::{Channel, DataGroup, Group, Member, data_groups};
use std::collections::VecDeque;
use turned::{GROUP, Turned};

/// Records of bus logging are turned back so many at a time, which stays in the nearest cache.
const ROWS: usize = 256;
/// So many records tell how many samples to make room for.
const BEGINNING: u64 = 1 << 14;

/// What a group of bus logging holds.
#[derive(Clone, Copy, PartialEq, Eq)]
enum BusKind {
    Data,
    Remote,
    Error,
}

/// The members of a group of bus logging.
struct BusGroup {
    kind: BusKind,
    record_bytes: usize,
    time: Member,
    id: Option<Member>,
    extended: Option<Member>,
    code: Option<Member>,
    length: Option<Member>,
    bytes: Option<Member>,
    sent: Option<Member>,
    bus: Option<Member>,
    fd: Option<Member>,
    switched: Option<Member>,
    passive: Option<Member>,
    /// Where bytes of variable length are: position of the group in the same stream, or a block of their own.
    variable: Option<Variable>,
}

enum Variable {
    Group(usize),
    Block(Vec<u8>),
}

/// A plain signal under construction.
struct Series {
    group: usize,
    channel: Channel,
    times: Vec<f64>,
    values: Vec<f64>,
    absent: u64,
}

pub(crate) fn read(
    content: &[u8],
    recording: Recording,
    options: &Options,
    mut problems: Problems,
    mut cut: CutEnd,
    tap: Tap<'_>,
) -> Recording {
    problems.places_are_bytes = true;
    let mut decoder = Decoder::new(recording, problems, options, tap);
    let version = content.get(28..30).and_then(|b| b.first_chunk()).map_or(0, |b| u16::from_le_bytes(*b));
    let whole_head = content.len() >= 64;
    if whole_head && !(400..500).contains(&version) {
        decoder.problems().add(
            Some(28),
            None,
            || format!("version {version} of MDF is not read, only version 4"),
            "save it as version 4 or export it as candump text",
        );
        return decoder.finish(cut);
    }
    let mut file = File::new(content, options.max_unpacked_bytes);
    let head = if whole_head { file.block(64, &[b"##HD"]) } else { None };
    file.findings.cut |= !whole_head;
    let start_ns = head.and_then(|h| h.u64(0)).and_then(|ns| i64::try_from(ns).ok()).unwrap_or(0);
    let groups = data_groups(&mut file, head.and_then(|h| h.link(0)));
    let mut reader = Reader {
        decoder,
        start_ns,
        names: Vec::new(),
        gathered: None,
        series: Vec::new(),
        samples_left: options.max_unpacked_bytes / 16,
        other_bus_records: 0,
        frame: Frame::default(),
        frames: 0,
        file_bytes: content.len(),
        expected: false,
    };
    // Groups of error and remote frames are often there and empty: then nothing needs to be sorted.
    let filled = |g: &&Group| bus_kind(g).is_some() && (file.unfinished || g.cycles > 0);
    let with_data = groups.iter().filter(|d| d.data.is_some());
    let buses = with_data.flat_map(|d| &d.groups).filter(filled).count();
    if buses > 1 {
        reader.gathered = Some(Vec::new());
    }
    for (n, data_group) in groups.iter().enumerate() {
        reader.data_group(&mut file, data_group, n);
    }
    reader.finish(&file, &groups, options, &mut cut)
}

fn bus_kind(group: &Group) -> Option<BusKind> {
    group.channels.iter().find_map(|c| match c.name.as_str() {
        "CAN_DataFrame" => Some(BusKind::Data),
        "CAN_RemoteFrame" => Some(BusKind::Remote),
        "CAN_ErrorFrame" => Some(BusKind::Error),
        _ => None,
    })
}

/// A group of another bus (LIN, FlexRay, Ethernet): its members are no signals.
fn other_bus(group: &Group) -> bool {
    group.channels.iter().any(|c| {
        ["LIN_", "FLX_", "ETH_", "MOST_", "K_LINE_", "CAN_OverloadFrame"]
            .iter()
            .any(|p| c.name.starts_with(p))
    })
}

struct Reader<'t> {
    decoder: Decoder<'t>,
    start_ns: i64,
    names: Vec<(u64, u16)>,
    /// Frames of several groups, to be sorted by time.
    gathered: Option<Vec<(Frame, u16, u64)>>,
    series: Vec<Series>,
    samples_left: u64,
    other_bus_records: u64,
    /// Used again from record to record.
    frame: Frame,
    /// Frames taken the short way, and whether they made room for what follows.
    frames: u64,
    expected: bool,
    file_bytes: usize,
}

/// What is done with the records of one group.
enum Use {
    Frames(Box<BusGroup>, Pending),
    /// Positions of its signals, its time channel, its number of records.
    Signals(Vec<usize>, Channel),
    /// Bytes of variable length, as they came.
    Variable(Vec<u8>),
    OtherBus,
    Nothing,
}

/// Frames whose bytes have not been met yet.
type Pending = VecDeque<(Frame, u16, u64, usize)>;

impl Reader<'_> {
    fn data_group(&mut self, file: &mut File<'_>, data_group: &DataGroup, number: usize) {
        let Some(data) = data_group.data else { return };
        let mut uses: Vec<Use> = Vec::new();
        for group in &data_group.groups {
            uses.push(self.use_of(file, data_group, group, number));
        }
        if uses.iter().all(|u| matches!(u, Use::Nothing)) {
            return;
        }
        let mut rest: Vec<u8> = Vec::new();
        let mut unknown_ids = 0u64;
        let mut last_place = 0;
        let mut seen = 0;
        file.data(data, &mut |piece| {
            last_place = piece.place;
            if rest.is_empty()
                && data_group.id_bytes == 0
                && let ([Use::Frames(bus, pending)], [_]) =
                    (uses.as_mut_slice(), data_group.groups.as_slice())
                && bus.variable.is_none()
                && pending.is_empty()
                && let Some(used) = self.lone_group(bus, &piece, &mut seen)
            {
                if let Form::Plain(bytes) | Form::Unpacked(bytes) = piece.form {
                    rest.extend_from_slice(bytes.get(used..).unwrap_or(&[]));
                }
                return;
            }
            match piece.form {
                Form::Plain(bytes) | Form::Unpacked(bytes) if rest.is_empty() => {
                    let in_place = matches!(piece.form, Form::Plain(_));
                    let used =
                        self.records(data_group, &mut uses, bytes, piece.place, in_place, &mut unknown_ids);
                    rest.extend_from_slice(bytes.get(used..).unwrap_or(&[]));
                }
                _ => {
                    piece.append_to(&mut rest);
                    let used =
                        self.records(data_group, &mut uses, &rest, piece.place, false, &mut unknown_ids);
                    rest.drain(..used.min(rest.len()));
                }
            }
        });
        let pending: usize = uses.iter().map(|u| if let Use::Frames(_, p) = u { p.len() } else { 0 }).sum();
        if !rest.is_empty() && unknown_ids == 0 || pending > 0 {
            // Zeros behind the last record are room that was reserved.
            if pending > 0 || rest.iter().any(|b| *b != 0) {
                file.findings.cut = true;
            }
        }
        if unknown_ids > 0 {
            file.findings
                .damage
                .push((last_place, "a record of no known group; the rest of its block".to_owned()));
        }
    }

    fn use_of(&mut self, file: &mut File<'_>, all: &DataGroup, group: &Group, number: usize) -> Use {
        if group.variable {
            return Use::Variable(Vec::new());
        }
        let time = group.channels.iter().find(|c| matches!(c.kind, 2 | 3) && c.sync == 1);
        if let (Some(kind), Some(time)) = (bus_kind(group), time) {
            let record_bytes = group.data_bytes.saturating_add(group.invalid_bytes);
            let part = |name: &str| {
                let ends = |c: &&Channel| c.name.rsplit('.').next() == Some(name) && c.name.contains('.');
                group.channels.iter().find(ends).map(|c| Member::new(c, record_bytes))
            };
            let bytes = part("DataBytes");
            let variable =
                bytes.as_ref().map(|b| &b.channel).filter(|b| b.kind == 1).and_then(|b| b.data).map(|link| {
                    match all.groups.iter().position(|g| g.at == link) {
                        Some(place) => Variable::Group(place),
                        None => {
                            let mut gathered = Vec::new();
                            file.data(link, &mut |piece| piece.append_to(&mut gathered));
                            Variable::Block(gathered)
                        }
                    }
                });
            let bus = BusGroup {
                kind,
                record_bytes,
                time: Member::new(time, record_bytes),
                id: part("ID"),
                extended: part("IDE"),
                code: part("DLC"),
                length: part("DataLength"),
                bytes,
                sent: part("Dir"),
                bus: part("BusChannel"),
                fd: part("EDL"),
                switched: part("BRS"),
                passive: part("ESI"),
                variable,
            };
            return Use::Frames(Box::new(bus), Pending::new());
        }
        if other_bus(group) {
            return Use::OtherBus;
        }
        let Some(time) = time else { return Use::Nothing };
        let mut places = Vec::new();
        for channel in group.channels.iter().filter(|c| c.is_number()) {
            places.push(self.series.len());
            self.series.push(Series {
                group: number,
                channel: channel.clone(),
                times: Vec::new(),
                values: Vec::new(),
                absent: 0,
            });
        }
        if places.is_empty() { Use::Nothing } else { Use::Signals(places, time.clone()) }
    }

    /// Reads the whole records at the beginning of `bytes`; gives back how many bytes they were.
    fn records(
        &mut self,
        all: &DataGroup,
        uses: &mut [Use],
        bytes: &[u8],
        place: u64,
        in_place: bool,
        unknown_ids: &mut u64,
    ) -> usize {
        let mut at = 0;
        loop {
            let rest = bytes.get(at..).unwrap_or(&[]);
            let place = if in_place { place + at as u64 } else { place };
            let id_bytes = all.id_bytes.min(8);
            let Some(id_part) = rest.get(..id_bytes) else { break };
            let number = if id_bytes == 0 {
                if all.groups.is_empty() { None } else { Some(0) }
            } else {
                let id = id_part.iter().rev().fold(0u64, |n, b| n << 8 | u64::from(*b));
                all.groups.iter().position(|g| g.record_id == id)
            };
            let body = rest.get(id_bytes..).unwrap_or(&[]);
            if body.is_empty() {
                break;
            }
            let Some((number, group)) = number.and_then(|n| Some((n, all.groups.get(n)?))) else {
                // Zeros: room that was reserved and not used.
                if rest.iter().any(|b| *b != 0) {
                    *unknown_ids += 1;
                }
                return bytes.len();
            };
            let size = if group.variable {
                let Some(length) = body.first_chunk::<4>() else { break };
                (u32::from_le_bytes(*length) as usize).saturating_add(4)
            } else {
                group.data_bytes.saturating_add(group.invalid_bytes)
            };
            if size == 0 {
                return bytes.len();
            }
            let Some(record) = body.get(..size) else { break };
            self.record(uses, number, record, group.data_bytes, place);
            at += id_bytes + size;
        }
        at
    }

    fn record(&mut self, uses: &mut [Use], number: usize, record: &[u8], data_bytes: usize, place: u64) {
        match uses.get_mut(number) {
            Some(Use::Variable(stream)) => {
                stream.extend_from_slice(record);
                self.deliver(uses, number);
            }
            Some(Use::Signals(places, time)) => {
                let (data, invalid) = record.split_at_checked(data_bytes).unwrap_or((record, &[]));
                self.decoder.recording().counts.rows += 1;
                let Some(ns) = time.raw(data).and_then(|raw| time.nanoseconds(raw)) else { return };
                for place in places {
                    let Some(series) = self.series.get_mut(*place) else { continue };
                    match series.channel.value(data, invalid) {
                        Some(value) if self.samples_left > 0 => {
                            self.samples_left -= 1;
                            series.times.push(ns as f64 / 1e9);
                            series.values.push(value);
                        }
                        _ => series.absent += 1,
                    }
                }
            }
            Some(Use::Frames(..)) => self.bus_record(uses, number, record, place),
            Some(Use::OtherBus) => self.other_bus_records += 1,
            Some(Use::Nothing) | None => {}
        }
    }

    /// Frames of a group that is alone in its stream and whose bytes stand in its records: the usual file. Gives back how
    /// many bytes were whole records, or `None` if the records are not as they should be.
    fn lone_group(&mut self, bus: &BusGroup, piece: &Piece<'_>, seen: &mut usize) -> Option<usize> {
        let size = bus.record_bytes;
        if size == 0 {
            return None;
        }
        let used = match piece.form {
            Form::Plain(bytes) | Form::Unpacked(bytes) => {
                let in_place = matches!(piece.form, Form::Plain(_));
                let rows = bytes.len() / size;
                for first in (0..rows).step_by(ROWS) {
                    let place = piece.place + if in_place { (first * size) as u64 } else { 0 };
                    let rows = ROWS.min(rows - first);
                    self.rows(bus, bytes.get(first * size..).unwrap_or(&[]), rows, place, in_place);
                    if in_place {
                        self.expect(*seen + (first + rows) * size);
                    }
                }
                rows * size
            }
            Form::Turned(turned) => {
                if turned.columns != size || turned.rows == 0 || !turned.rest.is_empty() {
                    return None;
                }
                let wanted = bus.wanted(&turned);
                // A damaged size of the records must not ask for more memory than there are data.
                let mut rows = vec![0u8; ROWS.min(turned.rows) * size];
                for first in (0..turned.rows).step_by(ROWS) {
                    let count = ROWS.min(turned.rows - first);
                    turned.rows(first, count, &wanted, &mut rows);
                    self.rows(bus, &rows, count, piece.place, false);
                }
                turned.rows * size
            }
        };
        *seen += piece.stored;
        self.expect(*seen);
        Some(used)
    }

    /// Makes room for the samples to come once enough were seen. `bytes` of the file hold what was read.
    fn expect(&mut self, bytes: usize) {
        if !self.expected && self.frames >= BEGINNING && bytes > 0 {
            self.expected = true;
            self.decoder.expect(bytes, self.file_bytes);
        }
    }

    /// `count` records that stand one behind the other.
    fn rows(&mut self, bus: &BusGroup, bytes: &[u8], count: usize, place: u64, in_place: bool) {
        let size = bus.record_bytes;
        for n in 0..count {
            let Some(window) = bytes.get(n * size..) else { return };
            let Some(record) = window.get(..size) else { return };
            let place = if in_place { place + (n * size) as u64 } else { place };
            if let Some((channel, _)) = self.take(bus, record, window, place) {
                if self.gathered.is_some() {
                    let frame = self.frame.clone();
                    self.frame(&frame, channel, place);
                } else {
                    self.decoder.frame(&self.frame, channel, place);
                }
            }
        }
        self.frames += count as u64;
    }

    /// Reads a record into `self.frame`; gives back the bus and the offset of bytes that stand elsewhere.
    #[inline]
    fn take(
        &mut self,
        bus: &BusGroup,
        record: &[u8],
        window: &[u8],
        place: u64,
    ) -> Option<(u16, Option<usize>)> {
        let channel = bus.bus.as_ref().and_then(|c| c.raw(record, window)).unwrap_or(0);
        let Some(offset) = bus.frame(record, window, &mut self.frame) else {
            self.decoder.recording().counts.lost_lines += 1;
            self.decoder.problems().add(
                Some(place),
                None,
                || "a record of bus logging without time or identifier".to_owned(),
                "the record was left out",
            );
            return None;
        };
        self.frame.time_ns = self.frame.time_ns.saturating_add(self.start_ns);
        Some((self.bus_number(channel), offset))
    }

    fn bus_record(&mut self, uses: &mut [Use], number: usize, record: &[u8], place: u64) {
        let Some(Use::Frames(bus, pending)) = uses.get(number) else { return };
        let waits = !pending.is_empty();
        let Some((channel, offset)) = self.take(bus, record, record, place) else { return };
        let mut frame = self.frame.clone();
        let Some(offset) = offset else {
            self.frame(&frame, channel, place);
            return;
        };
        let ready = !waits
            && match &bus.variable {
                Some(Variable::Block(stream)) => fill(&mut frame, stream, offset),
                Some(Variable::Group(other)) => match uses.get(*other) {
                    Some(Use::Variable(stream)) => fill(&mut frame, stream, offset),
                    _ => false,
                },
                None => true,
            };
        if ready {
            self.frame(&frame, channel, place);
        } else if let Some(Use::Frames(_, pending)) = uses.get_mut(number) {
            pending.push_back((frame, channel, place, offset));
        }
    }

    /// New bytes of variable length came: frames that waited for them go on.
    fn deliver(&mut self, uses: &mut [Use], from: usize) {
        for number in 0..uses.len() {
            while let (Some(Use::Frames(bus, pending)), Some(Use::Variable(stream))) =
                (uses.get(number), uses.get(from))
            {
                if !matches!(bus.variable, Some(Variable::Group(g)) if g == from) {
                    break;
                }
                let Some((mut frame, channel, place, offset)) = pending.front().cloned() else { break };
                if !fill(&mut frame, stream, offset) {
                    break;
                }
                self.frame(&frame, channel, place);
                if let Some(Use::Frames(_, pending)) = uses.get_mut(number) {
                    pending.pop_front();
                }
            }
        }
    }

    fn bus_number(&mut self, channel: u64) -> u16 {
        if let Some((_, bus)) = self.names.iter().find(|(c, _)| *c == channel) {
            return *bus;
        }
        let bus = self.decoder.bus(format!("CAN{channel}").as_bytes());
        if self.names.len() < 128 {
            self.names.push((channel, bus));
        }
        bus
    }

    fn frame(&mut self, frame: &Frame, bus: u16, place: u64) {
        match &mut self.gathered {
            Some(list) => list.push((frame.clone(), bus, place)),
            None => self.decoder.frame(frame, bus, place),
        }
    }

    fn finish(
        mut self,
        file: &File<'_>,
        groups: &[DataGroup],
        options: &Options,
        cut: &mut CutEnd,
    ) -> Recording {
        if let Some(mut list) = self.gathered.take() {
            list.sort_by_key(|(frame, _, _)| frame.time_ns);
            for (frame, bus, place) in &list {
                self.decoder.frame(frame, *bus, *place);
            }
        }
        self.plain_signals(groups, options);
        if self.other_bus_records > 0 {
            let text = format!("{} records of other buses than CAN were passed over", self.other_bus_records);
            self.decoder.note(NoteKind::Bus, "bus", text);
        }
        for (place, what) in &file.findings.damage {
            let place = *place;
            self.decoder.problems().add(
                Some(place),
                None,
                || what.clone(),
                "what hangs on it was left out; the rest was read; copy the file again",
            );
        }
        if file.findings.cut {
            cut.byte = cut.byte.or(Some(file.bytes.len() as u64));
            cut.what.push("the file ends before its content does".to_owned());
        }
        let cut = std::mem::take(cut);
        self.decoder.finish(cut)
    }

    fn plain_signals(&mut self, groups: &[DataGroup], options: &Options) {
        let first = self.series.iter().filter_map(|s| s.times.first().copied()).reduce(f64::min);
        let last = self.series.iter().filter_map(|s| s.times.last().copied()).reduce(f64::max);
        let (Some(first), Some(last)) = (first, last) else { return };
        // With frames in the same file their first one is the zero of time.
        let zero = self.decoder.first_ns().map_or(first, |ns| ns.saturating_sub(self.start_ns) as f64 / 1e9);
        let epoch = self.start_ns as f64 / 1e9 + zero;
        let (mut signals, mut named) = (Vec::new(), Vec::new());
        for mut series in std::mem::take(&mut self.series) {
            let channel = &series.channel;
            if series.values.is_empty() && series.absent == 0 {
                continue;
            }
            let data_group = groups.get(series.group);
            let group = data_group
                .and_then(|d| d.groups.first())
                .map(|g| g.name.clone())
                .filter(|n| !n.is_empty())
                .unwrap_or_else(|| format!("group {}", series.group + 1));
            series.times.iter_mut().for_each(|t| *t -= zero);
            crate::bus::sort_by_time(&mut series.times, &mut series.values);
            self.decoder.recording().counts.absent_values += series.absent;
            if let layout::Conversion::Unknown(kind) = channel.conversion {
                let name = channel.name.clone();
                self.decoder.note(
                    NoteKind::ColumnUnused,
                    &name,
                    format!("its conversion (kind {kind}) is not read; the signal was left out"),
                );
                continue;
            }
            match quantity_of(&channel.name, &channel.unit, options) {
                Some((quantity, instance, factor, offset)) => {
                    series.values.iter_mut().for_each(|v| *v = *v * factor + offset);
                    signals.push(Signal {
                        quantity,
                        instance,
                        source: channel.name.clone(),
                        resolution: channel.conversion.factor() * factor,
                        time_s: series.times,
                        value: series.values,
                    });
                }
                None => named.push(NamedSignal {
                    name: channel.name.clone(),
                    message: group.clone(),
                    unit: channel.unit.clone(),
                    source: group,
                    resolution: channel.conversion.factor(),
                    absent: series.absent,
                    time_s: series.times,
                    value: series.values,
                }),
            }
        }
        self.decoder.adopt(signals, named, last - first, (epoch > 1e8).then_some(epoch));
    }
}

/// Puts the bytes at an offset of a stream (length, then bytes) into the frame; false if they are not there yet.
fn fill(frame: &mut Frame, stream: &[u8], offset: usize) -> bool {
    let Some(rest) = stream.get(offset..) else { return false };
    let Some((length, rest)) = rest.split_first_chunk::<4>() else { return false };
    let Some(bytes) = rest.get(..u32::from_le_bytes(*length) as usize) else { return false };
    frame.set_data(bytes);
    true
}

impl BusGroup {
    fn members(&self) -> impl Iterator<Item = &Member> {
        let optional = [
            &self.id,
            &self.extended,
            &self.code,
            &self.length,
            &self.sent,
            &self.bus,
            &self.fd,
            &self.switched,
            &self.passive,
        ];
        std::iter::once(&self.time).chain(optional.into_iter().flatten())
    }

    /// Which groups of eight columns are needed: those of the members, and of the data bytes as many as the longest frame
    /// of the piece has.
    fn wanted(&self, turned: &Turned<'_>) -> Vec<bool> {
        let longest = |m: &Member| m.whole_byte().and_then(|n| turned.column(n).iter().max().copied());
        let bytes = match (&self.length, &self.code) {
            (Some(length), _) => longest(length),
            (None, Some(code)) => longest(code).map(|c| (0..=c).map(fd_length).max().unwrap_or(64)),
            (None, None) => None,
        };
        let data = self.bytes.as_ref().map(|b| {
            let room = b.channel.bits as usize / 8;
            b.channel.byte..b.channel.byte.saturating_add(room.min(usize::from(bytes.unwrap_or(64))))
        });
        let mut wanted = vec![false; turned.columns.div_ceil(GROUP)];
        for span in self.members().map(|m| m.channel.span()).chain(data) {
            let groups = span.start / GROUP..span.end.div_ceil(GROUP).min(wanted.len());
            wanted.get_mut(groups).unwrap_or(&mut []).fill(true);
        }
        wanted
    }

    /// Everything but bytes of variable length, of which the offset comes back. `None` without time or identifier.
    #[inline(always)]
    fn frame(&self, record: &[u8], window: &[u8], frame: &mut Frame) -> Option<Option<usize>> {
        let raw = |m: &Option<Member>| m.as_ref().and_then(|m| m.raw(record, window));
        let bit = |m: &Option<Member>| raw(m).unwrap_or(0) != 0;
        frame.time_ns = self.time.channel.nanoseconds(self.time.raw(record, window)?)?;
        frame.direction = raw(&self.sent).map(|sent| match sent {
            0 => Direction::Received,
            _ => Direction::Sent,
        });
        if self.kind == BusKind::Error {
            frame.set_data(&[]);
            (frame.id, frame.extended, frame.kind) = (0x80, true, FrameKind::Error);
            return Some(None);
        }
        let id = raw(&self.id)?;
        frame.extended = bit(&self.extended) || id & 0x8000_0000 != 0;
        frame.id = id as u32 & if frame.extended { 0x1FFF_FFFF } else { 0x7FF };
        let stated = || raw(&self.length);
        let coded = || raw(&self.code).map(|code| u64::from(u8::try_from(code).map_or(64, fd_length)));
        // A remote frame holds no data; its code says how many it asks for.
        let length =
            if self.kind == BusKind::Remote { coded().or_else(stated) } else { stated().or_else(coded) };
        let length = length.unwrap_or(64).min(64) as usize;
        frame.kind = match self.kind {
            BusKind::Remote => FrameKind::Remote,
            _ if bit(&self.fd) => {
                FrameKind::Fd { bit_rate_switch: bit(&self.switched), error_state: bit(&self.passive) }
            }
            _ => FrameKind::Classic,
        };
        if self.kind == BusKind::Remote {
            frame.length = length.min(8) as u8;
            return Some(None);
        }
        let bytes = self.bytes.as_ref()?;
        if self.variable.is_some() {
            return Some(Some(usize::try_from(bytes.raw(record, window)?).ok()?));
        }
        let room = bytes.channel.bits as usize / 8;
        let data = record.get(bytes.channel.byte..)?;
        frame.set_data(data.get(..length.min(room)).unwrap_or(data));
        Some(None)
    }
}
