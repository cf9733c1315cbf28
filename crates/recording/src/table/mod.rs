//! Tables: one column a signal, or one row a sample.
//!
//! There is no standard; the shapes met are listed in the crate's front page. The rule that matters: a unit is
//! stated by the table or by the caller, never guessed.

mod cells;
mod units;

use crate::model::{CutEnd, Format, Note, NoteKind, Options, Problems, Recording, Signal};
use crate::quantity::Quantity;
use cells::{Decimal, Row, Stamp, delimiter, is_blank, stamp};
use std::collections::HashMap;
use units::Conversion;

/// How many lines may stand before the header, and how many rows are looked at to learn how things are written.
const PREAMBLE: usize = 40;
const LOOK_AT: usize = 200;

const ASK_UNIT: &str = "state the unit in the header, as in `[kPa]`, or in the mapping of column names; hPa, mbar \
                        and kPa differ by ten, so it is not guessed";

/// True if there is a header line with at least two columns near the top.
pub(crate) fn looks_like(head: &[u8]) -> bool {
    let text = String::from_utf8_lossy(head);
    let lines: Vec<&str> = text.lines().take(PREAMBLE).collect();
    let control = text.chars().filter(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t')).count();
    control == 0 && find_header(&lines, &Options::default()).is_some()
}

/// Text in small letters with `_` for everything that is neither letter nor digit.
fn plain_name(name: &str) -> String {
    let mut text = String::new();
    for c in name.chars().flat_map(char::to_lowercase) {
        if c.is_alphanumeric() {
            text.push(c);
        } else if !text.ends_with('_') && !text.is_empty() {
            text.push('_');
        }
    }
    text.trim_end_matches('_').to_owned()
}

/// Takes `name [unit]` or `name (unit)` apart. Brackets that hold no unit belong to the name.
fn name_and_unit(header: &str) -> (&str, Option<&str>) {
    let header = header.trim();
    for (open, close) in [('[', ']'), ('(', ')')] {
        if let Some(inner) = header.strip_suffix(close)
            && let Some((name, unit)) = inner.rsplit_once(open)
            && (open == '[' || units::is_unit(unit) || unit.trim().is_empty())
        {
            return (name.trim(), Some(unit.trim()));
        }
    }
    (header, None)
}

fn is_time_name(plain: &str) -> bool {
    matches!(
        plain,
        "time"
            | "timestamp"
            | "t"
            | "zeit"
            | "zeitstempel"
            | "uhrzeit"
            | "clock"
            | "datetime"
            | "date_time"
            | "elapsed"
            | "elapsed_time"
            | "epoch"
            | "unix_time"
            | "time_of_day"
    )
}

/// What a column's header, together with the caller's mapping, says it is.
#[derive(Debug, Clone, PartialEq)]
enum Meaning {
    Time { unit: Option<String> },
    Date,
    Quantity { quantity: Quantity, instance: u8, unit: Option<String> },
    UnitConflict { table: String, caller: String },
    BadTarget(String),
    Unknown,
}

/// Standard terms that are also written in another order or as the usual abbreviation.
fn synonym(plain: &str) -> Option<Quantity> {
    Some(match plain {
        "rpm" | "engine_rpm" => Quantity::EngineSpeed,
        "speed" => Quantity::VehicleSpeed,
        "differential_pressure" | "dpf_differential_pressure" | "filter_pressure_drop" => {
            Quantity::FilterDifferentialPressure
        }
        "maf" | "air_mass_flow" | "mass_air_flow" => Quantity::IntakeAirMassFlow,
        "manifold_absolute_pressure" | "map" => Quantity::IntakeManifoldPressure,
        "exhaust_gas_temperature" | "egt" => Quantity::ExhaustTemperature,
        "fuel_rate" => Quantity::FuelVolumeRate,
        "soot_load" => Quantity::ControllerSootLoad,
        "ash_load" => Quantity::ControllerAshLoad,
        "engine_coolant_temperature" => Quantity::CoolantTemperature,
        "engine_oil_temperature" => Quantity::OilTemperature,
        "ambient_air_temperature" => Quantity::AmbientTemperature,
        _ => return None,
    })
}

/// Own name, perhaps with an instance behind `#` or `_`.
fn own_quantity(name: &str) -> Option<(Quantity, u8)> {
    let find = |text: &str| {
        let plain = plain_name(text);
        Quantity::from_name(&plain).or_else(|| synonym(&plain))
    };
    if let Some(quantity) = find(name) {
        return Some((quantity, 0));
    }
    let digits = name.bytes().rev().take_while(u8::is_ascii_digit).count();
    let (base, number) = name.split_at_checked(name.len() - digits)?;
    let instance = number.parse().ok()?;
    find(base.trim_end_matches(['#', '_', ' '])).map(|quantity| (quantity, instance))
}

fn meaning(header: &str, options: &Options) -> Meaning {
    let (name, unit) = name_and_unit(header);
    let mapped = options
        .column_names
        .iter()
        .find(|(foreign, _)| {
            let foreign = foreign.trim();
            [header.trim(), name].iter().any(|h| h.to_lowercase() == foreign.to_lowercase())
        })
        .map(|(_, target)| target.as_str());
    let (target, caller_unit) = mapped.map_or((name, None), name_and_unit);
    let unit = match (unit.filter(|u| !u.is_empty()), caller_unit.filter(|u| !u.is_empty())) {
        (Some(table), Some(caller)) if plain_name(table) != plain_name(caller) => {
            return Meaning::UnitConflict { table: table.to_owned(), caller: caller.to_owned() };
        }
        (table, caller) => table.or(caller).map(str::to_owned),
    };
    let plain = plain_name(target);
    if is_time_name(&plain) {
        return Meaning::Time { unit };
    }
    if matches!(plain.as_str(), "date" | "datum") {
        return Meaning::Date;
    }
    if let Some((quantity, instance)) = own_quantity(target) {
        // `rpm` as a name is its own unit.
        let unit = unit.or_else(|| matches!(plain.as_str(), "rpm" | "engine_rpm").then(|| "rpm".to_owned()));
        return Meaning::Quantity { quantity, instance, unit };
    }
    if unit.is_none()
        && let Some((rest, unit)) = units::suffix(&plain)
    {
        let unit = Some(unit.to_owned());
        if is_time_name(rest) {
            return Meaning::Time { unit };
        }
        if let Some((quantity, instance)) = own_quantity(rest) {
            return Meaning::Quantity { quantity, instance, unit };
        }
    }
    if mapped.is_some() { Meaning::BadTarget(target.to_owned()) } else { Meaning::Unknown }
}

/// Position of the header among the first lines, and the delimiter.
fn find_header(lines: &[&str], options: &Options) -> Option<(usize, u8)> {
    let mut fallback = None;
    let mut row = Row::default();
    for (n, line) in lines.iter().enumerate().take(PREAMBLE) {
        let line = line.trim_start_matches(['#', ' ']);
        let Some(delimiter) = delimiter(line) else { continue };
        row.split(line, delimiter);
        let words = row.iter().filter(|c| !c.is_empty() && Decimal::Point.number(c).is_none()).count();
        if words < 2 || words * 2 < row.len() || row.iter().any(|c| stamp(c).is_some()) {
            continue;
        }
        if row.iter().any(|c| matches!(meaning(c, options), Meaning::Time { .. })) {
            return Some((n, delimiter));
        }
        fallback = fallback.or(Some((n, delimiter)));
    }
    fallback
}

/// How the time column is written.
#[derive(Debug, Clone, Copy, PartialEq)]
enum TimeKind {
    /// A number times this many seconds; since 1970 or since some start.
    Number(f64),
    /// A clock, with or without a date.
    Stamp,
}

/// A written number of time as nanoseconds. Of a large number (a time since 1970) a double holds little more than
/// microseconds: the rest is rounding and goes.
fn nanoseconds(written: f64, scale: f64) -> Option<i64> {
    let unit = (scale * 1e9).round();
    if written.is_nan() || written.abs() * unit >= 9e18 {
        return None;
    }
    let part = written.fract() * unit;
    let part = if written.abs() * scale > 1e8 { (part / 1e3).round() * 1e3 } else { part.round() };
    (written.trunc() as i64).checked_mul(unit as i64)?.checked_add(part as i64)
}

const SECOND: i64 = 1_000_000_000;

/// Times of the rows in nanoseconds, made to rise.
#[derive(Default)]
struct RowClock {
    first: Option<i64>,
    last: i64,
    shift: i64,
    epoch: bool,
    disordered: bool,
}

impl RowClock {
    /// Seconds since the first row; the step in seconds if the clock was set back.
    fn at(&mut self, written: i64, wraps: bool) -> (f64, Option<f64>) {
        let Some(first) = self.first else {
            self.first = Some(written);
            self.last = written;
            return (0.0, None);
        };
        let mut now = written.saturating_add(self.shift);
        let mut step = None;
        if now < self.last {
            let back = self.last.saturating_sub(now);
            if wraps && back > 12 * 3600 * SECOND {
                self.shift = self.shift.saturating_add(86_400 * SECOND);
                now = now.saturating_add(86_400 * SECOND);
            } else if back > SECOND {
                self.shift = self.shift.saturating_add(back);
                now = self.last;
                step = Some(back as f64 / 1e9);
            } else {
                self.disordered = true;
            }
        }
        self.last = self.last.max(now);
        (now.saturating_sub(first).max(0) as f64 / 1e9, step)
    }
}

/// A signal under construction.
struct Column {
    signal: Signal,
    conversion: Conversion,
    decimals: u32,
    bad_cells: u64,
    first_bad: Option<(u64, String)>,
}

impl Column {
    fn new(quantity: Quantity, instance: u8, source: &str, conversion: Conversion) -> Self {
        let signal = Signal {
            quantity,
            instance,
            source: source.to_owned(),
            resolution: 0.0,
            time_s: Vec::new(),
            value: Vec::new(),
        };
        Column { signal, conversion, decimals: 0, bad_cells: 0, first_bad: None }
    }

    fn push(&mut self, time_s: f64, cell: &str, decimal: Decimal, line: u64) {
        if is_blank(cell) {
            return;
        }
        let states = self.signal.quantity.is_state_or_count();
        match decimal.number(cell).or_else(|| cells::state(cell).filter(|_| states).map(|v| (v, 0))) {
            Some((value, decimals)) => {
                self.decimals = self.decimals.max(decimals);
                self.signal.time_s.push(time_s);
                self.signal.value.push(value * self.conversion.factor + self.conversion.offset);
            }
            None => {
                self.bad_cells += 1;
                if self.first_bad.is_none() {
                    self.first_bad = Some((line, cell.chars().take(40).collect()));
                }
            }
        }
    }

    /// One count: the smallest step between different values, never finer than the decimals written.
    fn resolution(&self) -> f64 {
        let written = 10f64.powi(-(self.decimals as i32)) * self.conversion.factor;
        let mut values = self.signal.value.clone();
        values.sort_unstable_by(f64::total_cmp);
        let steps = values.windows(2).filter_map(|w| match w {
            [a, b] => Some(b - a),
            _ => None,
        });
        let smallest = steps.filter(|s| *s > 0.5 * written).fold(f64::INFINITY, f64::min);
        if smallest.is_finite() { smallest.max(written) } else { written }
    }
}

pub(crate) fn read(
    content: &[u8],
    mut recording: Recording,
    options: &Options,
    mut problems: Problems,
    mut cut: CutEnd,
) -> Recording {
    let text = match std::str::from_utf8(content) {
        Ok(text) => std::borrow::Cow::Borrowed(text),
        Err(error) if error.error_len().is_none() => {
            // Cut in the middle of a character: the last line goes anyway.
            std::borrow::Cow::Borrowed(
                content.get(..error.valid_up_to()).and_then(|c| std::str::from_utf8(c).ok()).unwrap_or(""),
            )
        }
        Err(_) => {
            recording.notes.push(Note {
                time_s: None,
                source: "table".to_owned(),
                kind: NoteKind::Assumption,
                text: "not UTF-8: read as Windows-1252".to_owned(),
            });
            encoding_rs::WINDOWS_1252.decode_without_bom_handling(content).0
        }
    };
    let ended = text.ends_with('\n');
    let mut lines: Vec<&str> = text.lines().collect();
    recording.counts.lines = lines.len() as u64;
    let Some((header_at, delimiter)) = find_header(&lines, options) else {
        problems.add(
            Some(1),
            None,
            || "no header line with at least two named columns".to_owned(),
            "the first line must name the columns",
        );
        return done(recording, problems, cut);
    };
    if !ended && lines.len() > header_at + 1 {
        // A cell cut in its middle looks like a number all the same.
        lines.pop();
        recording.counts.lost_lines += 1;
        cut.line = Some(recording.counts.lines);
        cut.what
            .push("the last row has no line end, so its last value may be cut; it was left out".to_owned());
    }
    let mut header = Row::default();
    header.split(lines.get(header_at).unwrap_or(&"").trim_start_matches(['#', ' ']), delimiter);
    let mut table = Table {
        header: header.iter().map(str::to_owned).collect(),
        first_row: header_at + 1,
        delimiter,
        lines: &lines,
        options,
        header_line: header_at as u64 + 1,
        decimal: Decimal::Point,
    };
    table.take_unit_row();
    table.decimal = table.detect_decimal();
    if let Some(long) = table.long_columns() {
        recording.format = Format::CsvLong;
        table.read_long(long, &mut recording, &mut problems);
    } else {
        table.read_wide(&mut recording, &mut problems);
    }
    done(recording, problems, cut)
}

fn done(mut recording: Recording, mut problems: Problems, cut: CutEnd) -> Recording {
    cut.report(&mut problems);
    recording.problems = problems.finish();
    recording
}

struct LongColumns {
    name: usize,
    value: usize,
    unit: Option<usize>,
}

struct Table<'a> {
    header: Vec<String>,
    header_line: u64,
    first_row: usize,
    delimiter: u8,
    lines: &'a [&'a str],
    options: &'a Options,
    decimal: Decimal,
}

/// Where the time of a row stands and how it is written.
struct TimeColumn {
    time: usize,
    date: Option<usize>,
    kind: TimeKind,
}

impl Table<'_> {
    /// A second header row holds units: they are put behind the names that have none.
    fn take_unit_row(&mut self) {
        let mut row = Row::default();
        row.split(self.lines.get(self.first_row).unwrap_or(&""), self.delimiter);
        let filled = row.iter().filter(|c| !c.is_empty()).count();
        let known = row.iter().filter(|c| units::is_unit(c)).count();
        let numbers = row.iter().filter(|c| self.number_or_time(c)).count();
        if known == 0 || numbers > 0 || known * 2 < filled {
            return;
        }
        for (name, unit) in self.header.iter_mut().zip(row.iter()) {
            if !unit.is_empty() && name_and_unit(name).1.is_none() {
                *name = format!("{name} [{}]", unit.trim_matches(['[', ']', '(', ')']));
            }
        }
        self.first_row += 1;
    }

    fn number_or_time(&self, cell: &str) -> bool {
        Decimal::Point.number(cell).is_some()
            || Decimal::Comma.number(cell).is_some()
            || stamp(cell).is_some()
    }

    fn detect_decimal(&self) -> Decimal {
        if self.delimiter == b',' && !self.sample().any(|l| l.contains('"')) {
            return Decimal::Point;
        }
        let mut row = Row::default();
        let mut cells: Vec<String> = Vec::new();
        for line in self.sample() {
            row.split(line, self.delimiter);
            cells.extend(row.iter().map(str::to_owned));
        }
        Decimal::detect(cells.iter().map(String::as_str))
    }

    fn sample(&self) -> impl Iterator<Item = &&str> {
        self.lines.iter().skip(self.first_row).filter(|l| !l.trim().is_empty()).take(LOOK_AT)
    }

    fn meanings(&self) -> Vec<Meaning> {
        self.header.iter().map(|h| meaning(h, self.options)).collect()
    }

    /// Name and value columns, if the table has one row a sample.
    fn long_columns(&self) -> Option<LongColumns> {
        let find = |words: &[&str]| {
            self.header.iter().position(|h| words.contains(&plain_name(name_and_unit(h).0).as_str()))
        };
        Some(LongColumns {
            name: find(&["name", "signal", "parameter", "quantity", "channel", "variable", "signalname"])?,
            value: find(&["value", "val", "wert", "reading"])?,
            unit: find(&["unit", "units", "einheit"]),
        })
    }

    /// Finds the time column and learns how it is written.
    fn time_column(&self, meanings: &[Meaning], problems: &mut Problems) -> Option<TimeColumn> {
        let Some(time) = meanings.iter().position(|m| matches!(m, Meaning::Time { .. })) else {
            problems.add(
                Some(self.header_line),
                None,
                || "no time column".to_owned(),
                "name one column `time` with its unit, as in `time [s]`, or give it in the mapping",
            );
            return None;
        };
        let unit = match meanings.get(time) {
            Some(Meaning::Time { unit }) => unit.clone(),
            _ => None,
        };
        let date = meanings.iter().position(|m| *m == Meaning::Date);
        let mut row = Row::default();
        let cells: Vec<String> = self
            .sample()
            .map(|line| {
                row.split(line, self.delimiter);
                row.get(time).to_owned()
            })
            .filter(|c| !c.is_empty())
            .collect();
        let kind = self.time_kind(&cells, unit.as_deref(), problems)?;
        Some(TimeColumn { time, date, kind })
    }

    fn time_kind(&self, cells: &[String], unit: Option<&str>, problems: &mut Problems) -> Option<TimeKind> {
        if cells.iter().filter(|c| stamp(c).is_some()).count() * 2 > cells.len() {
            return Some(TimeKind::Stamp);
        }
        if let Some(unit) = unit.filter(|u| !u.is_empty()) {
            let Some(scale) = units::seconds(unit) else {
                problems.add(
                    Some(self.header_line),
                    None,
                    || format!("`{unit}` is no unit of time"),
                    "use s, ms, min or h, or write clock times",
                );
                return None;
            };
            return Some(TimeKind::Number(scale));
        }
        let numbers: Vec<f64> = cells.iter().filter_map(|c| self.decimal.number(c)).map(|(v, _)| v).collect();
        // Sizes of times since 1970: nothing else is that large.
        match numbers.first().copied().unwrap_or(0.0) {
            n if n > 1e17 => return Some(TimeKind::Number(1e-9)),
            n if n > 1e14 => return Some(TimeKind::Number(1e-6)),
            n if n > 1e11 => return Some(TimeKind::Number(1e-3)),
            n if n > 1e8 => return Some(TimeKind::Number(1.0)),
            _ => {}
        }
        // Written with decimals it is seconds: nobody writes parts of a millisecond into a table of a car.
        if numbers.iter().any(|n| n.fract() != 0.0) {
            return Some(TimeKind::Number(1.0));
        }
        problems.add(
            Some(self.header_line),
            None,
            || {
                "the time column has no unit, and its whole numbers could be seconds or milliseconds"
                    .to_owned()
            },
            "state it in the header, as in `time [s]` or `time [ms]`, or in the mapping",
        );
        None
    }

    /// The row's time as written, in nanoseconds, and whether it counts from 1970.
    fn row_time(&self, row: &Row, column: &TimeColumn) -> Option<(i64, bool)> {
        let cell = row.get(column.time);
        match column.kind {
            TimeKind::Number(scale) => {
                let written = self.decimal.number(cell)?.0;
                Some((nanoseconds(written, scale)?, written * scale > 1e8))
            }
            TimeKind::Stamp => {
                let (seconds, epoch) = match stamp(cell)? {
                    Stamp::Epoch(seconds) => (seconds, true),
                    Stamp::OfDay(seconds) => match column.date.and_then(|d| cells::date(row.get(d))) {
                        Some(day) => (day + seconds, true),
                        None => (seconds, false),
                    },
                };
                Some((nanoseconds(seconds, 1.0)?, epoch))
            }
        }
    }

    /// Runs over the rows; `each` gets the row, its time and its line number.
    fn rows(
        &self,
        time: &TimeColumn,
        recording: &mut Recording,
        problems: &mut Problems,
        mut each: impl FnMut(&Row, f64, u64, &mut Problems),
    ) -> bool {
        let mut clock = RowClock::default();
        let mut row = Row::default();
        for (n, line) in self.lines.iter().enumerate().skip(self.first_row) {
            if line.trim().is_empty() {
                continue;
            }
            let number = n as u64 + 1;
            row.split(line, self.delimiter);
            let extra = row.len() == self.header.len() + 1 && row.get(self.header.len()).is_empty();
            if row.len() != self.header.len() && !extra {
                recording.counts.lost_lines += 1;
                problems.add(
                    Some(number),
                    None,
                    || format!("{} cells where the header has {}", row.len(), self.header.len()),
                    "the row was left out; the rest was read",
                );
                continue;
            }
            let Some((written, epoch)) = self.row_time(&row, time) else {
                recording.counts.lost_lines += 1;
                problems.add(
                    Some(number),
                    None,
                    || format!("`{}` is no time", row.get(time.time).chars().take(40).collect::<String>()),
                    "the row was left out; the rest was read",
                );
                continue;
            };
            if clock.first.is_none() {
                clock.epoch = epoch;
            }
            let (time_s, step) = clock.at(written, time.kind == TimeKind::Stamp && !epoch);
            if let Some(step) = step {
                problems.add(
                    Some(number),
                    None,
                    || format!("the clock steps back by {step:.3} s"),
                    "later times were moved to follow on; the true gap is unknown",
                );
            }
            recording.counts.rows += 1;
            each(&row, time_s, number, problems);
        }
        recording.duration_s = clock.first.map_or(0.0, |first| clock.last.saturating_sub(first) as f64 / 1e9);
        recording.start_epoch_s = clock.first.filter(|_| clock.epoch).map(|first| first as f64 / 1e9);
        clock.disordered
    }

    /// Quantity and conversion, or the problem why there is none.
    fn usable(
        &self,
        header: &str,
        meaning: &Meaning,
        line: u64,
        recording: &mut Recording,
        problems: &mut Problems,
    ) -> Option<(Quantity, u8, Conversion)> {
        match meaning {
            Meaning::Quantity { quantity, instance, unit } => {
                let stated = unit.as_deref().unwrap_or("");
                if stated.is_empty() && !quantity.is_state_or_count() {
                    problems.add(
                        Some(line),
                        None,
                        || format!("column `{header}` ({quantity}) has no unit and was left out"),
                        ASK_UNIT,
                    );
                    return None;
                }
                let conversion = units::conversion(*quantity, stated);
                if conversion.is_none() {
                    problems.add(
                        Some(line),
                        None,
                        || format!("column `{header}`: `{stated}` is no unit known for {quantity}"),
                        "correct the unit in the header or give it in the mapping of column names",
                    );
                }
                conversion.map(|c| (*quantity, *instance, c))
            }
            Meaning::UnitConflict { table, caller } => {
                problems.add(
                    Some(line),
                    None,
                    || format!("column `{header}`: the table says `{table}`, the mapping says `{caller}`"),
                    "correct one of them; the column was left out",
                );
                None
            }
            Meaning::BadTarget(target) => {
                problems.add(
                    Some(line),
                    None,
                    || format!("column `{header}` is mapped to `{target}`, which is no quantity"),
                    "use one of the names of quantities, such as `filter_differential_pressure`",
                );
                None
            }
            Meaning::Unknown if !header.is_empty() => {
                recording.notes.push(Note {
                    time_s: None,
                    source: header.to_owned(),
                    kind: NoteKind::ColumnUnused,
                    text: format!("column `{header}` was not recognised; name it in the mapping to use it"),
                });
                None
            }
            _ => None,
        }
    }

    fn read_wide(&self, recording: &mut Recording, problems: &mut Problems) {
        let meanings = self.meanings();
        let Some(time) = self.time_column(&meanings, problems) else { return };
        let mut columns: Vec<(usize, Column)> = Vec::new();
        let mut known = 0;
        for (n, (header, meaning)) in self.header.iter().zip(&meanings).enumerate() {
            known += usize::from(matches!(meaning, Meaning::Quantity { .. } | Meaning::UnitConflict { .. }));
            if let Some((quantity, instance, conversion)) =
                self.usable(header, meaning, self.header_line, recording, problems)
            {
                columns.push((n, Column::new(quantity, instance, header, conversion)));
            }
        }
        if known == 0 {
            problems.add(
                Some(self.header_line),
                None,
                || "no column was recognised".to_owned(),
                "name the columns after quantities with their units, or give a mapping of column names",
            );
        }
        let decimal = self.decimal;
        let disordered = self.rows(&time, recording, problems, |row, time_s, line, _| {
            for (n, column) in &mut columns {
                column.push(time_s, row.get(*n), decimal, line);
            }
        });
        finish_columns(columns.into_iter().map(|(_, c)| c), disordered, recording, problems);
    }

    fn read_long(&self, long: LongColumns, recording: &mut Recording, problems: &mut Problems) {
        let meanings = self.meanings();
        let Some(time) = self.time_column(&meanings, problems) else { return };
        let mut index: HashMap<String, Option<usize>> = HashMap::new();
        let mut columns: Vec<Column> = Vec::new();
        let decimal = self.decimal;
        let mut notes = Recording::default();
        let disordered = self.rows(&time, recording, problems, |row, time_s, line, problems| {
            let (name, unit) = (row.get(long.name), long.unit.map_or("", |u| row.get(u)));
            let full = match (name_and_unit(name).1, unit) {
                (None, unit) if !unit.is_empty() => format!("{name} [{unit}]"),
                _ => name.to_owned(),
            };
            let position = match index.get(&full) {
                Some(known) => *known,
                // A damaged file must not make any number of columns.
                None if index.len() >= 10_000 => None,
                None => {
                    let meaning = meaning(&full, self.options);
                    let found = self.usable(&full, &meaning, line, &mut notes, problems);
                    let position = found.map(|(quantity, instance, conversion)| {
                        columns.push(Column::new(quantity, instance, name, conversion));
                        columns.len() - 1
                    });
                    index.insert(full, position);
                    position
                }
            };
            if let Some(column) = position.and_then(|n| columns.get_mut(n)) {
                column.push(time_s, row.get(long.value), decimal, line);
            }
        });
        recording.notes.append(&mut notes.notes);
        if columns.is_empty() && recording.counts.rows > 0 {
            problems.add(
                Some(self.header_line),
                None,
                || "no named value was recognised".to_owned(),
                "use names of quantities with units, or give a mapping of names",
            );
        }
        finish_columns(columns.into_iter(), disordered, recording, problems);
    }
}

fn finish_columns(
    columns: impl Iterator<Item = Column>,
    disordered: bool,
    recording: &mut Recording,
    problems: &mut Problems,
) {
    for mut column in columns {
        if let Some((line, cell)) = &column.first_bad {
            problems.add(
                Some(*line),
                None,
                || {
                    let (n, name) = (column.bad_cells, &column.signal.source);
                    format!("column `{name}`: {n} cells are no numbers, the first is `{cell}`")
                },
                "those cells were left out",
            );
        }
        if column.signal.value.is_empty() {
            continue;
        }
        column.signal.resolution = column.resolution();
        if disordered {
            crate::bus::sort_by_time(&mut column.signal.time_s, &mut column.signal.value);
        }
        recording.signals.push(column.signal);
    }
}

/// What a named signal of another container is, by the rules for columns: its quantity, instance and the conversion
/// into the quantity's unit. `None` if the name means nothing here or its unit is missing or foreign.
pub(crate) fn quantity_of(name: &str, unit: &str, options: &Options) -> Option<(Quantity, u8, f64, f64)> {
    let header = if unit.is_empty() { name.to_owned() } else { format!("{name} [{unit}]") };
    match meaning(&header, options) {
        Meaning::Quantity { quantity, instance, unit } => {
            let unit = unit.or_else(|| quantity.is_state_or_count().then(|| quantity.unit().to_owned()))?;
            let Conversion { factor, offset } = units::conversion(quantity, &unit)?;
            Some((quantity, instance, factor, offset))
        }
        _ => None,
    }
}
