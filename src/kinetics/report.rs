//! What is reported of a fitted batch: findings, offsets, flags.

use crate::error::{Error, Result};
use crate::fit::whiteness::Whiteness;
use crate::fit::{Estimate, Finding};
use crate::gravity::{FOAM_H, GravitySeries, SeriesProbe};
use crate::season::Flags;

use super::batch_fit::{BatchFit, FittedFermentation, ProbeOffset, ProbeStep};
use super::bins::BinnedSeries;
use super::clock::Clock;
use super::curve_problem::CurveProblem;
use super::estimate::CurveFit;
use super::judge::{Judge, SURE};
use super::point::{BatchPoint, PointSource, median, weighted_rms};
use super::probe_bias::{DELAY, FITTED, FOAM};
use super::robust_weights::OUTLIER_WEIGHT;
use super::settings::KineticsSettings;
use super::status::Status;
use super::steps::without_steps;
use super::trait_estimates::{estimates, trait_estimates};
use super::traits::Trait;
use super::weak_priors::ATTENUATION;

assumed! {
    /// Standard deviation of the attenuation that a wort can reach where nothing is known.
    const LIMIT_ATTENUATION_SD: f64 = 0.07, "share";
    /// The least standard deviation of that of one batch about others of its strain.
    const LEAST_LIMIT_SD: f64 = 0.02, "share";
}

/// How the numbers beside the curve are found.
const METHOD: &str = "generalised least squares with its prior, normal";

impl CurveFit {
    /// The curve on its clock, with what its errors need.
    fn fitted(&self, clock: Clock) -> Result<FittedFermentation> {
        let covariance = &self.fit.covariance;
        let values = self.fit.values();
        let bias = values.get(DELAY..).and_then(|after| after.first_chunk::<2>());
        let (Some(bias), Some(_)) = (bias, covariance.get([FITTED - 1, FITTED - 1])) else {
            return Err(Error::numeric("a fermentation curve", "too few parameters"));
        };
        // Nothing is known of how a number that no datum tells goes with the others.
        let at = |i: usize, j: usize| if covariance[[i, j]].is_finite() { covariance[[i, j]] } else { 0.0 };
        Ok(FittedFermentation {
            curve: self.curve,
            clock,
            bias: *bias,
            covariance: std::array::from_fn(|i| std::array::from_fn(|j| at(i, j))),
            errors: self.errors,
        })
    }
}

impl KineticsSettings {
    /// Fills in what a fitted curve says.
    pub(super) fn report(
        &self,
        fit: &mut BatchFit,
        series: &GravitySeries,
        found: &CurveFit,
        given: &CurveProblem<'_>,
        mut binned: BinnedSeries,
        clock: Clock,
    ) -> Result<()> {
        let fitted = found.fitted(clock)?;
        let last = fit.last_hours;
        let [progress] = estimates(&fitted, self.common.level, |curve| [Ok(curve.progress(last))])?;
        let done =
            progress.value().ok_or_else(|| Error::not_estimable("the share of the drop done", "it is no number"))?;
        let early = done < self.terminal_from_progress;
        // Its own curve's share of the drop would stand beside the forecast's, which knows more.
        let why = format!(
            "its curve does not show its end: terminal gravity is given once that shows {:.0} % of the drop",
            100.0 * self.terminal_from_progress
        );
        fit.traits = trait_estimates(&fitted, self.common.level, self.common.at_rest.within_sg)?;
        if early {
            fit.without_terminal(&why);
        }
        binned.notes.extend(early.then_some(why));
        fit.why = binned.notes.join("; ");
        fit.progress = progress;
        fit.foam_sg = foam(&fitted, self.common.level)?;
        let residual = given.of(&binned.points, &found.foam).residuals(&found.fit.values())?;
        fit.rmse_sg = weighted_rms(residual.iter().copied().zip(binned.points.iter().map(|p| p.weight)));
        fit.whiteness = Whiteness::of(&found.fit.residuals);
        fit.innovations.clone_from(&found.fit.residuals);
        fit.residuals_sg = residual;
        for point in 0..binned.points.len() {
            if binned.points[point].weight < *OUTLIER_WEIGHT {
                binned.flag_point(series, point, Flags::OUTLIER);
            }
        }
        let offsets = offsets(found, given, &binned.points, series);
        fit.offsets = series.probes.iter().zip(offsets).map(|(of, at)| self.offset(of, at)).collect::<Result<_>>()?;
        fit.steps = self.found_steps(found, given, series)?;
        binned.flags.sort_unstable_by_key(|(row, _)| *row);
        fit.flags = binned.flags;
        fit.points = binned.points;
        fit.fitted = Some(fitted);
        self.judge(fit, series.limit_sg.unwrap_or_else(|| limit_by_default(found.curve.original_sg)))
    }

    /// The steps of a fit with their sizes.
    fn found_steps(
        &self,
        found: &CurveFit,
        given: &CurveProblem<'_>,
        series: &GravitySeries,
    ) -> Result<Vec<ProbeStep>> {
        let z = found.fit.values();
        let mut all = Vec::new();
        for (place, nuisance) in (FITTED..).zip(given.likelihood.nuisances) {
            let Some(step) = nuisance.step else { continue };
            let (value, se) = (z[place], found.fit.covariance[[place, place]].max(0.0).sqrt());
            let estimate = Estimate::normal(step.sd_sg * value, step.sd_sg * se, self.common.level, METHOD)?;
            let probe = step.probe as usize;
            let Some(of) = series.probes.get(probe) else { continue };
            let step_sg = Finding::Estimated(estimate);
            all.push(ProbeStep { probe: of.probe.clone(), place: probe, hours: step.hours, step_sg });
        }
        Ok(all)
    }

    fn offset(&self, of: &SeriesProbe, (value, se): (f64, f64)) -> Result<ProbeOffset> {
        let offset_sg = if se > 0.0 {
            Finding::Estimated(Estimate::normal(value, se, self.common.level, METHOD)?)
        } else {
            Finding::Fixed { value: 0.0, why: "no error of this probe was given".into() }
        };
        Ok(ProbeOffset { probe: of.probe.clone(), offset_sg })
    }

    /// Sets the status, for a limit and its standard deviation.
    pub(super) fn judge(&self, fit: &mut BatchFit, limit: (f64, f64)) -> Result<()> {
        if let Some(fitted) = &fit.fitted {
            let points = without_steps(&fit.points, &fit.steps);
            let judged = Judge {
                points: &points,
                last_hours: fit.last_hours,
                tolerance_sg: self.common.at_rest.within_sg,
                stuck_above: self.common.stuck_above_limit_sg,
                limit,
            };
            let p_stuck = judged.p_stuck(fitted.curve.terminal_sg, fitted.covariance[1][1]);
            (fit.status, fit.status_since_h, fit.status_probability) =
                judged.status(fitted, p_stuck, self.common.level)?;
            (fit.limit_sg, fit.p_stuck) = (Some(limit), Some(p_stuck));
        }
        Ok(())
    }
}

impl BatchFit {
    /// Takes back what hangs on the terminal gravity, for a reason.
    fn without_terminal(&mut self, why: &str) {
        for which in Trait::ALL.into_iter().filter(|which| which.needs_terminal()) {
            self.traits[which as usize] = Finding::missing(why);
        }
    }

    /// Takes back an end far above the limit that no sample shows, and readings for no longer than foam may grow on a probe: foam
    /// looks the same.
    pub(super) fn doubt_an_unseen_end(&mut self) {
        let since_h = self.status_since_h.filter(|_| self.status == Status::Stuck).unwrap_or(f64::INFINITY);
        let is_seen = self.points.iter().any(|point| match point.source {
            PointSource::Probe(_) => point.hours > since_h + *FOAM_H,
            PointSource::Sample(_) => point.hours > since_h,
        });
        if is_seen || self.p_stuck.is_none_or(|p| p <= *SURE) || self.finding(Trait::TerminalSg).estimate().is_none() {
            return;
        }
        let why = format!(
            "it seems to end far above the limit, which neither a sample shows nor level readings for {:.0} h",
            *FOAM_H
        );
        self.without_terminal(&why);
        if self.status == Status::Stuck {
            (self.status, self.status_since_h) = (Status::Slowing, None);
            self.status_probability = Finding::missing(why.clone());
        }
        self.add_why(&why);
    }
}

/// The limit where nothing is known of the wort, with its standard deviation.
fn limit_by_default(original_sg: f64) -> (f64, f64) {
    let extract = original_sg - 1.0;
    (1.0 + (1.0 - *ATTENUATION) * extract, *LIMIT_ATTENUATION_SD * extract)
}

/// The limit as the other batches of the strain have it, where at least three came to rest: the median of their
/// attenuations, and a robust standard deviation of one batch that is never under 0.02 of the original extract.
pub(super) fn limit_by_strain(of: &BatchFit, batches: &[BatchFit]) -> Option<(f64, f64)> {
    let others = batches.iter().filter(|fit| fit.strain == of.strain && fit.batch != of.batch);
    let mut attenuations: Vec<f64> = others
        .filter(|fit| matches!(fit.status, Status::Finished | Status::Stuck))
        .filter_map(|fit| fit.finding(Trait::Attenuation).value())
        .collect();
    let extract = of.fitted.as_ref()?.curve.original_sg - 1.0;
    if attenuations.len() < 3 {
        return None;
    }
    let middle = median(&mut attenuations);
    let mut away: Vec<f64> = attenuations.iter().map(|a| (a - middle).abs()).collect();
    let sd = (1.4826 * median(&mut away)).max(*LEAST_LIMIT_SD);
    Some((1.0 + (1.0 - middle) * extract, sd * extract))
}

fn foam(fitted: &FittedFermentation, level: f64) -> Result<Finding> {
    let ([_, value], se) = (fitted.bias, fitted.covariance[FOAM][FOAM].max(0.0).sqrt());
    if se <= 0.0 {
        return Ok(Finding::Fixed { value, why: "as set".into() });
    }
    Ok(Finding::Estimated(Estimate::normal(value, se, level, METHOD)?))
}

/// The probes' errors at the middle of the drop: at each probe's point nearest to it.
fn offsets(
    found: &CurveFit,
    given: &CurveProblem<'_>,
    points: &[BatchPoint],
    series: &GravitySeries,
) -> Vec<(f64, f64)> {
    let middle_sg = 0.5 * (found.curve.original_sg + found.curve.terminal_sg);
    let of = |probe: usize| {
        let mine = points.iter().enumerate().filter(|(_, p)| p.source == PointSource::Probe(probe));
        let (nearest, _) =
            mine.min_by(|(_, a), (_, b)| (a.sg - middle_sg).abs().total_cmp(&(b.sg - middle_sg).abs()))?;
        let parts: Vec<(usize, f64)> = given
            .likelihood
            .nuisances
            .iter()
            .enumerate()
            .filter_map(|(k, nuisance)| Some((FITTED + k, *nuisance.column.get(nearest)?)))
            .collect();
        let z = found.fit.values();
        let at = |i: usize, j: usize| found.fit.covariance[[i, j]];
        let value: f64 = parts.iter().map(|(i, by)| by * z[*i]).sum();
        let variance: f64 = parts.iter().flat_map(|(i, a)| parts.iter().map(move |(j, b)| a * b * at(*i, *j))).sum();
        Some((value, variance.max(0.0).sqrt()))
    };
    (0..series.probes.len()).map(|probe| of(probe).unwrap_or((0.0, 0.0))).collect()
}
