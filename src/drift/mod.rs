//! Drift: how true the calibrations of a season's probes stay.

mod average;
mod blocks;
mod curves;
mod fleet;
mod frames;
mod level;
mod mixture;
mod model;
mod outlook;
mod pairs;
mod part;
mod result;
mod scan;
mod settings;
mod shifts;
mod study;

pub use result::{
    Drift, DriftPair, FleetTerm, OutOfLimit, PairKind, ProbeDrift, Recalibrate, Shift, ShiftKind, TrackPoint,
};
pub use settings::DriftSettings;
