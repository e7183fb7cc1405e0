//! Errors that remember: first-order autoregression in continuous time, with or without white noise on top.
//!
//! ```text
//! corr(e_i, e_j) = (1 - g) phi^|t_i - t_j|   for i != j in one series,    var(e_i) = sigma^2
//! ```
//!
//! `phi` is the correlation of the remembering part at one unit of time (one hour where times are hours), `g` in [0, 1]
//! the share of the variance that is white. With g = 0 it is the CAR(1) of R. H. Jones (*Longitudinal Data with Serial
//! Correlation*, 1993), with evenly spaced times the AR(1).
//!
//! The inverse of this correlation is never formed: a Kalman filter with one state whitens a column of n values in time
//! proportional to n, and the same idea gives the quadratic forms of the sandwich.
//!
//! Two ways to honest errors of a least-squares fit: ordinary least squares with [`Car1::sandwich`], or generalised least
//! squares by fitting [`Whitened`] residuals. With the process estimated ([`AutocorrelationSettings`], best on the
//! derivatives of the fit as its design) both intervals are a little short when the span of the data holds few memories:
//! ten memories cost some percent of coverage.

mod estimate;
mod process;
mod sandwich;
mod times;
mod whitener;

pub use estimate::{AutocorrelationFit, AutocorrelationSettings, Criterion};
pub use process::Car1;
pub use times::Times;
pub use whitener::{Whitened, Whitener};
