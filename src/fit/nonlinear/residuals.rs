//! What is minimised.

use ndarray::ArrayViewMut2;

use crate::Result;

/// A least-squares problem: residuals and their derivatives.
///
/// Residuals are standardised: (observed - fitted) / standard deviation, or any function whose squares are to be summed.
pub trait Residuals {
    /// How many residuals there are.
    fn count(&self) -> usize;

    /// Writes the residuals at `parameters` (all of them, in the order of the fit) into `out`, of length [`Self::count`].
    ///
    /// # Errors
    /// Where the model has no value. At a trial step an error only makes the step shorter; at the start it ends the fit.
    fn residuals(&self, parameters: &[f64], out: &mut [f64]) -> Result<()>;

    /// Writes d residual_i / d parameter_j into row i, column j of `out`.
    fn jacobian(&self, parameters: &[f64], out: ArrayViewMut2<'_, f64>) -> Result<()>;
}
