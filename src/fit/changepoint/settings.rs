//! How a step is searched for.

use nalgebra::DMatrix;

use super::scan::{Scan, Split};
use super::whitened::Whitened;
use crate::fit::{Estimate, Scale, quantile};
use crate::{Error, Result};

/// How a step is searched for.
///
/// | setting | default | range | when to change it |
/// | --- | --- | --- | --- |
/// | `level` | 0.90 | between 0 and 1 | of the intervals of the step's size and time |
/// | `false_alarm` | 0.05 | between 0 and 1 | probability of finding a step in a series that has none |
/// | `simulations` | 4999 | at least 99 | the p-value cannot be below 1 / (simulations + 1) |
/// | `seed` | 1 | | |
/// | `least_times` | 2 | at least 1 | distinct times on either side of a split; 1 takes a single wild last value for a step |
/// | `scale` | `Known` | | `Estimated` when the covariance is known up to a factor only |
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScanSettings {
    /// Level of the intervals.
    pub level: f64,
    /// Probability of a false alarm over the whole series.
    pub false_alarm: f64,
    /// Simulated series without a step.
    pub simulations: usize,
    /// Seed of the simulation.
    pub seed: u64,
    /// Distinct times that must lie on either side of a split.
    pub least_times: usize,
    /// Whether the covariance is taken at its word.
    pub scale: Scale,
}

impl Default for ScanSettings {
    fn default() -> Self {
        Self { level: 0.9, false_alarm: 0.05, simulations: 4999, seed: 1, least_times: 2, scale: Scale::Known }
    }
}

impl ScanSettings {
    /// Checks the settings.
    ///
    /// # Errors
    /// [`Error::Setting`] with the first that is out of its range.
    pub fn check(&self) -> Result<()> {
        quantile::check_level(self.level)?;
        if !(self.false_alarm > 0.0 && self.false_alarm < 1.0) {
            let value = self.false_alarm.to_string();
            return Err(Error::Setting { name: "false_alarm", value, wanted: "a probability between 0 and 1" });
        }
        if self.simulations < 99 {
            let value = self.simulations.to_string();
            return Err(Error::Setting { name: "simulations", value, wanted: "at least 99" });
        }
        if self.least_times == 0 {
            return Err(Error::Setting { name: "least_times", value: "0".to_owned(), wanted: "at least 1" });
        }
        Ok(())
    }

    /// Searches `y` at `times` for a step. `covariance` is C (n x n), `columns` is X (n x p; p may be 0). Rows may stand in
    /// any order and share times. The time's unit is the caller's.
    ///
    /// # Errors
    /// [`Error::Setting`]; [`Error::Usage`] for shapes that do not fit; [`Error::NotEstimable`] for values that are not finite, a
    /// covariance that is not positive definite, or no split at which a step could be told from the columns.
    pub fn scan(&self, times: &[f64], y: &[f64], covariance: &DMatrix<f64>, columns: &DMatrix<f64>) -> Result<Scan> {
        self.check()?;
        let whitened = Whitened::new(times, y, covariance, columns)?;
        Scan::of(self, &whitened)
    }

    /// The step at a known time: rows at `at` or later are after it. No search, so an ordinary interval.
    ///
    /// # Errors
    /// As [`ScanSettings::scan`]; [`Error::NotEstimable`] too when the step cannot be told from the columns.
    pub fn step_at(
        &self,
        times: &[f64],
        y: &[f64],
        covariance: &DMatrix<f64>,
        columns: &DMatrix<f64>,
        at: f64,
    ) -> Result<Estimate> {
        self.check()?;
        let whitened = Whitened::new(times, y, covariance, columns)?;
        let after: Vec<bool> = times.iter().map(|t| *t >= at).collect();
        let direction = whitened.direction(&after).ok_or_else(|| {
            Error::not_estimable("the step at a known time", "the times or the columns leave nothing to tell it by")
        })?;
        let split = Split::of(&whitened, &direction, self.scale, (at, at));
        match self.scale {
            Scale::Known => Estimate::normal(split.shift, split.se, self.level, "step at a known time, GLS, normal"),
            Scale::Estimated => {
                let df = whitened.df() - 1.0;
                if df < 1.0 {
                    return Err(Error::not_estimable("the step at a known time", "no degrees of freedom are left"));
                }
                Estimate::student_t(split.shift, split.se, df, self.level, "step at a known time, GLS, t")
            }
        }
    }
}
