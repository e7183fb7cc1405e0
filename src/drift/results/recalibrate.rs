//! When a probe should be calibrated again.

use std::fmt;

use crate::units::Instant;

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
