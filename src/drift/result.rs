//! What the study of drift finds.

use crate::calibration::OffsetPrior;
use crate::fit::Finding;
use crate::units::Instant;

/// What a pair rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PairKind {
    /// A bath: a check, or one of a later calibration as found.
    Bath,
    /// A sample of a batch.
    Sample,
}

/// One probe and one reference: the probe's gravity on its first calibration of the season against the known one.
#[derive(Debug, Clone, PartialEq)]
pub struct DriftPair {
    /// When.
    pub at: Instant,
    /// The probe.
    pub probe: String,
    /// Row of `Season::references`.
    pub reference: usize,
    /// Bath or sample.
    pub kind: PairKind,
    /// SG 20/20 of the reference.
    pub reference_sg: f64,
    /// Its standard deviation without the instrument's bias.
    pub reference_sd: f64,
    /// Probe minus reference, SG.
    pub difference_sg: f64,
    /// Standard error of the probe's local level by its own noise, SG.
    pub own_se: f64,
    /// Standard error of the curve there, SG: common to all pairs of the probe.
    pub curve_se: f64,
    /// Days since the first calibration, negative before it.
    pub age_d: f64,
    /// Temperature, C.
    pub temp_c: f64,
    /// The reference's method.
    pub method: String,
    /// The batch of a sample.
    pub batch: Option<String>,
    /// How fast the batch was fermenting, SG per day, falling counted positive; 0 in a bath.
    pub rate_sg_per_day: f64,
    /// Why the pair is left out of the estimates, if it is.
    pub left_out: Option<String>,
}

/// The drift of one probe.
#[derive(Debug, Clone, PartialEq)]
pub struct ProbeDrift {
    /// The probe.
    pub probe: String,
    /// Pairs used.
    pub n: usize,
    /// Days from the first calibration to the last pair.
    pub span_d: f64,
    /// Least-squares slope of the probe's error through the observed span, SG per 30 days, at SG 1.020 and 20 C.
    pub drift_sg_per_30d: Finding,
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

/// Calibration stability across the probes of a season.
#[derive(Debug, Clone, PartialEq)]
pub struct Drift {
    /// Every probe at every reference, by probe and time.
    pub pairs: Vec<DriftPair>,
    /// The probes, by id.
    pub probes: Vec<ProbeDrift>,
    /// The fleet.
    pub fleet: Vec<FleetTerm>,
    /// What a probe's offset may be in a batch, by days since its calibration: for the study of kinetics.
    pub offset_prior: OffsetPrior,
    /// Level of the intervals.
    pub level: f64,
}
