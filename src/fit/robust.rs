//! Location, quantiles and weights, most of which a few wild values do not move.

use crate::{Error, Result};

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

/// The mean of values; none of nothing.
pub(crate) fn mean_of(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), value| (sum + value, n + 1.0));
    (n > 0.0).then(|| sum / n)
}

/// The quantile of values in rising order, by straight lines between them: place `(n - 1) share`. None of nothing.
pub(crate) fn quantile_of(sorted: &[f64], share: f64) -> Option<f64> {
    let place = share * sorted.len().checked_sub(1)? as f64;
    let (low, high) = (sorted.get(place.floor() as usize)?, sorted.get(place.ceil() as usize)?);
    Some(low + place.fract() * (high - low))
}

/// Huber's weight of a residual given in units of its scale: 1 within `k`, then k/|u|.
///
/// P. J. Huber, Ann. Math. Stat. 35 (1964) 73.
pub fn huber_weight(standardised: f64, k: f64) -> f64 {
    let size = standardised.abs();
    if size <= k { 1.0 } else { k / size }
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
    fn medians_of_many_are_those_of_sorting() {
        for n in (1..40_u32).chain([100, 101]) {
            let values: Vec<f64> = (0..n).map(|i| (f64::from(i) * 2.399).sin()).collect();
            let mut sorted = values.clone();
            sorted.sort_by(f64::total_cmp);
            let expected = 0.5 * (sorted[(sorted.len() - 1) / 2] + sorted[sorted.len() / 2]);
            assert_eq!(median(&values).unwrap(), expected);
        }
    }

    #[test]
    fn quantiles_lie_between_the_values() {
        let values = [1.04, 1.05, 1.06];
        assert_eq!(quantile_of(&values, 0.0), Some(1.04));
        assert_eq!(quantile_of(&values, 1.0), Some(1.06));
        assert!((quantile_of(&values, 0.25).unwrap() - 1.045).abs() < 1e-12);
        assert_eq!(quantile_of(&[], 0.5), None);
    }

    #[test]
    fn weights_are_one_in_the_middle_and_fall_outwards() {
        assert_eq!(huber_weight(1.0, 1.345), 1.0);
        assert_eq!(huber_weight(-2.69, 1.345), 0.5);
    }
}
