//! Yeast comparison across batches: which yeast attenuates further, which is faster, which is more repeatable.
//!
//! Of each trait a linear mixed model over batches:
//!
//! ```text
//! y = strain + slopes times conditions + wort + batch + error
//! ```
//!
//! Strains and slopes are fixed, worts and batches random, the error is the curve fit's own and known. Strains are
//! compared at common conditions; where a condition goes with the strain its effect cannot be told from the strain's, and each
//! strain stands at its usual one, which is said.

mod alone;
mod conditions;
mod contrasts;
mod curve;
mod frame;
mod joint;
mod model;
mod power;
mod ranking;
mod result;
mod run;
mod scale;
mod settings;
mod spreads;
mod stuck;
mod words;

pub use power::MORE;
pub use result::{
    HouseContrast, StrainContrast, StrainMean, StrainPower, StrainRank, StrainSpread, Strains, TraitComparison, Verdict,
};
pub use settings::StrainSettings;
pub use stuck::{StuckContrast, StuckShare};
