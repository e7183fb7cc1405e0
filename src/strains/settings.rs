//! Settings of the comparison of strains.

use serde::{Deserialize, Serialize};

use crate::common::CommonSettings;
use crate::kinetics::Trait;

settings! {
    /// Settings of the comparison of strains.
    #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
    #[serde(default, deny_unknown_fields)]
    pub struct StrainSettings {
        /// The traits compared.
        traits: Vec<Trait> = Trait::ALL.into_iter().filter(|which| *which != Trait::OriginalSg).collect();
        /// Simultaneous level of the intervals of all differences within a trait.
        contrast_level: f64 = 0.95, 0.5..=0.9999, "0.5 to 0.9999";
        /// What all studies share.
        #[serde(skip)]
        common: CommonSettings = CommonSettings::default();
    }
    also |settings| settings.common.check()
}
