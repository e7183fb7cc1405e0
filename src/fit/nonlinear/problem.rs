//! What is minimised over which parameters: residuals; names, starts, bounds, priors.

use ndarray::ArrayViewMut2;

use crate::{Error, Result};

/// One parameter of a nonlinear fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Parameter {
    /// Its name, by which results are fetched; the unit belongs in it.
    pub name: String,
    /// Where the iteration starts, or the value at which it is held.
    pub start: f64,
    /// Lower bound; minus infinity for none.
    pub lower: f64,
    /// Upper bound; infinity for none.
    pub upper: f64,
    /// What is known of it from elsewhere: mean and standard deviation of a normal distribution.
    pub prior: Option<(f64, f64)>,
    /// True when it stays at its start.
    pub held: bool,
}

impl Parameter {
    /// A free parameter without bounds or prior.
    pub fn new(name: impl Into<String>, start: f64) -> Self {
        Self { name: name.into(), start, lower: f64::NEG_INFINITY, upper: f64::INFINITY, prior: None, held: false }
    }

    /// The same with bounds; either may be infinite.
    #[must_use]
    pub fn within(self, lower: f64, upper: f64) -> Self {
        Self { lower, upper, ..self }
    }

    /// The same with a Gaussian prior.
    #[must_use]
    pub fn with_prior(self, mean: f64, sd: f64) -> Self {
        Self { prior: Some((mean, sd)), ..self }
    }

    /// The same, held at its start.
    #[must_use]
    pub fn held(self) -> Self {
        Self { held: true, ..self }
    }
}

pub(super) fn check(parameters: &[Parameter]) -> Result<()> {
    if parameters.iter().all(|parameter| parameter.held) {
        return Err(Error::Usage("a nonlinear fit needs at least one free parameter".to_owned()));
    }
    for (i, parameter) in parameters.iter().enumerate() {
        if parameters.iter().take(i).any(|other| other.name == parameter.name) {
            return Err(Error::Usage(format!("two parameters are named `{}`", parameter.name)));
        }
        let inside = parameter.start >= parameter.lower && parameter.start <= parameter.upper;
        if !parameter.start.is_finite() || !(inside || parameter.held) {
            return Err(Error::setting(
                "start",
                format!(
                    "{} for `{}`, bounds {} to {}",
                    parameter.start, parameter.name, parameter.lower, parameter.upper
                ),
                "a finite number within the bounds",
            ));
        }
        let sound = |(mean, sd): (f64, f64)| sd > 0.0 && sd.is_finite() && mean.is_finite();
        if let Some((mean, sd)) = parameter.prior.filter(|prior| !sound(*prior)) {
            return Err(Error::setting(
                "prior",
                format!("mean {mean}, sd {sd} for `{}`", parameter.name),
                "a finite mean and a finite standard deviation above 0",
            ));
        }
    }
    Ok(())
}

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
    fn jacobian(&self, parameters: &[f64], out: ArrayViewMut2<'_, f64>) -> Result<()>;
}
