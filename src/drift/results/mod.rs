//! What the study of drift finds, piece by piece: types that rest on nothing else of drift.

mod kind;
mod pair;
mod probe;
mod shift;

pub use kind::{DriftKind, FleetTerm, InstrumentBias, KindVerdict};
pub use pair::{DriftPair, Misfit, MisfitKind, PairKind};
pub(crate) use probe::OutOfLimit;
pub use probe::{LastCheck, ProbeDrift, ProbeVerdict, Recalibrate, TrackPoint};
pub use shift::{Shift, ShiftKind};
