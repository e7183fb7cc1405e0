//! Densities of many tilts by linfa's convention.

use linfa::traits::PredictInplace;
use ndarray::{Array1, ArrayBase, Data, Ix2};

use super::curve::CalibrationCurve;

/// Densities in kg/m3 of a column of tilts in degrees, of the liquid at the curve's shell temperature. They are bare
/// numbers, as the convention has it; NaN where the curve has no density, and for tables of other than one column.
/// [`super::Calibration::sg_at`] gives an estimate or the reason.
///
/// ```
/// use heelwort::calibration::CalibrationSettings;
/// use linfa::traits::Predict;
/// use ndarray::array;
///
/// let season = heelwort::season::Season::load("datasets/tern-island")?;
/// let calibrations = CalibrationSettings::default().fit(&season)?;
/// let densities = calibrations.calibrations[0].fitted.curve.predict(&array![[30.0], [45.0], [60.0]]);
/// assert!(densities[0] < densities[1] && densities[1] < densities[2]);
/// # Ok::<(), heelwort::Error>(())
/// ```
impl<D: Data<Elem = f64>> PredictInplace<ArrayBase<D, Ix2>, Array1<f64>> for CalibrationCurve {
    fn predict_inplace<'a>(&'a self, tilts_deg: &'a ArrayBase<D, Ix2>, density_kg_m3: &mut Array1<f64>) {
        let one_column = tilts_deg.ncols() == 1;
        for (cell, row) in density_kg_m3.iter_mut().zip(tilts_deg.rows()) {
            let at = row.first().filter(|_| one_column).and_then(|&tilt| self.at(tilt));
            *cell = at.map_or(f64::NAN, |at| at.density_kg_m3);
        }
    }

    fn default_target(&self, tilts_deg: &ArrayBase<D, Ix2>) -> Array1<f64> {
        Array1::from_elem(tilts_deg.nrows(), f64::NAN)
    }
}

#[cfg(test)]
mod tests {
    use linfa::traits::Predict;
    use ndarray::{Array2, array};

    use super::*;

    #[test]
    fn a_column_of_tilts_has_densities_and_other_tables_have_none() {
        let curve = CalibrationCurve::polynomial([1040.0, 40.0, 0.0, 0.0]);
        assert_eq!(curve.predict(&array![[45.0], [65.0]]), array![1040.0, 1080.0]);
        assert!(curve.predict(&Array2::zeros((2, 3))).iter().all(|density| density.is_nan()));
        assert!(curve.predict(&Array2::zeros((0, 1))).is_empty());
    }
}
