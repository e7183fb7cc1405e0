//! The build check: how each probe is built, how it rests for that, and what to move where.
//!
//! Mass and outside of a probe are known from balance and calliper; its baths then give the centre of gravity by a straight
//! line (see [`Hull::line_point`](crate::float::Hull::line_point)), for the general hull, whatever curve the calibration
//! chose. From mass, outside and centre of gravity follows how it rests in any liquid; and two wanted tilts are two linear
//! equations for the centre of gravity it should have.

mod advice;
mod physics;
mod resting;
mod result;
mod settings;
mod study;

pub(crate) use resting::Resting;
pub use result::{Build, Builds};
pub use settings::BuildSettings;
