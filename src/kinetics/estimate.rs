//! The curve of one batch with its error model: start values, alternation of fit, weights and error model, choice.

use crate::error::{Error, Result};
use crate::fit::minimise::nelder_mead;
use crate::fit::nonlinear::NonlinearFit;
use crate::fit::robust::huber_weight;

use super::batch_fit::{FittedCurve, Point, Source};
use super::curve::{Curve, CurveKind, PARAMETERS};
use super::departure::ErrorModel;
use super::gls::{Priors, Problem};
use super::misread::{FITTED, Misreads, foam};
use super::nuisance::Nuisance;
use super::prepare::median;

/// Rounds of robust weights, error model and fit.
const ROUNDS: usize = 2;
/// A point further off than this many standard deviations pulls no harder than one that is just so far off.
const BOUND_SDS: f64 = 4.0;
/// Standard deviations of the logarithms of the error model's numbers under their prior: the departure's size and its
/// correlation time, the factor on the stated variance of readings, the departure at rest, the size of the smooth correction.
const SPREAD: [f64; 5] = [0.8, 0.6, 1.0, 0.5, 0.5];

/// Prior of the tail's share of the drop, and of the logarithm of its pace against the main part: from memory, no source.
/// Part of the maltotriose is taken up late and slowly, by some yeasts not at all. A share that no data show has to stay
/// small: a slow tail, a growing deposit and a drifting probe have one shape, and 0.06 instead of 0.02 here would widen
/// forecasts of coming to rest from days to weeks.
pub(crate) const TAIL_SHARE: (f64, f64) = (0.02, 0.02);
pub(crate) const TAIL_PACE: (f64, f64) = (-1.4, 0.35);

/// A fitted curve with its error model.
#[derive(Debug, Clone)]
pub(crate) struct Estimated {
    pub kind: CurveKind,
    pub curve: Curve,
    pub fit: NonlinearFit,
    pub errors: ErrorModel,
    /// Rate of fall over the greatest at each point.
    pub vigour: Vec<f64>,
    /// What foam adds to each point.
    pub foam: Vec<f64>,
    /// Akaike's criterion corrected for the number of points.
    pub aicc: f64,
    /// Parameters that it counts: those that the data determine, and the numbers of the error model.
    pub parameters: f64,
}

/// Weak priors about a fermentation whose gravity at pitching is about `original_sg`: from memory, textbook level, and
/// so wide that a batch seen to its end does not feel them. Attenuation 0.75 +- 0.25, middle of the drop at 45 h within a
/// factor of e, steepness and asymmetry as far as curves of beers spread.
pub(crate) fn weak_priors(original_sg: f64) -> Priors {
    let extract = (original_sg - 1.0).max(0.01);
    let mut priors = [Some((0.0, 1.0)); PARAMETERS];
    priors[0] = Some((original_sg, 0.02));
    priors[1] = Some((1.0 + 0.25 * extract, 0.25 * extract));
    priors[2] = Some((45.0_f64.ln(), 1.0));
    priors[3] = Some((0.2, 1.0));
    priors[4] = Some((0.0, 0.5));
    priors[5] = Some(TAIL_SHARE);
    priors[6] = Some(TAIL_PACE);
    priors
}

/// What a fit is given besides the points.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Given<'a> {
    pub kind: CurveKind,
    pub nuisances: &'a [Nuisance],
    /// Share of a sample's variance that is in its instrument's bias.
    pub share: f64,
    pub priors: &'a Priors,
    pub misreads: Misreads,
}

impl<'a> Given<'a> {
    /// The least-squares problem of these points.
    pub fn problem(&self, points: &'a [Point], foam: &'a [f64]) -> Problem<'a> {
        let Self { kind, nuisances, share, priors, misreads } = *self;
        Problem { points, nuisances, form: kind.form(), share, priors: *priors, misreads, foam }
    }

    /// The same for another kind of curve.
    pub fn of(self, kind: CurveKind) -> Self {
        Self { kind, ..self }
    }
}

/// Fits one kind of curve; the weights of `points` are set on the way.
pub(crate) fn estimate(given: &Given<'_>, points: &mut [Point]) -> Result<Estimated> {
    let kind = given.kind;
    let mut curve = first_curve(given, points)?;
    if kind == CurveKind::Smooth {
        // Away from the edge, where the tail's pace would be felt by nothing.
        curve.tail_share = 0.08;
    }
    let mut errors = first_errors(kind, &curve);
    let mut fit = {
        let problem = given.problem(points, &[]);
        problem.fit(kind, &curve, &problem.whitener(&problem.vigour(&curve), &errors)?, errors.bend_sd)?
    };
    let mut column = Vec::new();
    curve = given.problem(points, &[]).curve_of(&values(&fit))?;
    for _ in 0..ROUNDS {
        let parameters = values(&fit);
        let vigour = given.problem(points, &[]).vigour(&curve);
        column = foam(points, &vigour);
        let mut residual = vec![0.0; points.len()];
        given.problem(points, &column).departures(&parameters, &mut residual)?;
        weigh(points, &residual, &vigour);
        let problem = given.problem(points, &column);
        errors = error_model(&problem, kind, &parameters, &vigour, &errors)?;
        fit = problem.fit(kind, &curve, &problem.whitener(&vigour, &errors)?, errors.bend_sd)?;
        curve = problem.curve_of(&values(&fit))?;
    }
    let problem = given.problem(points, &column);
    let vigour = problem.vigour(&curve);
    let whitener = problem.whitener(&vigour, &errors)?;
    // Parameters as far as the data determine them: priors, those of the correction above all, leave less than one each.
    let numbers = if kind == CurveKind::Smooth { 5.0 } else { 4.0 };
    let (n, k) = (points.len() as f64, (fit.n as f64 - fit.df).max(0.0) + numbers);
    let correction = if n > k + 1.5 { 2.0 * k * n / (n - k - 1.0) } else { f64::INFINITY };
    let pulls: f64 = values(&fit).iter().skip(FITTED).zip(given.nuisances).map(|(z, n)| (z - n.mean).powi(2)).sum();
    let aicc = whitener.ln_determinant() + fit.sum_of_squares + pulls + correction;
    Ok(Estimated { kind, curve, fit, errors, vigour, foam: column, aicc, parameters: k })
}

/// Fits a curve once more with other priors, its error model and robust weights kept.
pub(crate) fn refine(fitted: &FittedCurve, given: &Given<'_>, points: &[Point]) -> Result<Estimated> {
    let column = foam(points, &given.problem(points, &[]).vigour(&fitted.curve));
    let problem = given.problem(points, &column);
    // The correction's prior is as the caller has it.
    let (kind, errors) = (fitted.kind, ErrorModel { bend_sd: 1.0, ..fitted.errors });
    let vigour = problem.vigour(&fitted.curve);
    let fit = problem.fit(kind, &fitted.curve, &problem.whitener(&vigour, &errors)?, errors.bend_sd)?;
    let curve = problem.curve_of(&values(&fit))?;
    Ok(Estimated { kind, curve, fit, errors, vigour, foam: column, aicc: f64::NAN, parameters: f64::NAN })
}

/// The best plain curve of the kind's form from all start values; of the smooth curve its logistic.
fn first_curve(given: &Given<'_>, points: &[Point]) -> Result<Curve> {
    let kind = if given.kind == CurveKind::Smooth { CurveKind::Logistic5 } else { given.kind };
    let given = given.of(kind);
    let problem = given.problem(points, &[]);
    let mut best: Option<(f64, Curve)> = None;
    let mut failure = None;
    for start in starts(points, given.priors) {
        let start = Curve { form: kind.form(), ..start };
        let errors = first_errors(kind, &start);
        let whitener = problem.whitener(&problem.vigour(&start), &errors)?;
        match problem.fit(kind, &start, &whitener, errors.bend_sd) {
            Ok(fit) => {
                let target = objective(&problem, &fit, errors.bend_sd);
                if best.as_ref().is_none_or(|(least, _)| target < *least) {
                    best = Some((target, problem.curve_of(&values(&fit))?));
                }
            }
            Err(error) => failure = Some(error),
        }
    }
    best.map(|(_, curve)| curve)
        .ok_or_else(|| failure.unwrap_or_else(|| Error::not_estimable("a fermentation curve", "no start values")))
}

/// The parameters of a fit as plain numbers.
pub(crate) fn values(fit: &NonlinearFit) -> Vec<f64> {
    fit.parameters.iter().map(|parameter| parameter.value).collect()
}

fn objective(problem: &Problem<'_>, fit: &NonlinearFit, bend_sd: f64) -> f64 {
    let pull = |(i, value): (usize, &f64)| match problem.prior(i, bend_sd) {
        Some((mean, sd)) => ((value - mean) / sd).powi(2),
        None => 0.0,
    };
    fit.sum_of_squares + values(fit).iter().enumerate().map(pull).sum::<f64>()
}

/// Medians of the error model's prior. A four-parameter logistic on a published kinetic model of beer (de Andres-Toro et
/// al. 1998, Math. Comput. Simul. 48, 65) leaves a root mean square of 0.5 to 1.6 % of the drop; what the smooth curve
/// leaves is gas, foam and the probe's own slow noise, some 0.0004 where it works and half of that at rest.
fn first_errors(kind: CurveKind, curve: &Curve) -> ErrorModel {
    let (kappa_sg, tau_h, floor) = match kind {
        CurveKind::Smooth => (4e-4, 6.0, 0.5),
        _ => (0.01 * curve.drop_sg().abs().max(0.002), 0.2 * curve.scale_h.clamp(5.0, 500.0), 0.15),
    };
    ErrorModel { kappa_sg, tau_h, floor, factor: 1.0, bend_sd: 0.3 }
}

/// Start values from the data: the level at both ends by running medians, the crossing of the half, and two terminal
/// gravities and steepnesses to choose from, so that a batch seen only in part starts from where it may go.
fn starts(points: &[Point], priors: &Priors) -> Vec<Curve> {
    let smooth: Vec<(f64, f64)> = points
        .windows(5.min(points.len().max(1)))
        .map(|window| {
            let mut sg: Vec<f64> = window.iter().map(|p| p.sg).collect();
            (window[window.len() / 2].hours, median(&mut sg))
        })
        .collect();
    let prior = |i: usize, otherwise: f64| priors[i].map_or(otherwise, |(mean, _)| mean);
    let original = prior(0, smooth.first().map_or(1.05, |(_, sg)| *sg));
    let lowest = smooth.iter().map(|(_, sg)| *sg).fold(f64::INFINITY, f64::min);
    let last = smooth.last().map_or(1.0, |(hours, _)| *hours).max(1.0);
    let expected = prior(1, 1.0 + 0.25 * (original - 1.0));
    let mut terminals = vec![lowest.min(original - 0.002)];
    if expected < lowest - 0.002 {
        terminals.push(expected);
    }
    let mut all = Vec::new();
    for terminal_sg in terminals {
        let half = 0.5 * (original + terminal_sg);
        let mid_h = smooth.iter().find(|(_, sg)| *sg <= half).map_or(1.3 * last, |(hours, _)| *hours).max(1.5);
        for steepness in [0.3, 1.5] {
            all.push(Curve::logistic(original, terminal_sg, mid_h, steepness, 1.0));
        }
    }
    all
}

/// Bounded influence: each probe point's residual over a scale that grows with the rate of fall, both from medians.
pub(crate) fn weigh(points: &mut [Point], residual: &[f64], vigour: &[f64]) {
    let scale_where = |keep: &dyn Fn(f64) -> bool| {
        let mut sizes: Vec<f64> = residual
            .iter()
            .zip(vigour)
            .zip(points.iter())
            .filter(|((_, h), p)| keep(**h) && matches!(p.source, Source::Probe(_)))
            .map(|((r, _), _)| r.abs())
            .collect();
        if sizes.len() < 8 { None } else { Some(1.4826 * median(&mut sizes)) }
    };
    let all = scale_where(&|_| true);
    let flat = scale_where(&|v| v < 0.3).or(all);
    let steep = scale_where(&|v| v >= 0.3).or(all);
    let (Some(flat), Some(steep)) = (flat, steep) else { return };
    for ((point, r), h) in points.iter_mut().zip(residual).zip(vigour) {
        if matches!(point.source, Source::Probe(_)) {
            let scale = (flat + (steep - flat).max(0.0) * h).max(point.own_sd).max(1e-5);
            point.weight = huber_weight(r / scale, BOUND_SDS);
        }
    }
}

/// The error model with the greatest marginal likelihood times its prior.
fn error_model(
    problem: &Problem<'_>,
    kind: CurveKind,
    parameters: &[f64],
    vigour: &[f64],
    start: &ErrorModel,
) -> Result<ErrorModel> {
    let linear = problem.linearise(kind, parameters)?;
    let centre = first_errors(kind, &problem.curve_of(parameters)?);
    let model = |x: &[f64]| ErrorModel {
        kappa_sg: centre.kappa_sg * x.first().copied().unwrap_or(0.0).clamp(-8.0, 5.0).exp(),
        tau_h: centre.tau_h * x.get(1).copied().unwrap_or(0.0).clamp(-4.0, 4.0).exp(),
        factor: centre.factor * x.get(2).copied().unwrap_or(0.0).clamp(-8.0, 8.0).exp(),
        floor: (centre.floor * x.get(3).copied().unwrap_or(0.0).clamp(-4.0, 4.0).exp()).min(1.0),
        bend_sd: centre.bend_sd * x.get(4).copied().unwrap_or(0.0).clamp(-4.0, 3.0).exp(),
    };
    let target = |x: &[f64]| {
        let pull: f64 = x.iter().zip(&SPREAD).map(|(x, sd)| (x / sd).powi(2)).sum();
        let errors = model(x);
        let Ok(whitener) = problem.whitener(vigour, &errors) else { return f64::INFINITY };
        pull + problem.minus_two_ln_evidence(kind, parameters, &linear, &whitener, errors.bend_sd)
    };
    let from = [
        (start.kappa_sg / centre.kappa_sg).ln(),
        (start.tau_h / centre.tau_h).ln(),
        (start.factor / centre.factor).ln(),
        (start.floor / centre.floor).ln(),
        (start.bend_sd / centre.bend_sd).ln(),
    ];
    let numbers = if kind == CurveKind::Smooth { 5 } else { 4 };
    let (x, _) = nelder_mead(target, &from[..numbers], &[0.7, 0.4, 0.7, 0.4, 0.4][..numbers], 0.1, 110);
    Ok(model(&x))
}
