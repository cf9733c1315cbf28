//! Opens what comes: unpacks, recognises the container by its content, hands it to its reader.

use crate::bus::Tap;
use crate::candump;
use crate::frame::Frame;
use crate::model::{Counts, CutEnd, Error, Format, NamedSignal, Options, Problems, Recording, Signal};
use crate::text::{LONGEST_LINE, TextReader};
use crate::unpack::{self, Source};
use crate::{blf, mdf, table};
use std::borrow::Cow;
use std::io::{BufRead, Read};
use std::ops::ControlFlow;
use std::path::Path;

/// How much of the beginning decides what a recording is.
const HEAD: usize = 1 << 16;
/// A stream is read in pieces of this size.
const PIECE: usize = 1 << 20;
/// Signals of a stream are handed out after this many bytes of content.
const HAND_OUT_AFTER: usize = 8 << 20;

/// Reads a recording that lies in memory. `name` is only used in problems. Never fails: what could not be read
/// stands in [`Recording::problems`].
pub fn read_bytes(name: &str, bytes: &[u8], options: &Options) -> Recording {
    let mut problems = Problems::new(name, options.max_problems);
    let mut cut = CutEnd::default();
    let content = unpack::unpack(bytes, options, &mut problems, &mut cut);
    read_unpacked(&content, options, problems, cut, None)
}

/// Reads a recording like [`read_bytes`] and shows every CAN frame to `each` as it is read, with the position of its
/// bus in [`Recording::buses`].
pub fn read_frames(
    name: &str,
    bytes: &[u8],
    options: &Options,
    each: &mut dyn FnMut(&Frame, u16),
) -> Recording {
    let mut problems = Problems::new(name, options.max_problems);
    let mut cut = CutEnd::default();
    let content = unpack::unpack(bytes, options, &mut problems, &mut cut);
    read_unpacked(&content, options, problems, cut, Some(each))
}

/// Reads a recording from a file, packed with gzip or Zstandard or not.
///
/// # Errors
/// Only if the file cannot be opened or read from the disk.
pub fn read_path(path: &Path, options: &Options) -> Result<Recording, Error> {
    let name = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|source| Error::Io { path: name.clone(), source })?;
    Ok(read_bytes(&name, &bytes, options))
}

/// Samples of a recording that is still being read; see [`read_stream`].
#[derive(Debug, Clone, PartialEq, Default)]
#[non_exhaustive]
pub struct Piece {
    /// Samples that are new since the piece before, by signal. The same signal comes again in later pieces.
    pub signals: Vec<Signal>,
    /// The same for named signals.
    pub named: Vec<NamedSignal>,
    /// Bytes of content read so far, unpacked.
    pub bytes: u64,
}

/// Reads a recording of any length from a pipe or a file and hands out its samples piece by piece, so that memory
/// stays flat for candump and ASC text; the other containers need their whole content and come in one piece. The
/// [`Recording`] that comes back holds everything but the samples handed out.
///
/// Signals whose scale the recording as a whole decides (filter pressures of OBD, exhaust pressure, turbocharger speed)
/// come in the last piece. A support mask that a module sends late does not take back what was handed out before.
/// `each` may break off; what was read until then comes back.
///
/// # Errors
/// Only if `from` fails to be read; samples handed out before stay valid.
pub fn read_stream(
    name: &str,
    from: impl BufRead,
    options: &Options,
    mut each: impl FnMut(Piece) -> ControlFlow<()>,
) -> Result<Recording, Error> {
    let failed = |source| Error::Io { path: name.to_owned(), source };
    let mut problems = Problems::new(name, options.max_problems);
    let mut cut = CutEnd::default();
    let mut source = Source::new(from).map_err(failed)?;
    let packing = source.packing();
    let mut made: u64 = 0;
    let mut ended = false;
    // Fills `buffer` up to `size`; errors of unpacking end the content, errors of reading end everything.
    let mut fill = |buffer: &mut Vec<u8>, size: usize, problems: &mut Problems, cut: &mut CutEnd| {
        while buffer.len() < size && !ended {
            let room = (size - buffer.len()) as u64;
            match (&mut source).take(room).read_to_end(buffer) {
                Ok(0) => ended = true,
                Ok(n) => made += n as u64,
                Err(error) => {
                    let Some(packing) = packing else { return Err(error) };
                    ended = true;
                    unpack::report(packing, &error, buffer.len() as u64 + made, problems, cut);
                }
            }
            if packing.is_some() && made > options.max_unpacked_bytes {
                ended = true;
                unpack::too_large(problems, made);
            }
        }
        Ok(ended)
    };
    let mut buffer = Vec::new();
    fill(&mut buffer, HEAD, &mut problems, &mut cut).map_err(failed)?;
    let format = recognise(&buffer);
    let text = matches!(format, Format::CandumpCompact | Format::CandumpScreen | Format::Asc);
    let wide = !matches!(to_utf8_if_wide(&buffer, &mut CutEnd::default()), Cow::Borrowed(b) if b.len() == buffer.len());
    if !text || wide {
        fill(&mut buffer, usize::MAX, &mut problems, &mut cut).map_err(failed)?;
        let mut recording = read_unpacked(&buffer, options, problems, cut, None);
        let piece = Piece {
            signals: std::mem::take(&mut recording.signals),
            named: std::mem::take(&mut recording.named),
            bytes: recording.counts.bytes,
        };
        let _ = each(piece);
        return Ok(recording);
    }
    let recording = Recording { format, ..Recording::default() };
    let mut problems = Some(problems);
    let mut reader = text_reader(format, recording, &mut problems, options, &buffer, None);
    let mut late = Problems::new(name, options.max_problems);
    let mut overlong = false;
    let mut since = 0;
    let mut bytes: u64 = 0;
    loop {
        if overlong {
            // Passing over a line that has no end yet.
            let end = memchr::memchr(b'\n', &buffer).map(|n| n + 1);
            let gone = end.unwrap_or(buffer.len());
            reader.skip(gone);
            buffer.drain(..gone);
            overlong = end.is_none();
        }
        let used = reader.lines(&buffer);
        since += used;
        bytes += used as u64;
        buffer.drain(..used);
        if buffer.len() >= LONGEST_LINE {
            reader.overlong();
            overlong = true;
            continue;
        }
        if since >= HAND_OUT_AFTER {
            since = 0;
            let (signals, named) = reader.decoder.take();
            if each(Piece { signals, named, bytes }).is_break() {
                return Ok(reader.finish(&[], CutEnd::default()));
            }
        }
        let before = buffer.len();
        let ended = fill(&mut buffer, before.max(HEAD) + PIECE, &mut late, &mut cut).map_err(failed)?;
        if ended && buffer.len() == before {
            break;
        }
    }
    let rest: &[u8] = if overlong { &[] } else { &buffer };
    let mut recording = reader.finish(rest, cut);
    recording.problems.extend(late.finish());
    let piece = Piece {
        signals: std::mem::take(&mut recording.signals),
        named: std::mem::take(&mut recording.named),
        bytes: recording.counts.bytes,
    };
    let _ = each(piece);
    Ok(recording)
}

fn text_reader<'t>(
    format: Format,
    recording: Recording,
    problems: &mut Option<Problems>,
    options: &Options,
    head: &[u8],
    tap: Tap<'t>,
) -> TextReader<'t> {
    let problems = problems.take().unwrap_or_else(|| Problems::new("", 0));
    if format == Format::Asc {
        TextReader::asc(recording, problems, options, tap)
    } else {
        TextReader::candump(recording, problems, options, head, tap)
    }
}

/// UTF-16 (with a byte-order mark, or told by its zero bytes) becomes UTF-8; the mark of UTF-8 goes.
fn to_utf8_if_wide<'a>(content: &'a [u8], cut: &mut CutEnd) -> Cow<'a, [u8]> {
    if let Some(rest) = content.strip_prefix(&[0xEF, 0xBB, 0xBF]) {
        return Cow::Borrowed(rest);
    }
    let head = content.get(..content.len().min(512)).unwrap_or(&[]);
    let zeros = |odd: usize| head.iter().skip(odd).step_by(2).filter(|b| **b == 0).count();
    let many = head.len() / 2 * 9 / 10;
    let encoding = match head {
        [0xFF, 0xFE, ..] => encoding_rs::UTF_16LE,
        [0xFE, 0xFF, ..] => encoding_rs::UTF_16BE,
        _ if head.len() >= 8 && zeros(1) >= many && zeros(0) == 0 => encoding_rs::UTF_16LE,
        _ if head.len() >= 8 && zeros(0) >= many && zeros(1) == 0 => encoding_rs::UTF_16BE,
        _ => return Cow::Borrowed(content),
    };
    if content.len() % 2 == 1 {
        cut.what.push("half a character at the end".to_owned());
        cut.byte = Some(content.len() as u64);
    }
    let even = content.get(..content.len() & !1).unwrap_or(content);
    Cow::Owned(encoding.decode_with_bom_removal(even).0.into_owned().into_bytes())
}

fn read_unpacked(
    content: &[u8],
    options: &Options,
    mut problems: Problems,
    mut cut: CutEnd,
    tap: Tap<'_>,
) -> Recording {
    let content = &*to_utf8_if_wide(content, &mut cut);
    let format = recognise(content);
    let counts = Counts { bytes: content.len() as u64, ..Counts::default() };
    let recording = Recording { format, counts, ..Recording::default() };
    match format {
        Format::CandumpCompact | Format::CandumpScreen | Format::Asc => {
            let mut reader = text_reader(format, recording, &mut Some(problems), options, content, tap);
            // The beginning tells how many samples to make room for.
            let used = reader.lines(content.get(..content.len().min(PIECE)).unwrap_or(content));
            reader.decoder.expect(used, content.len());
            let used = used + reader.lines(content.get(used..).unwrap_or(&[]));
            reader.finish(content.get(used..).unwrap_or(&[]), cut)
        }
        Format::Blf => blf::read(content, recording, options, problems, cut, tap),
        Format::Mdf => mdf::read(content, recording, options, problems, cut, tap),
        Format::CsvWide => table::read(content, recording, options, problems, cut),
        _ => {
            let (what, what_to_do) = match format {
                Format::Empty => ("there is nothing in it", "check that the recording was saved"),
                Format::Zstd => ("packed data inside packed data", "unpack the file first"),
                _ => (
                    "no known kind of recording",
                    "give candump text, ASC, BLF, MDF 4 or a table whose first line names the columns with their \
                     units",
                ),
            };
            if cut.what.is_empty() {
                problems.add(None, Some(0), || what.to_owned(), what_to_do);
            } else {
                // Too little is left of a cut file to tell what it was: one problem, not two.
                cut.what.push(what.to_owned());
                cut.report(&mut problems);
            }
            Recording { problems: problems.finish(), ..recording }
        }
    }
}

/// Tells the container by its content. Tables come out as [`Format::CsvWide`]; their reader looks closer.
fn recognise(content: &[u8]) -> Format {
    if content.is_empty() {
        return Format::Empty;
    }
    if content.starts_with(b"LOGG") {
        return Format::Blf;
    }
    if content.starts_with(b"MDF     ") || content.starts_with(b"UnFinMF ") {
        return Format::Mdf;
    }
    if content.starts_with(&[0x28, 0xB5, 0x2F, 0xFD]) || content.starts_with(&[0x1F, 0x8B]) {
        return Format::Zstd;
    }
    // A damaged beginning must not hide what the rest is: the first lines vote.
    let head = content.get(..content.len().min(HEAD)).unwrap_or(content);
    let lines = || head.split(|b| *b == b'\n').map(<[u8]>::trim_ascii).filter(|l| !l.is_empty()).take(200);
    let mut frame = Frame::default();
    for line in lines() {
        if candump::parse_line(line, &mut frame).is_ok() {
            return if candump::is_screen_form(line) {
                Format::CandumpScreen
            } else {
                Format::CandumpCompact
            };
        }
    }
    let Some(first) = lines().next() else { return Format::Empty };
    if lines().any(|l| l.starts_with(b"base hex") || l.starts_with(b"base dec")) {
        return Format::Asc;
    }
    let torn_frame = match first {
        [b'('] => true,
        [b'(', rest @ ..] => rest.trim_ascii_start().first().is_some_and(u8::is_ascii_digit),
        _ => false,
    };
    if torn_frame || lines().any(candump_without_time) {
        return Format::CandumpCompact;
    }
    if table::looks_like(head) { Format::CsvWide } else { Format::Unknown }
}

/// `can0  7E8   [8]  03 41 ...` or `can0 7E8#0341`: frames that were logged without a time.
fn candump_without_time(line: &[u8]) -> bool {
    let mut timed = b"(0.0) ".to_vec();
    timed.extend_from_slice(line.get(..line.len().min(400)).unwrap_or(line));
    candump::parse_line(&timed, &mut Frame::default()).is_ok()
}
