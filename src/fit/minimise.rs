//! The smallest value of a function of one or a few variables, without derivatives.

/// The least value of a function of one variable in an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Minimum {
    /// Where it is.
    pub at: f64,
    /// The value there.
    pub value: f64,
}

/// A minimum of `function` in `low..=high` by Brent's golden section with parabolic steps (Brent 1973, chapter 5).
///
/// For a function with one minimum in the interval it is that one, else some local one. `tolerance` is relative to the
/// place; below the square root of the machine precision it gains nothing.
#[expect(clippy::float_cmp, reason = "which of the three best places are still one and the same")]
pub fn brent(function: impl Fn(f64) -> f64, low: f64, high: f64, tolerance: f64) -> Minimum {
    const GOLDEN: f64 = 0.381_966_011_250_105_1;
    let (mut a, mut b) = (low.min(high), low.max(high));
    let mut x = a + GOLDEN * (b - a);
    let (mut w, mut v) = (x, x);
    let mut fx = function(x);
    let (mut fw, mut fv) = (fx, fx);
    let (mut step, mut last) = (0.0_f64, 0.0_f64);
    for _ in 0..200 {
        let middle = 0.5 * (a + b);
        let limit = tolerance * x.abs() + 1e-12;
        if (x - middle).abs() <= 2.0 * limit - 0.5 * (b - a) {
            break;
        }
        let mut golden = true;
        if last.abs() > limit {
            let r = (x - w) * (fx - fv);
            let mut q = (x - v) * (fx - fw);
            let mut p = (x - v) * q - (x - w) * r;
            q = 2.0 * (q - r);
            if q > 0.0 {
                p = -p;
            } else {
                q = -q;
            }
            let before = last;
            last = step;
            if p.abs() < (0.5 * q * before).abs() && p > q * (a - x) && p < q * (b - x) {
                step = p / q;
                let u = x + step;
                if u - a < 2.0 * limit || b - u < 2.0 * limit {
                    step = limit.copysign(middle - x);
                }
                golden = false;
            }
        }
        if golden {
            last = if x < middle { b - x } else { a - x };
            step = GOLDEN * last;
        }
        let u = if step.abs() >= limit { x + step } else { x + limit.copysign(step) };
        let fu = function(u);
        if fu <= fx {
            if u < x {
                b = x;
            } else {
                a = x;
            }
            (v, fv) = (w, fw);
            (w, fw) = (x, fx);
            (x, fx) = (u, fu);
        } else {
            if u < x {
                a = u;
            } else {
                b = u;
            }
            if fu <= fw || w == x {
                (v, fv) = (w, fw);
                (w, fw) = (u, fu);
            } else if fu <= fv || v == x || v == w {
                (v, fv) = (u, fu);
            }
        }
    }
    Minimum { at: x, value: fx }
}

/// A local minimum of a function of a few variables by the simplex of Nelder and Mead (Comput. J. 7 (1965) 308).
///
/// `start` is one corner, `steps` the edges along each axis. It stops when the values at all corners agree to
/// `tolerance` (absolute) or after `most` evaluations, and gives the best corner with its value. Where the function is
/// not a number it counts as infinitely large.
pub fn nelder_mead(
    function: impl Fn(&[f64]) -> f64,
    start: &[f64],
    steps: &[f64],
    tolerance: f64,
    most: usize,
) -> (Vec<f64>, f64) {
    let evaluate = |x: &[f64]| {
        let value = function(x);
        if value.is_nan() { f64::INFINITY } else { value }
    };
    let mut corners: Vec<(Vec<f64>, f64)> = vec![(start.to_vec(), evaluate(start))];
    for (axis, edge) in steps.iter().enumerate().take(start.len()) {
        let mut corner = start.to_vec();
        if let Some(x) = corner.get_mut(axis) {
            *x += edge;
        }
        let value = evaluate(&corner);
        corners.push((corner, value));
    }
    let mut evaluations = corners.len();
    let along =
        |from: &[f64], to: &[f64], t: f64| -> Vec<f64> { from.iter().zip(to).map(|(a, b)| a + t * (b - a)).collect() };
    while evaluations < most {
        corners.sort_by(|a, b| a.1.total_cmp(&b.1));
        let (Some(best), Some(worst)) = (corners.first().cloned(), corners.pop()) else { break };
        let Some(second) = corners.last().map(|corner| corner.1) else {
            corners.push(worst);
            break;
        };
        if (worst.1 - best.1).abs() <= tolerance {
            corners.push(worst);
            break;
        }
        let count = corners.len() as f64;
        let mut centre = vec![0.0; start.len()];
        for (corner, _) in &corners {
            for (sum, x) in centre.iter_mut().zip(corner) {
                *sum += x / count;
            }
        }
        let mut trial = |t: f64| {
            let place = along(&centre, &worst.0, t);
            let value = evaluate(&place);
            evaluations += 1;
            (place, value)
        };
        let reflected = trial(-1.0);
        let accepted = if reflected.1 < best.1 {
            let expanded = trial(-2.0);
            Some(if expanded.1 < reflected.1 { expanded } else { reflected })
        } else if reflected.1 < second {
            Some(reflected)
        } else {
            let contracted = trial(if reflected.1 < worst.1 { -0.5 } else { 0.5 });
            (contracted.1 < worst.1.min(reflected.1)).then_some(contracted)
        };
        match accepted {
            Some(corner) => corners.push(corner),
            None => {
                corners.push(worst);
                for corner in corners.iter_mut().skip(1) {
                    corner.0 = along(&best.0, &corner.0, 0.5);
                    corner.1 = evaluate(&corner.0);
                    evaluations += 1;
                }
            }
        }
    }
    corners.into_iter().min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or_else(|| (start.to_vec(), f64::INFINITY))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quartic_in_one_variable() {
        let found = brent(|x| (x - 2.0).powi(2) * (1.0 + 0.1 * x * x), -3.0, 9.0, 1e-9);
        assert!((found.at - 2.0).abs() < 1e-7 && found.value < 1e-14, "{found:?}");
    }

    #[test]
    fn the_minimum_may_lie_at_an_end() {
        let found = brent(|x| x, 1.0, 3.0, 1e-9);
        assert!((found.at - 1.0).abs() < 1e-7, "{found:?}");
    }

    #[test]
    fn the_valley_of_rosenbrock() {
        let valley = |p: &[f64]| (1.0 - p[0]).powi(2) + 100.0 * (p[1] - p[0] * p[0]).powi(2);
        let (at, value) = nelder_mead(valley, &[-1.2, 1.0], &[0.5, 0.5], 1e-18, 2000);
        assert!((at[0] - 1.0).abs() < 1e-6 && (at[1] - 1.0).abs() < 1e-6 && value < 1e-12, "{at:?} {value}");
    }
}
