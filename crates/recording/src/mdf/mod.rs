//! ASAM MDF 4: frames of bus logging and plain groups of signals.

mod blocks;
mod layout;

use crate::bus::{Decoder, Tap};
use crate::frame::{Direction, Frame, FrameKind};
use crate::model::{CutEnd, NamedSignal, NoteKind, Options, Problems, Recording, Signal};
use crate::table::quantity_of;
use blocks::File;
use layout::{Channel, DataGroup, Group, data_groups};
use std::collections::VecDeque;

const FD_LENGTHS: [u8; 16] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64];

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
    time: Channel,
    id: Option<Channel>,
    extended: Option<Channel>,
    code: Option<Channel>,
    length: Option<Channel>,
    bytes: Option<Channel>,
    sent: Option<Channel>,
    bus: Option<Channel>,
    fd: Option<Channel>,
    switched: Option<Channel>,
    passive: Option<Channel>,
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
        file.data(data, &mut |piece, place| {
            last_place = place;
            if rest.is_empty() {
                let used = self.records(data_group, &mut uses, piece, place, true, &mut unknown_ids);
                rest.extend_from_slice(piece.get(used..).unwrap_or(&[]));
            } else {
                rest.extend_from_slice(piece);
                let used = self.records(data_group, &mut uses, &rest, place, false, &mut unknown_ids);
                rest.drain(..used.min(rest.len()));
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
            let part = |name: &str| {
                let ends = |c: &&Channel| c.name.rsplit('.').next() == Some(name) && c.name.contains('.');
                group.channels.iter().find(ends).cloned()
            };
            let bytes = part("DataBytes");
            let variable =
                bytes.as_ref().filter(|b| b.kind == 1).and_then(|b| b.data).map(|link| {
                    match all.groups.iter().position(|g| g.at == link) {
                        Some(place) => Variable::Group(place),
                        None => {
                            let mut gathered = Vec::new();
                            file.data(link, &mut |piece, _| gathered.extend_from_slice(piece));
                            Variable::Block(gathered)
                        }
                    }
                });
            let bus = BusGroup {
                kind,
                time: time.clone(),
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
                let Some(ns) = time.nanoseconds(data) else { return };
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

    fn bus_record(&mut self, uses: &mut [Use], number: usize, record: &[u8], place: u64) {
        let mut frame = Frame::default();
        let Some(Use::Frames(bus, pending)) = uses.get(number) else { return };
        let waits = !pending.is_empty();
        let channel = bus.bus.as_ref().and_then(|c| c.raw(record)).unwrap_or(0);
        let Some(offset) = bus.frame(record, &mut frame) else {
            self.decoder.recording().counts.lost_lines += 1;
            self.decoder.problems().add(
                Some(place),
                None,
                || "a record of bus logging without time or identifier".to_owned(),
                "the record was left out",
            );
            return;
        };
        frame.time_ns = frame.time_ns.saturating_add(self.start_ns);
        let channel = self.bus_number(channel);
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
    /// Everything but bytes of variable length, of which the offset comes back. `None` without time or identifier.
    #[inline]
    fn frame(&self, record: &[u8], frame: &mut Frame) -> Option<Option<usize>> {
        let bit = |c: &Option<Channel>| c.as_ref().and_then(|c| c.raw(record)).unwrap_or(0) != 0;
        frame.time_ns = self.time.nanoseconds(record)?;
        frame.direction = self.sent.as_ref().and_then(|c| c.raw(record)).map(|sent| match sent {
            0 => Direction::Received,
            _ => Direction::Sent,
        });
        if self.kind == BusKind::Error {
            (frame.id, frame.extended, frame.kind) = (0x80, true, FrameKind::Error);
            return Some(None);
        }
        let id = self.id.as_ref().and_then(|c| c.raw(record))?;
        frame.extended = bit(&self.extended) || id & 0x8000_0000 != 0;
        frame.id = id as u32 & if frame.extended { 0x1FFF_FFFF } else { 0x7FF };
        let code = self.code.as_ref().and_then(|c| c.raw(record));
        let length = self.length.as_ref().and_then(|c| c.raw(record));
        let length = length.or_else(|| {
            let code = usize::try_from(code?).ok()?;
            FD_LENGTHS.get(code).map(|n| u64::from(*n))
        });
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
            return Some(Some(usize::try_from(bytes.raw(record)?).ok()?));
        }
        let room = bytes.bits as usize / 8;
        let data = record.get(bytes.byte..)?;
        frame.set_data(data.get(..length.min(room)).unwrap_or(data));
        Some(None)
    }
}
