//! The studentised range and the studentised maximum modulus: what the largest of several differences looks like by
//! chance when they share one estimated standard deviation.
//!
//! ```text
//! range:    P(Q < q) = E_s [ k integral phi(z) (Phi(z) - Phi(z - q s))^(k-1) dz ]
//! modulus:  P(M < m) = E_s [ (2 Phi(m s) - 1)^k ],           df s^2 chi-squared with df degrees of freedom
//! ```
//!
//! Both integrands are smooth and fall off on both sides in z and in ln s, where the plain trapezoidal rule converges
//! exponentially. Eight digits of a quantile at least, for up to some dozens of means.

use statrs::function::erf::erfc;
use statrs::function::gamma::ln_gamma;

use crate::fit::quantile::student_t_two_sided;
use crate::fit::root;
use crate::{Error, Result};

/// P(Z > z) to ten digits, which is enough here, and fast, which is needed.
pub(super) fn quick_normal_upper_tail(z: f64) -> f64 {
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
    let root2 = std::f64::consts::SQRT_2;
    let tail = |t: f64| studentised_range_upper_tail(root2 * t, k, df);
    quantile(level, k * (k - 1) / 2, df, tail).map(|t| root2 * t)
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
    let over = |s: f64| -(k as f64 * (-2.0 * quick_normal_upper_tail(m * s)).ln_1p()).exp_m1();
    Ok(average(df, over).clamp(0.0, 1.0))
}

/// The m with P(M <= m) = `level` of the studentised maximum modulus.
///
/// # Errors
/// [`Error::Setting`] for a level outside (0, 1), k below 1 or df not above 0.
pub fn maximum_modulus_quantile(level: f64, k: usize, df: f64) -> Result<f64> {
    check(k, 1, df)?;
    quantile(level, k, df, |m| maximum_modulus_upper_tail(m, k, df))
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

/// Between the t quantile of one comparison and that of the union bound for all of them.
fn quantile(level: f64, comparisons: usize, df: f64, tail: impl Fn(f64) -> Result<f64>) -> Result<f64> {
    let one = student_t_two_sided(level, df)?;
    let all = student_t_two_sided(1.0 - (1.0 - level) / comparisons as f64, df)?;
    let target = (1.0 - level).ln();
    let excess = |x: f64| match tail(x) {
        Ok(p) => p.ln() - target,
        Err(_) => f64::NAN,
    };
    root::brent("a simultaneous quantile", excess, 0.999 * one, 1.001 * all, 1e-11 * all)
}

/// P(range of k standard normals > w).
fn range_upper_tail(w: f64, k: usize) -> f64 {
    let power = (k - 1) as f64;
    // The power makes the integrand as much narrower.
    let step = f64::min(0.4, 0.9 / (k as f64).sqrt());
    let steps = (9.0 / step).ceil() as i32;
    let mut sum = 0.0;
    for i in -steps..=steps {
        // z is the largest: the others lie below z, and not all within w of it.
        let z = f64::from(i) * step;
        let (below, outside) = (quick_normal_upper_tail(-z), quick_normal_upper_tail(w - z));
        let missed = if outside < 1e-3 * below {
            // below^p - (below - outside)^p without losing a small difference.
            -below.powf(power) * (power * (-outside / below).ln_1p()).exp_m1()
        } else {
            below.powf(power) - (below - outside).max(0.0).powf(power)
        };
        sum += (-0.5 * z * z).exp() * missed;
    }
    k as f64 * step * sum / (2.0 * std::f64::consts::PI).sqrt()
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
