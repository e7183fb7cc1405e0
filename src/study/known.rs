//! What was known of a batch at a moment.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use crate::calibration::Calibrations;
use crate::drift::{KnownStays, ProbeErrors};
use crate::error::Result;
use crate::forecast::{KnownSeries, LOOK_PERIOD_H};
use crate::gravity::{BatchErrors, Gravity, GravitySeries, OffsetPrior, SeriesBuilder};
use crate::season::{Batch, Reference, Season};
use crate::units::Instant;

use super::gravities::{gravity_of, series_builder};
use super::part::Part;
use super::settings::Settings;

/// References up to which the variances of drift are fitted anew each time: a fit takes as long as the cube of their number.
const FITTED_EACH: usize = 300;

/// Moments whose drift is kept: those asked for last, as moments are asked for in order of time.
const KEPT: usize = 32;

/// Gives gravities as they were known at a moment, from a season that was studied to its end.
///
/// A calibration depends on its own baths alone. Where all those that a batch's readings rest on were done and known
/// by the moment, the gravities of the whole season, cut at the moment, are what was known then. Otherwise (readings
/// before their probe's first calibration, values that a laboratory sent later) the season is cut and calibrated
/// afresh. What probes may read wrong is taken from the drift known at the moment, without the batch's own samples.
#[derive(Debug)]
pub(super) struct AsKnown<'a> {
    season: &'a Season,
    settings: &'a Settings,
    calibrations: &'a Part<Calibrations>,
    gravity: &'a Part<Gravity>,
    /// What probes may read wrong at moments, the one asked for last at the end: many batches are asked for at one moment.
    errors: Mutex<VecDeque<(Instant, Errors)>>,
    stays: KnownStays,
}

/// What the drift known at a moment says of the probes.
#[derive(Debug, Clone)]
struct Errors {
    offset: OffsetPrior,
    of_probes: Option<Arc<ProbeErrors>>,
}

impl Errors {
    /// A builder of series that knows as much.
    fn told<'a>(&'a self, builder: SeriesBuilder<'a>) -> SeriesBuilder<'a> {
        let errors = self.of_probes.as_deref().map(|errors| errors as &dyn BatchErrors);
        builder.with_offset(self.offset).with_errors(errors)
    }
}

impl<'a> AsKnown<'a> {
    /// From the season and its gravities.
    pub(super) fn new(
        season: &'a Season,
        settings: &'a Settings,
        calibrations: &'a Part<Calibrations>,
        gravity: &'a Part<Gravity>,
    ) -> Self {
        Self { season, settings, calibrations, gravity, errors: Mutex::default(), stays: KnownStays::default() }
    }

    /// True when every calibration that the batch's readings up to `as_of` rest on was known by then.
    fn calibrated_by(
        &self,
        calibrations: &Calibrations,
        gravity: &Gravity,
        series: &GravitySeries,
        as_of: Instant,
    ) -> bool {
        let readings = &self.season.readings;
        let mut used: Vec<u32> = series
            .rows
            .iter()
            .filter(|&&row| readings.at.get(row).is_some_and(|at| *at <= as_of))
            .filter_map(|&row| gravity.calibration.get(row).copied().flatten())
            .collect();
        used.sort_unstable();
        used.dedup();
        used.iter().filter_map(|&index| calibrations.calibrations.get(index as usize)).all(|calibration| {
            let rows = calibration.baths.iter().flat_map(|bath| &bath.references);
            let mut baths = rows.filter_map(|&row| self.season.references.get(row));
            calibration.calibrated_at <= as_of && baths.all(|bath| bath.known() <= as_of)
        })
    }

    /// What the probes of a batch may read wrong, by the drift known at the moment; where no probe is calibrated drift tells nothing.
    fn errors(&self, calibrations: &Part<Calibrations>, batch: &Batch, as_of: Instant) -> Result<Errors> {
        match calibrations.done() {
            Some(calibrations) => self.errors_at(calibrations, self.settled(batch, as_of)),
            None => Ok(Errors { offset: self.settings.drift.offset_prior, of_probes: None }),
        }
    }

    fn errors_at(&self, calibrations: &Calibrations, moment: Instant) -> Result<Errors> {
        if let Some(known) = self.kept(moment) {
            return Ok(known);
        }
        let mut by_then = calibrations.clone();
        by_then.calibrations.retain(|calibration| calibration.calibrated_at <= moment);
        let (season, drift) = (self.season.as_of(moment), &self.settings.drift);
        let held = Some(self.last_fit(moment)).filter(|fitted_at| *fitted_at < moment);
        let found = match held.map(|fitted_at| self.errors_at(calibrations, fitted_at)).transpose()? {
            Some(Errors { offset, of_probes: Some(held) }) => {
                Errors { offset, of_probes: Some(Arc::new(drift.errors_given(&season, &by_then, &self.stays, &held)?)) }
            }
            _ => {
                let (offset, of_probes) = drift.errors(&season, &by_then, &self.stays)?;
                Errors { offset, of_probes: of_probes.map(Arc::new) }
            }
        };
        let mut kept = self.errors.lock().unwrap_or_else(PoisonError::into_inner);
        kept.push_back((moment, found.clone()));
        let beyond = kept.len().saturating_sub(KEPT);
        kept.drain(..beyond);
        Ok(found)
    }

    /// What is kept of a moment, which then is the one asked for last.
    fn kept(&self, moment: Instant) -> Option<Errors> {
        // A poisoned lock holds whole entries all the same: each is written at once.
        let mut kept = self.errors.lock().unwrap_or_else(PoisonError::into_inner);
        let place = kept.iter().position(|(at, _)| *at == moment)?;
        let known = kept.remove(place)?;
        kept.push_back(known.clone());
        Some(known.1)
    }

    /// When the variances of drift were last fitted, and wrong entries last sought: up to [`FITTED_EACH`] references each
    /// time, later when they have become a fifth more. In between the pairs are new and the rest is held.
    fn last_fit(&self, moment: Instant) -> Instant {
        let references = self.season.references.iter().map(|reference| reference.known().max(reference.at));
        let mut known: Vec<Instant> = references.filter(|at| *at <= moment).collect();
        known.sort_unstable();
        let mut fitted = FITTED_EACH;
        while fitted + fitted / 5 <= known.len() {
            fitted += fitted / 5;
        }
        known.get(fitted - 1).copied().filter(|_| known.len() > FITTED_EACH).unwrap_or(moment)
    }

    /// The first moment from which on nothing that drift rests on has changed up to `as_of`: baths and events of the batch's own
    /// probes, all others and samples up to the last look of forecasts at other batches, and the readings around them. At each
    /// such moment the drift of the fleet is fitted afresh.
    fn settled(&self, batch: &Batch, as_of: Instant) -> Instant {
        let begun = as_of.begun(LOOK_PERIOD_H);
        let by = |probe: Option<&String>| if probe.is_some_and(|id| batch.probes.contains(id)) { as_of } else { begun };
        let bath_of = |of: &'a Reference| of.probe.as_ref().filter(|_| !of.is_sample());
        let references = self.season.references.iter().map(|of| (of.known().max(of.at), by(bath_of(of))));
        let events = self.season.events.iter().map(|event| (event.at, by(event.probe.as_ref())));
        let last = references.chain(events).filter(|(at, by)| at <= by).map(|(at, _)| at).max();
        let drift = &self.settings.drift;
        let around_h = drift.plateau_window_h.max(drift.window_min / 60.0);
        last.map_or(as_of, |last| last.plus_hours(around_h).min(as_of))
    }

    /// The batch on a season that is cut and calibrated afresh.
    fn afresh(&self, batch: &Batch, as_of: Instant) -> Result<Option<GravitySeries>> {
        let season = self.season.as_of(as_of);
        let calibrations = self.settings.calibrate(&season)?;
        let gravity = gravity_of(&season, &calibrations)?;
        let errors = self.errors(&calibrations, batch, as_of)?;
        let batch = season.batches.iter().find(|known| known.batch == batch.batch);
        let builder = errors.told(series_builder(&season, &calibrations, &gravity));
        Ok(batch.and_then(|batch| builder.of(batch)))
    }
}

impl KnownSeries for AsKnown<'_> {
    fn series(&self, batch: &Batch, as_of: Instant) -> Result<Option<GravitySeries>> {
        if batch.pitched_at > as_of {
            return Ok(None);
        }
        let errors = self.errors(self.calibrations, batch, as_of)?;
        let builder = errors.told(series_builder(self.season, self.calibrations, self.gravity));
        let Some(cut) = builder.as_of(batch, as_of) else { return Ok(None) };
        if let (Some(calibrations), Some(gravity)) = (self.calibrations.done(), self.gravity.done())
            && !self.calibrated_by(calibrations, gravity, &cut, as_of)
        {
            return self.afresh(batch, as_of);
        }
        Ok(Some(cut))
    }
}
