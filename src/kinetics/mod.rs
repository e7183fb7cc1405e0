//! Fermentation curves: what one batch's gravities say about its lag, rate, midpoint and terminal gravity.
//!
//! Settings [`KineticsSettings`] -> [`KineticsSettings::fit`] on a [`crate::season::GravitySeries`] -> [`BatchFit`];
//! all batches together are [`Kinetics`]. Any other quantity that goes once from one level to another, such as growth, is
//! fitted by [`SigmoidSettings`] on plain slices.

mod averaging;
mod bands;
mod batch_fit;
mod begin;
mod bend;
mod candidates;
mod clock;
mod curve;
pub(crate) mod departure;
pub(crate) mod estimate;
mod fit;
mod frame;
pub(crate) mod gls;
mod intervals;
pub(crate) mod misread;
pub(crate) mod nuisance;
pub(crate) mod population;
pub(crate) mod prepare;
mod refilled;
mod report;
mod settings;
mod shared;
mod sigmoid;
mod state;
mod status;
mod steps;
mod timed;
mod traits;

pub use batch_fit::{AtReference, BatchFit, FittedCurve, Kinetics, Point, ProbeOffset, ProbeStep, Source};
pub use bend::BENDS;
pub use candidates::Candidate;
pub use clock::{ACTIVATION_KJ_MOL, Clock, Thermal};
pub use curve::{Curve, CurveKind, Form, PARAMETERS, Tabulated};
pub use departure::ErrorModel;
pub use settings::{ClockChoice, CurveChoice, IntervalMethod, KineticsSettings};
pub use sigmoid::{SIGMOID_PARAMETERS, SigmoidFit, SigmoidKind, SigmoidSettings, SigmoidTrait};
pub use state::BatchState;
pub use status::Status;
pub use timed::Timed;
pub use traits::Trait;
