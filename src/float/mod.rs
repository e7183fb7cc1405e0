//! Floats: how a tilted body of revolution rests in a liquid, and so its density from its tilt.
//!
//! Hydrostatics alone: Archimedes' principle, and the centres of buoyancy and gravity on one vertical. Tilts are in degrees
//! from upright, densities of the liquid at its own temperature.
//!
//! `WallSided` is the closed form while the water plane cuts only the cylinder; [`Hull`] takes any [`Profile`] at any tilt by
//! quadrature. [`Shape`] is the usual probe (cylinder, bottom, top). [`ShellExpansion`] tells how a shell grows with heat.

mod hull;
mod profile;
mod quadrature;
mod shape;
mod shell;
mod tilt_cuts;
mod wall_sided;

pub(crate) use hull::HullGradient;
pub use hull::{Hull, Rest};
pub(crate) use profile::Piece;
pub use profile::Profile;
pub use shape::{End, Shape};
pub use shell::ShellExpansion;
pub(crate) use tilt_cuts::TiltCuts;
pub(crate) use wall_sided::WallSided;

// The wall-sided float is not public, so these tests are compiled here.
#[cfg(test)]
#[path = "../../tests/float/mod.rs"]
mod against_other_values;
