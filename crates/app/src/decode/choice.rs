//! Which part of a recording is wanted.

use crate::cli::Decode;

/// Names and times that were asked for.
pub struct Choice {
    names: Vec<String>,
    from_s: f64,
    to_s: f64,
}

/// A name as people may write it: case, blanks and hyphens do not count.
fn plain(name: &str) -> String {
    name.trim().to_lowercase().replace([' ', '-'], "_")
}

impl Choice {
    pub fn new(order: &Decode) -> Self {
        Choice {
            names: order.signal.iter().map(|n| plain(n)).collect(),
            from_s: order.from.unwrap_or(f64::NEG_INFINITY),
            to_s: order.to.unwrap_or(f64::INFINITY),
        }
    }

    /// True if the signal was asked for, or none was named.
    pub fn takes(&self, name: &str) -> bool {
        self.names.is_empty() || self.names.contains(&plain(name))
    }

    /// The samples within the times asked for.
    pub fn cut<'a>(&self, time_s: &'a [f64], value: &'a [f64]) -> (&'a [f64], &'a [f64]) {
        let first = time_s.partition_point(|t| *t < self.from_s);
        let last = time_s.partition_point(|t| *t <= self.to_s).max(first);
        (time_s.get(first..last).unwrap_or(&[]), value.get(first..last).unwrap_or(&[]))
    }

    /// Leaves only the samples within the times asked for.
    pub fn cut_both(&self, time_s: &mut Vec<f64>, value: &mut Vec<f64>) {
        if self.cuts() {
            let (t, v) = self.cut(time_s, value);
            let (t, v) = (t.to_vec(), v.to_vec());
            (*time_s, *value) = (t, v);
        }
    }

    /// True if only a part of the time is wanted.
    pub fn cuts(&self) -> bool {
        self.from_s.is_finite() || self.to_s.is_finite()
    }
}
