//! Why an iteration stopped.

use std::fmt;

use levenberg_marquardt::TerminationReason;

/// Why the iteration stopped. "It stopped" is not "it is right": see also the bounds and the notes of the fit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StopReason {
    /// At a minimum as far as the iteration can tell: the sum of squares, the parameters or the gradient no longer change to the
    /// tolerance or to working precision, or all residuals are zero.
    Converged,
    /// Too many evaluations.
    OutOfPatience,
    /// The residuals or their derivatives are not finite numbers, or could not be computed.
    NotComputable(String),
}

impl StopReason {
    /// True when the end is a minimum as far as the iteration can tell.
    pub fn is_converged(&self) -> bool {
        *self == Self::Converged
    }
}

impl From<TerminationReason> for StopReason {
    fn from(reason: TerminationReason) -> Self {
        match reason {
            TerminationReason::ResidualsZero
            | TerminationReason::Orthogonal
            | TerminationReason::Converged { .. }
            | TerminationReason::NoImprovementPossible(_) => Self::Converged,
            TerminationReason::LostPatience => Self::OutOfPatience,
            TerminationReason::User(what)
            | TerminationReason::Numerical(what)
            | TerminationReason::WrongDimensions(what) => Self::NotComputable(what.to_owned()),
            TerminationReason::NoParameters => Self::NotComputable("no parameters".to_owned()),
            TerminationReason::NoResiduals => Self::NotComputable("no residuals".to_owned()),
        }
    }
}

impl fmt::Display for StopReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Converged => f.write_str("converged"),
            Self::OutOfPatience => f.write_str("not converged: too many evaluations"),
            Self::NotComputable(what) => write!(f, "not converged: {what} not computable"),
        }
    }
}
