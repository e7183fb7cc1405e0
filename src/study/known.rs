//! What was known of a batch at a moment.

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

use crate::calibration::{Calibrations, Gravity, OffsetPrior};
use crate::error::Result;
use crate::forecast::KnownSeries;
use crate::season::{Batch, GravitySeries, Season};
use crate::units::Instant;

use super::part::Part;
use super::run::{StudySettings, gravity_of, one_series};

/// Gives gravities as they were known at a moment, from a season that was studied to its end.
///
/// A calibration depends on its own baths alone. Where all those that a batch's readings rest on were done and known
/// by the moment, the gravities of the whole season, cut at the moment, are what was known then. Otherwise (readings
/// before their probe's first calibration, values that a laboratory sent later) the season is cut and calibrated
/// afresh. What a probe's offset may be is taken from the drift known at the moment.
#[derive(Debug)]
pub(super) struct AsKnown<'a> {
    season: &'a Season,
    settings: &'a StudySettings,
    calibrations: &'a Part<Calibrations>,
    gravity: &'a Part<Gravity>,
    /// Priors of offsets by moment: many batches are asked for at one moment.
    offsets: Mutex<BTreeMap<Instant, OffsetPrior>>,
}

impl<'a> AsKnown<'a> {
    /// From the season and its gravities.
    pub(super) fn new(
        season: &'a Season,
        settings: &'a StudySettings,
        calibrations: &'a Part<Calibrations>,
        gravity: &'a Part<Gravity>,
    ) -> Self {
        Self { season, settings, calibrations, gravity, offsets: Mutex::default() }
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

    /// What a probe's offset may be, by the drift known at the moment.
    fn offset(&self, calibrations: &Calibrations, as_of: Instant) -> Result<OffsetPrior> {
        // A poisoned lock holds whole entries all the same: each is written at once.
        if let Some(known) = self.offsets.lock().unwrap_or_else(PoisonError::into_inner).get(&as_of) {
            return Ok(*known);
        }
        let mut by_then = calibrations.clone();
        by_then.calibrations.retain(|calibration| calibration.calibrated_at <= as_of);
        let offset = self.settings.drift.offset_prior(&self.season.as_of(as_of), &by_then)?;
        self.offsets.lock().unwrap_or_else(PoisonError::into_inner).insert(as_of, offset);
        Ok(offset)
    }

    /// The batch on a season that is cut and calibrated afresh.
    fn afresh(&self, batch: &Batch, as_of: Instant) -> Result<Option<GravitySeries>> {
        let season = self.season.as_of(as_of);
        let calibrations = self.settings.calibrate(&season)?;
        let gravity = gravity_of(&season, &calibrations)?;
        let offset = match calibrations.done() {
            Some(calibrations) => self.offset(calibrations, as_of)?,
            None => self.settings.drift.offset_prior,
        };
        let batch = season.batches.iter().find(|known| known.batch == batch.batch);
        Ok(batch.and_then(|batch| one_series(&season, &calibrations, &gravity, batch, &offset)))
    }
}

impl KnownSeries for AsKnown<'_> {
    fn series(&self, batch: &Batch, as_of: Instant) -> Result<Option<GravitySeries>> {
        if batch.pitched_at > as_of {
            return Ok(None);
        }
        let offset = match self.calibrations.done() {
            Some(calibrations) => self.offset(calibrations, as_of)?,
            None => self.settings.drift.offset_prior,
        };
        let Some(whole) = one_series(self.season, self.calibrations, self.gravity, batch, &offset) else {
            return Ok(None);
        };
        if let (Some(calibrations), Some(gravity)) = (self.calibrations.done(), self.gravity.done())
            && !self.calibrated_by(calibrations, gravity, &whole, as_of)
        {
            return self.afresh(batch, as_of);
        }
        Ok(whole.as_of(as_of))
    }
}
