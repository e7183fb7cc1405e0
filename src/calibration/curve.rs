//! Curves from tilt to density.

use std::fmt;

use crate::fit::Estimate;

/// The candidate curves, in the order of the tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum CurveKind {
    /// The wall-sided float with K known from mass and diameter.
    WallSided,
    /// The wall-sided float with a weak prior of K.
    WallSidedFree,
    /// Density as a polynomial in tilt, of degree 1 to 3.
    Polynomial(u8),
}

impl fmt::Display for CurveKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::WallSided => f.write_str("wall_sided"),
            Self::WallSidedFree => f.write_str("wall_sided_free_k"),
            Self::Polynomial(degree) => write!(f, "polynomial_{degree}"),
        }
    }
}

/// A coefficient of a curve, by name.
#[derive(Debug, Clone, PartialEq)]
pub struct Coefficient {
    /// Its name, with the unit where it has one.
    pub name: &'static str,
    /// Its estimate.
    pub estimate: Estimate,
}

/// A fitted curve: coefficients and their covariance.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedCurve {
    /// The coefficients, in a fixed order: `k_kg_m3`, `h`, `eps` of the wall-sided float, or `b0_kg_m3` to `b3_kg_m3`,
    /// the coefficients of ((tilt - 45 deg)/20 deg) to the power 0 to 3.
    pub coefficients: Vec<Coefficient>,
    /// Their covariance, row by row.
    pub covariance: Vec<f64>,
    /// Residual scale: 1 when the residuals agree with the stated SDs.
    pub scale: f64,
    /// Degrees of freedom of its intervals.
    pub df: f64,
}
