//! The process itself.

use super::times::{Times, same_gap};
use crate::{Error, Result};

/// A stationary process of unit variance: CAR(1) plus white noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Car1 {
    /// Correlation of the remembering part at one unit of time, 0 <= phi < 1.
    pub phi: f64,
    /// Share of the variance that is white noise, 0 to 1.
    pub white_share: f64,
}

impl Car1 {
    /// A process with the given correlation at one unit of time and share of white noise.
    ///
    /// # Errors
    /// [`Error::Setting`] unless 0 <= phi < 1 and 0 <= `white_share` <= 1.
    pub fn new(phi: f64, white_share: f64) -> Result<Self> {
        if !(0.0..1.0).contains(&phi) {
            return Err(Error::Setting { name: "phi", value: phi.to_string(), wanted: "0 or more, below 1" });
        }
        if !(0.0..=1.0).contains(&white_share) {
            return Err(Error::Setting { name: "white_share", value: white_share.to_string(), wanted: "0 to 1" });
        }
        Ok(Self { phi, white_share })
    }

    /// Independent errors.
    pub fn white() -> Self {
        Self { phi: 0.0, white_share: 1.0 }
    }

    /// The time in which the correlation of the remembering part falls to 1/e: -1 / ln phi, in the unit of the times.
    pub fn memory(&self) -> f64 {
        -1.0 / self.phi.ln()
    }

    /// The correlation of two errors a time `lag` apart.
    pub fn correlation(&self, lag: f64) -> f64 {
        if lag == 0.0 { 1.0 } else { (1.0 - self.white_share) * self.phi.powf(lag.abs()) }
    }

    /// How many independent errors would give the mean the same variance: n^2 / sum of all correlations.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] for no times, or times that fall or are not finite.
    pub fn effective_sample_size<'a>(&self, times: impl Into<Times<'a>>) -> Result<f64> {
        let times = times.into();
        if times.is_empty() {
            return Err(Error::not_estimable("an effective sample size", "there are no readings"));
        }
        times.check()?;
        let n = times.len() as f64;
        let (mut before, mut pairs) = (0.0, 0.0);
        let (mut last, mut carry) = (None, 0.0);
        for gap in times.gaps() {
            if !same_gap(gap, last) {
                (last, carry) = (gap, gap.map_or(0.0, |gap| self.carry(gap)));
            }
            before = (before + 1.0) * carry;
            pairs += before;
        }
        Ok(n * n / (n + 2.0 * (1.0 - self.white_share) * pairs))
    }

    /// Correlation of the remembering part over a gap; two readings at one time share it even when phi is 0.
    pub(super) fn carry(&self, gap: f64) -> f64 {
        if gap > 0.0 { self.phi.powf(gap) } else { 1.0 }
    }
}
