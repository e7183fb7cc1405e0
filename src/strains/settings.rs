//! Settings of the comparison of strains.

use crate::error::{Error, Result};
use crate::kinetics::Trait;

/// Settings of the comparison of strains.
///
/// | field | default | range | change it when |
/// | --- | --- | --- | --- |
/// | `traits` | all but original gravity | - | only some matter: a family of tests is one trait, so this changes no p-value |
/// | `level` | 0.90 | 0 to 1 | another level for the means is wanted |
/// | `contrast_level` | 0.95 | 0 to 1 | another simultaneous level for the differences is wanted |
#[derive(Debug, Clone, PartialEq)]
pub struct StrainSettings {
    /// The traits compared.
    pub traits: Vec<Trait>,
    /// Level of the intervals of the means.
    pub level: f64,
    /// Simultaneous level of the intervals of all differences within a trait.
    pub contrast_level: f64,
}

impl Default for StrainSettings {
    fn default() -> Self {
        Self {
            traits: Trait::ALL.into_iter().filter(|which| *which != Trait::OriginalSg).collect(),
            level: 0.90,
            contrast_level: 0.95,
        }
    }
}

impl StrainSettings {
    /// The settings, if each lies in its range.
    ///
    /// # Errors
    /// [`Error::Setting`] for the first that does not.
    pub fn check(&self) -> Result<&Self> {
        for (name, level) in [("level", self.level), ("contrast_level", self.contrast_level)] {
            if !(level > 0.0 && level < 1.0) {
                return Err(Error::Setting { name, value: level.to_string(), wanted: "a probability between 0 and 1" });
            }
        }
        Ok(self)
    }
}
