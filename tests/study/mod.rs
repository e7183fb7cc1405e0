//! The whole way, against known truth.

mod blunders;
mod guide;
mod hands;
mod settings;
pub(crate) mod truth;
