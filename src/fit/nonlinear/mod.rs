//! Nonlinear least squares.
//!
//! ```text
//! minimise  sum_i r_i(p)^2 + sum_j ((p_j - m_j) / s_j)^2     lower_j <= p_j <= upper_j
//! ```
//!
//! over the free parameters `p`, where `r_i` is a residual over its standard deviation and the second sum holds the
//! Gaussian priors, if any. The iteration is Levenberg-Marquardt with MINPACK's trust region (the crate
//! `levenberg-marquardt`; J. J. Moré, Lect. Notes Math. 630 (1978) 105), with analytic derivatives.
//!
//! - Bounds are kept by projection: a step beyond a bound is evaluated on it, the parameter then rests there, and when
//!   the others have settled it is let go again if the sum of squares falls inwards. Nothing is transformed, so bounds
//!   that are not touched on the way change nothing. A parameter that ends on a bound is reported so and has no
//!   standard error; the others' errors are conditional on it.
//! - The covariance is `sigma^2 (J'J)^-1` at the end, by QR of the scaled columns and the singular values of R. Directions
//!   the data do not see are left out and their parameters named: they are not estimable, the rest is.
//! - Intervals are Wald's ([`NonlinearFit::finding`]) or by profiling ([`NonlinearFit::profile`]).
//! - Small problems whose rows can be swept ([`Residuals::sweep`], as every [`Curve`]'s can) are solved by the normal
//!   equations gathered in one pass, with the same trust region and the same tests for the end. Squaring J squares its
//!   condition number, so the general solver starts anew where the scaled Jacobian's is above 1e6, and the covariance is by
//!   QR above 1e3 (its relative error is 1e-16 times the square). Priors, and parameters that would leave their bounds,
//!   are the general solver's too.
//! - What is not computed: R squared, which means nothing for nonlinear models.

mod assemble;
mod check;
mod curve;
mod fitted;
mod normal;
mod parameter;
mod profile;
mod solver;
mod stop;
mod target;

use ndarray::ArrayViewMut2;

pub use check::numeric_jacobian;
pub use curve::{Curve, CurveResiduals};
pub use fitted::{FittedParameter, NonlinearFit, ParameterState};
pub use parameter::{Parameter, Prior};
pub use profile::{Functional, ProfileInterval};
pub use stop::StopReason;

use super::Scale;
use crate::{Error, Result};

/// Most parameters, held ones included, of a problem that is solved in passes over its rows.
pub const SMALL: usize = 6;

/// A least-squares problem: residuals and their derivatives.
///
/// Residuals are standardised: (observed - fitted) / standard deviation, or any function whose squares are to be summed.
pub trait Residuals {
    /// How many residuals there are.
    fn count(&self) -> usize;

    /// Writes the residuals at `parameters` (all of them, in the order of the fit) into `out`, of length [`Self::count`].
    ///
    /// # Errors
    /// Where the model has no value. At a trial step an error only makes the step shorter; at the start it ends the fit.
    fn residuals(&self, parameters: &[f64], out: &mut [f64]) -> Result<()>;

    /// Writes d residual_i / d parameter_j into row i, column j of `out`.
    ///
    /// # Errors
    /// Where the model has no derivative.
    fn jacobian(&self, parameters: &[f64], out: ArrayViewMut2<'_, f64>) -> Result<()>;

    /// Visits the rows in order with each residual and its derivatives, as [`Self::residuals`] and [`Self::jacobian`] give
    /// them, and gives true; or gives false before the first where there is no such pass, as for more than [`SMALL`]
    /// parameters. A row whose model has no value is visited with a residual that is not finite.
    fn sweep(&self, _parameters: &[f64], _visit: impl FnMut(f64, &[f64])) -> bool {
        false
    }
}

/// How a nonlinear fit is done.
///
/// | setting | default | range | when to change it |
/// | --- | --- | --- | --- |
/// | `scale` | `Estimated` | | `Known` when residuals are over standard deviations taken at their word |
/// | `tolerance` | 1e-14 | 0 to 0.1 | larger to stop earlier: relative change of the sum of squares and of the parameters; above 1e-12 without the Gauss-Newton steps for the last digits |
/// | `patience` | 1000 | above 0 | evaluations per parameter before giving up |
/// | `singular` | 1e-10 | above 0, below 1 | smallest share of the largest singular value that still counts as seen |
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NonlinearSettings {
    /// Whether the residuals' standard deviations are right as they stand or up to a common factor.
    pub scale: Scale,
    /// Relative change of the sum of squares, and of the parameters, below which the iteration ends.
    pub tolerance: f64,
    /// Evaluations per parameter before giving up.
    pub patience: usize,
    /// Singular values of the scaled Jacobian below this share of the largest count as zero.
    pub singular: f64,
}

impl Default for NonlinearSettings {
    fn default() -> Self {
        Self { scale: Scale::Estimated, tolerance: 1e-14, patience: 1000, singular: 1e-10 }
    }
}

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
        parameter::check(parameters)?;
        let free = parameters.iter().filter(|parameter| !parameter.held).count();
        let priors = parameters.iter().filter(|parameter| !parameter.held && parameter.prior.is_some()).count();
        let needed = free + usize::from(self.scale == Scale::Estimated);
        if problem.count() + priors < needed || problem.count() == 0 {
            return Err(Error::not_estimable(
                format!("a fit of {free} parameters"),
                format!("{} residuals and {priors} priors; {needed} are needed", problem.count()),
            ));
        }
        solver::fit(self, problem, parameters)
    }

    fn check(&self) -> Result<()> {
        if !(0.0..=0.1).contains(&self.tolerance) {
            return Err(Error::Setting { name: "tolerance", value: self.tolerance.to_string(), wanted: "0 to 0.1" });
        }
        if self.patience == 0 {
            return Err(Error::Setting { name: "patience", value: "0".to_owned(), wanted: "a number above 0" });
        }
        if !(self.singular > 0.0 && self.singular < 1.0) {
            return Err(Error::Setting {
                name: "singular",
                value: self.singular.to_string(),
                wanted: "between 0 and 1",
            });
        }
        Ok(())
    }
}
