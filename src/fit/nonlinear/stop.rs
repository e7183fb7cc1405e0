//! Why an iteration stopped.

use std::fmt;

use levenberg_marquardt::TerminationReason;

/// Why the iteration stopped. "It stopped" is not "it is right": see also the bounds and the notes of the fit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StopReason {
    /// The sum of squares or the parameters changed by less than the tolerance.
    Converged,
    /// The gradient is zero to working precision.
    GradientZero,
    /// All residuals are exactly zero.
    ExactFit,
    /// No better point can be told apart in double precision.
    PrecisionReached,
    /// Too many evaluations.
    OutOfPatience,
    /// The residuals or their derivatives are not finite numbers, or could not be computed.
    NotComputable(String),
}

impl StopReason {
    /// True when the end is a minimum as far as the iteration can tell.
    pub fn is_converged(&self) -> bool {
        matches!(self, Self::Converged | Self::GradientZero | Self::ExactFit | Self::PrecisionReached)
    }

    /// True when more evaluations may help.
    pub fn is_out_of_patience(&self) -> bool {
        *self == Self::OutOfPatience
    }
}

impl From<TerminationReason> for StopReason {
    fn from(reason: TerminationReason) -> Self {
        match reason {
            TerminationReason::ResidualsZero => Self::ExactFit,
            TerminationReason::Orthogonal => Self::GradientZero,
            TerminationReason::Converged { .. } => Self::Converged,
            TerminationReason::NoImprovementPossible(_) => Self::PrecisionReached,
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
            Self::GradientZero => f.write_str("converged: the gradient is zero"),
            Self::ExactFit => f.write_str("converged: the residuals are zero"),
            Self::PrecisionReached => f.write_str("converged to working precision"),
            Self::OutOfPatience => f.write_str("not converged: too many evaluations"),
            Self::NotComputable(what) => write!(f, "not converged: {what} not computable"),
        }
    }
}
