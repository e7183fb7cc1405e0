//! Density as a polynomial in tilt.

use crate::calibration::curve::{CalibrationCurve, CurvePoint, CurveShape, MOST_COEFFICIENTS};
use crate::calibration::fit_data::FitPoint;
use crate::error::Result;
use crate::fit::linear::LinearSettings;

use super::definition::{CoefficientRule, KindFacts};

/// Centre and unit of the tilt, degrees.
const CENTRE_DEG: f64 = 45.0;
const UNIT_DEG: f64 = 20.0;

pub(super) const CUBIC: KindFacts = KindFacts {
    name: "polynomial_3",
    words: "cubic",
    label: "cubic",
    colour: 4,
    coefficients: &[
        CoefficientRule::free("b0_kg_m3"),
        CoefficientRule::free("b1_kg_m3"),
        CoefficientRule::free("b2_kg_m3"),
        CoefficientRule::free("b3_kg_m3"),
    ],
    is_float: false,
    priors: |_| Ok(vec![None; 4]),
    start: |points, _| start(points, 3),
    curve: |coefficients, _| Ok(CalibrationCurve::polynomial(coefficients)),
};

#[cfg(test)]
pub(super) const LINE: KindFacts = KindFacts {
    name: "polynomial_1",
    coefficients: &[CoefficientRule::free("b0_kg_m3"), CoefficientRule::free("b1_kg_m3")],
    priors: |_| Ok(vec![None; 2]),
    start: |points, _| start(points, 1),
    ..CUBIC
};

/// The straight least-squares fit of density on powers of the tilt, by linfa.
fn start(points: &[FitPoint], degree: i32) -> Result<Vec<f64>> {
    let power = |power: i32| points.iter().map(|p| ((p.tilt_deg - CENTRE_DEG) / UNIT_DEG).powi(power)).collect();
    let powers: Vec<Vec<f64>> = (1..=degree).map(power).collect();
    let columns: Vec<(&str, &[f64])> = ["u", "u2", "u3"].into_iter().zip(powers.iter().map(Vec::as_slice)).collect();
    let density: Vec<f64> = points.iter().map(|p| p.density_kg_m3).collect();
    let line = LinearSettings::default().fit(&columns, &density, None)?;
    Ok(line.coefficients.to_vec())
}

impl CalibrationCurve {
    /// `rho = sum_j b_j u^j`, u = (tilt - 45 deg)/20 deg.
    pub(crate) fn polynomial(b: [f64; MOST_COEFFICIENTS]) -> Self {
        Self::new(b, Polynomial(b))
    }
}

#[derive(Debug)]
struct Polynomial([f64; MOST_COEFFICIENTS]);

impl CurveShape for Polynomial {
    fn at(&self, tilt_deg: f64) -> Option<CurvePoint> {
        let u = (tilt_deg - CENTRE_DEG) / UNIT_DEG;
        let [b0, b1, b2, b3] = self.0;
        Some(CurvePoint {
            density_kg_m3: b0 + u * (b1 + u * (b2 + u * b3)),
            per_deg: (b1 + u * (2.0 * b2 + u * 3.0 * b3)) / UNIT_DEG,
            gradient: [1.0, u, u * u, u * u * u],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cubic_and_its_inverse_undo_each_other() {
        let cubic = CalibrationCurve::polynomial([1040.0, 37.0, 9.0, 1.5]);
        for tilt in [20.0, 40.0, 60.0] {
            let density = cubic.at(tilt).unwrap().density_kg_m3;
            assert!((cubic.tilt_deg(density).unwrap() - tilt).abs() < 1e-8, "{cubic:?} {tilt}");
        }
        assert_eq!(cubic.tilt_deg(500.0), None);
    }

    #[test]
    fn where_a_polynomial_falls_it_has_no_density() {
        let parabola = CalibrationCurve::polynomial([1040.0, 30.0, -12.0, 0.0]);
        assert!(parabola.at(60.0).is_some() && parabola.at(75.0).is_none());
    }
}
