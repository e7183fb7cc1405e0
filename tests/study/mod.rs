//! The whole way, against known truth.

mod guide;
mod settings;
mod truth;
