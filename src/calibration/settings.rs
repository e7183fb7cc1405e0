//! Settings of the study of calibration.

use crate::error::inside;
use crate::float::ShellExpansion;
use crate::season::Reference;

settings! {
    /// How baths become curves and tilts become gravities. Every field has a default; [`CalibrationSettings::check`] names
    /// the first one that cannot be.
    pub struct CalibrationSettings {
        /// Minutes on either side of a reference within which a reading belongs to it.
        window_min: f64 = 20.0, f64::MIN_POSITIVE..=f64::MAX, "a positive number";
        /// Baths of one probe less than this many hours apart are one session.
        session_gap_h: f64 = 72.0, f64::MIN_POSITIVE..=f64::MAX, "a positive number";
        /// Standard deviation of the tilt from one immersion to the next, degrees; used where a reference gives a tilt
        /// without its SD, and as the least SD of a tilt that comes from readings. Assumed; no reference.
        tilt_sd_deg: f64 = 0.2, f64::MIN_POSITIVE..=f64::MAX, "a positive number";
        /// Temperature of a bath that states none and whose probe logged none, C.
        bath_temp_c: f64 = 20.0, 0.0..=40.0, "0 to 40 C";
        /// Linear thermal expansion of a shell that is not stated.
        unknown_shell: ShellExpansion = ShellExpansion::UNKNOWN;
        /// Standard deviation of a probe's temperature error, common to all its readings, C.
        temp_sd_c: f64 = 0.3, 0.0..=10.0, "0 to 10 C";
        /// Standard deviation of the error of all weighed baths of one session (balance, moisture of the sugar), as a share of
        /// SG - 1. Assumed; no reference.
        weighed_gain: f64 = 0.003, 0.0..=0.5, "0 to 0.5";
        /// Standard deviation of the gravity of tap water about distilled, SG. Assumed; no reference.
        tap_water_sg: f64 = 0.0004, 0.0..=0.1, "0 to 0.1 SG";
        /// Original gravity of a batch that has neither a measured one nor early readings, SG 20/20.
        original_sg: f64 = 1.050, 1.0..=1.2, "1.000 to 1.200";
    }
    with common
    also |settings| {
        let shell = settings.unknown_shell;
        inside("unknown_shell", shell.linear_per_k, -1e-4..=1e-3, "-0.0001 to 0.001 per K")?;
        inside("unknown_shell", shell.sd_per_k, 0.0..=1e-3, "an SD of 0 to 0.001 per K")
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
}
