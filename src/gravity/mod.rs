//! From tilts to gravities, and from a batch's gravities to its series: which calibration is in force, what the liquid is, the
//! errors of a reading (its own and the one it shares with others), and what other times tell of a probe.

mod ageing;
mod build_series;
mod cooling;
mod frame;
mod in_force;
mod known;
mod offset;
mod original;
mod reading_errors;
mod readings;
mod series;
mod shell_effects;
mod tilt;

pub use build_series::LEFT_OUT;
pub use known::{Disturbance, ErrorKnot, ErrorStep, KnownErrors};
pub use offset::OffsetPrior;
pub(crate) use original::Liquids;
pub(crate) use reading_errors::ReadingErrors;
pub use readings::Gravity;
pub use series::{GravitySeries, SeriesProbe, SeriesSample};
pub use shell_effects::{ShellEffect, ShellEffectSettings, ShellEffects};
