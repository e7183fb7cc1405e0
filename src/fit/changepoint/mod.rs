//! A sudden lasting step in a series with correlated errors: is there one, when, and how large?
//!
//! ```text
//! y = X b + delta [t after the split] + e,   cov(e) = C, or sigma^2 C with sigma estimated
//! ```
//!
//! X holds what else may go on, such as a constant and a straight drift. A split lies between two consecutive distinct times.
//! For each, generalised least squares gives the step and twice its log-likelihood ratio
//!
//! ```text
//! T_s = (delta_s / se_s)^2            C as it stands
//! T_s = n ln(RSS_0 / RSS_s)           sigma estimated
//! ```
//!
//! The largest T over all splits is large even where nothing happened, because it was searched for; how large, depends on the
//! number and spacing of the times, on X and on C. So its distribution without a step is simulated, with the very same X and C
//! (the searched likelihood-ratio test of D. M. Hawkins, J. Am. Stat. Assoc. 72 (1977) 180, without his asymptotics). The step's errors are normal; that is the one
//! assumption beside C.

mod scan;
mod settings;
mod whitened;

pub use scan::{Scan, Split};
pub use settings::ScanSettings;
