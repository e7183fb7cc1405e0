//! What is reported of a fitted batch: findings, offsets, flags.

use crate::error::Result;
use crate::fit::whiteness::Whiteness;
use crate::fit::{Estimate, Finding};
use crate::gravity::{GravitySeries, SeriesProbe};
use crate::season::Flags;

use super::batch_fit::{BatchFit, FittedCurve, Point, ProbeOffset, Source};
use super::clock::Clock;
use super::curve::PARAMETERS;
use super::estimate::{Estimated, Given, values};
use super::misread::{DELAY, FITTED, FOAM};
use super::prepare::{Prepared, median};
use super::settings::KineticsSettings;
use super::status::{self, Status};
use super::steps::without_steps;
use super::traits::{self, Trait};

/// A point that counts less than this is called an outlier.
const OUTLIER_WEIGHT: f64 = 0.5;
/// Attenuation a wort can reach where nothing is known, mean and standard deviation: from memory, textbook level.
const LIMIT_ATTENUATION: (f64, f64) = (0.77, 0.07);

impl Estimated {
    /// The curve on its clock, with what its errors need.
    pub(super) fn fitted(&self, clock: Clock) -> FittedCurve {
        let at = |i: usize, j: usize| self.fit.covariance.get([i, j]).copied().filter(|c| c.is_finite()).unwrap_or(0.0);
        FittedCurve {
            kind: self.kind,
            curve: self.curve,
            clock,
            covariance: std::array::from_fn(|i| std::array::from_fn(|j| at(i, j))),
            misread: std::array::from_fn(|i| values(&self.fit).get(PARAMETERS + i).copied().unwrap_or(0.0)),
            joint: std::array::from_fn(|i| std::array::from_fn(|j| at(i, j))),
            df: f64::INFINITY,
            errors: self.errors,
        }
    }
}

impl KineticsSettings {
    /// Fills in what a fitted curve says.
    pub(super) fn report(
        &self,
        fit: &mut BatchFit,
        series: &GravitySeries,
        found: &Estimated,
        given: &Given<'_>,
        mut prepared: Prepared,
        clock: Clock,
    ) -> Result<()> {
        let fitted = found.fitted(clock);
        let last = fit.last_hours;
        let [progress] = traits::estimates(&fitted, self.common.level, |curve| [Ok(curve.progress(last))])?;
        let done = progress.value().unwrap_or(0.0);
        let early = done < self.terminal_from_progress;
        let why = format!(
            "{:.0} % of the drop done; terminal gravity is given from {:.0} %",
            100.0 * done,
            100.0 * self.terminal_from_progress
        );
        fit.traits = traits::all(&fitted, self.common.level, self.common.at_rest.within_sg)?.into();
        self.intervals(&mut fit.traits, &fitted, found, given, &prepared.points)?;
        for which in Trait::ALL.into_iter().filter(|which| early && which.needs_terminal()) {
            fit.traits[which as usize] = Finding::missing(why.clone());
        }
        prepared.notes.extend(early.then_some(why));
        fit.why = prepared.notes.join("; ");
        fit.progress = progress;
        fit.phi = phi(found, &prepared.points, self.common.level)?;
        fit.bubble_delay_h = misread(&fitted, DELAY, self.common.level)?;
        fit.foam_sg = misread(&fitted, FOAM, self.common.level)?;
        let mut residual = vec![0.0; prepared.points.len()];
        given.problem(&prepared.points, &found.foam).departures(&values(&found.fit), &mut residual)?;
        fit.rmse_sg = rmse(&residual, &prepared.points);
        fit.whiteness = Whiteness::of(&found.fit.residuals);
        fit.innovations.clone_from(&found.fit.residuals);
        fit.residuals_sg = residual;
        for point in 0..prepared.points.len() {
            if prepared.points[point].weight < OUTLIER_WEIGHT {
                prepared.flag_point(series, point, Flags::OUTLIER);
            }
        }
        let offsets = offsets(found, given, &prepared.points, series);
        fit.offsets = series.probes.iter().zip(offsets).map(|(of, at)| self.offset(of, at)).collect::<Result<_>>()?;
        fit.steps = self.found_steps(found, given, series)?;
        prepared.flags.sort_unstable_by_key(|(row, _)| *row);
        fit.flags = prepared.flags;
        fit.points = prepared.points;
        fit.fitted = Some(fitted);
        self.judge(fit, series.limit_sg.unwrap_or_else(|| limit_by_default(found.curve.original_sg)))
    }

    fn offset(&self, of: &SeriesProbe, (value, se): (f64, f64)) -> Result<ProbeOffset> {
        let offset_sg = if se > 0.0 {
            let method = "generalised least squares with its prior, normal";
            Finding::Estimated(Estimate::normal(value, se, self.common.level, method)?)
        } else {
            Finding::Fixed { value: 0.0, why: "no error of this probe was given".into() }
        };
        Ok(ProbeOffset { probe: of.probe.clone(), offset_sg })
    }

    /// Sets the status, for a limit and its standard deviation.
    pub(super) fn judge(&self, fit: &mut BatchFit, limit: (f64, f64)) -> Result<()> {
        if let Some(fitted) = &fit.fitted {
            let points = without_steps(&fit.points, &fit.steps);
            let judged = status::Judge {
                points: &points,
                last_hours: fit.last_hours,
                tolerance_sg: self.common.at_rest.within_sg,
                stuck_above: self.common.stuck_above_limit_sg,
                limit,
            };
            (fit.status, fit.status_since_h, fit.status_probability) = judged.status(fitted, self.common.level)?;
            fit.limit_sg = Some(limit);
        }
        Ok(())
    }
}

/// The limit where nothing is known of the wort, with its standard deviation.
fn limit_by_default(original_sg: f64) -> (f64, f64) {
    let extract = original_sg - 1.0;
    (1.0 + (1.0 - LIMIT_ATTENUATION.0) * extract, LIMIT_ATTENUATION.1 * extract)
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
    let sd = (1.4826 * median(&mut away)).max(0.02);
    Some((1.0 + (1.0 - middle) * extract, sd * extract))
}

/// Delay by gas or misreading by foam, by its place among the parameters.
fn misread(fitted: &FittedCurve, place: usize, level: f64) -> Result<Finding> {
    let (value, se) = (fitted.misread[place - PARAMETERS], fitted.joint[place][place].max(0.0).sqrt());
    if se <= 0.0 {
        return Ok(Finding::Fixed { value, why: "as set".into() });
    }
    Ok(Finding::Estimated(Estimate::normal(value, se, level, "generalised least squares with its prior, normal")?))
}

/// Autocorrelation of readings an hour apart under the error model, averaged over the points; its error as of a sample
/// autocorrelation (Bartlett) of as many.
fn phi(found: &Estimated, points: &[Point], level: f64) -> Result<Finding> {
    let (mut smooth, mut white, mut n) = (0.0, 0.0, 0.0);
    for (point, vigour) in points.iter().zip(&found.vigour) {
        if matches!(point.source, Source::Probe(_)) {
            smooth += found.errors.departure_sd(*vigour).powi(2);
            white += found.errors.factor * point.own_sd * point.own_sd;
            n += 1.0;
        }
    }
    if n < 10.0 {
        return Ok(Finding::missing("samples alone, or too few readings"));
    }
    let value = smooth / (smooth + white) * (-1.0 / found.errors.tau_h).exp();
    let se = ((1.0 - value * value) / n).sqrt();
    Ok(Finding::Estimated(Estimate::normal(value, se, level, "error model, Bartlett")?))
}

/// Root mean square of the residuals, robust weights applied.
fn rmse(residual: &[f64], points: &[Point]) -> Option<f64> {
    let weights: f64 = points.iter().map(|p| p.weight).sum();
    let square: f64 = residual.iter().zip(points).map(|(r, p)| p.weight * r * r).sum();
    (weights > 0.0).then(|| (square / weights).sqrt())
}

/// The probes' errors at the middle of the drop: at each probe's point nearest to it.
fn offsets(found: &Estimated, given: &Given<'_>, points: &[Point], series: &GravitySeries) -> Vec<(f64, f64)> {
    let middle_sg = 0.5 * (found.curve.original_sg + found.curve.terminal_sg);
    let of = |probe: usize| {
        let mine = points.iter().enumerate().filter(|(_, p)| p.source == Source::Probe(probe));
        let (nearest, _) =
            mine.min_by(|(_, a), (_, b)| (a.sg - middle_sg).abs().total_cmp(&(b.sg - middle_sg).abs()))?;
        let parts: Vec<(usize, f64)> = given
            .nuisances
            .iter()
            .enumerate()
            .filter_map(|(k, nuisance)| Some((FITTED + k, *nuisance.column.get(nearest)?)))
            .collect();
        let z = values(&found.fit);
        let at = |i: usize, j: usize| found.fit.covariance.get([i, j]).copied().unwrap_or(0.0);
        let value: f64 = parts.iter().map(|(i, by)| by * z.get(*i).copied().unwrap_or(0.0)).sum();
        let variance: f64 = parts.iter().flat_map(|(i, a)| parts.iter().map(move |(j, b)| a * b * at(*i, *j))).sum();
        Some((value, variance.max(0.0).sqrt()))
    };
    (0..series.probes.len()).map(|probe| of(probe).unwrap_or((0.0, 0.0))).collect()
}
