//! What a nonlinear fit found.

use std::fmt;

use nalgebra::DMatrix;
use ndarray::Array2;

use super::solver::End;
use super::{NonlinearSettings, Parameter, Residuals, StopReason};
use crate::fit::matrix::{Identified, identify, identify_normal, quadratic_form, to_array};
use crate::fit::{Estimate, Finding, Scale, decimals_for};
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
    /// Where it started.
    pub start: f64,
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
    /// Largest over smallest singular value of the scaled Jacobian, priors included: above 1e8 few digits are left.
    pub condition: f64,
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

    /// The correlation of two parameters; `None` where one of them has no standard error.
    pub fn correlation(&self, a: usize, b: usize) -> Option<f64> {
        let covariance = self.covariance.get([a, b])?;
        let (va, vb) = (self.covariance.get([a, a])?, self.covariance.get([b, b])?);
        (*va > 0.0 && *vb > 0.0 && va.is_finite() && vb.is_finite()).then(|| covariance / (va * vb).sqrt())
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

/// Puts the result together at the end of an iteration.
pub(super) fn assemble(
    settings: &NonlinearSettings,
    problem: &impl Residuals,
    parameters: &[Parameter],
    end: End,
) -> Result<NonlinearFit> {
    let (n, all) = (problem.count(), parameters.len());
    let (residuals, jacobian) = linearise(problem, &end.values)?;

    let moving: Vec<usize> = parameters
        .iter()
        .zip(&end.resting)
        .enumerate()
        .filter(|(_, (parameter, side))| !parameter.held && **side == 0)
        .map(|(place, _)| place)
        .collect();
    let normal = end.normal.as_ref().map(|all| all.select_rows(&moving).select_columns(&moving));
    let (identified, used) = match normal.and_then(|normal| identify_normal(&normal, settings.singular)) {
        Some(known) => (Some(known), moving.len() as f64),
        None => {
            let stacked = stack(&jacobian, parameters, &moving, end.sigma);
            let identified = identify(&stacked, settings.singular);
            let used = identified.as_ref().map_or(moving.len() as f64, |known| spent(&stacked, n, known));
            (identified, used)
        }
    };
    let sum_of_squares: f64 = residuals.iter().map(|r| r * r).sum();
    let df = n as f64 - used;
    let sigma = if df > 1e-9 { (sum_of_squares / df).sqrt() } else { f64::NAN };
    let variance = if settings.scale == Scale::Estimated { sigma * sigma } else { 1.0 };

    let mut covariance = DMatrix::zeros(all, all);
    let mut fitted: Vec<FittedParameter> = parameters
        .iter()
        .zip(&end.values)
        .zip(&end.resting)
        .map(|((parameter, value), side)| FittedParameter {
            name: parameter.name.clone(),
            value: *value,
            start: parameter.start,
            state: match side {
                _ if parameter.held => ParameterState::Held,
                -1 => ParameterState::AtLower,
                1 => ParameterState::AtUpper,
                _ => ParameterState::Free,
            },
        })
        .collect();
    for (i, a) in moving.iter().enumerate() {
        let seen = identified.as_ref().is_some_and(|known| !known.unseen.get(i).copied().unwrap_or(true));
        if !seen {
            covariance.row_mut(*a).fill(0.0);
            covariance[(*a, *a)] = f64::INFINITY;
            if let Some(parameter) = fitted.get_mut(*a) {
                parameter.state = ParameterState::NotIdentified;
            }
            continue;
        }
        for (j, b) in moving.iter().enumerate() {
            let other = identified.as_ref().filter(|known| !known.unseen.get(j).copied().unwrap_or(true));
            if let Some(known) = other {
                covariance[(*a, *b)] = variance * known.inverse[(i, j)];
            }
        }
    }
    Ok(NonlinearFit {
        parameters: fitted,
        covariance: to_array(&covariance),
        n,
        df,
        sigma,
        sum_of_squares,
        scale: settings.scale,
        residuals,
        jacobian,
        stop: end.stop,
        evaluations: end.evaluations,
        condition: identified.map_or(f64::INFINITY, |known| known.condition),
    })
}

/// Parameters as far as the residuals, not the priors, determine them: the trace of the hat matrix of the data rows.
fn spent(stacked: &DMatrix<f64>, n: usize, known: &Identified) -> f64 {
    let data = stacked.rows(0, n);
    if stacked.nrows() == n {
        return known.rank as f64;
    }
    let hat = data * &known.inverse;
    hat.component_mul(&data).sum()
}

/// Residuals and their derivatives, in one pass where there is one.
fn linearise(problem: &impl Residuals, values: &[f64]) -> Result<(Vec<f64>, Array2<f64>)> {
    let (n, all) = (problem.count(), values.len());
    let (mut residuals, mut slopes) = (Vec::with_capacity(n), Vec::with_capacity(n * all));
    let swept = problem.sweep(values, |residual, row| {
        residuals.push(residual);
        slopes.extend_from_slice(row);
    });
    if swept {
        let jacobian = Array2::from_shape_vec((n, all), slopes);
        return Ok((residuals, jacobian.map_err(|why| Error::numeric("a nonlinear fit", why.to_string()))?));
    }
    let mut jacobian = Array2::zeros((n, all));
    residuals.resize(n, 0.0);
    problem.residuals(values, &mut residuals)?;
    problem.jacobian(values, jacobian.view_mut())?;
    Ok((residuals, jacobian))
}

/// The derivatives in the moving parameters, with one further row for each of their priors.
fn stack(jacobian: &Array2<f64>, parameters: &[Parameter], moving: &[usize], sigma: f64) -> DMatrix<f64> {
    let priors: Vec<(usize, f64)> = moving
        .iter()
        .enumerate()
        .filter_map(|(column, place)| {
            let prior = parameters.get(*place)?.prior?;
            Some((column, sigma / prior.sd))
        })
        .collect();
    let n = jacobian.nrows();
    let mut stacked = DMatrix::zeros(n + priors.len(), moving.len());
    for (column, place) in moving.iter().enumerate() {
        for (cell, slope) in stacked.column_mut(column).iter_mut().zip(jacobian.column(*place)) {
            *cell = *slope;
        }
    }
    for (row, (column, weight)) in priors.into_iter().enumerate() {
        stacked[(n + row, column)] = weight;
    }
    stacked
}

impl fmt::Display for NonlinearFit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let scale = if self.scale == Scale::Known { "stated errors" } else { "errors from the residuals" };
        writeln!(f, "nonlinear least squares, {}, {} evaluations, {scale}", self.stop, self.evaluations)?;
        writeln!(f, "{} residuals, {:.1} df, residual standard deviation {:.4e}", self.n, self.df, self.sigma)?;
        for note in self.notes() {
            writeln!(f, "note: {note}")?;
        }
        let width = self.parameters.iter().map(|parameter| parameter.name.len()).max().unwrap_or(0);
        for (i, parameter) in self.parameters.iter().enumerate() {
            let se = self.covariance.get([i, i]).copied().unwrap_or(f64::NAN).sqrt();
            let (name, value, start) = (&parameter.name, parameter.value, parameter.start);
            if parameter.state == ParameterState::Free {
                let digits = decimals_for(se);
                writeln!(f, "{name:width$}  {value:.digits$} \u{b1} {se:.digits$}  (start {start})")?;
            } else {
                writeln!(f, "{name:width$}  {value}  (no standard error)")?;
            }
        }
        for a in 0..self.parameters.len() {
            for b in 0..a {
                let (Some(first), Some(second)) = (self.parameters.get(b), self.parameters.get(a)) else { continue };
                if let Some(r) = self.correlation(b, a).filter(|r| r.abs() > 0.8) {
                    writeln!(f, "correlation of {} and {}: {r:.3}", first.name, second.name)?;
                }
            }
        }
        Ok(())
    }
}
