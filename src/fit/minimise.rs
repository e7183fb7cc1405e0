//! The smallest value of a function of a few variables, without its derivatives.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

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
        let differ = !((worst.1 - best.1).abs() <= tolerance);
        let Some(second) = corners.last().filter(|_| differ).map(|corner| corner.1) else {
            corners.push(worst);
            break;
        };
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

/// Relative step of the differences, and the size below which it is absolute.
const STEP: f64 = 1e-4;
const SMALL: f64 = 0.3;
/// Most iterations.
const MOST: usize = 80;

type Function<'a> = &'a dyn Fn(&[f64]) -> f64;

/// Where the iteration ended.
#[derive(Debug, Clone)]
pub(crate) struct Minimum {
    pub at: Vec<f64>,
    pub value: f64,
    pub converged: bool,
}

/// A local minimum of `function` from `start`: Newton steps on the absolute values of the Hessian's eigenvalues, so that a saddle is left,
/// shortened until the function falls. Variables should be of order one.
///
/// It stops when the fall that the quadratic model promises is below rounding. Where the function is even in a variable
/// that tends to 0, that variable ends at 0 exactly.
pub(crate) fn newton(function: Function<'_>, start: &[f64]) -> Minimum {
    let size = start.len();
    let mut at = start.to_vec();
    let mut value = function(&at);
    let mut converged = size == 0;
    for _ in 0..MOST {
        if size == 0 || !value.is_finite() {
            break;
        }
        let (gradient, hessian) = derivatives(function, &at, value);
        let eigen = SymmetricEigen::new(hessian);
        let largest = eigen.eigenvalues.amax().max(1e-8);
        let mut step = DVector::zeros(size);
        let mut saddle: Option<DVector<f64>> = None;
        for (curvature, direction) in eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter()) {
            let along = direction.dot(&gradient);
            step -= direction * (along / curvature.abs().max(1e-7 * largest));
            if *curvature < -1e-5 * largest {
                saddle = Some(direction.into_owned());
            }
        }
        let promised = -gradient.dot(&step);
        let rounding = 1e-10 + 1e-13 * value.abs();
        if promised <= rounding {
            let (moved, new) = shorten(function, &at, value, &step, 0.0);
            if new <= value {
                (at, value) = (moved, new);
            }
            if let Some((moved, new)) = saddle.and_then(|direction| leave(function, &at, value, &direction)) {
                (at, value) = (moved, new);
                continue;
            }
            converged = true;
            break;
        }
        let longest = step.amax();
        let most = 2.0 + at.iter().fold(0.0_f64, |m, x| m.max(x.abs()));
        if longest > most {
            step *= most / longest;
        }
        let (moved, new) = shorten(function, &at, value, &step, 1e-4 * promised);
        if new < value {
            (at, value) = (moved, new);
            continue;
        }
        // Along a valley that is nearly flat differences may promise a fall that is not there; a search without them tells.
        let (moved, new) = nelder_mead(function, &at, &vec![1e-3; size], 1e-11, 100 * size);
        if !(new < value - 1e-8) {
            converged = true;
            break;
        }
        (at, value) = (moved, new);
    }
    if !converged && value.is_finite() {
        // Small steps to the last: settled all the same where no place nearby is better.
        let (moved, new) = nelder_mead(function, &at, &vec![1e-2; size], 1e-11, 200 * size);
        converged = !(new < value - 1e-6);
        if new < value {
            (at, value) = (moved, new);
        }
    }
    for i in 0..size {
        if at[i] != 0.0 && at[i].abs() < 0.01 {
            let mut zeroed = at.clone();
            zeroed[i] = 0.0;
            let new = function(&zeroed);
            if new <= value + 1e-9 {
                (at, value) = (zeroed, new);
            }
        }
    }
    Minimum { at, value, converged }
}

fn shifted(at: &[f64], moves: &[(usize, f64)]) -> Vec<f64> {
    let mut place = at.to_vec();
    for (i, by) in moves {
        place[*i] += by;
    }
    place
}

/// Gradient and Hessian by central differences.
fn derivatives(function: Function<'_>, at: &[f64], value: f64) -> (DVector<f64>, DMatrix<f64>) {
    let size = at.len();
    let steps: Vec<f64> = at.iter().map(|x| STEP * x.abs().max(SMALL)).collect();
    let up: Vec<f64> = (0..size).map(|i| function(&shifted(at, &[(i, steps[i])]))).collect();
    let down: Vec<f64> = (0..size).map(|i| function(&shifted(at, &[(i, -steps[i])]))).collect();
    let gradient = DVector::from_fn(size, |i, _| finite((up[i] - down[i]) / (2.0 * steps[i])));
    let mut hessian = DMatrix::zeros(size, size);
    for i in 0..size {
        hessian[(i, i)] = finite((up[i] - 2.0 * value + down[i]) / (steps[i] * steps[i]));
        for j in 0..i {
            let both = function(&shifted(at, &[(i, steps[i]), (j, steps[j])]));
            let mixed = finite((both - up[i] - up[j] + value) / (steps[i] * steps[j]));
            hessian[(i, j)] = mixed;
            hessian[(j, i)] = mixed;
        }
    }
    (gradient, hessian)
}

fn finite(x: f64) -> f64 {
    if x.is_finite() { x } else { 0.0 }
}

/// The step, halved until the function falls by `enough` of its length.
fn shorten(function: Function<'_>, at: &[f64], value: f64, step: &DVector<f64>, enough: f64) -> (Vec<f64>, f64) {
    let mut trials = std::iter::successors(Some(1.0), |length| Some(0.5 * length)).take(40);
    let fallen = trials.find_map(|length| {
        let (moved, new) = trial(function, at, step, length);
        (new <= value - length * enough).then_some((moved, new))
    });
    fallen.unwrap_or_else(|| (at.to_vec(), value))
}

/// A place along a direction, and the value there.
fn trial(function: Function<'_>, at: &[f64], direction: &DVector<f64>, length: f64) -> (Vec<f64>, f64) {
    let moved: Vec<f64> = at.iter().zip(direction.iter()).map(|(x, d)| x + length * d).collect();
    let new = function(&moved);
    (moved, new)
}

/// A better place along a direction of negative curvature.
fn leave(function: Function<'_>, at: &[f64], value: f64, direction: &DVector<f64>) -> Option<(Vec<f64>, f64)> {
    [1.0, -1.0, 0.3, -0.3, 0.1, -0.1, 0.01, -0.01]
        .into_iter()
        .map(|length| trial(function, at, direction, length))
        .filter(|(_, new)| *new < value - 1e-8)
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_valley_of_rosenbrock() {
        let valley = |p: &[f64]| (1.0 - p[0]).powi(2) + 100.0 * (p[1] - p[0] * p[0]).powi(2);
        let (at, value) = nelder_mead(valley, &[-1.2, 1.0], &[0.5, 0.5], 1e-18, 2000);
        assert!((at[0] - 1.0).abs() < 1e-6 && (at[1] - 1.0).abs() < 1e-6 && value < 1e-12, "{at:?} {value}");
        let found = newton(&valley, &[-1.2, 1.0]);
        assert!(found.converged && (found.at[0] - 1.0).abs() < 1e-6 && (found.at[1] - 1.0).abs() < 1e-6, "{found:?}");
    }

    #[test]
    fn an_even_function_ends_at_zero_and_a_saddle_is_left() {
        let bowl = |p: &[f64]| p[0] * p[0] + (p[1] - 2.0).powi(4) + (p[1] - 2.0).powi(2);
        assert_eq!(newton(&bowl, &[1.0, 0.5]).at[0], 0.0);
        let two_wells = |p: &[f64]| (p[0] * p[0] - 1.0).powi(2);
        let found = newton(&two_wells, &[0.0]);
        assert!((found.at[0].abs() - 1.0).abs() < 1e-6, "{found:?}");
    }
}
