//! Of which kind drift is, and terms of the fleet.

use crate::fit::Finding;

named! {
    /// Which family of change explains a probe's errors at several gravities.
    pub enum KindVerdict {
        /// Mass, height of the centre of gravity, size of the shell: nearly the same error at every gravity.
        Proportional = "proportional",
        /// Sensor zero, mass across the axis: larger at low gravity.
        Sideways = "sideways",
        /// The references do not tell.
        CannotTell = "cannot tell",
    }
}

/// Of which kind the drift of a probe is.
#[derive(Debug, Clone, PartialEq)]
pub struct DriftKind {
    /// The probe.
    pub probe: String,
    /// Posterior weight of the proportional family; the sideways one has the rest.
    pub p_proportional: Option<f64>,
    /// The verdict at the certainty asked for.
    pub verdict: KindVerdict,
    /// Relative change of K = m/(pi r^3), per 30 days, next to that of the zero.
    pub relative_k_per_30d: Finding,
    /// Change of the tilt's zero, degrees per 30 days, next to that of K.
    pub zero_deg_per_30d: Finding,
    /// Standard error of the change of K after one water check and one bath of SG 1.060 at the season's end.
    pub k_se_after: Option<f64>,
    /// The same of the zero, degrees per 30 days.
    pub zero_se_after: Option<f64>,
    /// Probability that these two would tell the family.
    pub p_told_after: Option<f64>,
    /// Why nothing can be said.
    pub why: Option<String>,
}

impl DriftKind {
    pub(in crate::drift) fn missing(probe: &str, why: impl Into<String>) -> Self {
        let why = why.into();
        Self {
            probe: probe.to_owned(),
            p_proportional: None,
            verdict: KindVerdict::CannotTell,
            relative_k_per_30d: Finding::missing(why.clone()),
            zero_deg_per_30d: Finding::missing(why.clone()),
            k_se_after: None,
            zero_se_after: None,
            p_told_after: None,
            why: Some(why),
        }
    }
}

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

/// The bias of an instrument, by all that it measured.
#[derive(Debug, Clone, PartialEq)]
pub struct InstrumentBias {
    /// Its method and its name.
    pub instrument: String,
    /// How far it reads too high, SG.
    pub bias_sg: Finding,
}
