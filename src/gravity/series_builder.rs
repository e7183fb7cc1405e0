//! The gravity series of a batch.

use crate::calibration::{Calibrations, UNUSABLE, cooled_hours, instrument_name, own_sd};
use crate::season::{Batch, Event, Flags, HYDROMETER_SD_SG, Reference, Season};
use crate::units::Instant;

use super::offset::offset_sd;

use super::known::{Disturbance, KnownErrors};
use super::layers::Gravity;
use super::offset::OffsetPrior;
use super::series::{GravitySeries, HeldReading, SeriesProbe, SeriesSample};

/// Readings left out of a series: out of range, frozen, at a jump of the clock, without a curve, outside the batch.
const LEFT_OUT: Flags = UNUSABLE.with(Flags::NO_BEER).with(Flags::NO_CALIBRATION);

/// What other times tell of the errors of a batch's probes, without the samples of the batch itself.
pub(crate) trait BatchErrors: std::fmt::Debug + Sync {
    /// The errors of the probes of a series; none where other times tell nothing of one of them.
    fn in_batch(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        gravity: &Gravity,
        series: &GravitySeries,
    ) -> Option<KnownErrors>;

    /// Whether the rest of the season contradicts what was written down of a batch at a moment: a sample or the original
    /// gravity.
    fn is_wrong(&self, batch: &str, at: Instant, sg: f64) -> bool;

    /// Whether the samples of a batch contradict the readings of a probe there.
    fn is_foreign(&self, batch: &str, probe: &str) -> bool;
}

/// Builds the gravity series of batches: readings, samples, and what other times tell of the probes.
///
/// The whole study takes its series from the same builder, as the study of drift sets it up.
#[derive(Debug, Clone, Copy)]
pub struct SeriesBuilder<'a> {
    season: &'a Season,
    readings: Option<(&'a Calibrations, &'a Gravity)>,
    offset: OffsetPrior,
    errors: Option<&'a dyn BatchErrors>,
}

impl<'a> SeriesBuilder<'a> {
    /// Of samples alone: no probe is calibrated.
    pub fn of_samples(season: &'a Season) -> Self {
        Self { season, readings: None, offset: OffsetPrior::default(), errors: None }
    }

    /// Of samples and readings.
    pub fn new(season: &'a Season, calibrations: &'a Calibrations, gravity: &'a Gravity) -> Self {
        Self { readings: Some((calibrations, gravity)), ..Self::of_samples(season) }
    }

    /// Takes another prior of the probes' offsets.
    #[must_use]
    pub fn with_offset(self, offset: OffsetPrior) -> Self {
        Self { offset, ..self }
    }

    /// Adds what other times tell of the probes.
    #[must_use]
    pub(crate) fn with_errors(self, errors: Option<&'a dyn BatchErrors>) -> Self {
        Self { errors, ..self }
    }

    /// The series of every batch that has one, in the order of the batches.
    pub fn all(&self) -> Vec<GravitySeries> {
        self.season.batches.iter().filter_map(|batch| self.of(batch)).collect()
    }

    /// The readings of one batch, of all its probes, in order of time, with the batch's samples; none when it has
    /// neither.
    ///
    /// Readings stay out that are out of range, frozen, at a jump of the clock, without a curve, before pitching or after the
    /// end of the batch. A probe's offset has the prior SD at its age (days from the calibration in force to the middle of its readings), and 0.010 more where its
    /// calibration is stale.
    pub fn of(&self, batch: &Batch) -> Option<GravitySeries> {
        Some(self.with_known(self.read(batch)?.without_episodes()))
    }

    /// The same as it was at a moment, for readings and calibrations that were known by then: the errors of the probes
    /// are taken at what was read by then. None when the batch was pitched later.
    pub fn as_of(&self, batch: &Batch, as_of: Instant) -> Option<GravitySeries> {
        Some(self.with_known(self.read(batch)?.as_of(as_of)?.without_episodes()))
    }

    fn with_known(&self, series: GravitySeries) -> GravitySeries {
        let known = self
            .errors
            .zip(self.readings)
            .and_then(|(errors, (calibrations, gravity))| errors.in_batch(self.season, calibrations, gravity, &series));
        GravitySeries { known, ..series }
    }

    /// The series without what other times tell.
    fn read(&self, batch: &Batch) -> Option<GravitySeries> {
        let (samples, doubted) = self.samples(batch);
        let mut series = GravitySeries {
            ended_hours: batch.ended_at.map(|at| at.hours_since(batch.pitched_at)),
            original_sg: batch
                .original_sg
                .filter(|sg| !self.is_wrong(batch, batch.pitched_at, *sg))
                .map(|sg| (sg, batch.original_sg_sd.unwrap_or(*HYDROMETER_SD_SG))),
            limit_sg: batch.limit_sg.map(|sg| (sg, batch.limit_sg_sd.unwrap_or(*HYDROMETER_SD_SG))),
            samples,
            doubted,
            ..GravitySeries::empty(&batch.batch, &batch.strain, batch.pitched_at)
        };
        if let Some((calibrations, gravity)) = self.readings {
            self.add_readings(calibrations, gravity, batch, &mut series);
        }
        series.disturbed = disturbed(self.season, batch, &series.probes);
        series.sugar_hours = self.season.sugar_hours(Some(&batch.batch), batch.pitched_at);
        series.cooled_hours = cooled_hours(self.season, batch, &series.hours, &series.temp_c);
        (!series.rows.is_empty() || !series.samples.is_empty()).then_some(series)
    }

    fn is_wrong(&self, batch: &Batch, at: Instant, sg: f64) -> bool {
        self.errors.is_some_and(|errors| errors.is_wrong(&batch.batch, at, sg))
    }

    /// The samples of a batch by time, and those that the rest of the season contradicts.
    fn samples(&self, batch: &Batch) -> (Vec<SeriesSample>, Vec<SeriesSample>) {
        let of_batch = self.season.samples_of(&batch.batch).filter(|r| r.sg.is_finite());
        let mut of_batch: Vec<&Reference> = of_batch.collect();
        of_batch.sort_by_key(|reference| reference.at);
        let (wrong, right): (Vec<&Reference>, _) = of_batch.into_iter().partition(|r| self.is_wrong(batch, r.at, r.sg));
        let bias_sd =
            |r: &Reference| self.readings.map_or(0.0, |(calibrations, _)| calibrations.settings.instrument_bias_sg(r));
        let sample = |r: &Reference| SeriesSample {
            hours: r.at.hours_since(batch.pitched_at),
            sg: r.sg,
            sd: own_sd(r, bias_sd(r)).hypot(bias_sd(r)),
            known_hours: r.known().hours_since(batch.pitched_at),
            instrument: instrument_name(r),
        };
        (right.into_iter().map(sample).collect(), wrong.into_iter().map(sample).collect())
    }

    fn add_readings(&self, calibrations: &Calibrations, gravity: &Gravity, batch: &Batch, series: &mut GravitySeries) {
        let readings = &self.season.readings;
        let mut kept: Vec<(Instant, u32, usize)> = Vec::new();
        for probe in &readings.probe_ids {
            if self.errors.is_some_and(|errors| errors.is_foreign(&batch.batch, probe)) {
                continue;
            }
            let rows = rows_of(gravity, self.season, batch, probe, |flags| !flags.intersects(LEFT_OUT));
            let (Some(&first), Some(&last)) = (rows.first(), rows.last()) else { continue };
            let place = series.probes.len() as u32;
            let stale = |&(row, _): &(usize, Instant)| {
                gravity.flags.get(row).is_some_and(|flags| flags.intersects(Flags::CALIBRATION_STALE))
            };
            let age_d = age_d(gravity, calibrations, first, last.1);
            let offset_sd = offset_sd(&self.offset, age_d, rows.iter().any(stale));
            series.probes.push(SeriesProbe { probe: probe.clone(), offset_sd });
            kept.extend(rows.into_iter().map(|(row, at)| (at, place, row)));
            // While a sensor repeats itself its beer goes on.
            let frozen = rows_of(gravity, self.season, batch, probe, |flags| {
                flags.intersects(Flags::FROZEN) && !flags.intersects(Flags::NO_BEER)
            });
            series.held.extend(frozen.into_iter().filter_map(|(row, at)| {
                let sg = gravity.uncorrected.get(row).copied().flatten()?.sg;
                Some(HeldReading { row, hours: at.hours_since(batch.pitched_at), sg, probe: place })
            }));
        }
        kept.sort();
        for (at, place, row) in kept {
            let (Some(reading), Some(Some(read)), Some(Some(corrected))) =
                (readings.get(row), gravity.uncorrected.get(row), gravity.corrected.get(row))
            else {
                continue;
            };
            series.rows.push(row);
            series.hours.push(at.hours_since(batch.pitched_at));
            series.sg.push(read.sg);
            series.corrected_sg.push(corrected.sg);
            // The whole error less the shared one, rounded as the table of gravities states both.
            let se = read.own_se.hypot(read.curve_se);
            series.own_sd.push((se * se - read.curve_se * read.curve_se).max(0.0).sqrt());
            series.shared_sd.push(read.curve_se);
            series.temp_c.push(reading.temp_c);
            series.probe.push(place);
        }
    }
}

/// Rows of a probe in a batch that have a gravity and flags to keep, with their times.
fn rows_of(
    gravity: &Gravity,
    season: &Season,
    batch: &Batch,
    probe: &str,
    keep: impl Fn(&Flags) -> bool,
) -> Vec<(usize, Instant)> {
    let readings = &season.readings;
    let Some(index) = readings.batch_index(&batch.batch) else { return Vec::new() };
    let until = batch.ended_at.unwrap_or(Instant::from_micros(i64::MAX));
    readings
        .of_probe_between(probe, batch.pitched_at, until)
        .filter(|&row| readings.batch.get(row).copied().flatten() == Some(index))
        .filter(|&row| gravity.flags.get(row).is_some_and(&keep))
        .filter(|&row| gravity.uncorrected.get(row).is_some_and(Option::is_some))
        .filter_map(|row| Some((row, *readings.at.get(row)?)))
        .collect()
}

/// Days from the calibration used to the middle of the rows; 0 where none was.
fn age_d(gravity: &Gravity, calibrations: &Calibrations, (first, from): (usize, Instant), to: Instant) -> f64 {
    let used = gravity.calibration.get(first).copied().flatten();
    let calibration = used.and_then(|index| calibrations.calibrations.get(index as usize));
    calibration.map_or(0.0, |c| from.days_since(c.calibrated_at) + 0.5 * to.days_since(from))
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
        let hours = event.at.hours_since(batch.pitched_at);
        disturbs.then_some(Disturbance { hours, probe, jump_sg: 0.0 })
    };
    let mut all: Vec<Disturbance> = season.events.iter().filter_map(of).filter(|of| of.hours > 0.0).collect();
    all.sort_by(|a, b| a.hours.total_cmp(&b.hours));
    all
}
