//! The gravity series of a batch.

use crate::calibration::Calibrations;
use crate::season::{Batch, Event, Flags, Season};

use super::cooling::cooled_hours;
use super::known::Disturbance;
use super::offset::OffsetPrior;
use super::readings::Gravity;
use super::series::{GravitySeries, SeriesProbe, SeriesSample};

/// Readings left out of a series: out of range, frozen, at a jump of the clock, without a curve, outside the batch.
pub const LEFT_OUT: Flags = Flags::TILT_RANGE
    .with(Flags::TEMP_RANGE)
    .with(Flags::FROZEN)
    .with(Flags::CLOCK_JUMP)
    .with(Flags::NO_CALIBRATION)
    .with(Flags::OUTSIDE_BATCH);
/// Offset of a probe whose cell, shell or board was changed since its calibration, SG: one gram is 0.01.
pub(super) const STALE_OFFSET_SD: f64 = 0.010;

impl Gravity {
    /// The readings of one batch, of all its probes, in order of time, with the batch's samples; none when it has
    /// neither.
    ///
    /// Readings flagged [`LEFT_OUT`], before pitching, or after the end of the batch stay out. A probe's offset has the
    /// prior SD of `offset` at its age (days from the calibration in force to the middle of its readings), and 0.010
    /// more where its calibration is stale.
    pub fn series(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        batch: &Batch,
        offset: &OffsetPrior,
    ) -> Option<GravitySeries> {
        let mut series = GravitySeries {
            ended_hours: batch.ended_at.map(|at| at.hours_since(batch.pitched_at)),
            original_sg: batch.original_sg.map(|sg| (sg, batch.original_sg_sd.unwrap_or(DEFAULT_SD))),
            limit_sg: batch.limit_sg.map(|sg| (sg, batch.limit_sg_sd.unwrap_or(DEFAULT_SD))),
            samples: samples(season, batch),
            ..GravitySeries::empty(&batch.batch, &batch.strain, batch.pitched_at)
        };
        let mut kept: Vec<(usize, u32)> = Vec::new();
        for probe in &season.readings.probe_ids {
            let rows = self.rows_of(season, batch, probe);
            let (Some(first), Some(last)) = (rows.first(), rows.last()) else { continue };
            let place = series.probes.len() as u32;
            let age_d = self.age_d(season, calibrations, *first, *last);
            let stale =
                rows.iter().any(|&row| self.flags.get(row).is_some_and(|f| f.intersects(Flags::CALIBRATION_STALE)));
            let offset_sd = offset.sd(age_d).hypot(if stale { STALE_OFFSET_SD } else { 0.0 });
            series.probes.push(SeriesProbe { probe: probe.clone(), offset_sd });
            kept.extend(rows.into_iter().map(|row| (row, place)));
        }
        kept.sort_by_key(|&(row, place)| (season.readings.at.get(row).copied(), place));
        for (row, place) in kept {
            let (Some(reading), Some(sg), Some(se), Some(shared)) = (
                season.readings.get(row),
                at(&self.sg_uncorrected, row),
                at(&self.sg_se, row),
                at(&self.sg_se_shared, row),
            ) else {
                continue;
            };
            series.rows.push(row);
            series.hours.push(reading.at.hours_since(batch.pitched_at));
            series.sg.push(sg);
            series.own_sd.push((se * se - shared * shared).max(0.0).sqrt());
            series.shared_sd.push(shared);
            series.temp_c.push(reading.temp_c);
            series.probe.push(place);
        }
        series.disturbed = disturbed(season, batch, &series.probes);
        series.cooled_hours = cooled_hours(season, batch, &series.hours, &series.temp_c);
        (!series.rows.is_empty() || !series.samples.is_empty()).then_some(series)
    }

    /// The series of every batch that has one, in the order of the batches.
    pub fn all_series(&self, season: &Season, calibrations: &Calibrations, offset: &OffsetPrior) -> Vec<GravitySeries> {
        season.batches.iter().filter_map(|batch| self.series(season, calibrations, batch, offset)).collect()
    }

    fn rows_of(&self, season: &Season, batch: &Batch, probe: &str) -> Vec<usize> {
        let readings = &season.readings;
        let Some(index) = readings.batch_index(&batch.batch) else { return Vec::new() };
        let until = batch.ended_at.unwrap_or(crate::Instant::from_micros(i64::MAX));
        readings
            .of_probe_between(probe, batch.pitched_at, until)
            .filter(|&row| readings.batch.get(row).copied().flatten() == Some(index))
            .filter(|&row| self.flags.get(row).is_some_and(|flags| !flags.intersects(LEFT_OUT)))
            .filter(|&row| at(&self.sg, row).is_some())
            .collect()
    }

    /// Days from the calibration used to the middle of the rows.
    fn age_d(&self, season: &Season, calibrations: &Calibrations, first: usize, last: usize) -> f64 {
        let calibration = at(&self.calibration, first).and_then(|index| calibrations.calibrations.get(index as usize));
        let (from, to) = (season.readings.at.get(first), season.readings.at.get(last));
        match (calibration, from, to) {
            (Some(c), Some(from), Some(to)) => from.days_since(c.calibrated_at) + 0.5 * to.days_since(*from),
            _ => 0.0,
        }
    }
}

/// Standard deviation of an original or limit gravity that states none: a hydrometer's (from memory, no source).
const DEFAULT_SD: f64 = 0.001;

fn at<T: Copy>(column: &[Option<T>], row: usize) -> Option<T> {
    column.get(row).copied().flatten()
}

/// What is written down of the batch, or of one of its probes, that may have moved probes. A knock or a change of one probe
/// is for the study of drift to know.
fn disturbed(season: &Season, batch: &Batch, probes: &[SeriesProbe]) -> Vec<Disturbance> {
    let of = |event: &Event| {
        let own = event.probe.as_ref().map(|id| probes.iter().position(|of| of.probe == *id));
        let of_batch = event.batch.as_ref().map(|id| *id == batch.batch);
        let probe = match (own, of_batch) {
            (Some(Some(place)), Some(true) | None) => Some(place as u32),
            (None, Some(true)) => None,
            _ => return None,
        };
        let disturbs = event.disturbs() || (probe.is_none() && event.kind == "knocked");
        disturbs.then(|| Disturbance { hours: event.at.hours_since(batch.pitched_at), probe })
    };
    let mut all: Vec<Disturbance> = season.events.iter().filter_map(of).filter(|of| of.hours > 0.0).collect();
    all.sort_by(|a, b| a.hours.total_cmp(&b.hours));
    all
}

fn samples(season: &Season, batch: &Batch) -> Vec<SeriesSample> {
    let mut samples: Vec<SeriesSample> = season
        .references
        .iter()
        .filter(|r| r.batch.as_deref() == Some(batch.batch.as_str()) && r.sg.is_finite())
        .map(|r| SeriesSample {
            hours: r.at.hours_since(batch.pitched_at),
            sg: r.sg,
            sd: r.sd(),
            known_hours: r.known().hours_since(batch.pitched_at),
            instrument: r.instrument.clone(),
        })
        .collect();
    samples.sort_by(|a, b| a.hours.total_cmp(&b.hours));
    samples
}
