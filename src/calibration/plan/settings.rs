//! Settings of the plan of baths.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result, within};

/// How the baths of the next calibration are planned.
///
/// | field | default | meaning |
/// | --- | --- | --- |
/// | `baths` | 2 to 8 | numbers of baths that are planned |
/// | `heaviest_sg` | 1.100 | the heaviest bath that may be mixed |
/// | `step_sg` | 0.002 | baths lie on this grid, from water up |
/// | `range_sg` | from the season | gravities for which the curve is wanted |
/// | `quantile` | 0.05 | of the season's lowest and original gravities, where they give the range |
/// | `bath_sd_sg`, `water_sd_sg` | 0.0005, 0.0001 | SD of a weighed bath, and of pure water (assumed; no reference) |
/// | `tilt_sd_deg` | that of the calibrations | SD of the tilt from one immersion to the next |
/// | `defines` | true | plans of four baths and more define a curve: water and three other gravities |
/// | `least_gain` | 0.10 | a further bath is worth it when it lowers the mean standard error by this share |
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PlanSettings {
    /// Fewest and most baths.
    pub baths: (usize, usize),
    /// The heaviest bath that may be mixed, SG.
    pub heaviest_sg: f64,
    /// Step of the grid on which the baths lie, SG; the grid begins at water, 1.000.
    pub step_sg: f64,
    /// Lowest and highest gravity for which the curve is wanted; none: as the user's beers use it.
    pub range_sg: Option<(f64, f64)>,
    /// Share of the batches whose lowest gravity may lie below the range, and whose original gravity may lie above it.
    pub quantile: f64,
    /// Standard deviation of a bath made by mass, SG.
    pub bath_sd_sg: f64,
    /// Standard deviation of pure water, SG.
    pub water_sd_sg: f64,
    /// Standard deviation of the tilt from one immersion to the next, degrees; none: that of the calibrations.
    pub tilt_sd_deg: Option<f64>,
    /// Hold plans of four baths and more to what makes a session define a curve: water and three other gravities.
    pub defines: bool,
    /// Relative gain in the mean standard error for which one more bath is worth the work.
    pub least_gain: f64,
}

/// Most baths that a plan may have.
const MOST_BATHS: usize = 24;

impl Default for PlanSettings {
    fn default() -> Self {
        Self {
            baths: (2, 8),
            heaviest_sg: 1.100,
            step_sg: 0.002,
            range_sg: None,
            quantile: 0.05,
            bath_sd_sg: 0.0005,
            water_sd_sg: 0.0001,
            tilt_sd_deg: None,
            defines: true,
            least_gain: 0.10,
        }
    }
}

impl PlanSettings {
    /// Checks every setting.
    ///
    /// # PlanErrors
    /// [`Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
    pub fn check(&self) -> Result<()> {
        let (fewest, most) = self.baths;
        if !(2 <= fewest && fewest <= most && most <= MOST_BATHS) {
            let value = format!("{fewest} to {most}");
            return Err(Error::Setting { name: "baths", value, wanted: "2 to 24, the fewest first" });
        }
        within("step_sg", self.step_sg, 0.001, 0.02, "0.001 to 0.02")?;
        within("heaviest_sg", self.heaviest_sg, 1.0 + self.step_sg, 1.15, "above water, to 1.15")?;
        if let Some((low, high)) = self.range_sg {
            within("range_sg", low, 0.98, 1.15, "0.98 to 1.15, the lower end first")?;
            within("range_sg", high, low + 1e-4, 1.15, "0.98 to 1.15, the lower end first")?;
        }
        within("quantile", self.quantile, 0.0, 0.4, "0 to 0.4")?;
        within("bath_sd_sg", self.bath_sd_sg, 1e-6, 0.02, "0.000001 to 0.02")?;
        within("water_sd_sg", self.water_sd_sg, 1e-6, 0.02, "0.000001 to 0.02")?;
        if let Some(sd) = self.tilt_sd_deg {
            within("tilt_sd_deg", sd, 1e-3, 10.0, "0.001 to 10 degrees")?;
        }
        within("least_gain", self.least_gain, 0.0, 0.9, "0 to 0.9")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_are_allowed_and_a_wrong_one_is_named() {
        PlanSettings::default().check().unwrap();
        let wrong = [
            ("baths", PlanSettings { baths: (1, 8), ..PlanSettings::default() }),
            ("baths", PlanSettings { baths: (6, 4), ..PlanSettings::default() }),
            ("baths", PlanSettings { baths: (2, 99), ..PlanSettings::default() }),
            ("range_sg", PlanSettings { range_sg: Some((1.05, 1.01)), ..PlanSettings::default() }),
            ("range_sg", PlanSettings { range_sg: Some((f64::NAN, 1.05)), ..PlanSettings::default() }),
            ("heaviest_sg", PlanSettings { heaviest_sg: 1.0, ..PlanSettings::default() }),
            ("bath_sd_sg", PlanSettings { bath_sd_sg: 0.0, ..PlanSettings::default() }),
        ];
        for (name, settings) in wrong {
            assert!(settings.check().unwrap_err().to_string().contains(name), "{name}");
        }
    }
}
