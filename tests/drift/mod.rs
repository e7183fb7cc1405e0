//! Drift of probes with known truth.
#![allow(clippy::print_stdout)]

mod coverage;
mod fleet;
