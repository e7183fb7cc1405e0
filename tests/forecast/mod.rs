//! Forecasts against known truth.

mod coverage;
