//! What a reader hands out: signals, codes, notes, problems.

use crate::quantity::Quantity;
use std::collections::BTreeMap;
use std::fmt;

/// The container a recording came in, told by its content and never by its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum Format {
    /// candump text, compact form: `(1.5) can0 7E8#0341058500000000`.
    CandumpCompact,
    /// candump text, screen form: ` (1.5)  can0  7E8   [8]  03 41 05 85 00 00 00 00`.
    CandumpScreen,
    /// Separated columns, one column a signal.
    CsvWide,
    /// Separated columns, one row a sample: time, name, value, unit.
    CsvLong,
    /// Text log with `date` and `base` header.
    Asc,
    /// Binary log that starts with `LOGG`.
    Blf,
    /// ASAM MDF 4: frames of bus logging, or plain groups of signals.
    Mdf,
    /// Packed data inside packed data: unpacked once only.
    Zstd,
    /// Nothing in it.
    Empty,
    /// None of the above.
    #[default]
    Unknown,
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Format::CandumpCompact => "candump text, compact form",
            Format::CandumpScreen => "candump text, screen form",
            Format::CsvWide => "separated columns, one column a signal",
            Format::CsvLong => "separated columns, one row a sample",
            Format::Asc => "ASC text log",
            Format::Blf => "BLF binary log",
            Format::Mdf => "ASAM MDF",
            Format::Zstd => "Zstandard-compressed data",
            Format::Empty => "empty",
            Format::Unknown => "unknown",
        })
    }
}

/// Everything one recording holds. Reading never fails: what could not be read stands in `problems`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recording {
    /// The container it came in.
    pub format: Format,
    /// Time from the first to the last frame or row, in seconds.
    pub duration_s: f64,
    /// Time of the first frame or row in seconds since 1970-01-01 UTC, where the recording holds a date.
    /// Logs written in local time without an offset are taken as UTC.
    pub start_epoch_s: Option<f64>,
    /// The buses by the names the container gives them, in the order they first appeared.
    pub buses: Vec<String>,
    /// The identifiers of the data frames, by bus and number.
    pub identifiers: Vec<Identifier>,
    /// The diagnostic services seen, by bus and identifier.
    pub services: Vec<Service>,
    /// The signals, one entry for each quantity, instance and source.
    pub signals: Vec<Signal>,
    /// Signals that are no [`Quantity`]: those of the user's descriptions ([`Options::descriptions`]) and those an
    /// MDF file names itself.
    pub named: Vec<NamedSignal>,
    /// Trouble codes, one entry for each code, module and memory.
    pub trouble_codes: Vec<TroubleCode>,
    /// The vehicle identification number, where a module gave one.
    pub vin: Option<String>,
    /// What a reader should know that is not a number: dangerous requests seen, assumptions made, raw data.
    pub notes: Vec<Note>,
    /// What could not be read, where, and what to do about it.
    pub problems: Vec<Problem>,
    /// How much was read.
    pub counts: Counts,
}

impl Recording {
    /// The signal of a quantity with the most samples, whatever its instance and source.
    pub fn signal(&self, quantity: Quantity) -> Option<&Signal> {
        // `max_by_key` keeps the last of equals; the first (lower id, lower instance) is the better choice.
        self.signals.iter().rev().filter(|s| s.quantity == quantity).max_by_key(|s| s.value.len())
    }

    /// All signals of a quantity, in the order they first appeared.
    pub fn signals_of(&self, quantity: Quantity) -> impl Iterator<Item = &Signal> {
        self.signals.iter().filter(move |s| s.quantity == quantity)
    }
}

/// One quantity over time from one source. `time_s` and `value` have the same length; absent values (not
/// supported, not available, error) are left out and never stand as numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    /// What is measured, and so its unit.
    pub quantity: Quantity,
    /// Bank or sensor, counted from 1; 0 = there is only one.
    pub instance: u8,
    /// Where it came from: `7E8 01 7A` (id, service, parameter), `SA 00 PGN 64946 SPN 3251`, or the column.
    pub source: String,
    /// One count of the source, in the quantity's unit.
    pub resolution: f64,
    /// Seconds since the first frame or row, never falling.
    pub time_s: Vec<f64>,
    /// Values in the quantity's unit.
    pub value: Vec<f64>,
}

/// A signal by the name a description or the file itself gives it. `time_s` and `value` have the same length.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct NamedSignal {
    /// Name as written.
    pub name: String,
    /// The message or group it stands in.
    pub message: String,
    /// Unit as written; empty = none is stated.
    pub unit: String,
    /// Where it came from: an id, a source address with its group, a group of the file.
    pub source: String,
    /// One count, in `unit`; 0 = not known.
    pub resolution: f64,
    /// Values that were missing, not available or in error.
    pub absent: u64,
    /// Seconds since the first frame or row, never falling.
    pub time_s: Vec<f64>,
    /// Values in `unit`.
    pub value: Vec<f64>,
}

/// One identifier of one bus.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Identifier {
    /// Position in [`Recording::buses`].
    pub bus: u16,
    /// Identifier without flag bits.
    pub id: u32,
    /// It has 29 bits.
    pub extended: bool,
    /// Data frames with it.
    pub frames: u64,
    /// Time of the first one in seconds since the first frame of the recording.
    pub first_s: f64,
    /// Time of the last one.
    pub last_s: f64,
    /// Fewest data bytes of a frame.
    pub shortest: u8,
    /// Most data bytes of a frame.
    pub longest: u8,
}

/// A diagnostic service as one identifier spoke it.
#[derive(Debug, Clone, PartialEq)]
pub struct Service {
    /// The identifier: `7E8`, `18DAF110`.
    pub source: String,
    /// The service byte: a request below 40 hex, an answer from there on, 7F a refusal.
    pub service: u8,
    /// Messages.
    pub messages: u64,
    /// For answers: the mean time from the request to the last frame of the answer, where the requests are in the
    /// recording.
    pub mean_answer_s: Option<f64>,
}

/// Which memory a trouble code stood in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum CodeMemory {
    /// OBD service 03: confirmed.
    Stored,
    /// OBD service 07: seen once, not confirmed yet.
    Pending,
    /// OBD service 0A: stays until the monitor has passed.
    Permanent,
    /// OBD service 02 parameter 02: the code that stored the freeze frame.
    FreezeFrame,
    /// UDS service 19: see the status byte.
    Uds,
    /// J1939 DM1: active now.
    Active,
    /// J1939 DM2: active earlier.
    PreviouslyActive,
}

/// A trouble code as one module reported it.
#[derive(Debug, Clone, PartialEq)]
pub struct TroubleCode {
    /// `P2463`, `U0118`, or `SPN 3251 FMI 2`.
    pub code: String,
    /// UDS failure-type byte, where the code has three bytes.
    pub failure_type: Option<u8>,
    /// UDS status byte: bit 0 failed now, 3 confirmed, 4 not tested since clear, 6 not tested this cycle.
    pub status: Option<u8>,
    /// J1939 occurrence count (0 to 126), where available.
    pub occurrences: Option<u8>,
    /// Which memory it stood in.
    pub memory: CodeMemory,
    /// Which module: `7E8`, `18DAF110`, `SA 00`.
    pub source: String,
    /// Short meaning; `None` for codes in a maker's own range and codes we do not know.
    pub meaning: Option<&'static str>,
    /// When it was first reported, in seconds since the first frame.
    pub first_s: f64,
    /// When it was last reported.
    pub last_s: f64,
    /// How often it was reported.
    pub reports: u64,
}

/// What a note is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum NoteKind {
    /// A request that changes the vehicle (clearing codes, a routine, a write): values before and after may
    /// not be comparable.
    ChangingRequest,
    /// A module refused a request.
    NegativeResponse,
    /// Identification a module gave: calibration, name, OBD standard, fuel.
    Identification,
    /// Data of a maker's identifier, shown as bytes.
    RawData,
    /// A field says not available, not supported or error.
    Absent,
    /// A choice made where sources disagree or nothing is stated.
    Assumption,
    /// A fault memory was read; the text says how many codes it held.
    FaultMemoryRead,
    /// A value the controller stored when it set a code (OBD service 02).
    FreezeFrame,
    /// Self-test (readiness) state of a module, monitor results.
    Readiness,
    /// State of the bus itself: error frames.
    Bus,
    /// A column that was not used.
    ColumnUnused,
    /// A regeneration was inhibited; the text says by what.
    RegenerationInhibited,
}

/// Something worth telling that is neither a number nor a failure.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    /// When, in seconds since the first frame, where it has a time.
    pub time_s: Option<f64>,
    /// Who: an id, an address, a column.
    pub source: String,
    /// What it is about.
    pub kind: NoteKind,
    /// The text.
    pub text: String,
}

/// Something that could not be read, with its place and a way out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file, as named by the caller.
    pub file: String,
    /// Line, counted from 1, where it has one.
    pub line: Option<u64>,
    /// Byte, counted from 0 in the (unpacked) content, where it has one.
    pub byte: Option<u64>,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub what_to_do: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
        } else if let Some(byte) = self.byte {
            write!(f, " at byte {byte}")?;
        }
        write!(f, ": {}; {}", self.what, self.what_to_do)
    }
}

/// How much was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Bytes of content after unpacking.
    pub bytes: u64,
    /// Lines, empty ones included.
    pub lines: u64,
    /// CAN frames of all kinds.
    pub frames: u64,
    /// Different CAN ids among the data frames.
    pub ids: u64,
    /// CAN FD frames among them.
    pub fd_frames: u64,
    /// Remote frames among them.
    pub remote_frames: u64,
    /// Error frames among them.
    pub error_frames: u64,
    /// Rows of a table.
    pub rows: u64,
    /// Complete messages the transport layers delivered.
    pub messages: u64,
    /// Transport errors.
    pub transport_errors: u64,
    /// `response pending` answers (7F xx 78).
    pub pending_responses: u64,
    /// Fields that said not available, not supported or error.
    pub absent_values: u64,
    /// Lines or rows that were lost.
    pub lost_lines: u64,
}

/// How to read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Options {
    /// Names of columns in foreign tables: column name to quantity name, with the unit in brackets where the
    /// table does not state it. Example: `"p Filter"` to `"filter_differential_pressure [hPa]"`. The target
    /// `time` (with `[s]`, `[ms]` ...) names the time column. An instance may follow after `#`:
    /// `"exhaust_temperature#2 [degC]"`.
    pub column_names: BTreeMap<String, String>,
    /// Descriptions of further messages (DBC text) that the user brings: name for problems, content. Their signals
    /// come as [`Recording::named`].
    pub descriptions: Vec<(String, Vec<u8>)>,
    /// Packed input is unpacked up to this many bytes.
    pub max_unpacked_bytes: u64,
    /// At most this many problems are listed; one more then tells how many were left out.
    pub max_problems: usize,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            column_names: BTreeMap::new(),
            descriptions: Vec::new(),
            max_unpacked_bytes: 4 << 30,
            max_problems: 1000,
        }
    }
}

/// Why a file could not be opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The file could not be read from the disk.
    #[error("{path}: cannot be read: {source}; check the path and the permissions")]
    Io {
        /// The path asked for.
        path: String,
        /// What the system said.
        source: std::io::Error,
    },
}

/// Problems in the order they were met, never more than allowed.
#[derive(Debug)]
pub(crate) struct Problems {
    /// Places are bytes of a binary container, not lines.
    pub(crate) places_are_bytes: bool,
    file: String,
    list: Vec<Problem>,
    limit: usize,
    left_out: u64,
}

impl Problems {
    pub(crate) fn new(file: &str, limit: usize) -> Self {
        Problems { places_are_bytes: false, file: file.to_owned(), list: Vec::new(), limit, left_out: 0 }
    }

    /// Adds a problem. `what` is only built when there is room for it.
    pub(crate) fn add(
        &mut self,
        line: Option<u64>,
        byte: Option<u64>,
        what: impl FnOnce() -> String,
        what_to_do: &str,
    ) {
        if self.list.len() >= self.limit {
            self.left_out += 1;
            return;
        }
        let (line, byte) = if self.places_are_bytes { (None, byte.or(line)) } else { (line, byte) };
        self.list.push(Problem {
            file: self.file.clone(),
            line,
            byte,
            what: what(),
            what_to_do: what_to_do.to_owned(),
        });
    }

    /// Adds a problem of another file.
    pub(crate) fn add_for(&mut self, file: &str, line: Option<u64>, what: String, what_to_do: &str) {
        let own = std::mem::replace(&mut self.file, file.to_owned());
        self.add(line, None, || what, what_to_do);
        self.file = own;
    }

    /// The place of the input's end: its last line or its length.
    pub(crate) fn end_place(&self, counts: &Counts) -> (Option<u64>, Option<u64>) {
        if self.places_are_bytes { (None, Some(counts.bytes)) } else { (Some(counts.lines), None) }
    }

    pub(crate) fn finish(mut self) -> Vec<Problem> {
        if self.left_out > 0 {
            self.list.push(Problem {
                file: self.file,
                line: None,
                byte: None,
                what: format!("{} further problems are not listed", self.left_out),
                what_to_do: "repair the first ones and read again".into(),
            });
        }
        self.list
    }
}

/// What is wrong at the very end of the input. A cut file shows it in several ways at once (packed stream cut,
/// last line torn, transfer unfinished); it stays one problem.
#[derive(Debug, Default)]
pub(crate) struct CutEnd {
    pub(crate) line: Option<u64>,
    pub(crate) byte: Option<u64>,
    pub(crate) what: Vec<String>,
}

impl CutEnd {
    pub(crate) fn report(self, problems: &mut Problems) {
        if !self.what.is_empty() {
            problems.add(
                self.line,
                self.byte,
                || self.what.join("; "),
                "the recording seems to be cut here: all before it was read; copy or record it again if the \
                 end matters",
            );
        }
    }
}
