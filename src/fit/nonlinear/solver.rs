//! The iteration: Levenberg-Marquardt on the free parameters, bounds by projection, priors as further residuals.

use levenberg_marquardt::LevenbergMarquardt;

use crate::{Error, Result};

use super::assemble::{NonlinearFit, SolverOutcome, assemble};
use super::bounded::BoundedProblem;
use super::{Parameter, Residuals, StopReason};

/// Rounds of letting parameters off their bounds before the end is taken as it is.
const ROUNDS: usize = 20;

/// The first step may be this many times the length of the start, in MINPACK's scaling; a later one is tried where that before
/// leads astray.
const FIRST_STEPS: [f64; 3] = [100.0, 1.0, 0.1];

/// Fits with this tolerance or less are asked for their last digits, which need some Gauss-Newton steps at the end.
const POLISHED: f64 = 1e-12;

impl NonlinearSettings {
    /// Fits the parameters, from their start values.
    ///
    /// A fit that stops without converging is a result, whose [`NonlinearFit::stop`] says so; it is not an error.
    ///
    /// # Errors
    /// - [`Error::Setting`]: a setting out of range, a start outside its bounds, a prior's standard deviation not above 0.
    /// - [`Error::Usage`]: no parameters, or two of one name.
    /// - [`Error::NotEstimable`]: fewer residuals and priors than free parameters, or residuals that cannot be computed at the start.
    pub fn fit(&self, problem: &impl Residuals, parameters: &[Parameter]) -> Result<NonlinearFit> {
        self.check()?;
        super::problem::check(parameters)?;
        let free = parameters.iter().filter(|parameter| !parameter.held).count();
        let priors = parameters.iter().filter(|parameter| !parameter.held && parameter.prior.is_some()).count();
        if problem.count() + priors < free || problem.count() == 0 {
            return Err(Error::not_estimable(
                format!("a fit of {free} parameters"),
                format!("{} residuals and {priors} priors; {free} are needed", problem.count()),
            ));
        }
        let mut residuals = vec![0.0; problem.count()];
        let starts: Vec<f64> = parameters.iter().map(|parameter| parameter.start).collect();
        problem.residuals(&starts, &mut residuals)?;
        if residuals.iter().any(|r| !r.is_finite()) {
            return Err(Error::not_estimable("a nonlinear fit", "the residuals at the start values are not finite"));
        }
        let [first, others @ ..] = FIRST_STEPS;
        let mut best = descend(self, problem, parameters, &starts, first);
        // A long first step can land where a parameter no longer does anything: try again with short ones.
        for factor in others {
            if best.end.stop.is_converged() && !best.blind {
                break;
            }
            let again = descend(self, problem, parameters, &starts, factor);
            if again.objective < best.objective || (best.blind && !again.blind && again.end.stop.is_converged()) {
                best = again;
            }
        }
        assemble(problem, parameters, best.end)
    }
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
    first_steps: f64,
) -> Descent {
    let solver = LevenbergMarquardt::new()
        .with_ftol(settings.tolerance)
        .with_xtol(settings.tolerance)
        .with_gtol(settings.tolerance)
        .with_stepbound(first_steps)
        .with_patience(settings.patience);
    let mut target = BoundedProblem::new(problem, parameters, start);
    let mut last = f64::INFINITY;
    let mut stop = StopReason::OutOfPatience;
    for _ in 0..ROUNDS {
        let (after, report) = solver.minimize(target);
        target = after;
        stop = report.termination.into();
        let improved = report.objective_function < last * (1.0 - 1e-12);
        last = report.objective_function;
        let released = target.release();
        if !stop.is_converged() || !released || !improved {
            break;
        }
    }
    if stop.is_converged() && settings.tolerance <= POLISHED {
        target.polish();
    }
    let (resting, blind) = (target.resting(), target.is_blind());
    let end = SolverOutcome { values: target.values, resting, stop };
    Descent { end, objective: last, blind }
}

settings! {
    in code
    /// How a nonlinear fit is done.
    #[derive(Copy)]
    pub struct NonlinearSettings {
        /// Relative change of the sum of squares, and of the parameters, below which the iteration ends; above 1e-12 without
        /// the Gauss-Newton steps for the last digits.
        tolerance: f64 = 1e-14, 0.0..=0.1, "0 to 0.1";
        /// Evaluations per parameter before giving up.
        patience: usize = 1000, 1..=usize::MAX, "a number above 0";
    }
}
