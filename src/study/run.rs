//! The order of the studies, and what each takes from those before it.

use crate::calibration::{Builds, Calibrations};
use crate::drift::{Drift, exchanged_stays};
use crate::error::{Error, Result};
use crate::forecast::{Backtest, Forecasts, Schedule};
use crate::gravity::{Gravity, GravityLayers, GravitySeries, ReadingDrift, SeriesBuilder};
use crate::kinetics::{Kinetics, Trait};
use crate::season::{Season, each_once};
use crate::units::{HOURS_PER_DAY, Instant};

use super::as_of::AsOf;
use super::builder::Study;
use super::gravities::{gravity_of, series_builder, with_process};
use super::known::AsKnown;
use super::part::Part;
use super::report_settings::ReportSettings;
use super::result::SeasonStudy;
use super::settings::Settings;

/// What tells a reading's gravity.
type Read<'a> = (&'a Part<Calibrations>, &'a Part<Gravity>, &'a Part<Drift>);

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
    /// println!("{}", Summary::of(&study));
    /// # Ok(())
    /// # }
    /// ```
    pub fn study(&self, season: impl Into<Season>) -> Result<SeasonStudy> {
        Study::of(season).settings(self.clone()).run()
    }

    /// `asked` are moments as of which batches are forecast besides the running ones; `say` is told what is being done.
    ///
    /// A study without input is skipped, one whose data do not suffice has failed: both say why and stop nothing else.
    pub(super) fn run(
        &self,
        mut season: Season,
        name: String,
        asked: &[AsOf],
        say: &(dyn Fn(&str) + Sync),
    ) -> Result<SeasonStudy> {
        say("calibrating the probes");
        let mut calibrations = self.calibrate(&season)?;
        let exchanged = calibrations.done().map_or(Ok(Vec::new()), |found| exchanged_stays(&season, found))?;
        if !exchanged.is_empty() {
            exchanged.iter().for_each(|stays| season.exchange(stays));
            calibrations = self.calibrate(&season)?;
        }
        let builds = self.builds(&season, &calibrations)?;
        let bath_plan = calibrations
            .then("without a calibration nothing tells where baths are needed", |calibrations| {
                Part::from_result(self.bath_plan.plan(&season, calibrations))
            })?;
        say("turning tilts into gravities");
        let gravity = gravity_of(&season, &calibrations)?;
        say("looking for drift");
        let drift = self.drift(&season, &calibrations)?;
        let read = (&calibrations, &gravity, &drift);
        let layers = GravityLayers { drift: self.drift_layer(&season, read), ..Default::default() };
        let gravity = gravity.map(|gravity| gravity.with_layers(&layers));
        let series = self.series_of(&season, (&calibrations, &gravity, &drift)).all();
        let kinetics = self.kinetics(&season, &series, say)?.map(|found| found.with_left_open(&season.left_open()));
        say("forecasting, holding old forecasts against what came, and comparing strains");
        let known = AsKnown::new(&season, self, &calibrations, &gravity);
        let compare = || {
            kinetics.then("without fermentation curves there are no traits to compare", |kinetics| {
                Part::from_result(self.strains.run(&season, kinetics))
            })
        };
        let forecast = || self.forecast(&season, &kinetics, &known, asked);
        let (forecast, strains) = rayon::join(forecast, compare);
        let ((forecasts, backtest), strains) = (forecast?, strains?);
        let layers = with_process(layers, &season, &series, (&kinetics, &drift));
        let gravity = gravity.map(|gravity| gravity.with_layers(&layers));
        let series = match gravity.done() {
            Some(gravity) => series.into_iter().map(|series| series.with_gravity(gravity)).collect(),
            None => series,
        };
        Ok(SeasonStudy {
            name,
            report: ReportSettings::default(),
            latest: season.latest(),
            season,
            calibrations,
            builds,
            bath_plan,
            gravity,
            drift,
            series,
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
        // One reason a probe, however many dates its baths have.
        let reason = |probe: &String| {
            let of: Vec<_> = found.without.iter().filter(|no| no.probe == *probe).collect();
            let days = self.calibration.session_gap_h / HOURS_PER_DAY;
            match of.as_slice() {
                [no] => format!("{probe}: {}", no.why),
                of => format!(
                    "{probe}: its baths are of {} dates more than {days:.0} days apart, each without enough baths for a curve",
                    of.len()
                ),
            }
        };
        let reasons: Vec<String> =
            each_once(found.without.iter().map(|no| &no.probe)).into_iter().map(reason).collect();
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

    fn drift(&self, season: &Season, calibrations: &Part<Calibrations>) -> Result<Part<Drift>> {
        calibrations.then("without a calibration there is nothing that could drift", |calibrations| {
            let drift = self.drift.fit(season, calibrations)?;
            let why = "no check, sample or later bath meets the readings of a calibrated probe";
            Ok(Part::unless(drift.pairs.is_empty(), why, drift))
        })
    }

    /// The drift of each reading's probe; where the study of drift gave nothing, what its prior says.
    fn drift_layer(&self, season: &Season, (calibrations, gravity, drift): Read<'_>) -> Vec<Option<ReadingDrift>> {
        match (calibrations.done(), gravity.done(), drift.done()) {
            (Some(calibrations), Some(gravity), Some(drift)) => drift.of_readings(season, calibrations, gravity),
            (Some(calibrations), Some(gravity), None) => {
                gravity.drift_by_age(season, calibrations, &self.drift.offset_prior)
            }
            _ => Vec::new(),
        }
    }

    fn series_of<'a>(&self, season: &'a Season, (calibrations, gravity, drift): Read<'a>) -> SeriesBuilder<'a> {
        match (calibrations.done(), gravity.done(), drift.done()) {
            (Some(calibrations), Some(gravity), Some(drift)) => drift.series(season, calibrations, gravity),
            _ => series_builder(season, calibrations, gravity).with_offset(self.drift.offset_prior),
        }
    }

    fn kinetics(
        &self,
        season: &Season,
        series: &[GravitySeries],
        say: &(dyn Fn(&str) + Sync),
    ) -> Result<Part<Kinetics>> {
        if season.batches.is_empty() {
            return Ok(Part::Skipped("the season has no batches".to_owned()));
        }
        if series.is_empty() {
            return Ok(Part::Skipped("no batch has a gravity, neither by a probe nor by a sample".to_owned()));
        }
        let kinetics = self
            .kinetics
            .fit_counted(series, &|done| say(&format!("fitting the fermentations: {done} of {}", series.len())))?;
        if kinetics.batches.iter().all(|fit| Trait::ALL.iter().all(|&t| fit.finding(t).estimate().is_none())) {
            return Ok(Part::Failed("no batch has data enough for a fermentation curve".to_owned()));
        }
        Ok(Part::Done(kinetics))
    }

    /// The backtest and then the forecasts, by one forecaster, which remembers what it has looked at. What a forecast learns, it
    /// learns from batches that have ended, not from how forecasts of the past did.
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
        let why = "no batch is running";
        let mut forecasts = forecaster.forecasts(&questions);
        for (batch, now) in running.flat_map(|batch| latest.map(|now| (batch, now))) {
            let steps = season.plan.iter().filter(|step| step.batch == batch && step.at > now);
            let steps: Vec<(Instant, f64)> = steps.map(|step| (step.at, step.temp_c)).collect();
            if !steps.is_empty() {
                let planned = Schedule { name: "as planned".to_owned(), steps };
                match forecaster.what_if(&batch, now, &[planned]) {
                    Ok(outlooks) => forecasts.outlooks.extend(outlooks),
                    Err(Error::Usage(refused)) => forecasts.say(&batch, &refused),
                    // A batch that is cold or cannot be forecast has no outlook; its forecast says why.
                    Err(_) => {}
                }
            }
        }
        let forecasts = Part::unless(questions.is_empty(), why, forecasts);
        let why = "no finished batch could be forecast before it came to rest";
        let backtest = Part::unless(backtest.rows.is_empty(), why, backtest);
        Ok((forecasts, backtest))
    }
}
