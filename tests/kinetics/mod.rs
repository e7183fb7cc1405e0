//! Kinetics against known truth and outside answers.

mod coverage;
