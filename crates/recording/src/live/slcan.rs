//! The open ASCII protocol of the Linux `slcan` driver (`drivers/net/can/slcan`, from memory): a serial adapter's set-up
//! and its frames, one a line that ends in a carriage return.

use super::request::Outgoing;
use crate::frame::{Direction, Frame, FrameKind};

/// Speed of the CAN bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BitRate {
    /// 125 kbit/s.
    K125,
    /// 250 kbit/s: heavy vehicles, some cars.
    K250,
    /// 500 kbit/s: most cars.
    K500,
    /// 1 Mbit/s.
    M1,
}

/// What is said to the adapter itself, and what it passes on to the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// Close the channel.
    Close,
    /// Set the speed of the bus.
    Speed(BitRate),
    /// Open the channel for reading and asking.
    Open,
    /// Open the channel so that the adapter sends nothing at all, not even acknowledgements.
    OpenListenOnly,
    /// Send a frame.
    Send(Outgoing),
}

impl Command {
    /// The bytes for the serial line.
    pub fn bytes(self) -> Vec<u8> {
        match self {
            Command::Close => b"C\r".to_vec(),
            Command::Speed(BitRate::K125) => b"S4\r".to_vec(),
            Command::Speed(BitRate::K250) => b"S5\r".to_vec(),
            Command::Speed(BitRate::K500) => b"S6\r".to_vec(),
            Command::Speed(BitRate::M1) => b"S8\r".to_vec(),
            Command::Open => b"O\r".to_vec(),
            Command::OpenListenOnly => b"L\r".to_vec(),
            Command::Send(outgoing) => write_line(&outgoing.frame()),
        }
    }
}

/// A data frame as a line, as an adapter writes it for what it received. For simulated adapters; what goes to a vehicle
/// is a [`Command`].
pub fn write_line(frame: &Frame) -> Vec<u8> {
    let mut text = if frame.extended { format!("T{:08X}", frame.id) } else { format!("t{:03X}", frame.id) };
    text += &frame.length().min(8).to_string();
    for byte in frame.data().iter().take(8) {
        text += &format!("{byte:02X}");
    }
    text.push('\r');
    text.into_bytes()
}

/// What the adapter said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// A frame from the bus, without a time.
    Frame(Frame),
    /// The last command was taken.
    Taken,
    /// The last command was refused.
    Refused,
    /// Something else: a version, a state, a torn line.
    Other,
}

/// Longest line: a 29-bit frame of eight bytes with a time stamp.
const LONGEST: usize = 64;

/// Takes the adapter's bytes apart, in pieces of any size.
#[derive(Debug, Clone, Default)]
pub struct Lines {
    text: Vec<u8>,
}

impl Lines {
    /// Takes one byte; gives back what a line said when it ends.
    pub fn push(&mut self, byte: u8) -> Option<Said> {
        match byte {
            b'\r' => {
                let said = read(&self.text);
                self.text.clear();
                Some(said)
            }
            0x07 => {
                self.text.clear();
                Some(Said::Refused)
            }
            b'\n' => None,
            byte => {
                // A line that never ends is no line of an adapter.
                if self.text.len() >= LONGEST {
                    self.text.clear();
                }
                self.text.push(byte);
                None
            }
        }
    }
}

fn read(text: &[u8]) -> Said {
    match text {
        [] | [b'z' | b'Z'] => Said::Taken,
        [b't' | b'T' | b'r' | b'R', ..] => read_line(text).map_or(Said::Other, Said::Frame),
        _ => Said::Other,
    }
}

/// Reads the line of a frame, without its end; `None` if it is none.
pub fn read_line(text: &[u8]) -> Option<Frame> {
    let (kind, rest) = text.split_first()?;
    let extended = kind.is_ascii_uppercase();
    let (id, rest) = rest.split_at_checked(if extended { 8 } else { 3 })?;
    let digit = |b: u8| char::from(b).to_digit(16);
    let id = id.iter().try_fold(0u32, |n, b| Some(n << 4 | digit(*b)?))?;
    if id > if extended { 0x1FFF_FFFF } else { 0x7FF } {
        return None;
    }
    let (length, rest) = rest.split_first()?;
    let length = digit(*length).filter(|n| *n <= 8)? as usize;
    let mut frame = Frame { id, extended, direction: Some(Direction::Received), ..Frame::default() };
    if kind.eq_ignore_ascii_case(&b'r') {
        frame.kind = FrameKind::Remote;
        frame.length = length as u8;
        return Some(frame);
    }
    // A time stamp of four digits may follow the data.
    let hex = rest.get(..2 * length)?;
    let mut data = Vec::with_capacity(8);
    for pair in hex.chunks_exact(2) {
        let [high, low] = *pair else { return None };
        data.push((digit(high)? << 4 | digit(low)?) as u8);
    }
    frame.set_data(&data);
    Some(frame)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop here")]
    use super::super::request::{Address, Request};
    use super::*;

    /// Everything the adapter can be told, byte by byte.
    #[test]
    fn property_the_serial_line_carries_set_up_and_reading_requests_only() {
        let ask = Outgoing::ask(Request::LiveData { parameter: 0x7A }, Address::short(0).unwrap());
        let go_on = Outgoing::go_on(Address::long(0x10)).unwrap();
        let all = [
            (Command::Close, "C\r"),
            (Command::Speed(BitRate::K125), "S4\r"),
            (Command::Speed(BitRate::K250), "S5\r"),
            (Command::Speed(BitRate::K500), "S6\r"),
            (Command::Speed(BitRate::M1), "S8\r"),
            (Command::Open, "O\r"),
            (Command::OpenListenOnly, "L\r"),
            (Command::Send(ask), "t7E0802017A5555555555\r"),
            (Command::Send(go_on), "T18DA10F183000005555555555\r"),
        ];
        for (command, text) in all {
            assert_eq!(String::from_utf8(command.bytes()).unwrap(), text);
        }
    }

    #[test]
    fn regress_lines_in_any_pieces_and_torn_ones() {
        let mut lines = Lines::default();
        let mut said = Vec::new();
        for byte in b"\rz\rt7E83410D32\rT18DAF1103410D33\r\x07t7E8341\rr7E80\rV1013\r" {
            said.extend(lines.push(*byte));
        }
        let frames: Vec<(u32, &[u8])> = said
            .iter()
            .filter_map(|s| match s {
                Said::Frame(f) => Some((f.id, f.data())),
                _ => None,
            })
            .collect();
        assert_eq!(
            frames,
            [(0x7E8, &[0x41, 0x0D, 0x32][..]), (0x18DA_F110, &[0x41, 0x0D, 0x33]), (0x7E8, &[])]
        );
        assert_eq!(said[0], Said::Taken);
        assert_eq!(said[1], Said::Taken);
        assert_eq!(said[4], Said::Refused);
        assert_eq!(said[5], Said::Other, "fewer bytes than the length says");
        for _ in 0..1000 {
            assert_eq!(lines.push(b'A'), None);
        }
    }
}
