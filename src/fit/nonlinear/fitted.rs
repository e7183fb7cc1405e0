//! What a nonlinear fit found.

use ndarray::Array2;

use super::StopReason;
use crate::fit::matrix::quadratic_form;
use crate::fit::{Estimate, Finding, Scale};
use crate::{Error, Result};

/// How a parameter ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ParameterState {
    /// Free, and the data see it.
    Free,
    /// Held by the caller.
    Held,
    /// On its lower bound; the other parameters' errors are conditional on it.
    AtLower,
    /// On its upper bound; the other parameters' errors are conditional on it.
    AtUpper,
    /// The data do not see it: another value, with others changed to match, fits as well.
    NotIdentified,
}

/// One parameter of a fit.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedParameter {
    /// Its name.
    pub name: String,
    /// Its value at the end.
    pub value: f64,
    /// How it ended.
    pub state: ParameterState,
}

/// The result of a nonlinear least-squares fit.
#[derive(Debug, Clone)]
pub struct NonlinearFit {
    /// All parameters, in the order they were given.
    pub parameters: Vec<FittedParameter>,
    /// Their covariance, same order: 0 for a parameter held or on a bound, infinite variance for one not identified.
    pub covariance: Array2<f64>,
    /// Number of residuals.
    pub n: usize,
    /// Degrees of freedom of `sigma`: residuals less the parameters they determine (a parameter with a prior counts in part).
    pub df: f64,
    /// `sqrt(S / df)`: the standard deviation of one residual; 1 is right when the residuals are standardised.
    pub sigma: f64,
    /// S, the sum of squared residuals without the priors.
    pub sum_of_squares: f64,
    /// Whether the covariance was scaled by `sigma`.
    pub scale: Scale,
    /// Residuals at the end, as the problem gave them.
    pub residuals: Vec<f64>,
    /// Their derivatives in all parameters, in rows as the residuals.
    pub jacobian: Array2<f64>,
    /// Why the iteration stopped.
    pub stop: StopReason,
    /// How often the residuals were computed.
    pub evaluations: usize,
}

impl NonlinearFit {
    /// A parameter by name.
    ///
    /// # Errors
    /// [`Error::Usage`] for a name that is not in the fit.
    pub fn parameter(&self, name: &str) -> Result<&FittedParameter> {
        self.parameters.iter().find(|parameter| parameter.name == name).ok_or_else(|| {
            let known: Vec<&str> = self.parameters.iter().map(|parameter| parameter.name.as_str()).collect();
            Error::Usage(format!("no parameter is named `{name}`; there are {}", known.join(", ")))
        })
    }

    /// The value of a parameter.
    ///
    /// # Errors
    /// [`Error::Usage`] for an unknown name.
    pub fn value(&self, name: &str) -> Result<f64> {
        self.parameter(name).map(|parameter| parameter.value)
    }

    /// All values, in order.
    pub fn values(&self) -> Vec<f64> {
        self.parameters.iter().map(|parameter| parameter.value).collect()
    }

    /// What is known of a parameter: estimated, held, or not to be had and why.
    ///
    /// The interval is Wald's: Student's t with `df` where the scale was estimated, normal where it is known.
    ///
    /// # Errors
    /// [`Error::Usage`] for an unknown name, [`Error::Setting`] for a bad level.
    pub fn finding(&self, name: &str, level: f64) -> Result<Finding> {
        let parameter = self.parameter(name)?;
        let bound =
            |side: &str| Finding::Fixed { value: parameter.value, why: format!("it rests on its {side} bound") };
        match parameter.state {
            ParameterState::Held => Ok(Finding::Fixed { value: parameter.value, why: "held by the caller".to_owned() }),
            _ if !self.stop.is_converged() => Ok(Finding::missing(self.stop.to_string())),
            ParameterState::AtLower => Ok(bound("lower")),
            ParameterState::AtUpper => Ok(bound("upper")),
            ParameterState::Free | ParameterState::NotIdentified => {
                let gradient: Vec<f64> =
                    self.parameters.iter().map(|other| f64::from(u8::from(other.name == name))).collect();
                self.functional(parameter.value, &gradient, level)
            }
        }
    }

    /// What is known of a function of the parameters, by the delta method: its `value` at the fit and its `gradient` in
    /// all parameters, in order.
    ///
    /// # Errors
    /// [`Error::Usage`] for a gradient of the wrong length, [`Error::Setting`] for a bad level.
    pub fn functional(&self, value: f64, gradient: &[f64], level: f64) -> Result<Finding> {
        if gradient.len() != self.parameters.len() {
            return Err(Error::Usage(format!(
                "{} derivatives for {} parameters",
                gradient.len(),
                self.parameters.len()
            )));
        }
        if !self.stop.is_converged() {
            return Ok(Finding::missing(self.stop.to_string()));
        }
        let unseen = self
            .parameters
            .iter()
            .zip(gradient)
            .find(|(parameter, slope)| parameter.state == ParameterState::NotIdentified && **slope != 0.0);
        if let Some((parameter, _)) = unseen {
            return Ok(Finding::missing(format!("the data do not determine `{}`", parameter.name)));
        }
        let se = quadratic_form(&self.covariance, gradient).sqrt();
        if !(se.is_finite() && value.is_finite()) {
            return Ok(Finding::missing("its standard error is not a finite number"));
        }
        let estimate = match self.scale {
            Scale::Known => Estimate::normal(value, se, level, "delta, normal")?,
            Scale::Estimated => Estimate::student_t(value, se, self.df, level, "delta, t")?,
        };
        Ok(Finding::Estimated(estimate))
    }

    /// Doubts about the fit, in words: bounds hit, directions not seen, an iteration that did not converge.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if !self.stop.is_converged() {
            notes.push(self.stop.to_string());
        }
        for parameter in &self.parameters {
            match parameter.state {
                ParameterState::AtLower => notes.push(format!("`{}` rests on its lower bound", parameter.name)),
                ParameterState::AtUpper => notes.push(format!("`{}` rests on its upper bound", parameter.name)),
                ParameterState::NotIdentified => notes.push(format!("the data do not determine `{}`", parameter.name)),
                ParameterState::Free | ParameterState::Held => {}
            }
        }
        notes
    }
}
