//! The errors of a fit that may be correlated: their process, and Akaike's criterion on their likelihood.

use ndarray::{Array2, Axis};

use crate::Result;
use crate::fit::Likelihood;
use crate::fit::autocorrelation::{AutocorrelationFit, AutocorrelationSettings};
use crate::fit::nonlinear::{NonlinearFit, ParameterState, Residuals};

use super::points::Points;

/// The process of the errors at a fit, its free derivatives being the design.
pub(super) fn correlated(
    points: &Points,
    problem: &impl Residuals,
    fit: &NonlinearFit,
    criterion: Likelihood,
) -> Result<AutocorrelationFit> {
    let (n, values) = (problem.count(), fit.values());
    let (mut residuals, mut jacobian) = (vec![0.0; n], Array2::zeros((n, values.len())));
    problem.residuals(&values, &mut residuals)?;
    problem.jacobian(&values, jacobian.view_mut())?;
    let free: Vec<usize> = (0..values.len()).filter(|i| fit.parameters[*i].state == ParameterState::Free).collect();
    let design = jacobian.select(Axis(1), &free);
    AutocorrelationSettings { criterion, white_noise: true }.fit(&points.x, &residuals, Some(&design))
}

/// AICc on the likelihood that the errors were given.
pub(super) fn aicc(
    points: &Points,
    problem: &impl Residuals,
    fit: &NonlinearFit,
    is_correlated: bool,
    free: usize,
) -> Result<f64> {
    let n = problem.count() as f64;
    let (minus_two_ln, k) = if is_correlated {
        let found = correlated(points, problem, fit, Likelihood::Ml)?;
        (-2.0 * found.ln_likelihood, free as f64 + 3.0)
    } else {
        (n * ((2.0 * std::f64::consts::PI * fit.sum_of_squares / n).ln() + 1.0), free as f64 + 1.0)
    };
    let spread: f64 = (0..points.x.len()).map(|i| 2.0 * points.sd(i).ln()).sum();
    let correction = if n > k + 1.0 { 2.0 * k * n / (n - k - 1.0) } else { f64::INFINITY };
    Ok(minus_two_ln + spread + correction)
}

/// AICc of a straight line through the points, with the same kind of errors.
pub(super) fn straight(points: &Points, are_correlated: bool) -> Result<f64> {
    let n = points.x.len();
    let spread: f64 = (0..n).map(|i| 2.0 * points.sd(i).ln()).sum();
    let settings = AutocorrelationSettings { criterion: Likelihood::Ml, white_noise: true };
    let (minus_two_ln, k) = if are_correlated {
        let design = Array2::from_shape_fn((n, 2), |(i, j)| if j == 0 { 1.0 } else { points.x[i] } / points.sd(i));
        let values: Vec<f64> = (0..n).map(|i| points.y[i] / points.sd(i)).collect();
        (-2.0 * settings.fit(&points.x, &values, Some(&design))?.ln_likelihood, 5.0)
    } else {
        let sum = |of: &dyn Fn(usize) -> f64| (0..n).map(|i| of(i) / (points.sd(i) * points.sd(i))).sum::<f64>();
        let weight = sum(&|_| 1.0);
        let (x, y) = (sum(&|i| points.x[i]) / weight, sum(&|i| points.y[i]) / weight);
        let of_x = sum(&|i| (points.x[i] - x).powi(2));
        let slope = sum(&|i| (points.x[i] - x) * (points.y[i] - y)) / of_x;
        let square = sum(&|i| (points.y[i] - y - slope * (points.x[i] - x)).powi(2));
        (n as f64 * ((2.0 * std::f64::consts::PI * square / n as f64).ln() + 1.0), 3.0)
    };
    let n = n as f64;
    Ok(minus_two_ln + spread + if n > k + 1.0 { 2.0 * k * n / (n - k - 1.0) } else { f64::INFINITY })
}
