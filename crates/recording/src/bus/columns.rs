//! Signals under construction.

use crate::field::Decoded;
use crate::model::{NamedSignal, Signal};
use rustc_hash::FxHashMap;

/// A signal under construction.
pub(super) struct Slot {
    pub key: u64,
    pub signal: Signal,
    pub absent: u64,
    /// Samples handed out already.
    pub handed_out: u64,
}

impl Slot {
    #[inline]
    pub fn push(&mut self, time_s: f64, value: f64) {
        self.signal.time_s.push(time_s);
        self.signal.value.push(value);
    }
}

#[derive(Default)]
pub(super) struct Columns {
    index: FxHashMap<u64, u32>,
    pub slots: Vec<Slot>,
}

impl Columns {
    /// The number of the signal with this key; made new at its first value.
    pub fn slot(&mut self, key: u64, like: &Decoded, source: impl FnOnce() -> String) -> u32 {
        let slots = &mut self.slots;
        *self.index.entry(key).or_insert_with(|| {
            slots.push(Slot {
                key,
                signal: Signal {
                    quantity: like.quantity,
                    instance: like.instance,
                    source: source(),
                    resolution: like.resolution,
                    time_s: Vec::new(),
                    value: Vec::new(),
                },
                absent: 0,
                handed_out: 0,
            });
            slots.len() as u32 - 1
        })
    }

    /// Stores a value; false if it is absent.
    pub fn push(&mut self, key: u64, time_s: f64, decoded: Decoded, source: impl FnOnce() -> String) -> bool {
        let position = self.slot(key, &decoded, source);
        let Some(slot) = self.slots.get_mut(position as usize) else { return false };
        match decoded.converted {
            Some(value) => {
                slot.push(time_s, value);
                true
            }
            None => {
                slot.absent += 1;
                false
            }
        }
    }
}

/// Signals of the user's own message descriptions.
#[derive(Default)]
pub(super) struct NamedColumns {
    index: FxHashMap<(u16, u32, u32, u32), u32>,
    pub slots: Vec<NamedSignal>,
}

impl NamedColumns {
    /// The number of the signal `signal` of message `message` as `id` on `bus` sends it.
    pub fn slot(
        &mut self,
        (bus, id, message, signal): (u16, u32, u32, u32),
        new: impl FnOnce() -> NamedSignal,
    ) -> u32 {
        let slots = &mut self.slots;
        *self.index.entry((bus, id, message, signal)).or_insert_with(|| {
            slots.push(new());
            slots.len() as u32 - 1
        })
    }

    pub fn push(&mut self, slot: u32, time_s: f64, value: Option<f64>) {
        let Some(slot) = self.slots.get_mut(slot as usize) else { return };
        match value {
            Some(value) => {
                slot.time_s.push(time_s);
                slot.value.push(value);
            }
            None => slot.absent += 1,
        }
    }
}

pub(crate) fn sort_by_time(times: &mut Vec<f64>, values: &mut Vec<f64>) {
    if times.is_sorted() {
        return;
    }
    let mut pairs: Vec<(f64, f64)> = times.iter().copied().zip(values.iter().copied()).collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    (*times, *values) = pairs.into_iter().unzip();
}
