//! Forecasts against known truth.

mod coverage;
mod planned;
