//! What the study of drift finds, piece by piece: types that rest on nothing else of drift.

mod fleet;
mod kind;
mod misfit;
mod pair;
mod probe;
mod recalibrate;
mod shift;
mod verdict;

pub use fleet::FleetTerm;
pub use kind::{DriftKind, KindVerdict};
pub use misfit::{Misfit, MisfitKind};
pub use pair::{DriftPair, PairKind};
pub(crate) use probe::OutOfLimit;
pub use probe::{ProbeDrift, TrackPoint};
pub use recalibrate::Recalibrate;
pub use shift::{Shift, ShiftKind};
pub use verdict::{LastCheck, ProbeVerdict};
