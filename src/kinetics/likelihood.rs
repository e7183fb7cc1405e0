//! The likelihood of a batch's gravities for a curve, the bias of its probes, nuisance effects and an error model.
//!
//! The curve may have any coordinates ([`Coordinates`]): those of one batch by itself, or those in which batches are
//! compared. All else is here.

use ndarray::{Array2, ArrayViewMut2, Axis};

use crate::error::Result;
use crate::fit::nonlinear::Residuals;
use crate::fit::whitener::Whitener;

use super::curve::GravityCurve;
use super::error_model::ErrorModel;
use super::nuisance::Nuisance;
use super::point::{BatchPoint, PointSource};
use super::probe_bias::{DELAY, FITTED, FOAM};

/// A curve with the bias of the probes that show it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct BiasedCurve {
    pub curve: GravityCurve,
    /// Delay by gas, hours.
    pub delay_h: f64,
    /// Bias by foam where most of it sits, SG.
    pub foam_sg: f64,
}

/// Derivatives of a gravity by the curve's parameters, the delay by gas and the bias by foam.
pub(crate) type Slopes = [f64; FITTED];

/// How parameters make a curve and the bias of probes.
pub(crate) trait Coordinates {
    /// Number of parameters; those of the nuisance effects follow them.
    fn count(&self) -> usize;

    fn curve(&self, parameters: &[f64]) -> Result<BiasedCurve>;

    /// Derivatives by the parameters, one row for each of the slopes.
    fn chain(&self, at: &BiasedCurve, slopes: &[Slopes], out: ArrayViewMut2<'_, f64>);
}

/// What the likelihood of a batch is made of besides its curve and error model.
#[derive(Debug, Clone, Copy)]
pub(crate) struct BatchLikelihood<'a> {
    pub points: &'a [BatchPoint],
    pub nuisances: &'a [Nuisance],
    /// What foam adds to each point; empty before a curve is known.
    pub foam: &'a [f64],
}

impl BatchLikelihood<'_> {
    /// The curve's rate of fall over its greatest at each point, 0 to 1.
    pub fn relative_rate(&self, curve: &GravityCurve) -> Vec<f64> {
        let curve = curve.tabulate();
        let steepest = curve.steepest_h();
        let near = self.points.partition_point(|p| p.clock_h < steepest).min(self.points.len().saturating_sub(1));
        let pace = self.points.get(near).map_or(1.0, |p| p.pace);
        let greatest = pace * curve.fall_sg_per_h(steepest);
        let relative =
            |p: &BatchPoint| if greatest > 0.0 { p.pace * curve.fall_sg_per_h(p.clock_h) / greatest } else { 0.0 };
        self.points.iter().map(|p| relative(p).clamp(0.0, 1.0)).collect()
    }

    /// The whitener of an error model; a robust weight below 1 adds white variance until the point counts so much less.
    ///
    /// # Errors
    /// [`crate::Error::NotEstimable`] for points without times or errors.
    pub fn whitener(&self, relative_rate: &[f64], errors: &ErrorModel) -> Result<Whitener> {
        let hours: Vec<f64> = self.points.iter().map(|p| p.hours).collect();
        let parts = self.points.iter().zip(relative_rate).map(|(p, rate)| {
            let own = p.own_sd * p.own_sd;
            let white = match p.source {
                PointSource::Probe(_) => errors.factor * own,
                PointSource::Sample(_) => own,
            };
            let size = errors.departure_sd(*rate);
            let extra = (white + size * size) * (1.0 / (p.weight * p.weight).max(1e-6) - 1.0);
            (size, white.max(1e-12) + extra)
        });
        let (sizes, white): (Vec<f64>, Vec<f64>) = parts.unzip();
        Whitener::varying(&hours, &sizes, &white, errors.tau_h)
    }

    /// What the curve, the bias of the probes and the nuisance effects leave of each point, not whitened.
    pub fn residuals(&self, coordinates: &impl Coordinates, parameters: &[f64]) -> Result<Vec<f64>> {
        let mut out = vec![0.0; self.points.len()];
        self.residuals_into(coordinates.count(), &coordinates.curve(parameters)?, parameters, &mut out);
        Ok(out)
    }

    fn residuals_into(&self, count: usize, at: &BiasedCurve, parameters: &[f64], out: &mut [f64]) {
        let table = at.curve.tabulate();
        for (value, point) in out.iter_mut().zip(self.points) {
            *value = point.sg - table.sg(point.shown_h(at.delay_h));
        }
        for (value, effect) in out.iter_mut().zip(self.foam) {
            *value -= at.foam_sg * effect;
        }
        for (nuisance, z) in self.nuisances.iter().zip(parameters.iter().skip(count)) {
            for (value, effect) in out.iter_mut().zip(&nuisance.column) {
                *value -= z * effect;
            }
        }
    }

    /// Derivatives of what each point shows by the parameters and the nuisance effects.
    pub fn slopes(&self, coordinates: &impl Coordinates, parameters: &[f64]) -> Result<Array2<f64>> {
        let mut out = Array2::zeros((self.points.len(), coordinates.count() + self.nuisances.len()));
        self.slopes_into(coordinates, &coordinates.curve(parameters)?, out.view_mut());
        Ok(out)
    }

    fn slopes_into(&self, coordinates: &impl Coordinates, at: &BiasedCurve, out: ArrayViewMut2<'_, f64>) {
        let table = at.curve.tabulate();
        let mut slopes: Vec<Slopes> = Vec::with_capacity(self.points.len());
        for point in self.points {
            let mut of_point = [0.0; FITTED];
            let (_, gradient) = table.gradient(point.shown_h(at.delay_h));
            for (cell, slope) in of_point.iter_mut().zip(gradient) {
                *cell = slope;
            }
            of_point[DELAY] = point.by_delay(&table, at.delay_h);
            slopes.push(of_point);
        }
        for (slopes, effect) in slopes.iter_mut().zip(self.foam) {
            slopes[FOAM] = *effect;
        }
        let (of_curve, mut of_effects) = out.split_at(Axis(1), coordinates.count());
        coordinates.chain(at, &slopes, of_curve);
        for (mut column, nuisance) in of_effects.axis_iter_mut(Axis(1)).zip(self.nuisances) {
            for (cell, effect) in column.iter_mut().zip(&nuisance.column) {
                *cell = *effect;
            }
        }
    }
}

/// The whitened residuals of the points, and a known terminal gravity as one more, as the solver wants them.
#[derive(Debug)]
pub(crate) struct WhitenedBatch<'a, C> {
    pub likelihood: BatchLikelihood<'a>,
    pub coordinates: &'a C,
    pub whitener: &'a Whitener,
    /// Terminal gravity with its standard deviation, SG.
    pub terminal_sg: Option<(f64, f64)>,
}

impl<C: Coordinates> Residuals for WhitenedBatch<'_, C> {
    fn count(&self) -> usize {
        self.likelihood.points.len() + usize::from(self.terminal_sg.is_some())
    }

    fn residuals(&self, parameters: &[f64], out: &mut [f64]) -> Result<()> {
        let at = self.coordinates.curve(parameters)?;
        let (of_points, of_limit) = out.split_at_mut(self.likelihood.points.len());
        self.likelihood.residuals_into(self.coordinates.count(), &at, parameters, of_points);
        self.whitener.whiten(of_points);
        for (cell, (sg, sd)) in of_limit.iter_mut().zip(self.terminal_sg) {
            *cell = (sg - at.curve.terminal_sg) / sd;
        }
        Ok(())
    }

    fn jacobian(&self, parameters: &[f64], out: ArrayViewMut2<'_, f64>) -> Result<()> {
        let at = self.coordinates.curve(parameters)?;
        let (mut of_points, mut of_limit) = out.split_at(Axis(0), self.likelihood.points.len());
        self.likelihood.slopes_into(self.coordinates, &at, of_points.view_mut());
        of_points.mapv_inplace(|slope| -slope);
        for mut column in of_points.axis_iter_mut(Axis(1)) {
            self.whitener.whiten(column.iter_mut());
        }
        if let Some((_, sd)) = self.terminal_sg {
            // Of the curve's parameters, the terminal gravity alone.
            let mut slopes = [0.0; FITTED];
            slopes[1] = 1.0;
            of_limit.fill(0.0);
            let (of_curve, _) = of_limit.view_mut().split_at(Axis(1), self.coordinates.count());
            self.coordinates.chain(&at, &[slopes], of_curve);
            of_limit.mapv_inplace(|slope| -slope / sd);
        }
        Ok(())
    }
}
