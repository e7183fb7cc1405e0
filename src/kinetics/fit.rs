//! The fit of one batch, and of all together.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::error::Result;
use crate::gravity::GravitySeries;

use super::batch_fit::{AtReference, BatchFit, Kinetics};
use super::bins::{BinnedSeries, bins};
use super::clock::{Clock, Thermal};
use super::curve::FermentationCurve;
use super::curve_problem::{CurveProblem, Priors};
use super::error_model::ErrorModel;
use super::estimate::{CurveFit, estimate, least, refine};
use super::level_changes::{fall_sg, not_started, rise_sg};
use super::likelihood::BatchLikelihood;
use super::nuisance::{Nuisance, nuisances};
use super::point::BatchPoint;
use super::pooled_shape::{PooledShapes, shared_priors};
use super::probe_bias::ProbeBias;
use super::report::limit_by_strain;
use super::robust_weights::without_wrong;
use super::settings::{ClockChoice, KineticsSettings};
use super::status::Status;
use super::trait_estimates::at_reference;
use super::traits::Trait;
use super::unfitted::{check_series, first_gravity, gravity_before_start, unfitted};
use super::weak_priors::weak_priors;

assumed! {
    /// Fewer points than this make no curve.
    pub(crate) const LEAST_POINTS: usize = 5, "points";
    /// A clock whose pace varies by less than this factor is not looked at.
    const TELLING_PACE: f64 = 1.1, "times";
}

/// Most points a probe gives: more say nothing more about a curve, as neighbours are correlated.
const MOST_POINTS: f64 = 160.0;

impl KineticsSettings {
    /// Fits one batch by itself. Too little data is no error: the result says in its status and findings what is missing
    /// and why.
    ///
    /// # Errors
    /// [`crate::Error::Setting`]; [`crate::Error::Usage`] for a series whose columns have different lengths or whose hours go back.
    pub fn fit(&self, series: &GravitySeries) -> Result<BatchFit> {
        self.check()?;
        check_series(series)?;
        let mut fit = self.one_curve(series);
        fit.doubt_an_unseen_end();
        Ok(fit)
    }

    /// The curve of one batch by itself; whatever fails becomes the reason why it has none.
    fn one_curve(&self, series: &GravitySeries) -> BatchFit {
        if let Err(error) = check_series(series) {
            let none = unfitted(series, &BinnedSeries::default());
            return none.without_curve(Status::TooFewData, error.to_string(), &[]);
        }
        let binned = bins(series, self, MOST_POINTS);
        let (fit, notes) = (unfitted(series, &binned), binned.notes.clone());
        self.curve_of(fit.clone(), series, binned)
            .unwrap_or_else(|error| fit.without_curve(Status::TooFewData, error.to_string(), &notes))
    }

    fn curve_of(&self, mut fit: BatchFit, series: &GravitySeries, mut binned: BinnedSeries) -> Result<BatchFit> {
        if binned.points.len() < *LEAST_POINTS {
            let why = format!("{} points after averaging; a curve needs {}", binned.points.len(), *LEAST_POINTS);
            return Ok(fit.without_curve(Status::TooFewData, why, &binned.notes));
        }
        if fall_sg(&binned.points).is_none() {
            let risen = rise_sg(&binned.points);
            let why = match risen {
                Some(by) => format!("the gravity rises by {by:.3} in these data: no fermentation"),
                None => "the gravity has not fallen by 0.002 in these data".to_owned(),
            };
            if risen.is_none() {
                fit.traits[Trait::OriginalSg as usize] =
                    gravity_before_start(&binned.points, series, self.common.level)?;
            }
            let mut fit = fit.without_curve(Status::NotStarted, why, &binned.notes);
            fit.status_probability = not_started(&fit.points, self.common.level)?;
            fit.status_since_h = Some(0.0);
            return Ok(fit);
        }
        let clock = self.clock_of(series, fit.last_hours);
        binned.set_clock(&clock);
        let effects = nuisances(series, &binned, self)?;
        let (found, binned) = self.curve(binned, &effects)?;
        let priors = weak_priors(first_gravity(&binned.points));
        self.report(&mut fit, series, &found, &self.given(found.curve.kind, &effects, &priors), binned, clock)?;
        Ok(fit)
    }

    /// Fits all batches, each by itself and then again with what the others tell: the shape of the curve, its slow tail above
    /// all, and the bias of probes by gas, which one batch alone seldom shows, have the prior that the other batches give, by
    /// strain as far as strains differ. The gravities and the pace of a batch are its own. The limit of a batch without a
    /// forced-ferment test is taken from the other batches of its strain, where at least three have come to rest.
    ///
    /// Whatever fails in one batch, its series not being one included, becomes the reason that its result gives.
    ///
    /// # Errors
    /// [`crate::Error::Setting`].
    #[doc = example!(no_run "let by_gompertz = KineticsSettings { curves: vec![FermentationCurve::Gompertz], ..Default::default() };\nprintln!(\"{}\", by_gompertz.fit_all(&study.series)?);")]
    pub fn fit_all(&self, all: &[GravitySeries]) -> Result<Kinetics> {
        self.fit_counted(all, &|_| ())
    }

    /// The same; `count` is told how many batches are done, first none.
    pub(crate) fn fit_counted(&self, all: &[GravitySeries], count: &(dyn Fn(usize) + Sync)) -> Result<Kinetics> {
        self.check()?;
        let done = AtomicUsize::new(0);
        count(0);
        let mut batches: Vec<BatchFit> = all.par_iter().map(|series| self.one_curve(series)).collect();
        let shared = PooledShapes::new(&batches, &self.bias());
        batches.par_iter_mut().zip(all).enumerate().for_each(|(index, (fit, series))| {
            if let Some(prior) = shared.prior(index, &fit.strain)
                && let Ok(again) = self.again(fit, series, &shared_priors(&prior, &self.bias()))
            {
                // Where the second fit fails the fit by itself stands.
                *fit = again;
            }
            if let Some(fitted) = &fit.fitted {
                let thermal = |energy: f64| Thermal::new(series, self, energy);
                fit.at_reference = at_reference(fitted, self.common.level, thermal, &self.common.activation)
                    .unwrap_or_else(|error| AtReference::missing(&error.to_string()));
            }
            count(done.fetch_add(1, Ordering::Relaxed) + 1);
        });
        let limits: Vec<Option<(f64, f64)>> = batches.iter().map(|fit| limit_by_strain(fit, &batches)).collect();
        for ((fit, series), limit) in batches.iter_mut().zip(all).zip(limits) {
            if let (None, Some(limit)) = (series.limit_sg, limit)
                && let Err(error) = self.judge(fit, limit)
            {
                fit.add_why(&format!("status without the limit of the strain: {error}"));
            }
            fit.doubt_an_unseen_end();
        }
        Ok(Kinetics { batches, settings: self.clone() })
    }

    /// The fit of a batch once more, from where it is, with other priors of what is shared.
    fn again(&self, fit: &BatchFit, series: &GravitySeries, shared: &(Priors, ProbeBias)) -> Result<BatchFit> {
        let mut fit = fit.clone();
        let Some(fitted) = fit.fitted.clone().filter(|fitted| fitted.curve.kind == FermentationCurve::Smooth) else {
            return Ok(fit);
        };
        let mut binned = bins(series, self, MOST_POINTS);
        // The robust weights stay as they were found.
        binned.points.clone_from(&fit.points);
        binned.set_clock(&fitted.clock);
        let effects = nuisances(series, &binned, self)?;
        let mut priors = weak_priors(first_gravity(&binned.points));
        for (prior, other) in priors.iter_mut().zip(&shared.0) {
            *prior = other.or(*prior);
        }
        let given = CurveProblem { bias: shared.1, ..self.given(fitted.curve.kind, &effects, &priors) };
        // The prior of the correction is as the other batches have it.
        let errors = ErrorModel { correction_sd: 1.0, ..fitted.errors };
        let found = refine(&fitted.curve, errors, &given, &binned.points)?;
        self.report(&mut fit, series, &found, &given, binned, fitted.clock)?;
        Ok(fit)
    }

    /// What fits of a kind of curve are given.
    fn given<'a>(&self, kind: FermentationCurve, nuisances: &'a [Nuisance], priors: &'a Priors) -> CurveProblem<'a> {
        let likelihood = BatchLikelihood { points: &[], nuisances, foam: &[] };
        CurveProblem { kind, likelihood, priors, bias: self.bias() }
    }

    /// The clock that was asked for: thermal time unless the pace hardly varies over these hours.
    fn clock_of(&self, series: &GravitySeries, last_h: f64) -> Clock {
        let thermal = match self.clock {
            ClockChoice::Real => None,
            _ => Thermal::new(series, self, self.common.activation.kj_mol).map(Clock::Thermal),
        };
        let telling = |of: &Clock| self.clock == ClockChoice::Thermal || of.range(0.0, last_h) >= *TELLING_PACE;
        thermal.filter(telling).unwrap_or_default()
    }

    /// The curve that was asked for, or of several the one with the lowest AICc.
    fn curve(&self, mut binned: BinnedSeries, effects: &[Nuisance]) -> Result<(CurveFit, BinnedSeries)> {
        let priors = weak_priors(first_gravity(&binned.points));
        let fits = self.curves.iter().map(|kind| {
            let given = self.given(*kind, effects, &priors);
            let mut points = binned.points.clone();
            let found = estimate(&given, &mut points)?;
            let again = |points: &mut [BatchPoint]| estimate(&given, points);
            Ok(without_wrong(&binned.points, (found, points), again, |found| found.aicc))
        });
        let (found, points) = least(fits, |(found, _)| found.aicc, "no curve was asked for")?;
        binned.points = points;
        Ok((found, binned))
    }

    /// Priors of the bias of probes by gas and foam.
    fn bias(&self) -> ProbeBias {
        ProbeBias { delay_h: (self.bubble_delay_h, self.bubble_delay_sd_h), foam_sg: (self.foam_sg, self.foam_sd_sg) }
    }
}
