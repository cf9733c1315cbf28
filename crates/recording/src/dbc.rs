//! The user's own message descriptions (DBC text): which further signals a recording's frames hold.
//!
//! The grammar is read by the crate `can-dbc`; each signal is then worked out once into a window of bytes, a shift
//! and a mask, in either byte order, so that decoding a frame touches no text. A description whose 29-bit identifier
//! ends in the null address FE, or whose `VFrameFormat` says that it is a J1939 group, is matched by its group from
//! any source, and the ranges of SAE J1939-71 (not available, error) apply to it.

use crate::j1939;
use crate::model::NamedSignal;
use can_dbc::{ByteOrder, MessageId, MultiplexIndicator, SignalExtendedValueType, ValueType};
use rustc_hash::FxHashMap;

pub(crate) const WHAT_TO_DO: &str = "correct the description file; its signals were left out";

/// More than this is no description of a vehicle's messages; the grammar's reader would take long.
const LARGEST_TEXT: usize = 16 << 20;

/// Why a description could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct DbcError {
    pub line: Option<u64>,
    pub what: String,
}

/// How a raw number becomes a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Number {
    Unsigned,
    Signed,
    Float,
    Double,
}

/// A choosing signal's position and the raw values (first, last) that choose.
type Choice = (usize, Vec<(u64, u64)>);

#[derive(Debug, Clone)]
pub(crate) struct Field {
    name: String,
    unit: String,
    /// First byte and number of bytes that hold the signal.
    start: usize,
    bytes: usize,
    shift: u32,
    bits: u32,
    big_endian: bool,
    number: Number,
    factor: f64,
    offset: f64,
    /// Signals that choose whether this one is in the message, with the raw values that choose it.
    chosen_by: Vec<Choice>,
}

impl Field {
    fn raw(&self, data: &[u8]) -> Option<u64> {
        let window = data.get(self.start..self.start + self.bytes)?;
        // Nine bytes at most: 64 bits that start inside a byte.
        let gathered = if self.big_endian {
            window.iter().fold(0u128, |n, b| n << 8 | u128::from(*b))
        } else {
            window.iter().rev().fold(0u128, |n, b| n << 8 | u128::from(*b))
        };
        let mask = if self.bits >= 64 { u64::MAX } else { (1 << self.bits) - 1 };
        Some((gathered >> self.shift) as u64 & mask)
    }

    /// The value, or `None` if the frame is too short for it or, with `ranges`, if it says that there is none.
    pub(crate) fn value(&self, data: &[u8], ranges: bool) -> Option<f64> {
        let raw = self.raw(data)?;
        if ranges && self.number == Number::Unsigned {
            let absent = match self.bits {
                0 | 1 => false,
                2..8 => raw == (1 << self.bits) - 1,
                bits @ 8..=32 => {
                    let top = (raw >> (bits - 8)) as u32;
                    j1939::range(top, 1) != j1939::Range::Valid
                }
                _ => false,
            };
            if absent {
                return None;
            }
        }
        let number = match self.number {
            Number::Unsigned => raw as f64,
            Number::Signed => {
                let unused = 64 - self.bits.clamp(1, 64);
                ((raw << unused) as i64 >> unused) as f64
            }
            Number::Float => f64::from(f32::from_bits(raw as u32)),
            Number::Double => f64::from_bits(raw),
        };
        let value = number * self.factor + self.offset;
        value.is_finite().then_some(value)
    }

    pub(crate) fn named(&self, message: &str) -> NamedSignal {
        NamedSignal {
            name: self.name.clone(),
            message: message.to_owned(),
            unit: self.unit.clone(),
            source: String::new(),
            resolution: self.factor.abs(),
            absent: 0,
            time_s: Vec::new(),
            value: Vec::new(),
        }
    }
}

#[derive(Debug, Clone)]
pub(crate) struct Message {
    pub name: String,
    /// Matched by its parameter group, whatever its source.
    pub by_group: bool,
    pub signals: Vec<Field>,
}

impl Message {
    /// False if the message's choosing signals say that this one is not in it.
    pub(crate) fn applies(&self, signal: &Field, data: &[u8]) -> bool {
        signal.chosen_by.iter().all(|(chooser, ranges)| {
            let raw = self.signals.get(*chooser).and_then(|c| c.raw(data));
            raw.is_some_and(|raw| ranges.iter().any(|(low, high)| (*low..=*high).contains(&raw)))
        })
    }
}

/// All descriptions of a recording.
#[derive(Debug, Clone, Default)]
pub(crate) struct Dbc {
    messages: Vec<Message>,
    frames: FxHashMap<(bool, u32), u32>,
    groups: FxHashMap<u32, u32>,
}

impl Dbc {
    pub(crate) fn is_empty(&self) -> bool {
        self.messages.is_empty()
    }

    pub(crate) fn message(&self, number: u32) -> Option<&Message> {
        self.messages.get(number as usize)
    }

    /// The description of exactly this identifier.
    pub(crate) fn exact(&self, id: u32, extended: bool) -> Option<u32> {
        self.frames.get(&(extended, id)).copied()
    }

    /// The description of a frame: by its identifier, else by its group.
    pub(crate) fn frame(&self, id: u32, extended: bool) -> Option<u32> {
        let by_group = || extended.then(|| self.group(j1939::Id::from_can(id).pgn)).flatten();
        self.exact(id, extended).or_else(by_group)
    }

    pub(crate) fn group(&self, pgn: u32) -> Option<u32> {
        self.groups.get(&pgn).copied()
    }

    /// Adds the messages of one description file. The first description of an identifier counts.
    pub(crate) fn add(&mut self, text: &[u8]) -> Result<(), DbcError> {
        if text.len() > LARGEST_TEXT {
            return Err(DbcError { line: None, what: "the description is larger than 16 MiB".to_owned() });
        }
        // Such files are written in the code page of their author; names and units are all that can suffer.
        let text = match std::str::from_utf8(text) {
            Ok(text) => std::borrow::Cow::Borrowed(text),
            Err(_) => encoding_rs::WINDOWS_1252.decode_without_bom_handling(text).0,
        };
        let text = text.trim_start_matches('\u{FEFF}');
        let parsed = can_dbc::Dbc::try_from(text).map_err(|error| {
            let message = error.to_string();
            let line = message
                .split_once("--> ")
                .and_then(|(_, rest)| rest.split(':').next())
                .and_then(|n| n.trim().parse().ok());
            let reason =
                message.lines().find_map(|l| l.trim().strip_prefix("= ")).unwrap_or("unexpected text");
            DbcError { line, what: format!("not a message description (DBC): {reason}") }
        })?;
        for message in &parsed.messages {
            self.add_message(&parsed, message);
        }
        Ok(())
    }

    fn add_message(&mut self, file: &can_dbc::Dbc, message: &can_dbc::Message) {
        let (extended, id) = match message.id {
            MessageId::Standard(id) => (false, u32::from(id)),
            MessageId::Extended(id) => (true, id & 0x1FFF_FFFF),
        };
        // Enumeration value 3 of the usual attribute stands for a J1939 parameter group.
        let group_format = file.attribute_values_message.iter().any(|a| {
            a.name == "VFrameFormat"
                && a.message_id == message.id
                && match &a.value {
                    can_dbc::AttributeValue::Uint(n) => *n == 3,
                    can_dbc::AttributeValue::Int(n) => *n == 3,
                    can_dbc::AttributeValue::String(s) => s == "J1939PG",
                    can_dbc::AttributeValue::Double(_) => false,
                }
        });
        let by_group = extended && (id & 0xFF == 0xFE || group_format);
        let mut signals = Vec::new();
        let mut names = Vec::new();
        let mut chosen: Vec<Option<u64>> = Vec::new();
        let mut root = None;
        for signal in &message.signals {
            let float = file
                .signal_extended_value_type_list
                .iter()
                .find(|f| f.message_id == message.id && f.signal_name == signal.name)
                .map(|f| &f.signal_extended_value_type);
            let Some(field) = field(signal, float) else { continue };
            let chooser = match signal.multiplexer_indicator {
                MultiplexIndicator::Plain => None,
                MultiplexIndicator::Multiplexor => {
                    root = root.or(Some(signals.len()));
                    None
                }
                MultiplexIndicator::MultiplexedSignal(n)
                | MultiplexIndicator::MultiplexorAndMultiplexedSignal(n) => Some(n),
            };
            names.push(signal.name.clone());
            chosen.push(chooser);
            signals.push(field);
        }
        for (n, (name, value)) in names.iter().zip(&chosen).enumerate() {
            // The extended form names the choosing signal; the plain form has one for the whole message.
            let mut by: Vec<Choice> = file
                .extended_multiplex
                .iter()
                .filter(|e| e.message_id == message.id && e.signal_name == *name)
                .filter_map(|e| {
                    let chooser = names.iter().position(|other| *other == e.multiplexor_signal_name)?;
                    Some((chooser, e.mappings.iter().map(|m| (m.min_value, m.max_value)).collect()))
                })
                .collect();
            if by.is_empty()
                && let (Some(root), Some(value)) = (root, value)
            {
                by.push((root, vec![(*value, *value)]));
            }
            // A chooser that is itself chosen must be chosen too.
            let own = by.clone();
            if let Some(field) = signals.get_mut(n) {
                field.chosen_by = own;
            }
        }
        inherit_choosers(&mut signals);
        let number = self.messages.len() as u32;
        self.frames.entry((extended, id)).or_insert(number);
        if by_group {
            self.groups.entry(j1939::Id::from_can(id).pgn).or_insert(number);
        }
        self.messages.push(Message { name: message.name.clone(), by_group, signals });
    }
}

/// A signal chosen by a signal that is itself chosen needs both; followed a few levels deep, which also ends a
/// description that runs in a circle.
fn inherit_choosers(signals: &mut [Field]) {
    for _ in 0..4 {
        let all: Vec<Vec<Choice>> = signals.iter().map(|s| s.chosen_by.clone()).collect();
        for signal in signals.iter_mut() {
            let mut further = Vec::new();
            for (chooser, _) in &signal.chosen_by {
                for above in all.get(*chooser).into_iter().flatten() {
                    if !signal.chosen_by.contains(above) && !further.contains(above) {
                        further.push(above.clone());
                    }
                }
            }
            if signal.chosen_by.len() + further.len() <= 16 {
                signal.chosen_by.extend(further);
            }
        }
    }
}

/// Works out where a signal stands; `None` if it cannot be (no bits, more than 64, beyond 64 bytes).
fn field(signal: &can_dbc::Signal, float: Option<&SignalExtendedValueType>) -> Option<Field> {
    let bits = u32::try_from(signal.size).ok().filter(|n| (1..=64).contains(n))?;
    let start = usize::try_from(signal.start_bit).ok().filter(|n| *n < 512)?;
    let big_endian = signal.byte_order == ByteOrder::BigEndian;
    let (first, shift, bytes) = if big_endian {
        // The start bit is the highest; bits are counted from 7 down to 0 and on in the next byte.
        let from_top = start / 8 * 8 + (7 - start % 8);
        let end = from_top + bits as usize;
        let bytes = end.div_ceil(8) - from_top / 8;
        (from_top / 8, (end.div_ceil(8) * 8 - end) as u32, bytes)
    } else {
        let end = start + bits as usize;
        (start / 8, (start % 8) as u32, end.div_ceil(8) - start / 8)
    };
    let number = match (float, bits) {
        (Some(SignalExtendedValueType::IEEEfloat32Bit), 32) => Number::Float,
        (Some(SignalExtendedValueType::IEEEdouble64bit), 64) => Number::Double,
        _ if signal.value_type == ValueType::Signed => Number::Signed,
        _ => Number::Unsigned,
    };
    Some(Field {
        name: signal.name.clone(),
        unit: signal.unit.clone(),
        start: first,
        bytes,
        shift,
        bits,
        big_endian,
        number,
        factor: signal.factor,
        offset: signal.offset,
        chosen_by: Vec::new(),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop here")]
    use super::*;

    fn one(lines: &str, data: &[u8]) -> Vec<(String, Option<f64>)> {
        let mut dbc = Dbc::default();
        let text = format!("VERSION \"\"\n\nNS_ :\n\nBS_:\n\nBU_: X\n\nBO_ 291 M: 8 X\n{lines}\n");
        dbc.add(text.as_bytes()).unwrap();
        let message = dbc.message(dbc.exact(291, false).unwrap()).unwrap();
        let inside = message.signals.iter().filter(|s| message.applies(s, data));
        inside.map(|s| (s.name.clone(), s.value(data, false))).collect()
    }

    /// Expected values: cantools 45.1.0 on the same descriptions and bytes.
    #[test]
    fn reference_both_byte_orders_signs_and_choosers() {
        let data = [0x12, 0x34, 0x56, 0x78, 0x9A, 0xBC, 0xDE, 0xF0];
        let all = one(
            " SG_ A : 7|16@0+ (1,0) [0|0] \"\" X\n SG_ B : 12|12@1- (0.5,-3) [0|0] \"\" X\n \
             SG_ C : 34|13@0- (1,0) [0|0] \"\" X\n SG_ D : 0|64@1+ (1,0) [0|0] \"\" X",
            &data,
        );
        let want = [("A", 4660.0), ("B", 686.5), ("C", 2803.0), ("D", 17_356_517_385_562_371_090.0)];
        for ((name, got), (wanted, value)) in all.iter().zip(want) {
            assert_eq!((name.as_str(), *got), (wanted, Some(value)));
        }
        let chosen = " SG_ Which M : 0|8@1+ (1,0) [0|0] \"\" X\n SG_ One m18 : 8|8@1+ (1,0) [0|0] \"\" X\n \
                      SG_ Two m19 : 8|8@1+ (2,0) [0|0] \"\" X";
        let names: Vec<String> = one(chosen, &data).into_iter().map(|(n, _)| n).collect();
        assert_eq!(names, ["Which", "One"]);
    }

    #[test]
    fn regress_a_bad_description_is_named_with_its_line() {
        let mut dbc = Dbc::default();
        let error = dbc.add(b"VERSION \"\"\n\nNS_ :\n\nBS_:\n\nBU_: X\n\nBO_ oops\n").unwrap_err();
        assert_eq!(error.line, Some(9), "{error:?}");
        assert!(dbc.is_empty());
    }

    #[test]
    fn regress_a_signal_beyond_the_frame_is_absent() {
        assert_eq!(one(" SG_ A : 16|16@1+ (1,0) [0|0] \"\" X", &[1, 2, 3]), [("A".to_owned(), None)]);
    }
}
