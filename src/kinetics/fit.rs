//! The fit of one batch, and of all together.

use rayon::prelude::*;

use crate::error::{Error, Result};
use crate::fit::Finding;
use crate::gravity::GravitySeries;

use super::batch_fit::{BatchFit, Kinetics, Point};
use super::begin::{blank, check_series, first_level, level_finding};
use super::candidates::TELLING;
use super::clock::{Clock, Paced, Thermal, activation, mean_temp_c};
use super::curve::CurveKind;
use super::estimate::{Estimated, Given, estimate, refine, weak_priors};
use super::gls::Priors;
use super::misread::Misreads;
use super::nuisance::{Nuisance, nuisances};
use super::prepare::{Prepared, prepare};
use super::report::limit_by_strain;
use super::settings::{ClockChoice, CurveChoice, KineticsSettings};
use super::shared::{Shared, shared_priors};
use super::status::{self, Status};
use super::traits::{self, Trait};

/// Fewer points than this make no curve.
const LEAST_POINTS: usize = 5;
/// A clock whose pace varies by less than this factor is not looked at.
const TELLING_PACE: f64 = 1.1;
/// Most points a probe gives: more say nothing more about a curve, as neighbours are correlated.
const MOST_POINTS: f64 = 160.0;

impl KineticsSettings {
    /// Fits one batch by itself. Too little data is no error: the result says in its status and findings what is missing
    /// and why.
    ///
    /// # Errors
    /// [`Error::Setting`]; [`Error::Usage`] for a series whose columns have different lengths or whose hours go back.
    pub fn fit(&self, series: &GravitySeries) -> Result<BatchFit> {
        let mut fit = self.one_curve(series)?;
        if self.averaged && fit.fitted.is_some() {
            fit.candidates = self.all_candidates(&fit, series)?;
            self.average(&mut fit)?;
        }
        Ok(fit)
    }

    fn one_curve(&self, series: &GravitySeries) -> Result<BatchFit> {
        self.check()?;
        check_series(series)?;
        let prepared = prepare(series, self, MOST_POINTS);
        let mut fit = blank(series, &prepared);
        if prepared.points.len() < LEAST_POINTS {
            let why = format!("{} points after averaging; a curve needs {LEAST_POINTS}", prepared.points.len());
            return Ok(fit.without_curve(Status::TooFewData, why, &prepared.notes));
        }
        if status::fall_sg(&prepared.points).is_none() {
            let risen = status::rise_sg(&prepared.points);
            let why = match risen {
                Some(by) => format!("the gravity rises by {by:.3} in these data: no fermentation"),
                None => "the gravity has not fallen by 0.002 in these data".to_owned(),
            };
            if risen.is_none() {
                fit.traits[Trait::OriginalSg as usize] = level_finding(&prepared.points, series, self.common.level)?;
            }
            let mut fit = fit.without_curve(Status::NotStarted, why, &prepared.notes);
            fit.status_probability = status::not_started(&fit.points, self.common.level)?;
            fit.status_since_h = Some(0.0);
            return Ok(fit);
        }
        let effects = nuisances(series, &prepared, self);
        let notes = prepared.notes.clone();
        match self.on_clock(series, prepared, &effects) {
            Ok((found, prepared, clock)) => {
                let priors = weak_priors(first_level(&prepared.points));
                self.report(&mut fit, series, &found, &self.given(found.kind, &effects, &priors), prepared, clock)?;
            }
            Err(error) if error.is_not_estimable() => {
                return Ok(fit.without_curve(Status::TooFewData, error.to_string(), &notes));
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
    ///
    /// ```no_run
    /// use heelwort::prelude::*;
    /// # fn main() -> heelwort::Result<()> {
    /// let season = Season::load("my-season")?;
    /// let study = Settings::default().study(&season)?;
    /// let by_gompertz = KineticsSettings { curve: CurveChoice::Gompertz, ..Default::default() };
    /// println!("{}", by_gompertz.fit_all(&study.series)?);
    /// # Ok(())
    /// # }
    /// ```
    pub fn fit_all(&self, all: &[GravitySeries]) -> Result<Kinetics> {
        let mut batches = all.par_iter().map(|series| self.one_curve(series)).collect::<Result<Vec<_>>>()?;
        let activation = self.activation(&batches, all)?;
        let energy = activation.value().unwrap_or(self.common.activation.kj_mol);
        let shared = Shared::new(&batches, &self.misreads());
        batches.par_iter_mut().zip(all).enumerate().try_for_each(|(index, (fit, series))| {
            if let Some(prior) = shared.prior(index, &fit.strain) {
                self.again(fit, series, &shared_priors(&prior, &self.misreads()), energy)?;
            }
            if let Some(fitted) = &fit.fitted {
                let thermal = |energy: f64| Thermal::new(series, self, energy);
                let sd = activation.se().unwrap_or(self.common.activation.sd_kj_mol);
                fit.at_reference = traits::at_reference(fitted, self.common.level, thermal, (energy, sd))?;
            }
            if self.candidates || self.averaged {
                fit.candidates = self.all_candidates(fit, series)?;
            }
            if self.averaged && fit.fitted.is_some() {
                self.average(fit)?;
            }
            Ok::<(), Error>(())
        })?;
        let limits: Vec<Option<(f64, f64)>> = batches.iter().map(|fit| limit_by_strain(fit, &batches)).collect();
        for ((fit, series), limit) in batches.iter_mut().zip(all).zip(limits) {
            if let (None, Some(limit)) = (series.limit_sg, limit) {
                self.judge(fit, limit)?;
            }
        }
        Ok(Kinetics { batches, activation_kj_mol: Some(activation), settings: self.clone() })
    }

    /// Fits a batch once more, from where it is, with other priors of what is shared.
    fn again(
        &self,
        fit: &mut BatchFit,
        series: &GravitySeries,
        shared: &(Priors, Misreads),
        activation_kj_mol: f64,
    ) -> Result<()> {
        let Some(fitted) = fit.fitted.clone().filter(|fitted| fitted.kind == CurveKind::Smooth) else { return Ok(()) };
        let mut prepared = prepare(series, self, MOST_POINTS);
        // The robust weights stay as they were found.
        prepared.points.clone_from(&fit.points);
        let clock = match &fitted.clock {
            Clock::Real => Clock::Real,
            Clock::Thermal(_) => Thermal::new(series, self, activation_kj_mol).map_or(Clock::Real, Clock::Thermal),
        };
        prepared.set_clock(&clock);
        let effects = nuisances(series, &prepared, self);
        let mut priors = weak_priors(first_level(&prepared.points));
        for (prior, other) in priors.iter_mut().zip(&shared.0) {
            *prior = other.or(*prior);
        }
        let given = Given {
            kind: fitted.kind,
            nuisances: &effects,
            share: self.instrument_share,
            priors: &priors,
            misreads: shared.1,
        };
        match refine(&fitted, &given, &prepared.points) {
            Ok(found) => self.report(fit, series, &found, &given, prepared, clock),
            // The fit by itself stands.
            Err(error) if error.is_not_estimable() => Ok(()),
            Err(error) => Err(error),
        }
    }

    /// What fits of a kind of curve are given.
    pub(super) fn given<'a>(&self, kind: CurveKind, nuisances: &'a [Nuisance], priors: &'a Priors) -> Given<'a> {
        Given { kind, nuisances, share: self.instrument_share, priors, misreads: self.misreads() }
    }

    /// The curve on the clock that was asked for, or on thermal time unless real time describes the batch clearly better.
    fn on_clock(
        &self,
        series: &GravitySeries,
        prepared: Prepared,
        effects: &[Nuisance],
    ) -> Result<(Estimated, Prepared, Clock)> {
        let thermal = match self.clock {
            ClockChoice::Real => None,
            _ => Thermal::new(series, self, self.common.activation.kj_mol).map(Clock::Thermal),
        };
        let last_h = prepared.points.last().map_or(0.0, |p| p.hours);
        let asked = self.clock == ClockChoice::Thermal;
        let on_thermal = match thermal.filter(|clock| asked || clock.range(0.0, last_h) >= TELLING_PACE) {
            Some(clock) => {
                let mut on_clock = prepared.clone();
                on_clock.set_clock(&clock);
                match self.curve(on_clock, effects) {
                    Ok((found, prepared)) => Some((found, prepared, clock)),
                    Err(error) if error.is_not_estimable() => None,
                    Err(error) => return Err(error),
                }
            }
            None => None,
        };
        match on_thermal {
            Some(found) if asked => Ok(found),
            other => {
                let (real, prepared) = self.curve(prepared, effects)?;
                Ok(match other {
                    Some(found) if found.0.aicc <= real.aicc + TELLING => found,
                    _ => (real, prepared, Clock::Real),
                })
            }
        }
    }

    /// The activation energy from batches of one strain at different temperatures.
    fn activation(&self, batches: &[BatchFit], all: &[GravitySeries]) -> Result<Finding> {
        let published = (self.common.activation.kj_mol, self.common.activation.sd_kj_mol);
        if published.1 <= 0.0 {
            return Ok(Finding::Fixed { value: published.0, why: "as set".to_owned() });
        }
        let paced = batches.iter().zip(all).filter_map(|(fit, series)| {
            let mid_h = fit.finding(Trait::MidH).value().filter(|mid| *mid > 0.0)?;
            let temp_c = mean_temp_c(series, mid_h)?;
            Some(Paced { strain: fit.strain.clone(), ln_mid: mid_h.ln(), temp_c })
        });
        activation(&paced.collect::<Vec<_>>(), published, self.common.level)
    }

    /// The curve that was asked for, or the better one.
    fn curve(&self, mut prepared: Prepared, effects: &[Nuisance]) -> Result<(Estimated, Prepared)> {
        let priors = weak_priors(first_level(&prepared.points));
        let mut best: Option<(Estimated, Vec<Point>)> = None;
        let mut failure = None;
        for kind in kinds(self.curve) {
            let mut points = prepared.points.clone();
            let given = self.given(*kind, effects, &priors);
            match estimate(&given, &mut points) {
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
        CurveChoice::Best => &CurveKind::ALL,
        CurveChoice::Smooth => &[CurveKind::Smooth],
        CurveChoice::Logistic4 => &[CurveKind::Logistic4],
        CurveChoice::Logistic5 => &[CurveKind::Logistic5],
        CurveChoice::Gompertz => &[CurveKind::Gompertz],
        CurveChoice::LagExponential => &[CurveKind::LagExponential],
        CurveChoice::Inhibited => &[CurveKind::Inhibited],
    }
}
