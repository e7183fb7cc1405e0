//! What the model and the shifts say: of each probe, of the fleet, and of what to do.

mod correction;
mod display;
mod drift;
mod end_gravities;
mod fleet;
mod further_probe;
mod gravity_layer;
mod kinds;
mod recalibration;
mod study;
mod tables;
mod verdict;

pub use drift::Drift;
