//! All pairs of means with simultaneous intervals, and pooled estimates.

mod maximum_modulus;
mod pairs;
mod pool;

pub use maximum_modulus::maximum_modulus_quantile;
pub use pairs::{Contrast, GroupMean, all_pairs, holm};
pub use pool::{Pooled, pool};
