//! All pairs of means with unequal variances, and p-values of a family.

use super::maximum_modulus::{maximum_modulus_quantile, maximum_modulus_upper_tail};
use crate::fit::Estimate;
use crate::fit::quantile::{check_level, student_t_upper_tail};
use crate::{Error, Result};

const METHOD: &str = "Welch, all pairs, Dunnett T3";

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
    /// P-value of the simultaneous test: below 1 - level exactly when the interval leaves out zero.
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
/// The factor of the interval is the quantile of the studentised maximum modulus of all pairs with Welch's df (T3 of C. W.
/// Dunnett, J. Am. Stat. Assoc. 75 (1980) 796), which keeps the level with groups of a few values each. Fewer than two groups
/// make no pairs: an empty list.
///
/// # Errors
/// [`Error::Setting`] for a level outside (0, 1); [`Error::NotEstimable`] for a group whose standard error is not
/// above 0 (all its values are equal).
pub fn all_pairs(groups: &[GroupMean], level: f64) -> Result<Vec<Contrast>> {
    check_level(level)?;
    for group in groups {
        if !(group.se > 0.0 && group.se.is_finite() && group.mean.is_finite() && group.df > 0.0) {
            return Err(Error::not_estimable(
                format!("contrasts with {}", group.name),
                format!("its standard error is {} on {} degrees of freedom", group.se, group.df),
            ));
        }
    }
    let pairs = groups.len() * groups.len().saturating_sub(1) / 2;
    let mut contrasts = Vec::new();
    let mut raw = Vec::new();
    for (i, a) in groups.iter().enumerate() {
        for b in groups.iter().skip(i + 1) {
            let (va, vb) = (a.se * a.se, b.se * b.se);
            let se = (va + vb).sqrt();
            let df = (va + vb).powi(2) / (va * va / a.df + vb * vb / b.df);
            let value = a.mean - b.mean;
            let t = value.abs() / se;
            let factor = maximum_modulus_quantile(level, pairs, df)?;
            raw.push(2.0 * student_t_upper_tail(t, df)?);
            contrasts.push(Contrast {
                a: a.name.clone(),
                b: b.name.clone(),
                difference: Estimate::with_factor(value, se, factor, level, METHOD),
                df,
                p_adjusted: maximum_modulus_upper_tail(t, pairs, df)?,
                p_holm: f64::NAN,
            });
        }
    }
    for (contrast, p) in contrasts.iter_mut().zip(holm(&raw)) {
        contrast.p_holm = p;
    }
    Ok(contrasts)
}

/// Holm's step-down p-values (S. Holm, Scand. J. Stat. 6 (1979) 65), in the order given: no p-value below them is
/// claimed wrongly with more than that probability, whatever the dependence.
pub fn holm(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<(usize, f64)> = p.iter().copied().enumerate().collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut adjusted = p.to_vec();
    let mut most: f64 = 0.0;
    for (rank, (place, value)) in order.into_iter().enumerate() {
        most = most.max(((p.len() - rank) as f64 * value).min(1.0));
        if let Some(cell) = adjusted.get_mut(place) {
            *cell = most;
        }
    }
    adjusted
}
