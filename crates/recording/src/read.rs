//! Opens what comes: unpacks, recognises the container by its content, hands it to its reader.

use crate::bus::Decoder;
use crate::candump::{self, Frame};
use crate::model::{Counts, CutEnd, Error, Format, NoteKind, Options, Problems, Recording};
use crate::table;
use std::borrow::Cow;
use std::io::Read as _;
use std::path::Path;

/// Reads a recording that lies in memory. `name` is only used in problems. Never fails: what could not be read
/// stands in [`Recording::problems`].
pub fn read_bytes(name: &str, bytes: &[u8], options: &Options) -> Recording {
    let mut problems = Problems::new(name, options.max_problems);
    let mut cut = CutEnd::default();
    let content = unpack(bytes, options, &mut problems, &mut cut);
    let content = to_utf8_if_wide(&content, &mut cut);
    read_content(&content, options, problems, cut)
}

/// Reads a recording from a file, packed with gzip or not.
///
/// # Errors
/// Only if the file cannot be opened or read from the disk.
pub fn read_path(path: &Path, options: &Options) -> Result<Recording, Error> {
    let name = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|source| Error::Io { path: name.clone(), source })?;
    Ok(read_bytes(&name, &bytes, options))
}

fn unpack<'a>(
    bytes: &'a [u8],
    options: &Options,
    problems: &mut Problems,
    cut: &mut CutEnd,
) -> Cow<'a, [u8]> {
    if !bytes.starts_with(&[0x1F, 0x8B]) {
        return Cow::Borrowed(bytes);
    }
    let mut content = Vec::new();
    // One byte more than allowed tells that there is more.
    let limit = options.max_unpacked_bytes.saturating_add(1);
    let mut unpacked = flate2::read::MultiGzDecoder::new(bytes).take(limit);
    if let Err(error) = unpacked.read_to_end(&mut content) {
        if error.kind() == std::io::ErrorKind::UnexpectedEof {
            cut.what.push("the gzip stream ends early".to_owned());
            cut.byte = Some(content.len() as u64);
        } else {
            problems.add(
                None,
                Some(content.len() as u64),
                || format!("the gzip stream is damaged here ({error})"),
                "what was unpacked before it was read; copy the file again",
            );
        }
    }
    if content.len() as u64 > options.max_unpacked_bytes {
        content.truncate(options.max_unpacked_bytes as usize);
        problems.add(
            None,
            Some(content.len() as u64),
            || "the unpacked content is larger than allowed".to_owned(),
            "raise the limit or split the recording",
        );
    }
    Cow::Owned(content)
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

fn read_content(content: &[u8], options: &Options, mut problems: Problems, mut cut: CutEnd) -> Recording {
    let format = recognise(content);
    let counts = Counts { bytes: content.len() as u64, ..Counts::default() };
    let recording = Recording { format, counts, ..Recording::default() };
    match format {
        Format::CandumpCompact | Format::CandumpScreen => read_candump(content, recording, problems, cut),
        Format::CsvWide => table::read(content, recording, options, problems, cut),
        _ => {
            let (what, what_to_do) = match format {
                Format::Empty => ("there is nothing in it", "check that the recording was saved"),
                Format::Zstd => ("Zstandard-compressed data are not read", "unpack the file first"),
                Format::Asc | Format::Blf | Format::Mdf => (
                    "this kind of log is recognised but not read",
                    "export it as candump text (compact form) or as a table with units",
                ),
                _ => (
                    "no known kind of recording",
                    "give candump text or a table whose first line names the columns with their units",
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
    if content.starts_with(&[0x28, 0xB5, 0x2F, 0xFD]) {
        return Format::Zstd;
    }
    // A damaged beginning must not hide what the rest is: the first lines vote.
    let head = content.get(..content.len().min(1 << 16)).unwrap_or(content);
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

fn read_candump(content: &[u8], recording: Recording, problems: Problems, mut cut: CutEnd) -> Recording {
    let mut decoder = Decoder::new(recording, problems);
    if times_are_differences(content) {
        decoder.times_are_differences();
        decoder.note(
            NoteKind::Assumption,
            "time",
            "times are differences to the frame before: they were summed".to_owned(),
        );
    }
    let mut frame = Frame::default();
    let mut start = 0;
    let mut number: u64 = 0;
    let mut lost: u64 = 0;
    while start < content.len() {
        let rest = content.get(start..).unwrap_or(&[]);
        let (line, ended, next) = match memchr::memchr(b'\n', rest) {
            Some(end) => (rest.get(..end).unwrap_or(rest), true, start + end + 1),
            None => (rest, false, content.len()),
        };
        number += 1;
        match candump::parse_line(line, &mut frame) {
            Ok(name) => {
                // When the packed stream is known to end early, the last line is cut too.
                let before = content.get(..start).unwrap_or(&[]);
                if ended || cut.what.is_empty() && candump::whole_without_line_end(before, line) {
                    let bus = decoder.bus(name);
                    decoder.frame(&frame, bus, number);
                } else {
                    lost += 1;
                    (cut.line, cut.byte) = (Some(number), Some(start as u64));
                    cut.what.push("the last line has no end and its frame may be cut".to_owned());
                }
            }
            Err(error) => {
                let text = line.trim_ascii();
                if text.is_empty() || text.starts_with(b"#") {
                    // Empty lines and remarks hold no frame.
                } else if ended {
                    lost += 1;
                    decoder.problems().add(
                        Some(number),
                        Some(start as u64),
                        || format!("not a frame: {error}"),
                        match error {
                            candump::LineError::NoTime => {
                                "the line was left out; record with a time (candump -L or -l)"
                            }
                            _ => "the line was left out; the rest was read",
                        },
                    );
                } else {
                    lost += 1;
                    (cut.line, cut.byte) = (Some(number), Some(start as u64));
                    cut.what.push(format!("the last line is no whole frame: {error}"));
                }
            }
        }
        start = next;
    }
    let counts = &mut decoder.recording().counts;
    counts.lines = number;
    counts.lost_lines = lost;
    decoder.finish(cut)
}

/// `candump -td` shows differences: the times of the first lines go up and down around small values.
fn times_are_differences(content: &[u8]) -> bool {
    let head = content.get(..content.len().min(1 << 16)).unwrap_or(content);
    let mut frame = Frame::default();
    let times: Vec<i64> = head
        .split(|b| *b == b'\n')
        .take(400)
        .filter_map(|line| candump::parse_line(line, &mut frame).ok().map(|_| frame.time_ns))
        .collect();
    let falls = times.windows(2).filter(|w| matches!(w, [a, b] if b < a)).count();
    // Ten seconds between two frames is already long; a clock that fell this often is none.
    times.len() >= 8 && falls * 4 > times.len() && times.iter().all(|t| (0..10_000_000_000).contains(t))
}
