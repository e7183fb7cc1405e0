//! The columns of a design, made independent.

use nalgebra::DMatrix;

use crate::fit::matrix::dot;
use crate::{Error, Result};

pub(super) const WHAT: &str = "an autocorrelation";

/// The design made independent: its columns are `rows R`.
pub(super) struct Independent {
    /// Row by row.
    pub columns: Vec<Vec<f64>>,
    pub r: DMatrix<f64>,
}

/// Divides the columns of a design by their Cholesky or, where they are nearly dependent, QR factor.
pub(super) fn independent(mut columns: Vec<Vec<f64>>) -> Result<Independent> {
    let p = columns.len();
    let lengths: Vec<f64> = columns.iter().map(|column| dot(column, column).sqrt()).collect();
    let dependent = || Error::not_estimable(WHAT, "the columns of the design are not independent");
    if lengths.iter().any(|length| !(*length > 0.0)) {
        return Err(dependent());
    }
    let normal = DMatrix::from_fn(p, p, |i, j| dot(&columns[i], &columns[j]) / (lengths[i] * lengths[j]));
    // The trace bounds the square of the condition number.
    let factor = normal.cholesky().filter(|factor| p as f64 * factor.inverse().trace() < 1e8);
    let qr = match factor {
        Some(factor) => {
            let mut r = factor.l().transpose();
            r.column_iter_mut().zip(&lengths).for_each(|(mut column, length)| column *= *length);
            for j in 0..p {
                let (before, rest) = columns.split_at_mut(j);
                for (i, other) in before.iter().enumerate() {
                    rest[0].iter_mut().zip(other).for_each(|(cell, other)| *cell -= r[(i, j)] * other);
                }
                rest[0].iter_mut().for_each(|cell| *cell /= r[(j, j)]);
            }
            return Ok(Independent { columns, r });
        }
        None => DMatrix::from_fn(columns[0].len(), p, |i, j| columns[j][i] / lengths[j]).qr(),
    };
    let (q, mut r) = qr.unpack();
    if r.diagonal().iter().any(|d| !(d.abs() > 1e-13)) {
        return Err(dependent());
    }
    r.column_iter_mut().zip(&lengths).for_each(|(mut column, length)| column *= *length);
    Ok(Independent { columns: q.column_iter().map(|column| column.iter().copied().collect()).collect(), r })
}
