//! Estimation that knows nothing of beer.

mod estimate;

pub use estimate::{Estimate, Finding, decimals_for};
