//! Small bridges between ndarray, which the public surface speaks, and nalgebra, which factorises.

use nalgebra::DMatrix;
use ndarray::Array2;

/// The same matrix in ndarray's type.
pub(super) fn to_array(matrix: &DMatrix<f64>) -> Array2<f64> {
    Array2::from_shape_fn((matrix.nrows(), matrix.ncols()), |(i, j)| matrix[(i, j)])
}

/// The same matrix in nalgebra's type.
pub(super) fn to_dmatrix(array: &Array2<f64>) -> DMatrix<f64> {
    DMatrix::from_fn(array.nrows(), array.ncols(), |i, j| array[[i, j]])
}

/// The sum of products.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// How well the columns of a tall matrix tell their coefficients apart, after each column was scaled to length one.
pub(super) struct Identified {
    /// `(J' J)` inverted, in the columns' own units, without the directions the data do not see.
    pub inverse: DMatrix<f64>,
    /// For each column: true when the data do not see it.
    pub unseen: Vec<bool>,
    /// Number of directions that are seen.
    pub rank: usize,
}

/// Inverts `J' J` through a QR factorisation of the scaled columns and the singular values of R.
///
/// A direction whose singular value is below `tolerance` times the largest is left out, and the columns that carry more
/// than a thousandth of it are marked as unseen. `None` when `J` holds something that is not a finite number.
pub(super) fn identify(jacobian: &DMatrix<f64>, tolerance: f64) -> Option<Identified> {
    let columns = jacobian.ncols();
    if jacobian.iter().any(|x| !x.is_finite()) {
        return None;
    }
    if columns == 0 {
        return Some(Identified { inverse: DMatrix::zeros(0, 0), unseen: Vec::new(), rank: 0 });
    }
    let norms: Vec<f64> = jacobian.column_iter().map(|column| column.norm()).collect();
    let scale: Vec<f64> = norms.iter().map(|norm| if *norm > 0.0 { 1.0 / norm } else { 1.0 }).collect();
    let mut scaled = jacobian.clone();
    for (mut column, factor) in scaled.column_iter_mut().zip(scale.iter()) {
        column *= *factor;
    }
    let r = if scaled.nrows() >= columns { scaled.qr().r() } else { scaled };
    let svd = r.svd(false, true);
    let v = svd.v_t?.transpose();
    let largest = svd.singular_values.max();
    let mut inverse = DMatrix::zeros(columns, columns);
    let mut unseen: Vec<bool> = norms.iter().map(|norm| *norm == 0.0).collect();
    let mut seen_share = vec![0.0; columns];
    let mut rank = 0;
    for (value, direction) in svd.singular_values.iter().zip(v.column_iter()) {
        if *value > tolerance * largest {
            rank += 1;
            inverse += direction * direction.transpose() / (value * value);
            for (share, component) in seen_share.iter_mut().zip(direction.iter()) {
                *share += component * component;
            }
        }
    }
    for (flag, share) in unseen.iter_mut().zip(&seen_share) {
        *flag |= *share < 1.0 - 1e-6;
    }
    for i in 0..columns {
        for j in 0..columns {
            inverse[(i, j)] *= scale[i] * scale[j];
        }
    }
    Some(Identified { inverse, unseen, rank })
}
