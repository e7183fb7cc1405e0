//! A fitted curve: coefficients, their covariance, and what of it other curves share.

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
        self.by_coefficient.iter().zip(&at.gradient).map(|(s, g)| s * g).sum()
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
    pub covariance: [[f64; MOST_COEFFICIENTS]; MOST_COEFFICIENTS],
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
        let mut sum = 0.0;
        for (row, gi) in self.covariance.iter().zip(&at.gradient) {
            let inner: f64 = row.iter().zip(&at.gradient).map(|(c, gj)| c * gj).sum();
            sum += gi * inner;
        }
        sum.max(0.0)
    }
}

/// A lower triangular root L of a curve's covariance, C = L L'.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct CovarianceRoot([[f64; MOST_COEFFICIENTS]; MOST_COEFFICIENTS]);

impl CovarianceRoot {
    /// The root; a coefficient that the earlier ones determine gets a zero column.
    pub fn of(fitted: &FittedCalibration) -> Self {
        Self::of_covariance(&fitted.covariance)
    }

    /// The root of that part of the covariance that no other curve shares.
    pub fn of_own(fitted: &FittedCalibration) -> Self {
        let mut own = fitted.covariance;
        for s in fitted.shared.iter().map(|error| &error.by_coefficient) {
            for (row, a) in own.iter_mut().zip(s) {
                for (cell, b) in row.iter_mut().zip(s) {
                    *cell -= a * b;
                }
            }
        }
        Self::of_covariance(&own)
    }

    fn of_covariance(c: &[[f64; MOST_COEFFICIENTS]; MOST_COEFFICIENTS]) -> Self {
        let mut root = [[0.0; MOST_COEFFICIENTS]; MOST_COEFFICIENTS];
        for (i, own) in c.iter().enumerate() {
            let mut row = [0.0; MOST_COEFFICIENTS];
            for (j, &cij) in own.iter().enumerate().take(i + 1) {
                let done = root.get(j).filter(|_| j < i).copied().unwrap_or(row);
                let dot: f64 = row.iter().zip(&done).take(j).map(|(a, b)| a * b).sum();
                let rest = cij - dot;
                let pivot = done.get(j).copied().unwrap_or_default();
                let value = if j == i {
                    // Less than rounding leaves of a difference is nothing.
                    if rest > 1e-12 * cij { rest.sqrt() } else { 0.0 }
                } else if pivot > 0.0 {
                    rest / pivot
                } else {
                    0.0
                };
                if let Some(cell) = row.get_mut(j) {
                    *cell = value;
                }
            }
            if let Some(cell) = root.get_mut(i) {
                *cell = row;
            }
        }
        Self(root)
    }

    /// `L' g` of a gradient g: its squared length is the variance.
    pub fn through(&self, gradient: &[f64; MOST_COEFFICIENTS]) -> [f64; MOST_COEFFICIENTS] {
        let mut sum = [0.0; MOST_COEFFICIENTS];
        for (row, g) in self.0.iter().zip(gradient) {
            for (cell, l) in sum.iter_mut().zip(row) {
                *cell += l * g;
            }
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_of_a_covariance_gives_the_variance_back() {
        let covariance = [[4.0, 1.0, 0.5, 0.0], [1.0, 3.0, -0.2, 0.0], [0.5, -0.2, 2.0, 0.0], [0.0; 4]];
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
        let through = CovarianceRoot::of(&fitted).through(&at.gradient);
        let squared: f64 = through.iter().map(|x| x * x).sum();
        assert!((squared - fitted.variance(&at)).abs() < 1e-12 * squared);
    }
}
