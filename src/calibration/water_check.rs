//! Water between calibrations: does the probe still rest in it as its curve says?

use crate::error::Result;
use crate::fit::{Estimate, quantile};
use crate::liquid::{BeerDensity, sucrose_bath_density_kg_m3};

use super::errors::Sources;
use super::result::{Calibration, Calibrations, WaterCheck};
use super::sessions::{BathSession, Immersion};

impl Calibrations {
    /// Every immersion in water against the curve that was in force before it: of checks, and of the sessions of later
    /// calibrations as found.
    ///
    /// The error of the shift holds the curve's (coefficients, shell, thermometer), the reading's own and the water's.
    pub(super) fn check_water(&self, sources: &Sources, sessions: &[BathSession]) -> Result<Vec<WaterCheck>> {
        let mut checks = Vec::new();
        let liquid = BeerDensity::unfermented()?;
        for session in sessions {
            let Some(began) = session.immersions.first().map(|immersion| immersion.at) else { continue };
            let before = |c: &&Calibration| c.probe == session.probe && c.calibrated_at < began;
            let Some(calibration) = self.calibrations.iter().rfind(before) else { continue };
            for immersion in session.immersions.iter().filter(|immersion| immersion.water) {
                let temp_sd_c = self.settings.temp_sd_c;
                let Some(point) = calibration.gravity_at(&liquid, immersion.tilt_deg, immersion.temp_c, temp_sd_c)
                else {
                    continue;
                };
                let own = point.sg_per_deg * immersion.tilt_sd_deg;
                let water = sources.of_row(immersion.reference).iter().fold(0.0, |sd: f64, e| sd.hypot(e.effect));
                let (shift, se) = (point.sg - immersion.sg, own.hypot(point.shared_se).hypot(water));
                let df = calibration.fitted.df;
                checks.push(WaterCheck {
                    at: immersion.at,
                    probe: session.probe.clone(),
                    calibration: calibration.calibration.clone(),
                    tilt_deg: immersion.tilt_deg,
                    expected_tilt_deg: expected(calibration, immersion),
                    shift_sg: Estimate::student_t(shift, se, df, self.settings.common.level, "delta, t")?,
                    p: 2.0 * quantile::student_t_upper_tail((shift / se).abs(), df)?,
                });
            }
        }
        Ok(checks)
    }
}

/// The tilt of water of that temperature on the curve.
fn expected(calibration: &Calibration, immersion: &Immersion) -> Option<f64> {
    let density = sucrose_bath_density_kg_m3(immersion.sg, immersion.temp_c).ok()?;
    let factor = calibration.shell.volume_factor(immersion.temp_c);
    calibration.fitted.curve.tilt_deg(density * factor)
}
