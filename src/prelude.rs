//! What a notebook needs, in one line: `use heelwort::prelude::*;`

pub use crate::calibration::{BuildSettings, CalibrationSettings, Calibrations, PlanSettings};
pub use crate::common::CommonSettings;
pub use crate::drift::{Drift, DriftSettings};
pub use crate::error::{Error, Result};
pub use crate::fit::{Estimate, Finding};
pub use crate::forecast::{Backtest, ForecastSettings, Forecasts};
pub use crate::gravity::Gravity;
pub use crate::kinetics::{FermentationCurve, Kinetics, KineticsSettings, Trait};
pub use crate::report::Summary;
pub use crate::season::Season;
pub use crate::show::Table;
pub use crate::simulate::{SimulateSettings, Trouble};
pub use crate::strains::{StrainSettings, Strains};
pub use crate::study::{SeasonStudy, Settings, Study};
pub use crate::units::Instant;
