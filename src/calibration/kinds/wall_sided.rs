//! The wall-sided float, its size known or free.

use crate::calibration::curve::{CalibrationCurve, CurvePoint, CurveShape, MOST_COEFFICIENTS};
use crate::calibration::fit_data::{FitPoint, FloatPrior};
use crate::error::{Error, Result};
use crate::fit::Scale;
use crate::fit::linear::LinearSettings;
use crate::float::WallSided;

use super::definition::{CoefficientPrior, CoefficientRule, CurveDefinition, CurveLine};

/// Where a top may begin to wet, and the unit of the tilt beyond, degrees.
const WET_FROM_DEG: f64 = 50.0;
const WET_UNIT_DEG: f64 = 10.0;
/// Prior SD of what a wet top adds, kg/m3: from nothing on a long float to -1.7 on a short one.
const WET_TOP_SD_KG_M3: f64 = 1.5;

/// The wall-sided float, with K known from mass and diameter or with a weak prior of K.
#[derive(Debug)]
pub(super) struct WallSidedKind {
    /// Whether K is free.
    pub free: bool,
}

impl WallSidedKind {
    /// K and its relative standard deviation before the baths.
    fn size(&self, known: &FloatPrior) -> Result<(f64, f64)> {
        if self.free {
            return Ok(known.k_weak);
        }
        let what = || format!("the curve {}", self.name());
        known.k_known.ok_or_else(|| Error::not_estimable(what(), "mass or diameter is not known"))
    }
}

impl CurveDefinition for WallSidedKind {
    fn name(&self) -> &'static str {
        if self.free { "wall_sided_free_k" } else { "wall_sided" }
    }

    fn words(&self) -> &'static str {
        if self.free { "floating cylinder, size free" } else { "floating cylinder" }
    }

    fn label(&self) -> &'static str {
        if self.free { "free size" } else { "cylinder" }
    }

    fn line(&self) -> CurveLine {
        CurveLine { colour: 1, broken: self.free }
    }

    fn coefficients(&self) -> &'static [CoefficientRule] {
        const {
            &[
                CoefficientRule::size("k_kg_m3"),
                CoefficientRule::free("h"),
                CoefficientRule::within("eps", 1e-6, 10.0),
                CoefficientRule::free("wet_top_kg_m3"),
            ]
        }
    }

    fn is_float(&self) -> bool {
        true
    }

    fn priors(&self, known: &FloatPrior) -> Result<Vec<Option<CoefficientPrior>>> {
        let (mean, sd) = self.size(known)?;
        let size = CoefficientPrior { mean, sd, measured: !self.free };
        let wet_top = CoefficientPrior { mean: 0.0, sd: WET_TOP_SD_KG_M3, measured: false };
        Ok(vec![Some(size), None, None, Some(wet_top)])
    }

    /// By the straight line `y = eps + h t` that a known K gives; K starts at its prior.
    fn start(&self, points: &[FitPoint], known: &FloatPrior) -> Result<Vec<f64>> {
        let (k, _) = self.size(known)?;
        let place = |p: &FitPoint| WallSided::line_point(p.tilt_deg, p.density_kg_m3, k, known.kappa);
        let line: Vec<(f64, f64)> = points.iter().map(place).collect::<Result<_>>()?;
        let (t, y): (Vec<f64>, Vec<f64>) = line.into_iter().unzip();
        let start = LinearSettings { intercept: true, scale: Scale::Known }.fit(&[("h", &t)], &y, None)?;
        let (h, eps) = (start.value("h")?, start.value("intercept")?);
        if eps.is_nan() || eps <= 0.0 {
            return Err(Error::not_estimable(
                "the wall-sided curve",
                "the tilts do not rise with density as a float's do (its centre of gravity would lie on the light side)",
            ));
        }
        Ok(vec![k, h, eps, 0.0])
    }

    fn curve(&self, coefficients: [f64; MOST_COEFFICIENTS], known: &FloatPrior) -> Result<CalibrationCurve> {
        let [k_kg_m3, h, eps, wet_top_kg_m3] = coefficients;
        Ok(CalibrationCurve::of_wall_sided(WallSided { k_kg_m3, h, eps, kappa: known.kappa }, wet_top_kg_m3))
    }
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
        let wet = ((tilt_deg - WET_FROM_DEG) / WET_UNIT_DEG).max(0.0);
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
