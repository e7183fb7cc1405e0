//! How control charts are drawn.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::{Cusum, Ewma};
use crate::{Error, Result};

/// How control charts are drawn. Numbers are in standard deviations of one error, except the weight and the times.
///
/// | setting | default | range | when to change it |
/// | --- | --- | --- | --- |
/// | `ewma_weight` | 0.2 | above 0, to 1 | smaller for smaller departures; 1 looks at each error alone |
/// | `ewma_spacing_d` | none | above 0 | none: the median gap between distinct times. At this spacing the newest error has just that weight |
/// | `ewma_limit` | 2.86 | above 0 | larger for fewer false alarms: 2.86 gives one in 371 evenly spaced errors at weight 0.2 |
/// | `cusum_allowance` | 0.5 | 0 or more | half the step that is to be seen first |
/// | `cusum_limit` | 4.8 | above 0 | larger for fewer false alarms: with allowance 0.5, 4 gives one in 168 errors, 5 one in 465 |
/// | `cusum_head_start` | 0 | from 0, below 1 | share of the limit at which both sums start: 0.5 sees a fault that was there from the start |
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ChartSettings {
    /// Weight of the newest error at the spacing below.
    pub ewma_weight: f64,
    /// Spacing, days, at which the weight is that; none: the median gap between distinct times.
    pub ewma_spacing_d: Option<f64>,
    /// Limit in standard deviations of the weighted mean.
    pub ewma_limit: f64,
    /// What each error may depart without adding to the sums.
    pub cusum_allowance: f64,
    /// Sum above which there is a signal.
    pub cusum_limit: f64,
    /// Where the sums start, as a share of the limit.
    pub cusum_head_start: f64,
}

impl Default for ChartSettings {
    fn default() -> Self {
        Self {
            ewma_weight: 0.2,
            ewma_spacing_d: None,
            ewma_limit: 2.86,
            cusum_allowance: 0.5,
            cusum_limit: 4.8,
            cusum_head_start: 0.0,
        }
    }
}

impl ChartSettings {
    /// Checks the settings.
    ///
    /// # Errors
    /// [`Error::Setting`] with the first that is out of its range.
    pub fn check(&self) -> Result<()> {
        let checks = [
            ("ewma_weight", self.ewma_weight, self.ewma_weight > 0.0 && self.ewma_weight <= 1.0, "above 0, to 1"),
            (
                "ewma_spacing_d",
                self.ewma_spacing_d.unwrap_or(1.0),
                self.ewma_spacing_d.is_none_or(|d| d > 0.0 && d.is_finite()),
                "a number of days above 0",
            ),
            ("ewma_limit", self.ewma_limit, self.ewma_limit > 0.0, "a number above 0"),
            ("cusum_allowance", self.cusum_allowance, self.cusum_allowance >= 0.0, "0 or more"),
            ("cusum_limit", self.cusum_limit, self.cusum_limit > 0.0, "a number above 0"),
            ("cusum_head_start", self.cusum_head_start, (0.0..1.0).contains(&self.cusum_head_start), "from 0, below 1"),
        ];
        match checks.into_iter().find(|(_, _, fine, _)| !fine) {
            Some((name, value, _, wanted)) => Err(Error::Setting { name, value: value.to_string(), wanted }),
            None => Ok(()),
        }
    }

    /// The chart of weighted means of standardised `errors` at `times_d`, days, in order.
    ///
    /// # Errors
    /// [`Error::Setting`]; [`Error::Usage`] for lengths that differ or times that run backwards; [`Error::NotEstimable`] for no
    /// errors or one that is not finite.
    pub fn ewma(&self, times_d: &[f64], errors: &[f64]) -> Result<Ewma> {
        self.check()?;
        super::check(times_d, errors)?;
        Ok(Ewma::of(self, times_d, errors))
    }

    /// The chart of sums of standardised `errors` at `times_d`, days, in order.
    ///
    /// # Errors
    /// As [`ChartSettings::ewma`].
    pub fn cusum(&self, times_d: &[f64], errors: &[f64]) -> Result<Cusum> {
        self.check()?;
        super::check(times_d, errors)?;
        Ok(Cusum::of(self, times_d, errors))
    }

    /// Share of error-free series with these times in which (the weighted means, the sums) signal at least once, by simulation
    /// of independent standard normal errors. A chart is read point after point, so over a whole series false alarms are more
    /// frequent than the limits suggest.
    ///
    /// # Errors
    /// As [`ChartSettings::ewma`]; [`Error::Setting`] for no simulations.
    pub fn false_alarms(&self, times_d: &[f64], simulations: usize, seed: u64) -> Result<(f64, f64)> {
        if simulations == 0 {
            return Err(Error::Setting { name: "simulations", value: "0".to_owned(), wanted: "at least 1" });
        }
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let (mut by_mean, mut by_sum) = (0_usize, 0_usize);
        for _ in 0..simulations {
            let errors: Vec<f64> = times_d.iter().map(|_| StandardNormal.sample(&mut rng)).collect();
            by_mean += usize::from(!self.ewma(times_d, &errors)?.signals.is_empty());
            by_sum += usize::from(self.cusum(times_d, &errors)?.first_signal().is_some());
        }
        let all = simulations as f64;
        Ok((by_mean as f64 / all, by_sum as f64 / all))
    }
}
