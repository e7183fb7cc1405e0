//! Sudden shifts.

use crate::fit::Finding;
use crate::units::Instant;

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
pub struct BinPoint {
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
    pub around: Vec<BinPoint>,
}
