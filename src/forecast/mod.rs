//! When a batch comes to rest, where, and whether it already has: forecasts and their backtest.
//!
//! Settings [`ForecastSettings`] -> run on the batches with a [`KnownSeries`], which gives a batch's gravities as
//! known at a moment -> [`Forecasts`] and [`Backtest`].

mod archive;
mod backtest;
mod coordinates;
mod draws;
mod frame;
mod known;
mod learned;
mod posterior;
mod result;
mod run;
mod settings;
mod stuck;
mod tail;

pub use known::{KnownSeries, Truncated};
pub use result::{Backtest, BacktestRow, BacktestStatus, Forecast, Forecasts, Quantiles, StageCoverage};
pub use run::Forecaster;
pub use settings::ForecastSettings;
