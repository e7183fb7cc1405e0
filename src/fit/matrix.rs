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

/// The sum of products up to the end of the shorter, in eight parts that the processor adds side by side.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len().min(b.len());
    let (a, b) = (&a[..n], &b[..n]);
    let ((eights, rest), (of_b, rest_of_b)) = (a.as_chunks::<8>(), b.as_chunks::<8>());
    let mut parts = [0.0; 8];
    for (a, b) in eights.iter().zip(of_b) {
        for (part, (x, y)) in parts.iter_mut().zip(a.iter().zip(b)) {
            *part += x * y;
        }
    }
    parts.iter().sum::<f64>() + rest.iter().zip(rest_of_b).map(|(x, y)| x * y).sum::<f64>()
}

/// The products of the columns with each other, `J' J`.
pub(crate) fn gram(matrix: &DMatrix<f64>) -> DMatrix<f64> {
    let n = matrix.ncols();
    let mut products = DMatrix::zeros(n, n);
    for (j, column) in matrix.column_iter().enumerate() {
        for (i, other) in matrix.column_iter().enumerate().take(j + 1) {
            let product = column.dot(&other);
            (products[(i, j)], products[(j, i)]) = (product, product);
        }
    }
    products
}

/// The Cholesky factor of a symmetric matrix, upper triangle: `U' U`. None of one that is not positive definite.
pub(crate) fn upper_root(mut matrix: DMatrix<f64>) -> Option<DMatrix<f64>> {
    let n = matrix.nrows();
    for i in 0..n {
        let (before, rest) = matrix.as_mut_slice().split_at_mut(i * n);
        let column = &mut rest[..n];
        for (j, other) in before.chunks_exact(n).enumerate() {
            column[j] = (column[j] - dot(&column[..j], &other[..j])) / other[j];
        }
        let pivot = column[i] - dot(&column[..i], &column[..i]);
        if !(pivot > 0.0) {
            return None;
        }
        column[i] = pivot.sqrt();
        column[i + 1..].fill(0.0);
    }
    Some(matrix)
}

/// Solves `U' x = b` for columns in their place, one after the other in `columns`.
pub(crate) fn solve_transposed(upper: &DMatrix<f64>, columns: &mut [f64]) {
    let n = upper.nrows().max(1);
    for x in columns.chunks_exact_mut(n) {
        // What is zero at the top stays so.
        let first = x.iter().position(|x| *x != 0.0).unwrap_or(n);
        for (i, row) in upper.as_slice().chunks_exact(n).enumerate().skip(first) {
            x[i] = (x[i] - dot(&row[first..i], &x[first..i])) / row[i];
        }
    }
}

/// The inverse of a matrix from its [`upper_root`].
pub(crate) fn inverse(upper: &DMatrix<f64>) -> DMatrix<f64> {
    let n = upper.nrows();
    let mut lower = DMatrix::<f64>::identity(n, n);
    solve_transposed(upper, lower.as_mut_slice());
    let column = |j: usize, from: usize| &lower.as_slice()[j * n + from..(j + 1) * n];
    let mut inverse = DMatrix::zeros(n, n);
    for j in 0..n {
        for i in j..n {
            let product = dot(column(i, i), column(j, i));
            (inverse[(i, j)], inverse[(j, i)]) = (product, product);
        }
    }
    inverse
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
