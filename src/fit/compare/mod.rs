//! Differences that are compared all at once, and pooled estimates.

mod holm;
mod max_t;
mod pool;

pub use holm::holm;
pub use max_t::MaxT;
pub use pool::{Pooled, pool, spread_between};
