//! The iteration: Levenberg-Marquardt on the free parameters, bounds by projection, priors as further residuals.

use levenberg_marquardt::LevenbergMarquardt;

use super::assemble::assemble;
use super::bounded::BoundedProblem;
use super::fitted::NonlinearFit;
use super::outcome::{FIRST_STEPS, POLISHED, SolverOutcome};
use super::{NonlinearSettings, Parameter, Residuals, StopReason, normal};
use crate::fit::Scale;
use crate::{Error, Result};

/// Rounds of letting parameters off their bounds before the end is taken as it is.
const ROUNDS: usize = 20;

/// The first steps tried where [`FIRST_STEPS`] leads astray.
const SHORT_FIRST_STEPS: [f64; 2] = [1.0, 0.1];

impl NonlinearSettings {
    /// Fits the parameters, from their start values.
    ///
    /// A fit that stops without converging is a result, whose [`NonlinearFit::stop`] says so and whose findings are not
    /// estimable; it is not an error.
    ///
    /// # Errors
    /// - [`Error::Setting`]: a setting out of range, a start outside its bounds, a prior's standard deviation not above 0.
    /// - [`Error::Usage`]: no parameters, or two of one name.
    /// - [`Error::NotEstimable`]: fewer residuals and priors than free parameters (or as many, when the scale is to be
    ///   estimated), or residuals that cannot be computed at the start.
    pub fn fit(&self, problem: &impl Residuals, parameters: &[Parameter]) -> Result<NonlinearFit> {
        self.check()?;
        super::parameter::check(parameters)?;
        let free = parameters.iter().filter(|parameter| !parameter.held).count();
        let priors = parameters.iter().filter(|parameter| !parameter.held && parameter.prior.is_some()).count();
        let needed = free + usize::from(self.scale == Scale::Estimated);
        if problem.count() + priors < needed || problem.count() == 0 {
            return Err(Error::not_estimable(
                format!("a fit of {free} parameters"),
                format!("{} residuals and {priors} priors; {needed} are needed", problem.count()),
            ));
        }
        fit(self, problem, parameters)
    }
}

fn fit(settings: &NonlinearSettings, problem: &impl Residuals, parameters: &[Parameter]) -> Result<NonlinearFit> {
    let starts: Vec<f64> = parameters.iter().map(|parameter| parameter.start).collect();
    if let Some(end) = normal::minimise(settings, problem, parameters, &starts) {
        return assemble(settings, problem, parameters, end);
    }
    let mut residuals = vec![0.0; problem.count()];
    problem.residuals(&starts, &mut residuals)?;
    if residuals.iter().any(|r| !r.is_finite()) {
        return Err(Error::not_estimable("a nonlinear fit", "the residuals at the start values are not finite"));
    }
    let weighed = parameters.iter().any(|parameter| parameter.prior.is_some() && !parameter.held);
    if settings.scale == Scale::Known || !weighed {
        let end = minimise(settings, problem, parameters, &starts, 1.0);
        return assemble(settings, problem, parameters, end);
    }
    // Priors are in absolute units, the residuals up to a factor sigma: find the sigma that the residuals then show.
    let free = parameters.iter().filter(|parameter| !parameter.held).count();
    let spare = (problem.count() as f64 - free as f64).max(1.0);
    let mut sigma = 0.0;
    let mut next = (residuals.iter().map(|r| r * r).sum::<f64>() / spare).sqrt();
    let mut start = starts;
    let mut evaluations = 0;
    for _ in 0..100 {
        if !(next > 0.0) || (next - sigma).abs() <= 1e-9 * next {
            break;
        }
        sigma = next;
        let mut end = minimise(settings, problem, parameters, &start, sigma);
        evaluations += end.evaluations;
        end.evaluations = evaluations;
        start.clone_from(&end.values);
        let fit = assemble(settings, problem, parameters, end)?;
        next = fit.sigma;
        if (next - sigma).abs() <= 1e-9 * next {
            return Ok(fit);
        }
    }
    let sigma = if next > 0.0 { next } else { sigma };
    let end = minimise(settings, problem, parameters, &start, sigma);
    assemble(settings, problem, parameters, end)
}

/// Minimises for a given `sigma` of the residuals.
fn minimise(
    settings: &NonlinearSettings,
    problem: &impl Residuals,
    parameters: &[Parameter],
    start: &[f64],
    sigma: f64,
) -> SolverOutcome {
    let mut best = descend(settings, problem, parameters, start, sigma, FIRST_STEPS);
    // A long first step can land where a parameter no longer does anything: try again with short ones.
    for factor in SHORT_FIRST_STEPS {
        if best.end.stop.is_converged() && !best.blind {
            break;
        }
        let again = descend(settings, problem, parameters, start, sigma, factor);
        if again.objective < best.objective || (best.blind && !again.blind && again.end.stop.is_converged()) {
            best = again;
        }
    }
    best.end
}

/// A descent from the start, and how good its end is.
struct Descent {
    end: SolverOutcome,
    /// Half the sum of squares, priors included.
    objective: f64,
    /// True when a free parameter has no effect on the residuals at the end.
    blind: bool,
}

fn descend(
    settings: &NonlinearSettings,
    problem: &impl Residuals,
    parameters: &[Parameter],
    start: &[f64],
    sigma: f64,
    first_steps: f64,
) -> Descent {
    let solver = LevenbergMarquardt::new()
        .with_ftol(settings.tolerance)
        .with_xtol(settings.tolerance)
        .with_gtol(settings.tolerance)
        .with_stepbound(first_steps)
        .with_patience(settings.patience);
    let mut target = BoundedProblem::new(problem, parameters, start, sigma);
    let mut evaluations = 0;
    let mut last = f64::INFINITY;
    let mut stop = StopReason::OutOfPatience;
    for _ in 0..ROUNDS {
        let (after, report) = solver.minimize(target);
        target = after;
        evaluations += report.number_of_evaluations;
        stop = report.termination.into();
        let improved = report.objective_function < last * (1.0 - 1e-12);
        last = report.objective_function;
        let released = target.release();
        if !stop.is_converged() || !released || !improved {
            break;
        }
    }
    if stop.is_converged() && settings.tolerance <= POLISHED {
        evaluations += target.polish();
    }
    let (resting, blind) = (target.resting(), target.is_blind());
    let end = SolverOutcome { values: target.values, resting, stop, evaluations, sigma, normal: None };
    Descent { end, objective: last, blind }
}
