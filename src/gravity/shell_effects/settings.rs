//! Settings of the study of cold crashes.

use serde::{Deserialize, Serialize};

use crate::common::CommonSettings;
use crate::error::{Result, within};

/// When a cold crash tells how a probe reads in the cold.
///
/// | field | default | meaning |
/// | --- | --- | --- |
/// | `warm_h` | 48 | hours before the cooling whose level is taken |
/// | `settle_h` | 12 | hours in the cold before its level is taken: vessel and probe lag behind |
/// | `cold_h` | 72 | hours whose level is taken from then on, at most |
/// | `least_cooling_c` | 5 | a smaller fall of temperature tells nothing |
/// | `settled_sg` | 0.001 | the fall of SG in `warm_h` must be shown to be smaller than this |
/// | `elsewhere_sd_per_k` | 2e-5 | further SD of the coefficient at other gravities and in other batches (assumed; no reference) |
/// | `common` | see there | level of the intervals |
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ShellEffectSettings {
    /// Hours before the cooling whose level is taken.
    pub warm_h: f64,
    /// Hours in the cold before its level is taken.
    pub settle_h: f64,
    /// Hours from then on whose level is taken, at most.
    pub cold_h: f64,
    /// Least fall of the temperature, K.
    pub least_cooling_c: f64,
    /// Fall of SG in `warm_h` that must be ruled out at 95 %.
    pub settled_sg: f64,
    /// Standard deviation that the coefficient gets besides its own error at another gravity or in another batch, per K: the sum of shell, sensor
    /// and liquid is not the same there.
    pub elsewhere_sd_per_k: f64,
    /// What all studies share.
    #[serde(skip)]
    pub common: CommonSettings,
}

impl Default for ShellEffectSettings {
    fn default() -> Self {
        Self {
            warm_h: 48.0,
            settle_h: 12.0,
            cold_h: 72.0,
            least_cooling_c: 5.0,
            settled_sg: 0.001,
            elsewhere_sd_per_k: 2e-5,
            common: CommonSettings::default(),
        }
    }
}

impl ShellEffectSettings {
    /// Checks every setting.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
    pub fn check(&self) -> Result<()> {
        self.common.check()?;
        within("warm_h", self.warm_h, 24.0, 240.0, "24 to 240 h")?;
        within("settle_h", self.settle_h, 0.0, 240.0, "0 to 240 h")?;
        within("cold_h", self.cold_h, 24.0, 2400.0, "24 to 2400 h")?;
        within("least_cooling_c", self.least_cooling_c, 1.0, 30.0, "1 to 30 K")?;
        within("settled_sg", self.settled_sg, 1e-5, 0.02, "0.00001 to 0.02")?;
        within("elsewhere_sd_per_k", self.elsewhere_sd_per_k, 0.0, 1e-3, "0 to 0.001 per K")
    }
}
