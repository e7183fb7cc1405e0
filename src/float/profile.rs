//! Bodies of revolution, from nose to top, and what of them is under water.

use std::f64::consts::PI;

use crate::error::{Error, Result};

use super::quadrature::panel_nodes;

/// One piece of a profile; the axis is stood on its nose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Piece {
    Cylinder {
        radius_m: f64,
        length_m: f64,
    },
    /// A truncated cone: a taper, a shoulder, a point.
    Cone {
        /// Radius at the lower end, m.
        bottom_radius_m: f64,
        /// Radius at the upper end, m.
        top_radius_m: f64,
        length_m: f64,
    },
    /// Half an ellipsoid with its pole down.
    Nose {
        /// Radius at the upper end, m.
        radius_m: f64,
        length_m: f64,
    },
    /// Half an ellipsoid with its pole up.
    Cap {
        /// Radius at the lower end, m.
        radius_m: f64,
        length_m: f64,
    },
}

impl Piece {
    fn length_m(self) -> f64 {
        match self {
            Self::Cylinder { length_m, .. }
            | Self::Cone { length_m, .. }
            | Self::Nose { length_m, .. }
            | Self::Cap { length_m, .. } => length_m,
        }
    }

    fn radii_m(self) -> (f64, f64) {
        match self {
            Self::Cylinder { radius_m, .. } => (radius_m, radius_m),
            Self::Cone { bottom_radius_m, top_radius_m, .. } => (bottom_radius_m, top_radius_m),
            Self::Nose { radius_m, .. } => (0.0, radius_m),
            Self::Cap { radius_m, .. } => (radius_m, 0.0),
        }
    }
}

/// A piece with its place on the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Section {
    piece: Piece,
    low: f64,
    high: f64,
}

impl Section {
    fn radius(&self, z: f64) -> f64 {
        match self.piece {
            Piece::Cylinder { radius_m, .. } => radius_m,
            Piece::Cone { bottom_radius_m: r, top_radius_m, length_m } => {
                r + (top_radius_m - r) * (z - self.low) / length_m
            }
            Piece::Nose { radius_m, length_m } => {
                radius_m * (1.0 - ((self.high - z) / length_m).powi(2)).max(0.0).sqrt()
            }
            Piece::Cap { radius_m, length_m } => radius_m * (1.0 - ((z - self.low) / length_m).powi(2)).max(0.0).sqrt(),
        }
    }

    /// Heights where the plane `z = d + x t` meets the outline, `(z - d)^2 = t^2 R(z)^2`; NaN where it does not.
    fn cuts(&self, d: f64, t: f64) -> [f64; 2] {
        match self.piece {
            Piece::Cylinder { radius_m, .. } => [d - radius_m * t, d + radius_m * t],
            Piece::Cone { bottom_radius_m: r, top_radius_m, length_m } => {
                let taper = (top_radius_m - r) / length_m;
                let reach = t * (r - taper * self.low);
                [(d - reach) / (1.0 + t * taper), (d + reach) / (1.0 - t * taper)]
            }
            Piece::Nose { radius_m, length_m } => ellipse_cuts(d, t, radius_m, length_m, self.high),
            Piece::Cap { radius_m, length_m } => ellipse_cuts(d, t, radius_m, length_m, self.low),
        }
    }
}

/// Roots of `(z - d)^2 = (t r)^2 (1 - ((z - centre)/b)^2)`.
fn ellipse_cuts(d: f64, t: f64, r: f64, b: f64, centre: f64) -> [f64; 2] {
    let k = (t * r / b).powi(2);
    let middle = (d + k * centre) / (1.0 + k);
    let half = (middle * middle - (d * d + k * centre * centre - (t * r).powi(2)) / (1.0 + k)).sqrt();
    [middle - half, middle + half]
}

/// A body of revolution: pieces stacked from the nose upward. Steps in the radius between pieces are allowed.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    sections: Vec<Section>,
}

/// What a plane cuts off a profile: volume and first moments, and integrals over the cut itself from which their slopes
/// follow.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Wet {
    pub(crate) volume: f64,
    pub(crate) moment_x: f64,
    pub(crate) moment_z: f64,
    /// Integral of the chord over t, and the same weighted with s, s^2, z, z s.
    pub(crate) chord: f64,
    pub(crate) chord_s: f64,
    pub(crate) chord_ss: f64,
    pub(crate) chord_z: f64,
    pub(crate) chord_zs: f64,
}

impl Profile {
    /// Stacks the pieces from the nose upward.
    ///
    /// # Errors
    /// [`Error::Setting`] for no piece, a length that is not positive, a radius that is negative, or a total length or
    /// radius above 10 m.
    pub(crate) fn new(pieces: impl IntoIterator<Item = Piece>) -> Result<Self> {
        let pieces: Vec<Piece> = pieces.into_iter().collect();
        let good = |piece: &Piece| {
            let (low, high) = piece.radii_m();
            let length = piece.length_m();
            length > 0.0 && length <= 10.0 && low >= 0.0 && high >= 0.0 && low.max(high) > 0.0 && low.max(high) <= 10.0
        };
        if pieces.is_empty() || !pieces.iter().all(good) {
            return Err(Error::setting(
                "profile",
                format!("{pieces:?}"),
                "at least one piece, lengths above 0 and radii not negative, none above 10 m",
            ));
        }
        Ok(Self::of_checked(pieces))
    }

    /// Stacks pieces that are known to be good.
    pub(crate) fn of_checked(pieces: Vec<Piece>) -> Self {
        let mut low = 0.0;
        let sections = pieces
            .into_iter()
            .map(|piece| {
                let high = low + piece.length_m();
                let section = Section { piece, low, high };
                low = high;
                section
            })
            .collect();
        Self { sections }
    }

    /// Length from nose to top, m.
    pub fn length_m(&self) -> f64 {
        self.sections.last().map_or(0.0, |section| section.high)
    }

    /// Largest radius, m.
    pub fn widest_m(&self) -> f64 {
        self.sections.iter().map(|section| section.piece.radii_m()).map(|(low, high)| low.max(high)).fold(0.0, f64::max)
    }

    /// Radius at height `z_m` above the nose, m; zero beyond the ends.
    pub fn radius_m(&self, z_m: f64) -> f64 {
        let holds = |section: &&Section| section.low <= z_m && z_m <= section.high;
        self.sections.iter().find(holds).map_or(0.0, |section| section.radius(z_m))
    }

    /// Volume, m3.
    pub fn volume_m3(&self) -> f64 {
        self.wet(2.0 * (self.length_m() + self.widest_m()), 1.0).volume
    }

    /// Everything on the heavy side of and below the plane `z = d + x t`: slice by slice the circular segment `x >= s`,
    /// `s = (z - d)/t`, with area `R^2 arccos(s/R) - s sqrt(R^2 - s^2)` and moment `2/3 (R^2 - s^2)^(3/2)`, by
    /// Gauss-Legendre quadrature on panels cut where the outline changes or meets the plane.
    pub(crate) fn wet(&self, d: f64, t: f64) -> Wet {
        let mut wet = Wet::default();
        for section in &self.sections {
            let [mut first, mut second] = section.cuts(d, t).map(|z| z.max(section.low).min(section.high));
            if first > second {
                (first, second) = (second, first);
            }
            for (from, to) in [(section.low, first), (first, second), (second, section.high)] {
                if to - from > 1e-12 {
                    wet.add_panel(section, from, to, d, t);
                }
            }
        }
        wet
    }
}

impl Wet {
    fn add_panel(&mut self, section: &Section, from: f64, to: f64, d: f64, t: f64) {
        let middle = 0.5 * (from + to);
        let (s, radius) = ((middle - d) / t, section.radius(middle));
        if s >= radius {
            return;
        }
        if s <= -radius {
            // Simpson's rule is exact for the cubic z R^2.
            for (z, weight) in [(from, 1.0), (middle, 4.0), (to, 1.0)] {
                let area = weight * (to - from) / 6.0 * PI * section.radius(z).powi(2);
                self.volume += area;
                self.moment_z += area * z;
            }
            return;
        }
        for (position, weight) in panel_nodes() {
            let z = from + position * (to - from);
            let (s, radius, weight) = ((z - d) / t, section.radius(z), weight * (to - from));
            let root = (radius * radius - s * s).max(0.0).sqrt();
            // atan2 for arccos(s/R): it keeps its digits at both ends.
            let area = weight * (radius * radius * root.atan2(s) - s * root);
            let chord = weight * 2.0 * root / t;
            self.volume += area;
            self.moment_x += weight * 2.0 / 3.0 * root.powi(3);
            self.moment_z += area * z;
            self.chord += chord;
            self.chord_s += chord * s;
            self.chord_ss += chord * s * s;
            self.chord_z += chord * z;
            self.chord_zs += chord * z * s;
        }
    }
}
