//! Forecasts against known truth.

mod asked;
mod coverage;
mod newcomer;
mod planned;
