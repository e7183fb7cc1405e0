//! What a calibration loses with age, in the errors of readings.

use crate::calibration::Calibrations;
use crate::season::{Flags, Season};

use super::layers::{Gravity, ReadingDrift};
use super::offset::OffsetPrior;

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
