//! Fermentation curves: what one batch's gravities say about its lag, rate, midpoint and terminal gravity.
//!
//! Settings [`KineticsSettings`] -> [`KineticsSettings::fit`] on a [`crate::season::GravitySeries`] -> [`BatchFit`];
//! all batches together are [`Kinetics`].

mod batch_fit;
mod bend;
mod curve;
pub(crate) mod departure;
pub(crate) mod estimate;
mod fit;
mod frame;
pub(crate) mod gls;
pub(crate) mod misread;
pub(crate) mod population;
pub(crate) mod prepare;
mod report;
mod settings;
mod shared;
mod status;
mod traits;

pub use batch_fit::{BatchFit, FittedCurve, Kinetics, Point, ProbeOffset, Source, Status, Trait};
pub use bend::BENDS;
pub use curve::{Curve, CurveKind, PARAMETERS, Tabulated};
pub use departure::ErrorModel;
pub use settings::{CurveChoice, KineticsSettings};
