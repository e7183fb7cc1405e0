//! Seasons with known truth, from a process that no fitted curve equals.
//!
//! `SimulateSettings` is checked, run, and gives a [`Simulated`]: a season and its [`Truth`].

mod ageing;
mod bench;
mod body;
mod brew;
mod calendar;
mod fermentation;
mod fleet;
mod instruments;
mod known;
mod log;
mod regime;
mod run;
mod samples;
mod sensor;
mod settings;
mod simulated;
mod strain;
mod stream;
mod tidy;
mod truth;
mod truth_frames;
mod wort;
mod write;
mod yeast;

pub use settings::SimulateSettings;
pub use simulated::Simulated;
pub use truth::{
    BatchEnd, BatchTruth, CurveTruth, ErrorTruth, GravityTruth, ProbeTruth, ShiftTruth, StrainTruth, Truth,
};
