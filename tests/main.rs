//! The one integration binary; each module tests one part against the outside.
//! What a simulation found, such as a coverage, is printed beside being asserted.
#![allow(
    missing_docs,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::float_cmp,
    clippy::print_stdout
)]

mod answers;
mod assumed;
mod blank;
mod calibration;
mod cli;
mod drift;
mod forecast;
mod kinetics;
mod mutated;
mod process;
mod report;
mod season;
mod simulate;
mod strains;
mod study;
