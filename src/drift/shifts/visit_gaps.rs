//! The gaps between visits to a probe, in each of which it may have shifted.

use nalgebra::{DMatrix, DVector};

use crate::drift::model::{ProbeModel, ShiftTerm};
use crate::drift::scale::MONTH_D;

assumed! {
    /// References of a probe closer than this are one visit at it: no shift is sought between them.
    const ONE_VISIT_D: f64 = 3.0, "d";
}

/// One gap between two visits at a probe.
pub(in crate::drift) struct VisitGap {
    pub from: f64,
    pub to: f64,
    /// Its part of the time observed.
    pub share: f64,
}

impl VisitGap {
    fn step(&self, part: &ProbeModel) -> ShiftTerm {
        let months = 0.5 * (self.from + self.to);
        ShiftTerm { at: part.instant(months), months, sd: 1.0, event: None }
    }
}

/// A probe's gaps and what a shift of size 1 in each does to its pairs.
pub(in crate::drift) struct VisitGaps {
    pub gaps: Vec<VisitGap>,
    pub columns: DMatrix<f64>,
    /// By how much that may differ, SD, all pairs of a column alike: how errors show at a gravity is in doubt.
    pub doubts: DMatrix<f64>,
}

impl VisitGaps {
    /// The gap that holds an age.
    pub fn holding(&self, months: f64) -> Option<&VisitGap> {
        self.gaps.iter().find(|gap| (gap.from..=gap.to).contains(&months))
    }

    /// A step of size 1 in the middle of each gap.
    pub fn steps(&self, part: &ProbeModel) -> Vec<ShiftTerm> {
        self.gaps.iter().map(|gap| gap.step(part)).collect()
    }

    pub fn of(part: &ProbeModel) -> Self {
        let mut visits: Vec<(f64, f64)> = Vec::new();
        let mut times = part.times();
        times.push(0.0);
        times.sort_by(f64::total_cmp);
        for at in times {
            match visits.last_mut() {
                Some(visit) if at - visit.1 < *ONE_VISIT_D / MONTH_D => visit.1 = at,
                _ => visits.push((at, at)),
            }
        }
        let between = || visits.iter().zip(visits.iter().skip(1)).map(|(a, b)| (a.1, b.0));
        let total: f64 = between().map(|(from, to)| to - from).sum();
        let gaps: Vec<VisitGap> =
            between().map(|(from, to)| VisitGap { from, to, share: (to - from) / total }).collect();
        let matrix = |of: &dyn Fn(&ShiftTerm) -> DVector<f64>| {
            let columns: Vec<DVector<f64>> = gaps.iter().map(|gap| of(&gap.step(part))).collect();
            if columns.is_empty() { DMatrix::zeros(part.n(), 0) } else { DMatrix::from_columns(&columns) }
        };
        let (columns, doubts) = (matrix(&|step| part.column_of(step)), matrix(&|step| part.doubt_of(step)));
        Self { gaps, columns, doubts }
    }
}
