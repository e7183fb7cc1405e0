//! Control charts: when did errors that should scatter about zero stop doing so?
//!
//! Both charts take *standardised* errors: independent, of mean 0 and standard deviation 1 as long as the process is under
//! control. Standardising, with all that is known of each error's variance, is the caller's work; correlated errors are
//! whitened first (see [`super::autocorrelation`]).
//!
//! - [`Ewma`]: a weighted mean of what was seen, the newest most. Sees small lasting departures; its limits allow for uneven
//!   spacing of the times.
//! - [`Cusum`]: the sum of what exceeds an allowance. Made for a step of a known size; it also dates the step.

mod cusum;
mod ewma;
mod settings;

pub use cusum::{Cusum, Side, Signal};
pub use ewma::Ewma;
pub use settings::ChartSettings;

use crate::{Error, Result};

/// Refuses series of different lengths, values that are not finite, and times that run backwards.
fn check(times_d: &[f64], errors: &[f64]) -> Result<()> {
    if times_d.len() != errors.len() {
        return Err(Error::Usage(format!("{} times for {} errors", times_d.len(), errors.len())));
    }
    let what = "a control chart";
    if errors.is_empty() {
        return Err(Error::not_estimable(what, "there are no errors to chart"));
    }
    if let Some(row) = times_d.iter().zip(errors).position(|(t, z)| !(t.is_finite() && z.is_finite())) {
        return Err(Error::not_estimable(what, format!("the time or the error of row {row} is not a finite number")));
    }
    if times_d.windows(2).any(|pair| matches!(pair, [a, b] if b < a)) {
        return Err(Error::Usage("the times of a control chart must not run backwards".to_owned()));
    }
    Ok(())
}
