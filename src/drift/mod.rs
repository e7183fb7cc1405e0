//! Drift: how true the calibrations of a season's probes stay.

mod result;
mod settings;

pub use result::{Drift, DriftPair, FleetTerm, PairKind, ProbeDrift};
pub use settings::DriftSettings;
