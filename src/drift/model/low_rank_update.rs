//! The model with other steps than it was solved with, without solving it afresh.

use nalgebra::{DMatrix, DVector, Matrix2, Vector2};

use crate::fit::matrix::solve_transposed;

use super::equations::{BlockPrediction, MixedEquations};

/// Quantities of the mixed-model equations by column of steps.
pub(in crate::drift) struct ShiftColumns {
    /// D' P D.
    information: DMatrix<f64>,
    /// D' P y.
    scores: DVector<f64>,
    /// Whitened D.
    white: DMatrix<f64>,
    /// What D does to the effects.
    spread: DMatrix<f64>,
}

/// A change of the steps: what it does to the likelihood and to any target.
pub(in crate::drift) struct LowRankUpdate {
    /// Logarithm of the likelihood after it over that before it.
    pub gain: f64,
    /// The columns that are changed.
    pub columns: [usize; 2],
    inner: Matrix2<f64>,
    pull: Vector2<f64>,
}

/// The columns of steps of size 1 at a solved model.
pub(in crate::drift) fn columns_of(system: &MixedEquations, p: usize, columns: &DMatrix<f64>) -> Option<ShiftColumns> {
    let part = system.parts.get(p)?;
    let mut white = columns.clone();
    solve_transposed(&part.upper, white.as_mut_slice());
    let inner = part.columns.tr_mul(&white);
    let spread = system.inverse().select_columns(&part.effects) * &inner;
    let own = spread.select_rows(&part.effects);
    let information = white.tr_mul(&white) - inner.tr_mul(&own);
    let scores = white.tr_mul(&system.residual(part));
    Some(ShiftColumns { information, scores, white, spread })
}

impl ShiftColumns {
    /// A target that moves by `stepped` with the steps: what it moves by beyond its prediction, g - a.
    pub fn moves(&self, sought: &BlockPrediction, stepped: &DVector<f64>) -> DVector<f64> {
        stepped - self.white.tr_mul(&sought.white) - self.spread.tr_mul(&sought.loads)
    }

    /// Mean square of the size of step `k`, which the model has with the SD `sd`.
    pub fn square(&self, k: usize, sd: f64) -> f64 {
        let t = sd * sd;
        (t * self.scores[k]).powi(2) + (t - t * t * self.information[(k, k)]).max(0.0)
    }

    /// A change: columns of steps with the variances of their sizes, at most two.
    pub fn after(&self, change: &[(usize, f64)]) -> LowRankUpdate {
        match *change {
            [] => LowRankUpdate::nothing(0.0),
            [(k, t)] => {
                let (g, s) = (self.information[(k, k)], self.scores[k]);
                let scale = (1.0 + t * g).max(1e-12);
                let inner = t / scale;
                LowRankUpdate {
                    gain: 0.5 * (inner * s * s - scale.ln()),
                    columns: [k, k],
                    inner: Matrix2::new(inner, 0.0, 0.0, 0.0),
                    pull: Vector2::new(inner * s, 0.0),
                }
            }
            [(k, t), (l, u), ..] => {
                let g = |a: usize, b: usize| self.information[(a, b)];
                let s = Vector2::new(self.scores[k], self.scores[l]);
                let information = Matrix2::new(g(k, k), g(k, l), g(l, k), g(l, l));
                let variance = Matrix2::new(t, 0.0, 0.0, u);
                let scale = Matrix2::identity() + variance * information;
                let determinant = scale.determinant();
                match scale.try_inverse() {
                    Some(inverse) if determinant > 0.0 => {
                        let inner = inverse * variance;
                        let pull = inner * s;
                        let gain = 0.5 * (pull.dot(&s) - determinant.ln());
                        LowRankUpdate { gain, columns: [k, l], inner, pull }
                    }
                    _ => LowRankUpdate::nothing(f64::NEG_INFINITY),
                }
            }
        }
    }
}

impl LowRankUpdate {
    /// One that moves no target.
    fn nothing(gain: f64) -> Self {
        Self { gain, columns: [0, 0], inner: Matrix2::zeros(), pull: Vector2::zeros() }
    }

    /// Columns that are changed, with the mean squares of the sizes of steps that are added.
    pub fn squares(&self) -> [(usize, f64); 2] {
        [0, 1].map(|i| (self.columns[i], self.pull[i].powi(2) + self.inner[(i, i)]))
    }

    /// What a target with these [`ShiftColumns::moves`] moves by, and its further variance.
    pub fn of(&self, moves: &DVector<f64>) -> (f64, f64) {
        if self.inner == Matrix2::zeros() {
            return (0.0, 0.0);
        }
        let [k, l] = self.columns;
        let m = Vector2::new(moves[k], moves[l]);
        (m.dot(&self.pull), m.dot(&(self.inner * m)))
    }
}

#[cfg(test)]
#[path = "../../../tests/inside/low_rank_update.rs"]
pub(in crate::drift) mod tests;
