//! The series with its errors made independent and what the columns explain taken out.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use crate::{Error, Result};

/// A step of which less than this share of its length is left after the columns is one of them.
const INSIDE_COLUMNS: f64 = 1e-7;

/// y whitened and freed of the columns.
pub(super) struct Whitened<'a> {
    pub times: &'a [f64],
    root: Cholesky<f64, Dyn>,
    /// Orthonormal basis of the whitened columns, n x rank.
    basis: DMatrix<f64>,
    /// What is left of y.
    pub residual: DVector<f64>,
}

/// One split's step: its whitened column freed of the columns and brought to length one, and the length it had.
pub(super) struct Direction {
    pub unit: DVector<f64>,
    pub length: f64,
}

impl<'a> Whitened<'a> {
    pub fn new(times: &'a [f64], y: &[f64], covariance: &DMatrix<f64>, columns: &DMatrix<f64>) -> Result<Self> {
        let n = y.len();
        if times.len() != n || covariance.shape() != (n, n) || (columns.nrows() != n && columns.ncols() > 0) {
            return Err(Error::Usage(format!(
                "a step is searched in {n} values at {} times, with a covariance of {:?} and columns of {:?}",
                times.len(),
                covariance.shape(),
                columns.shape()
            )));
        }
        let what = "a step";
        if times.iter().chain(y).chain(columns.iter()).any(|x| !x.is_finite()) {
            return Err(Error::not_estimable(what, "a time, a value or a column is not a finite number"));
        }
        let root = Cholesky::new(covariance.clone())
            .ok_or_else(|| Error::not_estimable(what, "the covariance of the errors is not positive definite"))?;
        let mut basis = DMatrix::zeros(n, 0);
        for column in columns.column_iter() {
            // Columns that others make up change nothing, so they are left out rather than refused.
            if let Some(direction) = freed(&basis, whiten(&root, column.into_owned())) {
                let last = basis.ncols();
                basis = basis.insert_column(last, 0.0);
                basis.set_column(last, &direction.unit);
            }
        }
        let mut residual = whiten(&root, DVector::from_column_slice(y));
        for _ in 0..2 {
            residual -= &basis * basis.tr_mul(&residual);
        }
        Ok(Self { times, root, basis, residual })
    }

    /// Degrees of freedom without a step.
    pub fn df(&self) -> f64 {
        self.residual.len() as f64 - self.basis.ncols() as f64
    }

    /// Sum of squares of whitened errors that the columns do not explain.
    pub fn squares_left(&self, errors: &DVector<f64>) -> f64 {
        (errors.norm_squared() - self.basis.tr_mul(errors).norm_squared()).max(0.0)
    }

    /// The direction of a step between the rows that are `after` it and the others; none where the columns explain it.
    pub fn direction(&self, after: &[bool]) -> Option<Direction> {
        let step = DVector::from_iterator(after.len(), after.iter().map(|after| f64::from(u8::from(*after))));
        freed(&self.basis, whiten(&self.root, step))
    }
}

fn whiten(root: &Cholesky<f64, Dyn>, mut vector: DVector<f64>) -> DVector<f64> {
    // The factor's diagonal is positive, so the solution exists.
    root.l_dirty().solve_lower_triangular_mut(&mut vector);
    vector
}

/// What is left of a vector outside a basis, projected twice for the sake of rounding.
fn freed(basis: &DMatrix<f64>, vector: DVector<f64>) -> Option<Direction> {
    let whole = vector.norm();
    let mut left = vector;
    for _ in 0..2 {
        left -= basis * basis.tr_mul(&left);
    }
    let length = left.norm();
    (length > INSIDE_COLUMNS * whole).then(|| Direction { unit: left / length, length })
}
