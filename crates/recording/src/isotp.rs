//! ISO-TP: messages of more than one frame (ISO 15765-2, rules from memory; vectors made with can-isotp).
//!
//! A passive reader: it never answers, it reads the requester's flow control like everything else.

use std::fmt;

/// What a flow-control frame asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flow {
    /// Go on sending.
    Continue,
    /// Wait for the next flow control.
    Wait,
    /// The message is too long for the receiver.
    Overflow,
    /// A code the standard leaves open.
    Reserved(u8),
}

/// A flow-control frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FlowControl {
    /// What to do.
    pub flow: Flow,
    /// Frames until the next flow control; 0 = all.
    pub block_size: u8,
    /// Least time between two frames in microseconds. Reserved codes count as 127 ms.
    pub separation_us: u32,
}

/// Reads a flow-control frame; `None` if it is none.
pub fn flow_control(data: &[u8]) -> Option<FlowControl> {
    let [first, block_size, separation, ..] = *data else { return None };
    if first >> 4 != 3 {
        return None;
    }
    let flow = match first & 0x0F {
        0 => Flow::Continue,
        1 => Flow::Wait,
        2 => Flow::Overflow,
        other => Flow::Reserved(other),
    };
    let separation_us = match separation {
        0x00..=0x7F => u32::from(separation) * 1000,
        0xF1..=0xF9 => u32::from(separation - 0xF0) * 100,
        _ => 127_000,
    };
    Some(FlowControl { flow, block_size, separation_us })
}

/// Why a frame or a transfer was dropped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum TransportError {
    /// A single frame says it holds nothing.
    SingleFrameEmpty,
    /// A single frame says it holds more than the frame has.
    SingleFrameLength {
        /// The length it states.
        stated: usize,
        /// Bytes of the frame.
        frame: usize,
    },
    /// A first frame for a message that would fit a single frame, or a frame too short to be one.
    FirstFrameLength(usize),
    /// A first frame came while a transfer was running: the old transfer is dropped.
    Interrupted {
        /// Bytes received.
        got: usize,
        /// Bytes announced.
        of: usize,
    },
    /// A consecutive frame out of order: the transfer is dropped.
    WrongNumber {
        /// The number due.
        due: u8,
        /// The number seen.
        seen: u8,
    },
    /// A consecutive frame without a first frame.
    NoFirstFrame,
    /// More than a second passed between two frames of a transfer (N_Cr, ISO 15765-2).
    TimedOut {
        /// Bytes received.
        got: usize,
        /// Bytes announced.
        of: usize,
    },
    /// A frame type the standard leaves open, or an empty frame.
    UnknownType(u8),
}

impl fmt::Display for TransportError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TransportError::SingleFrameEmpty => write!(f, "single frame with length 0"),
            TransportError::SingleFrameLength { stated, frame } => {
                write!(f, "single frame length {stated} does not fit a frame of {frame} bytes")
            }
            TransportError::FirstFrameLength(n) => write!(f, "first frame with length {n}"),
            TransportError::Interrupted { got, of } => {
                write!(f, "new message while a transfer was running ({got} of {of} bytes received)")
            }
            TransportError::WrongNumber { due, seen } => {
                write!(f, "consecutive frame number {seen} where {due} was due")
            }
            TransportError::NoFirstFrame => write!(f, "consecutive frame without a first frame"),
            TransportError::TimedOut { got, of } => {
                write!(f, "transfer broken off: more than 1 s without a frame ({got} of {of} bytes received)")
            }
            TransportError::UnknownType(t) => write!(f, "frame type {t:X} does not exist"),
        }
    }
}

impl std::error::Error for TransportError {}

/// What one frame led to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Outcome<'a> {
    /// A complete message.
    pub message: Option<&'a [u8]>,
    /// What went wrong. A new first frame can both end the old transfer with an error and go on.
    pub error: Option<TransportError>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum State {
    #[default]
    Idle,
    Running,
    /// A transfer was dropped with an error: its remaining frames are passed over in silence.
    Lost,
}

/// N_Cr of ISO 15765-2 (from memory): 1000 ms between two consecutive frames.
const LONGEST_GAP_NS: i64 = 1_000_000_000;

/// Puts the frames of one sender together. Keep one for each bus, identifier and address byte.
#[derive(Debug, Clone, Default)]
pub struct Assembler {
    buffer: Vec<u8>,
    expected: usize,
    next: u8,
    state: State,
    last_ns: i64,
}

impl Assembler {
    /// Takes one frame's data (without address byte). Padding is cut by the length, never by its value.
    pub fn push<'a>(&'a mut self, time_ns: i64, data: &'a [u8]) -> Outcome<'a> {
        self.take(time_ns, data, 0)
    }

    /// The same for extended and mixed addressing: `data` begins behind the address byte, and so all that a frame
    /// can hold is one byte less.
    pub fn push_behind_address<'a>(&'a mut self, time_ns: i64, data: &'a [u8]) -> Outcome<'a> {
        self.take(time_ns, data, 1)
    }

    fn take<'a>(&'a mut self, time_ns: i64, data: &'a [u8], address: usize) -> Outcome<'a> {
        let Some((first, rest)) = data.split_first() else { return Outcome::default() };
        match first >> 4 {
            0 => self.single(time_ns, *first, rest, data.len() + address),
            1 => self.first(time_ns, *first, rest, address),
            2 => self.consecutive(time_ns, first & 0x0F, rest),
            3 => Outcome::default(),
            other => Outcome { message: None, error: Some(TransportError::UnknownType(other)) },
        }
    }

    /// Bytes received and announced of a transfer that is still running.
    pub fn unfinished(&self) -> Option<(usize, usize)> {
        (self.state == State::Running).then_some((self.buffer.len(), self.expected))
    }

    fn drop_running(&mut self, time_ns: i64) -> Option<TransportError> {
        let late = time_ns.saturating_sub(self.last_ns) > LONGEST_GAP_NS;
        let error = self.unfinished().map(|(got, of)| match late {
            true => TransportError::TimedOut { got, of },
            false => TransportError::Interrupted { got, of },
        });
        self.state = State::Idle;
        self.buffer.clear();
        error
    }

    fn single<'a>(&'a mut self, time_ns: i64, first: u8, rest: &'a [u8], frame: usize) -> Outcome<'a> {
        let fail = |error| Outcome { message: None, error: Some(error) };
        let (length, payload) = match (usize::from(first & 0x0F), rest) {
            (0, [length, payload @ ..]) if frame > 8 => (usize::from(*length), payload),
            (length, payload) => (length, payload),
        };
        if length == 0 {
            return fail(TransportError::SingleFrameEmpty);
        }
        let Some(message) = payload.get(..length) else {
            return fail(TransportError::SingleFrameLength { stated: length, frame });
        };
        // A single frame inside a transfer ends it like a new first frame does.
        let error = self.drop_running(time_ns);
        Outcome { message: Some(message), error }
    }

    fn first(&mut self, time_ns: i64, first: u8, rest: &[u8], address: usize) -> Outcome<'static> {
        let interrupted = self.drop_running(time_ns);
        let [low, payload @ ..] = rest else {
            self.state = State::Lost;
            return Outcome { message: None, error: Some(TransportError::FirstFrameLength(0)) };
        };
        let (length, payload) = match (usize::from(first & 0x0F) << 8 | usize::from(*low), payload) {
            (0, [a, b, c, d, payload @ ..]) => (u32::from_be_bytes([*a, *b, *c, *d]) as usize, payload),
            (length, payload) => (length, payload),
        };
        // Seven bytes (six behind an address) would fit a single frame; a first frame always fills its CAN frame.
        // One that holds its whole message is none either.
        if length <= 7 - address || rest.len() < 7 - address || payload.len() >= length {
            self.state = State::Lost;
            return Outcome { message: None, error: Some(TransportError::FirstFrameLength(length)) };
        }
        self.buffer.extend_from_slice(payload.get(..length).unwrap_or(payload));
        self.expected = length;
        self.next = 1;
        self.state = State::Running;
        self.last_ns = time_ns;
        Outcome { message: None, error: interrupted }
    }

    fn consecutive(&mut self, time_ns: i64, number: u8, rest: &[u8]) -> Outcome<'_> {
        let fail = |error| Outcome { message: None, error: Some(error) };
        match self.state {
            State::Lost => return Outcome::default(),
            State::Idle => {
                self.state = State::Lost;
                return fail(TransportError::NoFirstFrame);
            }
            State::Running => {}
        }
        let (got, of) = (self.buffer.len(), self.expected);
        if time_ns.saturating_sub(self.last_ns) > LONGEST_GAP_NS {
            self.state = State::Lost;
            return fail(TransportError::TimedOut { got, of });
        }
        if number != self.next {
            self.state = State::Lost;
            return fail(TransportError::WrongNumber { due: self.next, seen: number });
        }
        self.next = (self.next + 1) & 0x0F;
        self.last_ns = time_ns;
        let missing = of.saturating_sub(got);
        self.buffer.extend_from_slice(rest.get(..missing).unwrap_or(rest));
        if self.buffer.len() < of {
            return Outcome::default();
        }
        self.state = State::Idle;
        Outcome { message: Some(&self.buffer), error: None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regress_every_error_is_named() {
        let mut a = Assembler::default();
        assert_eq!(a.push(0, &[0x22, 1]).error, Some(TransportError::NoFirstFrame));
        assert_eq!(a.push(0, &[0x23, 1]).error, None, "one report for one lost transfer");
        assert_eq!(a.push(0, &[0x10, 7, 1, 2, 3, 4, 5, 6]).error, Some(TransportError::FirstFrameLength(7)));
        assert_eq!(a.push(0, &[0x10, 20, 1, 2, 3, 4, 5, 6]).error, None);
        assert_eq!(
            a.push(0, &[0x10, 20, 1, 2, 3, 4, 5, 6]).error,
            Some(TransportError::Interrupted { got: 6, of: 20 })
        );
        let late = a.push(1_000_000_001, &[0x21, 1, 2, 3, 4, 5, 6, 7]);
        assert_eq!(late.error, Some(TransportError::TimedOut { got: 6, of: 20 }));
        assert_eq!(a.push(0, &[0x40]).error, Some(TransportError::UnknownType(4)));
        assert_eq!(a.push(0, &[]).error, None);
    }

    /// Found by fuzzing: a CAN FD frame that holds all that its first frame announces would have waited for ever.
    #[test]
    fn regress_a_first_frame_that_holds_everything_is_none() {
        let mut a = Assembler::default();
        let mut frame = vec![0x10, 20];
        frame.resize(32, 1);
        assert_eq!(a.push(0, &frame).error, Some(TransportError::FirstFrameLength(20)));
        assert_eq!(a.unfinished(), None);
    }

    #[test]
    fn regress_running_transfer_is_visible() {
        let mut a = Assembler::default();
        assert_eq!(a.unfinished(), None);
        a.push(0, &[0x10, 20, 1, 2, 3, 4, 5, 6]);
        assert_eq!(a.unfinished(), Some((6, 20)));
    }
}
