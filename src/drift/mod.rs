//! Drift: how true the calibrations of a season's probes stay.

mod average;
mod blocks;
mod changed;
mod correct;
mod curves;
mod elsewhere;
mod ends;
mod fleet;
mod frames;
mod future;
mod kinds;
mod level;
mod mixed;
mod mixture;
mod model;
mod outlook;
mod pairs;
mod part;
mod readings;
mod result;
mod scan;
mod settings;
mod shape;
mod shifts;
mod study;
mod unsampled;
mod unseen;

pub use correct::Correction;
pub use elsewhere::ProbeErrors;
pub use mixed::{MixedDrift, MixedTerm, MixedTermKind};
pub use result::{
    Drift, DriftKind, DriftPair, FleetTerm, LevelPoint, OutOfLimit, PairKind, ProbeDrift, Recalibrate, Shift,
    ShiftKind, TrackPoint, Verdict,
};
pub use settings::DriftSettings;
