//! Calibration: from baths to a curve for each probe, and from tilt to gravity for each reading.

mod beside_curve;
mod builds;
mod curve;
mod difference;
mod display;
mod errors;
mod fit_data;
mod fitted_curve;
mod fleet;
mod frames;
mod gravity_at;
mod joint;
mod joint_rows;
mod joint_solution;
mod kinds;
mod lookup;
mod noise;
mod plan;
mod prepared;
mod provisional;
mod result;
mod selection;
mod sessions;
mod settings;
mod sg_of_tilt;
mod steady_tilt;
mod study;
mod trial;
mod water_check;

pub(crate) use builds::Resting;
pub use builds::{Build, BuildSettings, Builds};
pub use curve::{CalibrationCurve, CurvePoint, MOST_COEFFICIENTS};
pub use difference::CalibrationDifference;
#[cfg(test)]
pub(crate) use errors::ErrorSource;
pub(crate) use errors::{Sources, own_sd};
pub(crate) use fitted_curve::CovarianceRoot;
pub use fitted_curve::{Coefficient, FittedCalibration, SharedError};
pub use kinds::CurveKind;
pub(crate) use noise::{Noise, UNUSABLE};
pub(crate) use plan::gravities;
pub use plan::{BathPlan, BathRecipe, Plan, PlanSettings};
pub use result::{BathPoint, Calibration, Calibrations, CurveCandidate, NoCurve, SharedBath, Suspect, WaterCheck};
pub(crate) use sessions::immersion;
pub use settings::CalibrationSettings;
pub(crate) use study::probe_ids;
