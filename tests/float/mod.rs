//! Floats against values computed apart from the library, and against themselves.

mod hulls;
mod two_floats;
mod wall;

use crate::Result;
use crate::float::WallSided;

/// Density at a tilt of a wall-sided float, kg/m3.
fn density(float: &WallSided, tilt_deg: f64) -> Result<f64> {
    float.gradient(tilt_deg).map(|at| at.density_kg_m3)
}
