//! Yeast comparison across batches: the mean of each trait per strain, and the differences between strains.
//!
//! Strains are compared as they were brewed: a strain that got the stronger worts or the warmer cellar shows it here,
//! as nothing is adjusted for wort, temperature or pitching rate. The unit is the batch.

mod frame;
mod result;
mod run;
mod settings;

pub use result::{StrainContrast, StrainMean, Strains};
pub use settings::StrainSettings;
