//! What a probe's offset in a batch may be before the batch is looked at, by the age of its calibration.

use crate::calibration::Calibrations;
use crate::season::{Flags, Season};

use super::layers::{Gravity, ReadingDrift};

/// Standard deviation of a probe's offset, SG, as it grows with the days since the calibration.
///
/// variance(age) = `at_calibration_sd`^2 + `per_root_30d_sd`^2 (age/30 d) + (`per_30d_sd` age/30 d)^2.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OffsetPrior {
    /// On the day of the calibration: what one immersion differs from another.
    pub at_calibration_sd: f64,
    /// Of a random walk, after 30 days.
    pub per_root_30d_sd: f64,
    /// Of a steady drift, per 30 days.
    pub per_30d_sd: f64,
}

impl Default for OffsetPrior {
    /// 0.0005 at calibration, and 0.001 in 30 days by either way: assumed, no reference; the study of drift replaces
    /// it by what the season shows.
    fn default() -> Self {
        Self { at_calibration_sd: 0.0005, per_root_30d_sd: 0.001, per_30d_sd: 0.001 }
    }
}

impl OffsetPrior {
    /// The standard deviation, SG, `age_d` days from the calibration (either way).
    pub fn sd(&self, age_d: f64) -> f64 {
        let months = age_d.abs() / 30.0;
        let walk = self.per_root_30d_sd.powi(2) * months;
        (self.at_calibration_sd.powi(2) + walk + (self.per_30d_sd * months).powi(2)).sqrt()
    }
}

assumed! {
    /// Offset of a probe whose cell, shell or board was changed since its calibration: one gram is 0.01.
    const STALE_OFFSET_SD: f64 = 0.010, "SG";
}

/// Standard deviation of a probe's offset `age_d` days from its calibration, and 0.010 more where that is stale.
pub(super) fn offset_sd(offset: &OffsetPrior, age_d: f64, stale: bool) -> f64 {
    offset.sd(age_d).hypot(if stale { *STALE_OFFSET_SD } else { 0.0 })
}

impl Gravity {
    /// The drift that a probe may have had since its calibration, by row: nothing is corrected, and the shared error holds
    /// the SD of `offset` at the reading's age (days from the calibration used, either way), and 0.010 more where that
    /// calibration is stale.
    ///
    /// Series for the study of kinetics are made without it, as that study has the offset of each probe as a term of its
    /// own.
    pub fn drift_by_age(
        &self,
        season: &Season,
        calibrations: &Calibrations,
        offset: &OffsetPrior,
    ) -> Vec<Option<ReadingDrift>> {
        let rows = self.uncorrected.iter().zip(&self.calibration).zip(&self.flags).zip(&season.readings.at);
        rows.map(|(((read, calibration), flags), at)| {
            let calibration = calibrations.calibrations.get((*calibration)? as usize)?;
            let stale = flags.intersects(Flags::CALIBRATION_STALE);
            let drift = offset_sd(offset, at.days_since(calibration.calibrated_at), stale);
            Some(ReadingDrift { correction_sg: 0.0, shared_se: (*read)?.curve_se.hypot(drift) })
        })
        .collect()
    }
}
