//! The smooth correction of a logistic curve's rate: a small basis of functions of the time over the curve's own scale.
//!
//! The correction `b(x)` is a Gaussian process in `u = ln(0.25 + x)` with unit variance and squared-exponential
//! correlation of length [`LENGTH`], written through its values at [`N_BASIS`] knots (the projected process of Quinonero-
//! Candela and Rasmussen 2005, J. Mach. Learn. Res. 6, 1939): `b(x_j) = sum_k W_jk z_k` with independent standard normal
//! `z`. It is constant over each of [`CELLS`] narrow cells of `x`, the last of which has no end.

use std::sync::LazyLock;

use nalgebra::DMatrix;

/// Number of coefficients of the correction.
pub(crate) const N_BASIS: usize = 13;
/// Number of parameters of a [`super::GravityCurve`]: seven and the coefficients of the correction.
pub(crate) const PARAMETERS: usize = 7 + N_BASIS;
/// Number of cells.
pub(crate) const CELLS: usize = 101;
/// Width of a cell, in units of the curve's scale.
pub(crate) const CELL: f64 = 0.05;

assumed! {
    /// Correlation length in `u`.
    const LENGTH: f64 = 0.3, "-";
}

/// `W`: one row per cell.
pub(crate) static BASIS: LazyLock<Vec<[f64; N_BASIS]>> = LazyLock::new(basis);

fn basis() -> Vec<[f64; N_BASIS]> {
    let u = |x: f64| (0.25 + x).ln();
    let (first, last) = (u(0.0), u(CELL * (CELLS - 1) as f64));
    let knot = |k: usize| first + (last - first) * k as f64 / (N_BASIS - 1) as f64;
    let correlation = |a: f64, b: f64| (-0.5 * ((a - b) / *LENGTH).powi(2)).exp();
    let among =
        DMatrix::from_fn(N_BASIS, N_BASIS, |i, j| correlation(knot(i), knot(j)) + if i == j { 1e-8 } else { 0.0 });
    let cells = DMatrix::from_fn(N_BASIS, CELLS, |k, j| correlation(knot(k), u(CELL * (j as f64 + 0.5))));
    // W' = L^-1 C with L L' the correlation among the knots; it is positive definite, so the factor exists.
    let weights = among.cholesky().and_then(|factor| factor.l().solve_lower_triangular(&cells)).unwrap_or(cells);
    (0..CELLS).map(|j| std::array::from_fn(|k| weights[(k, j)])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_correction_has_nearly_unit_variance_everywhere() {
        for (j, row) in BASIS.iter().enumerate() {
            let variance: f64 = row.iter().map(|w| w * w).sum();
            assert!((0.9..1.01).contains(&variance), "cell {j}: {variance}");
        }
    }
}
