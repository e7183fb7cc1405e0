//! Drift: how true the calibrations of a season's probes stay.
//!
//! Three layers, each resting on those below it only:
//!
//! | layer | what lives there |
//! | --- | --- |
//! | `answers` | rates with and without shifts, error now, date, kind, fleet, verdict |
//! | `shifts` | the one search for sudden shifts |
//! | `model` | the mixed model of the errors of all probes |
//!
//! Known to fall short: the 90 % intervals of the sizes of shifts that were found between batches, beside a probe that is
//! checked, hold the truth in 83 of 100 cases. In seasons with every trouble that the simulator knows, two in three unwritten shifts
//! of more than 0.002 stay unfound, and the intervals of drift rates hold 83 of 100.
//!
//! `pairs` holds each probe against each reference, which is what the model is made of; `results` are the types of what is
//! found.

mod answers;
mod model;
mod pairs;
mod results;
mod scale;
mod settings;
mod shifts;

pub use answers::Drift;
pub(crate) use model::ProbeErrors;
pub(crate) use pairs::KnownStays;
pub use results::{
    DriftKind, DriftPair, FleetTerm, InstrumentBias, KindVerdict, LastCheck, Misfit, MisfitKind, PairKind, ProbeDrift,
    ProbeVerdict, Recalibrate, Shift, ShiftKind, TrackPoint,
};
pub use settings::DriftSettings;
pub(crate) use shifts::exchanged_stays;
