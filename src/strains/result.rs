//! What was found about the strains.

use crate::fit::Finding;
use crate::kinetics::Trait;

/// The mean of one trait over the batches of one strain.
#[derive(Debug, Clone, PartialEq)]
pub struct StrainMean {
    /// The strain.
    pub strain: String,
    /// The trait.
    pub which: Trait,
    /// Batches that gave the trait.
    pub n: usize,
    /// The mean.
    pub mean: Finding,
}

/// The difference `a - b` of one trait between two strains.
#[derive(Debug, Clone, PartialEq)]
pub struct StrainContrast {
    /// The trait.
    pub which: Trait,
    /// One strain.
    pub a: String,
    /// The other.
    pub b: String,
    /// Mean of `a` minus mean of `b`, with the interval that holds for all pairs within the trait at once.
    pub difference: Finding,
    /// p-value from the same adjustment as the interval: below 1 - level exactly where the interval leaves out 0.
    pub p_adjusted: Option<f64>,
    /// p-value by Holm's step-down, for the order of evidence; it has no interval.
    pub p_holm: Option<f64>,
}

/// The comparison of strains.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Strains {
    /// One per strain and trait.
    pub means: Vec<StrainMean>,
    /// One per pair and trait.
    pub contrasts: Vec<StrainContrast>,
    /// Simultaneous level of the intervals of the contrasts of one trait.
    pub contrast_level: f64,
}
