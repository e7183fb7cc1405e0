//! Estimation that knows nothing of beer.
//!
//! Plain numerics on slices and [`ndarray`]: every part can be checked against handbook values alone.
//!
//! | part | what it answers |
//! | --- | --- |
//! | [`quantile`] | quantiles and tails of the normal, t, chi-squared and F distributions |
//! | [`linear`] | weighted least squares that are linear in the coefficients |
//! | [`nonlinear`] | nonlinear least squares with bounds, priors, covariance and the reason it stopped |
//! | [`errors_in_variables`] | straight lines and curves when both variables have errors |
//! | [`whitener`] | makes errors that remember independent |
//! | [`compare`] | means, all pairs with simultaneous intervals, random-effects pooling |
//! | [`mixed`] | linear mixed models: random effects of any grouping, by REML |
//! | [`robust`] | median, bounded-influence weights |
//! | [`whiteness`] | whether waves are left in residuals |
//! | [`root`], [`minimise`] | roots in one variable, minima in a few |

pub mod compare;
pub mod errors_in_variables;
mod estimate;
pub mod linear;
mod matrix;
pub mod minimise;
pub mod mixed;
pub(crate) mod mixture;
pub mod nonlinear;
pub mod quantile;
pub mod robust;
pub mod root;
pub mod whitener;
pub mod whiteness;

pub use estimate::{Estimate, Finding, decimals_for};
