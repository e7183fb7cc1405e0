//! Generalised least squares of a curve with offsets of probes and instruments, for a given error model.

use nalgebra::{DMatrix, DVector};
use ndarray::{ArrayViewMut2, Axis};

use crate::error::{Error, Result};
use crate::fit::Scale;
use crate::fit::autocorrelation::Whitener;
use crate::fit::nonlinear::{Functional, NonlinearFit, NonlinearSettings, Parameter, Residuals};

use super::batch_fit::{Point, Source};
use super::curve::{Curve, CurveKind, Form, NO_TAIL, PARAMETERS};
use super::departure::ErrorModel;
use super::estimate::Estimated;
use super::misread::{DELAY, FITTED, FOAM, Misreads};
use super::nuisance::Nuisance;

/// Priors of the parameters of the curve, mean and standard deviation; none: free. For those of the correction the standard
/// deviation counts in units of the error model's.
pub(crate) type Priors = [Option<(f64, f64)>; PARAMETERS];

/// Bounds that keep a fit within what a fermentation can be; a fit that rests on one says so.
const BOUNDS: [(f64, f64); 7] =
    [(0.95, 1.25), (0.93, 1.20), (0.0, 8.0), (-6.0, 4.0), (-2.5, 2.5), (NO_TAIL, 0.6), (-5.0, -0.05)];
/// How the whitened problem is solved: its residuals are over stated standard deviations.
const SOLVER: NonlinearSettings =
    NonlinearSettings { scale: Scale::Known, tolerance: 1e-10, patience: 1000, singular: 1e-10 };
/// Bounds of a coefficient of the correction.
const BEND_BOUNDS: (f64, f64) = (-6.0, 6.0);
/// Names of the parameters; those of the correction are counted.
const NAMES: [&str; 7] =
    ["original_sg", "terminal_sg", "ln_scale_h", "ln_steepness", "ln_asymmetry", "tail_share", "ln_tail_pace"];

/// One batch's least-squares problem.
#[derive(Debug, Clone)]
pub(crate) struct Problem<'a> {
    pub points: &'a [Point],
    pub nuisances: &'a [Nuisance],
    /// The form of the curve.
    pub form: Form,
    /// Share of a sample's variance that is in its instrument's bias.
    pub share: f64,
    pub priors: Priors,
    /// Priors of what gas and foam make probes misread.
    pub misreads: Misreads,
    /// What foam adds to each point; empty before a curve is known.
    pub foam: &'a [f64],
}

impl Problem<'_> {
    /// Vigour at each point: the curve's rate of fall over its greatest, 0 to 1.
    pub fn vigour(&self, curve: &Curve) -> Vec<f64> {
        let curve = curve.tabulate();
        let steepest = curve.steepest_h();
        let near = self.points.partition_point(|p| p.clock_h < steepest).min(self.points.len().saturating_sub(1));
        let pace = self.points.get(near).map_or(1.0, |p| p.pace);
        let greatest = pace * curve.fall_sg_per_h(steepest);
        let relative =
            |p: &Point| if greatest > 0.0 { p.pace * curve.fall_sg_per_h(p.clock_h) / greatest } else { 0.0 };
        self.points.iter().map(|p| relative(p).clamp(0.0, 1.0)).collect()
    }

    /// The whitener of an error model; a robust weight below 1 adds white variance until the point counts so much less.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] for points without times or errors.
    pub fn whitener(&self, vigour: &[f64], errors: &ErrorModel) -> Result<Whitener> {
        let hours: Vec<f64> = self.points.iter().map(|p| p.hours).collect();
        let parts = self.points.iter().zip(vigour).map(|(p, v)| {
            let own = p.own_sd * p.own_sd;
            let white = match p.source {
                Source::Probe(_) => errors.factor * own,
                Source::Sample(_) => (1.0 - self.share) * own,
            };
            let size = errors.departure_sd(*v);
            let extra = (white + size * size) * (1.0 / (p.weight * p.weight).max(1e-6) - 1.0);
            (size, white.max(1e-12) + extra)
        });
        let (sizes, white): (Vec<f64>, Vec<f64>) = parts.unzip();
        Whitener::varying(&hours, &sizes, &white, errors.tau_h)
    }

    /// The curve among the parameters of a fit.
    pub fn curve_of(&self, parameters: &[f64]) -> Result<Curve> {
        match parameters.first_chunk::<PARAMETERS>() {
            Some(vector) => Ok(Curve::of_form(self.form, vector)),
            None => Err(Error::numeric("a fermentation curve", "too few parameters")),
        }
    }

    /// Residuals at `parameters`: the curve's and then the nuisance effects, not whitened.
    pub fn departures(&self, parameters: &[f64], out: &mut [f64]) -> Result<()> {
        let curve = self.curve_of(parameters)?.tabulate();
        let delay = parameters.get(DELAY).copied().unwrap_or(0.0);
        let foam = parameters.get(FOAM).copied().unwrap_or(0.0);
        for (value, point) in out.iter_mut().zip(self.points) {
            *value = point.sg - curve.sg(point.shown_h(delay));
        }
        for (value, effect) in out.iter_mut().zip(self.foam) {
            *value -= foam * effect;
        }
        for (nuisance, z) in self.nuisances.iter().zip(parameters.iter().skip(FITTED)) {
            for (value, effect) in out.iter_mut().zip(&nuisance.column) {
                *value -= z * effect;
            }
        }
        Ok(())
    }

    /// The parameters of a fit of a curve kind from `start`.
    fn parameters(&self, kind: CurveKind, start: &Curve, bend_sd: f64) -> Vec<Parameter> {
        let mut parameters: Vec<Parameter> = Vec::with_capacity(FITTED + self.nuisances.len());
        for (i, value) in start.to_vector().into_iter().enumerate() {
            let (low, high) = BOUNDS.get(i).copied().unwrap_or(BEND_BOUNDS);
            let name = NAMES.get(i).map_or_else(|| format!("bend {}", i - NAMES.len()), |name| (*name).to_owned());
            parameters.push(if i >= kind.free() {
                Parameter::new(name, if i == 5 { NO_TAIL } else { 0.0 }).held()
            } else {
                let parameter = Parameter::new(name, value.clamp(low, high)).within(low, high);
                match self.prior(i, bend_sd) {
                    Some((mean, sd)) => parameter.with_prior(mean, sd),
                    None => parameter,
                }
            });
        }
        for (name, (mean, sd)) in [("delay_h", self.misreads.delay_h), ("foam_sg", self.misreads.foam_sg)] {
            let parameter = Parameter::new(name, mean);
            parameters.push(if sd > 0.0 { parameter.with_prior(mean, sd) } else { parameter.held() });
        }
        let nuisances = self.nuisances.iter().enumerate();
        parameters
            .extend(nuisances.map(|(k, n)| Parameter::new(format!("nuisance {k}"), n.mean).with_prior(n.mean, 1.0)));
        parameters
    }

    /// Minimises for a curve kind from `start`, whitened by `whitener`.
    pub fn fit(&self, kind: CurveKind, start: &Curve, whitener: &Whitener, bend_sd: f64) -> Result<NonlinearFit> {
        let parameters = self.parameters(kind, start, bend_sd);
        SOLVER.fit(&Whitened { problem: self, whitener }, &parameters)
    }

    /// The profile interval of a function of the parameters about a fit, its error model held.
    pub fn profile(&self, found: &Estimated, functional: &Functional<'_>, level: f64) -> Result<(f64, f64)> {
        let whitener = self.whitener(&found.vigour, &found.errors)?;
        let parameters = self.parameters(found.kind, &found.curve, found.errors.bend_sd);
        let whitened = Whitened { problem: self, whitener: &whitener };
        let interval = found.fit.profile_of(&SOLVER, &whitened, &parameters, functional, level)?;
        Ok((interval.lower, interval.upper))
    }

    /// The prior of parameter `i`, a nuisance effect after those of the curve.
    pub fn prior(&self, i: usize, bend_sd: f64) -> Option<(f64, f64)> {
        match self.priors.get(i) {
            Some(prior) if i < NAMES.len() => *prior,
            Some(prior) => prior.map(|(mean, sd)| (mean, sd * bend_sd)),
            // Held is known beyond doubt.
            None => Some(match self.misreads.at(i) {
                Some((mean, sd)) => (mean, sd.max(1e-9)),
                None => (i.checked_sub(FITTED).and_then(|k| self.nuisances.get(k)).map_or(0.0, |n| n.mean), 1.0),
            }),
        }
    }

    /// Minus twice the logarithm of the marginal likelihood of an error model, linearised at `parameters` (Laplace),
    /// up to a constant. With flat priors it is the restricted likelihood (REML).
    pub fn minus_two_ln_evidence(
        &self,
        kind: CurveKind,
        parameters: &[f64],
        raw: &Linearised,
        whitener: &Whitener,
        bend_sd: f64,
    ) -> f64 {
        let mut residual = raw.residual.clone();
        whitener.whiten(residual.iter_mut());
        let mut jacobian = raw.jacobian.clone();
        for mut column in jacobian.column_iter_mut() {
            whitener.whiten(column.iter_mut());
        }
        let free = kind.free();
        let mut normal = jacobian.tr_mul(&jacobian);
        let mut right = jacobian.tr_mul(&residual);
        let mut square = residual.norm_squared();
        for (j, value) in parameters.iter().enumerate().filter(|(j, _)| *j < free || *j >= PARAMETERS) {
            let column = if j < PARAMETERS { j } else { j - PARAMETERS + free };
            if let Some((mean, sd)) = self.prior(j, bend_sd) {
                let pull = (mean - value) / sd;
                normal[(column, column)] += 1.0 / (sd * sd);
                right[column] += pull / sd;
                square += pull * pull + 2.0 * sd.ln();
            }
        }
        match normal.cholesky() {
            Some(factor) => {
                let ln_det: f64 = factor.l_dirty().diagonal().iter().map(|d| 2.0 * d.ln()).sum();
                whitener.ln_determinant() + ln_det + square - right.dot(&factor.solve(&right))
            }
            None => f64::INFINITY,
        }
    }

    /// Residuals and derivatives at `parameters`, not whitened, free columns only.
    pub fn linearise(&self, kind: CurveKind, parameters: &[f64]) -> Result<Linearised> {
        let n = self.points.len();
        let free = kind.free();
        let mut residual = DVector::zeros(n);
        self.departures(parameters, residual.as_mut_slice())?;
        let curve = self.curve_of(parameters)?.tabulate();
        let delay = parameters.get(DELAY).copied().unwrap_or(0.0);
        let mut jacobian = DMatrix::zeros(n, free + 2 + self.nuisances.len());
        for (i, point) in self.points.iter().enumerate() {
            let (_, gradient) = curve.gradient(point.shown_h(delay));
            jacobian[(i, free)] = point.by_delay(&curve, delay);
            jacobian[(i, free + 1)] = self.foam.get(i).copied().unwrap_or(0.0);
            for (j, slope) in gradient.iter().take(free).enumerate() {
                jacobian[(i, j)] = *slope;
            }
            for (j, nuisance) in self.nuisances.iter().enumerate() {
                jacobian[(i, free + 2 + j)] = nuisance.column[i];
            }
        }
        Ok(Linearised { residual, jacobian })
    }
}

/// Residuals and derivatives at one place.
#[derive(Debug, Clone)]
pub(crate) struct Linearised {
    pub residual: DVector<f64>,
    pub jacobian: DMatrix<f64>,
}

/// The whitened problem as the solver wants it.
struct Whitened<'a> {
    problem: &'a Problem<'a>,
    whitener: &'a Whitener,
}

impl Residuals for Whitened<'_> {
    fn count(&self) -> usize {
        self.problem.points.len()
    }

    fn residuals(&self, parameters: &[f64], out: &mut [f64]) -> Result<()> {
        self.problem.departures(parameters, out)?;
        self.whitener.whiten(out.iter_mut());
        Ok(())
    }

    fn jacobian(&self, parameters: &[f64], mut out: ArrayViewMut2<'_, f64>) -> Result<()> {
        let curve = self.problem.curve_of(parameters)?.tabulate();
        let delay = parameters.get(DELAY).copied().unwrap_or(0.0);
        for (mut row, point) in out.axis_iter_mut(Axis(0)).zip(self.problem.points) {
            let (_, gradient) = curve.gradient(point.shown_h(delay));
            row[DELAY] = -point.by_delay(&curve, delay);
            for (cell, slope) in row.iter_mut().zip(gradient) {
                *cell = -slope;
            }
        }
        for (cell, effect) in out.column_mut(FOAM).iter_mut().zip(self.problem.foam) {
            *cell = -effect;
        }
        for (mut column, nuisance) in out.axis_iter_mut(Axis(1)).skip(FITTED).zip(self.problem.nuisances) {
            for (cell, effect) in column.iter_mut().zip(&nuisance.column) {
                *cell = -effect;
            }
        }
        for mut column in out.axis_iter_mut(Axis(1)) {
            self.whitener.whiten(column.iter_mut());
        }
        Ok(())
    }
}
