//! A fitted curve: coefficients, their covariance, and what of it other curves share.

use nalgebra::{DMatrix, Matrix4, SymmetricEigen, Vector4};

use crate::fit::Estimate;

use super::curve::{CalibrationCurve, CurvePoint, MOST_COEFFICIENTS};

/// A coefficient of a curve, by name.
#[derive(Debug, Clone, PartialEq)]
pub struct Coefficient {
    /// Its name, with the unit where it has one.
    pub name: &'static str,
    /// Its estimate.
    pub estimate: Estimate,
}

/// An error that several curves have in common: of a bath that several probes were in, of an instrument, of a weighing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SharedError {
    /// Number of the source, see [`super::Calibrations::source_name`].
    pub source: usize,
    /// What one standard deviation of the source does to the coefficients.
    pub by_coefficient: [f64; MOST_COEFFICIENTS],
}

impl SharedError {
    /// What one standard deviation of the source does to the density at a point of the curve, kg/m3.
    pub fn at(&self, at: &CurvePoint) -> f64 {
        Vector4::from(self.by_coefficient).dot(&Vector4::from(at.gradient))
    }
}

/// A fitted curve: coefficients and their covariance.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedCalibration {
    /// The curve.
    pub curve: CalibrationCurve,
    /// Its coefficients, in the order of [`super::CurveKind::coefficient_names`].
    pub coefficients: Vec<Coefficient>,
    /// Their covariance, all errors of the baths in it; unused places are 0.
    pub covariance: Matrix4<f64>,
    /// The part of it that other curves share, source by source.
    pub shared: Vec<SharedError>,
    /// Residual scale: 1 when the residuals agree with the stated SDs.
    pub scale: f64,
    /// Degrees of freedom of its intervals.
    pub df: f64,
    /// Probability of residuals at least this large when form and stated SDs are right.
    pub agreement_p: f64,
    /// Coefficients as far as the baths determine them: one that a prior helps counts in part.
    pub used: f64,
}

impl FittedCalibration {
    /// Variance of the density at a point of the curve, (kg/m3)^2.
    pub fn variance(&self, at: &CurvePoint) -> f64 {
        let gradient = Vector4::from(at.gradient);
        gradient.dot(&(self.covariance * gradient)).max(0.0)
    }
}

/// A root R of that part of a curve's covariance, R R', that no other curve shares.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct CovarianceRoot(Matrix4<f64>);

impl CovarianceRoot {
    pub fn of_own(fitted: &FittedCalibration) -> Self {
        let shared = fitted.shared.iter().map(|error| Vector4::from(error.by_coefficient));
        let own = shared.fold(fitted.covariance, |own, s| own - s * s.transpose());
        let root = root_of(&DMatrix::from_column_slice(MOST_COEFFICIENTS, MOST_COEFFICIENTS, own.as_slice()));
        Self(Matrix4::from_column_slice(root.as_slice()))
    }

    /// `R' g` of a gradient g: its squared length is the variance.
    pub fn through(&self, gradient: &[f64; MOST_COEFFICIENTS]) -> [f64; MOST_COEFFICIENTS] {
        self.0.tr_mul(&Vector4::from(*gradient)).into()
    }
}

/// A root R of a covariance R R', which may be singular.
pub(super) fn root_of(covariance: &DMatrix<f64>) -> DMatrix<f64> {
    // Coefficients differ by orders of magnitude: factorise correlations.
    let sd = covariance.diagonal().map(|variance| variance.max(0.0).sqrt());
    let scale = sd.map(|sd| if sd > 0.0 { sd } else { 1.0 });
    let eigen = SymmetricEigen::new(covariance.component_div(&(&scale * scale.transpose())));
    let roots = eigen.eigenvalues.map(|value| value.max(0.0).sqrt());
    DMatrix::from_diagonal(&sd) * eigen.eigenvectors * DMatrix::from_diagonal(&roots)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_of_a_covariance_gives_the_variance_back() {
        let rows = [[4.0, 1.0, 0.5, 0.0], [1.0, 3.0, -0.2, 0.0], [0.5, -0.2, 2.0, 0.0], [0.0; 4]];
        let covariance = Matrix4::from(rows);
        let curve = CalibrationCurve::polynomial([1000.0, 20.0, 5.0, 0.0]);
        let fitted = FittedCalibration {
            curve: curve.clone(),
            coefficients: Vec::new(),
            covariance,
            shared: Vec::new(),
            scale: 1.0,
            df: 3.0,
            used: 3.0,
            agreement_p: 1.0,
        };
        let at = curve.at(60.0).unwrap();
        let through = CovarianceRoot::of_own(&fitted).through(&at.gradient);
        let squared: f64 = through.iter().map(|x| x * x).sum();
        assert!((squared - fitted.variance(&at)).abs() < 1e-12 * squared);
    }
}
