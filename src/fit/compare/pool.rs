//! One mean from several estimates, each with its own standard error (random-effects meta-analysis).
//!
//! ```text
//! y_i = mu + b_i + e_i,   b_i ~ N(0, tau^2),   e_i ~ N(0, se_i^2) with se_i known
//! ```

use crate::fit::quantile::{check_level, chi_squared_upper_tail, normal_two_sided, student_t_two_sided};
use crate::fit::{Estimate, root};
use crate::{Error, Result};

/// How the variance between the units is estimated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Between {
    /// Restricted maximum likelihood.
    #[default]
    Reml,
    /// The tau^2 at which the weighted sum of squares has its expectation (R. C. Paule and J. Mandel, J. Res. Natl. Bur. Stand.
    /// 87 (1982) 377).
    PauleMandel,
}

/// How the interval of the mean is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Precision {
    /// Standard error from the weighted spread of the estimates, Student's t with k - 1 df (J. Hartung and G. Knapp, Stat. Med. 20
    /// (2001) 1771). It allows for tau being estimated.
    #[default]
    HartungKnapp,
    /// Standard error from the weights alone, normal; too short for few units.
    Normal,
}

/// How estimates are pooled.
///
/// | setting | default | when to change it |
/// | --- | --- | --- |
/// | `between` | `Reml` | `PauleMandel` where normality of the units is in doubt |
/// | `precision` | `HartungKnapp` | `Normal` for comparison with older practice |
/// | `level` | 0.90 | |
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PoolSettings {
    /// How the variance between the units is estimated.
    pub between: Between,
    /// How the interval of the mean is made.
    pub precision: Precision,
    /// Level of the intervals.
    pub level: f64,
}

impl Default for PoolSettings {
    fn default() -> Self {
        Self { between: Between::Reml, precision: Precision::HartungKnapp, level: 0.9 }
    }
}

/// Pooled estimates.
#[derive(Debug, Clone, PartialEq)]
pub struct Pooled {
    /// The mean over the population of units.
    pub mean: Estimate,
    /// Degrees of freedom of its interval; infinite for the normal one.
    pub df: f64,
    /// Standard deviation between units, beyond their own errors; 0 is a result.
    pub tau: f64,
    /// Cochran's Q, the weighted sum of squares with tau = 0.
    pub q: f64,
    /// P-value of Q: small when the units differ by more than their errors.
    pub q_p: f64,
    /// Where a further unit's true value lies: Student's t with k - 1 degrees of freedom, or normal, as the mean's interval.
    pub new_unit: Estimate,
    /// Number of units.
    pub units: usize,
}

impl PoolSettings {
    /// Pools estimates with their standard errors.
    ///
    /// # Errors
    /// [`Error::Usage`] for different lengths, [`Error::Setting`] for a bad level, [`Error::NotEstimable`] for fewer than
    /// two units, a value that is not finite, or a standard error not above 0.
    pub fn pool(&self, estimates: &[f64], standard_errors: &[f64]) -> Result<Pooled> {
        check_level(self.level)?;
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
        let k = units.len() as f64;
        let q = weigh(&units, 0.0).squares;
        let tau2 = match self.between {
            Between::PauleMandel => paule_mandel(&units)?,
            Between::Reml => reml(&units)?,
        };
        let sums = weigh(&units, tau2);
        let (df, variance, method) = match self.precision {
            Precision::HartungKnapp => (k - 1.0, sums.squares / (k - 1.0) / sums.total, "Hartung-Knapp, t"),
            Precision::Normal => (f64::INFINITY, 1.0 / sums.total, "normal"),
        };
        let factor = match self.precision {
            Precision::HartungKnapp => student_t_two_sided(self.level, df)?,
            Precision::Normal => normal_two_sided(self.level)?,
        };
        let name = match self.between {
            Between::Reml => "REML",
            Between::PauleMandel => "Paule-Mandel",
        };
        let mean = Estimate::with_factor(
            sums.mean,
            variance.sqrt(),
            factor,
            self.level,
            format!("random effects, {name}, {method}"),
        );
        let spread = (tau2 + variance).sqrt();
        let new_unit =
            Estimate::with_factor(sums.mean, spread, factor, self.level, format!("new unit, {name}, {method}"));
        Ok(Pooled {
            mean,
            df,
            tau: tau2.sqrt(),
            q,
            q_p: chi_squared_upper_tail(q, k - 1.0)?,
            new_unit,
            units: units.len(),
        })
    }
}

struct Sums {
    total: f64,
    mean: f64,
    squares: f64,
}

/// The weighted mean and sum of squares with weights 1 / (v_i + tau2).
fn weigh(units: &[(f64, f64)], tau2: f64) -> Sums {
    let total: f64 = units.iter().map(|(_, v)| 1.0 / (v + tau2)).sum();
    let mean = units.iter().map(|(y, v)| y / (v + tau2)).sum::<f64>() / total;
    let squares = units.iter().map(|(y, v)| (y - mean).powi(2) / (v + tau2)).sum();
    Sums { total, mean, squares }
}

/// No variance between the units can be much above their whole spread.
fn widest(units: &[(f64, f64)]) -> f64 {
    let low = units.iter().map(|(y, _)| *y).fold(f64::INFINITY, f64::min);
    let high = units.iter().map(|(y, _)| *y).fold(f64::NEG_INFINITY, f64::max);
    (high - low).powi(2)
}

fn paule_mandel(units: &[(f64, f64)]) -> Result<f64> {
    let target = units.len() as f64 - 1.0;
    let excess = |tau2: f64| weigh(units, tau2).squares - target;
    if excess(0.0) <= 0.0 {
        return Ok(0.0);
    }
    root::brent("the variance between units", excess, 0.0, widest(units), 0.0)
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
