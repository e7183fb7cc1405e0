//! Calibration: from baths to a curve for each probe, and from tilt to gravity for each reading.

mod ageing;
mod builds;
mod cooling;
mod curve;
mod fit;
mod form;
mod frames;
mod gravity;
mod hull_curve;
mod in_force;
mod noise;
mod offset;
mod original;
mod result;
mod select;
mod series;
mod sessions;
mod settings;
mod steady;
mod study;

pub use builds::{Build, BuildSettings, Builds};
pub(crate) use curve::CovarianceRoot;
pub use curve::{Coefficient, Curve, CurveKind, CurvePoint, FittedCurve, MOST_COEFFICIENTS};
pub(crate) use gravity::ERROR_SOURCES;
pub use gravity::{Gravity, GravityPoint};
pub use hull_curve::HullTable;
pub(crate) use noise::{Noise, UNUSABLE};
pub use offset::OffsetPrior;
pub(crate) use original::Liquids;
pub use result::{BathPoint, Calibration, Calibrations, Candidate, NoCurve, Suspect};
pub use series::LEFT_OUT;
pub(crate) use sessions::immersion;
pub use settings::CalibrationSettings;
pub(crate) use study::probe_ids;
pub use study::{WATER_TILT_DEG, WATER_TILT_TOLERANCE_DEG};
