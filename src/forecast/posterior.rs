//! What a batch's own gravities say, given a normal prior of its coordinates: the most probable curve and the normal
//! approximation around it (Laplace).

use nalgebra::{DMatrix, DVector};
use ndarray::{ArrayViewMut2, Axis};

use crate::error::{Error, Result};
use crate::fit::Scale;
use crate::fit::autocorrelation::Whitener;
use crate::fit::nonlinear::{NonlinearSettings, Parameter, Residuals};
use crate::gravity::GravitySeries;
use crate::kinetics::departure::ErrorModel;
use crate::kinetics::estimate::weigh;
use crate::kinetics::gls::Problem;
use crate::kinetics::misread::{Misreads, foam};
use crate::kinetics::nuisance::{Nuisance, nuisances};
use crate::kinetics::population::Prior;
use crate::kinetics::prepare::{median, prepare};
use crate::kinetics::{Curve, Form, KineticsSettings, PARAMETERS, Point, Source};

use super::coordinates::{DELAY, DIMS, FOAM, base, chain, curve, ln_pace, plain};

/// Why a batch without points has no forecast.
pub(super) const NO_GRAVITY: &str = "no gravity known at this moment";
/// Most points a probe gives to a forecast.
const MOST_POINTS: f64 = 90.0;

/// A batch's gravities made ready, with its error model.
#[derive(Debug, Clone)]
pub(super) struct Own {
    points: Vec<Point>,
    nuisances: Vec<Nuisance>,
    share: f64,
    errors: ErrorModel,
    /// Rate of fall over the greatest at each point, 1 before a curve is known.
    vigour: Vec<f64>,
    /// What foam adds to each point; empty before a curve is known.
    foam: Vec<f64>,
    /// Whether weights, vigour and foam have been found.
    known: bool,
    /// Gravity at pitching as the first hours show it.
    original_sg: f64,
    pub ln_pace: f64,
    pub last_reading_h: f64,
    /// Where terminal gravity must lie if the batch does not stick: the measured limit.
    limit_sg: Option<(f64, f64)>,
}

/// The normal approximation.
#[derive(Debug, Clone)]
pub(super) struct Posterior {
    /// Gravity at pitching and standardised coordinates.
    pub mean: DVector<f64>,
    pub covariance: DMatrix<f64>,
    /// Logarithm of the marginal likelihood, up to a constant of the batch.
    pub ln_evidence: f64,
}

impl Own {
    /// # Errors
    /// [`Error::NotEstimable`] when there is no gravity at all.
    pub fn new(series: &GravitySeries, settings: &KineticsSettings, departure: (f64, f64, f64)) -> Result<Self> {
        let prepared = prepare(series, settings, MOST_POINTS);
        let last = prepared.points.last().ok_or_else(|| Error::not_estimable("a forecast", NO_GRAVITY))?;
        let last_h = last.hours;
        let share = settings.instrument_share;
        let all = nuisances(series, &prepared, settings)?;
        let mut early: Vec<f64> = prepared.points.iter().filter(|p| p.hours <= 6.0).map(|p| p.sg).collect();
        let mut every: Vec<f64> = prepared.points.iter().map(|p| p.sg).collect();
        let original_sg = series.original_sg.map(|(sg, _)| sg).unwrap_or_else(|| match early.is_empty() {
            true => median(&mut every) + 0.01,
            false => median(&mut early),
        });
        let (kappa_sg, tau_h, floor) = departure;
        let errors = ErrorModel { kappa_sg, tau_h, floor, factor: factor(&prepared.points), bend_sd: 1.0 };
        let vigour = vec![1.0; prepared.points.len()];
        let last_reading_h = series.hours.last().copied().unwrap_or(last_h).max(last_h);
        Ok(Self {
            points: prepared.points,
            nuisances: all,
            share,
            errors,
            vigour,
            foam: Vec::new(),
            known: false,
            original_sg: original_sg.clamp(1.005, 1.2),
            ln_pace: ln_pace(series),
            last_reading_h,
            limit_sg: series.limit_sg,
        })
    }

    /// The posterior under a prior; `limited` takes the measured limit into account. Robust weights are found on the
    /// first call and kept.
    pub fn posterior(&mut self, prior: &Prior, limited: bool) -> Result<Posterior> {
        let factor = prior.covariance.clone().cholesky();
        let factor = factor.ok_or_else(|| Error::numeric("a forecast", "the prior's covariance is singular"))?.l();
        let first = self.minimise(prior, &factor, limited, None)?;
        if self.known {
            return self.laplace(prior, &factor, first);
        }
        self.weigh(prior, &factor, &first)?;
        self.known = true;
        let second = self.minimise(prior, &factor, limited, Some(&first.values))?;
        self.laplace(prior, &factor, second)
    }

    /// Robust weights, the vigour and the effect of foam at a fit.
    fn weigh(&mut self, prior: &Prior, factor: &DMatrix<f64>, found: &Found) -> Result<()> {
        let (curve, delay, _) = self.curve(prior, factor, &found.values)?;
        let table = curve.tabulate();
        let effects = found.values.get(1 + DIMS..).unwrap_or_default();
        let residual: Vec<f64> = self
            .points
            .iter()
            .enumerate()
            .map(|(i, p)| {
                let effect: f64 = self.nuisances.iter().zip(effects).map(|(n, z)| n.column[i] * z).sum();
                // What foam adds is not known yet.
                p.sg - table.sg(p.shown_h(delay)) - effect
            })
            .collect();
        self.vigour = self.problem().vigour(&curve);
        self.foam = foam(&self.points, &self.vigour);
        weigh(&mut self.points, &residual, &self.vigour);
        Ok(())
    }

    fn problem(&self) -> Problem<'_> {
        Problem {
            points: &self.points,
            nuisances: &[],
            form: Form::Logistic,
            share: self.share,
            priors: [None; PARAMETERS],
            misreads: Misreads::NONE,
            foam: &[],
        }
    }

    /// The curve, the delay by gas and the misreading by foam at values of the parameters.
    fn curve(&self, prior: &Prior, factor: &DMatrix<f64>, values: &[f64]) -> Result<(Curve, f64, f64)> {
        let zeta = values.get(1..=DIMS).ok_or_else(|| Error::numeric("a forecast", "too few parameters"))?;
        let standardised = &prior.mean + factor * DVector::from_column_slice(zeta);
        let coordinates = std::array::from_fn(|i| standardised[i]);
        let original = values.first().copied().unwrap_or(self.original_sg);
        let misread = (plain(&coordinates, DELAY), plain(&coordinates, FOAM));
        Ok((curve(original, &coordinates, self.ln_pace), misread.0, misread.1))
    }

    fn minimise(&self, prior: &Prior, factor: &DMatrix<f64>, limited: bool, start: Option<&[f64]>) -> Result<Found> {
        let whitener = self.problem().whitener(&self.vigour, &self.errors)?;
        let begin = |i: usize, otherwise: f64| start.and_then(|s| s.get(i)).copied().unwrap_or(otherwise);
        let mut parameters = Vec::with_capacity(1 + DIMS + self.nuisances.len());
        let original = begin(0, self.original_sg).clamp(0.99, 1.25);
        parameters.push(Parameter::new("original_sg", original).within(0.99, 1.25).with_prior(self.original_sg, 0.02));
        let means = [0.0; DIMS].into_iter().chain(self.nuisances.iter().map(|nuisance| nuisance.mean));
        for (i, mean) in means.clone().enumerate() {
            parameters.push(Parameter::new(i.to_string(), begin(i + 1, mean)).with_prior(mean, 1.0));
        }
        let limit = if limited { self.limit_sg } else { None };
        let target = Target { own: self, prior, factor, whitener: &whitener, limit };
        let settings = NonlinearSettings { scale: Scale::Known, tolerance: 1e-8, patience: 40, ..Default::default() };
        let fit = settings.fit(&target, &parameters)?;
        let values: Vec<f64> = fit.parameters.iter().map(|p| p.value).collect();
        let pulls: f64 = values.iter().skip(1).zip(means).map(|(z, mean)| (z - mean).powi(2)).sum::<f64>()
            + ((values[0] - self.original_sg) / 0.02).powi(2);
        let n = values.len();
        let covariance = DMatrix::from_fn(n, n, |i, j| fit.covariance.get([i, j]).copied().unwrap_or(0.0));
        Ok(Found { values, covariance, target: fit.sum_of_squares + pulls })
    }

    /// From the minimum to the posterior in standardised coordinates, nuisance effects integrated out.
    fn laplace(&self, prior: &Prior, factor: &DMatrix<f64>, found: Found) -> Result<Posterior> {
        let ln_det = match found.covariance.clone().cholesky() {
            Some(l) => l.l_dirty().diagonal().iter().map(|d| 2.0 * d.ln()).sum::<f64>(),
            None => return Err(Error::numeric("a forecast", "the curvature at the most probable curve is singular")),
        };
        let mut to = DMatrix::zeros(1 + DIMS, 1 + DIMS);
        to[(0, 0)] = 1.0;
        to.view_mut((1, 1), (DIMS, DIMS)).copy_from(factor);
        let block = found.covariance.view((0, 0), (1 + DIMS, 1 + DIMS));
        let mut mean = &to * DVector::from_column_slice(found.values.get(..=DIMS).unwrap_or_default());
        for (cell, centre) in mean.iter_mut().skip(1).zip(prior.mean.iter()) {
            *cell += centre;
        }
        Ok(Posterior { mean, covariance: &to * block * to.transpose(), ln_evidence: 0.5 * (ln_det - found.target) })
    }
}

/// The minimum: gravity at pitching, coordinates relative to the prior, nuisance effects.
struct Found {
    values: Vec<f64>,
    covariance: DMatrix<f64>,
    target: f64,
}

/// Factor on the stated variance of the readings, from second differences of neighbouring points of one probe, robustly:
/// a curve that is straight over three points cancels.
fn factor(points: &[Point]) -> f64 {
    let readings: Vec<&Point> = points.iter().filter(|p| matches!(p.source, Source::Probe(_))).collect();
    let mut squares: Vec<f64> = readings
        .windows(3)
        .filter(|w| w[0].source == w[1].source && w[1].source == w[2].source)
        .filter_map(|w| {
            let stated = w[0].own_sd.powi(2) + 4.0 * w[1].own_sd.powi(2) + w[2].own_sd.powi(2);
            (stated > 0.0).then(|| (w[0].sg - 2.0 * w[1].sg + w[2].sg).powi(2) / stated)
        })
        .collect();
    if squares.len() < 8 {
        return 1.0;
    }
    // The median of a squared standard normal is 0.4549.
    (median(&mut squares) / 0.4549).clamp(0.02, 100.0)
}

/// The whitened residuals of the points, and the limit as one more.
struct Target<'a> {
    own: &'a Own,
    prior: &'a Prior,
    factor: &'a DMatrix<f64>,
    whitener: &'a Whitener,
    limit: Option<(f64, f64)>,
}

/// How far the terminal gravity of a batch that does not stick is from its limit, standard deviation, SG.
const AT_LIMIT_SD: f64 = 0.001;

impl Residuals for Target<'_> {
    fn count(&self) -> usize {
        self.own.points.len() + usize::from(self.limit.is_some())
    }

    fn residuals(&self, parameters: &[f64], out: &mut [f64]) -> Result<()> {
        let (curve, delay, foam) = self.own.curve(self.prior, self.factor, parameters)?;
        let table = curve.tabulate();
        let n = self.own.points.len();
        for (cell, point) in out.iter_mut().zip(&self.own.points) {
            *cell = point.sg - table.sg(point.shown_h(delay));
        }
        for (cell, effect) in out.iter_mut().zip(&self.own.foam) {
            *cell -= foam * effect;
        }
        for (nuisance, z) in self.own.nuisances.iter().zip(parameters.iter().skip(1 + DIMS)) {
            for (cell, effect) in out.iter_mut().zip(&nuisance.column) {
                *cell -= z * effect;
            }
        }
        self.whitener.whiten(out.iter_mut().take(n));
        if let (Some((sg, sd)), Some(last)) = (self.limit, out.last_mut()) {
            *last = (sg - curve.terminal_sg) / sd.hypot(AT_LIMIT_SD);
        }
        Ok(())
    }

    fn jacobian(&self, parameters: &[f64], mut out: ArrayViewMut2<'_, f64>) -> Result<()> {
        let (curve, delay, _) = self.own.curve(self.prior, self.factor, parameters)?;
        let table = curve.tabulate();
        let n = self.own.points.len();
        let mut raw = DMatrix::zeros(DIMS, n);
        for (i, (mut row, point)) in out.axis_iter_mut(Axis(0)).zip(&self.own.points).enumerate() {
            let (by_original, mut by) = chain(&curve, &table.gradient(point.shown_h(delay)).1);
            by[DELAY] = base(DELAY).1 * point.by_delay(&table, delay);
            by[FOAM] = base(FOAM).1 * self.own.foam.get(i).copied().unwrap_or(0.0);
            row[0] = -by_original;
            for (cell, slope) in raw.column_mut(i).iter_mut().zip(by) {
                *cell = -slope;
            }
        }
        let turned = self.factor.tr_mul(&raw);
        for (i, mut row) in out.axis_iter_mut(Axis(0)).take(n).enumerate() {
            for (cell, slope) in row.iter_mut().skip(1).zip(turned.column(i).iter()) {
                *cell = *slope;
            }
        }
        for (mut column, nuisance) in out.axis_iter_mut(Axis(1)).skip(1 + DIMS).zip(&self.own.nuisances) {
            for (cell, effect) in column.iter_mut().zip(&nuisance.column) {
                *cell = -effect;
            }
        }
        for mut column in out.axis_iter_mut(Axis(1)) {
            self.whitener.whiten(column.iter_mut().take(n));
        }
        if let (Some((_, sd)), Some(mut last)) = (self.limit, out.axis_iter_mut(Axis(0)).last()) {
            // The terminal gravity is a function of the original gravity and the attenuation alone.
            let mut at_rest = [0.0; PARAMETERS];
            at_rest[1] = 1.0;
            let (by_original, by) = chain(&curve, &at_rest);
            let turned = self.factor.tr_mul(&DVector::from_column_slice(&by));
            let sd = sd.hypot(AT_LIMIT_SD);
            last.fill(0.0);
            last[0] = -by_original / sd;
            for (cell, slope) in last.iter_mut().skip(1).zip(turned.iter()) {
                *cell = -slope / sd;
            }
        }
        Ok(())
    }
}
