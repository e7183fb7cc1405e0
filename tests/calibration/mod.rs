//! Calibration: from baths to curves, against worked examples and floats of known truth.
#![allow(clippy::print_stdout)]

mod bad_input;
mod builds;
mod changes;
mod coverage;
mod examples;
mod fleet;
pub mod floats;
mod plan;
mod shells;
mod whole_season;
