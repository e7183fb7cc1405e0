//! Means, all pairs of them with simultaneous intervals, and pooled estimates.

mod adjust;
mod between;
mod mean;
mod new_unit;
mod pairs;
mod pool;
mod studentised;

pub use adjust::holm;
pub use mean::{GroupMean, mean};
pub use pairs::{Adjustment, Contrast, all_pairs};
pub use pool::{Between, PoolSettings, Pooled, Precision};
pub use studentised::{
    maximum_modulus_quantile, maximum_modulus_upper_tail, studentised_range_quantile, studentised_range_upper_tail,
};
