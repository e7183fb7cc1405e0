//! The fit of one batch, and of all together.

use rayon::prelude::*;

use crate::error::{Error, Result};
use crate::fit::{Estimate, Finding};
use crate::season::GravitySeries;

use super::batch_fit::{BatchFit, Kinetics, Point, Source, Status, Trait};
use super::curve::CurveKind;
use super::estimate::{Estimated, estimate, refine, weak_priors};
use super::gls::{Nuisance, Priors, nuisances};
use super::misread::Misreads;
use super::prepare::{Prepared, median, prepare};
use super::report::limit_by_strain;
use super::settings::{CurveChoice, KineticsSettings};
use super::shared::{Shared, shared_priors};
use super::status;

/// Fewer points than this make no curve.
const LEAST_POINTS: usize = 5;
/// Most points a probe gives: more say nothing more about a curve, as neighbours are correlated.
const MOST_POINTS: f64 = 160.0;

impl KineticsSettings {
    /// Fits one batch by itself. Too little data is no error: the result says in its status and findings what is missing
    /// and why.
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
            fit.traits[Trait::OriginalSg as usize] = level_finding(&prepared.points, series, self.level)?;
            return Ok(fit.without_curve(Status::NotStarted, why));
        }
        let effects = self.effects(series, &prepared);
        match self.curve(prepared, &effects) {
            Ok((found, prepared)) => self.report(&mut fit, series, &found, &effects, prepared)?,
            Err(error) if error.is_not_estimable() => {
                return Ok(fit.without_curve(Status::TooFewData, error.to_string()));
            }
            Err(error) => return Err(error),
        }
        Ok(fit)
    }

    /// Fits all batches, each by itself and then again with what the others tell: the shape of the curve, its slow tail above
    /// all, and what gas and foam make probes misread, which one batch alone seldom shows, have the prior that the other batches give, by
    /// strain as far as strains differ. The gravities and the pace of a batch are its own. The limit of a batch without a forced-ferment test is
    /// taken from the other batches of its strain, where at least three have come to rest.
    ///
    /// # Errors
    /// As for [`KineticsSettings::fit`].
    pub fn fit_all(&self, all: &[GravitySeries]) -> Result<Kinetics> {
        let mut batches = all.par_iter().map(|series| self.fit(series)).collect::<Result<Vec<_>>>()?;
        let shared = Shared::new(&batches, &self.misreads());
        batches.par_iter_mut().zip(all).enumerate().try_for_each(|(index, (fit, series))| {
            match shared.prior(index, &fit.strain) {
                Some(prior) => self.again(fit, series, &shared_priors(&prior, &self.misreads())),
                None => Ok(()),
            }
        })?;
        let limits: Vec<Option<(f64, f64)>> = batches.iter().map(|fit| limit_by_strain(fit, &batches)).collect();
        for ((fit, series), limit) in batches.iter_mut().zip(all).zip(limits) {
            if let (None, Some(limit)) = (series.limit_sg, limit) {
                self.judge(fit, limit);
            }
        }
        Ok(Kinetics { batches })
    }

    /// Fits a batch once more, from where it is, with other priors of what is shared.
    fn again(&self, fit: &mut BatchFit, series: &GravitySeries, shared: &(Priors, Misreads)) -> Result<()> {
        let Some(fitted) = fit.fitted.clone().filter(|fitted| fitted.kind == CurveKind::Smooth) else { return Ok(()) };
        let mut prepared = prepare(series, self, MOST_POINTS);
        // The robust weights stay as they were found.
        prepared.points.clone_from(&fit.points);
        let effects = self.effects(series, &prepared);
        let mut priors = weak_priors(first_level(&prepared.points));
        for (prior, other) in priors.iter_mut().zip(&shared.0) {
            *prior = other.or(*prior);
        }
        match refine(&fitted, &prepared.points, &effects, self.instrument_share, &priors, shared.1) {
            Ok(found) => self.report(fit, series, &found, &effects, prepared),
            // The fit by itself stands.
            Err(error) if error.is_not_estimable() => Ok(()),
            Err(error) => Err(error),
        }
    }

    fn effects(&self, series: &GravitySeries, prepared: &Prepared) -> Vec<Nuisance> {
        let offset_sds: Vec<f64> = series.probes.iter().map(|probe| probe.offset_sd.max(0.0)).collect();
        nuisances(&prepared.points, &offset_sds, prepared.instruments.len(), self.instrument_share)
    }

    /// The curve that was asked for, or the better one.
    fn curve(&self, mut prepared: Prepared, effects: &[Nuisance]) -> Result<(Estimated, Prepared)> {
        let priors = weak_priors(first_level(&prepared.points));
        let mut best: Option<(Estimated, Vec<Point>)> = None;
        let mut failure = None;
        for kind in kinds(self.curve) {
            let mut points = prepared.points.clone();
            match estimate(*kind, &mut points, effects, self.instrument_share, &priors, self.misreads()) {
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

    /// Priors of what gas and foam make probes misread.
    fn misreads(&self) -> Misreads {
        Misreads { delay_h: (self.bubble_delay_h, self.bubble_delay_sd_h), foam_sg: (self.foam_sg, self.foam_sd_sg) }
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
        bubble_delay_h: Finding::missing("no curve"),
        foam_sg: Finding::missing("no curve"),
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
fn level_finding(points: &[Point], series: &GravitySeries, level: f64) -> Result<Finding> {
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
    if weights <= 0.0 {
        return Ok(Finding::missing("no data"));
    }
    let method = "weighted mean of the sources, normal";
    Ok(Finding::Estimated(Estimate::normal(sum / weights, weights.sqrt().recip(), level, method)?))
}
