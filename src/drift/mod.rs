//! Drift: how true the calibrations of a season's probes stay.

mod average;
mod blocks;
mod frames;
mod level;
mod model;
mod pairs;
mod result;
mod settings;
mod study;

pub use result::{Drift, DriftPair, FleetTerm, PairKind, ProbeDrift};
pub use settings::DriftSettings;
