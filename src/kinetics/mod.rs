//! Fermentation curves: what one batch's gravities say about its lag, rate, midpoint and terminal gravity.
//!
//! Settings [`KineticsSettings`] -> [`KineticsSettings::fit`] on a [`crate::season::GravitySeries`] -> [`BatchFit`];
//! all batches together are [`Kinetics`].

mod batch_fit;
mod curve;
mod settings;

pub use batch_fit::{BatchFit, FittedCurve, Kinetics, Point, ProbeOffset, Source, Status, Trait};
pub use curve::{Curve, CurveKind, PARAMETER_NAMES, PARAMETERS};
pub use settings::{CurveChoice, KineticsSettings};
