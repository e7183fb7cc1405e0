//! Location and weights that a few wild values do not move.

use crate::{Error, Result};

/// A MAD of normal data times this is their standard deviation: 1 / (the 0.75 quantile of the standard normal).
pub const MAD_FACTOR: f64 = 1.482_602_218_505_602;

/// Huber's k with 95 % efficiency at the normal distribution.
pub const HUBER_K: f64 = 1.345;

/// Tukey's c with 95 % efficiency at the normal distribution.
pub const TUKEY_C: f64 = 4.685;

/// The median; the mean of the middle two for an even number of values.
///
/// # Errors
/// [`Error::NotEstimable`] for no values or one that is not a number.
pub fn median(values: &[f64]) -> Result<f64> {
    if values.iter().any(|x| x.is_nan()) {
        return Err(Error::not_estimable("a median", "a value is not a number"));
    }
    median_of(&mut values.to_vec()).ok_or_else(|| Error::not_estimable("a median", "there are no values"))
}

/// The same of values that are no NaN and may be put in another order; none of nothing.
pub(crate) fn median_of(values: &mut [f64]) -> Option<f64> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let (below, middle, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    let upper = *middle;
    let lower = || below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(if n.is_multiple_of(2) { 0.5 * (lower() + upper) } else { upper })
}

/// The median absolute deviation from the median, times [`MAD_FACTOR`]: a standard deviation that resists outliers.
///
/// # Errors
/// As for [`median`].
pub fn mad(values: &[f64]) -> Result<f64> {
    let centre = median(values)?;
    let deviations: Vec<f64> = values.iter().map(|x| (x - centre).abs()).collect();
    Ok(MAD_FACTOR * median(&deviations)?)
}

/// Huber's weight of a residual given in units of its scale: 1 within `k`, then k/|u|.
///
/// P. J. Huber, Ann. Math. Stat. 35 (1964) 73.
pub fn huber_weight(standardised: f64, k: f64) -> f64 {
    let size = standardised.abs();
    if size <= k { 1.0 } else { k / size }
}

/// Tukey's bisquare weight of a residual given in units of its scale: (1 - (u/c)^2)^2 within `c`, else 0.
///
/// A. E. Beaton and J. W. Tukey, Technometrics 16 (1974) 147. The loss is not convex: start from a good fit.
pub fn tukey_weight(standardised: f64, c: f64) -> f64 {
    let ratio = standardised / c;
    if ratio.abs() < 1.0 { (1.0 - ratio * ratio).powi(2) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn medians_of_few() {
        assert_eq!(median(&[3.0]).unwrap(), 3.0);
        assert_eq!(median(&[3.0, 1.0]).unwrap(), 2.0);
        assert_eq!(median(&[9.0, 1.0, 2.0]).unwrap(), 2.0);
        assert!(median(&[]).is_err());
        assert!(median(&[1.0, f64::NAN]).is_err());
    }

    #[test]
    fn one_wild_value_moves_the_mad_little() {
        let calm = mad(&[1.0, 2.0, 3.0, 4.0, 5.0]).unwrap();
        let wild = mad(&[1.0, 2.0, 3.0, 4.0, 1e9]).unwrap();
        assert_eq!(calm, wild);
    }

    #[test]
    fn weights_are_one_in_the_middle_and_fall_outwards() {
        assert_eq!(huber_weight(1.0, HUBER_K), 1.0);
        assert_eq!(huber_weight(-2.69, HUBER_K), 0.5);
        assert_eq!(tukey_weight(0.0, TUKEY_C), 1.0);
        assert_eq!(tukey_weight(5.0, TUKEY_C), 0.0);
    }
}
