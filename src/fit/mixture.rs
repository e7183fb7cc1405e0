//! Means and intervals of mixtures of normal distributions, such as an answer averaged over what is uncertain behind it.

use super::quantile::{check_level, normal_upper_tail};
use super::root;
use crate::{Error, Result};

/// One part of a mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Its weight; the weights need not add up to 1.
    pub weight: f64,
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation; 0 is allowed.
    pub sd: f64,
}

/// Mean, standard deviation and central interval of a mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mixture {
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation.
    pub sd: f64,
    /// Lower end of the central interval.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
}

/// Sums up a mixture; each tail outside the interval holds half of what `level` leaves.
///
/// # Errors
/// [`Error::Setting`] for a level outside (0, 1); [`Error::Numeric`] for no weight, numbers that are not finite, or no root.
pub fn summary(parts: &[Part], level: f64) -> Result<Mixture> {
    check_level(level)?;
    let doing = "the interval of a mixture";
    let total: f64 = parts.iter().map(|p| p.weight).sum();
    let mean = parts.iter().map(|p| p.weight * p.mean).sum::<f64>() / total;
    let variance = parts.iter().map(|p| p.weight * (p.sd * p.sd + (p.mean - mean).powi(2))).sum::<f64>() / total;
    let sd = variance.sqrt();
    if !(total > 0.0 && sd.is_finite()) {
        return Err(Error::numeric(doing, "its weights, means and standard deviations make no distribution"));
    }
    if sd <= 1e-12 * mean.abs() || sd == 0.0 {
        return Ok(Mixture { mean, sd, lower: mean, upper: mean });
    }
    let tail = 0.5 * (1.0 - level);
    // A part that is a point counts as one of very small width.
    let width = |p: &Part| p.sd.max(1e-9 * sd);
    let above =
        |x: f64| parts.iter().map(|p| p.weight * normal_upper_tail((x - p.mean) / width(p))).sum::<f64>() / total;
    let reach = parts.iter().map(|p| (p.mean - mean).abs() + 40.0 * p.sd).fold(sd, f64::max);
    let at = |share: f64| root::brent(doing, |x| above(x) - share, mean - reach, mean + reach, 1e-7 * sd);
    Ok(Mixture { mean, sd, lower: at(1.0 - tail)?, upper: at(tail)? })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mixture_of_one_is_that_normal() {
        let found = summary(&[Part { weight: 3.0, mean: 2.0, sd: 0.5 }], 0.9).unwrap();
        assert!((found.upper - (2.0 + 1.644_853_627 * 0.5)).abs() < 1e-6, "{found:?}");
        assert!((found.lower + found.upper - 4.0).abs() < 1e-6 && (found.sd - 0.5).abs() < 1e-12);
    }

    #[test]
    fn two_far_parts_share_the_tails() {
        let part = |mean: f64| Part { weight: 0.5, mean, sd: 1.0 };
        let found = summary(&[part(-100.0), part(100.0)], 0.9).unwrap();
        // Each tail of 5 % is 10 % of one part.
        assert!((found.upper - (100.0 + 1.281_551_566)).abs() < 1e-4, "{found:?}");
        let point = summary(&[Part { weight: 1.0, mean: 4.0, sd: 0.0 }], 0.9).unwrap();
        assert_eq!((point.lower, point.upper), (4.0, 4.0));
    }
}
