//! What the groups and channels of a file say about their records.

use super::blocks::{Block, File};

/// How a raw number becomes a value.
#[derive(Clone, Debug)]
pub(super) enum Conversion {
    None,
    /// `offset + factor * x`
    Linear(f64, f64),
    /// `(a x2 + b x + c) / (d x2 + e x + f)`
    Rational([f64; 6]),
    /// Pairs, with or without straight lines between them.
    Table(Vec<(f64, f64)>, bool),
    /// A kind that is not read.
    Unknown(u8),
}

impl Conversion {
    pub fn apply(&self, x: f64) -> Option<f64> {
        let y = match self {
            Conversion::None => x,
            Conversion::Linear(offset, factor) => offset + factor * x,
            Conversion::Rational([a, b, c, d, e, f]) => (a * x * x + b * x + c) / (d * x * x + e * x + f),
            Conversion::Table(pairs, straight) => {
                let after = pairs.partition_point(|(k, _)| *k <= x);
                let low = after.checked_sub(1).and_then(|n| pairs.get(n));
                let high = pairs.get(after);
                match (low, high) {
                    (Some((x0, y0)), Some((x1, y1))) if *straight => y0 + (y1 - y0) * (x - x0) / (x1 - x0),
                    (Some((x0, y0)), Some((x1, y1))) => {
                        if x - x0 <= x1 - x {
                            *y0
                        } else {
                            *y1
                        }
                    }
                    (Some((_, y)), None) | (None, Some((_, y))) => *y,
                    (None, None) => return None,
                }
            }
            Conversion::Unknown(_) => return None,
        };
        y.is_finite().then_some(y)
    }

    pub fn factor(&self) -> f64 {
        match self {
            Conversion::None => 1.0,
            Conversion::Linear(_, factor) => factor.abs(),
            _ => 0.0,
        }
    }
}

#[derive(Clone, Debug)]
pub(super) struct Channel {
    pub name: String,
    pub unit: String,
    /// 0 fixed, 1 of variable length, 2 master, 3 virtual master, 5 of a largest length, 6 virtual.
    pub kind: u8,
    pub sync: u8,
    pub number: u8,
    pub bit: u8,
    pub byte: usize,
    pub bits: u32,
    pub flags: u32,
    pub invalid_bit: u32,
    pub data: Option<u64>,
    pub conversion: Conversion,
}

impl Channel {
    /// The raw bits, or `None` beyond the record.
    #[inline]
    pub fn raw(&self, record: &[u8]) -> Option<u64> {
        let mask = if self.bits >= 64 { u64::MAX } else { (1u64 << self.bits) - 1 };
        let little = !matches!(self.number, 1 | 3 | 5);
        let span = self.bits + u32::from(self.bit);
        if little
            && span <= 64
            && let Some(word) = record.get(self.byte..).and_then(|r| r.first_chunk::<8>())
        {
            return Some(u64::from_le_bytes(*word) >> self.bit & mask);
        }
        let window = record.get(self.byte..)?.get(..span.div_ceil(8) as usize).filter(|w| w.len() <= 9)?;
        let gathered = if little {
            window.iter().rev().fold(0u128, |n, b| n << 8 | u128::from(*b))
        } else {
            window.iter().fold(0u128, |n, b| n << 8 | u128::from(*b))
        };
        Some((gathered >> self.bit) as u64 & mask)
    }

    /// The value; `None` if it is not valid, no number, or cannot be converted.
    pub fn value(&self, record: &[u8], invalid: &[u8]) -> Option<f64> {
        let marked = |bit: u32| invalid.get(bit as usize / 8).is_some_and(|b| b >> (bit % 8) & 1 == 1);
        // Flag 0: all values are invalid; flag 1: the bit tells.
        if self.flags & 1 != 0 || self.flags & 2 != 0 && marked(self.invalid_bit) {
            return None;
        }
        self.conversion.apply(self.plain(record)?)
    }

    fn plain(&self, record: &[u8]) -> Option<f64> {
        self.number_of(self.raw(record)?)
    }

    /// The number that raw bits stand for.
    #[inline]
    fn number_of(&self, raw: u64) -> Option<f64> {
        Some(match (self.number, self.bits) {
            (_, 0 | 65..) => return None,
            (0 | 1, _) => raw as f64,
            (2 | 3, bits) => ((raw << (64 - bits)) as i64 >> (64 - bits)) as f64,
            (4 | 5, 32) => f64::from(f32::from_bits(raw as u32)),
            (4 | 5, 64) => f64::from_bits(raw),
            _ => return None,
        })
    }

    /// Nanoseconds since the start of the measurement.
    #[inline]
    pub fn nanoseconds(&self, raw: u64) -> Option<i64> {
        let seconds = match (&self.conversion, self.number) {
            // Whole nanoseconds stay whole.
            (Conversion::Linear(0.0, 1e-9), 0) => return i64::try_from(raw).ok(),
            (conversion, _) => conversion.apply(self.number_of(raw)?)?,
        };
        let ns = seconds * 1e9;
        // From 2^52 on a double has no fraction; below, half a count added and cut off is rounding.
        let rounded = if ns.abs() < 4_503_599_627_370_496.0 { ns + 0.5f64.copysign(ns) } else { ns };
        (ns.abs() < 9e18).then_some(rounded as i64)
    }

    /// The bytes of a record that hold it.
    pub fn span(&self) -> std::ops::Range<usize> {
        let bytes = (self.bits + u32::from(self.bit)).div_ceil(8) as usize;
        self.byte..self.byte.saturating_add(bytes)
    }

    pub fn is_number(&self) -> bool {
        self.kind == 0 && matches!(self.number, 0..=5) && (1..=64).contains(&self.bits)
    }
}

/// A channel of which only the raw bits are wanted, its place worked out.
#[derive(Clone, Debug)]
pub(super) struct Member {
    pub channel: Channel,
    /// Byte, shift and mask, where the bits lie in the lower bytes first and within eight of them.
    quick: Option<(usize, u8, u64)>,
}

impl Member {
    pub fn new(channel: &Channel, record_bytes: usize) -> Self {
        let little = !matches!(channel.number, 1 | 3 | 5);
        let span = channel.bits + u32::from(channel.bit);
        let within = channel.span().end <= record_bytes;
        let mask = if channel.bits >= 64 { u64::MAX } else { (1u64 << channel.bits) - 1 };
        let quick =
            (little && within && (1..=64).contains(&span)).then_some((channel.byte, channel.bit, mask));
        Member { channel: channel.clone(), quick }
    }

    /// The raw bits. `window` begins with the record and goes on behind it, as far as there are bytes.
    #[inline(always)]
    pub fn raw(&self, record: &[u8], window: &[u8]) -> Option<u64> {
        if let Some((byte, shift, mask)) = self.quick
            && let Some(word) = window.get(byte..).and_then(|w| w.first_chunk::<8>())
        {
            return Some(u64::from_le_bytes(*word) >> shift & mask);
        }
        self.channel.raw(record)
    }

    /// The byte that holds it, if that is all there is to it.
    pub fn whole_byte(&self) -> Option<usize> {
        self.quick.filter(|(_, shift, mask)| (*shift, *mask) == (0, 0xFF)).map(|(byte, ..)| byte)
    }
}

/// One channel group: records of one layout.
pub(super) struct Group {
    pub at: u64,
    pub name: String,
    pub record_id: u64,
    /// Records hold values of variable length for another group.
    pub variable: bool,
    pub data_bytes: usize,
    pub invalid_bytes: usize,
    /// Records stated; not to be relied on in an unfinished file.
    pub cycles: u64,
    pub channels: Vec<Channel>,
}

/// Groups that share one stream of records.
pub(super) struct DataGroup {
    pub id_bytes: usize,
    pub data: Option<u64>,
    pub groups: Vec<Group>,
}

/// Walks all groups of the file.
pub(super) fn data_groups(file: &mut File<'_>, first: Option<u64>) -> Vec<DataGroup> {
    let mut list = Vec::new();
    let mut next = first;
    while let Some(at) = next {
        let Some(block) = file.block(at, &[b"##DG"]) else { break };
        let mut groups = Vec::new();
        let mut next_group = block.link(1);
        while let Some(at) = next_group {
            let Some(group) = file.block(at, &[b"##CG"]) else { break };
            groups.push(self::group(file, &group));
            next_group = group.link(0);
        }
        list.push(DataGroup { id_bytes: usize::from(block.u8(0).unwrap_or(0)), data: block.link(2), groups });
        next = block.link(0);
    }
    list
}

fn group(file: &mut File<'_>, block: &Block<'_>) -> Group {
    let mut channels = Vec::new();
    chain(file, block.link(1), "", 0, &mut channels);
    let flags = block.u16(16).unwrap_or(0);
    let (low, high) = (block.u32(24).unwrap_or(0), block.u32(28).unwrap_or(0));
    let variable = flags & 1 != 0;
    Group {
        at: block.at,
        name: file.text(block.link(2)),
        record_id: block.u64(0).unwrap_or(0),
        variable,
        data_bytes: if variable { 0 } else { low as usize },
        invalid_bytes: if variable { 0 } else { high as usize },
        cycles: block.u64(8).unwrap_or(0),
        channels,
    }
}

/// Follows a chain of channels; the parts of a composed one come behind it under its name.
fn chain(file: &mut File<'_>, first: Option<u64>, above: &str, depth: u8, channels: &mut Vec<Channel>) {
    let mut next = first;
    while let Some(at) = next {
        let Some(block) = file.block(at, &[b"##CN"]) else { return };
        let mut channel = channel(file, &block);
        if !above.is_empty() && !channel.name.contains('.') {
            channel.name = format!("{above}.{}", channel.name);
        }
        let name = channel.name.clone();
        channels.push(channel);
        let part = block.link(1).filter(|at| {
            let at = usize::try_from(*at).unwrap_or(usize::MAX);
            file.bytes.get(at..).is_some_and(|b| b.starts_with(b"##CN"))
        });
        if part.is_some() && depth < 4 {
            chain(file, part, &name, depth + 1, channels);
        }
        next = block.link(0);
    }
}

fn channel(file: &mut File<'_>, block: &Block<'_>) -> Channel {
    let (conversion, conversion_unit) = conversion(file, block.link(4));
    let unit = file.text(block.link(6));
    Channel {
        name: file.text(block.link(2)),
        unit: if unit.is_empty() { conversion_unit } else { unit },
        kind: block.u8(0).unwrap_or(u8::MAX),
        sync: block.u8(1).unwrap_or(0),
        number: block.u8(2).unwrap_or(u8::MAX),
        bit: block.u8(3).unwrap_or(0) & 7,
        byte: block.u32(4).unwrap_or(0) as usize,
        bits: block.u32(8).unwrap_or(0),
        flags: block.u32(12).unwrap_or(0),
        invalid_bit: block.u32(16).unwrap_or(0),
        data: block.link(5),
        conversion,
    }
}

fn conversion(file: &mut File<'_>, at: Option<u64>) -> (Conversion, String) {
    let Some(block) = at.and_then(|at| file.block(at, &[b"##CC"])) else {
        return (Conversion::None, String::new());
    };
    let unit = file.text(block.link(1));
    let kind = block.u8(0).unwrap_or(u8::MAX);
    let count = usize::from(block.u16(6).unwrap_or(0));
    let value = |n: usize| block.f64(24 + 8 * n).unwrap_or(f64::NAN);
    let read = match kind {
        // Texts for states: the number stays.
        0 | 7 | 8 => Conversion::None,
        1 => Conversion::Linear(value(0), value(1)),
        2 => Conversion::Rational([value(0), value(1), value(2), value(3), value(4), value(5)]),
        4 | 5 => {
            let pairs: Vec<(f64, f64)> = (0..count / 2).map(|n| (value(2 * n), value(2 * n + 1))).collect();
            let sorted = pairs.windows(2).all(|w| matches!(w, [a, b] if a.0 < b.0));
            if sorted { Conversion::Table(pairs, kind == 4) } else { Conversion::Unknown(kind) }
        }
        other => Conversion::Unknown(other),
    };
    (read, unit)
}
