//! The drift of one probe, what it says of the probe in one word, and when it should be calibrated again.

use std::fmt;

use crate::fit::Finding;
use crate::units::Instant;

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

/// When a probe should be calibrated again: the date at which the probability that its error at the gravities where the
/// beers end is beyond the limit passes what is allowed. Growing uncertainty counts as well as the trend.
///
/// ILAC-G24 / OIML D 10 (2007) leave the choice of a first interval to such a judgement of risk and its later adjustment
/// to what calibrations find ("as found"); the words here are theirs, from memory.
#[derive(Debug, Clone, PartialEq)]
pub enum Recalibrate {
    /// By this moment.
    By(Instant),
    /// The probability has passed it already.
    AlreadyPast,
    /// Not before this moment: no farther ahead than the probe was observed.
    NotBefore(Instant),
    /// It cannot be said, because.
    NotEstimable(String),
}

impl Recalibrate {
    /// The moment, if there is one.
    pub fn at(&self) -> Option<Instant> {
        match self {
            Self::By(at) | Self::NotBefore(at) => Some(*at),
            _ => None,
        }
    }

    /// How the moment is meant, in tables: `by` it, `not before` it, `past`; none where it cannot be said.
    pub fn state(&self) -> Option<&'static str> {
        match self {
            Self::By(_) => Some("by"),
            Self::NotBefore(_) => Some("not before"),
            Self::AlreadyPast => Some("past"),
            Self::NotEstimable(_) => None,
        }
    }

    /// Why it cannot be said.
    pub fn why(&self) -> Option<&str> {
        match self {
            Self::NotEstimable(why) => Some(why),
            _ => None,
        }
    }
}

impl fmt::Display for Recalibrate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let day = |at: &Instant| at.to_string().get(..10).unwrap_or_default().to_owned();
        match self {
            Self::By(at) => write!(f, "{}", day(at)),
            Self::AlreadyPast => f.write_str("already past"),
            Self::NotBefore(at) => write!(f, "not before {}", day(at)),
            Self::NotEstimable(why) => write!(f, "not estimable: {why}"),
        }
    }
}

/// What the interval of a probe's drift, its last check and the date at which it is due say of it.
#[derive(Debug, Clone, PartialEq)]
pub enum ProbeVerdict {
    /// The interval of its drift lies within the tolerance, with zero in it or not.
    Steady {
        /// The tolerance, SG per 30 days.
        within_sg_per_30d: f64,
    },
    /// Its drift is as small, but it is due for a calibration.
    Due,
    /// Its drift is as small, but its last check lies far off, as after a sudden shift.
    OffAtLastCheck(LastCheck),
    /// It moves by sudden shifts, and hardly between them.
    Jumped {
        /// How many shifts of it are known or were found.
        shifts: usize,
    },
    /// The interval of its drift lies above zero and reaches beyond the tolerance.
    Rises,
    /// The interval of its drift lies below zero and reaches beyond the tolerance.
    Falls,
    /// The interval of its drift holds zero and more than the tolerance.
    NotSettled,
    /// Its drift is not estimated.
    Unknown {
        /// Why not.
        why: String,
    },
}

impl fmt::Display for ProbeVerdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Steady { .. } => "stays true",
            Self::Due => "slow, but due",
            Self::OffAtLastCheck(_) => "off at the last check",
            Self::Jumped { .. } => "jumped, else steady",
            Self::Rises => "reads ever higher",
            Self::Falls => "reads ever lower",
            Self::NotSettled => "not settled",
            Self::Unknown { .. } => "not known",
        })
    }
}

/// What a probe was off by, on its first calibration, on the last day it met a reference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LastCheck {
    /// The last reference of that day.
    pub at: Instant,
    /// Days since the first calibration.
    pub age_d: f64,
    /// Probe minus reference of the middle pair of that day, SG.
    pub off_sg: f64,
    /// Its standard error: reference, own noise and curve, SG.
    pub se: f64,
}
