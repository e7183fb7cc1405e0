//! One mean from several estimates, each with its own standard error (random-effects meta-analysis).
//!
//! ```text
//! y_i = mu + b_i + e_i,   b_i ~ N(0, tau^2),   e_i ~ N(0, se_i^2) with se_i known
//! ```
//!
//! The variance between the units by restricted maximum likelihood.

use crate::fit::mixture::central_interval;
use crate::fit::quantile::{check_level, chi_squared, normal_two_sided, student_t_two_sided};
use crate::fit::{Estimate, root};
use crate::{Error, Result};

/// Points of the confidence distribution of tau.
const POINTS: u32 = 60;

/// Pooled estimates.
#[derive(Debug, Clone, PartialEq)]
pub struct Pooled {
    /// The mean over the population of units.
    pub mean: Estimate,
    /// Degrees of freedom of its interval.
    pub df: f64,
    /// Standard deviation between units, beyond their own errors; 0 is a result.
    pub tau: f64,
    /// Where a further unit's true value lies. The interval averages over the confidence distribution of tau that the test
    /// of Q gives (K. Nagashima, H. Noma, T. A. Furukawa, Stat. Methods Med. Res. 28 (2019) 1689, with quantiles in place of
    /// their draws), because a tau taken as known makes it far too short. `se` is its half-width over the factor of Student's t
    /// with k - 1 degrees of freedom.
    pub new_unit: Estimate,
}

/// Pools estimates with their standard errors.
///
/// The standard error of the mean is from the weighted spread of the estimates and allows for tau being estimated (J. Hartung and
/// G. Knapp, Stat. Med. 20 (2001) 1771), but is never below that of the weights alone (G. Knapp and J. Hartung, Stat. Med. 22
/// (2003) 2693); the interval is Student's t with k - 1 df. With five to twenty units of very unequal errors 90 % intervals
/// covered 89 to 91 % in simulation where the units differ (without that bound 84 to 89 %, normal 80 to 87 %) and 95 to 98 %
/// where they do not.
///
/// # Errors
/// [`Error::Usage`] for different lengths, [`Error::Setting`] for a bad level, [`Error::NotEstimable`] for fewer than
/// two units, a value that is not finite, or a standard error not above 0.
pub fn pool(estimates: &[f64], standard_errors: &[f64], level: f64) -> Result<Pooled> {
    check_level(level)?;
    if estimates.len() != standard_errors.len() {
        let text = format!("{} estimates and {} standard errors", estimates.len(), standard_errors.len());
        return Err(Error::Usage(text));
    }
    let what = "a pooled mean";
    if estimates.len() < 2 {
        return Err(Error::not_estimable(what, format!("{} units; two are needed", estimates.len())));
    }
    if estimates.iter().any(|y| !y.is_finite()) || standard_errors.iter().any(|s| !(*s > 0.0 && s.is_finite())) {
        return Err(Error::not_estimable(what, "an estimate is not finite or its standard error not above 0"));
    }
    let units: Vec<(f64, f64)> = estimates.iter().zip(standard_errors).map(|(y, s)| (*y, s * s)).collect();
    let df = units.len() as f64 - 1.0;
    let tau2 = reml(&units)?;
    let sums = weigh(&units, tau2);
    let se = ((sums.squares / df).max(1.0) / sums.total).sqrt();
    let factor = student_t_two_sided(level, df)?;
    let method = "random effects, REML, Hartung-Knapp, at least stated, t";
    let mean = Estimate::with_factor(sums.mean, se, factor, level, method);
    Ok(Pooled { mean, new_unit: new_unit(&units, level, sums.mean, factor)?, df, tau: tau2.sqrt() })
}

/// The interval of a further unit about `value`: a mixture of normals, one for each of equally likely tau. Given tau the
/// mean is normal about the weighted mean, and the unit about it with tau.
fn new_unit(units: &[(f64, f64)], level: f64, value: f64, factor: f64) -> Result<Estimate> {
    let part = |i: u32| {
        let p = (f64::from(i) + 0.5) / f64::from(POINTS);
        let tau2 = q_profile(&[units], chi_squared(p, units.len() as f64 - 1.0)?)?;
        let sums = weigh(units, tau2);
        Ok((1.0, sums.mean, (tau2 + 1.0 / sums.total).sqrt()))
    };
    let parts: Vec<(f64, f64, f64)> = (0..POINTS).map(part).collect::<Result<_>>()?;
    let (lower, upper) = central_interval(&parts, level)?;
    let se = 0.5 * (upper - lower) / factor;
    Ok(Estimate { value, se, lower, upper, level, method: "new unit, averaged over the confidence of tau".into() })
}

struct WeightedSums {
    total: f64,
    mean: f64,
    squares: f64,
}

/// The weighted mean and sum of squares with weights 1 / (v_i + tau2). A unit is its estimate and the square of its standard error.
fn weigh(units: &[(f64, f64)], tau2: f64) -> WeightedSums {
    let total: f64 = units.iter().map(|(_, v)| 1.0 / (v + tau2)).sum();
    let mean = units.iter().map(|(y, v)| y / (v + tau2)).sum::<f64>() / total;
    let squares = units.iter().map(|(y, v)| (y - mean).powi(2) / (v + tau2)).sum();
    WeightedSums { total, mean, squares }
}

/// No variance between the units can be much above their whole spread.
fn widest(units: &[(f64, f64)]) -> f64 {
    let low = units.iter().map(|(y, _)| *y).fold(f64::INFINITY, f64::min);
    let high = units.iter().map(|(y, _)| *y).fold(f64::NEG_INFINITY, f64::max);
    (high - low).powi(2)
}

/// The tau2 at which the weighted sum of squares of all groups is `target`; 0 where it never is that large.
fn q_profile<U: AsRef<[(f64, f64)]>>(groups: &[U], target: f64) -> Result<f64> {
    let excess = |tau2: f64| groups.iter().map(|units| weigh(units.as_ref(), tau2).squares).sum::<f64>() - target;
    if !(excess(0.0) > 0.0) {
        return Ok(0.0);
    }
    // The sum of squares is below the squared spread over tau2, once for each unit.
    let top: f64 = groups.iter().map(|units| units.as_ref().len() as f64 * widest(units.as_ref())).sum();
    root::brent("the variance between units", excess, 0.0, top / target, 0.0)
}

/// The derivative of the restricted likelihood in tau2, times two.
fn reml_score(units: &[(f64, f64)], tau2: f64) -> f64 {
    let sums = weigh(units, tau2);
    let (mut fit, mut squares_of_weights) = (0.0, 0.0);
    for (y, v) in units {
        let w = 1.0 / (v + tau2);
        fit += (w * (y - sums.mean)).powi(2);
        squares_of_weights += w * w;
    }
    fit - sums.total + squares_of_weights / sums.total
}

fn reml_ln_likelihood(units: &[(f64, f64)], tau2: f64) -> f64 {
    let sums = weigh(units, tau2);
    let ln_variances: f64 = units.iter().map(|(_, v)| (v + tau2).ln()).sum();
    -0.5 * (ln_variances + sums.total.ln() + sums.squares)
}

/// The highest of the likelihood's tops: its score is scanned, as with unequal errors it may have several.
fn reml(units: &[(f64, f64)]) -> Result<f64> {
    let top = widest(units);
    let least = units.iter().map(|(_, v)| *v).fold(f64::INFINITY, f64::min);
    let mut best = (0.0, reml_ln_likelihood(units, 0.0));
    if !(top > 0.0) {
        return Ok(0.0);
    }
    let first = (1e-6 * least).min(1e-3 * top).max(1e-300);
    let steps = 60;
    let mut last = 0.0;
    for i in 0..=steps {
        let next = first * (top / first).powf(f64::from(i) / f64::from(steps));
        if reml_score(units, last) > 0.0 && reml_score(units, next) <= 0.0 {
            let place = root::brent("the variance between units", |t| reml_score(units, t), last, next, 0.0)?;
            let height = reml_ln_likelihood(units, place);
            if height > best.1 {
                best = (place, height);
            }
        }
        last = next;
    }
    Ok(best.0)
}

/// The standard deviation between units, beyond their own errors, of units in groups with a mean each, with its interval.
///
/// ```text
/// Q(tau^2) = sum over groups of sum w_i (y_i - mean of the group)^2,   w_i = 1 / (se_i^2 + tau^2)
/// ```
///
/// falls with tau^2 and is chi-squared at the true one. The estimate has Q = df (R. C. Paule and J. Mandel, J. Res. Natl. Bur.
/// Stand. 87 (1982) 377), the ends of the interval have the quantiles of chi-squared (W. Viechtbauer, Stat. Med. 26 (2007) 37).
/// A lower end that Q does not reach is 0. A unit is its value and its standard error; `df` is the number of units less what was
/// estimated of their means.
///
/// # Errors
/// [`Error::Setting`] for a level outside (0, 1) or df not above 0; [`Error::NotEstimable`] where Q does not reach the upper end:
/// the units agree more closely than their own errors let them.
pub fn spread_between(groups: &[Vec<(f64, f64)>], df: f64, level: f64) -> Result<Estimate> {
    check_level(level)?;
    let groups: Vec<Vec<(f64, f64)>> =
        groups.iter().map(|units| units.iter().map(|(y, se)| (*y, se * se)).collect()).collect();
    let at = |target: f64| q_profile(&groups, target).map(f64::sqrt);
    let tail = 0.5 * (1.0 - level);
    let (lower, upper) = (at(chi_squared(1.0 - tail, df)?)?, at(chi_squared(tail, df)?)?);
    if !(upper > 0.0) {
        return Err(Error::not_estimable("a spread", "they agree more closely than their own errors would let them"));
    }
    let se = 0.5 * (upper - lower) / normal_two_sided(level)?;
    Ok(Estimate { value: at(df)?, se, lower, upper, level, method: "Paule and Mandel, Q-profile".into() })
}
