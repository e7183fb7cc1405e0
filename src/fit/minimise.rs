//! The smallest value of a function of a few variables, without derivatives.

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
    fn the_valley_of_rosenbrock() {
        let valley = |p: &[f64]| (1.0 - p[0]).powi(2) + 100.0 * (p[1] - p[0] * p[0]).powi(2);
        let (at, value) = nelder_mead(valley, &[-1.2, 1.0], &[0.5, 0.5], 1e-18, 2000);
        assert!((at[0] - 1.0).abs() < 1e-6 && (at[1] - 1.0).abs() < 1e-6 && value < 1e-12, "{at:?} {value}");
    }
}
