//! candump text: one frame a line, in the compact form and in the form shown on the screen.
//!
//! Grammar after the comments in can-utils `lib.h` (linux-can, commit 03c1bac). Compact:
//! `(time) interface id#data`, `id#R5` (remote), `id##flags data` (CAN FD), dots allowed between bytes, `R` or
//! `T` at the end for received or sent. Screen: `(time)  interface  id   [length]  bytes`.

pub use crate::frame::{Direction, Frame, FrameKind};
use std::fmt;

/// Why a line is no frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum LineError {
    /// The line does not start with a time in round brackets.
    NoTime,
    /// The bracket around the time is not closed.
    TimeNotClosed,
    /// The time is not a decimal number or date, or out of range.
    BadTime,
    /// No interface name.
    NoInterface,
    /// No `#` after the identifier, or the line ends before it.
    NoIdentifier,
    /// The identifier has neither 3 nor 8 digits.
    IdLength,
    /// A character that is no hexadecimal digit.
    NotHex,
    /// Half a byte.
    OddDigits,
    /// More data bytes than the kind of frame can hold.
    TooManyBytes,
    /// Fewer data bytes than the length says.
    TooFewBytes,
    /// A CAN FD length that does not exist.
    FdLength,
    /// A CAN XL frame.
    CanXl,
    /// Something stands after the frame.
    Trailing,
}

impl fmt::Display for LineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            LineError::NoTime => "no time in round brackets at the start of the line",
            LineError::TimeNotClosed => "the bracket around the time is not closed",
            LineError::BadTime => "the time is neither seconds with decimals nor a date",
            LineError::NoInterface => "no interface name after the time",
            LineError::NoIdentifier => "no identifier with its data",
            LineError::IdLength => "the identifier must have 3 or 8 digits",
            LineError::NotHex => "a character that is not a hexadecimal digit",
            LineError::OddDigits => "odd number of hexadecimal digits",
            LineError::TooManyBytes => "more data bytes than such a frame can hold",
            LineError::TooFewBytes => "fewer data bytes than the length in brackets",
            LineError::FdLength => "a number of bytes that CAN FD does not have",
            LineError::CanXl => "a CAN XL frame, which is not supported",
            LineError::Trailing => "unexpected text after the frame",
        })
    }
}

impl std::error::Error for LineError {}

/// Value of a hexadecimal digit, 0xFF for anything else.
#[allow(clippy::indexing_slicing, reason = "computed when compiling: an index out of range would not build")]
const HEX: [u8; 256] = {
    let mut table = [0xFFu8; 256];
    let mut i = 0;
    while i < 10 {
        table[b'0' as usize + i] = i as u8;
        i += 1;
    }
    let mut i = 0;
    while i < 6 {
        table[b'A' as usize + i] = 10 + i as u8;
        table[b'a' as usize + i] = 10 + i as u8;
        i += 1;
    }
    table
};

#[allow(clippy::indexing_slicing, reason = "256 entries: the index of a byte cannot fail")]
#[inline]
fn hex(digit: u8) -> u8 {
    HEX[usize::from(digit)]
}

const ERROR_FLAG: u32 = 0x2000_0000;
const ID_BITS: u32 = 0x1FFF_FFFF;

/// Reads one line, compact or screen form, into `frame`; gives back the interface name.
///
/// # Errors
/// Says what is wrong with the line; `frame` then holds nothing of use.
pub fn parse_line<'a>(line: &'a [u8], frame: &mut Frame) -> Result<&'a [u8], LineError> {
    let line = line.trim_ascii_end();
    let start = line.iter().position(|b| !matches!(b, b' ' | b'\t')).ok_or(LineError::NoTime)?;
    let line = line.get(start..).unwrap_or(&[]);
    let Some((b'(', rest)) = line.split_first() else { return Err(LineError::NoTime) };
    let (time_ns, rest) = time(rest)?;
    frame.time_ns = time_ns;
    frame.direction = None;

    let (gap, rest) = skip_blanks(rest);
    if gap == 0 {
        return Err(LineError::NoInterface);
    }
    let (interface, rest) = word(rest);
    if interface.is_empty() {
        return Err(LineError::NoInterface);
    }
    let (gap, rest) = skip_blanks(rest);
    if gap == 0 || rest.is_empty() {
        return Err(LineError::NoIdentifier);
    }
    let digits = rest.iter().take(9).take_while(|b| hex(**b) != 0xFF).count();
    match rest.get(digits) {
        Some(b'#') => compact(rest, digits, frame)?,
        _ => screen(rest, frame)?,
    }
    Ok(interface)
}

/// True if a line is written in the screen form: its data stands behind a length in square brackets.
pub(crate) fn is_screen_form(line: &[u8]) -> bool {
    memchr::memchr(b'#', line).is_none() && memchr::memchr(b'[', line).is_some()
}

fn skip_blanks(text: &[u8]) -> (usize, &[u8]) {
    let n = text.iter().take_while(|b| matches!(b, b' ' | b'\t')).count();
    (n, text.get(n..).unwrap_or(&[]))
}

fn word(text: &[u8]) -> (&[u8], &[u8]) {
    let n = text.iter().take_while(|b| !matches!(b, b' ' | b'\t')).count();
    text.split_at_checked(n).unwrap_or((text, &[]))
}

/// `1700000000.000001)` in nanoseconds, or `None` if it is not written exactly so.
#[inline]
fn epoch_microseconds(stamp: &[u8; 18]) -> Option<i64> {
    let [seconds @ .., b'.', a, b, c, d, e, f, b')'] = stamp else { return None };
    let mut all_digits = true;
    let mut number = 0i64;
    for digit in seconds.iter().chain([a, b, c, d, e, f]) {
        let value = digit.wrapping_sub(b'0');
        all_digits &= value < 10;
        number = number * 10 + i64::from(value);
    }
    (all_digits && number < 9_000_000_000_000_000).then(|| number * 1000)
}

/// Reads `seconds.decimals)` or `date time)` behind the opening bracket.
fn time(text: &[u8]) -> Result<(i64, &[u8]), LineError> {
    // Nearly every line: ten digits of seconds and six of microseconds.
    if let Some((stamp, rest)) = text.split_first_chunk::<18>()
        && let Some(ns) = epoch_microseconds(stamp)
    {
        return Ok((ns, rest));
    }
    let mut seconds: i64 = 0;
    let mut at = 0;
    while let Some(digit) = text.get(at).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
        seconds = seconds.wrapping_mul(10).wrapping_add(i64::from(digit));
        at += 1;
    }
    match text.get(at) {
        // 9 digits before the point are enough until 2001, 10 until 2286; 9.2e9 s is what 64 bits of ns hold.
        Some(b'.') if at > 0 && at <= 10 && seconds < 9_000_000_000 => {}
        Some(b'-') => return date_time(text),
        None => return Err(LineError::TimeNotClosed),
        _ => {
            return Err(if memchr::memchr(b')', text).is_none() {
                LineError::TimeNotClosed
            } else {
                LineError::BadTime
            });
        }
    }
    at += 1;
    let decimals = at;
    let mut nanoseconds: i64 = 0;
    let mut scale: i64 = 1_000_000_000;
    while let Some(digit) = text.get(at).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
        if scale > 1 {
            nanoseconds = nanoseconds * 10 + i64::from(digit);
            scale /= 10;
        }
        at += 1;
    }
    match text.get(at) {
        Some(b')') if at > decimals => {}
        None => return Err(LineError::TimeNotClosed),
        _ => {
            return Err(if memchr::memchr(b')', text).is_none() {
                LineError::TimeNotClosed
            } else {
                LineError::BadTime
            });
        }
    }
    Ok((seconds * 1_000_000_000 + nanoseconds * scale, text.get(at + 1..).unwrap_or(&[])))
}

/// `2023-11-14 22:13:20.000000)`, as `candump -tA` writes it in local time; taken as UTC.
fn date_time(text: &[u8]) -> Result<(i64, &[u8]), LineError> {
    let end = memchr::memchr(b')', text).ok_or(LineError::TimeNotClosed)?;
    let (inside, rest) = text.split_at_checked(end).ok_or(LineError::TimeNotClosed)?;
    let stamp: jiff::civil::DateTime =
        std::str::from_utf8(inside).ok().and_then(|s| s.trim().parse().ok()).ok_or(LineError::BadTime)?;
    let instant = jiff::tz::TimeZone::UTC.to_timestamp(stamp).map_err(|_| LineError::BadTime)?;
    let ns = i64::try_from(instant.as_nanosecond()).map_err(|_| LineError::BadTime)?;
    Ok((ns, rest.get(1..).unwrap_or(&[])))
}

/// Sets id, width and error flag from the digits of an identifier; true if it is an error frame.
fn identifier(digits: &[u8], frame: &mut Frame) -> Result<bool, LineError> {
    if digits.len() != 3 && digits.len() != 8 {
        return Err(LineError::IdLength);
    }
    let mut id: u32 = 0;
    for digit in digits {
        let value = hex(*digit);
        if value == 0xFF {
            return Err(LineError::NotHex);
        }
        id = (id << 4) | u32::from(value);
    }
    frame.extended = digits.len() == 8;
    let error = frame.extended && id & ERROR_FLAG != 0;
    if !frame.extended && id > 0x7FF {
        return Err(LineError::IdLength);
    }
    frame.id = id & ID_BITS;
    Ok(error)
}

fn compact(text: &[u8], digits: usize, frame: &mut Frame) -> Result<(), LineError> {
    let error = identifier(text.get(..digits).unwrap_or(&[]), frame)?;
    let data = text.get(digits + 1..).unwrap_or(&[]);
    frame.kind = if error { FrameKind::Error } else { FrameKind::Classic };
    match data.first() {
        Some(b'R' | b'r') => {
            let asked = match data.get(1) {
                Some(b @ b'0'..=b'8') => *b - b'0',
                Some(b'9' | b'A'..=b'F' | b'a'..=b'f') => 8,
                _ => 0,
            };
            let used = if data.get(1).is_some_and(|b| hex(*b) != 0xFF) { 2 } else { 1 };
            frame.kind = FrameKind::Remote;
            frame.length = asked;
            ending(data.get(used..).unwrap_or(&[]), frame)
        }
        Some(b'#') => {
            let Some(flags) = data.get(1) else { return Err(LineError::TooFewBytes) };
            if *flags == b'#' {
                return Err(LineError::CanXl);
            }
            let flags = hex(*flags);
            if flags == 0xFF {
                return Err(LineError::NotHex);
            }
            frame.kind = FrameKind::Fd { bit_rate_switch: flags & 1 != 0, error_state: flags & 2 != 0 };
            let rest = data_bytes(data.get(2..).unwrap_or(&[]), 64, frame)?;
            fd_length(frame.length)?;
            ending(rest, frame)
        }
        _ => {
            let rest = data_bytes(data, 8, frame)?;
            // `_9` .. `_F`: the raw length code above 8 of a classic frame.
            let rest = match rest {
                [b'_', code, rest @ ..] if frame.length == 8 && (9..16).contains(&hex(*code)) => rest,
                _ => rest,
            };
            ending(rest, frame)
        }
    }
}

fn fd_length(length: u8) -> Result<(), LineError> {
    if matches!(length, 0..=8 | 12 | 16 | 20 | 24 | 32 | 48 | 64) { Ok(()) } else { Err(LineError::FdLength) }
}

/// Eight bytes out of sixteen digits, or `None` if one of them is no digit.
#[inline]
fn eight_bytes(digits: &[u8; 16]) -> Option<[u8; 8]> {
    let mut seen = 0;
    let mut bytes = [0; 8];
    for (byte, pair) in bytes.iter_mut().zip(digits.as_chunks::<2>().0) {
        let [high, low] = pair.map(hex);
        seen |= high | low;
        *byte = high << 4 | low;
    }
    (seen <= 0x0F).then_some(bytes)
}

/// Reads pairs of digits, dots allowed between them, up to the first blank or `_`.
fn data_bytes<'a>(text: &'a [u8], most: usize, frame: &mut Frame) -> Result<&'a [u8], LineError> {
    // Nearly every frame: eight bytes and then nothing more.
    if let Some((digits, rest)) = text.split_first_chunk::<16>()
        && matches!(rest.first(), None | Some(b' '))
        && let Some(bytes) = eight_bytes(digits)
        && let Some(slot) = frame.bytes.first_chunk_mut::<8>()
    {
        *slot = bytes;
        frame.length = 8;
        return Ok(rest);
    }
    let mut rest = text;
    let mut n = 0;
    loop {
        match rest {
            [b' ' | b'\t' | b'_', ..] | [] => break,
            [b'.', after @ ..] if n > 0 => rest = after,
            [high, low, after @ ..] => {
                let (h, l) = (hex(*high), hex(*low));
                if h | l > 0x0F {
                    return Err(if h <= 0x0F && matches!(low, b' ' | b'\t' | b'.' | b'_') {
                        LineError::OddDigits
                    } else {
                        LineError::NotHex
                    });
                }
                if n >= most {
                    return Err(LineError::TooManyBytes);
                }
                if let Some(slot) = frame.bytes.get_mut(n) {
                    *slot = (h << 4) | l;
                }
                n += 1;
                rest = after;
            }
            [one] => return Err(if hex(*one) == 0xFF { LineError::NotHex } else { LineError::OddDigits }),
        }
    }
    frame.length = n as u8;
    Ok(rest)
}

/// Reads what may follow a frame: nothing, or the direction.
fn ending(text: &[u8], frame: &mut Frame) -> Result<(), LineError> {
    match text.trim_ascii() {
        [] => Ok(()),
        [b'R'] if text.first() == Some(&b' ') => {
            frame.direction = Some(Direction::Received);
            Ok(())
        }
        [b'T'] if text.first() == Some(&b' ') => {
            frame.direction = Some(Direction::Sent);
            Ok(())
        }
        _ => Err(LineError::Trailing),
    }
}

/// `id   [8]  00 00 ...`, with `RX - -` or `TX B E` before the id when written by `candump -x`.
fn screen(text: &[u8], frame: &mut Frame) -> Result<(), LineError> {
    let mut text = text;
    let mut flags = (false, false);
    if let [direction @ (b'R' | b'T'), b'X', b' ' | b'\t', rest @ ..] = text {
        frame.direction = Some(if *direction == b'R' { Direction::Received } else { Direction::Sent });
        let (brs, rest) = word(skip_blanks(rest).1);
        let (esi, rest) = word(skip_blanks(rest).1);
        if !matches!(brs, b"-" | b"B") || !matches!(esi, b"-" | b"E") {
            return Err(LineError::NoIdentifier);
        }
        flags = (brs == b"B", esi == b"E");
        text = skip_blanks(rest).1;
    }
    let (id, rest) = word(text);
    let rest = skip_blanks(rest).1;
    if rest.first() != Some(&b'[') {
        return Err(LineError::NoIdentifier);
    }
    let error = identifier(id, frame)?;
    let close = rest.iter().take(4).position(|b| *b == b']').ok_or(LineError::NoIdentifier)?;
    let inside = rest.get(1..close).unwrap_or(&[]);
    if inside.is_empty() || !inside.iter().all(u8::is_ascii_digit) {
        return Err(LineError::NoIdentifier);
    }
    let length = inside.iter().fold(0usize, |n, d| n * 10 + usize::from(d - b'0'));
    let fd = inside.len() == 2;
    frame.kind = match (error, fd) {
        (true, _) => FrameKind::Error,
        (_, true) => FrameKind::Fd { bit_rate_switch: flags.0, error_state: flags.1 },
        _ => FrameKind::Classic,
    };
    if length > if fd { 64 } else { 8 } {
        return Err(LineError::TooManyBytes);
    }
    if fd {
        fd_length(length as u8)?;
    }
    let mut rest = skip_blanks(rest.get(close + 1..).unwrap_or(&[])).1;
    if rest.starts_with(b"remote request") {
        frame.kind = FrameKind::Remote;
        frame.length = length as u8;
        return Ok(());
    }
    for n in 0..length {
        let [high, low, after @ ..] = rest else { return Err(LineError::TooFewBytes) };
        let (h, l) = (hex(*high), hex(*low));
        if h | l > 0x0F {
            return Err(if matches!(high, b'E' | b'\'') {
                LineError::TooFewBytes
            } else {
                LineError::NotHex
            });
        }
        if let Some(slot) = frame.bytes.get_mut(n) {
            *slot = (h << 4) | l;
        }
        rest = match after {
            [] => after,
            [b' ' | b'\t', ..] => skip_blanks(after).1,
            _ => return Err(LineError::NotHex),
        };
    }
    frame.length = length as u8;
    // `-a` adds the characters in quotes, error frames their explanation; nothing else may follow.
    match rest {
        [] | [b'\'', ..] => Ok(()),
        _ if error || rest.starts_with(b"ERRORFRAME") => Ok(()),
        _ => Err(LineError::Trailing),
    }
}

/// Eight decimal digits in a word (first one lowest), or `None` if one of them is no digit.
#[inline(always)]
fn eight_digits(word: u64) -> Option<u64> {
    let high = word & 0xF0F0_F0F0_F0F0_F0F0;
    let above_nine = (word.wrapping_add(0x0606_0606_0606_0606) & 0xF0F0_F0F0_F0F0_F0F0) >> 4;
    if high | above_nine != 0x3333_3333_3333_3333 {
        return None;
    }
    let pairs = (word & 0x0F0F_0F0F_0F0F_0F0F).wrapping_mul(2561) >> 8;
    let fours = (pairs & 0x00FF_00FF_00FF_00FF).wrapping_mul(6_553_601) >> 16;
    Some((fours & 0x0000_FFFF_0000_FFFF).wrapping_mul(42_949_672_960_001) >> 32)
}

/// Eight hexadecimal digits in a word (first one lowest) as four bytes, the first one lowest; the second number is 0
/// if all eight are digits.
#[inline(always)]
fn eight_hex(word: u64) -> (u32, u64) {
    const TOP: u64 = 0x8080_8080_8080_8080;
    let lower = word | 0x2020_2020_2020_2020;
    // With the top bits clear no addition carries into the next byte; each sets the top bit from its limit on.
    let digit = word.wrapping_add(0x5050_5050_5050_5050) & !word.wrapping_add(0x4646_4646_4646_4646);
    let letter = lower.wrapping_add(0x1F1F_1F1F_1F1F_1F1F) & !lower.wrapping_add(0x1919_1919_1919_1919);
    let bad = (word & TOP) | (!(digit | letter) & TOP);
    let nibbles = (word & 0x0F0F_0F0F_0F0F_0F0F) + ((word & 0x4040_4040_4040_4040) >> 6) * 9;
    let bytes = (nibbles << 4 | nibbles >> 8) & 0x00FF_00FF_00FF_00FF;
    let pairs = (bytes | bytes >> 8) & 0x0000_FFFF_0000_FFFF;
    ((pairs | pairs >> 16) as u32, bad)
}

/// What stands between the time and the identifier when a blank surrounds the interface; empty if it is too long for
/// [`usual_line`].
pub(crate) fn between(interface: &[u8], text: &mut Vec<u8>) {
    text.clear();
    if interface.len() <= 6 {
        text.push(b' ');
        text.extend_from_slice(interface);
        text.push(b' ');
    }
}

/// The line that nearly all lines are: ten digits of seconds and six of microseconds, the interface of the line
/// before, an identifier, eight data bytes, line end. `None` if `text` begins otherwise; [`parse_line`] then decides.
/// Gives back the length of the line with its end.
#[inline(always)]
pub(crate) fn usual_line(text: &[u8], between: &[u8], frame: &mut Frame) -> Option<usize> {
    let word = |bytes: &[u8; 8]| u64::from_le_bytes(*bytes);
    let (stamp, rest) = text.split_first_chunk::<19>()?;
    let [b'(', seconds @ .., b'.', _, _, _, _, _, _, b')'] = stamp else { return None };
    let (high, low) = seconds.split_first_chunk::<8>()?;
    let low: [u8; 2] = low.try_into().ok()?;
    let micro = stamp.last_chunk::<8>()?;
    // The point goes, the bracket goes, two zeros come before.
    let micro = eight_digits(word(micro) >> 8 << 16 | 0x3030)?;
    let [tens, ones] = low.map(|b| b.wrapping_sub(b'0'));
    if tens > 9 || ones > 9 {
        return None;
    }
    let seconds = eight_digits(word(high))? * 100 + u64::from(tens) * 10 + u64::from(ones);
    if seconds >= 9_000_000_000 {
        return None;
    }
    if between.is_empty() {
        return None;
    }
    let (head, _) = rest.split_first_chunk::<8>()?;
    let mut wanted = [0u8; 8];
    wanted.get_mut(..between.len())?.copy_from_slice(between);
    let unused = 64 - 8 * between.len() as u32;
    if (word(head) ^ u64::from_le_bytes(wanted)) << unused != 0 {
        return None;
    }
    let rest = rest.get(between.len()..)?;
    let (id, extended, used, rest) = match rest {
        [a, b, c, b'#', rest @ ..] => {
            let [a, b, c] = [hex(*a), hex(*b), hex(*c)];
            if a | b | c > 0x0F {
                return None;
            }
            (u32::from(a) << 8 | u32::from(b) << 4 | u32::from(c), false, 4, rest)
        }
        _ => {
            let (digits, rest) = rest.split_first_chunk::<8>()?;
            let (b'#', rest) = rest.split_first()? else { return None };
            let (id, bad) = eight_hex(word(digits));
            if bad != 0 {
                return None;
            }
            (id.swap_bytes(), true, 9, rest)
        }
    };
    // Error frames and impossible identifiers go the long way.
    if id > if extended { ID_BITS } else { 0x7FF } {
        return None;
    }
    let (digits, rest) = rest.split_first_chunk::<16>()?;
    let (first, last) = (digits.first_chunk::<8>()?, digits.last_chunk::<8>()?);
    let ((low, bad_low), (high, bad_high)) = (eight_hex(word(first)), eight_hex(word(last)));
    if bad_low | bad_high != 0 {
        return None;
    }
    let end = match rest {
        [b'\n', ..] => 1,
        [b'\r', b'\n', ..] => 2,
        _ => return None,
    };
    frame.time_ns = (seconds * 1_000_000_000 + micro * 1000) as i64;
    (frame.id, frame.extended, frame.kind, frame.direction) = (id, extended, FrameKind::Classic, None);
    frame.length = 8;
    if let Some(slot) = frame.bytes.first_chunk_mut::<8>() {
        *slot = (u64::from(high) << 32 | u64::from(low)).to_le_bytes();
    }
    Some(19 + between.len() + used + 16 + end)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(line: &str) -> Result<Frame, LineError> {
        let mut frame = Frame::default();
        parse_line(line.as_bytes(), &mut frame).map(|_| frame)
    }

    #[test]
    fn regress_times_keep_every_digit() {
        assert_eq!(one("(1635188455.020850) can0 123#").unwrap().time_ns, 1_635_188_455_020_850_000);
        assert_eq!(one("(0.1234567891) can0 123#").unwrap().time_ns, 123_456_789);
        assert_eq!(
            one(" (2023-11-14 22:13:20.000001)  can0  123   [0]").unwrap().time_ns,
            1_700_000_000_000_001_000
        );
        assert_eq!(one("(99999999999.0) can0 123#"), Err(LineError::BadTime));
        assert_eq!(one("(1.) can0 123#"), Err(LineError::BadTime));
        assert_eq!(one("(1"), Err(LineError::TimeNotClosed));
    }

    #[test]
    fn regress_screen_form_in_all_its_columns() {
        let fd = one(" (1.5)  can0  RX B -  123  [12]  00 01 02 03 04 05 06 07 08 09 0A 0B").unwrap();
        assert_eq!(fd.kind, FrameKind::Fd { bit_rate_switch: true, error_state: false });
        assert_eq!(fd.length(), 12);
        assert_eq!(fd.direction, Some(Direction::Received));
        let text = one(" (1.5)  can0  7E8   [3]  41 42 43   'ABC'").unwrap();
        assert_eq!(text.data(), b"ABC");
        assert_eq!(one(" (1.5)  can0  7E8   [0]  remote request").unwrap().kind, FrameKind::Remote);
        assert_eq!(
            one(" (1.5)  can0  20000080   [8]  00 00 00 00 00 00 00 00   ERRORFRAME").unwrap().kind,
            FrameKind::Error
        );
        assert_eq!(one(" (1.5)  can0  7E8   [3]  41 42"), Err(LineError::TooFewBytes));
        assert_eq!(one(" (1.5)  can0  7E8   [3]  41 42 4"), Err(LineError::TooFewBytes));
        assert_eq!(one(" (1.5)  can0  7E8   [3]  41 42 43 44"), Err(LineError::Trailing));
        assert_eq!(one(" (1.5)  can0  7E8   [9]  41 42 43 44"), Err(LineError::TooManyBytes));
    }

    #[test]
    fn regress_compact_form_odd_ends() {
        assert_eq!(one("(1.5) can0 123#0011223344556677_B").unwrap().length(), 8);
        assert_eq!(one("(1.5) can0 123###0011"), Err(LineError::CanXl));
        assert_eq!(one("(1.5) can0 123#1122(1.6) can0 124#00"), Err(LineError::NotHex));
        assert_eq!(one("(1.5) can0 123#1122 X"), Err(LineError::Trailing));
        assert_eq!(one("(1.5) can0 123##1112233445566778899"), Err(LineError::FdLength));
        assert_eq!(one("(1.5) can0 FFF#00"), Err(LineError::IdLength));
    }

    #[test]
    fn property_the_short_way_agrees_with_the_long_one() {
        let usual = b"(1635188455.020850) can0 18FEDF00#82FfFF0a7D090201\n";
        let mut gap = Vec::new();
        between(b"can0", &mut gap);
        let both = |line: &[u8]| {
            let (mut short, mut long) = (Frame::default(), Frame::default());
            let used = usual_line(line, &gap, &mut short);
            let end = line.iter().position(|b| *b == b'\n').map_or(line.len(), |n| n + 1);
            let name = parse_line(line.get(..end).unwrap_or(&[]), &mut long);
            if let Some(used) = used {
                assert_eq!((used, name), (end, Ok(&b"can0"[..])), "{}", String::from_utf8_lossy(line));
                assert_eq!(short, long, "{}", String::from_utf8_lossy(line));
            }
            used.is_some()
        };
        assert!(both(usual) && both(b"(1635188455.020850) can0 7E8#0341058500000000\r\n"));
        // Every byte in every place.
        let mut taken = 0;
        for at in 0..usual.len() {
            for byte in 0..=255u8 {
                let mut line = usual.to_vec();
                line[at] = byte;
                taken += usize::from(both(&line));
            }
        }
        assert!(taken > 500, "{taken}");
    }
}
