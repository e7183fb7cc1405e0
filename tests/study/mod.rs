//! The whole way, against known truth.

mod blunders;
mod guide;
mod settings;
pub(crate) mod truth;
