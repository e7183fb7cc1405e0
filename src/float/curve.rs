//! A hull's curve as a table, for many readings.

use crate::error::{Error, Result};
use crate::liquid::solve::root;

use super::hull::Hull;

const STEP_DEG: f64 = 0.5;

/// Density and tilt of one hull as a table of exact points and slopes at half degrees, cubic (Hermite) between them.
///
/// Holds every half degree of the branch on which the float rests; between them it meets the hull within 0.001 kg/m3 (1e-6 of
/// SG) for the usual probes and beers.
#[derive(Debug, Clone, PartialEq)]
pub struct HullCurve {
    lowest_deg: f64,
    /// Density and its slope per degree, step by step.
    points: Vec<(f64, f64)>,
}

impl HullCurve {
    /// Tabulates a hull from its lowest resting tilt upward, as far as it rests.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] when the float rests at no two tilts next to each other; [`Error::Setting`] as [`Hull`].
    pub fn new(hull: &Hull) -> Result<Self> {
        let mut points = Vec::new();
        let mut lowest_deg = 0.0;
        for step in 1..=178 {
            let tilt_deg = f64::from(step) * STEP_DEG;
            match hull.gradient(tilt_deg) {
                Ok(gradient) => {
                    if points.is_empty() {
                        lowest_deg = tilt_deg;
                    }
                    points.push((gradient.density_kg_m3, gradient.by_tilt_deg));
                }
                Err(error @ Error::Setting { .. }) => return Err(error),
                Err(_) if points.is_empty() => {}
                Err(_) => break,
            }
        }
        if points.len() < 2 {
            return Err(Error::not_estimable("the curve of a float", "it rests at no range of tilts"));
        }
        Ok(Self { lowest_deg, points })
    }

    /// Lowest and highest tilt of the table, degrees.
    pub fn tilts_deg(&self) -> (f64, f64) {
        (self.lowest_deg, self.lowest_deg + STEP_DEG * (self.points.len() - 1) as f64)
    }

    /// Density at this tilt, kg/m3.
    ///
    /// # Errors
    /// [`Error::Domain`] for a tilt outside [`HullCurve::tilts_deg`].
    pub fn density_kg_m3(&self, tilt_deg: f64) -> Result<f64> {
        let (low, high) = self.tilts_deg();
        let tilt = Error::check_domain("the curve of a float", "tilt", "degrees", tilt_deg, low, high)?;
        let place = (tilt - low) / STEP_DEG;
        let cell = (place as usize).min(self.points.len() - 2);
        Ok(self.cubic(cell, place - cell as f64).0)
    }

    /// Tilt at this density, degrees: the inverse of [`HullCurve::density_kg_m3`].
    ///
    /// # Errors
    /// [`Error::Domain`] for a density outside the table; [`Error::Numeric`] for a table that holds no number there.
    pub fn tilt_deg(&self, density_kg_m3: f64) -> Result<f64> {
        let density_of = |point: Option<&(f64, f64)>| point.map_or(f64::NAN, |(density, _)| *density);
        let (low, high) = (density_of(self.points.first()), density_of(self.points.last()));
        let rho = Error::check_domain("the curve of a float", "density", "kg/m3", density_kg_m3, low, high)?;
        let above = self.points.partition_point(|(density, _)| *density <= rho);
        let cell = above.saturating_sub(1).min(self.points.len() - 2);
        let over = |x: f64| {
            let (density, slope) = self.cubic(cell, x);
            (density - rho, slope)
        };
        let x = root("the tilt of a float", (0.0, 1.0), 0.5, over)?;
        Ok(self.lowest_deg + STEP_DEG * (cell as f64 + x))
    }

    /// The cubic of a cell at `x` in 0..1, and its slope in `x`.
    fn cubic(&self, cell: usize, x: f64) -> (f64, f64) {
        let (Some((y0, d0)), Some((y1, d1))) = (self.points.get(cell), self.points.get(cell + 1)) else {
            return (f64::NAN, f64::NAN);
        };
        let (d0, d1, rise) = (d0 * STEP_DEG, d1 * STEP_DEG, y1 - y0);
        let (c2, c3) = (3.0 * rise - 2.0 * d0 - d1, d0 + d1 - 2.0 * rise);
        (y0 + x * (d0 + x * (c2 + x * c3)), d0 + x * (2.0 * c2 + 3.0 * x * c3))
    }
}
