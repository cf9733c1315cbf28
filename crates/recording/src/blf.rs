//! BLF: a binary log of objects, most of them packed into containers. Layout as python-can 4.6.1 reads it.
//!
//! Objects are read out of one container after the other; what straddles two is carried over. Sizes in the file are
//! never trusted for memory: containers are unpacked step by step up to the allowed total.

use crate::binary::{End, Inflater, fd_length, u16_at, u32_at, u64_at};
use crate::bus::{Decoder, Tap};
use crate::frame::{Direction, Frame, FrameKind};
use crate::model::{CutEnd, NoteKind, Options, Problems, Recording};

const CAN_MESSAGE: u32 = 1;
const CAN_ERROR: u32 = 2;
const CONTAINER: u32 = 10;
const CAN_ERROR_EXT: u32 = 73;
const CAN_MESSAGE2: u32 = 86;
const CAN_FD_MESSAGE: u32 = 100;
const CAN_FD_MESSAGE_64: u32 = 101;
const CAN_FD_ERROR_64: u32 = 104;

const MARK: &[u8] = b"LOBJ";
/// Size of the part of an object's header that all versions have.
const BASE: usize = 16;
/// Size of a log container's header behind the base: method, reserved, size of the content, reserved.
const CONTAINER_HEADER: usize = 16;
/// So many bytes tell how many samples to make room for.
const BEGINNING: usize = 1 << 17;

/// A SYSTEMTIME in nanoseconds since 1970, taken as UTC; `None` for the empty one.
fn system_time(bytes: &[u8]) -> Option<i64> {
    let part = |n: usize| u16_at(bytes, 2 * n).and_then(|v| i16::try_from(v).ok());
    let small = |n: usize| part(n).and_then(|v| i8::try_from(v).ok());
    let nanoseconds = i32::from(part(7).filter(|ms| *ms < 1000)?) * 1_000_000;
    let date = jiff::civil::DateTime::new(
        part(0)?,
        small(1)?,
        small(3)?,
        small(4)?,
        small(5)?,
        small(6)?,
        nanoseconds,
    )
    .ok()?;
    let instant = jiff::tz::TimeZone::UTC.to_timestamp(date).ok()?;
    i64::try_from(instant.as_nanosecond()).ok().filter(|ns| *ns > 0)
}

struct Reader<'t> {
    decoder: Decoder<'t>,
    start_ns: i64,
    frame: Frame,
    /// Byte of the file to which a problem points.
    place: u64,
    left_to_unpack: u64,
    names: Vec<Option<u16>>,
    /// Room was made for the samples to come.
    expected: bool,
    kinds_passed_over: u64,
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
    let start = content.get(40..56).and_then(system_time);
    let mut decoder = Decoder::new(recording, problems, options, tap);
    decoder.recording().start_epoch_s = start.map(|ns| ns as f64 / 1e9);
    let mut reader = Reader {
        decoder,
        start_ns: start.unwrap_or(0),
        frame: Frame::default(),
        place: 0,
        left_to_unpack: options.max_unpacked_bytes,
        names: vec![None; 256],
        expected: false,
        kinds_passed_over: 0,
    };
    let header = u32_at(content, 4).map_or(usize::MAX, |n| n as usize);
    if header < 72 || content.len() < header {
        cut.byte = cut.byte.or(Some(content.len() as u64));
        cut.what.push("the file header is not whole".to_owned());
        return reader.decoder.finish(cut);
    }
    reader.file(content, header, &mut cut);
    let stated = u64_at(content, 16).unwrap_or(0);
    if stated > content.len() as u64 && cut.what.is_empty() {
        reader.cut(&mut cut, content, "the header states a larger file");
    }
    if reader.kinds_passed_over > 0 {
        let text = format!("{} objects that are no CAN frames were passed over", reader.kinds_passed_over);
        reader.decoder.note(NoteKind::Bus, "bus", text);
    }
    reader.decoder.finish(cut)
}

/// Where an object's parts stand, as far as they are there.
struct Object<'a> {
    kind: u32,
    bytes: &'a [u8],
    /// Bytes it should have.
    size: usize,
}

impl Object<'_> {
    fn whole(&self) -> bool {
        self.bytes.len() == self.size
    }
}

/// The object that begins at `at`; `None` if there is not even a header.
fn object(content: &[u8], at: usize) -> Option<Object<'_>> {
    let rest = content.get(at..)?;
    let size = u32_at(rest, 8)? as usize;
    let kind = u32_at(rest, 12)?;
    Some(Object { kind, bytes: rest.get(..size).unwrap_or(rest), size })
}

impl Reader<'_> {
    fn file(&mut self, content: &[u8], header: usize, cut: &mut CutEnd) {
        // What one container left over: the beginning of an object that goes on in the next.
        let mut carried: Vec<u8> = Vec::new();
        let mut inflater = Inflater::new();
        let mut at = header;
        while at < content.len() {
            let rest = content.get(at..).unwrap_or(&[]);
            self.place = at as u64;
            if !rest.starts_with(MARK) {
                // Objects are filled up to a multiple of four; beyond that something is damaged.
                match memchr::memmem::find(rest, MARK) {
                    Some(gap) if gap < 8 => {}
                    Some(gap) => self.damaged(gap),
                    None if rest.len() < 8 && rest.iter().all(|b| *b == 0) => break,
                    None => {
                        self.cut(cut, content, "what stands here is no object");
                        break;
                    }
                }
                at += memchr::memmem::find(rest, MARK).unwrap_or(rest.len());
                continue;
            }
            let Some(object) = object(content, at).filter(|o| o.size >= BASE) else {
                let header_is_there = rest.len() >= BASE;
                if header_is_there {
                    self.damaged(MARK.len());
                    at += MARK.len();
                    continue;
                }
                self.cut(cut, content, "the header of an object is not whole");
                break;
            };
            let whole = object.whole();
            if object.kind == CONTAINER {
                let what = self.container(&object, &mut inflater, &mut carried);
                if let Some(what) = what.filter(|_| whole) {
                    self.problem(what);
                }
            } else if whole {
                self.object(&object);
            }
            if !whole {
                // A size that reaches beyond the end while further objects follow is a damaged size.
                match object.bytes.get(MARK.len()..).and_then(|b| memchr::memmem::find(b, MARK)) {
                    Some(next) => {
                        self.damaged(next);
                        at += MARK.len() + next;
                        continue;
                    }
                    None => self.cut(cut, content, "an object is not whole"),
                }
                break;
            }
            at += object.size;
            if !self.expected && at >= BEGINNING {
                self.expected = true;
                self.decoder.expect(at, content.len());
            }
        }
        if !carried.is_empty() && cut.what.is_empty() {
            self.cut(cut, content, "the last object is not whole");
        }
    }

    fn cut(&self, cut: &mut CutEnd, content: &[u8], what: &str) {
        cut.byte = cut.byte.or(Some(content.len() as u64));
        cut.what.push(what.to_owned());
    }

    fn problem(&mut self, what: String) {
        let place = self.place;
        self.decoder.problems().add(
            Some(place),
            None,
            || what,
            "what stands there was left out; the rest was read",
        );
    }

    fn damaged(&mut self, bytes: usize) {
        self.decoder.recording().counts.lost_lines += 1;
        self.problem(format!("{bytes} bytes that are no object"));
    }

    /// Unpacks a container and reads the objects in it. What it says is wrong comes back.
    fn container(
        &mut self,
        object: &Object<'_>,
        inflater: &mut Inflater,
        carried: &mut Vec<u8>,
    ) -> Option<String> {
        let method = u16_at(object.bytes, BASE)?;
        let due = u64::from(u32_at(object.bytes, BASE + 8)?);
        let packed = object.bytes.get(BASE + CONTAINER_HEADER..).unwrap_or(&[]);
        match method {
            0 => {
                self.piece(packed, carried);
                None
            }
            2 => {
                let most = self.left_to_unpack;
                let mut made = 0;
                let end = inflater.unpack(packed, due, most, &mut |piece| {
                    made += piece.len() as u64;
                    self.piece(piece, carried);
                });
                self.left_to_unpack = most.saturating_sub(made);
                match end {
                    End::Whole => None,
                    End::Full => Some("the unpacked content is larger than allowed".to_owned()),
                    End::Short => Some("a container ends before its content does".to_owned()),
                    End::Damaged(error) => Some(format!("a container is damaged ({error})")),
                }
            }
            other => Some(format!("a container packed by method {other}, which is not known")),
        }
    }

    /// Reads the objects of a piece of content, behind what was carried over; what is not whole is carried on.
    fn piece(&mut self, piece: &[u8], carried: &mut Vec<u8>) {
        if carried.is_empty() {
            let used = self.objects(piece);
            carried.extend_from_slice(piece.get(used..).unwrap_or(&[]));
        } else {
            carried.extend_from_slice(piece);
            let used = self.objects(carried);
            carried.drain(..used);
        }
    }

    /// Reads the whole objects at the beginning of `bytes`; gives back how many bytes they were.
    fn objects(&mut self, bytes: &[u8]) -> usize {
        let mut at = 0;
        loop {
            let rest = bytes.get(at..).unwrap_or(&[]);
            if rest.len() < BASE {
                break;
            }
            if !rest.starts_with(MARK) {
                match memchr::memmem::find(rest, MARK) {
                    Some(gap) => {
                        if gap >= 8 {
                            self.damaged(gap);
                        }
                        at += gap;
                        continue;
                    }
                    None => {
                        // The last three bytes may be the beginning of a mark.
                        let keep = MARK.len() - 1;
                        if rest.len() > 64 {
                            self.damaged(rest.len() - keep);
                            at = bytes.len() - keep;
                        }
                        break;
                    }
                }
            }
            let Some(object) = object(bytes, at) else { break };
            if object.size < BASE {
                self.damaged(MARK.len());
                at += MARK.len();
                continue;
            }
            if !object.whole() {
                // Waits for the next container, unless its size is impossible: no object of a bus is that large.
                if object.size > 1 << 20 {
                    self.damaged(MARK.len());
                    at += MARK.len();
                    continue;
                }
                break;
            }
            self.object(&object);
            at += object.size;
        }
        at.min(bytes.len())
    }

    /// One object that is no container.
    fn object(&mut self, object: &Object<'_>) {
        let is_frame = matches!(
            object.kind,
            CAN_MESSAGE
                | CAN_ERROR
                | CAN_ERROR_EXT
                | CAN_MESSAGE2
                | CAN_FD_MESSAGE
                | CAN_FD_MESSAGE_64
                | CAN_FD_ERROR_64
        );
        if !is_frame {
            self.kinds_passed_over += u64::from(!matches!(object.kind, 65 | 72 | 92 | 96 | 115));
            return;
        }
        match self.frame_of(object) {
            Some(channel) => {
                let bus = self.bus(channel);
                self.decoder.frame(&self.frame, bus, self.place);
            }
            None => {
                self.decoder.recording().counts.lost_lines += 1;
                self.problem(format!("an object of kind {} is too short for its content", object.kind));
            }
        }
    }

    /// Fills `self.frame`; gives back the channel.
    fn frame_of(&mut self, object: &Object<'_>) -> Option<u16> {
        let b = object.bytes;
        let header = usize::from(u16_at(b, 4)?);
        let tens = u32_at(b, BASE)? == 1;
        let time = u64_at(b, 24)?;
        let ns = i64::try_from(if tens { time.checked_mul(10_000)? } else { time }).ok()?;
        self.frame.time_ns = self.start_ns.checked_add(ns)?;
        let body = b.get(header.max(32)..)?;
        let frame = &mut self.frame;
        frame.direction = None;
        match object.kind {
            CAN_MESSAGE | CAN_MESSAGE2 => {
                let [c0, c1, flags, dlc, ..] = *body else { return None };
                identifier(u32_at(body, 4)?, frame);
                frame.direction = Some(direction(flags & 1 != 0));
                let length = usize::from(dlc.min(8));
                frame.kind = FrameKind::Classic;
                frame.set_data(body.get(8..8 + length)?);
                if flags & 0x80 != 0 {
                    frame.kind = FrameKind::Remote;
                }
                Some(u16::from_le_bytes([c0, c1]))
            }
            CAN_FD_MESSAGE => {
                let [c0, c1, flags, dlc, ..] = *body else { return None };
                identifier(u32_at(body, 4)?, frame);
                frame.direction = Some(direction(flags & 1 != 0));
                let (fd, valid) = (*body.get(13)?, *body.get(14)?);
                let length = usize::from(valid.min(fd_length(dlc)));
                frame.set_data(body.get(20..20 + length)?);
                frame.kind = kind(fd & 1 != 0, flags & 0x80 != 0, fd & 2 != 0, fd & 4 != 0);
                Some(u16::from_le_bytes([c0, c1]))
            }
            CAN_FD_MESSAGE_64 => {
                let [channel, dlc, valid, ..] = *body else { return None };
                identifier(u32_at(body, 4)?, frame);
                let flags = u32_at(body, 12)?;
                frame.direction = Some(direction(*body.get(34)? != 0));
                let length = usize::from(valid.min(fd_length(dlc)));
                frame.set_data(body.get(40..40 + length)?);
                let bit = |n: u32| flags & n != 0;
                frame.kind = kind(bit(0x1000), bit(0x10), bit(0x2000), bit(0x4000));
                Some(u16::from(channel))
            }
            _ => {
                // Error frames: the bus error class of the kernel; the object does not say more in a common form.
                frame.set_data(&[]);
                (frame.id, frame.extended, frame.kind) = (0x80, true, FrameKind::Error);
                match object.kind {
                    CAN_FD_ERROR_64 => body.first().map(|c| u16::from(*c)),
                    _ => u16_at(body, 0),
                }
            }
        }
    }

    fn bus(&mut self, channel: u16) -> u16 {
        let place = usize::from(channel).min(self.names.len() - 1);
        if let Some(Some(bus)) = self.names.get(place) {
            return *bus;
        }
        let bus = self.decoder.bus(channel.to_string().as_bytes());
        if let Some(slot) = self.names.get_mut(place) {
            *slot = Some(bus);
        }
        bus
    }
}

fn identifier(id: u32, frame: &mut Frame) {
    frame.extended = id & 0x8000_0000 != 0;
    frame.id = id & if frame.extended { 0x1FFF_FFFF } else { 0x7FF };
}

fn direction(sent: bool) -> Direction {
    if sent { Direction::Sent } else { Direction::Received }
}

fn kind(fd: bool, remote: bool, bit_rate_switch: bool, error_state: bool) -> FrameKind {
    match (fd, remote) {
        (_, true) => FrameKind::Remote,
        (true, _) => FrameKind::Fd { bit_rate_switch, error_state },
        _ => FrameKind::Classic,
    }
}
