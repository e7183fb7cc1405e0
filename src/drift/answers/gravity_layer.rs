//! Drift as a layer of gravities, and as what is known of the probes of a batch.

use std::collections::BTreeMap;

use crate::calibration::Calibrations;
use crate::gravity::{BatchErrors, Gravity, ReadingDrift, SeriesBuilder};
use crate::season::{Flags, Season};

use crate::drift::results::MisfitKind;

use super::correction::Correction;
use super::drift::Drift;

impl Drift {
    /// The drift of each reading's probe, as a layer of the gravities ([`Gravity::with_layers`]).
    ///
    /// Where a correction is applied, the predicted error of the probe at that moment and gravity (a shrunken prediction,
    /// from references before and after) is taken from SG, and the shared error holds the SD of that prediction, which
    /// has the curve's own error in it, and of what one immersion differs from another. That is done for a calibration of
    /// a probe when it takes away more than half of the expected squared error (setting), so that what the model may have
    /// wrong costs less than it gives. Elsewhere nothing is taken and the errors grow with age
    /// ([`Gravity::drift_by_age`]).
    pub fn of_readings(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        gravity: &Gravity,
    ) -> Vec<Option<ReadingDrift>> {
        let applied: BTreeMap<&str, &Correction> =
            self.corrections.iter().filter(|c| c.applied).map(|c| (c.calibration.as_str(), c)).collect();
        let by_index: Vec<Option<&Correction>> =
            gravity.calibration_ids.iter().map(|id| applied.get(id.as_str()).copied()).collect();
        let mut drift = gravity.drift_by_age(season, calibrations, &self.offset_prior);
        let rows = gravity.uncorrected.iter().zip(&gravity.calibration).zip(&season.readings.at);
        for (drift, ((read, calibration), at)) in drift.iter_mut().zip(rows) {
            let Some(read) = read else { continue };
            let correction = calibration.and_then(|index| by_index.get(index as usize).copied().flatten());
            let Some((error, sd, curve_se)) = correction.and_then(|c| c.at(*at, read.sg)) else { continue };
            // What a reading away from 20 C has beyond the curve's error there.
            let away = (read.curve_se * read.curve_se - curve_se * curve_se).max(0.0);
            // What one immersion differs from another, and beer from baths.
            let beyond = away + self.offset_prior.at_calibration_sd.powi(2);
            *drift = Some(ReadingDrift { correction_sg: error, shared_se: (sd * sd + beyond).sqrt() });
        }
        for (row, off_sg) in self.foreign(season) {
            if let Some(Some(drift)) = drift.get_mut(row) {
                drift.shared_se = drift.shared_se.hypot(off_sg);
            }
        }
        drift
    }

    /// Flags of readings that all samples of their batch contradict.
    pub fn contradicted(&self, season: &Season) -> Vec<(usize, Flags)> {
        self.foreign(season).into_iter().map(|(row, _)| (row, Flags::CONTRADICTED)).collect()
    }

    /// Rows of readings that all samples of their batch contradict, with the root mean square of probe less sample, SG.
    fn foreign(&self, season: &Season) -> Vec<(usize, f64)> {
        let readings = &season.readings;
        let mut rows = Vec::new();
        for misfit in self.misfits.iter().filter(|misfit| misfit.kind == MisfitKind::Readings) {
            let batch = misfit.batch.as_ref().and_then(|batch| readings.batch_index(batch));
            for probe in &misfit.probes {
                let own = readings.of_probe(probe).filter(|row| readings.batch.get(*row).copied().flatten() == batch);
                rows.extend(own.map(|row| (row, misfit.se)));
            }
        }
        rows
    }

    /// Builds the series of batches with what drift tells of their probes: the prior of their offsets, and their errors
    /// by all references but the batch's own samples.
    #[doc = example!(season "let calibrations = CalibrationSettings::default().fit(&season)?;\nlet gravity = calibrations.gravity(&season)?;\nlet drift = DriftSettings::default().fit(&season, &calibrations)?;\nlet series = drift.series(&season, &calibrations, &gravity).all();")]
    pub fn series<'a>(
        &'a self,
        season: &'a Season,
        calibrations: &'a Calibrations,
        gravity: &'a Gravity,
    ) -> SeriesBuilder<'a> {
        let errors = self.probe_errors.as_ref().map(|errors| errors as &dyn BatchErrors);
        SeriesBuilder::new(season, calibrations, gravity).with_offset(self.offset_prior).with_errors(errors)
    }
}
