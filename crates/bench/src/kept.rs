//! What is kept in memory because working it out again takes long.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Mutex, PoisonError};

/// Values by key, at most twice `most` of them: those asked for lately stay. Two generations: when the younger is full
/// it becomes the older, and what was not asked for meanwhile is gone.
#[derive(Debug)]
pub struct Kept<K, V> {
    most: usize,
    both: Mutex<(HashMap<K, V>, HashMap<K, V>)>,
}

impl<K: Eq + Hash + Clone, V: Clone> Kept<K, V> {
    /// Nothing yet.
    #[must_use]
    pub fn new(most: usize) -> Self {
        Self { most, both: Mutex::default() }
    }

    /// The value of a key.
    pub fn get(&self, key: &K) -> Option<V> {
        let mut both = self.both.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(v) = both.0.get(key) {
            return Some(v.clone());
        }
        let v = both.1.remove(key)?;
        self.place(&mut both, key.clone(), v.clone());
        Some(v)
    }

    /// Keeps a value.
    pub fn put(&self, key: K, value: V) {
        let mut both = self.both.lock().unwrap_or_else(PoisonError::into_inner);
        self.place(&mut both, key, value);
    }

    fn place(&self, both: &mut (HashMap<K, V>, HashMap<K, V>), key: K, value: V) {
        if both.0.len() >= self.most {
            both.1 = std::mem::take(&mut both.0);
        }
        both.0.insert(key, value);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn property_what_is_asked_for_stays_and_no_more_than_twice_the_most_is_kept() {
        let kept = Kept::new(10);
        for i in 0..1000 {
            kept.put(i, i);
            assert_eq!(kept.get(&0), Some(0), "asked for at every step");
        }
        assert_eq!(kept.get(&500), None);
        assert_eq!(kept.get(&999), Some(999));
        assert!((0..1000).filter(|i| kept.get(i).is_some()).count() <= 20);
    }
}
