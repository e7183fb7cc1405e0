//! Pairs of a probe and a reference, and entries that do not fit the rest of the season.

use crate::units::Instant;

named! {
    /// What a pair rests on.
    pub enum PairKind {
        /// A bath: a check, or one of a later calibration as found.
        Bath = "bath",
        /// A sample of a batch.
        Sample = "sample",
        /// The original gravity that is stated of a batch.
        Stated = "stated",
        /// Other probes at rest in the same beer, where no sample was drawn: they tell one from the other, none from the truth.
        SameBeer = "beside",
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

named! {
    /// What does not fit.
    pub enum MisfitKind {
        /// A sample.
        Sample = "sample",
        /// A bath.
        Bath = "bath",
        /// A stated original gravity.
        Original = "original gravity",
        /// The readings of a probe in a batch, against all of its samples.
        Readings = "readings",
    }
}

/// An entry that the rest of the season contradicts: it is left out of drift and of the fermentation curve, and named.
#[derive(Debug, Clone, PartialEq)]
pub struct Misfit {
    /// What it is.
    pub kind: MisfitKind,
    /// When it was taken; the first sample in the case of readings.
    pub at: Instant,
    /// The batch it belongs to.
    pub batch: Option<String>,
    /// The bath.
    pub bath: Option<String>,
    /// The probes that contradict it, or whose readings they are.
    pub probes: Vec<String>,
    /// Row of `Season::references`, where it is one.
    pub reference: Option<usize>,
    /// What it says, SG.
    pub stated_sg: f64,
    /// By how much it is off, SG: stated less what the rest of the season says; of readings, the mean of probe less sample.
    pub off_sg: f64,
    /// Standard error of that; of readings, the root mean square of probe less sample.
    pub se: f64,
    /// Probability that it is wrong.
    pub p: f64,
}
