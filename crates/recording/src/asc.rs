//! ASC: a text log with a header (`date`, `base`), one event a line. Written after what python-can 4.6.1 and can-utils
//! `log2asc` read and write.

use crate::bus::Decoder;
use crate::frame::{Direction, Frame, FrameKind};
use crate::model::NoteKind;
use std::fmt;

/// Why a line that should be a frame is none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum AscError {
    Time,
    Identifier,
    Kind,
    Length,
    TooFewBytes,
    Byte,
}

impl fmt::Display for AscError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            AscError::Time => "the time is not seconds with decimals",
            AscError::Identifier => "the identifier is not a number of 11 or 29 bits",
            AscError::Kind => "neither `d` (data) nor `r` (remote) before the length",
            AscError::Length => "the length is missing or does not exist",
            AscError::TooFewBytes => "fewer data bytes than the length says",
            AscError::Byte => "a data byte that is no byte",
        })
    }
}

/// What the header said.
#[derive(Debug, Default)]
pub(crate) struct State {
    decimal: bool,
    differences: bool,
    told: bool,
    /// Start in nanoseconds since 1970; the trigger block's date counts before the header's.
    start_ns: Option<i64>,
    from_trigger: bool,
    short_fraction: bool,
}

impl State {
    pub(crate) fn decimal(&self) -> bool {
        self.decimal
    }

    /// Tells the decoder, before the first frame, what the header said about time.
    pub(crate) fn start(&mut self, decoder: &mut Decoder<'_>) {
        if std::mem::replace(&mut self.told, true) {
            return;
        }
        if self.differences {
            decoder.times_are_differences();
        }
        decoder.recording().start_epoch_s = self.start_ns.map(|ns| ns as f64 / 1e9);
        if self.short_fraction {
            decoder.note(
                NoteKind::Assumption,
                "time",
                "the date of the measurement has fewer than three digits of milliseconds: it may be off by less than a \
                 second (some writers leave out zeros)"
                    .to_owned(),
            );
        }
    }

    /// Reads one line: the channel if it is a frame, `None` if it is something else.
    pub(crate) fn line<'a>(
        &mut self,
        line: &'a [u8],
        frame: &mut Frame,
    ) -> Result<Option<&'a [u8]>, AscError> {
        let line = line.trim_ascii();
        if !line.first().is_some_and(u8::is_ascii_digit) {
            self.header(line);
            return Ok(None);
        }
        let mut words = Words { rest: line };
        let (Some(time), Some(channel)) = (words.next(), words.next()) else { return Ok(None) };
        if channel == b"CANFD" {
            let time_ns = seconds(time).ok_or(AscError::Time)?;
            return self.fd_frame(words, time_ns, frame);
        }
        if !channel.iter().all(u8::is_ascii_digit) {
            return Ok(None);
        }
        let Some(id) = words.next() else { return Ok(None) };
        if id == b"ErrorFrame" {
            frame.time_ns = seconds(time).ok_or(AscError::Time)?;
            error_frame(frame);
            return Ok(Some(channel));
        }
        let direction = match words.next() {
            Some(b"Rx") => Direction::Received,
            Some(b"Tx") => Direction::Sent,
            // Statistics, requests to send, other events.
            _ => return Ok(None),
        };
        frame.time_ns = seconds(time).ok_or(AscError::Time)?;
        frame.direction = Some(direction);
        self.identifier(id, frame)?;
        match words.next() {
            Some(b"d") => {
                frame.kind = FrameKind::Classic;
                // Above 8 the length is a code, and eight bytes follow.
                let length = self.length(words.next(), 15)?.min(8);
                self.bytes(&mut words, length, frame)?;
            }
            Some(b"r") => {
                frame.kind = FrameKind::Remote;
                let length = words.next().map(|w| self.length(Some(w), 15)).transpose();
                frame.set_data(&[]);
                frame.length = length.unwrap_or(None).unwrap_or(0).min(8) as u8;
            }
            _ => return Err(AscError::Kind),
        }
        Ok(Some(channel))
    }

    fn fd_frame<'a>(
        &mut self,
        mut words: Words<'a>,
        time_ns: i64,
        frame: &mut Frame,
    ) -> Result<Option<&'a [u8]>, AscError> {
        let (Some(channel), Some(direction)) = (words.next(), words.next()) else {
            return Err(AscError::Identifier);
        };
        let direction = match direction {
            b"Rx" => Direction::Received,
            b"Tx" => Direction::Sent,
            _ => return Ok(None),
        };
        frame.time_ns = time_ns;
        frame.direction = Some(direction);
        let id = words.next().ok_or(AscError::Identifier)?;
        if id == b"ErrorFrame" {
            error_frame(frame);
            return Ok(Some(channel));
        }
        self.identifier(id, frame)?;
        let mut flag = words.next().ok_or(AscError::Length)?;
        // A symbolic name may stand here.
        if !matches!(flag, b"0" | b"1") {
            flag = words.next().ok_or(AscError::Length)?;
        }
        let second = words.next().ok_or(AscError::Length)?;
        if !matches!(flag, b"0" | b"1") || !matches!(second, b"0" | b"1") {
            return Err(AscError::Length);
        }
        let code = words.next().filter(|w| w.len() == 1).ok_or(AscError::Length)?;
        let code = number(code, 16).ok_or(AscError::Length)?;
        let length = words.next().and_then(|w| number(w, 10)).ok_or(AscError::Length)? as usize;
        if code > 15 || !matches!(length, 0..=8 | 12 | 16 | 20 | 24 | 32 | 48 | 64) {
            return Err(AscError::Length);
        }
        self.bytes(&mut words, length, frame)?;
        // The flags behind the bytes say whether it was a CAN FD frame (bit 12) and whether a remote frame (bit 4);
        // their order is: duration, bit count, flags.
        let flags = words.nth(2).and_then(|w| number(w, 16));
        let bit_rate_switch = flag == b"1";
        let error_state = second == b"1";
        frame.kind = match flags {
            Some(flags) if flags & 0x10 != 0 => FrameKind::Remote,
            Some(flags) if flags & 0x1000 == 0 && length <= 8 && !bit_rate_switch => FrameKind::Classic,
            _ => FrameKind::Fd { bit_rate_switch, error_state },
        };
        Ok(Some(channel))
    }

    fn identifier(&self, word: &[u8], frame: &mut Frame) -> Result<(), AscError> {
        let (digits, extended) = match word {
            [digits @ .., b'x' | b'X'] => (digits, true),
            digits => (digits, false),
        };
        let id = number(digits, self.base()).ok_or(AscError::Identifier)?;
        if id > if extended { 0x1FFF_FFFF } else { 0x7FF } {
            return Err(AscError::Identifier);
        }
        (frame.id, frame.extended) = (id, extended);
        Ok(())
    }

    fn base(&self) -> u32 {
        if self.decimal { 10 } else { 16 }
    }

    fn length(&self, word: Option<&[u8]>, most: usize) -> Result<usize, AscError> {
        let length = word.and_then(|w| number(w, self.base())).ok_or(AscError::Length)? as usize;
        if length > most { Err(AscError::Length) } else { Ok(length) }
    }

    fn bytes(&self, words: &mut Words<'_>, length: usize, frame: &mut Frame) -> Result<(), AscError> {
        let mut data = [0u8; 64];
        for slot in data.iter_mut().take(length) {
            let word = words.next().ok_or(AscError::TooFewBytes)?;
            // Hexadecimal bytes have two digits: a single one was cut.
            if !self.decimal && word.len() != 2 {
                return Err(AscError::Byte);
            }
            *slot = number(word, self.base()).and_then(|n| u8::try_from(n).ok()).ok_or(AscError::Byte)?;
        }
        frame.set_data(data.get(..length).unwrap_or(&[]));
        Ok(())
    }

    fn header(&mut self, line: &[u8]) {
        let Ok(line) = std::str::from_utf8(line) else { return };
        if let Some(rest) = line.strip_prefix("base ") {
            self.decimal = rest.trim_start().starts_with("dec");
            self.differences = rest.contains("timestamps relative");
        } else if let Some(rest) = line.strip_prefix("date ") {
            self.date(rest, false);
        } else if let Some(rest) = line.get(..18).filter(|h| h.eq_ignore_ascii_case("begin triggerblock"))
            && let Some(text) = line.get(rest.len()..)
        {
            self.date(text, true);
        }
    }

    fn date(&mut self, text: &str, trigger: bool) {
        if self.from_trigger && !trigger {
            return;
        }
        if let Some((ns, digits)) = date(text) {
            self.start_ns = Some(ns);
            self.from_trigger = trigger;
            self.short_fraction = matches!(digits, 1 | 2);
        }
    }
}

fn error_frame(frame: &mut Frame) {
    // The log does not say which error: "bus error" of the kernel's classes.
    frame.set_data(&[]);
    (frame.id, frame.extended, frame.kind) = (0x80, true, FrameKind::Error);
}

/// `Mon Oct 25 07:00:55.020 pm 2021` in nanoseconds since 1970 (taken as UTC), and the digits behind the seconds.
fn date(text: &str) -> Option<(i64, usize)> {
    let words: Vec<&str> = text.split_whitespace().take(7).collect();
    let (month, day, clock, rest) = match words.as_slice() {
        [_, month, day, clock, rest @ ..] => (*month, *day, *clock, rest),
        _ => return None,
    };
    let month = match month.get(..3)?.to_ascii_lowercase().as_str() {
        "jan" => 1,
        "feb" => 2,
        "mar" | "mrz" => 3,
        "apr" => 4,
        "may" | "mai" => 5,
        "jun" => 6,
        "jul" => 7,
        "aug" => 8,
        "sep" => 9,
        "oct" | "okt" => 10,
        "nov" => 11,
        "dec" | "dez" => 12,
        _ => return None,
    };
    let (half, year) = match rest {
        [half, year, ..] => (Some(half.to_ascii_lowercase()), *year),
        [year] => (None, *year),
        _ => return None,
    };
    let mut parts = clock.split(':');
    let mut hour: i8 = parts.next()?.parse().ok()?;
    let minute: i8 = parts.next()?.parse().ok()?;
    let (second, fraction) = match parts.next()?.split_once('.') {
        Some((second, fraction)) => (second, fraction),
        None => (clock.rsplit(':').next()?, ""),
    };
    let second: i8 = second.parse().ok()?;
    match half.as_deref() {
        Some("pm") if hour < 12 => hour += 12,
        Some("am") if hour == 12 => hour = 0,
        Some("am" | "pm") | None => {}
        Some(_) => return None,
    }
    if !fraction.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let digits = fraction.len();
    let nanoseconds = format!("{:0<9}", fraction.get(..digits.min(9))?).parse().ok()?;
    let date = jiff::civil::DateTime::new(
        year.parse().ok()?,
        month,
        day.parse().ok()?,
        hour,
        minute,
        second,
        nanoseconds,
    )
    .ok()?;
    let instant = jiff::tz::TimeZone::UTC.to_timestamp(date).ok()?;
    Some((i64::try_from(instant.as_nanosecond()).ok()?, digits))
}

struct Words<'a> {
    rest: &'a [u8],
}

impl<'a> Iterator for Words<'a> {
    type Item = &'a [u8];

    fn next(&mut self) -> Option<&'a [u8]> {
        let rest = self.rest.trim_ascii_start();
        if rest.is_empty() {
            return None;
        }
        let end = rest.iter().position(u8::is_ascii_whitespace).unwrap_or(rest.len());
        let (word, after) = rest.split_at_checked(end)?;
        self.rest = after;
        Some(word)
    }
}

fn number(digits: &[u8], base: u32) -> Option<u32> {
    if digits.is_empty() || digits.len() > 10 {
        return None;
    }
    let mut value: u64 = 0;
    for digit in digits {
        value = value * u64::from(base) + u64::from(char::from(*digit).to_digit(base)?);
    }
    u32::try_from(value).ok()
}

/// `12.345678` in nanoseconds.
fn seconds(word: &[u8]) -> Option<i64> {
    let point = word.iter().position(|b| *b == b'.')?;
    let (whole, fraction) = word.split_at_checked(point)?;
    let fraction = fraction.get(1..)?;
    if whole.is_empty() || whole.len() > 10 || fraction.is_empty() {
        return None;
    }
    let digits = |text: &[u8]| {
        text.iter().try_fold(0i64, |n, b| b.is_ascii_digit().then(|| n * 10 + i64::from(b - b'0')))
    };
    let kept = fraction.get(..fraction.len().min(9))?;
    fraction.iter().all(u8::is_ascii_digit).then_some(())?;
    let nanoseconds = digits(kept)? * 10i64.pow(9 - kept.len() as u32);
    let whole = digits(whole)?;
    (whole < 9_000_000_000).then(|| whole * 1_000_000_000 + nanoseconds)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop here")]
    use super::*;

    fn one(state: &mut State, line: &str) -> Result<Option<Frame>, AscError> {
        let mut frame = Frame::default();
        Ok(state.line(line.as_bytes(), &mut frame)?.map(|_| frame))
    }

    /// Lines as python-can 4.6.1 writes and reads them.
    #[test]
    fn reference_kinds_of_lines() {
        let s = &mut State::default();
        let data =
            one(s, "   2.501000 1  CF00400x        Rx   d 8 60 7D 84 48 14 00 F0 84").unwrap().unwrap();
        assert_eq!(
            (data.id, data.extended, data.time_ns, data.length()),
            (0x0CF0_0400, true, 2_501_000_000, 8)
        );
        assert_eq!(data.data()[0], 0x60);
        let short = one(s, " 0.1 2 7E8 Tx d 3 01 02 03 Length = 0 BitCount = 0 ID = 2024").unwrap().unwrap();
        assert_eq!((short.data(), short.direction), (&[1u8, 2, 3][..], Some(Direction::Sent)));
        let remote = one(s, " 0.1 2 7E8 Rx r 8 Length = 0").unwrap().unwrap();
        assert_eq!((remote.kind, remote.length()), (FrameKind::Remote, 8));
        assert_eq!(one(s, " 0.1 1 ErrorFrame").unwrap().unwrap().kind, FrameKind::Error);
        let fd = one(
            s,
            "30.005021 CANFD   3 Rx        123  Name                  1 0 9 12 00 01 02 03 04 05 06 07 08 09 0A 0B   102203  133   303000 e0006659 46500250 4b140250 20011736 2001040d",
        )
        .unwrap()
        .unwrap();
        assert_eq!(fd.kind, FrameKind::Fd { bit_rate_switch: true, error_state: false });
        assert_eq!((fd.length(), fd.id), (12, 0x123));
        for other in
            ["// remark", " 0.000000 Start of measurement", "1.0 1  Statistic: D 0 R 0", "End TriggerBlock"]
        {
            assert_eq!(one(s, other), Ok(None), "{other}");
        }
        assert_eq!(one(s, " 0.1 2 7E8 Rx d 3 01 02"), Err(AscError::TooFewBytes));
        assert_eq!(one(s, " 0.1 2 8E8 Rx d 0"), Err(AscError::Identifier));
        let mut tens = State::default();
        one(&mut tens, "base dec  timestamps relative").unwrap();
        let frame = one(&mut tens, " 0.1 2 2024 Rx d 2 10 255").unwrap().unwrap();
        assert_eq!((frame.id, frame.data()), (0x7E8, &[10u8, 255][..]));
        assert!(tens.differences);
    }

    #[test]
    fn regress_dates_in_their_spellings() {
        assert_eq!(date("Mon Oct 25 19:00:55.20 2021"), Some((1_635_188_455_200_000_000, 2)));
        assert_eq!(date("Mon Oct 25 07:00:55.020 pm 2021"), Some((1_635_188_455_020_000_000, 3)));
        assert_eq!(date("Mon Okt 25 12:00:00 am 2021").unwrap().0, 1_635_120_000_000_000_000);
        assert_eq!(date("Mon Foo 25 19:00:55 2021"), None);
        assert_eq!(date("2021"), None);
    }
}
