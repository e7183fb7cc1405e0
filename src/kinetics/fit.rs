//! The fit of one batch, put together, and of all.

use crate::error::{Error, Result};
use crate::fit::{Estimate, Finding, quantile};
use crate::season::{Flags, GravitySeries};

use super::batch_fit::{BatchFit, FittedCurve, Kinetics, Point, ProbeOffset, Source, Status, Trait};
use super::curve::{CurveKind, PARAMETERS};
use super::estimate::{Estimated, estimate, values, weak_priors};
use super::gls::{Nuisance, nuisances};
use super::prepare::{Prepared, median, prepare};
use super::settings::{CurveChoice, KineticsSettings};
use super::{status, traits};

/// Fewer points than this make no curve.
const LEAST_POINTS: usize = 5;
/// Most points a probe gives: more say nothing more about a curve, as neighbours are correlated.
const MOST_POINTS: f64 = 160.0;
/// A point that counts less than this is called an outlier.
const OUTLIER_WEIGHT: f64 = 0.5;
/// Attenuation a wort can reach where nothing is known, mean and standard deviation: from memory, textbook level.
const LIMIT_ATTENUATION: (f64, f64) = (0.77, 0.07);

impl KineticsSettings {
    /// Fits one batch. Too little data is no error: the result says in its status and findings what is missing and why.
    ///
    /// # Errors
    /// [`Error::Setting`]; [`Error::Usage`] for a series whose columns have different lengths.
    pub fn fit(&self, series: &GravitySeries) -> Result<BatchFit> {
        self.check()?;
        check_series(series)?;
        let prepared = prepare(series, self, MOST_POINTS);
        let mut fit = blank(series, &prepared);
        if prepared.points.len() < LEAST_POINTS {
            let why = format!("{} points after averaging; a curve needs {LEAST_POINTS}", prepared.points.len());
            return Ok(fit.without_curve(Status::TooFewData, why));
        }
        if status::fall_sg(&prepared.points).is_none() {
            let why = "the gravity has not fallen by 0.002 in these data".to_owned();
            fit.traits[Trait::OriginalSg as usize] = level_finding(&prepared.points, series, self.level);
            return Ok(fit.without_curve(Status::NotStarted, why));
        }
        match self.curve(series, prepared) {
            Ok((estimated, prepared)) => self.report(&mut fit, series, estimated, prepared)?,
            Err(error) if error.is_not_estimable() => {
                return Ok(fit.without_curve(Status::TooFewData, error.to_string()));
            }
            Err(error) => return Err(error),
        }
        Ok(fit)
    }

    /// Fits all batches. The limit of a batch without a forced-ferment test is then taken from the other batches of its
    /// strain, where at least three have come to rest.
    ///
    /// # Errors
    /// As for [`KineticsSettings::fit`].
    pub fn fit_all(&self, all: &[GravitySeries]) -> Result<Kinetics> {
        let mut batches = all.iter().map(|series| self.fit(series)).collect::<Result<Vec<_>>>()?;
        let limits: Vec<Option<(f64, f64)>> = batches.iter().map(|fit| limit_by_strain(fit, &batches)).collect();
        for ((fit, series), limit) in batches.iter_mut().zip(all).zip(limits) {
            if let (None, Some(limit)) = (series.limit_sg, limit) {
                self.judge(fit, limit);
            }
        }
        Ok(Kinetics { batches })
    }

    /// The curve that was asked for, or the better one.
    fn curve(&self, series: &GravitySeries, mut prepared: Prepared) -> Result<(Estimated, Prepared)> {
        let offset_sds: Vec<f64> = series.probes.iter().map(|probe| probe.offset_sd.max(0.0)).collect();
        let share = self.instrument_share;
        let effects = nuisances(&prepared.points, &offset_sds, prepared.instruments.len(), share);
        let priors = weak_priors(first_level(&prepared.points));
        let mut best: Option<(Estimated, Vec<Point>)> = None;
        let mut failure = None;
        for kind in kinds(self.curve) {
            let mut points = prepared.points.clone();
            match estimate(*kind, &mut points, &effects, share, &priors) {
                Ok(found) => {
                    if best.as_ref().is_none_or(|(other, _)| found.aicc < other.aicc) {
                        best = Some((found, points));
                    }
                }
                Err(error) => failure = Some(error),
            }
        }
        match best {
            Some((estimated, points)) => {
                prepared.points = points;
                Ok((estimated, prepared))
            }
            None => {
                Err(failure.unwrap_or_else(|| Error::not_estimable("a fermentation curve", "no curve was asked for")))
            }
        }
    }

    fn report(
        &self,
        fit: &mut BatchFit,
        series: &GravitySeries,
        found: Estimated,
        mut prepared: Prepared,
    ) -> Result<()> {
        let mut covariance = [[0.0; PARAMETERS]; PARAMETERS];
        for (i, row) in covariance.iter_mut().enumerate() {
            for (j, cell) in row.iter_mut().enumerate() {
                *cell = found.fit.covariance.get([i, j]).copied().filter(|c| c.is_finite()).unwrap_or(0.0);
            }
        }
        let df = f64::INFINITY;
        let fitted =
            FittedCurve { kind: found.kind, curve: found.curve, covariance, df, errors: found.errors, aicc: None };
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
        for which in Trait::ALL.into_iter().filter(|which| early && which.needs_terminal()) {
            fit.traits[which as usize] = Finding::missing(why.clone());
        }
        if early {
            fit.why = why;
        }
        let limit = series.limit_sg.unwrap_or_else(|| limit_by_default(fitted.curve.original_sg));
        fit.status =
            status::status(&fitted, &prepared.points, last, self.finish_tolerance_sg, self.stuck_above_limit_sg, limit);
        fit.limit_sg = Some(limit);
        fit.progress = progress;
        fit.phi = phi(&found, &prepared.points);
        fit.rmse_sg = rmse(&found, &prepared.points, series, prepared.instruments.len(), self.instrument_share)?;
        for point in 0..prepared.points.len() {
            if prepared.points[point].weight < OUTLIER_WEIGHT {
                prepared.flag_point(series, point, Flags::OUTLIER);
            }
        }
        fit.offsets = offsets(&found, series, self.level)?;
        prepared.flags.sort_unstable_by_key(|(row, _)| *row);
        fit.flags = prepared.flags;
        fit.points = prepared.points;
        fit.fitted = Some(fitted);
        self.judge(fit, series.limit_sg.unwrap_or_else(|| limit_by_default(found.curve.original_sg)));
        Ok(())
    }

    /// Sets the status, for a limit and its standard deviation.
    fn judge(&self, fit: &mut BatchFit, limit: (f64, f64)) {
        if let Some(fitted) = &fit.fitted {
            let (tolerance, above) = (self.finish_tolerance_sg, self.stuck_above_limit_sg);
            fit.status = status::status(fitted, &fit.points, fit.last_hours, tolerance, above, limit);
            fit.limit_sg = Some(limit);
        }
    }
}

fn kinds(choice: CurveChoice) -> &'static [CurveKind] {
    match choice {
        CurveChoice::Best => &[CurveKind::Logistic4, CurveKind::Logistic5],
        CurveChoice::Smooth => &[CurveKind::Smooth],
        CurveChoice::Logistic4 => &[CurveKind::Logistic4],
        CurveChoice::Logistic5 => &[CurveKind::Logistic5],
    }
}

/// The limit where nothing is known of the wort, with its standard deviation.
pub(crate) fn limit_by_default(original_sg: f64) -> (f64, f64) {
    let extract = original_sg - 1.0;
    (1.0 + (1.0 - LIMIT_ATTENUATION.0) * extract, LIMIT_ATTENUATION.1 * extract)
}

/// The limit as the other batches of the strain have it, where at least three came to rest: the median of their
/// attenuations, and a robust standard deviation of one batch that is never under 0.02 of the original extract.
fn limit_by_strain(of: &BatchFit, batches: &[BatchFit]) -> Option<(f64, f64)> {
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

fn check_series(series: &GravitySeries) -> Result<()> {
    let n = series.hours.len();
    let columns = [series.sg.len(), series.own_sd.len(), series.shared_sd.len(), series.probe.len(), series.rows.len()];
    if columns.iter().all(|length| *length == n) {
        Ok(())
    } else {
        Err(Error::Usage(format!("the gravity series of batch {} has columns of different lengths", series.batch)))
    }
}

fn blank(series: &GravitySeries, prepared: &Prepared) -> BatchFit {
    BatchFit {
        batch: series.batch.clone(),
        strain: series.strain.clone(),
        pitched_at: series.pitched_at,
        fitted: None,
        traits: vec![Finding::missing(""); Trait::ALL.len()],
        status: Status::TooFewData,
        progress: Finding::missing("no curve"),
        n: prepared.n,
        phi: Finding::missing("no curve"),
        rmse_sg: None,
        offsets: Vec::new(),
        points: prepared.points.clone(),
        flags: prepared.flags.clone(),
        last_hours: prepared.points.last().map_or(0.0, |p| p.hours),
        cooled_hours: series.cooled_hours,
        ended_hours: series.ended_hours,
        limit_sg: series.limit_sg,
        why: String::new(),
    }
}

impl BatchFit {
    fn without_curve(mut self, status: Status, why: String) -> Self {
        for finding in &mut self.traits {
            if finding.estimate().is_none() {
                *finding = Finding::missing(why.clone());
            }
        }
        self.status = status;
        self.why = why;
        self
    }
}

/// The level of the first six hours.
fn first_level(points: &[Point]) -> f64 {
    let first = points.first().map_or(0.0, |p| p.hours);
    let mut sg: Vec<f64> = points.iter().filter(|p| p.hours <= first + 6.0).map(|p| p.sg).collect();
    median(&mut sg)
}

/// The gravity of a batch that has not started: the mean of its sources, each with its own and its shared error.
fn level_finding(points: &[Point], series: &GravitySeries, level: f64) -> Finding {
    let (mut sum, mut weights) = (0.0, 0.0);
    let mut add = |sg: f64, variance: f64| {
        if variance > 0.0 {
            sum += sg / variance;
            weights += 1.0 / variance;
        }
    };
    for (probe, of) in series.probes.iter().enumerate() {
        let mine: Vec<&Point> = points.iter().filter(|p| p.source == Source::Probe(probe)).collect();
        let n = mine.len() as f64;
        if n > 0.0 {
            let mean = mine.iter().map(|p| p.sg).sum::<f64>() / n;
            let scatter = mine.iter().map(|p| (p.sg - mean).powi(2)).sum::<f64>() / n;
            let shared = mine.iter().map(|p| p.shared_sd).sum::<f64>() / n;
            // Scatter is not divided by n: neighbours are correlated.
            add(mean, of.offset_sd.powi(2) + shared * shared + scatter);
        }
    }
    for point in points.iter().filter(|p| matches!(p.source, Source::Sample(_))) {
        add(point.sg, point.own_sd * point.own_sd);
    }
    match quantile::normal_two_sided(level) {
        Ok(factor) if weights > 0.0 => {
            let (value, se) = (sum / weights, weights.sqrt().recip());
            let method = "weighted mean of the sources, normal".into();
            Finding::Estimated(Estimate {
                value,
                se,
                lower: value - factor * se,
                upper: value + factor * se,
                level,
                method,
            })
        }
        _ => Finding::missing("no data"),
    }
}

/// Autocorrelation of readings an hour apart under the error model, averaged over the points; its error as of a sample
/// autocorrelation (Bartlett) of as many.
fn phi(found: &Estimated, points: &[Point]) -> Finding {
    let (mut smooth, mut white, mut n) = (0.0, 0.0, 0.0);
    for (point, h) in points.iter().zip(&found.shape) {
        if matches!(point.source, Source::Probe(_)) {
            smooth += (found.errors.kappa_sg * h).powi(2);
            white += found.errors.factor * point.own_sd * point.own_sd;
            n += 1.0;
        }
    }
    if n < 10.0 {
        return Finding::missing("samples alone, or too few readings");
    }
    let value = smooth / (smooth + white) * (-1.0 / found.errors.tau_h).exp();
    let se = ((1.0 - value * value) / n).sqrt();
    let (lower, upper) = ((value - 1.645 * se).max(-1.0), (value + 1.645 * se).min(1.0));
    let method = "error model, Bartlett".into();
    Finding::Estimated(Estimate { value, se, lower, upper, level: 0.90, method })
}

fn rmse(
    found: &Estimated,
    points: &[Point],
    series: &GravitySeries,
    instruments: usize,
    share: f64,
) -> Result<Option<f64>> {
    let offset_sds: Vec<f64> = series.probes.iter().map(|probe| probe.offset_sd.max(0.0)).collect();
    let effects: Vec<Nuisance> = nuisances(points, &offset_sds, instruments, share);
    let mut residual = vec![0.0; points.len()];
    let problem = super::gls::Problem { points, nuisances: &effects, share, priors: [None; PARAMETERS] };
    problem.departures(&values(&found.fit), &mut residual)?;
    let weights: f64 = points.iter().map(|p| p.weight).sum();
    let square: f64 = residual.iter().zip(points).map(|(r, p)| p.weight * r * r).sum();
    Ok((weights > 0.0).then(|| (square / weights).sqrt()))
}

/// The probes' offsets from the curve: their own offset plus the error of their curve.
fn offsets(found: &Estimated, series: &GravitySeries, level: f64) -> Result<Vec<ProbeOffset>> {
    let factor = quantile::normal_two_sided(level)?;
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
            let method = "generalised least squares with its prior, normal".into();
            Finding::Estimated(Estimate {
                value,
                se,
                lower: value - factor * se,
                upper: value + factor * se,
                level,
                method,
            })
        };
        all.push(ProbeOffset { probe: of.probe.clone(), offset_sg });
    }
    Ok(all)
}
