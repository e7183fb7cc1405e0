//! Curves from tilt to density.

use std::fmt;

use crate::float::WallSided;

use super::hull_curve::HullTable;

/// Most coefficients a curve has.
pub const MOST_COEFFICIENTS: usize = 4;
/// Centre and unit of the tilt in a polynomial, degrees.
const CENTRE_DEG: f64 = 45.0;
const UNIT_DEG: f64 = 20.0;

/// Where a top may begin to wet, and the unit of the tilt beyond, degrees.
const WET_FROM_DEG: f64 = 50.0;
const WET_UNIT_DEG: f64 = 10.0;

/// The candidate curves, in the order of the tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum CurveKind {
    /// The general hull of the probe's shape, with its mass known.
    Hull,
    /// The wall-sided float with K known from mass and diameter.
    WallSided,
    /// The wall-sided float with a weak prior of K.
    WallSidedFree,
    /// Density as a polynomial in tilt, of degree 1 to 3.
    Polynomial(u8),
}

impl CurveKind {
    /// Every candidate. On a near tie the earlier one is taken: it has a float's shape.
    pub const ALL: [Self; 6] = [
        Self::Hull,
        Self::WallSided,
        Self::WallSidedFree,
        Self::Polynomial(1),
        Self::Polynomial(2),
        Self::Polynomial(3),
    ];

    /// Names of its coefficients, in their order.
    pub fn coefficient_names(self) -> &'static [&'static str] {
        const POLYNOMIAL: [&str; MOST_COEFFICIENTS] = ["b0_kg_m3", "b1_kg_m3", "b2_kg_m3", "b3_kg_m3"];
        match self {
            Self::Hull => &["mass_g", "cg_offset_mm", "cg_height_mm"],
            Self::WallSided | Self::WallSidedFree => &["k_kg_m3", "h", "eps", "wet_top_kg_m3"],
            Self::Polynomial(degree) => POLYNOMIAL.get(..=usize::from(degree)).unwrap_or(&POLYNOMIAL),
        }
    }
}

impl fmt::Display for CurveKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Hull => f.write_str("hull"),
            Self::WallSided => f.write_str("wall_sided"),
            Self::WallSidedFree => f.write_str("wall_sided_free_k"),
            Self::Polynomial(degree) => write!(f, "polynomial_{degree}"),
        }
    }
}

/// A curve from tilt to density, of the liquid at the curve's shell temperature.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Curve {
    /// The general hull.
    Hull(HullTable),
    /// The wall-sided float, and what a top that wets may add: `wet_top ((tilt - 50 deg)/10 deg)^3` beyond 50 degrees.
    /// On a short float that is -1.7 kg/m3, on a long one 0 (by the general hull, to SG 1.100).
    WallSided {
        /// The float.
        float: WallSided,
        /// The coefficient of the cube, kg/m3.
        wet_top_kg_m3: f64,
    },
    /// `rho = sum_j b_j u^j`, u = (tilt - 45 deg)/20 deg.
    Polynomial([f64; MOST_COEFFICIENTS]),
}

/// A curve at one tilt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Density, kg/m3.
    pub density_kg_m3: f64,
    /// Its slope in the tilt, kg/m3 per degree; always positive.
    pub per_deg: f64,
    /// Its derivatives by the coefficients; unused places are 0.
    pub gradient: [f64; MOST_COEFFICIENTS],
}

impl Curve {
    /// The curve at a tilt; none where it has no value or does not rise: there a tilt has no density.
    pub fn at(&self, tilt_deg: f64) -> Option<CurvePoint> {
        let point = match self {
            Self::WallSided { float, wet_top_kg_m3 } => {
                let at = float.gradient(tilt_deg).ok()?;
                let wet = ((tilt_deg - WET_FROM_DEG) / WET_UNIT_DEG).max(0.0);
                CurvePoint {
                    density_kg_m3: at.density_kg_m3 + wet_top_kg_m3 * wet.powi(3),
                    per_deg: at.by_tilt_deg + 3.0 * wet_top_kg_m3 * wet * wet / WET_UNIT_DEG,
                    gradient: [at.by_k, at.by_h, at.by_eps, wet.powi(3)],
                }
            }
            Self::Hull(table) => table.at(tilt_deg)?,
            Self::Polynomial(b) => polynomial(b, tilt_deg),
        };
        (point.per_deg > 0.0 && point.density_kg_m3.is_finite()).then_some(point)
    }

    /// Its coefficients, in the order of [`CurveKind::coefficient_names`]; unused places are 0.
    pub fn coefficients(&self) -> [f64; MOST_COEFFICIENTS] {
        match self {
            Self::Hull(table) => table.coefficients(),
            Self::WallSided { float, wet_top_kg_m3 } => [float.k_kg_m3, float.h, float.eps, *wet_top_kg_m3],
            Self::Polynomial(b) => *b,
        }
    }

    /// The tilt at which the curve has this density, between 1 and 85 degrees, by bisection and Newton's method; none
    /// where it has none.
    pub fn tilt_deg(&self, density_kg_m3: f64) -> Option<f64> {
        let (mut low, mut high) = self.rising_range()?;
        let miss = |tilt: f64| self.at(tilt).map(|at| (at.density_kg_m3 - density_kg_m3, at.per_deg));
        if miss(low)?.0 > 0.0 || miss(high)?.0 < 0.0 {
            return None;
        }
        let mut tilt = 0.5 * (low + high);
        for _ in 0..200 {
            let (over, slope) = miss(tilt)?;
            if over > 0.0 {
                high = tilt
            } else {
                low = tilt
            }
            let newton = tilt - over / slope;
            let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
            if (next - tilt).abs() < 1e-10 {
                return Some(next);
            }
            tilt = next;
        }
        Some(tilt)
    }

    /// The longest unbroken stretch of rising curve round 45 degrees (or round the nearest tilt where it rises), in
    /// whole degrees from 1 to 85.
    pub(super) fn rising_range(&self) -> Option<(f64, f64)> {
        let rises = |tilt: i32| self.at(f64::from(tilt)).is_some();
        let centre = (0..44).flat_map(|d| [45 - d, 45 + d]).find(|&tilt| (1..=85).contains(&tilt) && rises(tilt))?;
        let low = (1..=centre).rev().take_while(|&tilt| rises(tilt)).last()?;
        let high = (centre..=85).take_while(|&tilt| rises(tilt)).last()?;
        Some((f64::from(low), f64::from(high)))
    }
}

/// `u^power` of a polynomial in tilt.
pub(crate) fn power_of_tilt(tilt_deg: f64, power: i32) -> f64 {
    ((tilt_deg - CENTRE_DEG) / UNIT_DEG).powi(power)
}

fn polynomial(b: &[f64; MOST_COEFFICIENTS], tilt_deg: f64) -> CurvePoint {
    let u = (tilt_deg - CENTRE_DEG) / UNIT_DEG;
    let [b0, b1, b2, b3] = *b;
    CurvePoint {
        density_kg_m3: b0 + u * (b1 + u * (b2 + u * b3)),
        per_deg: (b1 + u * (2.0 * b2 + u * 3.0 * b3)) / UNIT_DEG,
        gradient: [1.0, u, u * u, u * u * u],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_and_its_inverse_undo_each_other() {
        let float = WallSided { k_kg_m3: 5458.0, h: 2.609, eps: 0.0797, kappa: 2.0 / 9.0 };
        let wall = Curve::WallSided { float, wet_top_kg_m3: -1.7 };
        let cubic = Curve::Polynomial([1040.0, 37.0, 9.0, 1.5]);
        for curve in [wall, cubic.clone()] {
            for tilt in [20.0, 40.0, 60.0] {
                let density = curve.at(tilt).unwrap().density_kg_m3;
                assert!((curve.tilt_deg(density).unwrap() - tilt).abs() < 1e-8, "{curve:?} {tilt}");
            }
        }
        assert_eq!(cubic.tilt_deg(500.0), None);
    }

    #[test]
    fn where_a_polynomial_falls_it_has_no_density() {
        let parabola = Curve::Polynomial([1040.0, 30.0, -12.0, 0.0]);
        assert!(parabola.at(60.0).is_some() && parabola.at(75.0).is_none());
    }
}
