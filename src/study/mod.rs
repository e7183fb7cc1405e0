//! The whole way once: season, calibration, gravity, drift, kinetics, forecast and backtest, strains.

mod as_of;
mod gravities;
mod known;
mod part;
mod result;
mod run;
mod tables;

pub use as_of::{AsOf, read_as_of};
pub use part::Part;
pub use result::SeasonStudy;
pub use run::StudySettings;
