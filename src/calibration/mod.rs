//! Calibration: from baths to a curve for each probe, and from tilt to gravity for each reading.

mod builds;
mod compare;
mod curve;
mod errors;
mod fit_data;
mod fitted_curve;
mod fleet;
mod frames;
mod gravity_at;
mod in_words;
mod joint;
mod joint_rows;
mod joint_solution;
mod kinds;
mod lookup;
mod noise;
mod plan;
mod predict;
mod prepare;
mod result;
mod select;
mod sessions;
mod settings;
mod sg_of_tilt;
mod steady;
mod study;
mod trial;
mod water_check;

pub use builds::{Build, BuildSettings, Builds};
pub use compare::CalibrationDifference;
pub use curve::{CalibrationCurve, CurvePoint, MOST_COEFFICIENTS};
#[cfg(test)]
pub(crate) use errors::Source;
pub(crate) use errors::{Sources, own_sd};
pub(crate) use fitted_curve::CovarianceRoot;
pub use fitted_curve::{Coefficient, FittedCalibration, SharedError};
pub use gravity_at::GravityPoint;
pub use kinds::CurveKind;
pub(crate) use noise::{Noise, UNUSABLE};
pub(crate) use plan::gravities;
pub use plan::{BathPlan, BathRecipe, Criterion, Plan, PlanSettings, PlannedBath, UsedRange};
pub use result::{BathPoint, Calibration, Calibrations, Candidate, NoCurve, SharedBath, Suspect, WaterCheck};
pub(crate) use sessions::immersion;
pub use settings::CalibrationSettings;
pub(crate) use study::probe_ids;
pub use study::{WATER_TILT_DEG, WATER_TILT_TOLERANCE_DEG};
