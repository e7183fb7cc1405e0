//! Drift of probes with known truth.
#![allow(clippy::print_stdout)]

mod bad_input;
mod beside;
mod brewed;
mod coverage;
mod fleet;
mod kinds;
mod oracle;
mod season;
mod shifts;
mod sources;
mod troubles;
