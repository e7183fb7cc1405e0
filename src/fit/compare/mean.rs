//! One mean.

use crate::fit::Estimate;
use crate::{Error, Result};

/// An estimated mean of one group with its own standard error and degrees of freedom.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupMean {
    /// The group.
    pub name: String,
    /// Its mean.
    pub mean: f64,
    /// The standard error of the mean.
    pub se: f64,
    /// Degrees of freedom of the standard error; infinite when it is known.
    pub df: f64,
}

impl GroupMean {
    /// The mean of independent values, with standard error s / sqrt(n) on n - 1 degrees of freedom.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] for fewer than two values, or one that is not finite.
    pub fn of(name: impl Into<String>, values: &[f64]) -> Result<Self> {
        let name = name.into();
        if values.len() < 2 {
            let why = format!("{} values; a standard error needs two", values.len());
            return Err(Error::not_estimable(format!("the mean of {name}"), why));
        }
        if values.iter().any(|x| !x.is_finite()) {
            return Err(Error::not_estimable(format!("the mean of {name}"), "a value is not a finite number"));
        }
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|x| (x - mean).powi(2)).sum();
        Ok(Self { name, mean, se: (squares / (n - 1.0) / n).sqrt(), df: n - 1.0 })
    }

    /// The mean with its t interval.
    ///
    /// # Errors
    /// [`Error::Setting`] for a level outside (0, 1).
    pub fn estimate(&self, level: f64) -> Result<Estimate> {
        Estimate::student_t(self.mean, self.se, self.df, level, "mean, t")
    }
}

/// The mean of independent values with its t interval.
///
/// # Errors
/// [`Error::NotEstimable`] for fewer than two values or one that is not finite, [`Error::Setting`] for a bad level.
pub fn mean(values: &[f64], level: f64) -> Result<Estimate> {
    GroupMean::of("the values", values)?.estimate(level)
}
