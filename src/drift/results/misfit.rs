//! Entries that do not fit the rest of the season.

use crate::units::Instant;

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
