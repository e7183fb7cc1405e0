//! Kinetics against known truth and outside answers.

mod averaged;
mod bad_input;
pub mod chain;
mod coverage;
mod foam;
mod published;
mod routes;
mod sigmoid;
mod steps;
