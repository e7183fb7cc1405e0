//! Settings of the comparison of strains.

use serde::{Deserialize, Serialize};

use crate::common::CommonSettings;
use crate::error::{Result, within};
use crate::kinetics::Trait;

/// Settings of the comparison of strains.
///
/// | field | default | range | change it when |
/// | --- | --- | --- | --- |
/// | `traits` | all but original gravity | - | only some matter: a family of tests is one trait, so this changes no p-value |
/// | `contrast_level` | 0.95 | 0.5 to 0.9999 | another simultaneous level for the differences is wanted |
/// | `common` | see there | - | another level for the means is wanted |
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct StrainSettings {
    /// The traits compared.
    pub traits: Vec<Trait>,
    /// Simultaneous level of the intervals of all differences within a trait.
    pub contrast_level: f64,
    /// What all studies share.
    #[serde(skip)]
    pub common: CommonSettings,
}

impl Default for StrainSettings {
    fn default() -> Self {
        Self {
            traits: Trait::ALL.into_iter().filter(|which| *which != Trait::OriginalSg).collect(),
            contrast_level: 0.95,
            common: CommonSettings::default(),
        }
    }
}

impl StrainSettings {
    /// Checks every setting.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
    pub fn check(&self) -> Result<()> {
        self.common.check()?;
        within("contrast_level", self.contrast_level, 0.5, 0.9999, "0.5 to 0.9999")
    }
}
