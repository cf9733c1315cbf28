//! An answer that is kept: read back from where it was written.
//!
//! Identifiers of messages are constants of this program. Read back, they are looked up among those read before, so
//! that each distinct one is held once for as long as the program runs; answers are written by this program only.

use crate::assessment::{Arg, MissingFact, Text, Window};
use serde::{Deserialize, Deserializer};
use std::collections::{BTreeMap, HashSet};
use std::sync::{LazyLock, Mutex, PoisonError};

/// Identifiers read so far.
static READ: LazyLock<Mutex<HashSet<&'static str>>> = LazyLock::new(Mutex::default);
/// More identifiers than the catalogue has are no answer of this program.
const MOST: usize = 4096;

fn identifier<E: serde::de::Error>(text: &str) -> Result<&'static str, E> {
    let mut read = READ.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(known) = read.get(text) {
        return Ok(known);
    }
    if read.len() >= MOST || text.len() > 80 {
        return Err(E::custom("no identifier of this program"));
    }
    let kept: &'static str = Box::leak(text.to_owned().into_boxed_str());
    read.insert(kept);
    Ok(kept)
}

impl<'de> Deserialize<'de> for Text {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        struct Kept {
            id: String,
            args: BTreeMap<String, Arg>,
        }
        let kept = Kept::deserialize(from)?;
        let args = kept.args.into_iter().map(|(k, v)| Ok((identifier(&k)?, v)));
        Ok(Self { id: identifier(&kept.id)?, args: args.collect::<Result<_, D::Error>>()? })
    }
}

impl<'de> Deserialize<'de> for MissingFact {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        struct Kept {
            key: String,
            shrinks: f64,
            figure: String,
        }
        let kept = Kept::deserialize(from)?;
        let (key, figure) = (identifier(&kept.key)?, identifier(&kept.figure)?);
        Ok(Self { key, shrinks: kept.shrinks, figure })
    }
}

impl<'de> Deserialize<'de> for Window {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        struct Kept {
            recording: usize,
            start_s: f64,
            end_s: f64,
            state: String,
        }
        let k = Kept::deserialize(from)?;
        let state = identifier(&k.state)?;
        Ok(Self { recording: k.recording, start_s: k.start_s, end_s: k.end_s, state })
    }
}
