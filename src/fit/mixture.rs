//! Intervals of mixtures of normal distributions, such as an answer averaged over what is uncertain behind it.

use statrs::function::erf::erfc;

use super::quantile::check_level;
use super::root;
use crate::{Error, Result};

/// The central interval of a mixture of normals, given by weight, mean and standard deviation: each tail outside it holds half
/// of what `level` leaves. The weights need not add up to 1; a standard deviation of 0 is allowed.
///
/// # Errors
/// [`Error::Setting`] for a level outside (0, 1); [`Error::Numeric`] for no weight, numbers that are not finite, or no root.
pub(crate) fn central_interval(parts: &[(f64, f64, f64)], level: f64) -> Result<(f64, f64)> {
    check_level(level)?;
    let doing = "the interval of a mixture";
    let total: f64 = parts.iter().map(|(w, _, _)| w).sum();
    let mean = parts.iter().map(|(w, m, _)| w * m).sum::<f64>() / total;
    let variance = parts.iter().map(|(w, m, s)| w * (s * s + (m - mean).powi(2))).sum::<f64>() / total;
    let sd = variance.sqrt();
    if !(total > 0.0 && sd.is_finite()) {
        return Err(Error::numeric(doing, "its weights, means and standard deviations make no distribution"));
    }
    if sd <= 1e-12 * mean.abs() || sd == 0.0 {
        return Ok((mean, mean));
    }
    let tail = 0.5 * (1.0 - level);
    // A part that is a point counts as one of very small width.
    let width = |s: f64| s.max(1e-9 * sd);
    // Ten digits, as statrs has them, are enough for a sum of many tails.
    let tail_of = |z: f64| 0.5 * erfc(z * std::f64::consts::FRAC_1_SQRT_2);
    let above = |x: f64| parts.iter().map(|(w, m, s)| w * tail_of((x - m) / width(*s))).sum::<f64>() / total;
    let reach = parts.iter().map(|(_, m, s)| (m - mean).abs() + 40.0 * s).fold(sd, f64::max);
    let at = |share: f64| root::brent(doing, |x| above(x) - share, mean - reach, mean + reach, 1e-9 * sd);
    Ok((at(1.0 - tail)?, at(tail)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mixture_of_one_is_that_normal() {
        let (lower, upper) = central_interval(&[(3.0, 2.0, 0.5)], 0.9).unwrap();
        assert!((upper - (2.0 + 1.644_853_627 * 0.5)).abs() < 1e-6, "{upper}");
        assert!((lower + upper - 4.0).abs() < 1e-6);
    }

    #[test]
    fn two_far_parts_share_the_tails() {
        let (_, upper) = central_interval(&[(0.5, -100.0, 1.0), (0.5, 100.0, 1.0)], 0.9).unwrap();
        // Each tail of 5 % is 10 % of one part.
        assert!((upper - (100.0 + 1.281_551_566)).abs() < 1e-4, "{upper}");
        assert_eq!(central_interval(&[(1.0, 4.0, 0.0)], 0.9).unwrap(), (4.0, 4.0));
    }
}
