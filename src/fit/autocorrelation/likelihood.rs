//! The likelihood of a process with its derivatives, in one pass of the filter over all columns at once.
//!
//! With L the Cholesky factor of the correlation, w = L^-1 (columns) and M = w'w, the last column being the values: one
//! factorisation of M gives the coefficients, the sum of squares and `ln |X' R^-1 X|`, and the derivatives of w, which the
//! same filter carries along, give theirs. Nothing is differenced.

use super::Times;
use super::filter::Filter;
use crate::fit::matrix::dot;

/// Rows whose cross products are added up together: a multiple of four.
const BLOCK: usize = 16;

/// The (restricted) likelihood at one process.
#[derive(Debug, Clone)]
pub(super) struct LikelihoodValue<const N: usize> {
    /// Minus the logarithm of the likelihood.
    pub loss: f64,
    /// Its derivatives by the logarithm of the memory and by the white share.
    pub slopes: [f64; 2],
    /// The expected information on both, sigma being estimated too (Harvey 1989, section 3.4.5).
    pub information: [[f64; 2]; 2],
    /// Variance of one error.
    pub variance: f64,
    /// The inverse of the Cholesky factor of M; its last row, over its last cell, holds minus the coefficients.
    pub inverse: [[f64; N]; N],
}

/// Rows of up to `N` columns, the values in column `width - 1`.
#[derive(Debug)]
pub(super) struct LikelihoodData<'a, const N: usize> {
    pub rows: Vec<[f64; N]>,
    pub width: usize,
    pub times: Times<'a>,
    /// Restricted likelihood, or the plain one.
    pub restricted: bool,
    /// Logarithm of the determinant by which the design was scaled.
    pub ln_scale: f64,
}

/// Sums over all readings.
struct Totals<const N: usize> {
    /// M and its derivatives, whose lower and upper triangles are to be added.
    cross: [[f64; N]; N],
    cross_by: [[[f64; N]; N]; 2],
    ln_determinant: f64,
    /// Sums of the innovations' relative variances' derivatives, their products, and those of the last column's innovations.
    relative: [f64; 2],
    products: [f64; 3],
    moved: [f64; 3],
}

/// Whitened rows, column by column.
struct WhiteRows<const N: usize> {
    white: [[f64; BLOCK]; N],
    by: [[[f64; BLOCK]; N]; 2],
    /// Of the last column: derivatives of the innovation, whitened.
    moved: [[f64; BLOCK]; 2],
    filled: usize,
}

impl<const N: usize> WhiteRows<N> {
    fn flush<const SLOPES: bool>(&mut self, width: usize, totals: &mut Totals<N>) {
        for i in 0..N.min(width) {
            self.white[i][self.filled..].fill(0.0);
            for j in 0..=i {
                totals.cross[i][j] += dot(&self.white[i], &self.white[j]);
            }
        }
        if SLOPES {
            for (k, by) in self.by.iter().enumerate() {
                for (sums, by) in totals.cross_by[k].iter_mut().zip(by).take(width) {
                    for (sum, white) in sums.iter_mut().zip(&self.white).take(width) {
                        *sum += dot(by, white);
                    }
                }
            }
            self.moved.iter_mut().for_each(|moved| moved[self.filled..].fill(0.0));
            let [a, b] = &self.moved;
            for (sum, (a, b)) in totals.moved.iter_mut().zip([(a, a), (a, b), (b, b)]) {
                *sum += dot(a, b);
            }
        }
        self.filled = 0;
    }
}

impl<const N: usize> LikelihoodData<'_, N> {
    /// Degrees of freedom of the variance.
    pub fn df(&self) -> f64 {
        let spent = if self.restricted { self.width - 1 } else { 0 };
        self.rows.len() as f64 - spent as f64
    }

    /// Minus the logarithm of the likelihood of white noise, where the columns of the design are orthonormal and orthogonal to the
    /// values, whose sum of squares this is.
    pub fn white_loss(&self, squares: f64) -> f64 {
        0.5 * self.twice_loss(squares / self.df(), 0.0)
    }

    /// Minus twice the logarithm of the likelihood at its best variance; `ln_pivots` is half the logarithm of |X'R^-1 X|.
    fn twice_loss(&self, variance: f64, ln_pivots: f64) -> f64 {
        let twice = self.df() * ((2.0 * std::f64::consts::PI * variance).ln() + 1.0);
        if self.restricted { twice + self.ln_scale + 2.0 * ln_pivots } else { twice }
    }

    /// The likelihood at a memory and a white share; without `SLOPES` its derivatives are left 0. `None` where two readings
    /// are not told apart, the columns are not independent or the values do not vary.
    pub fn value<const SLOPES: bool>(&self, memory: f64, white: f64) -> Option<LikelihoodValue<N>> {
        let totals = self.pass::<SLOPES>(memory, white)?;
        let (factor, inverse) = factorise(&totals.cross, self.width)?;
        let (df, last) = (self.df(), self.width - 1);
        let variance = factor[last] * factor[last] / df;
        let ln_pivots = factor.iter().take(last).map(|pivot| pivot.ln()).sum::<f64>();
        let loss = 0.5 * (self.twice_loss(variance, ln_pivots) + totals.ln_determinant);
        let mut value = LikelihoodValue { loss, slopes: [0.0; 2], information: [[0.0; 2]; 2], variance, inverse };
        if SLOPES {
            for k in 0..2 {
                // Of ln |X'R^-1 X| row by row, and of the logarithm of the sum of squares.
                let by = |row: &[f64; N]| {
                    let each = |i: usize| (0..self.width).map(|j| totals.cross_by[k][i][j] * row[j]).sum::<f64>();
                    2.0 * (0..self.width).map(|i| row[i] * each(i)).sum::<f64>()
                };
                let design: f64 = if self.restricted { inverse.iter().take(last).map(by).sum() } else { 0.0 };
                value.slopes[k] = 0.5 * (df * by(&inverse[last]) + totals.relative[k] + design);
            }
            let n = self.rows.len() as f64;
            let information = |place: usize, k: usize, l: usize| {
                0.5 * (totals.products[place] - totals.relative[k] * totals.relative[l] / n)
                    + totals.moved[place] / variance
            };
            let across = information(1, 0, 1);
            value.information = [[information(0, 0, 0), across], [across, information(2, 1, 1)]];
        }
        value.loss.is_finite().then_some(value)
    }

    fn pass<const SLOPES: bool>(&self, memory: f64, white: f64) -> Option<Totals<N>> {
        let mut totals = Totals {
            cross: [[0.0; N]; N],
            cross_by: [[[0.0; N]; N]; 2],
            ln_determinant: 0.0,
            relative: [0.0; 2],
            products: [0.0; 3],
            moved: [0.0; 3],
        };
        let mut block =
            WhiteRows { white: [[0.0; BLOCK]; N], by: [[[0.0; BLOCK]; N]; 2], moved: [[0.0; BLOCK]; 2], filled: 0 };
        let mut filter = Filter::new(memory, white);
        let last = self.width - 1;
        let (mut states, mut states_by) = ([0.0; N], [[0.0; N]; 2]);
        let mut determinant = 1.0;
        for (row, gap) in self.rows.iter().zip(self.times.gaps()) {
            let step = filter.next::<SLOPES>(gap)?;
            determinant *= step.total;
            let at = block.filled;
            for i in 0..N {
                let before = states[i] * step.carry;
                let innovation = row[i] - before;
                let white = innovation * step.precision;
                block.white[i][at] = white;
                if SLOPES {
                    for (k, states_by) in states_by.iter_mut().enumerate() {
                        let carry_by = if k == 0 { step.carry_by } else { 0.0 };
                        let before_by = states_by[i] * step.carry + states[i] * carry_by;
                        block.by[k][i][at] = -before_by * step.precision - 0.5 * white * step.relative_by[k];
                        states_by[i] = before_by + step.gain_by[k] * innovation - step.gain * before_by;
                    }
                }
                states[i] = before + step.gain * innovation;
            }
            if SLOPES {
                let [a, b] = step.relative_by;
                totals.relative[0] += a;
                totals.relative[1] += b;
                for (sum, product) in totals.products.iter_mut().zip([a * a, a * b, b * b]) {
                    *sum += product;
                }
                for k in 0..2 {
                    block.moved[k][at] = block.by[k][last][at] + 0.5 * block.white[last][at] * step.relative_by[k];
                }
            }
            block.filled += 1;
            if block.filled == BLOCK {
                totals.ln_determinant += determinant.ln();
                determinant = 1.0;
                block.flush::<SLOPES>(self.width, &mut totals);
            }
        }
        totals.ln_determinant += determinant.ln();
        block.flush::<SLOPES>(self.width, &mut totals);
        Some(totals)
    }
}

/// The diagonal of the Cholesky factor of the leading `width` rows and columns, and the inverse of the factor.
fn factorise<const N: usize>(matrix: &[[f64; N]; N], width: usize) -> Option<([f64; N], [[f64; N]; N])> {
    let (mut factor, mut inverse) = ([[0.0; N]; N], [[0.0; N]; N]);
    let mut diagonal = [1.0; N];
    for i in 0..N.min(width) {
        for j in 0..=i {
            let sum = matrix[i][j] - (0..j).map(|k| factor[i][k] * factor[j][k]).sum::<f64>();
            if i == j {
                if !(sum > 1e-14 * matrix[i][i]) {
                    return None;
                }
                factor[i][i] = sum.sqrt();
            } else {
                factor[i][j] = sum / factor[j][j];
            }
        }
        diagonal[i] = factor[i][i];
        inverse[i] = std::array::from_fn(|j| {
            let known = (j..i).map(|k| factor[i][k] * inverse[k][j]).sum::<f64>();
            (f64::from(u8::from(i == j)) - known) / factor[i][i]
        });
    }
    Some((diagonal, inverse))
}
