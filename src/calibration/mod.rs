//! Calibration: from baths to a curve for each probe, and from tilt to gravity for each reading.

mod curve;
mod gravity;
mod result;
mod settings;

pub use curve::{Coefficient, CurveKind, FittedCurve};
pub use gravity::{Gravity, OffsetPrior};
pub use result::{BathPoint, Calibration, Calibrations, Candidate, NoCurve, ShellExpansion, Suspect};
pub use settings::CalibrationSettings;
