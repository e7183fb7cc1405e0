//! Settings of the build check.

use serde::{Deserialize, Serialize};

use crate::common::CommonSettings;
use crate::error::{Result, within};

/// What the study of the builds aims at.
///
/// The wanted tilts, 25 +- 5 degrees in water and 65 +- 10 at SG 1.100, and the usual cells, 42 to 46 g, are common practice;
/// no reference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct BuildSettings {
    /// Wanted tilt in pure water at 20 C, degrees.
    pub water_tilt_deg: f64,
    /// How far from it what to move is said, degrees.
    pub water_band_deg: f64,
    /// Wanted tilt at SG 1.100, degrees.
    pub strong_tilt_deg: f64,
    /// How far from it what to move is said, degrees.
    pub strong_band_deg: f64,
    /// Lightest and heaviest usual cell, g.
    pub cell_mass_g: (f64, f64),
    /// What all studies share.
    #[serde(skip)]
    pub common: CommonSettings,
}

impl Default for BuildSettings {
    fn default() -> Self {
        Self {
            water_tilt_deg: 25.0,
            water_band_deg: 5.0,
            strong_tilt_deg: 65.0,
            strong_band_deg: 10.0,
            cell_mass_g: (42.0, 46.0),
            common: CommonSettings::default(),
        }
    }
}

impl BuildSettings {
    /// Checks every setting.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
    pub fn check(&self) -> Result<()> {
        self.common.check()?;
        within("water_tilt_deg", self.water_tilt_deg, 5.0, 60.0, "5 to 60 degrees")?;
        within("water_band_deg", self.water_band_deg, 0.0, 45.0, "0 to 45 degrees")?;
        within(
            "strong_tilt_deg",
            self.strong_tilt_deg,
            self.water_tilt_deg,
            85.0,
            "above the tilt in water, to 85 degrees",
        )?;
        within("strong_band_deg", self.strong_band_deg, 0.0, 45.0, "0 to 45 degrees")?;
        let (light, heavy) = self.cell_mass_g;
        within("cell_mass_g", light, 0.0, heavy, "lightest first, in g")
    }
}
