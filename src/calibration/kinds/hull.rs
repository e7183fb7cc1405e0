//! The general hull of the probe's shape, its mass known.

use std::cell::RefCell;

use crate::calibration::curve::{CalibrationCurve, CurvePoint, CurveShape, MOST_COEFFICIENTS};
use crate::calibration::fit_data::{FitPoint, FloatPrior, HullPrior};
use crate::error::{Error, Result};
use crate::float::{Hull, HullGradient, TiltCuts};

use super::definition::{CoefficientPrior, CoefficientRule, KindFacts, line_through};

const GRAMS_PER_KG: f64 = 1000.0;
const MM_PER_M: f64 = 1000.0;

pub(super) const FACTS: KindFacts = KindFacts {
    name: "hull",
    words: "floating hull",
    label: "hull",
    colour: 0,
    coefficients: &[
        CoefficientRule::size("mass_g"),
        CoefficientRule::within("cg_offset_mm", 1e-4, 1e3),
        CoefficientRule::free("cg_height_mm"),
    ],
    is_float: true,
    priors,
    start,
    curve,
};

fn hull(known: &FloatPrior) -> Result<&HullPrior> {
    let why = "mass, diameter or length is not known, or the ends do not fit the length";
    known.hull.as_ref().ok_or_else(|| Error::not_estimable("the curve hull", why))
}

fn priors(known: &FloatPrior) -> Result<Vec<Option<CoefficientPrior>>> {
    let hull = hull(known)?;
    let mass = CoefficientPrior { mean: GRAMS_PER_KG * hull.mass_kg, sd: hull.relative_sd, measured: true };
    Ok(vec![Some(mass), None, None])
}

/// Its centre of gravity lies on the straight line `y = e + z_g t`.
fn start(points: &[FitPoint], known: &FloatPrior) -> Result<Vec<f64>> {
    let hull = hull(known)?;
    let place = |p: &FitPoint| Hull::line_point(&hull.profile, hull.mass_kg, p.tilt_deg, p.density_kg_m3);
    let [offset, height] = line_through(points.iter().map(place))?;
    Ok(vec![GRAMS_PER_KG * hull.mass_kg, MM_PER_M * offset, MM_PER_M * height])
}

fn curve([mass_g, offset_mm, height_mm, _]: [f64; MOST_COEFFICIENTS], known: &FloatPrior) -> Result<CalibrationCurve> {
    let (coefficients, hull) = ([mass_g, offset_mm, height_mm, 0.0], hull(known)?);
    Ok(CalibrationCurve::new(coefficients, HullTable::new(&hull_of(hull, coefficients), &hull.degrees)?))
}

/// The hull by its tangent at the nearest bath: the quadrature is dear, and the adjusted tilt of a bath lies within a
/// fraction of a degree of the measured one, where the tangent is right to 0.01 kg/m3.
pub(super) struct HullTrial<'a> {
    hull: &'a HullPrior,
    tilts: Vec<TiltCuts>,
    /// The last coefficients asked for, and the hull with them at the baths' tilts.
    last: RefCell<([f64; MOST_COEFFICIENTS], Vec<Option<CurvePoint>>)>,
}

impl<'a> HullTrial<'a> {
    pub(super) fn new(hull: &'a HullPrior, tilts_deg: &[f64]) -> Self {
        let tilts = tilts_deg.iter().map(|tilt_deg| TiltCuts::new(&hull.profile, *tilt_deg)).collect();
        Self { hull, tilts, last: RefCell::default() }
    }

    /// The curve with these coefficients at a tilt; none where it has no value.
    pub(super) fn at(&self, tilt_deg: f64, coefficients: [f64; MOST_COEFFICIENTS]) -> Option<CurvePoint> {
        let mut last = self.last.borrow_mut();
        if last.0.map(f64::to_bits) != coefficients.map(f64::to_bits) {
            let hull = hull_of(self.hull, coefficients);
            let at = |cuts: &TiltCuts| hull.gradient_by(cuts).ok().map(|at| point_of(&at));
            *last = (coefficients, self.tilts.iter().map(at).collect());
        }
        let away = |cuts: &TiltCuts| (cuts.tilt_deg - tilt_deg).abs();
        let (cuts, point) = self.tilts.iter().zip(&last.1).min_by(|a, b| away(a.0).total_cmp(&away(b.0)))?;
        let mut at = (*point)?;
        at.density_kg_m3 += at.per_deg * (tilt_deg - cuts.tilt_deg);
        Some(at)
    }
}

/// A hull's density and its derivatives by tilt, mass and centre of gravity, at whole degrees; between them a cubic
/// through values and slopes for the density (within 1e-5 of SG), straight lines for the derivatives.
#[derive(Debug, Clone, PartialEq)]
struct HullTable {
    lowest_deg: f64,
    points: Vec<CurvePoint>,
}

impl HullTable {
    /// Tabulates the longest stretch of these tilts, whole degrees, from the lowest at which the hull rests.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] when it rests at no two neighbouring degrees.
    fn new(hull: &Hull, degrees: &[TiltCuts]) -> Result<Self> {
        let mut lowest_deg = 0.0;
        let mut points: Vec<CurvePoint> = Vec::new();
        for cuts in degrees {
            match hull.gradient_by(cuts) {
                Ok(at) => {
                    if points.is_empty() {
                        lowest_deg = cuts.tilt_deg;
                    }
                    points.push(point_of(&at));
                }
                Err(_) if points.is_empty() => {}
                Err(_) => break,
            }
        }
        if points.len() < 2 {
            return Err(Error::not_estimable("the curve of a hull", "it rests at no range of tilts"));
        }
        Ok(Self { lowest_deg, points })
    }
}

impl CurveShape for HullTable {
    /// None outside the table.
    fn at(&self, tilt_deg: f64) -> Option<CurvePoint> {
        let place = tilt_deg - self.lowest_deg;
        let last = self.points.len().checked_sub(2)?;
        if !(place >= 0.0 && place <= (last + 1) as f64) {
            return None;
        }
        let cell = (place as usize).min(last);
        let x = place - cell as f64;
        let (a, b) = (self.points.get(cell)?, self.points.get(cell + 1)?);
        let rise = b.density_kg_m3 - a.density_kg_m3;
        // Hermite: values and slopes at both ends, one degree apart.
        let (c2, c3) = (3.0 * rise - 2.0 * a.per_deg - b.per_deg, a.per_deg + b.per_deg - 2.0 * rise);
        let mut gradient = a.gradient;
        for (cell, end) in gradient.iter_mut().zip(b.gradient) {
            *cell += x * (end - *cell);
        }
        Some(CurvePoint {
            density_kg_m3: a.density_kg_m3 + x * (a.per_deg + x * (c2 + x * c3)),
            per_deg: a.per_deg + x * (2.0 * c2 + 3.0 * x * c3),
            gradient,
        })
    }
}

/// Derivatives by g and mm.
fn point_of(at: &HullGradient) -> CurvePoint {
    CurvePoint {
        density_kg_m3: at.density_kg_m3,
        per_deg: at.by_tilt_deg,
        gradient: [at.by_mass_kg / GRAMS_PER_KG, at.by_cg_offset_m / MM_PER_M, at.by_cg_height_m / MM_PER_M, 0.0],
    }
}

fn hull_of(known: &HullPrior, [mass_g, offset_mm, height_mm, _]: [f64; MOST_COEFFICIENTS]) -> Hull {
    Hull::new(known.profile.clone(), mass_g / GRAMS_PER_KG, offset_mm / MM_PER_M, height_mm / MM_PER_M)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::float::{End, Shape};

    #[test]
    fn the_table_meets_the_hull_between_its_degrees() {
        let shape = Shape::new(0.018, 0.130, End::Hemisphere, End::Flat).unwrap();
        let hull = Hull::through(shape.profile(), 0.110, [(25.0, 998.2), (65.0, 1098.0)]).unwrap();
        let prior = HullPrior::new(hull.profile.clone(), 0.110, 0.01);
        let table = HullTable::new(&hull, &prior.degrees).unwrap();
        for i in 0..90 {
            let tilt = 20.3 + 0.5 * f64::from(i);
            let (Some(at), Ok(exact)) = (table.at(tilt), hull.gradient(tilt)) else { panic!("no value at {tilt}") };
            let exact = point_of(&exact);
            assert!((at.density_kg_m3 - exact.density_kg_m3).abs() < 0.02, "{tilt}");
            assert!((at.per_deg / exact.per_deg - 1.0).abs() < 0.02, "{tilt}");
            for (a, b) in at.gradient.iter().zip(&exact.gradient).take(3) {
                assert!((a / b - 1.0).abs() < 0.01, "{tilt}: {a} {b}");
            }
        }
        assert!(table.at(1.0).is_none() && table.at(88.0).is_none());
    }
}
