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
    /// The levels of all groupings by place.
    levels: Vec<Level>,
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

/// The random effects of one level: `q` places from `place` on.
#[derive(Debug, Clone, Copy)]
struct Level {
    term: usize,
    place: usize,
    q: usize,
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
        let (mut random, mut levels) = (0, Vec::new());
        for term in order {
            let q = data.terms[term].q;
            offsets[term] = random;
            levels.extend((0..data.terms[term].levels).map(|level| Level { term, place: random + level * q, q }));
            random += data.terms[term].levels * q;
        }
        let width = random + data.p + 1;
        let mut starts: Vec<usize> = (0..width).collect();
        let mut layout = Self { levels, random, width, starts: Vec::new(), cells: Vec::new(), rows: Vec::new() };
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
        let mut cells = vec![0.0; products.len()];
        let cell = |i: usize, j: usize| self.cells[i] + j - self.starts[i];
        // Fixed columns are levels of their own with the factor 1.
        let fixed = (self.random..self.width).map(|place| Level { term: usize::MAX, place, q: 1 });
        let factor = |level: &Level| covariance.factors.get(level.term).map_or(&[1.0][..], Vec::as_slice);
        for row in self.levels.iter().copied().chain(fixed) {
            let (left, first) = (factor(&row), self.starts[row.place]);
            let from = self.levels.partition_point(|level| level.place < first);
            let until = self.levels.partition_point(|level| level.place < row.place);
            for column in &self.levels[from..until] {
                let right = factor(column);
                for (k, m) in (0..row.q).flat_map(|k| (0..column.q).map(move |m| (k, m))) {
                    let of_row = |i: usize| -> f64 {
                        let at = cell(row.place + i, column.place);
                        (0..column.q).map(|j| products[at + j] * right[j * column.q + m]).sum()
                    };
                    cells[cell(row.place + k, column.place + m)] =
                        (0..row.q).map(|i| left[i * row.q + k] * of_row(i)).sum();
                }
            }
            // The level's own block, of which the lower triangle is kept. One that no row touches has none.
            let touched = row.place < self.random && (0..row.q).all(|k| self.starts[row.place + k] <= row.place);
            for (k, m) in (0..row.q).filter(|_| touched).flat_map(|k| (0..=k).map(move |m| (k, m))) {
                let pairs = (0..row.q).flat_map(|i| (0..row.q).map(move |j| (i, j)));
                let of_pair = |(i, j): (usize, usize)| {
                    left[i * row.q + k]
                        * left[j * row.q + m]
                        * products[cell(row.place + i.max(j), row.place + i.min(j))]
                };
                cells[cell(row.place + k, row.place + m)] = pairs.map(of_pair).sum();
            }
        }
        for i in 0..self.random {
            cells[cell(i, i)] += 1.0;
        }
        for i in self.random..self.width {
            let range = cell(i, self.random)..=cell(i, i);
            cells[range.clone()].copy_from_slice(&products[range]);
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
