//! From floating tilt probes to gravity, drift, fermentation curves, forecasts and strains compared.
//!
//! Every estimate carries its uncertainty; every input row is accounted for.
//!
//! # The whole job
//!
//! ```
//! use heelwort::prelude::*;
//!
//! # fn main() -> heelwort::Result<()> {
//! // An invented season. Your own: `let season = Season::load("MY-SEASON")?;`
//! let invented = SimulateSettings { batches: 4, probes: 2, reading_minutes: 120.0, ..Default::default() };
//! let season = invented.run()?.season;
//! println!("{}", season.account); // what became of every row
//!
//! let settings = Settings { level: 0.95, ..Settings::default() };
//! let study = settings.study(&season)?;
//! println!("{}", Summary::of(&study)); // all answers in plain words
//!
//! let (probe, batch) = (&season.probes[0].probe, &season.batches[0].batch);
//! println!("{}", study.calibrations()?.probe(probe)?); // its curve from tilt to density
//! println!("{}", study.drift()?.probe(probe)?.drift_sg_per_30d); // does it stay true?
//! println!("{}", study.kinetics()?.batch(batch)?); // the fermentation curve and its traits
//! println!("{:?}", study.forecasts()?.rows[0].p_ready); // is the beer that still runs ready?
//! println!("{}", study.strains()?); // the strains compared
//! study.drift()?.chart()?; // a picture
//! # Ok(())
//! # }
//! ```
//!
//! Each step also stands by itself: [`season::Season::load`], [`calibration::CalibrationSettings::fit`],
//! [`calibration::Calibrations::gravity`], [`drift::DriftSettings::fit`], [`kinetics::KineticsSettings::fit_all`],
//! [`forecast::ForecastSettings::forecaster`], [`strains::StrainSettings::run`], [`report::write`].
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::float_cmp))]

#[macro_use]
pub mod assumed;
#[macro_use]
mod example;
#[macro_use]
mod named;
#[macro_use]
mod settings;
#[macro_use]
mod tables;

pub mod calibration;
pub mod chart;
pub mod cli;
pub mod common;
pub mod drift;
pub mod error;
pub mod fit;
pub mod float;
pub mod forecast;
pub mod gravity;
pub mod kinetics;
pub mod liquid;
pub mod prelude;
pub mod report;
pub mod season;
pub mod show;
pub mod simulate;
pub mod strains;
pub mod study;
pub mod units;

pub use error::{Error, Result};
pub use units::Instant;
