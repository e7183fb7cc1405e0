//! The process itself.

use super::whitener::check_times;
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

    /// How many independent errors would give the mean the same variance: n^2 / sum of all correlations.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] for no times, or times that fall or are not finite.
    pub fn effective_sample_size(&self, times: &[f64]) -> Result<f64> {
        if times.is_empty() {
            return Err(Error::not_estimable("an effective sample size", "there are no readings"));
        }
        check_times(times)?;
        let n = times.len() as f64;
        let (mut before, mut pairs) = (0.0, 0.0);
        for (time, next) in times.iter().zip(times.iter().skip(1)) {
            // Two readings at one time share the remembering part even when phi is 0.
            let carry = if next > time { self.phi.powf(next - time) } else { 1.0 };
            before = (before + 1.0) * carry;
            pairs += before;
        }
        Ok(n * n / (n + 2.0 * (1.0 - self.white_share) * pairs))
    }
}
