//! Line by line through the text containers, in one piece or in many.

use crate::asc;
use crate::bus::{Decoder, Tap};
use crate::candump::{self, LineError};
use crate::frame::{Frame, FrameKind};
use crate::model::{CutEnd, Options, Problems, Recording};

/// No frame's line is longer; what is, is no text and must not fill the memory.
pub(crate) const LONGEST_LINE: usize = 1 << 20;

enum Grammar {
    Candump {
        /// Blank, interface, blank: what stood between time and identifier last, and its bus.
        between: Vec<u8>,
        bus: u16,
    },
    Asc(asc::State),
}

/// Reads lines of one recording. Feed it pieces of any size with [`TextReader::lines`], in file order.
pub(crate) struct TextReader<'t> {
    pub decoder: Decoder<'t>,
    grammar: Grammar,
    frame: Frame,
    number: u64,
    lost: u64,
    /// Bytes of the pieces before.
    offset: u64,
}

impl<'t> TextReader<'t> {
    /// `head` is the beginning of the content; it decides how times are read.
    pub(crate) fn candump(
        recording: Recording,
        problems: Problems,
        options: &Options,
        head: &[u8],
        tap: Tap<'t>,
    ) -> Self {
        let mut decoder = Decoder::new(recording, problems, options, tap);
        if times_are_differences(head) {
            decoder.times_are_differences();
        }
        TextReader::new(decoder, Grammar::Candump { between: Vec::new(), bus: 0 })
    }

    pub(crate) fn asc(recording: Recording, problems: Problems, options: &Options, tap: Tap<'t>) -> Self {
        let decoder = Decoder::new(recording, problems, options, tap);
        TextReader::new(decoder, Grammar::Asc(asc::State::default()))
    }

    fn new(decoder: Decoder<'t>, grammar: Grammar) -> Self {
        TextReader { decoder, grammar, frame: Frame::default(), number: 0, lost: 0, offset: 0 }
    }

    /// Reads the whole lines of a piece; gives back how many bytes they were. The rest belongs before the next piece.
    pub(crate) fn lines(&mut self, content: &[u8]) -> usize {
        let mut start = 0;
        while let Some(rest) = content.get(start..).filter(|r| !r.is_empty()) {
            if let Grammar::Candump { between, bus } = &self.grammar
                && let Some(used) = candump::usual_line(rest, between, &mut self.frame)
            {
                self.number += 1;
                self.decoder.frame(&self.frame, *bus, self.number);
                start += used;
                continue;
            }
            let Some(end) = memchr::memchr(b'\n', rest) else { break };
            self.number += 1;
            self.line(rest.get(..end).unwrap_or(rest), self.offset + start as u64);
            start += end + 1;
        }
        self.offset += start as u64;
        start
    }

    /// Passes over bytes that are no line.
    pub(crate) fn skip(&mut self, bytes: usize) {
        self.offset += bytes as u64;
    }

    /// A line that is too long to be one.
    pub(crate) fn overlong(&mut self) {
        self.number += 1;
        self.lost += 1;
        let (number, offset) = (self.number, self.offset);
        self.decoder.problems().add(
            Some(number),
            Some(offset),
            || "a line longer than 1 MiB".to_owned(),
            "it was left out; the rest was read",
        );
    }

    fn line(&mut self, line: &[u8], offset: u64) {
        let number = self.number;
        match &mut self.grammar {
            Grammar::Candump { between, bus } => match candump::parse_line(line, &mut self.frame) {
                Ok(name) => {
                    *bus = self.decoder.bus(name);
                    candump::between(name, between);
                    self.decoder.frame(&self.frame, *bus, number);
                }
                Err(error) => {
                    let text = line.trim_ascii();
                    // Empty lines and remarks hold no frame.
                    if !text.is_empty() && !text.starts_with(b"#") {
                        self.lost += 1;
                        let what_to_do = match error {
                            LineError::NoTime => {
                                "the line was left out; record with a time (candump -L or -l)"
                            }
                            _ => "the line was left out; the rest was read",
                        };
                        let what = || format!("not a frame: {error}");
                        self.decoder.problems().add(Some(number), Some(offset), what, what_to_do);
                    }
                }
            },
            Grammar::Asc(state) => match state.line(line, &mut self.frame) {
                Ok(Some(channel)) => {
                    let bus = self.decoder.bus(channel);
                    state.start(&mut self.decoder);
                    self.decoder.frame(&self.frame, bus, number);
                }
                Ok(None) => {}
                Err(error) => {
                    self.lost += 1;
                    self.decoder.problems().add(
                        Some(number),
                        Some(offset),
                        || format!("not a frame: {error}"),
                        "the line was left out; the rest was read",
                    );
                }
            },
        }
    }

    /// The last line, which has no line end. `certain` is false when the content is known to be cut.
    fn last_line(&mut self, line: &[u8], certain: bool, cut: &mut CutEnd) {
        if line.trim_ascii().is_empty() {
            return;
        }
        self.number += 1;
        let whole = match &mut self.grammar {
            Grammar::Candump { .. } => match candump::parse_line(line, &mut self.frame) {
                Ok(name) => {
                    let bus = self.decoder.bus(name);
                    let frame = &self.frame;
                    // A frame shorter than the last one of its identifier, or a short one whose identifier was never
                    // seen, may have been cut in the middle of its data. The screen form states the length.
                    let whole = frame.kind == FrameKind::Classic && frame.length == 8
                        || frame.length == 64
                        || self.number == 1
                        || memchr::memchr(b'#', line).is_none()
                        || self.decoder.last_length(frame, bus).is_some_and(|n| n <= frame.length);
                    Ok(Some((bus, whole)))
                }
                Err(_) if line.trim_ascii().starts_with(b"#") => Ok(None),
                Err(error) => Err(error.to_string()),
            },
            Grammar::Asc(state) => match state.line(line, &mut self.frame) {
                // A number of a decimal log can be cut to a smaller one.
                Ok(Some(channel)) => Ok(Some((self.decoder.bus(channel), !state.decimal()))),
                Ok(None) => Err("it holds no frame".to_owned()),
                Err(error) => Err(error.to_string()),
            },
        };
        match whole {
            Ok(Some((bus, whole))) if whole && certain => {
                if let Grammar::Asc(state) = &mut self.grammar {
                    state.start(&mut self.decoder);
                }
                self.decoder.frame(&self.frame, bus, self.number);
                return;
            }
            Ok(None) => return,
            Ok(Some(_)) => cut.what.push("the last line has no end and its frame may be cut".to_owned()),
            Err(error) => cut.what.push(format!("the last line is no whole frame: {error}")),
        }
        self.lost += 1;
        (cut.line, cut.byte) = (Some(self.number), Some(self.offset));
    }

    /// Closes the recording with what stands behind the last line end.
    pub(crate) fn finish(mut self, rest: &[u8], mut cut: CutEnd) -> Recording {
        let certain = cut.what.is_empty();
        self.last_line(rest, certain, &mut cut);
        let counts = &mut self.decoder.recording().counts;
        counts.bytes = self.offset + rest.len() as u64;
        counts.lines = self.number;
        counts.lost_lines = self.lost;
        self.decoder.finish(cut)
    }
}

/// `candump -td` shows differences: the times of the first lines go up and down around small values.
fn times_are_differences(head: &[u8]) -> bool {
    let head = head.get(..head.len().min(1 << 16)).unwrap_or(head);
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
