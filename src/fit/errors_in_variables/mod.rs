//! Lines and curves when both variables have errors.
//!
//! The true points lie on y = f(x; p); both coordinates are measured with independent Gaussian errors of known standard
//! deviations. Maximum likelihood over the parameters and the true x together minimises
//!
//! ```text
//! S(p) = sum_i min over xi_i of  (x_i - xi_i)^2 / sx_i^2 + (y_i - f(xi_i; p))^2 / sy_i^2
//! ```
//!
//! For a straight line this is the exact solution of D. York (Can. J. Phys. 44 (1966) 1079). Weights that are only
//! iterated ("effective variance" with the weights held fixed within a step) do not minimise S: they give a slope that
//! is too small, so they are not offered.

mod distance;
mod line;

pub use distance::{DistanceResiduals, SlopedCurve};
pub use line::{Line, fit_line};
