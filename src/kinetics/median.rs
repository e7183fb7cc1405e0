//! The median.

use crate::fit::robust::median_of;

/// The median of values, which are put in another order; not a number where there are none.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    median_of(values).unwrap_or(f64::NAN)
}
