//! One input from beginning to end: opened, hashed, shown on the progress bar, read piece by piece.

use super::choice::Choice;
use crate::failure::Failure;
use crate::words::say;
use indicatif::ProgressBar;
use recording::{Options, Piece, Recording, read_stream};
use std::collections::HashMap;
use std::fs::File;
use std::hash::Hash;
use std::io::{self, BufReader, Read};
use std::ops::ControlFlow;
use std::path::Path;

/// Reads on and keeps the hash of everything that went through.
struct Hashed<R> {
    from: R,
    hash: blake3::Hasher,
}

impl<R: Read> Read for Hashed<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let n = self.from.read(into)?;
        self.hash.update(into.get(..n).unwrap_or(&[]));
        Ok(n)
    }
}

/// What an input is called in output and problems; `-` is standard input.
pub fn name(path: &Path) -> String {
    if path.as_os_str() == "-" { say("standard-input") } else { path.display().to_string() }
}

/// Reads an input and hands out its samples piece by piece; gives back everything else and the BLAKE3 hash of the
/// input. An error of `each` ends it.
pub fn read(
    path: &Path,
    options: &Options,
    bar: &ProgressBar,
    mut each: impl FnMut(Piece) -> Result<(), Failure>,
) -> Result<(Recording, String), Failure> {
    let name = name(path);
    let from: Box<dyn Read> = if path.as_os_str() == "-" {
        Box::new(io::stdin().lock())
    } else {
        Box::new(File::open(path).map_err(|e| Failure::read(&name, &e))?)
    };
    let mut hashed = Hashed { from: bar.wrap_read(from), hash: blake3::Hasher::new() };
    let mut failed = None;
    let read =
        read_stream(&name, BufReader::with_capacity(1 << 18, &mut hashed), options, |piece| {
            match each(piece) {
                Ok(()) => ControlFlow::Continue(()),
                Err(e) => {
                    failed = Some(e);
                    ControlFlow::Break(())
                }
            }
        });
    if let Some(e) = failed {
        return Err(e);
    }
    let recording = read.map_err(|e| Failure::Refused(e.to_string()))?;
    // What no reader looked at belongs to the hash too.
    io::copy(&mut hashed, &mut io::sink()).map_err(|e| Failure::read(&name, &e))?;
    Ok((recording, hashed.hash.finalize().to_hex().to_string()))
}

/// Reads an input and keeps the samples asked for, and no others, in the recording that comes back. Memory holds what is
/// kept, not the input.
pub fn read_chosen(
    path: &Path,
    options: &Options,
    bar: &ProgressBar,
    choice: &Choice,
) -> Result<(Recording, String), Failure> {
    let (mut signals, mut named) = (Parts::default(), Parts::default());
    let (mut recording, hash) = read(path, options, bar, |piece| {
        (signals.met, named.met) = Default::default();
        for mut s in piece.signals.into_iter().filter(|s| choice.takes(s.quantity.name())) {
            choice.cut_both(&mut s.time_s, &mut s.value);
            signals.add((s.quantity, s.instance, s.source.clone()), s, |all, s| {
                all.time_s.append(&mut s.time_s);
                all.value.append(&mut s.value);
            });
        }
        for mut s in piece.named.into_iter().filter(|s| choice.takes(&s.name)) {
            choice.cut_both(&mut s.time_s, &mut s.value);
            named.add((s.name.clone(), s.message.clone(), s.source.clone()), s, |all, s| {
                all.time_s.append(&mut s.time_s);
                all.value.append(&mut s.value);
                all.absent += s.absent;
            });
        }
        Ok(())
    })?;
    (recording.signals, recording.named) = (signals.list, named.list);
    // Frames out of order may lie in two pieces.
    let all = recording.signals.iter_mut().map(|s| (&mut s.time_s, &mut s.value));
    for (times, values) in all.chain(recording.named.iter_mut().map(|s| (&mut s.time_s, &mut s.value))) {
        if !times.is_sorted() {
            let mut pairs: Vec<(f64, f64)> = times.iter().copied().zip(values.iter().copied()).collect();
            pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
            (*times, *values) = pairs.into_iter().unzip();
        }
    }
    if choice.cuts() {
        recording.signals.retain(|s| !s.value.is_empty());
        recording.named.retain(|s| !s.value.is_empty());
    }
    Ok((recording, hash))
}

/// Signals put together again from their pieces, in the order in which they first came.
struct Parts<K, S> {
    list: Vec<S>,
    places: HashMap<(K, usize), usize>,
    /// How often a key was met in this piece: a table may name two columns alike.
    met: HashMap<K, usize>,
}

impl<K, S> Default for Parts<K, S> {
    fn default() -> Self {
        Parts { list: Vec::new(), places: HashMap::new(), met: HashMap::new() }
    }
}

impl<K: Eq + Hash + Clone, S> Parts<K, S> {
    fn add(&mut self, key: K, mut part: S, join: impl FnOnce(&mut S, &mut S)) {
        let met = self.met.entry(key.clone()).or_default();
        let key = (key, *met);
        *met += 1;
        match self.places.get(&key).and_then(|n| self.list.get_mut(*n)) {
            Some(all) => join(all, &mut part),
            None => {
                self.places.insert(key, self.list.len());
                self.list.push(part);
            }
        }
    }
}
