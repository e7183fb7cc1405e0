//! What was found about the strains.

use crate::fit::{Estimate, Finding};
use crate::kinetics::Trait;

use super::power::MORE;
use super::stuck::{StuckContrast, StuckShare};

/// One trait of one strain.
#[derive(Debug, Clone, PartialEq)]
pub struct StrainMean {
    /// The strain.
    pub strain: String,
    /// The trait.
    pub which: Trait,
    /// Batches that gave the trait.
    pub n: usize,
    /// Batches of the strain that are not in it, with the reason; empty when all are.
    pub left_out: String,
    /// The plain mean of its batches; of times and rates the geometric one.
    pub raw: Option<f64>,
    /// The mean at the stated conditions.
    pub mean: Finding,
    /// Its degrees of freedom.
    pub df: Option<f64>,
    /// The same drawn towards the mean of all strains by as much as its error makes likely (random strains).
    pub pooled: Finding,
    /// Probability that no other strain has more of it.
    pub p_highest: Option<f64>,
    /// Probability that no other strain has less of it.
    pub p_lowest: Option<f64>,
}

/// The difference `a - b` of one trait between two strains at the stated conditions.
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
    /// For times and rates, `a` over `b` with the same interval.
    pub ratio: Option<Estimate>,
    /// p-value from the same adjustment as the interval: below 1 - level exactly where the interval leaves out 0.
    pub p_adjusted: Option<f64>,
    /// p-value by Holm's step-down, for the order of evidence; it has no interval.
    pub p_holm: Option<f64>,
    /// The difference that begins to matter.
    pub margin: f64,
    /// p-value of a difference as large as the margin (two one-sided tests, Holm's step-down over the pairs).
    pub p_equivalent: Option<f64>,
    /// The same difference among those from the house strain alone.
    pub house: Option<HouseContrast>,
    /// What it comes to; none without an estimate.
    pub verdict: Option<Verdict>,
    /// Batches of both.
    pub n: (usize, usize),
    /// What it would take to find a difference of the margin.
    pub power: Option<StrainPower>,
}

impl StrainContrast {
    /// A pair without an estimate.
    pub(super) fn missing(which: Trait, a: &str, b: &str, margin: f64, why: &str) -> Self {
        Self {
            which,
            a: a.to_owned(),
            b: b.to_owned(),
            difference: Finding::missing(why),
            ratio: None,
            p_adjusted: None,
            p_holm: None,
            margin,
            p_equivalent: None,
            house: None,
            verdict: None,
            n: (0, 0),
            power: None,
        }
    }
}

/// A difference from the house strain, among those only (C. W. Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096).
#[derive(Debug, Clone, PartialEq)]
pub struct HouseContrast {
    /// Its interval.
    pub difference: Estimate,
    /// Its p-value.
    pub p: f64,
}

named! {
    /// What a difference comes to.
    pub enum Verdict {
        /// More than by chance.
        Different = "different",
        /// By less than matters, more than by chance or not.
        Equivalent = "equivalent",
        /// Neither is shown.
        Open = "open",
    }
}

/// How far batches of a strain, or of any strain, spread beyond the errors of their fits.
#[derive(Debug, Clone, PartialEq)]
pub struct StrainSpread {
    /// The trait.
    pub which: Trait,
    /// The strain; none: one spread for all.
    pub strain: Option<String>,
    /// Batches.
    pub n: usize,
    /// Standard deviation between batches at the stated conditions, worts included; of times and rates as a share of the value.
    pub sd: Finding,
    /// True where it is a share.
    pub relative: bool,
}

/// How many more batches would settle a pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrainPower {
    /// Probability that a further season of the same size would find a difference of the margin.
    pub now: f64,
    /// Further batches of each of the two until that is 0.8; none beyond 200.
    pub more_of_each: Option<usize>,
    /// The difference that is found with probability 0.8, in the unit of the trait, after [`MORE`] further batches of each.
    pub found: [f64; MORE.len()],
}

/// A strain among those that are ranked by the weights of the settings.
#[derive(Debug, Clone, PartialEq)]
pub struct StrainRank {
    /// The strain.
    pub strain: String,
    /// Its points, less the mean of all that are ranked; each interval is for itself.
    pub points: Finding,
    /// Probability of each place, the first first.
    pub p_place: Vec<f64>,
}

impl StrainRank {
    /// The first and the last place that it may have, each passed over with half the probability beyond the level.
    pub fn places(&self) -> Option<(usize, usize)> {
        let beyond = 0.5 * (1.0 - self.points.estimate()?.level);
        let until = |share: f64| {
            let mut sum = 0.0;
            self.p_place.iter().position(|p| {
                sum += p;
                sum > share
            })
        };
        Some((1 + until(beyond)?, 1 + until(1.0 - beyond).unwrap_or(self.p_place.len() - 1)))
    }
}

/// What was compared, and how.
#[derive(Debug, Clone, PartialEq)]
pub struct TraitComparison {
    /// The trait.
    pub which: Trait,
    /// The conditions that the means are stated at.
    pub conditions: String,
    /// What could not be told apart, and why something is missing.
    pub notes: Vec<String>,
    /// p-value of one spread between batches for all strains, where it was tested.
    pub p_equal_spread: Option<f64>,
    /// Numerical error of the adjusted p-values near 1 less the level.
    pub numerical_error: Option<f64>,
}

/// The comparison of strains.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Strains {
    /// One per strain and trait.
    pub means: Vec<StrainMean>,
    /// One per pair and trait.
    pub contrasts: Vec<StrainContrast>,
    /// One per trait, and one per strain and trait.
    pub spreads: Vec<StrainSpread>,
    /// The strains by the weights of the settings, the best first; empty without weights.
    pub ranking: Vec<StrainRank>,
    /// How each trait was compared.
    pub traits: Vec<TraitComparison>,
    /// The share of stuck batches by strain.
    pub stuck: Vec<StuckShare>,
    /// Its differences.
    pub stuck_contrasts: Vec<StuckContrast>,
    /// Strains that look like one written in two ways. They are not merged.
    pub alike: Vec<(String, String)>,
    /// Correlation of attenuation with the logarithm of the time to nine tenths of the drop among batches of a strain.
    pub correlation: Option<f64>,
    /// Simultaneous level of the intervals of the contrasts of one trait.
    pub contrast_level: f64,
}

impl Strains {
    /// The pairs that are open.
    pub fn open(&self) -> impl Iterator<Item = &StrainContrast> {
        self.contrasts.iter().filter(|pair| pair.verdict == Some(Verdict::Open))
    }

    /// The mean of a trait of a strain.
    pub fn mean(&self, strain: &str, which: Trait) -> Option<&StrainMean> {
        self.means.iter().find(|mean| mean.strain == strain && mean.which == which)
    }

    /// How a trait was compared.
    pub fn how(&self, which: Trait) -> Option<&TraitComparison> {
        self.traits.iter().find(|how| how.which == which)
    }
}
