//! What a plain form tells of the share left, as `exp(-h(x))`.

use std::sync::Arc;

/// `h` at one place.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Hazard {
    /// `h(x)`: minus the logarithm of the share left.
    pub h: f64,
    /// `h'(x)`.
    pub slope: f64,
    /// Derivatives of `h` by ln steepness and ln asymmetry.
    pub by: [f64; 2],
}

/// A plain form with its constants.
pub(super) trait ShareLeft: std::fmt::Debug + Send + Sync {
    /// `h` with its derivatives at `x >= 0`.
    fn at(&self, x: f64) -> Hazard;

    /// The `x` at which `h` is reached.
    fn inverse(&self, h: f64) -> f64;

    /// Where `exp(-h)` falls fastest, where that has a closed form.
    fn steepest(&self) -> Option<f64>;
}

/// Any plain form.
pub(super) type PlainForm = Arc<dyn ShareLeft>;
