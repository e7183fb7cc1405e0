//! Where a continuous function of one variable is zero.

use crate::{Error, Result};

/// The root of `function` between `a` and `b`, where it must have opposite signs.
///
/// Brent's method (R. P. Brent, *Algorithms for Minimization without Derivatives*, 1973, chapter 4): inverse quadratic
/// interpolation guarded by bisection. The answer is within `tolerance` (absolute) or a few units in the last place.
///
/// # Errors
/// [`Error::Numeric`] when the signs at the ends agree, when the function is not a number inside, or after 200 steps.
pub fn brent(doing: &'static str, function: impl Fn(f64) -> f64, a: f64, b: f64, tolerance: f64) -> Result<f64> {
    let (mut a, mut b) = (a, b);
    let (mut fa, mut fb) = (function(a), function(b));
    if fa == 0.0 {
        return Ok(a);
    }
    if fb == 0.0 {
        return Ok(b);
    }
    if fa.is_nan() || fb.is_nan() || (fa > 0.0) == (fb > 0.0) {
        return Err(Error::numeric(
            doing,
            format!("no change of sign between {a} (value {fa:e}) and {b} (value {fb:e})"),
        ));
    }
    let (mut c, mut fc) = (a, fa);
    let mut step = b - a;
    let mut last = step;
    for _ in 0..200 {
        if fc.abs() < fb.abs() {
            (a, b, c) = (b, c, b);
            (fa, fb, fc) = (fb, fc, fb);
        }
        let limit = 2.0 * f64::EPSILON * b.abs() + 0.5 * tolerance;
        let half = 0.5 * (c - b);
        if half.abs() <= limit || fb == 0.0 {
            return Ok(b);
        }
        if last.abs() >= limit && fa.abs() > fb.abs() {
            let s = fb / fa;
            let (mut p, mut q) = if a.to_bits() == c.to_bits() {
                (2.0 * half * s, 1.0 - s)
            } else {
                let (t, r) = (fa / fc, fb / fc);
                (s * (2.0 * half * t * (t - r) - (b - a) * (r - 1.0)), (t - 1.0) * (r - 1.0) * (s - 1.0))
            };
            if p > 0.0 {
                q = -q;
            } else {
                p = -p;
            }
            if 2.0 * p < (3.0 * half * q - (limit * q).abs()).min((last * q).abs()) {
                last = step;
                step = p / q;
            } else {
                step = half;
                last = half;
            }
        } else {
            step = half;
            last = half;
        }
        (a, fa) = (b, fb);
        b += if step.abs() > limit { step } else { limit.copysign(half) };
        fb = function(b);
        if fb.is_nan() {
            return Err(Error::numeric(doing, format!("the function is not a number at {b}")));
        }
        if (fb > 0.0) == (fc > 0.0) {
            (c, fc) = (a, fa);
            step = b - a;
            last = step;
        }
    }
    Err(Error::numeric(doing, "no root found in 200 steps"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hard_roots_are_found() {
        let cube = brent("cube", |x| (x - 1e-3).powi(3), -4.0, 10.0, 0.0).unwrap();
        assert!((cube - 1e-3).abs() < 1e-5);
        let steep = brent("steep", |x: f64| (50.0 * (x - 0.3)).tanh() + 0.5, -100.0, 100.0, 1e-12).unwrap();
        assert!(((50.0 * (steep - 0.3)).tanh() + 0.5).abs() < 1e-9);
    }

    #[test]
    fn no_change_of_sign_is_an_error() {
        let error = brent("square", |x| x * x + 1.0, -1.0, 1.0, 0.0).unwrap_err();
        assert!(error.to_string().contains("no change of sign"), "{error}");
    }
}
