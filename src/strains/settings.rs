//! Settings of the comparison of strains.

use std::collections::BTreeMap;

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
/// | `house` | none | a strain | one strain is what the others are held against (Dunnett) |
/// | `margins` | attenuation 0.02, coming to rest 24 h, others see [`StrainSettings::margin`] | above 0 | smaller differences matter, or only larger ones |
/// | `common` | see there | - | another level for the means is wanted |
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct StrainSettings {
    /// The traits compared.
    pub traits: Vec<Trait>,
    /// Simultaneous level of the intervals of all differences within a trait.
    pub contrast_level: f64,
    /// The strain that the others are held against.
    pub house: Option<String>,
    /// Differences that begin to matter, in the unit of the trait; a trait that is left out has its default.
    pub margins: BTreeMap<Trait, f64>,
    /// What all studies share.
    #[serde(skip)]
    pub common: CommonSettings,
}

impl Default for StrainSettings {
    fn default() -> Self {
        Self {
            traits: Trait::ALL.into_iter().filter(|which| *which != Trait::OriginalSg).collect(),
            contrast_level: 0.95,
            house: None,
            margins: BTreeMap::from([Trait::Attenuation, Trait::FinishH].map(|which| (which, default_margin(which)))),
            common: CommonSettings::default(),
        }
    }
}

impl StrainSettings {
    /// The difference of a trait that begins to matter, in its unit: 0.001 SG, 0.003 SG a day, 6 h for lag and
    /// half-way, 12 h for nine tenths, 24 h for coming to rest, 0.02 attenuation, 0.2 % alcohol where none is set.
    pub fn margin(&self, which: Trait) -> f64 {
        self.margins.get(&which).copied().unwrap_or_else(|| default_margin(which))
    }

    /// Checks every setting.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
    pub fn check(&self) -> Result<()> {
        self.common.check()?;
        within("contrast_level", self.contrast_level, 0.5, 0.9999, "0.5 to 0.9999")?;
        self.margins.values().try_for_each(|margin| within("margins", *margin, 1e-9, 1e4, "above 0, to 10000"))
    }
}

fn default_margin(which: Trait) -> f64 {
    match which {
        Trait::OriginalSg | Trait::TerminalSg => 0.001,
        Trait::MaxRateSgPerDay => 0.003,
        Trait::LagH | Trait::MidH => 6.0,
        Trait::T90H => 12.0,
        Trait::FinishH => 24.0,
        Trait::Attenuation | Trait::AttenuationExtract => 0.02,
        Trait::AbvPercent => 0.2,
    }
}
