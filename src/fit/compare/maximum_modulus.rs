//! The studentised maximum modulus: how large the largest of several differences is by chance when they share one
//! estimated standard deviation.
//!
//! ```text
//! P(M < m) = E_s [ (2 Phi(m s) - 1)^k ],     df s^2 chi-squared with df degrees of freedom
//! ```
//!
//! The integrand is smooth and falls off on both sides in ln s, where the plain trapezoidal rule converges exponentially.
//! Eight digits of a quantile at least, for up to some dozens of means.

use statrs::function::erf::erfc;
use statrs::function::gamma::ln_gamma;

use crate::fit::quantile::student_t_two_sided;
use crate::fit::root;
use crate::{Error, Result};

/// Above this many degrees of freedom the spread of s is below what eight digits show.
const KNOWN_DF: f64 = 1e9;

/// P(M > m) of the studentised maximum modulus of `k` independent comparisons with `df` degrees of freedom.
///
/// # Errors
/// [`Error::Setting`] unless k >= 1 and df > 0.
pub(super) fn maximum_modulus_upper_tail(m: f64, k: usize, df: f64) -> Result<f64> {
    check(k, df)?;
    if m <= 0.0 {
        return Ok(1.0);
    }
    // 1 - (1 - tail)^k without losing a small tail. Both tails to ten digits, which is enough here, and fast, which is needed.
    let over = |s: f64| -(k as f64 * (-erfc(m * s / std::f64::consts::SQRT_2)).ln_1p()).exp_m1();
    Ok(average(df, over).clamp(0.0, 1.0))
}

/// The m with P(M <= m) = `level` of the studentised maximum modulus.
///
/// # Errors
/// [`Error::Setting`] for a level outside (0, 1), k below 1 or df not above 0.
pub fn maximum_modulus_quantile(level: f64, k: usize, df: f64) -> Result<f64> {
    check(k, df)?;
    // Between the t quantile of one comparison and that of the union bound for all of them.
    let one = student_t_two_sided(level, df)?;
    let all = student_t_two_sided(1.0 - (1.0 - level) / k as f64, df)?;
    let target = (1.0 - level).ln();
    let excess = |m: f64| maximum_modulus_upper_tail(m, k, df).map_or(f64::NAN, |p| p.ln() - target);
    root::brent("a simultaneous quantile", excess, 0.999 * one, 1.001 * all, 1e-11 * all)
}

fn check(k: usize, df: f64) -> Result<()> {
    if k == 0 {
        return Err(Error::Setting { name: "k", value: k.to_string(), wanted: "one comparison at least" });
    }
    if df > 0.0 {
        Ok(())
    } else {
        Err(Error::Setting { name: "degrees of freedom", value: df.to_string(), wanted: "a number above 0" })
    }
}

/// The mean of `function(s)` over s^2 ~ chi-squared / df.
fn average(df: f64, function: impl Fn(f64) -> f64) -> f64 {
    if df > KNOWN_DF {
        return function(1.0);
    }
    let half = 0.5 * df;
    let ln_constant = 2.0_f64.ln() + half * half.ln() - ln_gamma(half);
    // In u = ln s the density has its top at u = 0 and, there, a width of 1 / sqrt(2 df).
    let step = f64::min(0.15, 0.4 / (2.0 * df).sqrt());
    let side = |direction: f64, first: i32| {
        let mut sum = 0.0;
        for i in first.. {
            let u = direction * f64::from(i) * step;
            let ln_density = df * u - half * (2.0 * u).exp() + half;
            if ln_density < -42.0 {
                break;
            }
            sum += ln_density.exp() * function(u.exp());
        }
        sum
    };
    (ln_constant - half).exp() * step * (side(1.0, 0) + side(-1.0, 1))
}
