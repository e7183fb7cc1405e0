//! Whether the stated standard deviations are taken at their word.

/// How the covariance of a least-squares fit is scaled. The most argued point of every fitter, so it is never implied.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Scale {
    /// The given standard deviations are right as they stand (absolute weights): the covariance is not scaled by the
    /// residuals, and intervals use the normal distribution.
    Known,
    /// The given standard deviations are right up to one common factor (relative weights), or none are given: the
    /// factor is estimated from the residuals, and intervals use Student's t.
    #[default]
    Estimated,
}
