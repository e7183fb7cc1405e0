//! Fermentation curves: what one batch's gravities say about its lag, rate, midpoint and terminal gravity.
//!
//! Settings [`KineticsSettings`] -> [`KineticsSettings::fit`] on a [`crate::gravity::GravitySeries`] -> [`BatchFit`];
//! all batches together are [`Kinetics`].

mod batch_fit;
pub(crate) mod bins;
mod clock;
mod curve;
mod curve_problem;
pub(crate) mod error_model;
mod estimate;
pub(crate) mod fit;
mod frame;
mod judge;
mod level_changes;
pub(crate) mod likelihood;
pub(crate) mod nuisance;
pub(crate) mod point;
mod pooled_shape;
pub(crate) mod population;
pub(crate) mod probe_bias;
mod reading_bias;
mod report;
pub(crate) mod robust_weights;
mod second_batch;
pub(crate) mod settings;
mod status;
mod steps;
pub(crate) mod timed;
mod trait_estimates;
mod traits;
mod unfitted;
pub(crate) mod weak_priors;

pub(crate) use batch_fit::BatchState;
pub use batch_fit::{AtReference, BatchFit, FittedFermentation, Kinetics, ProbeOffset, ProbeStep};
pub use curve::FermentationCurve;
pub(crate) use curve::{GravityCurve, N_BASIS, PARAMETERS, Tabulated};
pub(crate) use error_model::ErrorModel;
pub use point::{BatchPoint, PointSource};
pub use settings::{ClockChoice, KineticsSettings};
pub use status::Status;
pub use traits::Trait;
