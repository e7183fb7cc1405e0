//! The one integration binary; each module tests one part against the outside.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::float_cmp)]

mod calibration;
mod drift;
mod fit;
mod float;
mod forecast;
mod kinetics;
mod liquid;
mod process;
mod season;
mod simulate;
mod study;
