//! The drift of one probe.

use crate::fit::Finding;
use crate::units::Instant;

use super::recalibrate::Recalibrate;
use super::verdict::{LastCheck, ProbeVerdict};

/// Probability of being out of the limit at a moment, on the curve in force at the season's end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct OutOfLimit {
    /// The moment.
    pub at: Instant,
    /// The probability.
    pub p: f64,
}

/// The error of a probe on its first calibration at SG 1.020 and 20 C at a moment, with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackPoint {
    /// The moment.
    pub at: Instant,
    /// Days since the first calibration.
    pub age_d: f64,
    /// The error, SG.
    pub error_sg: f64,
    /// Lower end of its interval.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
}

/// The drift of one probe.
#[derive(Debug, Clone, PartialEq)]
pub struct ProbeDrift {
    /// The probe.
    pub probe: String,
    /// Pairs used that rest on a gravity; those with other probes are not counted.
    pub n: usize,
    /// Days from the first calibration to the last pair.
    pub span_d: f64,
    /// Least-squares slope of the probe's error through the observed span, SG per 30 days, at SG 1.020 and 20 C.
    pub drift_sg_per_30d: Finding,
    /// The same without its sudden shifts, known and found.
    pub gradual_sg_per_30d: Finding,
    /// Error on the curve in force at the season's last instant, at the gravity where the beers end, SG.
    pub offset_sg: Finding,
    /// Change of its error at SG 1.020 and 20 C since the calibration in force, SG.
    pub since_last_sg: Finding,
    /// When it should be calibrated again.
    pub recalibrate: Recalibrate,
    /// What it was off by when it last met a reference.
    pub last_check: Option<LastCheck>,
    /// What all this says of it.
    pub verdict: ProbeVerdict,
    /// Probability of being out of the limit, from the calibration in force to as far ahead as the probe was observed.
    pub(crate) out_of_limit: Vec<OutOfLimit>,
    /// Its error on the first calibration, week by week.
    pub track: Vec<TrackPoint>,
}

impl ProbeDrift {
    /// Probability of being out of the limit at a moment, between the points it was worked out for.
    #[doc = example!(study "println!(\"{:?}\", season.latest().and_then(|now| study.drift().ok()?.probe(probe).ok()?.p_out(now)));")]
    pub fn p_out(&self, at: Instant) -> Option<f64> {
        let next = self.out_of_limit.partition_point(|point| point.at < at);
        let after = self.out_of_limit.get(next)?;
        match next.checked_sub(1).and_then(|i| self.out_of_limit.get(i)) {
            Some(before) if after.at > before.at => {
                let share = at.days_since(before.at) / after.at.days_since(before.at);
                Some(before.p + share * (after.p - before.p))
            }
            _ => (after.at == at).then_some(after.p),
        }
    }
}
