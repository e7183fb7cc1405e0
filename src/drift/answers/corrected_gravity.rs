//! Gravities corrected for the estimated drift, where that helps.

use std::collections::BTreeMap;

use crate::calibration::Calibrations;
use crate::gravity::Gravity;
use crate::season::Season;

use super::correction::Correction;
use super::drift::Drift;

impl Drift {
    /// Gravities with what is known of drift.
    ///
    /// Where a correction is applied, `sg` is the reading less the predicted error of its probe at that moment and gravity (a
    /// shrunken prediction, from references before and after), and `sg_se_shared` and `sg_se` hold the SD of that
    /// prediction, which has the curve's own error in it, and of what one immersion differs from another. That is done for a calibration of a probe when it takes away more than
    /// half of the expected squared error (setting), so that what the model may have wrong costs less than it gives.
    /// Elsewhere `sg` stays and the errors grow with age ([`Gravity::with_drift`]). `sg_uncorrected` always stays.
    #[must_use]
    pub fn correct(&self, season: &Season, calibrations: &Calibrations, gravity: Gravity) -> Gravity {
        let before = gravity.clone();
        let mut gravity = gravity.with_drift(season, calibrations, &self.offset_prior);
        let applied: BTreeMap<&str, &Correction> =
            self.corrections.iter().filter(|c| c.applied).map(|c| (c.calibration.as_str(), c)).collect();
        let by_index: Vec<Option<&Correction>> =
            before.calibration_ids.iter().map(|id| applied.get(id.as_str()).copied()).collect();
        let errors = gravity.sg_se.iter_mut().zip(&mut gravity.sg_se_shared);
        let known = before.sg_se.iter().zip(&before.sg_se_shared).zip(&before.calibration).zip(&season.readings.at);
        for (((se, shared), sg), (((old_se, old_shared), calibration), at)) in errors.zip(&mut gravity.sg).zip(known) {
            let (Some(se), Some(shared), Some(sg)) = (se.as_mut(), shared.as_mut(), sg.as_mut()) else { continue };
            let (Some(old_se), Some(old_shared)) = (old_se, old_shared) else { continue };
            let correction = calibration.and_then(|index| by_index.get(index as usize).copied().flatten());
            let Some((error, sd, curve_se)) = correction.and_then(|c| c.at(*at, *sg)) else { continue };
            *sg -= error;
            // What a reading away from 20 C has beyond the curve's error there.
            let away = (old_shared * old_shared - curve_se * curve_se).max(0.0);
            // What one immersion differs from another, and beer from baths.
            let beyond = away + self.offset_prior.at_calibration_sd.powi(2);
            let own = (old_se * old_se - old_shared * old_shared).max(0.0);
            *shared = (sd * sd + beyond).sqrt();
            *se = (own + sd * sd + beyond).sqrt();
        }
        gravity
    }
}
