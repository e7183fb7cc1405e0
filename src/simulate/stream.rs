//! Named streams of random numbers.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

/// A stream that depends on the seed, a name and an index alone, so that no draw elsewhere changes it.
#[derive(Debug, Clone)]
pub(super) struct Stream(ChaCha8Rng);

impl Stream {
    /// The stream of `name` and `index`: name and index are hashed (FNV-1a, 64 bit) into the generator's stream number.
    pub fn new(seed: u64, name: &str, index: usize) -> Self {
        let mut hash = 0xcbf2_9ce4_8422_2325_u64;
        for byte in name.bytes().chain((index as u64).to_le_bytes()) {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(hash);
        Self(generator)
    }

    /// Uniform on `low..high`.
    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.random::<f64>()
    }

    /// Normal with mean 0.
    pub fn normal(&mut self, sd: f64) -> f64 {
        sd * self.0.sample::<f64, _>(StandardNormal)
    }

    /// Normal with mean 0, cut at 2.5 standard deviations by drawing again.
    pub fn bounded_normal(&mut self, sd: f64) -> f64 {
        loop {
            let draw = self.normal(1.0);
            if draw.abs() <= 2.5 {
                return sd * draw;
            }
        }
    }

    /// Exponential.
    pub fn exponential(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.0.random::<f64>()).ln()
    }

    /// True with probability `share`.
    pub fn chance(&mut self, share: f64) -> bool {
        self.0.random::<f64>() < share
    }

    /// An index below `count` (0 when `count` is 0).
    pub fn below(&mut self, count: usize) -> usize {
        if count == 0 { 0 } else { self.0.random_range(0..count) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn streams_differ_by_name_index_and_seed_and_repeat() {
        let first = |seed, name, index| Stream::new(seed, name, index).uniform(0.0, 1.0);
        assert_eq!(first(1, "probe", 0), first(1, "probe", 0));
        let all = [first(1, "probe", 0), first(1, "probe", 1), first(1, "batch", 0), first(2, "probe", 0)];
        for (i, a) in all.iter().enumerate() {
            assert!(all.iter().skip(i + 1).all(|b| b != a));
        }
    }

    #[test]
    fn a_bounded_normal_stays_within_bounds() {
        let mut stream = Stream::new(3, "bounds", 0);
        assert!((0..2000).all(|_| stream.bounded_normal(2.0).abs() <= 5.0));
    }
}
