//! What may be said of a probe in one word.

use std::fmt;

use crate::units::Instant;

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
