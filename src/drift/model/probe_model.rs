//! One probe's part of the model: its pairs, how its error may move, and what can be asked of it.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{Cholesky, DMatrix, DVector};

use crate::gravity::ReadingErrors;
use crate::units::Instant;

use crate::drift::scale::{AT_SG, MONTH_D};

use super::equations::ProbeBlock;
use super::gravity_shape::{EVEN, GravityResponse, GravityShape};
use super::pair_row::{PairRow, response_covariance};
use super::shift_term::ShiftTerm;
use super::variances::Variances;

assumed! {
    /// Part of the variance of a pair beyond all known errors that the pairs of one stay in a beer have in common: what clings
    /// to a probe stays there.
    const STAY_SHARE: f64 = 0.5, "share";
}

/// The effects of the whole model that touch a probe's pairs.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::drift) struct SharedEffects {
    /// Their numbers, the slope's own first; it has the lowest.
    pub effects: Vec<usize>,
    /// Their columns, in that order.
    pub columns: DMatrix<f64>,
    /// By source of error that other probes have as well: the number of its effect. One standard deviation is its unit.
    pub sources: BTreeMap<usize, usize>,
    /// Those that are gravities of beers of which only the probes in them tell.
    pub unknown: Vec<usize>,
}

#[derive(Debug, Clone, PartialEq)]
pub(in crate::drift) struct ProbeModel {
    pub probe: String,
    /// When its first calibration was done.
    pub calibrated_at: Instant,
    pub rows: Vec<PairRow>,
    pub y: DVector<f64>,
    /// Known covariance: own error, the sources of error that no other probe has, doubt about how drift shows at a gravity.
    known: DMatrix<f64>,
    /// Covariance of a random walk of SD 1 after 30 days, that doubt included.
    walk: DMatrix<f64>,
    /// Covariance of errors beyond all known ones of variance 1.
    beyond: DMatrix<f64>,
    pub shared: SharedEffects,
    pub steps: Vec<ShiftTerm>,
    /// How its errors show at a gravity.
    pub shape: GravityShape,
    /// The sideways part of the walk's variance.
    pub sideways: f64,
    /// What a walk of 1 of a usual probe makes of this one's error at SG 1.020.
    pub walks: GravityResponse,
    /// Months of a weekly grid through the observed span, with the weights that make a slope.
    pub grid: Vec<(f64, f64)>,
    /// First and last age observed, months; 0 is among them.
    pub span: (f64, f64),
}

impl ProbeModel {
    /// Its pairs with the effects that touch them, and its steps.
    pub fn new(
        (probe, shape): (&str, GravityShape),
        calibrated_at: Instant,
        rows: Vec<PairRow>,
        y: DVector<f64>,
        shared: SharedEffects,
        steps: Vec<ShiftTerm>,
    ) -> Self {
        let mut known = covariance_of(&rows, |a, b| {
            a.errors.covariance(&b.errors, |source| !shared.sources.contains_key(&source)) + a.line_doubt * b.line_doubt
        });
        for (i, row) in rows.iter().enumerate() {
            known[(i, i)] += row.own.max(1e-12);
        }
        let walk = covariance_of(&rows, PairRow::walked);
        let mut beyond =
            covariance_of(&rows, |a, b| if a.stay.is_some() && a.stay == b.stay { *STAY_SHARE } else { 0.0 });
        beyond.fill_diagonal(1.0);
        let last = rows.iter().map(|r| r.months).fold(0.0, f64::max);
        let first = rows.iter().map(|r| r.months).fold(0.0, f64::min);
        let steps = steps.into_iter().filter(|step| step.months > first).collect();
        let (probe, grid) = (probe.to_owned(), weekly_slope(first, last));
        let (span, sideways, walks) = ((first, last), *EVEN, shape.walked(*EVEN, AT_SG));
        Self { probe, calibrated_at, rows, y, known, walk, beyond, shared, steps, shape, sideways, walks, grid, span }
    }

    /// Pairs used.
    pub fn n(&self) -> usize {
        self.y.len()
    }

    /// Days from the first to the last age observed.
    pub fn span_d(&self) -> f64 {
        (self.span.1 - self.span.0) * MONTH_D
    }

    /// Ages of pairs, rising, each once, months.
    pub fn times(&self) -> Vec<f64> {
        let mut months: Vec<f64> = self.rows.iter().map(|row| row.months).collect();
        months.sort_by(f64::total_cmp);
        months.dedup();
        months
    }

    /// The moment of an age in months.
    pub fn instant(&self, months: f64) -> Instant {
        self.calibrated_at.plus_days(months * MONTH_D)
    }

    /// The age of a moment, months.
    pub fn months_at(&self, at: Instant) -> f64 {
        at.days_since(self.calibrated_at) / MONTH_D
    }

    /// Whether its pairs have numbers and a covariance.
    pub fn is_solvable(&self) -> bool {
        let covariance = self.block(Variances { walk_sd: 0.0, pair_sd: 0.0 }).covariance;
        self.y.iter().chain(covariance.iter()).all(|x| x.is_finite()) && Cholesky::new(covariance).is_some()
    }

    /// The pairs as a block.
    pub fn block(&self, variances: Variances) -> ProbeBlock<'_> {
        let mut covariance =
            &self.known + &self.walk * variances.walk_sd.powi(2) + &self.beyond * variances.pair_sd.powi(2);
        for step in &self.steps {
            for column in [self.column_of(step), self.doubt_of(step)] {
                covariance.syger(step.sd.powi(2), &column, &column, 1.0);
            }
        }
        covariance.fill_upper_triangle_with_lower_triangle();
        ProbeBlock { y: &self.y, covariance, effects: &self.shared.effects, columns: &self.shared.columns }
    }

    /// What a step of size 1 (at SG 1.020) does to the pairs.
    pub fn column_of(&self, step: &ShiftTerm) -> DVector<f64> {
        DVector::from_iterator(self.n(), self.rows.iter().map(|row| row.shows * step.at_age(row.months)))
    }

    /// By how much that may differ, SD, with signs: all pairs alike.
    pub fn doubt_of(&self, step: &ShiftTerm) -> DVector<f64> {
        DVector::from_iterator(self.n(), self.rows.iter().map(|row| row.doubt * step.at_age(row.months)))
    }

    /// The same part with a walk of which this part of the variance is sideways.
    pub fn with_sideways(&self, sideways: f64) -> Self {
        let mut part = Self { sideways, walks: self.shape.walked(sideways, AT_SG), ..self.clone() };
        part.rows = part.rows.iter().map(|row| part.walking(row.clone())).collect();
        part.walk = covariance_of(&part.rows, PairRow::walked);
        part
    }

    /// A row on which the walk shows as it does in this part.
    fn walking(&self, row: PairRow) -> PairRow {
        PairRow { walk: self.shape.walked(self.sideways, row.sg), ..row }
    }

    /// The probe at an age and a gravity, with the error of a reading there on the first curve, by source.
    pub fn state(&self, months: f64, sg: f64, errors: ReadingErrors) -> PairRow {
        self.walking(PairRow::at(&self.shape, months, sg, errors, 0.0))
    }

    /// The number of the slope's effect.
    pub fn slope(&self) -> usize {
        self.shared.effects.first().copied().unwrap_or_default()
    }

    /// SD of this probe's walk at SG 1.020 in units of that of a usual one.
    pub fn walk_at_drift_sg(&self) -> f64 {
        response_covariance(self.walks, self.walks).sqrt()
    }

    /// The same part with an error that shows at a gravity as given, without doubt about that.
    pub fn shaped(&self, shape: &dyn Fn(f64) -> f64) -> Self {
        let mut rows = self.rows.clone();
        let mut shared = self.shared.clone();
        let walk = self.walk_at_drift_sg();
        for (i, row) in rows.iter_mut().enumerate() {
            *row = row.clone().showing(shape(row.sg), walk);
            if let Some(cell) = shared.columns.get_mut((i, 0)) {
                *cell = row.shows * row.months;
            }
        }
        Self { walks: (walk, 0.0), ..self.remade(rows, self.y.clone(), shared) }
    }

    /// The same part with one more pair, which shares with others the errors of its curve only; its difference is 0.
    pub fn with_row(&self, row: PairRow) -> Self {
        let (mut rows, n) = (self.rows.clone(), self.n());
        let row = self.walking(row);
        let mut shared = self.shared.clone();
        shared.columns = shared.columns.insert_row(n, 0.0);
        let sources = row.errors.shared.iter().filter_map(|(source, by)| Some((*shared.sources.get(source)?, *by)));
        let all: Vec<(usize, f64)> = sources.chain([(self.slope(), row.shows * row.months)]).collect();
        for (effect, by) in all {
            let place = shared.effects.iter().position(|j| *j == effect);
            if let Some(cell) = place.and_then(|j| shared.columns.get_mut((n, j))) {
                *cell = by;
            }
        }
        rows.push(row);
        self.remade(rows, self.y.clone().push(0.0), shared)
    }

    /// The same probe with those of its pairs that `keep` names by number.
    pub fn only(&self, keep: impl Fn(usize) -> bool) -> Cow<'_, Self> {
        let kept: Vec<usize> = (0..self.n()).filter(|row| keep(*row)).collect();
        if kept.len() == self.n() {
            return Cow::Borrowed(self);
        }
        let of = |matrix: &DMatrix<f64>| matrix.select_rows(&kept).select_columns(&kept);
        let columns = self.shared.columns.select_rows(&kept);
        Cow::Owned(Self {
            rows: kept.iter().filter_map(|&row| self.rows.get(row).cloned()).collect(),
            y: self.y.select_rows(&kept),
            known: of(&self.known),
            walk: of(&self.walk),
            beyond: of(&self.beyond),
            shared: SharedEffects { columns, ..self.shared.clone() },
            probe: self.probe.clone(),
            steps: self.steps.clone(),
            shape: self.shape.clone(),
            grid: self.grid.clone(),
            ..*self
        })
    }

    /// The same probe with pairs that count for nothing, by number.
    pub fn discounting(&self, rows: &BTreeSet<usize>) -> Self {
        let mut part = self.clone();
        for &row in rows {
            if let Some(variance) = part.known.get_mut((row, row)) {
                *variance += 1.0;
            }
        }
        part
    }

    /// The same probe with other pairs or columns.
    pub fn remade(&self, rows: Vec<PairRow>, y: DVector<f64>, shared: SharedEffects) -> Self {
        let of = (self.probe.as_str(), self.shape.clone());
        let part = Self::new(of, self.calibrated_at, rows, y, shared, self.steps.clone());
        Self { sideways: self.sideways, walks: self.walks, ..part }
    }
}

/// The covariance of every row with every other.
fn covariance_of(rows: &[PairRow], of: impl Fn(&PairRow, &PairRow) -> f64) -> DMatrix<f64> {
    DMatrix::from_fn(rows.len(), rows.len(), |i, j| match (rows.get(i), rows.get(j)) {
        (Some(a), Some(b)) => of(a, b),
        _ => 0.0,
    })
}

/// Months of a weekly grid from `first` to `last` and the weights with which values on it make the least-squares slope.
fn weekly_slope(first: f64, last: f64) -> Vec<(f64, f64)> {
    let step = 7.0 / MONTH_D;
    let weeks = ((last - first) / step).floor().max(1.0) as usize;
    let grid: Vec<f64> = (0..=weeks).map(|i| first + step * i as f64).map(|m| m.min(last.max(first + step))).collect();
    let mean = grid.iter().sum::<f64>() / grid.len() as f64;
    let square: f64 = grid.iter().map(|m| (m - mean).powi(2)).sum();
    grid.iter().map(|m| (*m, (m - mean) / square)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_weights_of_the_weekly_grid_make_a_slope() {
        let grid = weekly_slope(0.0, 4.0);
        let slope: f64 = grid.iter().map(|(m, w)| w * (3.0 + 2.0 * m)).sum();
        assert!((slope - 2.0).abs() < 1e-12);
        assert!(grid.len() == 18);
    }
}
