//! A number with its uncertainty.

use std::borrow::Cow;
use std::fmt;

use super::quantile;
use crate::{Error, Result};

/// An estimate: value, standard error, interval with its level, and the method that made them.
///
/// `Display` rounds to the digits that the standard error is worth; the fields keep full precision.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimate {
    /// The estimate, in the unit its owner names.
    pub value: f64,
    /// Its standard error, same unit.
    pub se: f64,
    /// Lower end of the interval.
    pub lower: f64,
    /// Upper end of the interval.
    pub upper: f64,
    /// Level of the interval, a probability in (0, 1).
    pub level: f64,
    /// The method of the interval, as it goes into the tables.
    pub method: Cow<'static, str>,
}

impl Estimate {
    /// An estimate with the interval `value +- z se`, z from the normal distribution.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] for a level outside (0, 1).
    pub fn normal(value: f64, se: f64, level: f64, method: impl Into<Cow<'static, str>>) -> Result<Self> {
        Ok(Self::with_factor(value, se, quantile::normal_two_sided(level)?, level, method))
    }

    /// An estimate with the interval `value +- t se`, t from Student's distribution with `df` degrees of freedom.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] for a level outside (0, 1) or `df` not above 0.
    pub fn student_t(value: f64, se: f64, df: f64, level: f64, method: impl Into<Cow<'static, str>>) -> Result<Self> {
        Ok(Self::with_factor(value, se, quantile::student_t_two_sided(level, df)?, level, method))
    }

    /// Value, standard error, ends of the interval and its level, for the tables.
    pub(crate) fn numbers(&self) -> [f64; 5] {
        [self.value, self.se, self.lower, self.upper, self.level]
    }

    /// An estimate with the interval `value +- factor se`.
    pub(crate) fn with_factor(
        value: f64,
        se: f64,
        factor: f64,
        level: f64,
        method: impl Into<Cow<'static, str>>,
    ) -> Self {
        Self { value, se, lower: value - factor * se, upper: value + factor * se, level, method: method.into() }
    }
}

/// What was found about a quantity: three states that must not be confused.
#[derive(Debug, Clone, PartialEq)]
pub enum Finding {
    /// It was estimated.
    Estimated(Estimate),
    /// It was held at a value.
    Fixed {
        /// The value.
        value: f64,
        /// Why it was held.
        why: String,
    },
    /// It cannot be had from these data.
    NotEstimable {
        /// Why not, in words for the table's column `why`.
        why: String,
    },
}

impl Finding {
    /// A finding that cannot be had.
    pub fn missing(why: impl Into<String>) -> Self {
        Self::NotEstimable { why: why.into() }
    }

    /// The estimate, if there is one.
    pub fn estimate(&self) -> Option<&Estimate> {
        match self {
            Self::Estimated(estimate) => Some(estimate),
            _ => None,
        }
    }

    /// The value, estimated or held.
    pub fn value(&self) -> Option<f64> {
        match self {
            Self::Estimated(estimate) => Some(estimate.value),
            Self::Fixed { value, .. } => Some(*value),
            Self::NotEstimable { .. } => None,
        }
    }

    /// The standard error of an estimate.
    pub fn se(&self) -> Option<f64> {
        self.estimate().map(|estimate| estimate.se)
    }

    /// The numbers of an estimate, for the tables.
    pub(crate) fn numbers(&self) -> Option<[f64; 5]> {
        self.estimate().map(Estimate::numbers)
    }

    /// The reason, where there is no estimate.
    pub fn why(&self) -> Option<&str> {
        match self {
            Self::Estimated(_) => None,
            Self::Fixed { why, .. } | Self::NotEstimable { why } => Some(why),
        }
    }
}

impl From<Result<Estimate>> for Finding {
    fn from(found: Result<Estimate>) -> Self {
        match found {
            Ok(estimate) => Self::Estimated(estimate),
            Err(Error::NotEstimable { why, .. }) => Self::missing(why),
            Err(other) => Self::missing(other.to_string()),
        }
    }
}

/// Decimals, from 0 to 12, that show of `se` two digits where they are 10 to 35, and one where they are more: the error's
/// own error is larger than what the second digit then says. Rule of the Particle Data Group (Review of Particle Physics,
/// introduction, "Rounding"; from memory).
pub fn decimals_for(se: f64) -> usize {
    if !(se > 0.0 && se.is_finite()) {
        return 6;
    }
    let first = se.log10().floor() as i32;
    let two = (10.0 * se / 10f64.powi(first)).round();
    // From 9.5 on it rounds up to the next ten, of which two digits are shown.
    let digits = if two <= 35.0 || two >= 95.0 { 2 } else { 1 };
    let first = if two >= 95.0 { first + 1 } else { first };
    (digits - 1 - first).clamp(0, 12) as usize
}

impl fmt::Display for Estimate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = decimals_for(self.se);
        write!(
            f,
            "{:.digits$} \u{b1} {:.digits$} ({:.0} % interval {:.digits$} to {:.digits$}, {})",
            self.value,
            self.se,
            100.0 * self.level,
            self.lower,
            self.upper,
            self.method
        )
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Estimated(estimate) => estimate.fmt(f),
            Self::Fixed { value, why } => write!(f, "{value} (held: {why})"),
            Self::NotEstimable { why } => write!(f, "not estimable: {why}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_estimate_prints_to_the_digits_its_error_is_worth() {
        let of =
            |se| Estimate { value: 1.012_345_6, se, lower: 1.011_17, upper: 1.013_52, level: 0.9, method: "t".into() };
        assert_eq!(of(0.000_712).to_string(), "1.0123 \u{b1} 0.0007 (90 % interval 1.0112 to 1.0135, t)");
        assert_eq!(of(0.000_312).to_string(), "1.01235 \u{b1} 0.00031 (90 % interval 1.01117 to 1.01352, t)");
    }

    #[test]
    fn errors_are_shown_with_one_digit_or_two() {
        let cases = [(0.000_12, 5), (0.000_35, 5), (0.000_36, 4), (0.000_94, 4), (0.000_96, 4), (1.2, 1), (4.0, 0)];
        for (se, decimals) in cases {
            assert_eq!(decimals_for(se), decimals, "{se}");
        }
        assert_eq!(decimals_for(f64::NAN), 6);
    }

    #[test]
    fn the_three_states_print_apart() {
        assert_eq!(Finding::missing("one bath only").to_string(), "not estimable: one bath only");
        let held = Finding::Fixed { value: 2.0, why: "set".into() };
        assert_eq!(held.to_string(), "2 (held: set)");
        assert_eq!(held.se(), None);
    }
}
