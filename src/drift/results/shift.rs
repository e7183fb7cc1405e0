//! Sudden shifts.

use crate::fit::Finding;
use crate::units::Instant;

/// How a shift came to be known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ShiftKind {
    /// An event of this kind is written down: its date is given, its size estimated.
    Known(String),
    /// It was found in the references.
    Found,
}

impl ShiftKind {
    /// What it rests on, as the tables have it: `event` or `references`.
    pub const fn evidence(&self) -> &'static str {
        match self {
            Self::Known(_) => "event",
            Self::Found => "references",
        }
    }

    /// True for one that nobody wrote down.
    pub const fn is_found(&self) -> bool {
        !matches!(self, Self::Known(_))
    }
}

/// A sudden lasting change of a probe's reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Shift {
    /// The probe.
    pub probe: String,
    /// When: the event, or the middle of the likeliest gap between two visits at the probe.
    pub at: Instant,
    /// Start of the interval of the moment: a visit at the probe.
    pub earliest: Instant,
    /// Its end, the same.
    pub latest: Instant,
    /// Its size at SG 1.020 and 20 C, SG.
    pub shift_sg: Finding,
    /// How it came to be known.
    pub kind: ShiftKind,
    /// Probes beside this one of which one may have shifted instead: nothing tells which. Its size then holds that it may be
    /// none.
    pub or_probes: Vec<String>,
    /// Of one that was found: probability of so strong a sign on this probe without a shift.
    pub p_probe: Option<f64>,
    /// Of one that was found: probability of so strong a sign on any probe of the fleet without a shift.
    pub p_fleet: Option<f64>,
}
