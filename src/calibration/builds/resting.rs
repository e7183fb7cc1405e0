//! A probe at rest, cut through along its axis.

use crate::error::Result;
use crate::float::Rest;
use crate::liquid::WATER_20C_KG_M3;

use super::result::Build;

/// Steps along the outline.
const OUTLINE: usize = 60;
/// How much of a float of unknown length is shown above the water, m.
const SHOWN_ABOVE_M: f64 = 0.03;
const MM: f64 = 1000.0;

/// A cut through a float at rest. Places are in mm, across and up, from where the water line crosses the float's axis; the
/// heavy side lies at the right.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Resting {
    /// The heavy side from the nose up, then the light side from the top down.
    pub(crate) outline: Vec<(f64, f64)>,
    /// The nose and the upper end of the axis.
    pub(crate) axis: [(f64, f64); 2],
    /// Centre of gravity.
    pub(crate) gravity: (f64, f64),
    /// Centre of buoyancy.
    pub(crate) buoyancy: (f64, f64),
    pub(crate) tilt_deg: f64,
}

impl Build {
    /// Where the centre of gravity lies: off the axis and above the nose, mm. None where the baths do not tell.
    pub(crate) fn gravity_mm(&self) -> Option<(f64, f64)> {
        self.hull.as_ref().map(|hull| (MM * hull.cg_offset_m, MM * hull.cg_height_m))
    }

    /// The probe at rest in a liquid of 20 C; none without a centre of gravity.
    ///
    /// # Errors
    /// [`crate::Error::NotEstimable`] where it does not rest in this liquid.
    pub(crate) fn resting(&self, sg: f64) -> Result<Option<Resting>> {
        let Some(hull) = &self.hull else { return Ok(None) };
        let rest: Rest = hull.rest(hull.tilt_deg(sg * WATER_20C_KG_M3)?)?;
        let (sin, cos) = rest.tilt_deg.to_radians().sin_cos();
        // The plane z = d + x t becomes level when the body turns by its tilt; the heavy side (x > 0) goes down.
        let place = |x: f64, z: f64| {
            let above = z - rest.waterline_m;
            (MM * (x * cos + above * sin), MM * (above * cos - x * sin))
        };
        let profile = &hull.profile;
        let high_edge = rest.waterline_m + profile.widest_m() * sin / cos;
        let top = if self.length_known { profile.length_m() } else { high_edge + SHOWN_ABOVE_M };
        // Steps close together at the nose, where a round bottom turns fastest.
        let heights: Vec<f64> = (0..=OUTLINE).map(|i| top * (i as f64 / OUTLINE as f64).powi(2)).collect();
        let side = |sign: f64| heights.iter().map(move |&z| (sign * profile.radius_m(z), z)).collect::<Vec<_>>();
        let outline = side(1.0).into_iter().chain(side(-1.0).into_iter().rev()).map(|(x, z)| place(x, z)).collect();
        Ok(Some(Resting {
            outline,
            axis: [place(0.0, 0.0), place(0.0, top)],
            gravity: place(hull.cg_offset_m, hull.cg_height_m),
            buoyancy: place(rest.buoyancy_offset_m, rest.buoyancy_height_m),
            tilt_deg: rest.tilt_deg,
        }))
    }
}
