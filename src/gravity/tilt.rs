//! The tilt at which a curve reads a gravity.

use crate::calibration::Calibration;
use crate::liquid::WATER_20C_KG_M3;

impl Calibration {
    /// The tilt that is read as this gravity at 20 C, degrees; none where the curve has no such tilt.
    pub(crate) fn tilt_deg_at_20c(&self, sg: f64) -> Option<f64> {
        self.fitted.curve.tilt_deg(sg * WATER_20C_KG_M3 * self.shell.volume_factor(20.0, self.shell_temp_c))
    }
}
