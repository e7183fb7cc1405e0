//! The whole way, against known truth.

mod blunders;
mod guide;
mod settings;
mod truth;
