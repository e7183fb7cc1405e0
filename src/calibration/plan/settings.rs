//! Settings of the plan of baths.

use serde::{Deserialize, Serialize};

use crate::error::{Result, within};

/// How the baths of the next calibration are planned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PlanSettings {
    /// Most baths of a plan, from four up: water and three others define a curve.
    pub most_baths: usize,
    /// The heaviest bath that may be mixed, SG.
    pub heaviest_sg: f64,
    /// Lowest and highest gravity for which the curve is wanted; none: as the user's beers use it.
    pub range_sg: Option<(f64, f64)>,
    /// Standard deviation of a bath made by mass, SG. Assumed; no reference.
    pub bath_sd_sg: f64,
    /// Relative gain in the mean standard error for which one more bath is worth the work.
    pub least_gain: f64,
}

impl Default for PlanSettings {
    fn default() -> Self {
        Self { most_baths: 8, heaviest_sg: 1.100, range_sg: None, bath_sd_sg: 0.0005, least_gain: 0.10 }
    }
}

impl PlanSettings {
    /// Checks every setting.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
    pub fn check(&self) -> Result<()> {
        within("most_baths", self.most_baths as f64, 4.0, 24.0, "4 to 24")?;
        within("heaviest_sg", self.heaviest_sg, 1.02, 1.15, "1.02 to 1.15")?;
        if let Some((low, high)) = self.range_sg {
            within("range_sg", low, 0.98, 1.15, "0.98 to 1.15, the lower end first")?;
            within("range_sg", high, low + 1e-4, 1.15, "0.98 to 1.15, the lower end first")?;
        }
        within("bath_sd_sg", self.bath_sd_sg, 1e-6, 0.02, "0.000001 to 0.02")?;
        within("least_gain", self.least_gain, 0.0, 0.9, "0 to 0.9")
    }
}
