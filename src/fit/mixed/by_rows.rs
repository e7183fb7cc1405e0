//! Products and the Cholesky factor of small matrices that are kept by rows.

/// Lower Cholesky factor in place, by rows. Gives the last pivot before its root is taken, 0 where rounding made it negative;
/// none when another pivot is not positive.
pub(super) fn cholesky(cells: &mut [f64], size: usize) -> Option<f64> {
    let mut last = 1.0;
    for i in 0..size {
        let (above, rest) = cells.split_at_mut(i * size);
        let row = &mut rest[..size];
        for j in 0..i {
            let other = &above[j * size..j * size + j + 1];
            row[j] = (row[j] - dot(&row[..j], &other[..j])) / other[j];
        }
        let pivot = row[i] - dot(&row[..i], &row[..i]);
        if i + 1 < size && !(pivot > 0.0) || pivot.is_nan() {
            return None;
        }
        last = pivot.max(0.0);
        row[i] = last.sqrt();
    }
    Some(last)
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// `out = a b`, a is n x k, b is k x m; shapes are (n, k, m), all by rows.
pub(super) fn product(a: &[f64], b: &[f64], (n, k, m): (usize, usize, usize), out: &mut [f64]) {
    for i in 0..n {
        for l in 0..k {
            let factor = a[i * k + l];
            for j in 0..m {
                out[i * m + j] += factor * b[l * m + j];
            }
        }
    }
}

/// `out = a' b`, a is k x n, b is k x m; shapes are (k, n, m), all by rows.
pub(super) fn transposed_product(a: &[f64], b: &[f64], (k, n, m): (usize, usize, usize), out: &mut [f64]) {
    for l in 0..k {
        for i in 0..n {
            let factor = a[l * n + i];
            if factor != 0.0 {
                for j in 0..m {
                    out[i * m + j] += factor * b[l * m + j];
                }
            }
        }
    }
}
