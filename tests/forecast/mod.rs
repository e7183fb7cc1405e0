//! Forecasts against known truth.

mod asked;
mod coverage;
mod planned;
