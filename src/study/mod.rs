//! The whole way once: season, calibration, gravity, drift, kinetics, forecast and backtest, strains.

mod as_of;
mod part;
mod result;

pub use as_of::{AsOf, read_as_of};
pub use part::Part;
pub use result::SeasonStudy;
