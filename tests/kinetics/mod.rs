//! Kinetics against known truth and outside answers.

mod bad_input;
pub mod chain;
mod coverage;
mod foam;
mod one_fails;
mod published;
mod steps;
