//! What the study of drift finds.

use std::fmt;

use crate::fit::Finding;
use crate::gravity::OffsetPrior;
use crate::units::Instant;

use super::correct::Correction;
use super::elsewhere::ProbeErrors;
use super::mixed::MixedDrift;

/// What a pair rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PairKind {
    /// A bath: a check, or one of a later calibration as found.
    Bath,
    /// A sample of a batch.
    Sample,
    /// The original gravity that is stated of a batch, where no sample was drawn at pitching.
    Stated,
    /// Other probes at rest in the same beer, where no sample was drawn: they tell one from the other, none from the truth.
    Beside,
}

impl PairKind {
    /// Its name in the tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::Bath => "bath",
            Self::Sample => "sample",
            Self::Stated => "stated",
            Self::Beside => "beside",
        }
    }
}

/// One probe and one reference: the probe's gravity on its first calibration of the season against the known one.
#[derive(Debug, Clone, PartialEq)]
pub struct DriftPair {
    /// When.
    pub at: Instant,
    /// The probe.
    pub probe: String,
    /// Row of `Season::references`, where there is one.
    pub reference: Option<usize>,
    /// What it rests on.
    pub kind: PairKind,
    /// SG 20/20 of the reference; the mean of probes beside each other.
    pub reference_sg: f64,
    /// Its standard deviation without the instrument's bias; infinite for probes beside each other, which share whatever
    /// the beer's gravity is.
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

/// Probability of being out of the limit at a moment, on the curve in force at the season's end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutOfLimit {
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
    /// Probability of being out of the limit, from the calibration in force to as far ahead as the probe was observed.
    pub out_of_limit: Vec<OutOfLimit>,
    /// Its error on the first calibration, week by week.
    pub track: Vec<TrackPoint>,
}

impl ProbeDrift {
    /// Probability of being out of the limit at a moment, between the points it was worked out for.
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

/// How a shift came to be known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ShiftKind {
    /// An event of this kind is written down: its date is given, its size estimated.
    Known(String),
    /// It was found in the references alone.
    Found,
    /// It was found in the readings of a batch alone.
    Read,
}

impl ShiftKind {
    /// What it rests on, as the tables have it: `event`, `references` or `readings`.
    pub const fn evidence(&self) -> &'static str {
        match self {
            Self::Known(_) => "event",
            Self::Found => "references",
            Self::Read => "readings",
        }
    }

    /// True for one that nobody wrote down.
    pub const fn is_found(&self) -> bool {
        !matches!(self, Self::Known(_))
    }
}

/// The level of a probe near a shift: the median of its readings in a bin, an hour wide where they are dense.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelPoint {
    /// The middle of the readings.
    pub at: Instant,
    /// SG on the probe's first calibration.
    pub sg: f64,
    /// True for the probe that shifted, false for another one in the same beer.
    pub own: bool,
}

/// A sudden lasting change of a probe's reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Shift {
    /// The probe.
    pub probe: String,
    /// When: the event, or the middle of the likeliest gap between two looks at the probe or two bins of its readings.
    pub at: Instant,
    /// Start of the interval of the moment: a look at the probe, or a bin of its readings.
    pub earliest: Instant,
    /// Its end, the same.
    pub latest: Instant,
    /// Its size at SG 1.020 and 20 C, SG.
    pub shift_sg: Finding,
    /// How it came to be known.
    pub kind: ShiftKind,
    /// The batch in whose readings it was found.
    pub batch: Option<String>,
    /// Probes beside this one of which one may have shifted instead: nothing tells which. Its size then holds that it may be
    /// none.
    pub or_probes: Vec<String>,
    /// Of one that was found: probability of so strong a sign on this probe without a shift.
    pub p_probe: Option<f64>,
    /// Of one that was found: probability of so strong a sign on any probe of the fleet without a shift.
    pub p_fleet: Option<f64>,
    /// Levels of two days on each side of one that was found in readings.
    pub around: Vec<LevelPoint>,
}

/// Which family of change explains a probe's errors at several gravities.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Mass, height of the centre of gravity, size of the shell: nearly the same error at every gravity.
    Proportional,
    /// Sensor zero, mass across the axis: larger at low gravity.
    Sideways,
    /// The references do not tell.
    CannotTell,
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Proportional => "proportional",
            Self::Sideways => "sideways",
            Self::CannotTell => "cannot tell",
        })
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
    pub verdict: Verdict,
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
    pub(super) fn missing(probe: &str, why: impl Into<String>) -> Self {
        let why = why.into();
        Self {
            probe: probe.to_owned(),
            p_proportional: None,
            verdict: Verdict::CannotTell,
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

/// Calibration stability across the probes of a season.
#[derive(Debug, Clone, PartialEq)]
pub struct Drift {
    /// Every probe at every reference, by probe and time.
    pub pairs: Vec<DriftPair>,
    /// The probes, by id.
    pub probes: Vec<ProbeDrift>,
    /// The fleet.
    pub fleet: Vec<FleetTerm>,
    /// The same pairs in a linear mixed model, with covariates.
    pub mixed: MixedDrift,
    /// Sudden shifts, by probe and time.
    pub shifts: Vec<Shift>,
    /// What a probe's offset may be in a batch, by days since its calibration: for the study of kinetics.
    pub offset_prior: OffsetPrior,
    /// What the probes may read wrong in a batch, by all but that batch's own samples; none where the drift cannot be
    /// modelled.
    pub probe_errors: Option<ProbeErrors>,
    /// Of which kind the drift of each probe is.
    pub kinds: Vec<DriftKind>,
    /// Days after which a further probe of this fleet is to be calibrated again.
    pub interval_d: Finding,
    /// Estimated errors while each calibration was in force, by which gravities are corrected.
    pub corrections: Vec<Correction>,
    /// The gravities at which the season's beers end, SG.
    pub ends_sg: Vec<f64>,
    /// The season's last instant.
    pub latest: Option<Instant>,
    /// Error that counts as out of limit, SG.
    pub limit_sg: f64,
    /// Probability of it that is allowed.
    pub limit_chance: f64,
    /// Level of the intervals.
    pub level: f64,
}
