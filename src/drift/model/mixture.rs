//! Mixtures of normal distributions.

use crate::error::{Error, Result};
use crate::fit::mixture::central_interval;
use crate::fit::{Estimate, quantile};

/// Normals by weight, mean and SD; the weights sum to 1.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::drift) struct NormalMixture(pub Vec<(f64, f64, f64)>);

impl NormalMixture {
    /// Its mean.
    pub fn mean(&self) -> f64 {
        self.0.iter().map(|(w, m, _)| w * m).sum()
    }

    /// Its standard deviation.
    pub fn sd(&self) -> f64 {
        let mean = self.mean();
        self.0.iter().map(|(w, m, s)| w * (s * s + (m - mean).powi(2))).sum::<f64>().sqrt()
    }

    /// The same moved by a known number.
    #[must_use]
    pub fn plus(mut self, by: f64) -> Self {
        for (_, mean, _) in &mut self.0 {
            *mean += by;
        }
        self
    }

    /// Probability above `x`.
    fn above(&self, x: f64) -> f64 {
        self.0.iter().map(|(w, m, s)| w * quantile::normal_upper_tail((x - m) / s.max(1e-300))).sum()
    }

    /// Probability of a size beyond `limit`.
    pub fn beyond(&self, limit: f64) -> f64 {
        (self.above(limit) + 1.0 - self.above(-limit)).clamp(0.0, 1.0)
    }

    /// Mean, standard deviation and central interval.
    ///
    /// # Errors
    /// [`Error::Numeric`] when it has no positive finite SD.
    pub fn estimate(&self, level: f64, method: &'static str) -> Result<Estimate> {
        let (mean, se) = (self.mean(), self.sd());
        if !(se > 0.0 && se.is_finite()) {
            return Err(Error::numeric("the interval of a mixture", "its standard deviation is not a positive number"));
        }
        let (lower, upper) = central_interval(&self.0, level)?;
        Ok(Estimate { value: mean, se, lower, upper, level, method: method.into() })
    }
}

/// Logarithm of the sum of numbers that are given by their logarithms.
pub(in crate::drift) fn ln_sum(terms: impl Iterator<Item = f64>) -> f64 {
    let terms: Vec<f64> = terms.collect();
    let top = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if top.is_finite() { top + terms.iter().map(|t| (t - top).exp()).sum::<f64>().ln() } else { top }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mixture_of_one_is_that_normal() {
        let one = NormalMixture(vec![(1.0, 2.0, 0.5)]);
        let found = one.estimate(0.9, "").unwrap();
        assert!((found.upper - (2.0 + 1.644_853_627 * 0.5)).abs() < 1e-5, "{found:?}");
        assert!((found.lower + found.upper - 4.0).abs() < 1e-6);
        assert!((one.plus(-2.0).beyond(0.5 * 1.644_853_627) - 0.1).abs() < 1e-6);
    }

    #[test]
    fn a_wide_part_widens_the_interval() {
        let found = NormalMixture(vec![(0.5, 0.0, 1.0), (0.5, 0.0, 3.0)]).estimate(0.9, "").unwrap();
        assert!(found.upper > 3.0 && found.upper < 4.9, "{found:?}");
        assert!((found.se - 5f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn sums_of_small_terms_keep_their_size() {
        assert!((ln_sum([-1000.0, -1000.0].into_iter()) - (2f64.ln() - 1000.0)).abs() < 1e-12);
    }
}
