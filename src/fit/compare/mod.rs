//! Means, all pairs of them with simultaneous intervals, and pooled estimates.

mod adjust;
mod between;
mod maximum_modulus;
mod mean;
mod new_unit;
mod pairs;
mod pool;

pub use adjust::holm;
pub use maximum_modulus::maximum_modulus_quantile;
pub use mean::{GroupMean, mean};
pub use pairs::{Contrast, all_pairs};
pub use pool::{PoolSettings, Pooled, Precision};
