//! Roots of monotone functions, for the inverses.

use crate::error::{Error, Result};

const MAX_STEPS: usize = 200;

/// The root in `low..=high` of a function that changes sign there, by Newton steps that fall back on bisection.
///
/// `f` gives value and slope. The root is exact to a few units in the last place of the larger end.
///
/// # Errors
/// [`Error::Numeric`] when the ends do not have opposite signs, or `f` is not a number inside.
pub(crate) fn root(
    doing: &'static str,
    bracket: (f64, f64),
    start: f64,
    mut f: impl FnMut(f64) -> (f64, f64),
) -> Result<f64> {
    let (mut low, mut high) = bracket;
    let (at_low, at_high) = (f(low).0, f(high).0);
    if at_low == 0.0 {
        return Ok(low);
    }
    if at_high == 0.0 {
        return Ok(high);
    }
    if at_low * at_high > 0.0 || at_low.is_nan() || at_high.is_nan() {
        return Err(Error::numeric(doing, format!("no sign change between {low} and {high}")));
    }
    let rising = at_high > 0.0;
    let close = 2.0 * f64::EPSILON * low.abs().max(high.abs());
    let mut x = if start > low && start < high { start } else { 0.5 * (low + high) };
    for _ in 0..MAX_STEPS {
        let (value, slope) = f(x);
        if value == 0.0 {
            return Ok(x);
        }
        if !value.is_finite() {
            return Err(Error::numeric(doing, format!("the function is not finite at {x}")));
        }
        if (value > 0.0) == rising {
            high = x;
        } else {
            low = x;
        }
        let newton = x - value / slope;
        let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
        if (next - x).abs() <= close || next <= low || next >= high {
            return Ok(next);
        }
        x = next;
    }
    Ok(x)
}

/// `c[0] + c[1] x + c[2] x^2 + ...` and its slope, by Horner's rule.
pub(crate) fn polynomial(c: &[f64], x: f64) -> (f64, f64) {
    c.iter().rev().fold((0.0, 0.0), |(value, slope), c| (value * x + c, slope * x + value))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_root_is_found_to_the_last_places_even_where_newton_overshoots() {
        let x = root("test", (-10.0, 20.0), -9.0, |x: f64| (x.atan() - 0.5, 1.0 / (1.0 + x * x))).unwrap();
        assert!((x - 0.5f64.tan()).abs() < 1e-15);
    }

    #[test]
    fn a_bracket_without_a_sign_change_is_an_error() {
        assert!(root("test", (1.0, 2.0), 1.5, |x| (x * x, 2.0 * x)).is_err());
    }

    #[test]
    fn a_polynomial_gives_value_and_slope() {
        assert_eq!(polynomial(&[1.0, -2.0, 3.0], 2.0), (9.0, 10.0));
    }
}
