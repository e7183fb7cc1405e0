//! Nonlinear least squares.
//!
//! ```text
//! minimise  sum_i r_i(p)^2 + sum_j ((p_j - m_j) / s_j)^2     lower_j <= p_j <= upper_j
//! ```
//!
//! over the free parameters `p`, where `r_i` is a residual over its standard deviation and the second sum holds the
//! Gaussian priors, if any. The iteration is Levenberg-Marquardt with MINPACK's trust region (the crate
//! `levenberg-marquardt`; J. J. Moré, Lect. Notes Math. 630 (1978) 105), with analytic derivatives.
//!
//! - Bounds are kept by projection: a step beyond a bound is evaluated on it, the parameter then rests there, and when
//!   the others have settled it is let go again if the sum of squares falls inwards. Nothing is transformed, so bounds
//!   that are not touched on the way change nothing. A parameter that ends on a bound has no error; the others' errors are
//!   conditional on it.
//! - The covariance is `(J'J)^-1` at the end, by QR of the scaled columns and the singular values of R. Directions
//!   the data do not see are left out and their parameters have an infinite variance; the rest is estimated.
//! - What is not computed: R squared, which means nothing for nonlinear models.

mod assemble;
mod bounded;
mod problem;
mod solver;

pub use assemble::{NonlinearFit, StopReason};
pub use problem::{Parameter, Residuals};
pub use solver::NonlinearSettings;
