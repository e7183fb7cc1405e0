//! How much gravity falls between two readings of one probe.

use crate::error::{Error, Result};
use crate::fit::Estimate;
use crate::liquid::WATER_20C_KG_M3;

use super::result::Calibration;

impl Calibration {
    /// By how much SG falls from one tilt to a later one of this probe, both in a liquid at 20 C: the curve's error is common
    /// to both and mostly drops out, `var = own_1 + own_2 + |F_1 - F_2|^2` with the parts of
    /// [`Calibration::gravity_covariance`]; each tilt has the standard deviation `tilt_sd_deg`.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] where the curve has no value.
    pub fn sg_fall(&self, from_tilt_deg: f64, to_tilt_deg: f64, tilt_sd_deg: f64) -> Result<Estimate> {
        let (own, shared) = self.gravity_covariance(&[from_tilt_deg, to_tilt_deg], tilt_sd_deg)?;
        let sg = |tilt_deg: f64| {
            let at = self.fitted.curve.at(tilt_deg);
            let none =
                || Error::not_estimable("a fall of SG", format!("the curve has no density at {tilt_deg:.1} degrees"));
            at.map(|at| at.density_kg_m3 / WATER_20C_KG_M3).ok_or_else(none)
        };
        let between = &shared.row(0) - &shared.row(1);
        let variance = own.iter().sum::<f64>() + between.dot(&between);
        let fall = sg(from_tilt_deg)? - sg(to_tilt_deg)?;
        Estimate::student_t(fall, variance.sqrt(), self.fitted.df, self.level, "delta, t")
    }
}
