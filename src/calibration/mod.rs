//! Calibration: from baths to a curve for each probe, and from tilt to gravity for each reading.

mod builds;
pub(crate) mod columns;
mod cooling;
mod curve;
mod fit;
mod frames;
mod gravity;
mod in_force;
mod noise;
mod offset;
mod original;
mod pairing;
mod result;
mod select;
mod series;
mod sessions;
mod settings;
mod study;

pub use builds::{Build, BuildSettings, Builds};
pub use curve::{Coefficient, Curve, CurveKind, CurvePoint, FittedCurve, MOST_COEFFICIENTS};
pub use gravity::{Gravity, GravityPoint};
pub use offset::OffsetPrior;
pub use original::OriginalGravity;
pub use pairing::{Pairing, pair_references};
pub use result::{BathPoint, Calibration, Calibrations, Candidate, NoCurve, Suspect};
pub use series::LEFT_OUT;
pub use settings::CalibrationSettings;
pub use study::{WATER_TILT_DEG, WATER_TILT_TOLERANCE_DEG};
