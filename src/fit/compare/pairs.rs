//! All pairs of means with unequal variances.

use super::adjust::holm;
use super::mean::GroupMean;
use super::studentised::{
    maximum_modulus_quantile, maximum_modulus_upper_tail, studentised_range_quantile, studentised_range_upper_tail,
};
use crate::fit::Estimate;
use crate::fit::quantile::{check_level, student_t_upper_tail};
use crate::{Error, Result};

/// How the family of all pairs is adjusted for: the same rule makes the interval and the p-value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Adjustment {
    /// Dunnett's T3 (C. W. Dunnett, J. Am. Stat. Assoc. 75 (1980) 796): the studentised maximum modulus of all pairs
    /// with Welch's df. Keeps the level with groups of a few values each.
    #[default]
    DunnettT3,
    /// Games and Howell (J. Educ. Stat. 1 (1976) 113): the studentised range with Welch's df. Narrower, but with
    /// groups of fewer than about six values it misses a little more often than it says.
    GamesHowell,
}

impl Adjustment {
    fn method(self) -> &'static str {
        match self {
            Self::DunnettT3 => "Welch, all pairs, Dunnett T3",
            Self::GamesHowell => "Welch, all pairs, Games-Howell",
        }
    }

    fn factor(self, level: f64, groups: usize, df: f64) -> Result<f64> {
        match self {
            Self::DunnettT3 => maximum_modulus_quantile(level, groups * (groups - 1) / 2, df),
            Self::GamesHowell => studentised_range_quantile(level, groups, df).map(|q| q / std::f64::consts::SQRT_2),
        }
    }

    fn p(self, t: f64, groups: usize, df: f64) -> Result<f64> {
        match self {
            Self::DunnettT3 => maximum_modulus_upper_tail(t, groups * (groups - 1) / 2, df),
            Self::GamesHowell => studentised_range_upper_tail(t * std::f64::consts::SQRT_2, groups, df),
        }
    }
}

/// The difference of two means in a family of all pairs.
#[derive(Debug, Clone, PartialEq)]
pub struct Contrast {
    /// The first group.
    pub a: String,
    /// The second group.
    pub b: String,
    /// Mean of `a` less mean of `b`, with its simultaneous interval.
    pub difference: Estimate,
    /// Welch's degrees of freedom.
    pub df: f64,
    /// P-value by the adjustment of the interval: below 1 - level exactly when the interval leaves out zero.
    pub p_adjusted: f64,
    /// Holm's p-value from the unadjusted Welch tests: often smaller, but no interval goes with it.
    pub p_holm: f64,
}

/// All pairs of the groups, in order (first with second, first with third, ...), with intervals that hold all at once
/// with probability `level`.
///
/// For one pair, groups i and j with standard errors e and degrees of freedom v (B. L. Welch, Biometrika 34 (1947) 28):
///
/// ```text
/// se^2 = e_i^2 + e_j^2,   df = se^4 / (e_i^4 / v_i + e_j^4 / v_j)
/// ```
///
/// Fewer than two groups make no pairs: an empty list.
///
/// # Errors
/// [`Error::Setting`] for a level outside (0, 1); [`Error::NotEstimable`] for a group whose standard error is not
/// above 0 (all its values are equal).
pub fn all_pairs(groups: &[GroupMean], adjustment: Adjustment, level: f64) -> Result<Vec<Contrast>> {
    check_level(level)?;
    for group in groups {
        if !(group.se > 0.0 && group.se.is_finite() && group.mean.is_finite() && group.df > 0.0) {
            return Err(Error::not_estimable(
                format!("contrasts with {}", group.name),
                format!("its standard error is {} on {} degrees of freedom", group.se, group.df),
            ));
        }
    }
    let mut contrasts = Vec::new();
    let mut raw = Vec::new();
    for (i, a) in groups.iter().enumerate() {
        for b in groups.iter().skip(i + 1) {
            let (va, vb) = (a.se * a.se, b.se * b.se);
            let se = (va + vb).sqrt();
            let df = (va + vb).powi(2) / (va * va / a.df + vb * vb / b.df);
            let value = a.mean - b.mean;
            let t = value.abs() / se;
            let factor = adjustment.factor(level, groups.len(), df)?;
            raw.push(2.0 * student_t_upper_tail(t, df)?);
            contrasts.push(Contrast {
                a: a.name.clone(),
                b: b.name.clone(),
                difference: Estimate::with_factor(value, se, factor, level, adjustment.method()),
                df,
                p_adjusted: adjustment.p(t, groups.len(), df)?,
                p_holm: f64::NAN,
            });
        }
    }
    for (contrast, p) in contrasts.iter_mut().zip(holm(&raw)) {
        contrast.p_holm = p;
    }
    Ok(contrasts)
}
