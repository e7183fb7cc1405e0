//! Differences that are compared all at once, and pooled estimates.

pub(crate) mod holm;
pub(crate) mod max_t;
pub(crate) mod pool;
