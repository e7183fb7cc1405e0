//! Estimation that knows nothing of beer.
//!
//! Plain numerics on slices and [`ndarray`]: every part can be checked against handbook values alone. Results show
//! [`Estimate`] and [`Finding`]; what makes them is for the crate alone, but for mixed models.
//!
//! | part | what it answers |
//! | --- | --- |
//! | `quantile` | quantiles and tails of the normal, t, chi-squared and F distributions |
//! | `linear` | weighted least squares that are linear in the coefficients |
//! | `nonlinear` | nonlinear least squares with bounds, priors, covariance and the reason it stopped |
//! | `errors_in_variables` | straight lines and curves when both variables have errors |
//! | `whitener` | makes errors that remember independent |
//! | `compare` | means, all pairs with simultaneous intervals, random-effects pooling |
//! | [`mixed`] | linear mixed models: random effects of any grouping, by REML |
//! | `robust` | median, bounded-influence weights |
//! | `whiteness` | whether waves are left in residuals |
//! | `root`, `minimise` | roots in one variable, minima in a few |

pub(crate) mod compare;
pub(crate) mod errors_in_variables;
mod estimate;
pub(crate) mod linear;
pub(crate) mod matrix;
pub(crate) mod minimise;
pub mod mixed;
pub(crate) mod mixture;
pub(crate) mod nonlinear;
pub(crate) mod quantile;
pub(crate) mod robust;
pub(crate) mod root;
pub(crate) mod whitener;
pub(crate) mod whiteness;

pub(crate) use estimate::decimals_for;
pub use estimate::{Estimate, Finding};

// What is tested is not public, so these tests against published answers are compiled here.
#[cfg(test)]
#[path = "../../tests/fit/mod.rs"]
mod published_answers;
