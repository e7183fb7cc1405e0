//! The covariance of ordinary least squares when the errors remember.

use nalgebra::{DMatrix, DVector};
use ndarray::Array2;

use super::{Car1, Times};
use crate::fit::matrix::{identify, to_array, to_dmatrix};
use crate::{Error, Result};

impl Car1 {
    /// The covariance of ordinary least-squares coefficients under this process:
    ///
    /// ```text
    /// variance (J'J)^-1 J'RJ (J'J)^-1
    /// ```
    ///
    /// with `jacobian` J (one row per time, columns that tell their coefficients apart), R the correlation of the errors and
    /// `variance` theirs. It is right whatever the least-squares fit assumed, as long as the process is.
    ///
    /// # Errors
    /// [`Error::Usage`] for as many times as not rows; [`Error::NotEstimable`] for falling times or columns that are
    /// not independent.
    pub fn sandwich<'a>(
        &self,
        times: impl Into<Times<'a>>,
        jacobian: &Array2<f64>,
        variance: f64,
    ) -> Result<Array2<f64>> {
        let times = times.into();
        if times.len() != jacobian.nrows() {
            return Err(Error::Usage(format!("{} times for {} rows", times.len(), jacobian.nrows())));
        }
        times.check()?;
        let j = to_dmatrix(jacobian);
        let Some(known) = identify(&j, 1e-12).filter(|known| !known.unseen.iter().any(|unseen| *unseen)) else {
            return Err(Error::not_estimable("a sandwich covariance", "the columns are not independent"));
        };
        let bread = known.inverse;
        let meat = self.meat(times, &j);
        Ok(to_array(&(&bread * meat * &bread * variance)))
    }

    /// J'RJ. The remembering part needs, for each row, the sum of all rows before it discounted by their age: one pass.
    fn meat(&self, times: Times<'_>, j: &DMatrix<f64>) -> DMatrix<f64> {
        let columns = j.ncols();
        let mut before: DVector<f64> = DVector::zeros(columns);
        let mut cross: DMatrix<f64> = DMatrix::zeros(columns, columns);
        for (row, gap) in j.row_iter().zip(times.gaps()) {
            let row = row.transpose();
            // `before` holds the rows so far, each discounted to the time of the one before this.
            before *= gap.map_or(0.0, |gap| self.carry(gap));
            cross.ger(1.0, &row, &before, 1.0);
            before += row;
        }
        j.tr_mul(j) + (&cross + cross.transpose()) * (1.0 - self.white_share)
    }
}
