//! The mixed-model equations for given relative covariance factors.

use super::by_rows::{cholesky, dot, product, transposed_product};
use super::cross::Cross;
use super::scaled::ScaledData;

/// Factors of the random effects' covariance, one q x q matrix by rows for each grouping: `cov(u) = L L'`, over the variance by
/// which the rows are weighted.
pub(super) type Factors = Vec<Vec<f64>>;

/// What the equations give.
#[derive(Debug, Clone)]
pub(super) struct SolvedEquations {
    /// ln |L'Z'WZL + I|.
    pub ln_det: f64,
    /// ln |X'V^-1 X|.
    pub ln_det_fixed: f64,
    /// The least sum of squares, random effects penalised.
    pub squares: f64,
    /// Lower Cholesky factor of the dense part, width x width by rows; its last row belongs to y.
    pub root: Vec<f64>,
}

/// One level's part of the factorisation.
#[derive(Debug, Default)]
pub(super) struct LevelBlock {
    /// Lower Cholesky factor of `L'Z'WZL + I`, q x q.
    pub root: Vec<f64>,
    /// The columns of the dense part that it touches, ascending.
    pub columns: Vec<usize>,
    /// `root^-1 L'Z'W [...]` for each of them, q values each.
    pub solved: Vec<f64>,
    scratch: Vec<f64>,
}

/// Factorises the equations (Henderson 1975; Bates, Maechler, Bolker and Walker 2015, equations 10 to 27): level after level of
/// the main grouping, then the dense part. None where they are not positive definite.
pub(super) fn solve(data: &ScaledData, cross: &Cross, factors: &Factors) -> Option<SolvedEquations> {
    let width = cross.width;
    let mut root = border(data, cross, factors);
    let mut ln_det = 0.0;
    if let Some(main) = cross.main {
        let q = data.terms[main].q;
        let mut level = LevelBlock::default();
        for index in 0..data.terms[main].levels {
            level.factorise(data, cross, factors, main, index)?;
            for i in 0..q {
                ln_det += 2.0 * level.root[i * q + i].ln();
            }
            for (a, row) in level.columns.iter().enumerate() {
                let left = &level.solved[a * q..(a + 1) * q];
                for (b, column) in level.columns.iter().enumerate().take(a + 1) {
                    root[row * width + column] -= dot(left, &level.solved[b * q..(b + 1) * q]);
                }
            }
        }
    }
    let squares = cholesky(&mut root, width)?;
    let log_of = |range: std::ops::Range<usize>| range.map(|i| 2.0 * root[i * width + i].ln()).sum::<f64>();
    ln_det += log_of(0..cross.random);
    let ln_det_fixed = log_of(cross.random..width - 1);
    Some(SolvedEquations { ln_det, ln_det_fixed, squares, root })
}

impl LevelBlock {
    /// Factorises level `index` of the main grouping.
    pub fn factorise(
        &mut self,
        data: &ScaledData,
        cross: &Cross,
        factors: &Factors,
        main: usize,
        index: usize,
    ) -> Option<()> {
        let (q, wide) = (data.terms[main].q, data.p + 1);
        let factor = &factors[main];
        self.scratch.clear();
        self.scratch.resize(q * q, 0.0);
        product(&cross.gram[index * q * q..(index + 1) * q * q], factor, (q, q, q), &mut self.scratch);
        self.root.clear();
        self.root.resize(q * q, 0.0);
        transposed_product(factor, &self.scratch, (q, q, q), &mut self.root);
        for i in 0..q {
            self.root[i * q + i] += 1.0;
        }
        if !(cholesky(&mut self.root, q)? > 0.0) {
            return None;
        }
        self.columns.clear();
        self.solved.clear();
        for (place, cells) in &cross.links[index] {
            let dense = cross.dense[*place];
            let other = data.terms[dense.term].q;
            self.scratch.clear();
            self.scratch.resize(q * other, 0.0);
            product(cells, &factors[dense.term], (q, other, other), &mut self.scratch);
            self.add(factor, q, other, dense.offset);
        }
        self.scratch.clear();
        self.scratch.extend_from_slice(&cross.fixed[index * q * wide..(index + 1) * q * wide]);
        self.add(factor, q, wide, cross.random);
        Some(())
    }

    /// Adds the columns `root^-1 factor' scratch`.
    fn add(&mut self, factor: &[f64], q: usize, count: usize, offset: usize) {
        for column in 0..count {
            self.columns.push(offset + column);
            let start = self.solved.len();
            for i in 0..q {
                let mut value: f64 = (0..q).map(|k| factor[k * q + i] * self.scratch[k * count + column]).sum();
                for k in 0..i {
                    value -= self.root[i * q + k] * self.solved[start + k];
                }
                self.solved.push(value / self.root[i * q + i]);
            }
        }
    }
}

/// The dense part with the factors applied and the identity added.
fn border(data: &ScaledData, cross: &Cross, factors: &Factors) -> Vec<f64> {
    let width = cross.width;
    let mut border = cross.border.clone();
    let mut changed = Vec::new();
    for dense in &cross.dense {
        let (q, factor) = (data.terms[dense.term].q, &factors[dense.term]);
        for row in border.chunks_mut(width) {
            let cells = &mut row[dense.offset..dense.offset + q];
            changed.clear();
            changed.resize(q, 0.0);
            product(cells, factor, (1, q, q), &mut changed);
            cells.copy_from_slice(&changed);
        }
    }
    for dense in &cross.dense {
        let (q, factor) = (data.terms[dense.term].q, &factors[dense.term]);
        let rows = &mut border[dense.offset * width..(dense.offset + q) * width];
        changed.clear();
        changed.resize(q * width, 0.0);
        transposed_product(factor, rows, (q, q, width), &mut changed);
        rows.copy_from_slice(&changed);
    }
    for i in 0..cross.random {
        border[i * width + i] += 1.0;
    }
    border
}
