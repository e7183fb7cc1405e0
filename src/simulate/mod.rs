//! Seasons with known truth, from a process that no fitted curve equals.
//!
//! `SimulateSettings` is checked, run, and gives a [`Simulated`]: a season and its [`Truth`].

mod settings;
mod simulated;
mod truth;

pub use settings::SimulateSettings;
pub use simulated::Simulated;
pub use truth::{BatchEnd, BatchTruth, ErrorTruth, GravityTruth, ProbeTruth, ShiftTruth, StrainTruth, Truth};
