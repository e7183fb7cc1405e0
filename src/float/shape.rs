//! The usual probe: a cylinder with an end at each side.

use std::f64::consts::PI;

use crate::error::{Error, Result};

use super::profile::{Piece, Profile};
use super::wall_sided::{WallSided, tangent};

/// The end of a cylinder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum End {
    /// Cut flat.
    Flat,
    /// Half a ball.
    Hemisphere,
    /// Half an ellipsoid of this height, m.
    SemiEllipsoid {
        /// Height along the axis, m.
        height_m: f64,
    },
}

impl End {
    /// Height `b` along the axis on a cylinder of this radius, m.
    pub fn height_m(self, radius_m: f64) -> f64 {
        match self {
            Self::Flat => 0.0,
            Self::Hemisphere => radius_m,
            Self::SemiEllipsoid { height_m } => height_m,
        }
    }

    /// Shape constant of a bottom in the wall-sided form, `kappa = 1/4 - (b/r)^2/36`: 1/4 flat, 2/9 hemisphere.
    ///
    /// The round bottom's missing first moment, not only its missing volume: with 1/4 for a hemisphere SG comes out 0.002
    /// too high where hull and centre of gravity are known.
    pub fn kappa(self, radius_m: f64) -> f64 {
        0.25 - (self.height_m(radius_m) / radius_m).powi(2) / 36.0
    }

    /// Height above the nose from which a flat-bottomed cylinder of the same volume starts, `c = b/3`, m.
    pub fn start_m(self, radius_m: f64) -> f64 {
        self.height_m(radius_m) / 3.0
    }
}

/// A cylinder with two ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shape {
    radius_m: f64,
    length_m: f64,
    bottom: End,
    top: End,
}

impl Shape {
    /// A cylinder of this radius with its ends; `length_m` is overall, from nose to top.
    ///
    /// # Errors
    /// [`Error::Setting`] for a radius outside 1 mm to 1 m, a height of an end that is not positive, or ends that are
    /// together longer than the whole.
    pub fn new(radius_m: f64, length_m: f64, bottom: End, top: End) -> Result<Self> {
        let wrong = |name, value: f64, wanted| Err(Error::Setting { name, value: value.to_string(), wanted });
        if !(0.001..=1.0).contains(&radius_m) {
            return wrong("radius_m", radius_m, "0.001 to 1 m");
        }
        for end in [bottom, top] {
            if let End::SemiEllipsoid { height_m } = end
                && !(height_m > 0.0 && height_m.is_finite())
            {
                return wrong("height_m", height_m, "a positive height of the end");
            }
        }
        let ends = bottom.height_m(radius_m) + top.height_m(radius_m);
        if !(length_m > ends && length_m <= 10.0) {
            return wrong("length_m", length_m, "more than both ends together, at most 10 m");
        }
        Ok(Self { radius_m, length_m, bottom, top })
    }

    /// Outer radius, m.
    pub fn radius_m(&self) -> f64 {
        self.radius_m
    }

    /// Length from nose to top, m.
    pub fn length_m(&self) -> f64 {
        self.length_m
    }

    /// The bottom.
    pub fn bottom(&self) -> End {
        self.bottom
    }

    /// The top.
    pub fn top(&self) -> End {
        self.top
    }

    /// The same body as a profile.
    pub fn profile(&self) -> Profile {
        let radius_m = self.radius_m;
        let (low, high) = (self.bottom.height_m(radius_m), self.top.height_m(radius_m));
        let body = Piece::Cylinder { radius_m, length_m: self.length_m - low - high };
        let nose = (low > 0.0).then_some(Piece::Nose { radius_m, length_m: low });
        let cap = (high > 0.0).then_some(Piece::Cap { radius_m, length_m: high });
        Profile::of_checked(nose.into_iter().chain([body]).chain(cap).collect())
    }

    /// The wall-sided form of this shape with a mass and its centre of gravity (off the axis; above the nose).
    pub fn wall_sided(&self, mass_kg: f64, cg_offset_m: f64, cg_height_m: f64) -> WallSided {
        let r = self.radius_m;
        WallSided {
            k_kg_m3: mass_kg / (PI * r.powi(3)),
            h: (cg_height_m - self.bottom.start_m(r)) / r,
            eps: cg_offset_m / r,
            kappa: self.bottom.kappa(r),
        }
    }

    /// Centre of gravity (off the axis; above the nose, m) that a wall-sided form means on this shape.
    pub fn centre_of_gravity(&self, wall: &WallSided) -> (f64, f64) {
        (wall.eps * self.radius_m, wall.h * self.radius_m + self.bottom.start_m(self.radius_m))
    }

    /// Where the water plane meets the cylinder's wall at its low and its high side, m above the nose, if it meets the
    /// wall alone.
    pub fn water_edges_m(&self, mass_kg: f64, density_kg_m3: f64, tilt_deg: f64) -> Result<(f64, f64)> {
        let t = tangent("the wall-sided float", tilt_deg)?;
        let axis = self.axis_m(mass_kg, density_kg_m3)?;
        Ok((axis - self.radius_m * t, axis + self.radius_m * t))
    }

    /// True when the water plane cuts only the cylinder at this tilt, so that the wall-sided form holds: the high edge
    /// below the top, the low edge above the bottom.
    ///
    /// # Errors
    /// [`Error::Domain`] for a tilt outside 0 to 90 degrees, or a mass or density that is not positive.
    pub fn wall_sided_holds(&self, mass_kg: f64, density_kg_m3: f64, tilt_deg: f64) -> Result<bool> {
        let (low, high) = self.water_edges_m(mass_kg, density_kg_m3, tilt_deg)?;
        let r = self.radius_m;
        Ok(low >= self.bottom.height_m(r) && high <= self.length_m - self.top.height_m(r))
    }

    /// Tilt above which the top gets wet in a liquid of this density, degrees.
    ///
    /// # Errors
    /// [`Error::Domain`] for a mass or density that is not positive.
    pub fn top_wets_deg(&self, mass_kg: f64, density_kg_m3: f64) -> Result<f64> {
        let free = self.length_m - self.top.height_m(self.radius_m) - self.axis_m(mass_kg, density_kg_m3)?;
        Ok(free.max(0.0).atan2(self.radius_m).to_degrees())
    }

    /// Height where the water plane cuts the axis.
    fn axis_m(&self, mass_kg: f64, density_kg_m3: f64) -> Result<f64> {
        let formula = "the wall-sided float";
        let mass = Error::check_domain(formula, "mass", "kg", mass_kg, f64::MIN_POSITIVE, f64::MAX)?;
        let rho = Error::check_domain(formula, "density", "kg/m3", density_kg_m3, f64::MIN_POSITIVE, f64::MAX)?;
        Ok(mass / (rho * PI * self.radius_m.powi(2)) + self.bottom.start_m(self.radius_m))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shape_that_cannot_be_is_refused() {
        for (r, l, b) in [
            (0.0, 0.1, End::Flat),
            (f64::NAN, 0.1, End::Flat),
            (0.018, 0.018, End::Hemisphere),
            (0.018, f64::NAN, End::Flat),
            (0.018, 0.1, End::SemiEllipsoid { height_m: -0.01 }),
        ] {
            assert!(matches!(Shape::new(r, l, b, End::Flat), Err(Error::Setting { .. })), "{r} {l} {b:?}");
        }
    }

    #[test]
    fn centre_of_gravity_and_wall_sided_form_are_each_other_s_inverse() {
        let shape = Shape::new(0.018, 0.14, End::Hemisphere, End::Flat).unwrap();
        let wall = shape.wall_sided(0.1, 0.00144, 0.05295);
        let (e, z) = shape.centre_of_gravity(&wall);
        assert!((e - 0.00144).abs() < 1e-15 && (z - 0.05295).abs() < 1e-15);
    }
}
