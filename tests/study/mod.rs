//! The whole way, against known truth.

mod truth;
