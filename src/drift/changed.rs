//! The model with other steps than it was solved with, without solving it afresh.

use nalgebra::{DMatrix, DVector, Matrix2, Vector2};

use super::blocks::System;
use super::model::Variances;
use super::part::Part;

/// Quantities of the mixed-model equations by column of steps.
pub(super) struct Columns {
    /// D' P D.
    information: DMatrix<f64>,
    /// D' P y.
    scores: DVector<f64>,
    /// g - a of the slope with steps and of that without.
    moves: [DVector<f64>; 2],
}

/// The columns of steps of size 1 at a solved model; `slopes` is what each does to the slope.
pub(super) fn columns_of(
    system: &System,
    p: usize,
    part: &Part,
    variances: Variances,
    columns: &DMatrix<f64>,
    slopes: &DVector<f64>,
) -> Option<Columns> {
    let white = system.parts.get(p)?;
    let mut steps = columns.clone();
    white.lower.solve_lower_triangular_mut(&mut steps);
    let inner = white.columns.tr_mul(&steps);
    let spread = system.inverse.select_columns(white.effects) * &inner;
    let own = spread.select_rows(white.effects);
    let information = steps.tr_mul(&steps) - inner.tr_mul(&own);
    let rest = &white.y - &white.columns * system.effects.select_rows(white.effects);
    let scores = steps.tr_mul(&rest);
    let of = |shifts: bool| {
        let target = part.slope_target(variances, shifts);
        let loads = system.seek(p, &target)?.loads;
        let mut covariance = target.covariance;
        white.lower.solve_lower_triangular_mut(&mut covariance);
        let predicted = steps.tr_mul(&covariance) + spread.tr_mul(&loads);
        Some(if shifts { slopes - predicted } else { -predicted })
    };
    let moves = [of(true)?, of(false)?];
    Some(Columns { information, scores, moves })
}

impl Columns {
    /// Logarithm of the likelihood after a change over that before it, and what the slopes move by, with their further
    /// variance.
    pub fn after(&self, change: &[(usize, f64)]) -> (f64, [(f64, f64); 2]) {
        match *change {
            [] => (0.0, [(0.0, 0.0); 2]),
            [(k, t)] => {
                let (g, s) = (self.information[(k, k)], self.scores[k]);
                let scale = (1.0 + t * g).max(1e-12);
                let inner = t / scale;
                let moves = self.moves.each_ref().map(|m| (m[k] * inner * s, m[k] * inner * m[k]));
                (0.5 * (inner * s * s - scale.ln()), moves)
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
                        let moves = self.moves.each_ref().map(|m| {
                            let m = Vector2::new(m[k], m[l]);
                            (m.dot(&(inner * s)), m.dot(&(inner * m)))
                        });
                        (0.5 * ((inner * s).dot(&s) - determinant.ln()), moves)
                    }
                    _ => (f64::NEG_INFINITY, [(0.0, 0.0); 2]),
                }
            }
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use std::collections::BTreeMap;

    use super::super::part::{Row, Step, Touching};
    use super::*;
    use crate::units::Instant;

    const VARIANCES: Variances = Variances { walk_sd: 0.0004, pair_sd: 0.0006 };

    /// A probe that drifts and shifts by 0.003 after three months.
    pub fn part(steps: Vec<Step>) -> Part {
        let months: Vec<f64> = (1..=9).map(|i| 0.6 * f64::from(i)).collect();
        let rows = months
            .iter()
            .map(|m| Row { months: *m, shows: 1.0, errors: Default::default(), sg: 1.02, own: 4e-7, doubt: 0.0 })
            .collect();
        let y = DVector::from_iterator(9, months.iter().map(|m| 0.0003 * m + if *m > 3.0 { 0.003 } else { 0.0 }));
        let columns = DMatrix::from_column_slice(9, 1, &months);
        let touching = Touching { effects: vec![0], columns, sources: BTreeMap::new() };
        Part::new("knot", Instant::default(), rows, y, touching, steps)
    }

    pub fn step(part: &Part, months: f64, sd: f64) -> Step {
        Step { at: part.instant(months), months, mean: 0.0, sd, event: None }
    }

    fn solved(steps: &[f64], shifts: bool, sd: f64) -> (f64, f64, f64) {
        let bare = part(Vec::new());
        let part = part(steps.iter().map(|m| step(&bare, *m, sd)).collect());
        let system = System::new(vec![part.block(VARIANCES)], &[None]).unwrap();
        let (value, variance) = system.predict(0, &part.slope_target(VARIANCES, shifts)).unwrap();
        (system.ln_likelihood, value, variance)
    }

    /// Steps that are added, moved or taken out against the model solved afresh.
    #[test]
    fn a_changed_model_is_that_solved_afresh() {
        let sd = 0.006;
        let bare = part(Vec::new());
        for shifts in [true, false] {
            for (before, after) in [(vec![], vec![2.1]), (vec![3.3], vec![]), (vec![3.3], vec![2.1])] {
                let part = part(before.iter().map(|m| step(&bare, *m, sd)).collect());
                let all: Vec<f64> = before.iter().chain(&after).copied().collect();
                let of = |m: &f64| step(&part, *m, sd);
                let columns = DMatrix::from_columns(&all.iter().map(|m| part.column_of(&of(m))).collect::<Vec<_>>());
                let slopes = DVector::from_vec(all.iter().map(|m| part.slope_of_step(&of(m))).collect());
                let system = System::new(vec![part.block(VARIANCES)], &[None]).unwrap();
                let at = columns_of(&system, 0, &part, VARIANCES, &columns, &slopes).unwrap();
                let out = (0..before.len()).map(|i| (i, -sd * sd));
                let change: Vec<(usize, f64)> = out.chain((before.len()..all.len()).map(|i| (i, sd * sd))).collect();
                let (ln, [with, without]) = at.after(&change);
                let (moved, more) = if shifts { with } else { without };
                let (old, new) = (solved(&before, shifts, sd), solved(&after, shifts, sd));
                assert!((ln - (new.0 - old.0)).abs() < 1e-8, "{ln} {new:?} {old:?}");
                assert!((moved - (new.1 - old.1)).abs() < 1e-10, "{moved} {new:?} {old:?}");
                assert!((more - (new.2 - old.2)).abs() < 1e-12, "{more} {new:?} {old:?}");
            }
        }
    }
}
