//! What a batch's own gravities say, given a normal prior of its coordinates: the most probable curve and the normal
//! approximation around it (Laplace).

use nalgebra::{DMatrix, DVector};
use ndarray::{ArrayViewMut2, Axis};

use crate::error::{Error, Result};
use crate::fit::nonlinear::{NonlinearSettings, Parameter};
use crate::gravity::GravitySeries;
use crate::kinetics::bins::bins;
use crate::kinetics::error_model::ErrorModel;
use crate::kinetics::fit::LEAST_POINTS;
use crate::kinetics::likelihood::{BatchLikelihood, BiasedCurve, Coordinates, Slopes, WhitenedBatch};
use crate::kinetics::nuisance::{Nuisance, nuisances};
use crate::kinetics::point::median;
use crate::kinetics::population::PopulationPrior;
use crate::kinetics::probe_bias::foam;
use crate::kinetics::robust_weights::{OUTLIER_WEIGHT, weigh, without_wrong};
use crate::kinetics::weak_priors::ORIGINAL_SD_SG;
use crate::kinetics::{BatchPoint, GravityCurve, KineticsSettings, PARAMETERS, PointSource};

use super::coordinates::{DELAY, DIMS, FOAM, base, chain, curve, ln_pace, plain};
use super::slowing::Slowing;
use super::stuck::{AT_LIMIT_SD, Leaving};

/// Why a batch without points has no forecast.
pub(super) const NO_GRAVITY: &str = "no gravity known at this moment";
/// Most points a probe gives to a forecast.
const MOST_POINTS: f64 = 90.0;

assumed! {
    /// A curve that leaves the points of the last day by more than this in the mean does not fit them.
    const LEAVES_SG: f64 = 0.003, "SG";
    /// A batch that slows is looked at for so long.
    const SLOWING_H: f64 = 48.0, "h";
    /// What a probe does in that time by itself, and a slow tail, SD.
    const SLOWING_SD: f64 = 0.0013, "SG";
}

/// A batch's gravities made ready, with its error model.
#[derive(Debug, Clone)]
pub(super) struct BatchAsKnown {
    points: Vec<BatchPoint>,
    nuisances: Vec<Nuisance>,
    errors: ErrorModel,
    /// Rate of fall over the greatest at each point, 1 before a curve is known.
    relative_rate: Vec<f64>,
    /// What foam adds to each point; empty before a curve is known.
    foam: Vec<f64>,
    /// Whether weights, rate and foam have been found.
    is_weighed: bool,
    /// Gravity at pitching as the first hours show it.
    pub original_sg: f64,
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
    /// Whether the most probable curve is where the points of the last day are.
    pub fits: bool,
}

impl Posterior {
    /// The most probable curve.
    pub fn curve(&self, ln_pace: f64) -> GravityCurve {
        let coordinates = std::array::from_fn(|k| self.mean[k + 1]);
        curve(self.mean[0], &coordinates, ln_pace)
    }
}

impl BatchAsKnown {
    /// # Errors
    /// [`Error::NotEstimable`] when there is no gravity at all.
    pub fn new(series: &GravitySeries, settings: &KineticsSettings, error_model: (f64, f64, f64)) -> Result<Self> {
        let binned = bins(series, settings, MOST_POINTS);
        let last = binned.points.last().ok_or_else(|| Error::not_estimable("a forecast", NO_GRAVITY))?;
        let last_h = last.hours;
        let all = nuisances(series, &binned, settings)?;
        let mut early: Vec<f64> = binned.points.iter().filter(|p| p.hours <= 6.0).map(|p| p.sg).collect();
        let mut every: Vec<f64> = binned.points.iter().map(|p| p.sg).collect();
        let original_sg = match series.original_sg {
            Some((sg, _)) => sg,
            None if early.is_empty() => median(&mut every) + 0.01,
            None => median(&mut early),
        };
        let (kappa_sg, tau_h, floor) = error_model;
        let errors = ErrorModel { kappa_sg, tau_h, floor, factor: factor(&binned.points), correction_sd: 1.0 };
        let relative_rate = vec![1.0; binned.points.len()];
        let last_reading_h = series.hours.last().copied().unwrap_or(last_h).max(last_h);
        Ok(Self {
            points: binned.points,
            nuisances: all,
            errors,
            relative_rate,
            foam: Vec::new(),
            is_weighed: false,
            original_sg: original_sg.clamp(1.005, 1.2),
            ln_pace: ln_pace(series),
            last_reading_h,
            limit_sg: series.limit_sg,
        })
    }

    /// The posterior under a prior; `limited` takes the measured limit into account. Robust weights, and samples that are left
    /// out because all else contradicts them, are found on the first call and kept.
    pub fn posterior(&mut self, prior: &PopulationPrior, limited: bool) -> Result<Posterior> {
        let factor = prior.covariance.clone().cholesky();
        let factor = factor.ok_or_else(|| Error::numeric("a forecast", "the prior's covariance is singular"))?.l();
        let about = AboutPrior { mean: &prior.mean, factor: &factor, ln_pace: self.ln_pace };
        let found = if self.is_weighed { self.most_probable(&about, limited)? } else { self.weighed(&about, limited)? };
        let fits = self.fits(&about, &found)?;
        about.laplace(found, fits)
    }

    /// The minimum with its robust weights, without samples that are wrong.
    fn weighed(&mut self, about: &AboutPrior<'_>, limited: bool) -> Result<MostProbable> {
        let unweighed = self.clone();
        let weigh = |mut own: Self| {
            let found = own.most_probable(about, limited)?;
            own.weigh(about, &found)?;
            own.is_weighed = true;
            let found = own.minimise(about, limited, &found.values)?;
            let score = found.target + own.likelihood().whitener(&own.relative_rate, &own.errors)?.ln_determinant();
            Ok((own, found, score))
        };
        let first = weigh(unweighed.clone())?;
        let points = first.0.points.clone();
        let again = |points: &mut [BatchPoint]| weigh(Self { points: points.to_vec(), ..unweighed.clone() });
        let ((own, found, _), _) = without_wrong(&unweighed.points, (first, points), again, |(.., score)| *score);
        *self = own;
        if self.points.first().is_some_and(|pitched| pitched.hours <= 0.0 && pitched.weight < *OUTLIER_WEIGHT) {
            self.original_sg = found.values.first().copied().unwrap_or(self.original_sg);
        }
        Ok(found)
    }

    /// The minimum from the prior's mean, or, where that leaves the last day, the better of it and the one from the prior's curve
    /// that ends where the last points are.
    fn most_probable(&self, about: &AboutPrior<'_>, limited: bool) -> Result<MostProbable> {
        let mut start = self.means();
        let usual = self.minimise(about, limited, &start);
        if let Ok(found) = &usual
            && self.fits(about, found)?
        {
            return usual;
        }
        let drop_sg = self.last_by(f64::INFINITY).map_or(0.0, |(_, drop_sg, _)| drop_sg);
        let (mean, sd) = base(0);
        if let Some(attenuation) = start.get_mut(1) {
            *attenuation = ((drop_sg / (self.original_sg - 1.0) - mean) / sd - about.mean[0]) / about.factor[(0, 0)];
        }
        match (usual, self.minimise(about, limited, &start)) {
            (Ok(usual), Ok(other)) if usual.target <= other.target => Ok(usual),
            (usual, other) => other.or(usual),
        }
    }

    /// Whether a curve is where the points of the last day are in the mean.
    fn fits(&self, about: &AboutPrior<'_>, found: &MostProbable) -> Result<bool> {
        let residuals = self.likelihood().residuals(about, &found.values)?;
        let from_h = self.points.last().map_or(0.0, |point| point.hours) - 24.0;
        let first = self.points.partition_point(|point| point.hours < from_h);
        let last = residuals.get(first..).unwrap_or_default();
        Ok(last.iter().sum::<f64>().abs() <= *LEAVES_SG * last.len() as f64)
    }

    /// Robust weights, the relative rate and the effect of foam at a fit.
    fn weigh(&mut self, about: &AboutPrior<'_>, found: &MostProbable) -> Result<()> {
        // What foam adds is not known yet.
        let residual = self.likelihood().residuals(about, &found.values)?;
        self.relative_rate = self.likelihood().relative_rate(&about.curve(&found.values)?.curve);
        self.foam = foam(&self.points, &self.relative_rate);
        weigh(&mut self.points, &residual, &self.relative_rate);
        Ok(())
    }

    /// The same batch on the clock of a curve whose yeast leaves.
    pub fn leaving(&self, leaving: Leaving) -> Self {
        let mut own = self.clone();
        for point in &mut own.points {
            (point.clock_h, point.pace) = leaving.clock(point.hours);
        }
        own
    }

    /// The hour at which the points first show a drop, SG, on a straight line between two.
    pub fn fallen_h(&self, drop_sg: f64) -> Option<f64> {
        let wanted = self.original_sg - drop_sg;
        let about = self.points.windows(2).find(|pair| pair[0].sg > wanted && pair[1].sg <= wanted)?;
        let share = (about[0].sg - wanted) / (about[0].sg - about[1].sg);
        Some(about[0].hours + share * (about[1].hours - about[0].hours))
    }

    /// Whether there are points enough for a curve.
    pub fn shows_curve(&self) -> bool {
        self.points.len() >= *LEAST_POINTS
    }

    /// The hour and the drop, SG, of the last three points by an hour in the mean, and the SD of that drop by their own
    /// errors; none without points.
    pub fn last_by(&self, hours: f64) -> Option<(f64, f64, f64)> {
        let last = self.points.iter().rev().skip_while(|point| point.hours > hours).take(3);
        let n = last.clone().count() as f64;
        let (hours, drop, variance) = last.fold((0.0, 0.0, 0.0), |(h, d, v), point| {
            (h + point.hours, d + self.original_sg - point.sg, v + point.own_sd.powi(2))
        });
        (n > 0.0).then(|| (hours / n, drop / n, variance.sqrt() / n))
    }

    /// The fall in the later half of the time since an hour, up to two days; none without gravities at both ends.
    pub fn slowing(&self, mid_h: f64, now_h: f64) -> Option<Slowing> {
        let back_h = (0.5 * (now_h - mid_h)).min(*SLOWING_H);
        let (from_h, before, before_sd) = self.last_by(now_h - back_h)?;
        let (to_h, after, after_sd) = self.last_by(now_h)?;
        let se_sg = after_sd.hypot(before_sd).hypot(*SLOWING_SD);
        (to_h - from_h > 0.5 * back_h && back_h > 0.0).then_some(Slowing {
            from_h,
            to_h,
            fell_sg: after - before,
            se_sg,
        })
    }

    fn likelihood(&self) -> BatchLikelihood<'_> {
        BatchLikelihood { points: &self.points, nuisances: &self.nuisances, foam: &self.foam }
    }

    /// The prior's means.
    fn means(&self) -> Vec<f64> {
        let mut means = vec![self.original_sg];
        means.resize(1 + DIMS, 0.0);
        means.extend(self.nuisances.iter().map(|nuisance| nuisance.mean));
        means
    }

    fn minimise(&self, about: &AboutPrior<'_>, limited: bool, start: &[f64]) -> Result<MostProbable> {
        let likelihood = self.likelihood();
        let whitener = likelihood.whitener(&self.relative_rate, &self.errors)?;
        let means = self.means();
        let named = |(i, (begin, mean)): (usize, (&f64, &f64))| match i {
            0 => Parameter::new("original_sg", begin.clamp(0.99, 1.25))
                .within(0.99, 1.25)
                .with_prior(*mean, *ORIGINAL_SD_SG),
            _ => Parameter::new(format!("coordinate {i}"), *begin).with_prior(*mean, 1.0),
        };
        let parameters: Vec<Parameter> = start.iter().zip(&means).enumerate().map(named).collect();
        let limit = self.limit_sg.filter(|_| limited);
        let terminal_sg = limit.map(|(sg, sd): (f64, f64)| (sg, sd.hypot(*AT_LIMIT_SD)));
        let target = WhitenedBatch { likelihood, coordinates: about, whitener: &whitener, terminal_sg };
        let settings = NonlinearSettings { tolerance: 1e-8, patience: 40 };
        let fit = settings.fit(&target, &parameters)?;
        let values = fit.values();
        let sd = |i: usize| if i == 0 { *ORIGINAL_SD_SG } else { 1.0 };
        let pulls: f64 = values.iter().zip(&means).enumerate().map(|(i, (z, mean))| ((z - mean) / sd(i)).powi(2)).sum();
        let covariance = DMatrix::from_fn(values.len(), values.len(), |i, j| fit.covariance[[i, j]]);
        Ok(MostProbable { values, covariance, target: fit.sum_of_squares + pulls })
    }
}

/// The gravity at pitching, and the coordinates of the curve from the prior's mean on in units of its Cholesky factor.
#[derive(Debug)]
struct AboutPrior<'a> {
    mean: &'a DVector<f64>,
    factor: &'a DMatrix<f64>,
    ln_pace: f64,
}

impl Coordinates for AboutPrior<'_> {
    fn count(&self) -> usize {
        1 + DIMS
    }

    fn curve(&self, parameters: &[f64]) -> Result<BiasedCurve> {
        let (original_sg, zeta) = match parameters.split_first() {
            Some((original_sg, rest)) if rest.len() >= DIMS => (*original_sg, rest.split_at(DIMS).0),
            _ => return Err(Error::numeric("a forecast", "too few parameters")),
        };
        let standardised = self.mean + self.factor * DVector::from_column_slice(zeta);
        let at = std::array::from_fn(|i| standardised[i]);
        let curve = curve(original_sg, &at, self.ln_pace);
        Ok(BiasedCurve { curve, delay_h: plain(&at, DELAY), foam_sg: plain(&at, FOAM) })
    }

    fn chain(&self, at: &BiasedCurve, slopes: &[Slopes], mut out: ArrayViewMut2<'_, f64>) {
        let mut raw = DMatrix::zeros(DIMS, slopes.len());
        for ((slopes, mut column), mut row) in slopes.iter().zip(raw.column_iter_mut()).zip(out.axis_iter_mut(Axis(0)))
        {
            let [of_curve @ .., by_delay, by_foam] = slopes;
            let of_curve: &[f64; PARAMETERS] = of_curve;
            let (by_original, mut by) = chain(&at.curve, of_curve);
            by[DELAY] = base(DELAY).1 * by_delay;
            by[FOAM] = base(FOAM).1 * by_foam;
            row[0] = by_original;
            column.copy_from_slice(&by);
        }
        let turned = self.factor.tr_mul(&raw);
        for (mut row, slopes) in out.axis_iter_mut(Axis(0)).zip(turned.column_iter()) {
            for (cell, slope) in row.iter_mut().skip(1).zip(slopes.iter()) {
                *cell = *slope;
            }
        }
    }
}

impl AboutPrior<'_> {
    /// From the minimum to the posterior in standardised coordinates, nuisance effects integrated out.
    fn laplace(&self, found: MostProbable, fits: bool) -> Result<Posterior> {
        let ln_det = match found.covariance.clone().cholesky() {
            Some(l) => l.l_dirty().diagonal().iter().map(|d| 2.0 * d.ln()).sum::<f64>(),
            None => return Err(Error::numeric("a forecast", "the curvature at the most probable curve is singular")),
        };
        let n = 1 + DIMS;
        let mut to = DMatrix::zeros(n, n);
        to[(0, 0)] = 1.0;
        to.view_mut((1, 1), (DIMS, DIMS)).copy_from(self.factor);
        let block = found.covariance.view((0, 0), (n, n));
        let mut mean = &to * DVector::from_iterator(n, found.values.iter().copied().take(n));
        for (cell, centre) in mean.iter_mut().skip(1).zip(self.mean.iter()) {
            *cell += centre;
        }
        let covariance = &to * block * to.transpose();
        Ok(Posterior { mean, covariance, ln_evidence: 0.5 * (ln_det - found.target), fits })
    }
}

/// The minimum: gravity at pitching, coordinates relative to the prior, nuisance effects.
#[derive(Debug)]
struct MostProbable {
    values: Vec<f64>,
    covariance: DMatrix<f64>,
    target: f64,
}

/// Factor on the stated variance of the readings, from second differences of neighbouring points of one probe, robustly:
/// a curve that is straight over three points cancels.
fn factor(points: &[BatchPoint]) -> f64 {
    let readings: Vec<&BatchPoint> = points.iter().filter(|p| matches!(p.source, PointSource::Probe(_))).collect();
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
