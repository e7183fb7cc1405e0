//! The variance between units.
//!
//! A unit is a pair of its estimate and the square of its standard error.

use crate::Result;
use crate::fit::quantile::chi_squared;
use crate::fit::root;

/// Weighted sums.
pub(super) struct WeightedSums {
    pub total: f64,
    pub mean: f64,
    pub squares: f64,
}

/// The weighted mean and sum of squares with weights 1 / (v_i + tau2).
pub(super) fn weigh(units: &[(f64, f64)], tau2: f64) -> WeightedSums {
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

/// The tau2 at which the weighted sum of squares is the quantile p of chi-squared; 0 where it never is that large.
pub(super) fn profile(units: &[(f64, f64)], p: f64) -> Result<f64> {
    let target = chi_squared(p, units.len() as f64 - 1.0)?;
    let excess = |tau2: f64| weigh(units, tau2).squares - target;
    if excess(0.0) <= 0.0 {
        return Ok(0.0);
    }
    // The sum of squares is below the squared spread over tau2, once for each unit.
    let top = units.len() as f64 * widest(units) / target;
    root::brent("the variance between units", excess, 0.0, top, 0.0)
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
pub(super) fn reml(units: &[(f64, f64)]) -> Result<f64> {
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
