//! The order of the studies, and what each takes from those before it.

use crate::calibration::{BathPlan, Builds, Calibrations};
use crate::drift::{Drift, ProbeErrors};
use crate::error::Result;
use crate::forecast::{Backtest, Forecasts};
use crate::gravity::GravitySeries;
use crate::gravity::{Gravity, OffsetPrior, ShellEffects};
use crate::kinetics::{Kinetics, Trait};
use crate::season::{Batch, Season};
use crate::strains::Strains;
use crate::units::Instant;

use super::as_of::AsOf;
use super::builder::Study;
use super::known::AsKnown;
use super::part::Part;
use super::result::SeasonStudy;
use super::settings::Settings;

impl Settings {
    /// Studies a season the whole way: [`Study::of`] with these settings and nothing else asked.
    ///
    /// # Errors
    /// As [`Study::run`].
    ///
    /// ```
    /// use heelwort::prelude::*;
    /// # fn main() -> heelwort::Result<()> {
    /// # let simulated = SimulateSettings { batches: 1, probes: 1, span_days: 20.0, reading_minutes: 240.0, ..Default::default() }.run()?;
    /// # let season = simulated.season;
    /// let study = Settings::default().study(&season)?;
    /// println!("{study}");
    /// # Ok(())
    /// # }
    /// ```
    pub fn study(&self, season: impl Into<Season>) -> Result<SeasonStudy> {
        Study::of(season).settings(self.clone()).run()
    }

    /// `asked` are moments as of which batches are forecast besides the running ones; `say` is told what is being done.
    ///
    /// A study without input is skipped, one whose data do not suffice has failed: both say why and stop nothing else.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] for a setting that cannot be.
    pub(super) fn run(&self, season: Season, name: String, asked: &[AsOf], say: &dyn Fn(&str)) -> Result<SeasonStudy> {
        say("calibrating the probes");
        let calibrations = self.calibrate(&season)?;
        let builds = self.builds(&season, &calibrations)?;
        let bath_plan = self.bath_plan(&season, &calibrations)?;
        say("turning tilts into gravities");
        let gravity = gravity_of(&season, &calibrations)?;
        say("looking for drift");
        let drift = self.drift(&season, &calibrations)?;
        say("fitting the fermentations");
        let offset = drift.done().map_or(self.drift.offset_prior, |drift| drift.offset_prior);
        let errors = drift.done().and_then(|drift| drift.probe_errors.as_ref());
        let one = |batch| {
            let series = one_series(&season, &calibrations, &gravity, batch, &offset)?;
            Some(with_known(series, &season, &calibrations, &gravity, errors))
        };
        let series: Vec<GravitySeries> = season.batches.iter().filter_map(one).collect();
        let shell_effects = self.shell_effects(&season, &calibrations, &gravity, &series)?;
        let kinetics = self.kinetics(&season, &series)?;
        say("forecasting, and holding old forecasts against what came");
        let known = AsKnown::new(&season, self, &calibrations, &gravity);
        let (forecasts, backtest) = self.forecast(&season, &kinetics, &known, asked)?;
        let gravity = match (gravity, calibrations.done()) {
            (Part::Done(gravity), Some(calibrations)) => {
                let corrected = match drift.done() {
                    Some(drift) => drift.correct(&season, calibrations, gravity),
                    None => gravity.with_drift(&season, calibrations, &offset),
                };
                let fits = kinetics.done().map(|kinetics| kinetics.batches.as_slice()).unwrap_or_default();
                let misread = self.kinetics.misreading_sds(fits, &series);
                let flags = fits.iter().flat_map(|fit| fit.flags.iter().copied());
                Part::Done(corrected.with_shared_errors(misread).with_flags(flags))
            }
            (other, _) => other,
        };
        say("comparing strains");
        let strains = self.strains(&kinetics)?;
        Ok(SeasonStudy {
            name,
            latest: season.latest(),
            season,
            calibrations,
            builds,
            bath_plan,
            gravity,
            drift,
            series,
            shell_effects,
            kinetics,
            forecasts,
            backtest,
            strains,
        })
    }

    pub(super) fn calibrate(&self, season: &Season) -> Result<Part<Calibrations>> {
        if season.readings.is_empty() && season.references.iter().all(|r| r.tilt_deg.is_none()) {
            return Ok(Part::Skipped("no probe has a reading, so there is no tilt to turn into a gravity".to_owned()));
        }
        let found = self.calibration.fit(season)?;
        if !found.calibrations.is_empty() {
            return Ok(Part::Done(found));
        }
        // Many sessions of a probe may lack the same.
        let mut reasons: Vec<String> = Vec::new();
        for no in &found.without {
            let reason = format!("{}: {}", no.probe, no.why);
            if !reasons.contains(&reason) {
                reasons.push(reason);
            }
        }
        let why = format!("no probe has a calibration ({})", reasons.join("; "));
        let baths = season.references.iter().any(|r| !r.is_sample());
        Ok(if baths { Part::Failed(why) } else { Part::Skipped(why) })
    }

    fn builds(&self, season: &Season, calibrations: &Part<Calibrations>) -> Result<Part<Builds>> {
        if season.probes.iter().all(|probe| probe.total_mass_g.is_none()) {
            return Ok(Part::Skipped("no probe has a mass".to_owned()));
        }
        let none = Calibrations::none(self.calibration.clone());
        self.builds.run(season, calibrations.done().unwrap_or(&none)).map(Part::Done)
    }

    fn shell_effects(
        &self,
        season: &Season,
        calibrations: &Part<Calibrations>,
        gravity: &Part<Gravity>,
        series: &[GravitySeries],
    ) -> Result<Part<ShellEffects>> {
        match (calibrations.done(), gravity.done()) {
            (Some(calibrations), Some(gravity)) => {
                Part::from_result(self.shell_effects.run(season, calibrations, gravity, series))
            }
            _ => Ok(Part::Skipped("without gravities no cooling tells anything".to_owned())),
        }
    }

    fn bath_plan(&self, season: &Season, calibrations: &Part<Calibrations>) -> Result<Part<BathPlan>> {
        match calibrations.done() {
            None => Ok(Part::Skipped("without a calibration nothing tells where baths are needed".to_owned())),
            Some(calibrations) => Part::from_result(self.bath_plan.plan(season, calibrations)),
        }
    }

    fn drift(&self, season: &Season, calibrations: &Part<Calibrations>) -> Result<Part<Drift>> {
        let Some(calibrations) = calibrations.done() else {
            return Ok(Part::Skipped("without a calibration there is nothing that could drift".to_owned()));
        };
        let drift = self.drift.fit(season, calibrations)?;
        if drift.pairs.is_empty() {
            let why = "no check, sample or later bath meets the readings of a calibrated probe";
            return Ok(Part::Skipped(why.to_owned()));
        }
        Ok(Part::Done(drift))
    }

    fn kinetics(&self, season: &Season, series: &[GravitySeries]) -> Result<Part<Kinetics>> {
        if season.batches.is_empty() {
            return Ok(Part::Skipped("the season has no batches".to_owned()));
        }
        if series.is_empty() {
            return Ok(Part::Skipped("no batch has a gravity, neither by a probe nor by a sample".to_owned()));
        }
        let kinetics = self.kinetics.fit_all(series)?;
        if kinetics.batches.iter().all(|fit| Trait::ALL.iter().all(|&t| fit.finding(t).estimate().is_none())) {
            return Ok(Part::Failed("no batch has data enough for a fermentation curve".to_owned()));
        }
        Ok(Part::Done(kinetics))
    }

    /// The backtest comes first: forecasts learn from how those of the past did.
    fn forecast(
        &self,
        season: &Season,
        kinetics: &Part<Kinetics>,
        known: &AsKnown<'_>,
        asked: &[AsOf],
    ) -> Result<(Part<Forecasts>, Part<Backtest>)> {
        let Some(kinetics) = kinetics.done() else {
            let why = "without fermentation curves there is nothing to forecast";
            return Ok((Part::Skipped(why.to_owned()), Part::Skipped(why.to_owned())));
        };
        let mut forecaster = self.forecast.forecaster(&season.batches, kinetics, known)?;
        let latest = season.latest();
        let backtest = forecaster.backtest(latest.unwrap_or(Instant::from_micros(i64::MAX)));
        let running = season.running().into_iter().map(|batch| batch.batch.clone());
        let mut questions: Vec<_> = latest.into_iter().flat_map(|now| running.clone().map(move |b| (b, now))).collect();
        questions.extend(asked.iter().map(|question| (question.batch.clone(), question.as_of)));
        let forecasts = match questions.is_empty() {
            true => Part::Skipped("no batch is running, and no other moment was asked for".to_owned()),
            false => Part::Done(forecaster.forecasts(&questions)),
        };
        let backtest = match backtest.rows.is_empty() {
            true => Part::Skipped("no finished batch could be forecast before it came to rest".to_owned()),
            false => Part::Done(backtest),
        };
        Ok((forecasts, backtest))
    }

    fn strains(&self, kinetics: &Part<Kinetics>) -> Result<Part<Strains>> {
        match kinetics.done() {
            None => Ok(Part::Skipped("without fermentation curves there are no traits to compare".to_owned())),
            Some(kinetics) => Part::from_result(self.strains.run(kinetics)),
        }
    }
}

pub(super) fn gravity_of(season: &Season, calibrations: &Part<Calibrations>) -> Result<Part<Gravity>> {
    if season.readings.is_empty() {
        return Ok(Part::Skipped("the season has no readings".to_owned()));
    }
    match calibrations {
        Part::Done(calibrations) => {
            let gravity = calibrations.gravity(season)?;
            let any = gravity.sg.iter().any(Option::is_some);
            let why = "no reading belongs to a calibrated probe and gives a gravity";
            Ok(if any { Part::Done(gravity) } else { Part::Failed(why.to_owned()) })
        }
        Part::Skipped(why) | Part::Failed(why) => Ok(Part::Skipped(why.clone())),
    }
}

/// The series with what other times tell of its probes, where they do.
pub(super) fn with_known(
    series: GravitySeries,
    season: &Season,
    calibrations: &Part<Calibrations>,
    gravity: &Part<Gravity>,
    errors: Option<&ProbeErrors>,
) -> GravitySeries {
    let known = match (errors, calibrations.done(), gravity.done()) {
        (Some(errors), Some(calibrations), Some(gravity)) => errors.in_batch(season, calibrations, gravity, &series),
        _ => None,
    };
    GravitySeries { known, ..series }
}

/// The series of one batch; of its samples alone where no probe is calibrated.
pub(super) fn one_series(
    season: &Season,
    calibrations: &Part<Calibrations>,
    gravity: &Part<Gravity>,
    batch: &Batch,
    offset: &OffsetPrior,
) -> Option<GravitySeries> {
    match (calibrations.done(), gravity.done()) {
        (Some(calibrations), Some(gravity)) => gravity.series(season, calibrations, batch, offset),
        _ => {
            let none = Calibrations::none(Default::default());
            Gravity::default().series(season, &none, batch, offset)
        }
    }
}
