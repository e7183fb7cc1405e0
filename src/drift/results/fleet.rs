//! Terms of the fleet.

use crate::fit::Finding;

/// One term of the fleet.
#[derive(Debug, Clone, PartialEq)]
pub struct FleetTerm {
    /// `mean_drift_sg_per_30d`, `sd_of_drift_sg_per_30d` and others.
    pub term: String,
    /// Its finding.
    pub finding: Finding,
    /// Degrees of freedom of the interval, where it has some.
    pub df: Option<f64>,
}
