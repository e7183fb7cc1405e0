//! Kinetics against known truth and outside answers.

pub mod chain;
mod coverage;
