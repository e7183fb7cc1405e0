//! The errors of a fit that may be correlated: their process, and Akaike's criterion on their likelihood.

use crate::Result;
use crate::fit::Likelihood;
use crate::fit::autocorrelation::{AutocorrelationFit, AutocorrelationSettings, Car1, Effort};
use crate::fit::nonlinear::{FittedParameter, NonlinearFit, ParameterState, Residuals};

use super::points::Points;

/// The rise of the logarithm of the likelihood of the errors that is still worth a step.
pub(super) const WORTH: f64 = 1e-10;
/// The same where only Akaike's criterion is wanted.
const WORTH_OF_CRITERION: f64 = 1e-6;

/// The process of the errors at a fit, its free derivatives being the design.
pub(super) fn correlated(
    points: &Points,
    problem: &impl Residuals,
    fit: &NonlinearFit,
    criterion: Likelihood,
    start: Option<&Car1>,
    worth: f64,
) -> Result<AutocorrelationFit> {
    let n = problem.count();
    let free = |parameter: &&FittedParameter| parameter.state == ParameterState::Free;
    let mut design = vec![Vec::with_capacity(n); fit.parameters.iter().filter(free).count()];
    let mut residuals = Vec::with_capacity(n);
    problem.sweep(&fit.values(), |residual, slopes| {
        residuals.push(residual);
        let seen = fit.parameters.iter().zip(slopes).filter(|(parameter, _)| free(parameter));
        for (column, (_, slope)) in design.iter_mut().zip(seen) {
            column.push(*slope);
        }
    });
    let effort = Effort { worth, enough: f64::INFINITY };
    AutocorrelationSettings { criterion, white_noise: true }.fit_from(
        (&points.x).into(),
        &residuals,
        design,
        start,
        &effort,
    )
}

/// AICc on the likelihood that the errors were given.
pub(super) fn aicc(
    points: &Points,
    problem: &impl Residuals,
    fit: &NonlinearFit,
    process: Option<&Car1>,
    free: usize,
) -> Result<f64> {
    let n = problem.count() as f64;
    let (minus_two_ln, k) = if process.is_some() {
        let found = correlated(points, problem, fit, Likelihood::Ml, process, WORTH_OF_CRITERION)?;
        (-2.0 * found.ln_likelihood, free as f64 + 3.0)
    } else {
        (n * ((2.0 * std::f64::consts::PI * fit.sum_of_squares / n).ln() + 1.0), free as f64 + 1.0)
    };
    let spread: f64 = (0..points.x.len()).map(|i| 2.0 * points.sd(i).ln()).sum();
    let correction = if n > k + 1.0 { 2.0 * k * n / (n - k - 1.0) } else { f64::INFINITY };
    Ok(minus_two_ln + spread + correction)
}

/// AICc of a straight line through the points, with the same kind of errors; only more than `least` where it is surely more.
pub(super) fn straight(points: &Points, are_correlated: bool, least: f64) -> Result<f64> {
    let n = points.x.len();
    let over_sd = |value: &dyn Fn(usize) -> f64| (0..n).map(|i| value(i) / points.sd(i)).collect::<Vec<f64>>();
    let design = vec![over_sd(&|_| 1.0), over_sd(&|i| points.x[i])];
    let values = over_sd(&|i| points.y[i]);
    let spread: f64 = (0..n).map(|i| 2.0 * points.sd(i).ln()).sum();
    let settings = AutocorrelationSettings { criterion: Likelihood::Ml, white_noise: true };
    let (minus_two_ln, k) = if are_correlated {
        let effort = Effort { worth: WORTH_OF_CRITERION, enough: 0.5 * (least - spread) };
        (-2.0 * settings.fit_from((&points.x).into(), &values, design, None, &effort)?.ln_likelihood, 5.0)
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
