//! What is reported of a fitted batch: findings, offsets, flags.

use crate::error::Result;
use crate::fit::whiteness::Whiteness;
use crate::fit::{Estimate, Finding};
use crate::season::{Flags, GravitySeries};

use super::batch_fit::{BatchFit, FittedCurve, Point, ProbeOffset, Source, Status, Trait};
use super::clock::Clock;
use super::curve::PARAMETERS;
use super::estimate::{Estimated, Given, values};
use super::misread::{DELAY, FOAM};
use super::prepare::{Prepared, median};
use super::settings::KineticsSettings;
use super::{status, traits};

/// A point that counts less than this is called an outlier.
const OUTLIER_WEIGHT: f64 = 0.5;
/// Attenuation a wort can reach where nothing is known, mean and standard deviation: from memory, textbook level.
const LIMIT_ATTENUATION: (f64, f64) = (0.77, 0.07);

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
        let at =
            |i: usize, j: usize| found.fit.covariance.get([i, j]).copied().filter(|c| c.is_finite()).unwrap_or(0.0);
        let fitted = FittedCurve {
            kind: found.kind,
            curve: found.curve,
            clock,
            covariance: std::array::from_fn(|i| std::array::from_fn(|j| at(i, j))),
            misread: std::array::from_fn(|i| values(&found.fit).get(PARAMETERS + i).copied().unwrap_or(0.0)),
            joint: std::array::from_fn(|i| std::array::from_fn(|j| at(i, j))),
            df: f64::INFINITY,
            errors: found.errors,
        };
        let last = fit.last_hours;
        let [progress] = traits::estimates(&fitted, self.level, |curve| [Ok(curve.progress(last))])?;
        let done = progress.value().unwrap_or(0.0);
        let early = done < self.terminal_from_progress;
        let why = format!(
            "{:.0} % of the drop done; terminal gravity is given from {:.0} %",
            100.0 * done,
            100.0 * self.terminal_from_progress
        );
        fit.traits = traits::all(&fitted, self.level, self.finish_tolerance_sg)?.into();
        self.intervals(&mut fit.traits, &fitted, found, given, &prepared.points)?;
        for which in Trait::ALL.into_iter().filter(|which| early && which.needs_terminal()) {
            fit.traits[which as usize] = Finding::missing(why.clone());
        }
        fit.why = if early { why } else { String::new() };
        fit.progress = progress;
        fit.phi = phi(found, &prepared.points, self.level)?;
        fit.bubble_delay_h = misread(&fitted, DELAY, self.level)?;
        fit.foam_sg = misread(&fitted, FOAM, self.level)?;
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
        fit.offsets = offsets(found, series, self.level)?;
        prepared.flags.sort_unstable_by_key(|(row, _)| *row);
        fit.flags = prepared.flags;
        fit.points = prepared.points;
        fit.fitted = Some(fitted);
        self.judge(fit, series.limit_sg.unwrap_or_else(|| limit_by_default(found.curve.original_sg)))
    }

    /// Sets the status, for a limit and its standard deviation.
    pub(super) fn judge(&self, fit: &mut BatchFit, limit: (f64, f64)) -> Result<()> {
        if let Some(fitted) = &fit.fitted {
            let judged = status::Judge {
                points: &fit.points,
                last_hours: fit.last_hours,
                tolerance_sg: self.finish_tolerance_sg,
                stuck_above: self.stuck_above_limit_sg,
                limit,
            };
            (fit.status, fit.status_since_h, fit.status_probability) = judged.status(fitted, self.level)?;
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

/// The probes' offsets from the curve: their own offset plus the error of their curve.
fn offsets(found: &Estimated, series: &GravitySeries, level: f64) -> Result<Vec<ProbeOffset>> {
    let mut all = Vec::new();
    for (probe, of) in series.probes.iter().enumerate() {
        let mine: Vec<f64> = series
            .probe
            .iter()
            .zip(&series.shared_sd)
            .filter(|(p, _)| **p == probe as u32)
            .map(|(_, sd)| *sd)
            .collect();
        let shared = mine.iter().sum::<f64>() / (mine.len() as f64).max(1.0);
        let mut parts: Vec<(usize, f64)> = Vec::new();
        for (name, scale) in [("offset of probe", of.offset_sd), ("curve error of probe", shared)] {
            let name = format!("{name} {probe}");
            if let Some(i) = found.fit.parameters.iter().position(|p| p.name == name) {
                parts.push((i, scale));
            }
        }
        let at = |i: usize, j: usize| found.fit.covariance.get([i, j]).copied().unwrap_or(0.0);
        let value: f64 = parts.iter().map(|(i, scale)| scale * found.fit.parameters[*i].value).sum();
        let variance: f64 = parts.iter().flat_map(|(i, a)| parts.iter().map(move |(j, b)| a * b * at(*i, *j))).sum();
        let se = variance.max(0.0).sqrt();
        let offset_sg = if parts.is_empty() {
            Finding::Fixed { value: 0.0, why: "no error of this probe was given".into() }
        } else {
            Finding::Estimated(Estimate::normal(value, se, level, "generalised least squares with its prior, normal")?)
        };
        all.push(ProbeOffset { probe: of.probe.clone(), offset_sg });
    }
    Ok(all)
}
