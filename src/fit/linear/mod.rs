//! Weighted least squares that are linear in the coefficients.
//!
//! ```text
//! y_i = b_0 + b_1 x_i1 + ... + b_k x_ik + e_i,   sd(e_i) = sigma s_i
//! ```
//!
//! with stated standard deviations `s_i` (1 where none are given).
//!
//! The coefficients come from linfa-linear on columns that are whitened, centred and scaled to length one, and are refined with the
//! residuals together, by the two conditions that both must meet (A. Bjorck, BIT 7 (1967) 257; from memory). linfa gives no
//! covariance: it comes from a QR factorisation of the same columns.

mod defect;

use linfa::Dataset;
use linfa::traits::Fit;
use linfa_linear::LinearRegression;
use nalgebra::{DMatrix, DVector};
use ndarray::{Array1, Array2};

use super::matrix::{to_array, to_dmatrix};
use crate::{Error, Result};

use defect::Conditions;

/// A column nearer than this to the span of the columns before it, both of length one, counts as inside it.
const COLLINEAR: f64 = 1e-13;
/// Most corrections; each must be less than half of the one before.
const CORRECTIONS: usize = 15;

/// How a linear least-squares fit is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LinearSettings {
    /// Put a constant column named `intercept` before the others: false for a line through the origin.
    pub intercept: bool,
}

impl Default for LinearSettings {
    fn default() -> Self {
        Self { intercept: true }
    }
}

/// The result of a weighted linear least-squares fit.
#[derive(Debug, Clone)]
pub struct LinearFit {
    /// Names of the coefficients: `intercept` first where there is one, then the columns as they were given.
    pub names: Vec<String>,
    /// Coefficients in that order, in response units per unit of the column.
    pub coefficients: Vec<f64>,
    /// Their covariance, same order, where the standard deviations are right as they stand; else it is to be multiplied by
    /// the sum of squares over observations less coefficients.
    pub covariance: Array2<f64>,
    /// The sum of squares of residuals over their standard deviations.
    pub sum_of_squares: f64,
}

impl LinearFit {
    /// The coefficient of a column.
    ///
    /// # Errors
    /// [`Error::Usage`] for a name that is not in the fit.
    pub fn value(&self, name: &str) -> Result<f64> {
        let found = self.names.iter().zip(&self.coefficients).find(|(known, _)| *known == name);
        found.map(|(_, value)| *value).ok_or_else(|| {
            Error::Usage(format!("no coefficient is named `{name}`; there are {}", self.names.join(", ")))
        })
    }
}

impl LinearSettings {
    /// Fits `y` on the named `columns`; `sd` are the standard deviations of the `y_i`, in their unit.
    ///
    /// # Errors
    /// - [`Error::Usage`]: columns, `y` and `sd` of different lengths, two columns of one name, or no column at all.
    /// - [`Error::NotEstimable`]: a value that is not finite, fewer rows than coefficients, or a column that is a linear combination of others, which the message names.
    pub fn fit(&self, columns: &[(&str, &[f64])], y: &[f64], sd: Option<&[f64]>) -> Result<LinearFit> {
        let constant = vec![1.0; y.len()];
        let intercept = self.intercept.then_some(("intercept", constant.as_slice()));
        let columns: Vec<(&str, &[f64])> = intercept.into_iter().chain(columns.iter().copied()).collect();
        self.check(&columns, y, sd)?;
        let names: Vec<String> = columns.iter().map(|(name, _)| (*name).to_owned()).collect();
        let weight: Vec<f64> = sd.map_or_else(|| constant.clone(), |sd| sd.iter().map(|s| 1.0 / s).collect());
        let (design, back) = self.scaled(&columns, &weight)?;
        let (q, r) = factorise(&names, &design)?;

        let raw: Vec<&[f64]> = columns.iter().map(|(_, column)| *column).collect();
        let conditions = Conditions { columns: &raw, y, weight: &weight };
        let (mut coefficients, mut residuals) = (DVector::zeros(names.len()), vec![0.0; y.len()]);
        let mut last = f64::INFINITY;
        for _ in 0..CORRECTIONS {
            let (gap, slope) = conditions.defect(coefficients.as_slice(), &residuals);
            // Residuals that carry the defect of the orthogonality, of least length: Q R^-T slope.
            let slope = r.tr_solve_upper_triangular(&back.tr_mul(&DVector::from_vec(slope)));
            let carried = &q * slope.ok_or_else(|| Error::numeric("a linear fit", "R is singular"))?;
            let target: Array1<f64> = gap.iter().zip(&weight).zip(&carried).map(|((f, w), c)| f * w - c).collect();
            let correction = least_squares(&design, target.clone())?;
            let left = target - design.dot(&correction);
            // The scaled columns have length one: the correction is in units of the whitened response.
            let size = correction.iter().fold(0.0_f64, |most, c| most.max(c.abs()));
            if !(size < 0.5 * last) {
                break;
            }
            coefficients += &back * DVector::from_vec(correction.to_vec());
            for (((e, left), carried), w) in residuals.iter_mut().zip(&left).zip(&carried).zip(&weight) {
                *e += (left + carried) / w;
            }
            last = size;
        }

        let inverse = r.try_inverse().ok_or_else(|| Error::numeric("a linear fit", "R is singular"))?;
        let half = &back * inverse;
        Ok(LinearFit {
            names,
            coefficients: coefficients.iter().copied().collect(),
            covariance: to_array(&(&half * half.transpose())),
            sum_of_squares: residuals.iter().zip(&weight).map(|(e, w)| (e * w).powi(2)).sum(),
        })
    }

    fn check(&self, columns: &[(&str, &[f64])], y: &[f64], sd: Option<&[f64]>) -> Result<()> {
        if columns.is_empty() {
            return Err(Error::Usage("a linear fit needs at least one column or an intercept".to_owned()));
        }
        for (i, (name, column)) in columns.iter().enumerate() {
            if column.len() != y.len() {
                let (rows, n) = (column.len(), y.len());
                return Err(Error::Usage(format!("column `{name}` has {rows} rows and the response has {n}")));
            }
            if columns.iter().take(i).any(|(other, _)| other == name) {
                return Err(Error::Usage(format!("two columns are named `{name}`")));
            }
            if let Some(row) = column.iter().position(|x| !x.is_finite()) {
                return Err(Error::not_estimable(format!("`{name}`"), format!("its row {row} is not a finite number")));
            }
        }
        if let Some(row) = y.iter().position(|x| !x.is_finite()) {
            let why = format!("the response is not a finite number in row {row}");
            return Err(Error::not_estimable("a linear fit", why));
        }
        if let Some(sd) = sd.filter(|sd| sd.len() != y.len()) {
            return Err(Error::Usage(format!("{} standard deviations for {} observations", sd.len(), y.len())));
        }
        if let Some(bad) = sd.into_iter().flatten().find(|s| !(**s > 0.0 && s.is_finite())) {
            return Err(Error::setting("sd", bad, "finite standard deviations above 0"));
        }
        if y.len() < columns.len() {
            return Err(Error::not_estimable(
                format!("a linear fit of {} coefficients", columns.len()),
                format!("{} observations", y.len()),
            ));
        }
        Ok(())
    }

    /// The whitened columns, centred when there is an intercept, and of length one; and what brings coefficients of these back to
    /// the given columns.
    fn scaled(&self, columns: &[(&str, &[f64])], weight: &[f64]) -> Result<(Array2<f64>, DMatrix<f64>)> {
        let total: f64 = weight.iter().map(|w| w * w).sum();
        let mut design = Array2::zeros((weight.len(), columns.len()));
        let mut back = DMatrix::zeros(columns.len(), columns.len());
        for (j, (name, column)) in columns.iter().enumerate() {
            let centred = self.intercept && j > 0;
            let sum = |of: &dyn Fn(f64) -> f64| column.iter().zip(weight).map(|(x, w)| of(*x) * w * w).sum::<f64>();
            let centre = if centred { sum(&|x| x) / total } else { 0.0 };
            let length = sum(&|x| (x - centre).powi(2)).sqrt();
            let raw = sum(&|x| x * x).sqrt();
            if !(length > COLLINEAR * raw) {
                let why = if raw > 0.0 { "it is constant, like the intercept" } else { "it is zero everywhere" };
                return Err(Error::not_estimable(format!("the coefficient of `{name}`"), why));
            }
            for ((cell, x), w) in design.column_mut(j).iter_mut().zip(*column).zip(weight) {
                *cell = (x - centre) * w / length;
            }
            back[(j, j)] = 1.0 / length;
            if centred {
                back[(0, j)] = -centre / length;
            }
        }
        Ok((design, back))
    }
}

/// Thin Q and R of the scaled design, or the name of the first column that the ones before it make up.
pub(in crate::fit) fn factorise(names: &[String], design: &Array2<f64>) -> Result<(DMatrix<f64>, DMatrix<f64>)> {
    let (q, r) = to_dmatrix(design).qr().unpack();
    let tolerance = COLLINEAR.max(f64::EPSILON * design.nrows() as f64);
    let Some((j, name)) = names.iter().enumerate().find(|(j, _)| r[(*j, *j)].abs() <= tolerance) else {
        return Ok((q, r));
    };
    let parts = r.view((0, 0), (j, j)).solve_upper_triangular(&r.view((0, j), (j, 1)).into_owned());
    let seen = |i: usize| parts.as_ref().is_none_or(|parts| parts[i].abs() > 1e-6);
    let others: Vec<String> =
        names.iter().take(j).enumerate().filter(|(i, _)| seen(*i)).map(|(_, n)| format!("`{n}`")).collect();
    Err(Error::not_estimable(
        format!("the coefficient of `{name}`"),
        format!("its column is a linear combination of {}", others.join(", ")),
    ))
}

fn least_squares(design: &Array2<f64>, target: Array1<f64>) -> Result<Array1<f64>> {
    // The intercept is a column of its own here: linfa's is one of ones, which is wrong once rows are weighted.
    LinearRegression::new()
        .with_intercept(false)
        .fit(&Dataset::new(design.clone(), target))
        .map(|model| model.params().clone())
        .map_err(|why| Error::numeric("least squares", why.to_string()))
}
