//! From floating tilt probes to gravity, drift, fermentation curves, forecasts and yeast comparisons.
//!
//! Every estimate carries its uncertainty; every input row is accounted for.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::float_cmp))]

pub mod calibration;
pub mod chart;
pub mod cli;
pub mod common;
pub mod drift;
pub mod error;
pub mod fit;
pub mod float;
pub mod forecast;
pub mod gravity;
pub mod kinetics;
pub mod liquid;
pub mod prelude;
pub mod report;
pub mod season;
pub mod show;
pub mod simulate;
pub mod strains;
pub mod study;
pub mod units;

pub use error::{Error, Result};
pub use units::Instant;
