//! The mixed-model equations at given variances.

use std::cmp::Reverse;

use super::scaled::{Covariance, RowEffect, ScaledData};
use crate::fit::matrix::dot;
use crate::{Error, Result};

/// More cells than this would take minutes and gigabytes.
const MOST_CELLS: usize = 20_000_000;

/// Where random effects, fixed columns and the response stand in the equations, in this order.
///
/// Of the lower triangle of the products `[Z X y]' W [Z X y]` each row is kept from its first cell that rows of the data touch:
/// the Cholesky factor has none before it. The grouping with most levels comes first. Its levels do not meet in a row, so that
/// their part stays narrow and takes time in proportion to the rows.
#[derive(Debug, Clone)]
pub(super) struct Layout {
    /// The grouping and the column of each random effect, by place.
    effects: Vec<(usize, usize)>,
    /// Places of all random effects.
    random: usize,
    width: usize,
    /// First column of each row that is kept.
    starts: Vec<usize>,
    /// First cell of each row.
    cells: Vec<usize>,
    /// Of each row of the data the places and values of its random effects, by place.
    rows: Vec<Vec<(usize, f64)>>,
}

/// What the equations give.
#[derive(Debug, Clone)]
pub(super) struct SolvedEquations {
    /// ln |L'Z'WZL + I|.
    pub ln_det: f64,
    /// ln |X'V^-1 X|.
    pub ln_det_fixed: f64,
    /// The least sum of squares, random effects penalised.
    pub squares: f64,
    /// Coefficients of the fixed columns.
    pub fixed: Vec<f64>,
}

impl Layout {
    /// # Errors
    /// [`Error::NotEstimable`] when too many crossed levels would meet.
    pub fn new(data: &ScaledData) -> Result<Self> {
        let mut order: Vec<usize> = (0..data.terms.len()).collect();
        order.sort_by_key(|&term| Reverse(data.terms[term].levels));
        let mut offsets = vec![0; order.len()];
        let mut effects = Vec::new();
        for term in order {
            offsets[term] = effects.len();
            effects.extend((0..data.terms[term].levels).flat_map(|_| (0..data.terms[term].q).map(move |k| (term, k))));
        }
        let random = effects.len();
        let width = random + data.p + 1;
        let mut starts: Vec<usize> = (0..width).collect();
        let mut layout = Self { effects, random, width, starts: Vec::new(), cells: Vec::new(), rows: Vec::new() };
        for row in 0..data.n() {
            let values = |entry: &RowEffect| {
                let place = offsets[entry.term] + entry.level * data.terms[entry.term].q;
                (place..).zip(data.of(entry).iter().copied()).collect::<Vec<_>>()
            };
            let mut touched: Vec<(usize, f64)> = data.row(row).iter().flat_map(values).collect();
            touched.sort_unstable_by_key(|(place, _)| *place);
            let first = touched.first().map_or(random, |(place, _)| *place);
            let all = touched.iter().map(|(place, _)| *place).chain(random..width);
            all.for_each(|place| starts[place] = starts[place].min(first));
            layout.rows.push(touched.into_iter().filter(|(_, z)| *z != 0.0).collect());
        }
        let mut size = 0;
        for (place, start) in starts.iter().enumerate() {
            layout.cells.push(size);
            size += place + 1 - start;
        }
        layout.starts = starts;
        if size > MOST_CELLS {
            let why = format!("{random} random effects of groupings that cross: more than dense arithmetic takes");
            return Err(Error::not_estimable("a mixed model", why));
        }
        layout.cells.push(size);
        Ok(layout)
    }

    /// Solves the equations (Henderson 1975; Bates, Maechler, Bolker and Walker 2015, equations 10 to 27) from the
    /// [`products`](Self::products). None where they are not positive definite.
    pub fn solve(&self, data: &ScaledData, covariance: &Covariance, products: &[f64]) -> Option<SolvedEquations> {
        let root = self.factorise(self.with_factors(covariance, products))?;
        let at = |row: usize, column: usize| root[self.cells[row] + column - self.starts[row]];
        let log_of = |range: std::ops::Range<usize>| range.map(|i| 2.0 * at(i, i).ln()).sum::<f64>();
        let (first, last) = (self.random, self.width - 1);
        let mut fixed = vec![0.0; data.p];
        for i in (0..data.p).rev() {
            let later: f64 = (i + 1..data.p).map(|k| at(first + k, first + i) * fixed[k]).sum();
            fixed[i] = (at(last, first + i) - later) / at(first + i, first + i);
        }
        let squares = at(last, last).powi(2);
        Some(SolvedEquations { ln_det: log_of(0..first), ln_det_fixed: log_of(first..last), squares, fixed })
    }

    /// The products of the random effects' columns, the fixed columns and the response, rows weighted by the reciprocals of
    /// `variances`. They hold no spread of the random effects.
    pub fn products(&self, data: &ScaledData, variances: &[f64]) -> Vec<f64> {
        let mut cells = vec![0.0; self.cells[self.width]];
        let mut touched: Vec<(usize, f64)> = Vec::new();
        for (row, (random, variance)) in self.rows.iter().zip(variances).enumerate() {
            let fixed = data.x[row * data.p..(row + 1) * data.p].iter().chain([&data.y[row]]).copied();
            touched.clear();
            touched.extend(random.iter().copied().chain((self.random..).zip(fixed)));
            for (k, (i, a)) in touched.iter().enumerate() {
                let (of_row, a) = (&mut cells[self.cells[*i]..], a / variance);
                touched[..=k].iter().for_each(|(j, b)| of_row[*j - self.starts[*i]] += a * b);
            }
        }
        cells
    }

    /// The products with the factors applied and the identity added: `L'Z'WZL + I` with the rows below it.
    fn with_factors(&self, covariance: &Covariance, products: &[f64]) -> Vec<f64> {
        let factors: Vec<f64> = self.effects.iter().map(|(term, column)| covariance.factors[*term][*column]).collect();
        let mut cells = products.to_vec();
        for i in 0..self.width {
            let row = &mut cells[self.cells[i]..self.cells[i + 1]];
            let Some(left) = factors.get(i) else {
                row.iter_mut().zip(&factors[self.starts[i]..]).for_each(|(cell, right)| *cell *= right);
                continue;
            };
            let (own, before) = (i - self.starts[i], &factors[self.starts[i]..i]);
            row.iter_mut().zip(before).for_each(|(cell, right)| *cell = left * (*cell * right));
            row[own] = left * left * row[own] + 1.0;
        }
        cells
    }

    /// Cholesky factor in place. The last pivot, that of the response, is taken for 0 where rounding made it negative.
    fn factorise(&self, mut cells: Vec<f64>) -> Option<Vec<f64>> {
        for i in 0..self.width {
            let (above, rest) = cells.split_at_mut(self.cells[i]);
            let row = &mut rest[..=i - self.starts[i]];
            for j in self.starts[i]..i {
                let first = self.starts[i].max(self.starts[j]);
                let (own, other) =
                    (first - self.starts[i]..j - self.starts[i], &above[self.cells[j]..self.cells[j + 1]]);
                let sum = dot(&row[own], &other[first - self.starts[j]..]);
                row[j - self.starts[i]] = (row[j - self.starts[i]] - sum) / other[j - self.starts[j]];
            }
            let (last, before) = row.split_last_mut()?;
            let pivot = *last - dot(before, before);
            if i + 1 < self.width && !(pivot > 0.0) || pivot.is_nan() {
                return None;
            }
            *last = pivot.max(0.0).sqrt();
        }
        Some(cells)
    }
}
