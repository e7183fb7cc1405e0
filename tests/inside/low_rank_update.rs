//! Steps that are added to a solved model, moved or taken out of it.

use std::collections::BTreeMap;

use super::super::gravity_shape::GravityShape;
use super::super::pair_row::PairRow;
use super::super::probe_model::{ProbeModel, SharedEffects};
use super::super::shift_term::ShiftTerm;
use super::super::variances::Variances;
use super::*;
use crate::units::Instant;

const VARIANCES: Variances = Variances { walk_sd: 0.0004, pair_sd: 0.0006 };

/// A probe that drifts and shifts by 0.003 after three months.
pub fn part(steps: Vec<ShiftTerm>) -> ProbeModel {
    let months: Vec<f64> = (1..=9).map(|i| 0.6 * f64::from(i)).collect();
    let rows =
        months.iter().map(|m| PairRow::at(&GravityShape::default(), *m, 1.02, Default::default(), 4e-7)).collect();
    let y = DVector::from_iterator(9, months.iter().map(|m| 0.0003 * m + if *m > 3.0 { 0.003 } else { 0.0 }));
    let columns = DMatrix::from_column_slice(9, 1, &months);
    let shared = SharedEffects { effects: vec![0], columns, sources: BTreeMap::new(), unknown: Vec::new() };
    ProbeModel::new(("knot", GravityShape::default()), Instant::default(), rows, y, shared, steps)
}

pub fn step(part: &ProbeModel, months: f64, sd: f64) -> ShiftTerm {
    ShiftTerm { at: part.instant(months), months, sd, event: None }
}

fn solved(steps: &[f64], shifts: bool, sd: f64) -> (f64, f64, f64) {
    let bare = part(Vec::new());
    let part = part(steps.iter().map(|m| step(&bare, *m, sd)).collect());
    let system = MixedEquations::new(vec![part.block(VARIANCES)], &[None]).unwrap();
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
            let slope = |m: &f64| if shifts { part.slope_of_step(&of(m)) } else { 0.0 };
            let slopes = DVector::from_vec(all.iter().map(slope).collect());
            let system = MixedEquations::new(vec![part.block(VARIANCES)], &[None]).unwrap();
            let at = columns_of(&system, 0, &columns).unwrap();
            let sought = system.seek(0, &part.slope_target(VARIANCES, shifts)).unwrap();
            let out = (0..before.len()).map(|i| (i, -sd * sd));
            let change: Vec<(usize, f64)> = out.chain((before.len()..all.len()).map(|i| (i, sd * sd))).collect();
            let changed = at.after(&change);
            let (ln, (moved, more)) = (changed.gain, changed.of(&at.moves(&sought, &slopes)));
            let (old, new) = (solved(&before, shifts, sd), solved(&after, shifts, sd));
            assert!((ln - (new.0 - old.0)).abs() < 1e-8, "{ln} {new:?} {old:?}");
            assert!((moved - (new.1 - old.1)).abs() < 1e-10, "{moved} {new:?} {old:?}");
            assert!((more - (new.2 - old.2)).abs() < 1e-12, "{more} {new:?} {old:?}");
        }
    }
}
