//! What a calibration loses with age, in the errors of readings.

use crate::calibration::Calibrations;
use crate::season::{Flags, Season};

use super::build_series::STALE_OFFSET_SD;
use super::offset::OffsetPrior;
use super::readings::Gravity;

impl Gravity {
    /// The same gravities with the drift that a probe may have had since its calibration in their standard errors: the SD of
    /// `offset` at the reading's age (days from the calibration used, either way), and 0.010 more where that calibration
    /// is stale. Readings of a probe share it, so it goes into `sg_se_shared` as well as into `sg_se`. `sg` itself is not
    /// corrected.
    ///
    /// Series for the study of kinetics are made from the gravities without it, as that study has the offset of each probe
    /// as a term of its own.
    #[must_use]
    pub fn with_drift(mut self, season: &Season, calibrations: &Calibrations, offset: &OffsetPrior) -> Self {
        let errors = self.sg_se.iter_mut().zip(&mut self.sg_se_shared);
        let rows = errors.zip(&self.calibration).zip(&self.flags).zip(&season.readings.at);
        for ((((se, shared), calibration), flags), at) in rows {
            let used = calibration.and_then(|index| calibrations.calibrations.get(index as usize));
            let Some(calibration) = used else { continue };
            let drift = offset.sd(at.days_since(calibration.calibrated_at));
            let stale = if flags.intersects(Flags::CALIBRATION_STALE) { STALE_OFFSET_SD } else { 0.0 };
            for error in [se, shared].into_iter().flatten() {
                *error = error.hypot(drift).hypot(stale);
            }
        }
        self
    }
}
