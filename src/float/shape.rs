//! The usual probe: a cylinder with an end at each side.

use crate::error::{Result, inside};

use super::profile::{Piece, Profile};

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
    /// [`crate::Error::Setting`] for a radius outside 1 mm to 1 m, a height of an end that is not positive, or ends that are
    /// together longer than the whole.
    pub fn new(radius_m: f64, length_m: f64, bottom: End, top: End) -> Result<Self> {
        inside("radius_m", radius_m, 0.001..=1.0, "0.001 to 1 m")?;
        for end in [bottom, top] {
            if let End::SemiEllipsoid { height_m } = end {
                inside("height_m", height_m, f64::MIN_POSITIVE..=f64::MAX, "a positive height of the end")?;
            }
        }
        let ends = bottom.height_m(radius_m) + top.height_m(radius_m);
        inside("length_m", length_m, ends.next_up()..=10.0, "more than both ends together, at most 10 m")?;
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

    /// The same body as a profile.
    pub fn profile(&self) -> Profile {
        let radius_m = self.radius_m;
        let (low, high) = (self.bottom.height_m(radius_m), self.top.height_m(radius_m));
        let body = Piece::Cylinder { radius_m, length_m: self.length_m - low - high };
        let nose = (low > 0.0).then_some(Piece::Nose { radius_m, length_m: low });
        let cap = (high > 0.0).then_some(Piece::Cap { radius_m, length_m: high });
        Profile::of_checked(nose.into_iter().chain([body]).chain(cap).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Error;

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
}
