//! Inverse prediction: which x made this y, by a fitted curve?

use super::root::brent;
use super::{Estimate, quantile};
use crate::{Error, Result};

/// A fitted curve at one x.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveResponse {
    /// The curve's value.
    pub value: f64,
    /// Its slope in x.
    pub slope: f64,
    /// Variance of the value by the errors of the coefficients.
    pub variance: f64,
}

/// How an interval is made.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum InverseInterval {
    /// `x0 +- t se`, `se^2 = (s^2 + variance(x0)) / slope(x0)^2`: symmetric, finite whatever the slope.
    #[default]
    Delta,
    /// All x that a test at that level does not reject: `(y0 - f(x))^2 <= t^2 (s^2 + variance(x))`. On a straight line
    /// this is the exact interval of Fieller. It may be unbounded, which is then an error that says so.
    Inversion,
}

impl InverseInterval {
    /// Its name in results.
    pub fn name(self) -> &'static str {
        match self {
            Self::Delta => "delta, t",
            Self::Inversion => "inversion, t",
        }
    }
}

/// The x of a reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InversePrediction {
    /// The reading.
    pub y: f64,
    /// Variance of its own error: of one reading, or of the mean of several.
    pub variance: f64,
    /// Degrees of freedom of the interval.
    pub df: f64,
    /// Level of the interval.
    pub level: f64,
    /// How it is made.
    pub method: InverseInterval,
}

/// Halvings of the search range on either side of the estimate, so that no narrow end is stepped over.
const STEPS: i32 = 400;

impl InversePrediction {
    /// The x at which the curve `at` has the reading's y, between `low` and `high`, with its standard error (delta method)
    /// and interval. The curve must be monotone between them; where it has no value it returns none.
    ///
    /// Source of the inversion: E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175; for curves the same test, inverted (C. Osborne,
    /// Int. Stat. Rev. 59 (1991) 309). Both from memory.
    ///
    /// # Errors
    /// - [`Error::NotEstimable`] when the curve does not reach y in the range, or the inverted interval does not end in it.
    /// - [`Error::Setting`] for a level outside (0, 1).
    pub fn of(&self, at: impl Fn(f64) -> Option<CurveResponse>, low: f64, high: f64) -> Result<Estimate> {
        let what = "an inverse prediction";
        let over = |x: f64| at(x).map_or(f64::NAN, |r| r.value - self.y);
        let x0 = brent(what, over, low, high, 0.0).map_err(|_| {
            Error::not_estimable(what, format!("the curve does not reach {} between {low} and {high}", self.y))
        })?;
        let here = at(x0).ok_or_else(|| Error::not_estimable(what, format!("the curve has no value at {x0}")))?;
        let se = (self.variance + here.variance).sqrt() / here.slope.abs();
        let t = quantile::student_t_two_sided(self.level, self.df)?;
        let delta = Estimate::with_factor(x0, se, t, self.level, InverseInterval::Delta.name());
        if self.method == InverseInterval::Delta {
            return Ok(delta);
        }
        // Negative where x is not rejected.
        let rejected = |x: f64| match at(x) {
            Some(r) => (self.y - r.value).powi(2) - t * t * (self.variance + r.variance),
            None => f64::NAN,
        };
        let end = |limit: f64| -> Result<f64> {
            let mut inside = x0;
            for step in 1..=STEPS {
                // Quadratic spacing: fine near the estimate.
                let share = (f64::from(step) / f64::from(STEPS)).powi(2);
                let next = x0 + (limit - x0) * share;
                let value = rejected(next);
                if value.is_nan() {
                    break;
                }
                if value >= 0.0 {
                    return brent(what, rejected, inside, next, 0.0);
                }
                inside = next;
            }
            let why = format!("the interval has no end between {x0} and {limit}: the curve is too flat for its errors");
            Err(Error::not_estimable(what, why))
        };
        let (lower, upper) = (end(low)?, end(high)?);
        Ok(Estimate { lower, upper, method: InverseInterval::Inversion.name().into(), ..delta })
    }
}
