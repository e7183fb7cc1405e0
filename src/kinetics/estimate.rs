//! The curve of one batch with its error model: start values, alternation of fit, weights and error model, choice.

use crate::error::{Error, Result};
use crate::fit::minimise::nelder_mead;
use crate::fit::nonlinear::NonlinearFit;

use super::curve::{FermentationCurve, GravityCurve};
use super::curve_problem::{CurveProblem, Priors};
use super::error_model::ErrorModel;
use super::point::{BatchPoint, smoothed};
use super::probe_bias::{FITTED, foam};
use super::robust_weights::weigh;
use super::weak_priors::{ATTENUATION, CORRECTION_SD, DEPARTURE_AT_REST, DEPARTURE_H, DEPARTURE_SG};

/// Rounds of robust weights, error model and fit.
const ROUNDS: usize = 2;

assumed! {
    /// Standard deviation of the logarithm of each number of the error model: the departure's size, its correlation time, its
    /// share at rest, the factor on the stated variance of readings, the size of the smooth correction.
    const ERRORS_LN_SD: f64 = 0.7, "-";
}

/// How far each number of the error model is sought from the median of its prior.
const REACH: [(f64, f64); 5] = [(-8.0, 5.0), (-4.0, 4.0), (-8.0, 8.0), (-4.0, 4.0), (-4.0, 3.0)];

/// A fitted curve with its error model.
#[derive(Debug, Clone)]
pub(crate) struct CurveFit {
    pub curve: GravityCurve,
    pub fit: NonlinearFit,
    pub errors: ErrorModel,
    /// What foam adds to each point.
    pub foam: Vec<f64>,
    /// Akaike's criterion corrected for the number of points.
    pub aicc: f64,
}

impl CurveFit {
    fn new(problem: &CurveProblem<'_>, fit: NonlinearFit, errors: ErrorModel) -> Result<Self> {
        let curve = problem.curve_of(&fit.values())?;
        let foam = problem.likelihood.foam.to_vec();
        Ok(Self { curve, fit, errors, foam, aicc: f64::NAN })
    }
}

/// Fits one kind of curve; the weights of `points` are set on the way.
pub(crate) fn estimate(given: &CurveProblem<'_>, points: &mut [BatchPoint]) -> Result<CurveFit> {
    let kind = given.kind;
    let mut curve = first_curve(given, points)?;
    if kind == FermentationCurve::Smooth {
        // Away from the edge, where the tail's pace would be felt by nothing.
        curve.tail_share = 0.08;
    }
    let errors = first_errors(kind, &curve);
    let problem = given.of(points, &[]);
    let fit = problem.fit(&curve, &problem.likelihood.relative_rate(&curve), &errors)?;
    let mut found = CurveFit::new(&problem, fit, errors)?;
    for _ in 0..ROUNDS {
        let parameters = found.fit.values();
        let relative_rate = given.of(points, &[]).likelihood.relative_rate(&found.curve);
        let column = foam(points, &relative_rate);
        let residual = given.of(points, &column).residuals(&parameters)?;
        weigh(points, &residual, &relative_rate);
        let errors = error_model(&given.of(points, &column), &parameters, &relative_rate, &found.errors)?;
        found = refine(&found.curve, errors, given, points)?;
    }
    let fit = &found.fit;
    let likelihood = given.of(points, &[]).likelihood;
    let whitener = likelihood.whitener(&likelihood.relative_rate(&found.curve), &found.errors)?;
    // Parameters as far as the data determine them: priors, those of the correction above all, leave less than one each.
    let (n, k) = (points.len() as f64, (fit.n as f64 - fit.df).max(0.0) + numbers(kind) as f64);
    let correction = if n > k + 1.5 { 2.0 * k * n / (n - k - 1.0) } else { f64::INFINITY };
    let effects = fit.values().into_iter().skip(FITTED).zip(likelihood.nuisances);
    let pulls: f64 = effects.map(|(z, of)| (z - of.mean).powi(2)).sum();
    let aicc = whitener.ln_determinant() + fit.sum_of_squares + pulls + correction;
    Ok(CurveFit { aicc, ..found })
}

/// How many numbers of the error model are fitted: of curves without the correction its size stays at its centre.
fn numbers(kind: FermentationCurve) -> usize {
    if kind == FermentationCurve::Smooth { 5 } else { 4 }
}

/// Fits a curve once more, from where it is, with other priors or to fewer points, its robust weights and the error model
/// held at `errors`.
pub(crate) fn refine(
    curve: &GravityCurve,
    errors: ErrorModel,
    given: &CurveProblem<'_>,
    points: &[BatchPoint],
) -> Result<CurveFit> {
    let relative_rate = given.of(points, &[]).likelihood.relative_rate(curve);
    let column = foam(points, &relative_rate);
    let problem = given.of(points, &column);
    CurveFit::new(&problem, problem.fit(curve, &relative_rate, &errors)?, errors)
}

/// The best plain curve of the kind's form from all start values; of the smooth curve its logistic.
fn first_curve(given: &CurveProblem<'_>, points: &[BatchPoint]) -> Result<GravityCurve> {
    let kind = if given.kind == FermentationCurve::Smooth { FermentationCurve::Logistic5 } else { given.kind };
    let problem = CurveProblem { kind, ..*given }.of(points, &[]);
    let fits = starts(kind, points, given.priors).into_iter().map(|start| {
        let errors = first_errors(kind, &start);
        let fit = problem.fit(&start, &problem.likelihood.relative_rate(&start), &errors)?;
        Ok((problem.objective(&fit, errors.correction_sd), problem.curve_of(&fit.values())?))
    });
    least(fits, |(objective, _)| *objective, "no start values").map(|(_, curve)| curve)
}

/// Of several fits the one with the least score; where none succeeds, why the last did not.
pub(super) fn least<T>(fits: impl Iterator<Item = Result<T>>, score: impl Fn(&T) -> f64, none: &str) -> Result<T> {
    let best = fits.reduce(|best, next| match (&best, &next) {
        (Err(_), _) => next,
        (Ok(best), Ok(own)) if score(own) < score(best) => next,
        _ => best,
    });
    best.unwrap_or_else(|| Err(Error::not_estimable("a fermentation curve", none)))
}

/// Medians of the error model's prior. A four-parameter logistic on a published kinetic model of beer (de Andres-Toro et
/// al. 1998, Math. Comput. Simul. 48, 65) leaves a root mean square of 0.5 to 1.6 % of the drop; what the smooth curve
/// leaves is assumed.
fn first_errors(kind: FermentationCurve, curve: &GravityCurve) -> ErrorModel {
    let (kappa_sg, tau_h, floor) = match kind {
        FermentationCurve::Smooth => (*DEPARTURE_SG, *DEPARTURE_H, *DEPARTURE_AT_REST),
        _ => (0.01 * curve.drop_sg().abs().max(0.002), 0.2 * curve.scale_h.clamp(5.0, 500.0), 0.15),
    };
    ErrorModel { kappa_sg, tau_h, floor, factor: 1.0, correction_sd: *CORRECTION_SD }
}

/// Start values from the data: the level at both ends by running medians, the crossing of the half, and two terminal
/// gravities and steepnesses to choose from, so that a batch seen only in part starts from where it may go.
fn starts(kind: FermentationCurve, points: &[BatchPoint], priors: &Priors) -> Vec<GravityCurve> {
    let smooth = smoothed(points, 5.min(points.len().max(1)));
    let prior = |i: usize, otherwise: f64| priors[i].map_or(otherwise, |(mean, _)| mean);
    let original = prior(0, smooth.first().map_or(1.05, |(_, sg)| *sg));
    let lowest = smooth.iter().map(|(_, sg)| *sg).fold(f64::INFINITY, f64::min);
    let last = smooth.last().map_or(1.0, |(hours, _)| *hours).max(1.0);
    let expected = prior(1, 1.0 + (1.0 - *ATTENUATION) * (original - 1.0));
    let mut terminals = vec![lowest.min(original - 0.002)];
    if expected < lowest - 0.002 {
        terminals.push(expected);
    }
    let mut all = Vec::new();
    for terminal_sg in terminals {
        let half = 0.5 * (original + terminal_sg);
        let mid_h = smooth.iter().find(|(_, sg)| *sg <= half).map_or(1.3 * last, |(hours, _)| *hours).max(1.5);
        for steepness in [0.3, 1.5] {
            all.push(GravityCurve::plain(kind, [original, terminal_sg], mid_h, [steepness, 1.0]));
        }
    }
    all
}

/// The error model with the greatest marginal likelihood times its prior.
fn error_model(
    problem: &CurveProblem<'_>,
    parameters: &[f64],
    relative_rate: &[f64],
    start: &ErrorModel,
) -> Result<ErrorModel> {
    let linear = problem.linearise(parameters)?;
    let centre = first_errors(problem.kind, &problem.curve_of(parameters)?).numbers();
    let model = |x: &[f64]| {
        let mut numbers = centre;
        for ((number, x), (low, high)) in numbers.iter_mut().zip(x).zip(REACH) {
            *number *= x.clamp(low, high).exp();
        }
        ErrorModel::of(numbers)
    };
    let target = |x: &[f64]| {
        let pull: f64 = x.iter().map(|x| (x / *ERRORS_LN_SD).powi(2)).sum();
        let errors = model(x);
        let Ok(whitener) = problem.likelihood.whitener(relative_rate, &errors) else { return f64::INFINITY };
        pull + problem.minus_two_ln_evidence(parameters, &linear, &whitener, errors.correction_sd)
    };
    let from: Vec<f64> =
        start.numbers().iter().zip(centre).take(numbers(problem.kind)).map(|(from, to)| (from / to).ln()).collect();
    let (x, _) = nelder_mead(target, &from, &[0.7, 0.4, 0.7, 0.4, 0.4][..from.len()], 0.1, 110);
    Ok(model(&x))
}
