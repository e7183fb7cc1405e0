//! Quantiles and tails of the distributions that intervals are made of.
//!
//! Tails come from statrs' incomplete beta and gamma functions. Quantiles are found from those tails by a guarded
//! Newton iteration on a logarithmic scale, always on the smaller side, so that they hold over the whole of (0, 1) and
//! for every real number of degrees of freedom: ready-made inverses are good in the middle only.

use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::beta::{checked_beta_reg, ln_beta};
use statrs::function::gamma::{checked_gamma_lr, checked_gamma_ur, ln_gamma};

use crate::{Error, Result};

/// Beyond this many degrees of freedom Student's t is computed from its expansion about the normal.
const NEARLY_NORMAL_DF: f64 = 2e4;

/// Checks that a level is a probability strictly between 0 and 1.
pub(crate) fn check_level(level: f64) -> Result<f64> {
    if level > 0.0 && level < 1.0 {
        Ok(level)
    } else {
        Err(Error::setting("level", level, "a probability between 0 and 1"))
    }
}

fn check_probability(p: f64) -> Result<f64> {
    if p > 0.0 && p < 1.0 { Ok(p) } else { Err(Error::setting("probability", p, "a number between 0 and 1")) }
}

fn check_df(df: f64) -> Result<f64> {
    if df > 0.0 { Ok(df) } else { Err(Error::setting("degrees of freedom", df, "a number above 0")) }
}

/// The standard normal quantile z with P(Z <= z) = p.
///
/// # Errors
/// [`Error::Setting`] unless 0 < p < 1.
pub fn normal(p: f64) -> Result<f64> {
    check_probability(p)?;
    let q = p.min(1.0 - p);
    let law = Normal::new(0.0, 1.0).map_err(|why| Error::numeric("the normal distribution", why.to_string()))?;
    let mut z = law.inverse_cdf(q);
    // One Newton step on the logarithm of the tail removes what the rational approximation leaves.
    let tail = normal_upper_tail(-z);
    let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    if density > 0.0 && tail > 0.0 {
        z -= (tail / q).ln() * tail / density;
    }
    Ok(if p > 0.5 { -z } else { z })
}

/// P(Z > z) of the standard normal distribution; NaN for NaN.
pub fn normal_upper_tail(z: f64) -> f64 {
    // By the incomplete gamma function: statrs' error function keeps about ten digits only.
    let x = 0.5 * z * z;
    let tail = match z.abs() < 1.0 {
        true => gamma_lower(0.5, x).map(|centre| 0.5 - 0.5 * centre),
        false => gamma_upper(0.5, x).map(|both| 0.5 * both),
    };
    match tail {
        Ok(tail) if z >= 0.0 => tail,
        Ok(tail) => 1.0 - tail,
        Err(_) => f64::NAN,
    }
}

/// The factor of a two-sided normal interval: P(|Z| < z) = level.
///
/// # Errors
/// [`Error::Setting`] for a level outside (0, 1).
pub fn normal_two_sided(level: f64) -> Result<f64> {
    normal(0.5 + 0.5 * check_level(level)?)
}

/// Student's t quantile with P(T <= t) = p for any real `df` > 0; infinite `df` is the normal.
///
/// # Errors
/// [`Error::Setting`] unless 0 < p < 1 and df > 0.
pub fn student_t(p: f64, df: f64) -> Result<f64> {
    check_probability(p)?;
    check_df(df)?;
    if df > NEARLY_NORMAL_DF {
        return Ok(t_from_normal(normal(p)?, df));
    }
    // The square of t is F with 1 and df degrees of freedom.
    let outside = 2.0 * p.min(1.0 - p);
    let centre = 1.0 - outside;
    let size =
        if centre > 0.0 { f_quantile("Student's t quantile", centre, outside, 0.5, 0.5 * df)?.sqrt() } else { 0.0 };
    Ok(size.copysign(p - 0.5))
}

/// The factor of a two-sided t interval: P(|T| < t) = level.
///
/// # Errors
/// [`Error::Setting`] for a level outside (0, 1) or df not above 0.
pub fn student_t_two_sided(level: f64, df: f64) -> Result<f64> {
    student_t(0.5 + 0.5 * check_level(level)?, df)
}

/// P(T > t) of Student's t with `df` degrees of freedom.
///
/// # Errors
/// [`Error::Setting`] unless df > 0.
pub fn student_t_upper_tail(t: f64, df: f64) -> Result<f64> {
    check_df(df)?;
    if df > NEARLY_NORMAL_DF {
        // R. A. Fisher's expansion (Metron 5 (1925) 109), to the second order in 1/df.
        let density = (-0.5 * t * t).exp() / (2.0 * std::f64::consts::PI).sqrt();
        let s = t * t;
        let first = t * (s + 1.0) / 4.0;
        let second = t * (((3.0 * s - 7.0) * s - 5.0) * s - 3.0) / 96.0;
        return Ok((normal_upper_tail(t) + density * (first + second / df) / df).clamp(0.0, 1.0));
    }
    let tail = 0.5 * f_upper_tail(t * t, 0.5, 0.5 * df)?;
    Ok(if t >= 0.0 { tail } else { 1.0 - tail })
}

/// Student's t from the normal quantile of the same probability (Abramowitz and Stegun 1964, 26.7.5).
fn t_from_normal(z: f64, df: f64) -> f64 {
    if df.is_infinite() {
        return z;
    }
    let s = z * z;
    let g1 = z * (s + 1.0) / 4.0;
    let g2 = z * ((5.0 * s + 16.0) * s + 3.0) / 96.0;
    let g3 = z * (((3.0 * s + 19.0) * s + 17.0) * s - 15.0) / 384.0;
    z + (g1 + (g2 + g3 / df) / df) / df
}

/// The chi-squared quantile with P(X <= x) = p.
///
/// # Errors
/// [`Error::Setting`] unless 0 < p < 1 and df > 0; [`Error::Numeric`] when the iteration does not settle.
pub fn chi_squared(p: f64, df: f64) -> Result<f64> {
    check_probability(p)?;
    check_df(df)?;
    let a = 0.5 * df;
    let ln_density = |x: f64| (a - 1.0) * (0.5 * x).ln() - 0.5 * x - ln_gamma(a) - 2.0_f64.ln();
    if p <= 0.5 {
        solve_log("chi-squared quantile", |x| gamma_lower(a, 0.5 * x), ln_density, p, true)
    } else {
        solve_log("chi-squared quantile", |x| gamma_upper(a, 0.5 * x), ln_density, 1.0 - p, false)
    }
}

/// P(X > x) of the chi-squared distribution.
///
/// # Errors
/// [`Error::Setting`] unless df > 0; x at or below 0 gives 1.
pub fn chi_squared_upper_tail(x: f64, df: f64) -> Result<f64> {
    check_df(df)?;
    if x <= 0.0 { Ok(1.0) } else { gamma_upper(0.5 * df, 0.5 * x) }
}

/// The F quantile with P(X <= x) = p, degrees of freedom of numerator and denominator.
///
/// # Errors
/// [`Error::Setting`] unless 0 < p < 1 and both df > 0.
pub fn fisher_f(p: f64, df1: f64, df2: f64) -> Result<f64> {
    check_probability(p)?;
    check_df(df1)?;
    check_df(df2)?;
    f_quantile("F quantile", p, 1.0 - p, 0.5 * df1, 0.5 * df2)
}

/// P(X > x) of the F distribution, degrees of freedom of numerator and denominator.
///
/// # Errors
/// [`Error::Setting`] unless both df > 0; x at or below 0 gives 1.
pub fn fisher_f_upper_tail(x: f64, df1: f64, df2: f64) -> Result<f64> {
    check_df(df1)?;
    check_df(df2)?;
    if x <= 0.0 { Ok(1.0) } else { f_upper_tail(x, 0.5 * df1, 0.5 * df2) }
}

/// The F quantile with these shares below and above it, for halves of the degrees of freedom.
fn f_quantile(doing: &'static str, below: f64, above: f64, a: f64, b: f64) -> Result<f64> {
    let ratio = a / b;
    let ln_density = |x: f64| a * ratio.ln() + (a - 1.0) * x.ln() - (a + b) * (ratio * x).ln_1p() - ln_beta(a, b);
    if below <= 0.5 {
        solve_log(doing, |x| f_lower(x, a, b), ln_density, below, true)
    } else {
        solve_log(doing, |x| f_upper(x, a, b), ln_density, above, false)
    }
}

/// P(X > x) of the F distribution, for halves of the degrees of freedom.
fn f_upper_tail(x: f64, a: f64, b: f64) -> Result<f64> {
    // Below the middle one less the other side: 1 / (1 + a x / b) would round to 1.
    if x < 1.0 { Ok(1.0 - f_lower(x, a, b)?) } else { f_upper(x, a, b) }
}

fn f_upper(x: f64, a: f64, b: f64) -> Result<f64> {
    beta_regularised(b, a, 1.0 / (1.0 + a * x / b))
}

fn f_lower(x: f64, a: f64, b: f64) -> Result<f64> {
    let ratio = a * x / b;
    beta_regularised(a, b, if ratio.is_finite() { ratio / (1.0 + ratio) } else { 1.0 })
}

fn beta_regularised(a: f64, b: f64, x: f64) -> Result<f64> {
    checked_beta_reg(a, b, x.clamp(0.0, 1.0))
        .map_err(|why| Error::numeric("the incomplete beta function", why.to_string()))
}

fn gamma_lower(a: f64, x: f64) -> Result<f64> {
    if x < 1e-12 {
        // The first term of the series; statrs takes so small an x for zero.
        return Ok(if x > 0.0 { (a * x.ln() - x - ln_gamma(a + 1.0)).exp() } else { 0.0 });
    }
    if x.is_infinite() {
        return Ok(1.0);
    }
    checked_gamma_lr(a, x).map_err(|why| Error::numeric("the incomplete gamma function", why.to_string()))
}

fn gamma_upper(a: f64, x: f64) -> Result<f64> {
    if x < 1e-12 || x.is_infinite() {
        return Ok(1.0 - gamma_lower(a, x)?);
    }
    checked_gamma_ur(a, x).map_err(|why| Error::numeric("the incomplete gamma function", why.to_string()))
}

/// Solves `mass(x) = target` for x > 0, where `mass` rises or falls steadily: Newton on ln mass against ln x, where
/// both power and exponential tails are nearly straight, inside a bracket that bisection shrinks.
fn solve_log(
    doing: &'static str,
    mass: impl Fn(f64) -> Result<f64>,
    ln_density: impl Fn(f64) -> f64,
    target: f64,
    rising: bool,
) -> Result<f64> {
    const FAR: f64 = 700.0;
    let (mut low, mut high) = (-FAR, FAR);
    let ln_target = target.ln();
    let mut u = 0.0_f64;
    let mut step = f64::INFINITY;
    for _ in 0..300 {
        let x = u.exp();
        let value = mass(x)?;
        let excess = if value > 0.0 { value.ln() - ln_target } else { f64::NEG_INFINITY };
        if (excess > 0.0) == rising {
            high = u;
        } else {
            low = u;
        }
        let slope = (ln_density(x) + u - value.ln()).exp();
        let newton = if rising { u - excess / slope } else { u + excess / slope };
        let next = if newton.is_finite() && newton > low && newton < high && (newton - u).abs() < 0.9 * step.abs() {
            newton
        } else {
            0.5 * (low + high)
        };
        step = next - u;
        u = next;
        if step.abs() <= 4.0 * f64::EPSILON * (1.0 + u.abs()) || high - low <= 4.0 * f64::EPSILON {
            return Ok(if u > FAR - 1.0 { f64::INFINITY } else { u.exp() });
        }
    }
    Err(Error::numeric(doing, format!("no quantile found for the probability {target}")))
}
