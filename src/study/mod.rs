//! The whole way once: season, calibration, gravity, drift, kinetics, forecast and backtest, strains.

mod accessors;
mod as_of;
mod builder;
mod gravities;
mod known;
mod part;
mod report_settings;
mod result;
mod run;
mod season_toml;
mod settings;
mod tables;

pub use builder::Study;
pub use part::Part;
pub use report_settings::{GravityScale, ReportSettings, TemperatureScale};
pub use result::SeasonStudy;
pub use settings::Settings;

// What drift hands to other studies is not public, so these tests are compiled here.
#[cfg(test)]
#[path = "../../tests/study/routes.rs"]
mod routes;
