//! Rows of cells, and what a cell says: a number, a time, a state.

/// The cells of one line. Reused from line to line.
#[derive(Debug, Default)]
pub(crate) struct Row {
    text: String,
    ends: Vec<usize>,
}

impl Row {
    /// Splits a line. Every line stands for itself: a quote that is not closed ends with its line, so that a torn
    /// line can never swallow the ones behind it.
    pub fn split(&mut self, line: &str, delimiter: u8) {
        self.text.clear();
        self.ends.clear();
        if memchr::memchr(b'"', line.as_bytes()).is_none() {
            self.text.push_str(line);
            self.ends.extend(memchr::memchr_iter(delimiter, line.as_bytes()));
            self.ends.push(line.len());
            return;
        }
        // With quotes the cells are copied apart, a separator between them.
        let mut reader = csv_core::ReaderBuilder::new().delimiter(delimiter).build();
        let mut input: Vec<u8> = line.as_bytes().to_vec();
        input.push(b'\n');
        let mut cell = vec![0u8; input.len() + 1];
        let mut rest = input.as_slice();
        let mut first = true;
        loop {
            let (result, read, wrote) = reader.read_field(rest, &mut cell);
            rest = rest.get(read..).unwrap_or(&[]);
            let last = match result {
                csv_core::ReadFieldResult::Field { record_end } => record_end,
                csv_core::ReadFieldResult::InputEmpty if read == 0 && rest.is_empty() && wrote == 0 => true,
                csv_core::ReadFieldResult::InputEmpty => {
                    // An open quote: what was read so far is the last cell.
                    true
                }
                _ => true,
            };
            if !first {
                self.text.push(char::from(delimiter));
            }
            first = false;
            self.text.push_str(std::str::from_utf8(cell.get(..wrote).unwrap_or(&[])).unwrap_or(""));
            self.ends.push(self.text.len());
            if last {
                return;
            }
        }
    }

    /// Number of cells.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// A cell without blanks around it; empty if there is none.
    pub fn get(&self, n: usize) -> &str {
        let start = match n {
            0 => 0,
            _ => self.ends.get(n - 1).map_or(self.text.len(), |e| e + 1),
        };
        let end = self.ends.get(n).copied().unwrap_or(0);
        self.text.get(start..end).unwrap_or("").trim()
    }

    pub fn iter(&self) -> impl Iterator<Item = &str> {
        (0..self.len()).map(|n| self.get(n))
    }
}

/// The delimiter of a header line: what stands between names, brackets and quotes left aside.
pub(crate) fn delimiter(header: &str) -> Option<u8> {
    let mut depth = 0u32;
    let mut quoted = false;
    let mut seen = [0u32; 4];
    const KINDS: [char; 4] = ['\t', ';', ',', '|'];
    for c in header.chars() {
        match c {
            '"' => quoted = !quoted,
            '[' | '(' if !quoted => depth += 1,
            ']' | ')' if !quoted => depth = depth.saturating_sub(1),
            _ => {
                if let Some(n) = KINDS.iter().position(|k| *k == c && !quoted && depth == 0)
                    && let Some(count) = seen.get_mut(n)
                {
                    *count += 1;
                }
            }
        }
    }
    seen.iter().position(|n| *n > 0).and_then(|n| KINDS.get(n)).map(|c| *c as u8)
}

/// How numbers are written in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Decimal {
    Point,
    Comma,
}

impl Decimal {
    /// Finds out from cells: what stands before the last group of digits, unless it groups thousands.
    pub fn detect<'a>(cells: impl Iterator<Item = &'a str>) -> Decimal {
        let (mut points, mut commas) = (0u32, 0u32);
        for cell in cells {
            if !cell.bytes().all(|b| matches!(b, b'0'..=b'9' | b'.' | b',' | b'-' | b'+' | b'e' | b'E')) {
                continue;
            }
            match (cell.rfind('.'), cell.rfind(',')) {
                (Some(p), Some(c)) if c > p => commas += 1,
                (Some(_), None) => points += 1,
                (None, Some(_)) => commas += 1,
                (Some(_), Some(_)) => points += 1,
                (None, None) => {}
            }
        }
        if commas > points { Decimal::Comma } else { Decimal::Point }
    }

    /// Reads a number; also gives the number of decimals. Thousands may be grouped with the other sign.
    pub fn number(self, cell: &str) -> Option<(f64, u32)> {
        let (decimal, group) = match self {
            Decimal::Point => ('.', ','),
            Decimal::Comma => (',', '.'),
        };
        let mut buffer = String::new();
        let text = if cell.contains(decimal) && decimal == ',' || cell.contains(group) {
            let (whole, rest) = cell.split_once(decimal).unwrap_or((cell, ""));
            if rest.contains(group) {
                return None;
            }
            let digits = whole.trim_start_matches(['+', '-']);
            if digits.contains(group) {
                let mut groups = digits.split(group);
                let first = groups.next().unwrap_or("");
                if first.is_empty() || first.len() > 3 || !groups.all(|g| g.len() == 3) {
                    return None;
                }
            }
            buffer.extend(whole.chars().filter(|c| *c != group));
            if cell.contains(decimal) {
                buffer.push('.');
                buffer.push_str(rest);
            }
            buffer.as_str()
        } else {
            cell
        };
        // `parse` would also take "inf" and "nan".
        if !text.bytes().next_back().is_some_and(|b| b.is_ascii_digit() || b == b'.') {
            return None;
        }
        let value: f64 = text.parse().ok().filter(|v: &f64| v.is_finite())?;
        let mantissa = text.split(['e', 'E']).next().unwrap_or(text);
        let exponent: i32 = text.split(['e', 'E']).nth(1).and_then(|e| e.parse().ok()).unwrap_or(0);
        let decimals = mantissa.split_once('.').map_or(0, |(_, d)| d.len() as i32);
        Some((value, (decimals - exponent).clamp(0, 12) as u32))
    }
}

/// True for what tables write where nothing was sampled.
pub(crate) fn is_blank(cell: &str) -> bool {
    cell.is_empty()
        || matches!(
            cell.to_ascii_lowercase().as_str(),
            "-" | "--" | "---" | "nan" | "n/a" | "na" | "null" | "none"
        )
}

/// Words for yes and no.
pub(crate) fn state(cell: &str) -> Option<f64> {
    match cell.to_lowercase().as_str() {
        "on" | "yes" | "true" | "active" | "ein" | "ja" | "aktiv" => Some(1.0),
        "off" | "no" | "false" | "inactive" | "aus" | "nein" | "inaktiv" => Some(0.0),
        _ => None,
    }
}

/// A written time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Stamp {
    /// Seconds since 1970, from a date and a time.
    Epoch(f64),
    /// Seconds since midnight.
    OfDay(f64),
}

/// Reads `12:30:05.250`, `2026-03-01 12:30:05`, `2026-03-01T12:30:05Z`, `01.03.2026 12:30:05,25`. Dates with
/// slashes are taken only where their order is certain; otherwise the time of day alone is used.
pub(crate) fn stamp(cell: &str) -> Option<Stamp> {
    if !cell.contains(':') {
        return None;
    }
    if let Ok(instant) = cell.parse::<jiff::Timestamp>() {
        return Some(Stamp::Epoch(instant.as_nanosecond() as f64 * 1e-9));
    }
    let (day, time) = match cell.find(['T', ' ']) {
        Some(at) if cell.get(..at).is_some_and(|d| !d.contains(':')) => cell.split_at_checked(at)?,
        _ => return clock(cell).map(Stamp::OfDay),
    };
    let seconds = clock(time.trim_start_matches('T').trim())?;
    Some(date(day).map_or(Stamp::OfDay(seconds), |days| Stamp::Epoch(days + seconds)))
}

fn clock(text: &str) -> Option<f64> {
    let lower = text.to_ascii_lowercase();
    let (text, half) = match (lower.strip_suffix("am"), lower.strip_suffix("pm")) {
        (Some(t), _) => (t.trim(), Some(0.0)),
        (_, Some(t)) => (t.trim(), Some(12.0)),
        _ => (lower.as_str(), None),
    };
    let mut parts = text.split(':');
    let (a, b, c) = (parts.next()?, parts.next()?, parts.next());
    if parts.next().is_some() {
        return None;
    }
    let whole = |t: &str| {
        (!t.is_empty() && t.len() <= 3 && t.bytes().all(|b| b.is_ascii_digit()))
            .then(|| t.parse::<f64>().ok())?
    };
    let fraction = |t: &str| {
        let t = t.replace(',', ".");
        let plain = t.bytes().all(|b| b.is_ascii_digit() || b == b'.');
        plain.then(|| t.parse::<f64>().ok())?.filter(|s| *s < 61.0)
    };
    let below_60 = |t: &str| whole(t).filter(|m| *m < 60.0);
    let (hours, minutes, seconds) = match c {
        Some(c) => (whole(a)?, below_60(b)?, fraction(c)?),
        // Two parts with decimals are minutes and seconds, without are hours and minutes.
        None if b.contains(['.', ',']) => (0.0, whole(a)?, fraction(b)?),
        None => (whole(a)?, below_60(b)?, 0.0),
    };
    let hours = match half {
        Some(add) => hours % 12.0 + add,
        None => hours,
    };
    Some(hours * 3600.0 + minutes * 60.0 + seconds)
}

/// Seconds from 1970 to the beginning of a day.
pub(crate) fn date(text: &str) -> Option<f64> {
    let separator = text.chars().find(|c| matches!(c, '-' | '.' | '/'))?;
    let mut parts = text.split(separator).map(|p| p.trim().parse::<i16>().ok());
    let (a, b, c) = (parts.next()??, parts.next()??, parts.next()??);
    if parts.next().is_some() {
        return None;
    }
    let (year, month, day) = match separator {
        _ if a > 31 => (a, b, c),
        '.' => (c, b, a),
        '/' if a > 12 => (c, b, a),
        '/' if b > 12 => (c, a, b),
        _ => return None,
    };
    let date = jiff::civil::Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()?;
    let midnight = date.to_datetime(jiff::civil::Time::midnight());
    Some(jiff::tz::TimeZone::UTC.to_timestamp(midnight).ok()?.as_second() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regress_quotes_and_torn_quotes() {
        let mut row = Row::default();
        row.split(r#"a,"b, c",d"#, b',');
        assert_eq!(row.iter().collect::<Vec<_>>(), ["a", "b, c", "d"]);
        row.split(r#"1,"2,3"#, b',');
        assert_eq!(row.get(0), "1");
        row.split("", b',');
        assert_eq!(row.len(), 1);
        row.split(r#""1,5";"2,5""#, b';');
        assert_eq!(row.iter().collect::<Vec<_>>(), ["1,5", "2,5"]);
    }

    #[test]
    fn regress_numbers_of_both_worlds() {
        assert_eq!(Decimal::Comma.number("1.234,50"), Some((1234.5, 2)));
        assert_eq!(Decimal::Comma.number("-0,5"), Some((-0.5, 1)));
        assert_eq!(Decimal::Comma.number("1.23"), None);
        assert_eq!(Decimal::Point.number("1,234.5"), Some((1234.5, 1)));
        assert_eq!(Decimal::Point.number("1,2"), None);
        assert_eq!(Decimal::Point.number("1e3"), Some((1000.0, 0)));
        assert_eq!(Decimal::Point.number("inf"), None);
        assert_eq!(Decimal::Point.number("0x10"), None);
        assert_eq!(Decimal::detect(["1,5", "2", "3,25"].into_iter()), Decimal::Comma);
    }

    #[test]
    fn regress_times() {
        assert_eq!(stamp("12:30:05,250"), Some(Stamp::OfDay(45_005.25)));
        assert_eq!(stamp("2023-11-14 22:13:20.5"), Some(Stamp::Epoch(1_700_000_000.5)));
        assert_eq!(stamp("2023-11-14T22:13:20Z"), Some(Stamp::Epoch(1_700_000_000.0)));
        assert_eq!(stamp("14.11.2023 22:13:20"), Some(Stamp::Epoch(1_700_000_000.0)));
        assert_eq!(stamp("11/14/2023 10:13:20 PM"), Some(Stamp::Epoch(1_700_000_000.0)));
        assert_eq!(stamp("03/04/2023 00:00:01"), Some(Stamp::OfDay(1.0)));
        assert_eq!(stamp("01:30.5"), Some(Stamp::OfDay(90.5)));
        assert_eq!(stamp("99:99:99"), None);
        assert_eq!(stamp("17"), None);
    }
}
