//! When a reference is wrong rather than inexact.

assumed! {
    /// How wrong a wrong entry is, SD; likewise each pair of a probe that is not the one it is said to be.
    pub(crate) const WRONG_SD: f64 = 0.01, "SG";
    /// A reference that is off by less is no slip: so much an instrument may be off beyond its stated error.
    pub(crate) const LEAST_OFF_SG: f64 = 0.0035, "SG";
    /// An entry is named from this probability on.
    pub(crate) const NAMED: f64 = 0.75, "probability";
    /// How often a bath or the probe named for a stay is.
    pub(crate) const WRONG_BATHS: f64 = 0.01, "share";
}

/// Whether a bath is wrong rather than inexact: it is off by `off_sg`, where `se_sg` is the standard error of that
/// together with the stated one.
///
/// ```text
/// odds = w/(1 - w) N(off; 0, se^2 + WRONG_SD^2)/N(off; 0, se^2),    w = WRONG_BATHS
/// ```
pub(super) fn is_wrong(off_sg: f64, se_sg: f64) -> bool {
    let (right, wrong) = (se_sg.powi(2), se_sg.powi(2) + WRONG_SD.powi(2));
    let ln_ratio = 0.5 * (off_sg.powi(2) * (1.0 / right - 1.0 / wrong) - (wrong / right).ln());
    let odds = *WRONG_BATHS / (1.0 - *WRONG_BATHS) * ln_ratio.exp();
    odds > *NAMED / (1.0 - *NAMED) && off_sg.abs() >= *LEAST_OFF_SG
}
