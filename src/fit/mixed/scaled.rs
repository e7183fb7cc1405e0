//! The data in the form that the numerics work on.

use nalgebra::{DMatrix, DVector};
use ndarray::Array2;

use super::design::{Column, Design, Random};
use crate::fit::linear::factorise;
use crate::{Error, Result};

/// One grouping. Its columns are brought to root mean square one.
#[derive(Debug, Clone)]
pub(super) struct Term {
    /// Columns.
    pub q: usize,
    pub levels: usize,
    /// What each column was divided by.
    pub scale: Vec<f64>,
}

/// Parameters of the covariance in scaled units.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Covariance {
    /// By grouping the standard deviation of the effects of each column.
    pub factors: Vec<Vec<f64>>,
    /// Residual standard deviation.
    pub sigma: f64,
}

/// What a row has of one level: `q` values from `at` on.
#[derive(Debug, Clone, Copy)]
pub(super) struct RowEffect {
    pub term: usize,
    pub level: usize,
    pub at: usize,
}

/// Rows with independent errors.
///
/// The response is what ordinary least squares leaves, over its root mean square; the fixed columns are orthonormal times the
/// root of n. So nothing depends on the user's units or on the size of the mean.
#[derive(Debug, Clone)]
pub(super) struct ScaledData {
    pub p: usize,
    pub y: Vec<f64>,
    /// n x p by rows.
    pub x: Vec<f64>,
    pub terms: Vec<Term>,
    /// Entries of row i are `starts[i]..starts[i + 1]`.
    pub starts: Vec<usize>,
    pub entries: Vec<RowEffect>,
    pub values: Vec<f64>,
    /// Known variance of each row.
    known: Vec<f64>,
    /// Held residual standard deviation.
    pub held: Option<f64>,
    /// Unit of the scaled response.
    pub unit: f64,
    /// Coefficients of ordinary least squares.
    pub start: DVector<f64>,
    /// Coefficients of the user's columns from those of the orthonormal ones, without the unit.
    pub back: DMatrix<f64>,
}

impl ScaledData {
    pub fn new(design: &Design) -> Result<Self> {
        design.check()?;
        let (n, p) = (design.response.len(), design.fixed.len());
        let lengths: Vec<f64> =
            design.fixed.iter().map(|c| c.values.iter().map(|x| x * x).sum::<f64>().sqrt()).collect();
        let mut scaled = Array2::zeros((n, p));
        for ((mut cells, column), length) in scaled.columns_mut().into_iter().zip(&design.fixed).zip(&lengths) {
            if !(*length > 0.0) {
                let what = format!("the coefficient of `{}`", column.name);
                return Err(Error::not_estimable(what, "its column is zero everywhere"));
            }
            cells.iter_mut().zip(&column.values).for_each(|(cell, x)| *cell = x / length);
        }
        let names: Vec<String> = design.fixed.iter().map(|c| c.name.clone()).collect();
        let (basis, r) = factorise(&names, &scaled)?;
        let root_n = (n as f64).sqrt();
        let mut back =
            r.try_inverse().ok_or_else(|| Error::numeric("the fixed part of a mixed model", "R is singular"))?;
        for (mut row, length) in back.row_iter_mut().zip(&lengths) {
            row /= *length;
        }
        let response = DVector::from_column_slice(&design.response);
        let along = basis.tr_mul(&response);
        let start = &back * &along;
        let mut left = &response - &basis * along;
        let again = basis.tr_mul(&left);
        left -= &basis * again;
        let unit = left.norm() / root_n;
        if !(unit > 1e-12 * response.amax()) {
            let why = "the fixed columns fit the response exactly, so no variance is left to share out";
            return Err(Error::not_estimable("a mixed model", why));
        }
        let mut known: Vec<f64> = design.known.iter().map(|variance| variance / (unit * unit)).collect();
        known.resize(n, 0.0);
        if design.residual_sd == Some(0.0) && known.iter().any(|variance| *variance <= 0.0) {
            let why = "a row has no error: its known variance is 0 and so is the residual one";
            return Err(Error::not_estimable("a mixed model", why));
        }
        let mut prepared = Self {
            p,
            y: left.iter().map(|y| y / unit).collect(),
            x: basis.transpose().iter().map(|x| x * root_n).collect(),
            terms: design.random.iter().map(term).collect(),
            starts: vec![0],
            entries: Vec::new(),
            values: Vec::new(),
            known,
            held: design.residual_sd.map(|sd| sd / unit),
            unit,
            start,
            back: back * root_n,
        };
        (0..n).for_each(|row| prepared.add_row(design, row));
        Ok(prepared)
    }

    /// Number of rows.
    pub fn n(&self) -> usize {
        self.y.len()
    }

    /// True when a variance is known or held.
    pub fn has_known_parts(&self) -> bool {
        self.held.is_some() || self.known.iter().any(|variance| *variance > 0.0)
    }

    /// The entries of a row.
    pub fn row(&self, row: usize) -> &[RowEffect] {
        &self.entries[self.starts[row]..self.starts[row + 1]]
    }

    /// The values of an entry.
    pub fn of(&self, entry: &RowEffect) -> &[f64] {
        &self.values[entry.at..entry.at + self.terms[entry.term].q]
    }

    /// Variance of the error of each row for a residual standard deviation in scaled units.
    pub fn variances(&self, sigma: f64) -> Vec<f64> {
        self.known.iter().map(|known| known + sigma * sigma).collect()
    }

    /// Enters the random effects of a row.
    fn add_row(&mut self, design: &Design, row: usize) {
        for (index, (random, term)) in design.random.iter().zip(&self.terms).enumerate() {
            let cells = || random.columns.iter().map(|column| column.values[row]);
            if cells().all(|z| z == 0.0) {
                continue;
            }
            self.entries.push(RowEffect { term: index, level: random.level_of_row[row], at: self.values.len() });
            self.values.extend(cells().zip(&term.scale).map(|(z, scale)| z / scale));
        }
        self.starts.push(self.entries.len());
    }
}

fn term(random: &Random) -> Term {
    let size = |column: &Column| {
        let used = column.values.iter().filter(|z| **z != 0.0);
        (used.clone().map(|z| z * z).sum::<f64>() / used.count().max(1) as f64).sqrt()
    };
    Term { q: random.columns.len(), levels: random.levels.len(), scale: random.columns.iter().map(size).collect() }
}
