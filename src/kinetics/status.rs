//! How far a fermentation has come, in words.

use std::fmt;

/// How far a fermentation has come, in words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// The data are too few for any curve.
    TooFewData,
    /// The gravity has not moved yet, and the batch is young.
    NotStarted,
    /// The first signs of a fall, before the tangent lag is over.
    Lagging,
    /// Falling, before the steepest point or near it.
    Active,
    /// Falling ever slower, not yet at rest.
    Slowing,
    /// At rest within the tolerance, and not stuck as far as the limit is known.
    Finished,
    /// At rest more than the tolerated distance above the limit.
    Stuck,
    /// It was at rest and falls again.
    Restarted,
}

impl Status {
    /// The word for the tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::TooFewData => "too few data",
            Self::NotStarted => "not started",
            Self::Lagging => "lagging",
            Self::Active => "active",
            Self::Slowing => "slowing",
            Self::Finished => "finished",
            Self::Stuck => "stuck",
            Self::Restarted => "restarted",
        }
    }
}

impl fmt::Display for Status {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
