//! Settings of the study of calibration.

use serde::{Deserialize, Serialize};

use crate::common::CommonSettings;
use crate::error::{Result, within};
use crate::float::ShellExpansion;
use crate::season::Reference;

/// How baths become curves and tilts become gravities. Every field has a default; [`CalibrationSettings::check`] names
/// the first one that cannot be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct CalibrationSettings {
    /// Minutes on either side of a reference within which a reading belongs to it.
    pub window_min: f64,
    /// Baths of one probe less than this many hours apart are one session.
    pub session_gap_h: f64,
    /// Standard deviation of the tilt from one immersion to the next, degrees; used where a reference gives a tilt
    /// without its SD, and as the least SD of a tilt that comes from readings. Assumed; no reference.
    pub tilt_sd_deg: f64,
    /// Temperature of a bath that states none and whose probe logged none, C.
    pub bath_temp_c: f64,
    /// Linear thermal expansion of a shell that is not stated.
    pub unknown_shell: ShellExpansion,
    /// Standard deviation of a probe's temperature error, common to all its readings, C.
    pub temp_sd_c: f64,
    /// Standard deviation of the error of all weighed baths of one session (balance, moisture of the sugar), as a share of
    /// SG - 1. Assumed; no reference.
    pub weighed_gain: f64,
    /// Standard deviation of the gravity of tap water about distilled, SG. Assumed; no reference.
    pub tap_water_sg: f64,
    /// Original gravity of a batch that has neither a measured one nor early readings, SG 20/20.
    pub original_sg: f64,
    /// What all studies share.
    #[serde(skip)]
    pub common: CommonSettings,
}

impl Default for CalibrationSettings {
    fn default() -> Self {
        Self {
            window_min: 20.0,
            session_gap_h: 72.0,
            tilt_sd_deg: 0.2,
            bath_temp_c: 20.0,
            unknown_shell: ShellExpansion::UNKNOWN,
            temp_sd_c: 0.3,
            weighed_gain: 0.003,
            tap_water_sg: 0.0004,
            original_sg: 1.050,
            common: CommonSettings::default(),
        }
    }
}

impl CalibrationSettings {
    /// Standard deviation of the bias of the instrument behind a reference, SG; 0 for a method without one.
    pub(crate) fn instrument_bias_sg(&self, reference: &Reference) -> f64 {
        match reference.method.as_deref() {
            Some("hydrometer") => self.common.instruments.hydrometer_bias_sg,
            Some("refractometer") => self.common.instruments.refractometer_bias_sg,
            _ => 0.0,
        }
    }

    /// Checks every setting.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
    pub fn check(&self) -> Result<()> {
        self.common.check()?;
        let positive: [(&'static str, f64); 3] =
            [("window_min", self.window_min), ("session_gap_h", self.session_gap_h), ("tilt_sd_deg", self.tilt_sd_deg)];
        for (name, value) in positive {
            within(name, value, f64::MIN_POSITIVE, f64::MAX, "a positive number")?;
        }
        within("weighed_gain", self.weighed_gain, 0.0, 0.5, "0 to 0.5")?;
        within("tap_water_sg", self.tap_water_sg, 0.0, 0.1, "0 to 0.1 SG")?;
        within("temp_sd_c", self.temp_sd_c, 0.0, 10.0, "0 to 10 C")?;
        within("unknown_shell", self.unknown_shell.linear_per_k, -1e-4, 1e-3, "-0.0001 to 0.001 per K")?;
        within("unknown_shell", self.unknown_shell.sd_per_k, 0.0, 1e-3, "an SD of 0 to 0.001 per K")?;
        within("bath_temp_c", self.bath_temp_c, 0.0, 40.0, "0 to 40 C")?;
        within("original_sg", self.original_sg, 1.0, 1.2, "1.000 to 1.200")
    }
}
