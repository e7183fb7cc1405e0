//! Settings of the comparison of strains.

use std::collections::BTreeMap;

use crate::error::inside;
use crate::kinetics::Trait;

settings! {
    /// Settings of the comparison of strains.
    pub struct StrainSettings {
        /// The traits compared. A family of tests is one trait, so fewer traits change no p-value.
        traits: Vec<Trait> = Trait::ALL.into_iter().filter(|which| *which != Trait::OriginalSg).collect();
        /// Simultaneous level of the intervals of all differences within a trait.
        contrast_level: f64 = 0.95, 0.5..=0.9999, "0.5 to 0.9999";
        /// The strain that the others are held against (Dunnett); always among those compared.
        house: Option<String> = None;
        /// Differences that begin to matter, in the unit of the trait; a trait that is left out has its default
        /// ([`StrainSettings::margin`]).
        margins: BTreeMap<Trait, f64> =
            BTreeMap::from([Trait::Attenuation, Trait::FinishH].map(|which| (which, which.margin())));
        /// Whether means allow, by a line over the days, for a brewing that changes through the season.
        by_day: bool = false;
        /// What traits are worth: points for each margin that a strain has more of a trait, below 0 where less is better. With
        /// `attenuation = 1` and `t90_h = -2` twelve hours sooner are worth four points of attenuation. Without any no
        /// strains are ranked.
        weights: BTreeMap<Trait, f64> = BTreeMap::new();
    }
    with common
    also |settings| {
        settings.margins.values().try_for_each(|margin| inside("margins", *margin, 1e-9..=1e4, "above 0, to 10000"))?;
        settings.weights.values().try_for_each(|weight| inside("weights", *weight, -1e4..=1e4, "-10000 to 10000"))
    }
}

impl StrainSettings {
    /// The difference of a trait that begins to matter, in its unit: 0.001 SG, 0.003 SG a day, 6 h for lag and
    /// half-way, 12 h for nine tenths, 24 h for coming to rest, 0.02 attenuation, 0.2 % alcohol where none is set.
    pub fn margin(&self, which: Trait) -> f64 {
        self.margins.get(&which).copied().unwrap_or(which.margin())
    }
}
