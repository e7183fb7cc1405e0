//! The wall-sided float, its size known or free.

use crate::calibration::curve::{CalibrationCurve, CurvePoint, CurveShape, MOST_COEFFICIENTS};
use crate::calibration::fit_data::{FitPoint, FloatPrior, TYPICAL_K};
use crate::error::{Error, Result};
use crate::float::WallSided;

use super::definition::{CoefficientPrior, CoefficientRule, KindFacts, line_through};

/// Unit of the tilt beyond where a top may begin to wet, degrees.
const WET_UNIT_DEG: f64 = 10.0;

assumed! {
    /// Where a top may begin to wet.
    const WET_FROM_DEG: f64 = 50.0, "degrees";
    /// Prior SD of what a wet top adds: from nothing on a long float to -1.7 on a short one.
    const WET_TOP_SD_KG_M3: f64 = 1.5, "kg/m3";
}

pub(super) const FACTS: KindFacts = KindFacts {
    name: "wall_sided",
    words: "floating cylinder",
    label: "cylinder",
    colour: 1,
    coefficients: &[
        CoefficientRule::size("k_kg_m3"),
        CoefficientRule::free("h"),
        CoefficientRule::within("eps", 1e-6, 10.0),
        CoefficientRule::free("wet_top_kg_m3"),
    ],
    is_float: true,
    priors: |known| Ok(priors(size(known)?, true)),
    start: |points, known| start(points, known.kappa, size(known)?.0),
    curve,
};

pub(super) const FREE_FACTS: KindFacts = KindFacts {
    name: "wall_sided_free_k",
    words: "floating cylinder, size free",
    label: "free size",
    priors: |_| Ok(priors(TYPICAL_K, false)),
    start: |points, known| start(points, known.kappa, TYPICAL_K.0),
    ..FACTS
};

/// K and its relative standard deviation, measured.
fn size(known: &FloatPrior) -> Result<(f64, f64)> {
    known.k_known.ok_or_else(|| Error::not_estimable("the curve wall_sided", "mass or diameter is not known"))
}

/// K by its mean and relative standard deviation, and the top that may wet.
fn priors((mean, sd): (f64, f64), measured: bool) -> Vec<Option<CoefficientPrior>> {
    let wet_top = CoefficientPrior { mean: 0.0, sd: *WET_TOP_SD_KG_M3, measured: false };
    vec![Some(CoefficientPrior { mean, sd, measured }), None, None, Some(wet_top)]
}

/// By the straight line `y = eps + h t` that a known K gives; K starts at its prior.
fn start(points: &[FitPoint], kappa: f64, k_kg_m3: f64) -> Result<Vec<f64>> {
    let place = |p: &FitPoint| WallSided::line_point(p.tilt_deg, p.density_kg_m3, k_kg_m3, kappa);
    let [eps, h] = line_through(points.iter().map(place))?;
    Ok(vec![k_kg_m3, h, eps, 0.0])
}

fn curve(coefficients: [f64; MOST_COEFFICIENTS], known: &FloatPrior) -> Result<CalibrationCurve> {
    let [k_kg_m3, h, eps, wet_top_kg_m3] = coefficients;
    Ok(CalibrationCurve::of_wall_sided(WallSided { k_kg_m3, h, eps, kappa: known.kappa }, wet_top_kg_m3))
}

impl CalibrationCurve {
    /// The wall-sided float, and what a top that wets may add: `wet_top ((tilt - 50 deg)/10 deg)^3` beyond 50 degrees. On a
    /// short float that is -1.7 kg/m3, on a long one 0 (by the general hull, to SG 1.100).
    pub(crate) fn of_wall_sided(float: WallSided, wet_top_kg_m3: f64) -> Self {
        Self::new([float.k_kg_m3, float.h, float.eps, wet_top_kg_m3], WallSidedShape { float, wet_top_kg_m3 })
    }
}

#[derive(Debug)]
struct WallSidedShape {
    float: WallSided,
    wet_top_kg_m3: f64,
}

impl CurveShape for WallSidedShape {
    fn at(&self, tilt_deg: f64) -> Option<CurvePoint> {
        let at = self.float.gradient(tilt_deg).ok()?;
        let wet = ((tilt_deg - *WET_FROM_DEG) / WET_UNIT_DEG).max(0.0);
        Some(CurvePoint {
            density_kg_m3: at.density_kg_m3 + self.wet_top_kg_m3 * wet.powi(3),
            per_deg: at.by_tilt_deg + 3.0 * self.wet_top_kg_m3 * wet * wet / WET_UNIT_DEG,
            gradient: [at.by_k, at.by_h, at.by_eps, wet.powi(3)],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wall_sided_curve_and_its_inverse_undo_each_other() {
        let float = WallSided { k_kg_m3: 5458.0, h: 2.609, eps: 0.0797, kappa: 2.0 / 9.0 };
        let wall = CalibrationCurve::of_wall_sided(float, -1.7);
        for tilt in [20.0, 40.0, 60.0] {
            let density = wall.at(tilt).unwrap().density_kg_m3;
            assert!((wall.tilt_deg(density).unwrap() - tilt).abs() < 1e-8, "{wall:?} {tilt}");
        }
    }
}
