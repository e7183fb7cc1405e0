//! Units of drift.

/// Days of a month, the unit of a drift rate.
pub(super) const MONTH_D: f64 = 30.0;
/// Gravity at which drift is stated.
pub(super) const AT_SG: f64 = 1.020;
