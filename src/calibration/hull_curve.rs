//! The curve of a general hull, as a table with derivatives for many readings.

use crate::error::{Error, Result};
use crate::float::{Hull, HullGradient};

use super::curve::{CurvePoint, MOST_COEFFICIENTS};

const GRAMS_PER_KG: f64 = 1000.0;
const MM_PER_M: f64 = 1000.0;
/// Whole degrees that the table may hold.
const DEGREES: std::ops::RangeInclusive<u32> = 2..=86;

/// A hull's density and its derivatives by tilt, mass and centre of gravity, at whole degrees; between them a cubic
/// through values and slopes for the density (within 1e-5 of SG), straight lines for the derivatives.
#[derive(Debug, Clone, PartialEq)]
pub struct HullTable {
    hull: Hull,
    lowest_deg: f64,
    points: Vec<CurvePoint>,
}

impl HullTable {
    /// Tabulates the longest stretch of tilts from the lowest at which the hull rests.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] when it rests at no two neighbouring degrees.
    pub fn new(hull: Hull) -> Result<Self> {
        let mut lowest_deg = 0.0;
        let mut points: Vec<CurvePoint> = Vec::new();
        for degree in DEGREES {
            let tilt_deg = f64::from(degree);
            match hull.gradient(tilt_deg) {
                Ok(at) => {
                    if points.is_empty() {
                        lowest_deg = tilt_deg;
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
        Ok(Self { hull, lowest_deg, points })
    }

    /// The hull.
    pub fn hull(&self) -> &Hull {
        &self.hull
    }

    /// Mass in g, centre of gravity off the axis and above the nose in mm.
    pub(super) fn coefficients(&self) -> [f64; MOST_COEFFICIENTS] {
        let hull = &self.hull;
        [GRAMS_PER_KG * hull.mass_kg, MM_PER_M * hull.cg_offset_m, MM_PER_M * hull.cg_height_m, 0.0]
    }

    /// The curve at a tilt; none outside the table.
    pub(super) fn at(&self, tilt_deg: f64) -> Option<CurvePoint> {
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
        Some(CurvePoint {
            density_kg_m3: a.density_kg_m3 + x * (a.per_deg + x * (c2 + x * c3)),
            per_deg: a.per_deg + x * (2.0 * c2 + 3.0 * x * c3),
            gradient: std::array::from_fn(|j| {
                let at = |p: &CurvePoint| p.gradient.get(j).copied().unwrap_or_default();
                at(a) + x * (at(b) - at(a))
            }),
        })
    }
}

/// Derivatives by g and mm.
pub(super) fn point_of(at: &HullGradient) -> CurvePoint {
    CurvePoint {
        density_kg_m3: at.density_kg_m3,
        per_deg: at.by_tilt_deg,
        gradient: [at.by_mass_kg / GRAMS_PER_KG, at.by_cg_offset_m / MM_PER_M, at.by_cg_height_m / MM_PER_M, 0.0],
    }
}

/// The hull of a profile with these coefficients.
pub(super) fn hull_of(profile: &crate::float::Profile, mass_g: f64, offset_mm: f64, height_mm: f64) -> Hull {
    Hull::new(profile.clone(), mass_g / GRAMS_PER_KG, offset_mm / MM_PER_M, height_mm / MM_PER_M)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::float::{End, Shape};

    #[test]
    fn the_table_meets_the_hull_between_its_degrees() {
        let shape = Shape::new(0.018, 0.130, End::Hemisphere, End::Flat).unwrap();
        let hull = Hull::through(shape.profile(), 0.110, [(25.0, 998.2), (65.0, 1098.0)]).unwrap();
        let table = HullTable::new(hull.clone()).unwrap();
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
