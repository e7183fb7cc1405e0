//! Calibrations as a terminal shows them.

use std::fmt;

use crate::fit::Finding;

use super::result::{Calibration, Calibrations};

impl fmt::Display for Calibration {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{} ({}): {} through {} baths, SG {:.3} to {:.3}",
            self.calibration,
            self.calibrated_at,
            self.kind,
            self.baths.len(),
            self.sg_min,
            self.sg_max
        )?;
        if let Some(rmse) = self.rmse_sg {
            writeln!(f, "  residuals {rmse:.5} SG, {:.2} times what the stated errors say", self.fitted.scale)?;
        }
        match &self.water_tilt_deg {
            Finding::Estimated(tilt) => writeln!(f, "  in water at 20 C: {:.1} degrees", tilt.value)?,
            other => writeln!(f, "  tilt in water: {other}")?,
        }
        self.remarks.iter().try_for_each(|remark| writeln!(f, "  {remark}"))
    }
}

impl fmt::Display for Calibrations {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{} calibrations", self.calibrations.len())?;
        self.calibrations.iter().try_for_each(|calibration| write!(f, "{calibration}"))?;
        for none in &self.without {
            let at = none.at.map(|at| format!(" ({at})")).unwrap_or_default();
            let what = if none.check { "a check" } else { "no curve" };
            writeln!(f, "{}{at}: {what}: {}", none.probe, none.why)?;
        }
        Ok(())
    }
}
