//! One curve on one batch, beside the others.

use super::curve::FermentationCurve;

/// One curve on one batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The curve.
    pub curve: FermentationCurve,
    /// Points it was fitted to.
    pub n: usize,
    /// Parameters that the data determine, those of the error model included.
    pub parameters: Option<f64>,
    /// Akaike's criterion corrected for the number of points, on the correlated likelihood.
    pub aicc: Option<f64>,
    /// Akaike weight: 0 without a criterion.
    pub akaike_weight: f64,
    /// Root mean square of the residuals, SG.
    pub rmse_sg: Option<f64>,
    /// Points in the last two fifths of the time, foretold from the first three.
    pub forward_n: usize,
    /// Root mean square of the errors of what was foretold, SG.
    pub forward_rmse_sg: Option<f64>,
    /// True for the curve that was taken.
    pub chosen: bool,
    /// Why something is missing, or why this curve was taken.
    pub why: String,
}
