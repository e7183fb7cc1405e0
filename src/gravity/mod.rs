//! From tilts to gravities, and from a batch's gravities to its series: which calibration is in force, what the liquid is, the
//! errors of a reading (its own and the one it shares with others), and what other times tell of a probe.

mod active_calibration;
mod episodes;
mod frame;
mod known;
mod layers;
mod offset;
mod reading_errors;
mod readings;
mod rises;
mod series;
mod series_builder;

pub(crate) use episodes::{Edge, Episodes, FOAM_H, TOLD_H, episodes};
pub(crate) use known::ErrorStep;
pub(crate) use known::KnownInstrument;
pub use known::{Disturbance, ErrorKnot, KnownErrors};
pub use layers::{CorrectedGravity, Gravity, GravityLayers, ProcessBias, ReadingDrift, UncorrectedGravity};
pub use offset::OffsetPrior;
pub(crate) use reading_errors::ReadingErrors;
pub(crate) use rises::rises;
pub use series::{GravitySeries, HeldReading, SeriesProbe, SeriesSample};
pub(crate) use series_builder::BatchErrors;
pub use series_builder::SeriesBuilder;
