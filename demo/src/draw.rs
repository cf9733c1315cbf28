//! Seeded draws. One seed and one stream number fix every number a case is made of.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// A source of random numbers that gives the same numbers for the same seed on every machine.
#[derive(Debug, Clone)]
pub struct Draw(ChaCha8Rng);

impl Draw {
    /// The source for `seed` and `stream`; different streams of one seed are independent.
    #[must_use]
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(stream);
        Self(rng)
    }

    /// Even between `low` and `high`.
    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// Even in the logarithm between `low` and `high`, both above zero.
    pub fn log_uniform(&mut self, low: f64, high: f64) -> f64 {
        self.uniform(low.ln(), high.ln()).exp()
    }

    /// Normal with mean 0 and standard deviation 1.
    pub fn standard_normal(&mut self) -> f64 {
        self.0.sample(StandardNormal)
    }

    /// Normal.
    pub fn normal(&mut self, mean: f64, sd: f64) -> f64 {
        mean + sd * self.standard_normal()
    }

    /// Log-normal by its median and the standard deviation of its natural logarithm.
    pub fn log_normal(&mut self, median: f64, sd_log: f64) -> f64 {
        median * (sd_log * self.standard_normal()).exp()
    }

    /// True with probability `p`.
    pub fn chance(&mut self, p: f64) -> bool {
        self.0.random::<f64>() < p
    }

    /// One of `items`.
    pub fn pick<T: Copy, const N: usize>(&mut self, items: [T; N]) -> T {
        const { assert!(N > 0) };
        items[self.0.random_range(0..N)]
    }

    /// Index drawn in proportion to `weights` (not all zero).
    pub fn weighted(&mut self, weights: &[f64]) -> usize {
        let mut left = self.uniform(0.0, weights.iter().sum());
        for (i, w) in weights.iter().enumerate() {
            left -= w;
            if left < 0.0 {
                return i;
            }
        }
        weights.len().saturating_sub(1)
    }

    /// Random byte.
    pub fn byte(&mut self) -> u8 {
        self.0.random()
    }
}
