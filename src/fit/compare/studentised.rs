//! The studentised range and the studentised maximum modulus: what the largest of several differences looks like by
//! chance when they share one estimated standard deviation.
//!
//! ```text
//! range:    P(Q < q) = E_s [ k integral phi(z) (Phi(z) - Phi(z - q s))^(k-1) dz ]
//! modulus:  P(M < m) = E_s [ (2 Phi(m s) - 1)^k ],           df s^2 chi-squared with df degrees of freedom
//! ```
//!
//! Gauss-Legendre quadrature in z and in ln s; about ten digits.

use statrs::function::erf::erfc;
use statrs::function::gamma::ln_gamma;

use crate::fit::quadrature::integrate;
use crate::fit::quantile::student_t_two_sided;
use crate::fit::root;
use crate::{Error, Result};

/// P(Z > z) to ten digits, which is enough here, and fast, which is needed.
fn normal_upper_tail(z: f64) -> f64 {
    0.5 * erfc(z / std::f64::consts::SQRT_2)
}

/// Above this many degrees of freedom the spread of s is below what eight digits show.
const KNOWN_DF: f64 = 1e9;

/// P(Q > q) of the studentised range of `k` means with `df` degrees of freedom (may be infinite).
///
/// # Errors
/// [`Error::Setting`] unless k >= 2 and df > 0.
pub fn studentised_range_upper_tail(q: f64, k: usize, df: f64) -> Result<f64> {
    check(k, 2, df)?;
    if q <= 0.0 {
        return Ok(1.0);
    }
    Ok(average(df, |s| range_upper_tail(q * s, k)).clamp(0.0, 1.0))
}

/// The q with P(Q <= q) = `level` of the studentised range.
///
/// # Errors
/// [`Error::Setting`] for a level outside (0, 1), k below 2 or df not above 0.
pub fn studentised_range_quantile(level: f64, k: usize, df: f64) -> Result<f64> {
    check(k, 2, df)?;
    let start = std::f64::consts::SQRT_2 * bonferroni(level, k * (k - 1) / 2, df)?;
    quantile(level, start, |q| studentised_range_upper_tail(q, k, df))
}

/// P(M > m) of the studentised maximum modulus of `k` independent comparisons with `df` degrees of freedom.
///
/// # Errors
/// [`Error::Setting`] unless k >= 1 and df > 0.
pub fn maximum_modulus_upper_tail(m: f64, k: usize, df: f64) -> Result<f64> {
    check(k, 1, df)?;
    if m <= 0.0 {
        return Ok(1.0);
    }
    // 1 - (1 - tail)^k without losing a small tail.
    let over = |s: f64| -(k as f64 * (-2.0 * normal_upper_tail(m * s)).ln_1p()).exp_m1();
    Ok(average(df, over).clamp(0.0, 1.0))
}

/// The m with P(M <= m) = `level` of the studentised maximum modulus.
///
/// # Errors
/// [`Error::Setting`] for a level outside (0, 1), k below 1 or df not above 0.
pub fn maximum_modulus_quantile(level: f64, k: usize, df: f64) -> Result<f64> {
    check(k, 1, df)?;
    quantile(level, bonferroni(level, k, df)?, |m| maximum_modulus_upper_tail(m, k, df))
}

fn check(k: usize, least: usize, df: f64) -> Result<()> {
    if k < least {
        return Err(Error::Setting {
            name: "k",
            value: k.to_string(),
            wanted: "two means, or one comparison, at least",
        });
    }
    if df > 0.0 {
        Ok(())
    } else {
        Err(Error::Setting { name: "degrees of freedom", value: df.to_string(), wanted: "a number above 0" })
    }
}

/// Never below the quantile: the union bound.
fn bonferroni(level: f64, comparisons: usize, df: f64) -> Result<f64> {
    student_t_two_sided(1.0 - (1.0 - level) / comparisons as f64, df)
}

fn quantile(level: f64, above: f64, tail: impl Fn(f64) -> Result<f64>) -> Result<f64> {
    let target = (1.0 - level).ln();
    let excess = |x: f64| match tail(x) {
        Ok(p) => p.ln() - target,
        Err(_) => f64::NAN,
    };
    root::brent("a simultaneous quantile", excess, 1e-6 * above, above * (1.0 + 1e-9), 1e-12 * above)
}

/// P(range of k standard normals > w).
fn range_upper_tail(w: f64, k: usize) -> f64 {
    // Integrate the complement: small tails keep their digits.
    let power = (k - 1) as f64;
    let density = |z: f64| {
        let phi = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
        // z is the largest: the others lie below z, and not all within w of it.
        let (below, outside) = (1.0 - normal_upper_tail(z), normal_upper_tail(w - z));
        let within = (below - outside).max(0.0);
        phi * if outside < 1e-3 * below {
            // below^p - within^p
            -below.powf(power) * (power * (-outside / below).ln_1p()).exp_m1()
        } else {
            below.powf(power) - within.powf(power)
        }
    };
    k as f64 * integrate(density, -9.0, 9.0, 6)
}

/// The mean of `function(s)` over s^2 ~ chi-squared / df.
fn average(df: f64, function: impl Fn(f64) -> f64) -> f64 {
    if df > KNOWN_DF {
        return function(1.0);
    }
    let half = 0.5 * df;
    let ln_constant = 2.0_f64.ln() + half * half.ln() - ln_gamma(half);
    // In u = ln s the density has its top at u = 0 and, there, a width of about 1 / sqrt(2 df).
    let ln_density = |u: f64| ln_constant + df * u - half * (2.0 * u).exp();
    let top = ln_density(0.0);
    let reach = |direction: f64| {
        let mut u = direction / (2.0 * df).sqrt();
        while ln_density(u) > top - 40.0 {
            u *= 1.3;
        }
        u
    };
    let (low, high) = (reach(-1.0), reach(1.0));
    let weighed = |u: f64| ln_density(u).exp() * function(u.exp());
    // The side of small s is long when df is small; the parts are unequal for that reason.
    integrate(weighed, low, 0.0, 4) + integrate(weighed, 0.0, high, 2)
}
