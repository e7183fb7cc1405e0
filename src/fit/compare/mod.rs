//! All pairs of means with simultaneous intervals, and pooled estimates.

pub(crate) mod maximum_modulus;
pub(crate) mod pairs;
pub(crate) mod pool;
