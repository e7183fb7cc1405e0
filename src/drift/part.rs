//! One probe's part of the model: its pairs, how its error may move, and what can be asked of it.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};

use crate::gravity::ReadingErrors;
use crate::units::Instant;

use super::blocks::{Block, Target};
use super::model::Variances;
use super::shape::{EVEN, Shape, Shown};

/// Days of a month, the unit of a drift rate.
pub(super) const MONTH_D: f64 = 30.0;
/// Gravity at which drift is stated.
pub(super) const AT_SG: f64 = 1.020;
/// Drift from probe to probe, SD, SG a month: only for how much the doubt about the gravity's share weighs.
const TYPICAL_PER_MONTH: f64 = 0.001;
/// Part of the variance of a pair beyond all known errors that the pairs of one stay in a beer have in common: what clings
/// to a probe stays there. From memory, no source.
const STAY_SHARE: f64 = 0.5;

/// A sudden change of a probe at a moment.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Step {
    pub at: Instant,
    /// Months from the first calibration.
    pub months: f64,
    /// How far it is expected to have gone, SG; taken from the observations when it joins them.
    pub mean: f64,
    /// How much farther it may have gone, SD, SG.
    pub sd: f64,
    /// The event's kind; empty for one that was found.
    pub event: Option<String>,
}

impl Step {
    /// Whether it was found in the pairs alone: of one that readings showed the size is known already.
    pub fn is_found_in_pairs(&self) -> bool {
        self.event.is_none() && self.mean == 0.0
    }

    /// What a step of size 1 does to the error at an age: the error is 0 at the calibration.
    pub fn at_age(&self, months: f64) -> f64 {
        if self.months > 0.0 {
            f64::from(u8::from(months >= self.months))
        } else {
            -f64::from(u8::from(months < self.months))
        }
    }
}

/// One pair as the model needs it, or a state of the probe that is asked for.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    /// Months since the first calibration.
    pub months: f64,
    /// Its error in units of that at SG 1.020.
    pub shows: f64,
    /// Its error by source: curve, shell and thermometer, less the reference's.
    pub errors: ReadingErrors,
    /// SG of the reference.
    pub sg: f64,
    /// Variance beyond these, that nothing else shares.
    pub own: f64,
    /// By how much of the error at SG 1.020 its error may differ from what it is expected to show, SD, with a sign.
    pub doubt: f64,
    /// The same of a steady drift's error, SG.
    pub line_doubt: f64,
    /// What a walk of 1 at SG 1.020 of a usual probe makes here.
    pub walk: Shown,
    /// The stay in a beer, by number; none in a bath.
    pub stay: Option<usize>,
}

impl Row {
    /// A pair at an age and a gravity with these errors of the curve, less the reference's, and this variance that nothing
    /// else shares.
    pub fn at(shape: &Shape, months: f64, sg: f64, errors: ReadingErrors, own: f64) -> Self {
        let (shows, doubt) = shape.shown(sg);
        let line_doubt = doubt * TYPICAL_PER_MONTH * months;
        Self { months, shows, errors, sg, own, doubt, line_doubt, walk: shape.walked(EVEN, sg), stay: None }
    }

    /// The same in this stay in a beer.
    pub fn staying(self, stay: Option<usize>) -> Self {
        Self { stay, ..self }
    }

    /// The same with an error that shows just so much of that at SG 1.020, where a walk of 1 shows as much as `walk`.
    pub fn showing(self, shows: f64, walk: f64) -> Self {
        Self { shows, doubt: 0.0, line_doubt: 0.0, walk: (walk * shows, 0.0), ..self }
    }

    /// Covariance of the errors here and at another row that a random walk of SD 1 after 30 days makes.
    fn walked(&self, other: &Self) -> f64 {
        together(self.walk, other.walk) * walk_of_one(self.months, other.months)
    }
}

/// The effects of the whole model that touch a probe's pairs.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Touching {
    /// Their numbers, the slope's own first; it has the lowest.
    pub effects: Vec<usize>,
    /// Their columns, in that order.
    pub columns: DMatrix<f64>,
    /// By source of error that other probes have as well: the number of its effect. One standard deviation is its unit.
    pub sources: BTreeMap<usize, usize>,
    /// Those that are gravities of beers of which only the probes in them tell.
    pub unknown: Vec<usize>,
}

/// One probe's part.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub probe: String,
    /// When its first calibration was done.
    pub calibrated_at: Instant,
    pub rows: Vec<Row>,
    pub y: DVector<f64>,
    /// Known covariance: own error, the sources of error that no other probe has, doubt about how drift shows at a gravity.
    known: DMatrix<f64>,
    /// Covariance of a random walk of SD 1 after 30 days, that doubt included.
    walk: DMatrix<f64>,
    /// Covariance of errors beyond all known ones of variance 1.
    beyond: DMatrix<f64>,
    pub touching: Touching,
    pub steps: Vec<Step>,
    /// How its errors show at a gravity.
    pub shape: Shape,
    /// The sideways part of the walk's variance.
    pub sideways: f64,
    /// What a walk of 1 of a usual probe makes of this one's error at SG 1.020.
    walks: Shown,
    /// Months of a weekly grid through the observed span, with the weights that make a slope.
    grid: Vec<(f64, f64)>,
    /// First and last age observed, months; 0 is among them.
    pub span: (f64, f64),
}

impl Part {
    /// Its pairs with the effects that touch them, and its steps.
    pub fn new(
        (probe, shape): (&str, Shape),
        calibrated_at: Instant,
        rows: Vec<Row>,
        y: DVector<f64>,
        touching: Touching,
        steps: Vec<Step>,
    ) -> Self {
        let mut known = covariance_of(&rows, |a, b| {
            a.errors.covariance(&b.errors, |source| !touching.sources.contains_key(&source))
                + a.line_doubt * b.line_doubt
        });
        for (i, row) in rows.iter().enumerate() {
            known[(i, i)] += row.own.max(1e-12);
        }
        let walk = covariance_of(&rows, Row::walked);
        let mut beyond =
            covariance_of(&rows, |a, b| if a.stay.is_some() && a.stay == b.stay { STAY_SHARE } else { 0.0 });
        beyond.fill_diagonal(1.0);
        let last = rows.iter().map(|r| r.months).fold(0.0, f64::max);
        let first = rows.iter().map(|r| r.months).fold(0.0, f64::min);
        let steps = steps.into_iter().filter(|step| step.months > first).collect();
        let (probe, grid) = (probe.to_owned(), weekly_slope(first, last));
        let (span, sideways, walks) = ((first, last), EVEN, shape.walked(EVEN, AT_SG));
        Self { probe, calibrated_at, rows, y, known, walk, beyond, touching, steps, shape, sideways, walks, grid, span }
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

    /// The pairs as a block.
    pub fn block(&self, variances: Variances) -> Block<'_> {
        let mut covariance =
            &self.known + &self.walk * variances.walk_sd.powi(2) + &self.beyond * variances.pair_sd.powi(2);
        for step in &self.steps {
            for column in [self.column_of(step), self.doubt_of(step)] {
                covariance.syger(step.sd.powi(2), &column, &column, 1.0);
            }
        }
        covariance.fill_upper_triangle_with_lower_triangle();
        Block { y: &self.y, covariance, effects: &self.touching.effects, columns: &self.touching.columns }
    }

    /// What a step of size 1 (at SG 1.020) does to the pairs.
    pub fn column_of(&self, step: &Step) -> DVector<f64> {
        DVector::from_iterator(self.n(), self.rows.iter().map(|row| row.shows * step.at_age(row.months)))
    }

    /// By how much that may differ, SD, with signs: all pairs alike.
    pub fn doubt_of(&self, step: &Step) -> DVector<f64> {
        DVector::from_iterator(self.n(), self.rows.iter().map(|row| row.doubt * step.at_age(row.months)))
    }

    /// The target of a sum over ages of weight times error at SG 1.020, with or without the steps; `load` is its share
    /// of the slope.
    fn along(&self, points: &[(f64, f64)], load: f64, variances: Variances, steps: bool) -> Target {
        let walk = variances.walk_sd.powi(2);
        let over = |of: &dyn Fn(f64) -> f64| points.iter().map(|(m, by)| by * of(*m)).sum::<f64>();
        let walked = |at: f64| walk * over(&|months| walk_of_one(months, at));
        let stepped = |at: f64| if steps { over(&|months| self.stepped(months, at)) } else { 0.0 };
        let of_row = |r: &Row| together(self.walks, r.walk) * walked(r.months) + r.shows * stepped(r.months);
        Target {
            effect: self.slope(),
            load,
            shared: Vec::new(),
            covariance: DVector::from_iterator(self.n(), self.rows.iter().map(of_row)),
            variance: over(&|months| together(self.walks, self.walks) * walked(months) + stepped(months)),
            known: if steps { over(&|months| self.expected(months)) } else { 0.0 },
        }
    }

    /// Covariance at two ages of the steps.
    fn stepped(&self, a: f64, b: f64) -> f64 {
        self.steps.iter().map(|s| s.sd.powi(2) * s.at_age(a) * s.at_age(b)).sum()
    }

    /// How far the steps are expected to have moved the error at an age.
    fn expected(&self, months: f64) -> f64 {
        self.steps.iter().map(|s| s.mean * s.at_age(months)).sum()
    }

    /// Covariance of the probe's errors at two rows but for its slope, what it shares with other probes and what they have of
    /// their own.
    pub fn between(&self, a: &Row, b: &Row, variances: Variances) -> f64 {
        a.walked(b) * variances.walk_sd.powi(2)
            + (a.shows * b.shows + a.doubt * b.doubt) * self.stepped(a.months, b.months)
            + a.line_doubt * b.line_doubt
            + a.errors.covariance(&b.errors, |source| !self.is_common(source))
    }

    /// The same part with a walk of which this part of the variance is sideways.
    pub fn with_sideways(&self, sideways: f64) -> Self {
        let mut part = Self { sideways, walks: self.shape.walked(sideways, AT_SG), ..self.clone() };
        part.rows = part.rows.iter().map(|row| part.walking(row.clone())).collect();
        part.walk = covariance_of(&part.rows, Row::walked);
        part
    }

    /// A row on which the walk shows as it does in this part.
    fn walking(&self, row: Row) -> Row {
        Row { walk: self.shape.walked(self.sideways, row.sg), ..row }
    }

    /// The probe at an age and a gravity, with the error of a reading there on the first curve, by source.
    pub fn state(&self, months: f64, sg: f64, errors: ReadingErrors) -> Row {
        self.walking(Row::at(&self.shape, months, sg, errors, 0.0))
    }

    /// The number of the slope's effect.
    pub fn slope(&self) -> usize {
        self.touching.effects.first().copied().unwrap_or_default()
    }

    /// The least-squares slope of the error through the observed span, with or without its sudden steps.
    pub fn slope_target(&self, variances: Variances, steps: bool) -> Target {
        self.along(&self.grid, 1.0, variances, steps)
    }

    /// The slope of the error that a step of size 1 alone would make.
    pub fn slope_of_step(&self, step: &Step) -> f64 {
        self.grid.iter().map(|(months, weight)| weight * step.at_age(*months)).sum()
    }

    /// The change of the error at SG 1.020 from one age to another.
    pub fn change_target(&self, from: f64, to: f64, variances: Variances) -> Target {
        self.along(&[(from, -1.0), (to, 1.0)], to - from, variances, true)
    }

    /// The size of a step.
    pub fn step_target(&self, step: &Step) -> Target {
        let variance = step.sd.powi(2);
        Target {
            effect: self.slope(),
            load: 0.0,
            shared: Vec::new(),
            covariance: self.column_of(step) * variance,
            variance,
            known: step.mean,
        }
    }

    /// The error on the first curve in a state, its own curve's error included.
    pub fn error_target(&self, state: &Row, variances: Variances) -> Target {
        let with = self.rows.iter().map(|row| self.between(state, row, variances));
        let effect = |(source, load): &(usize, f64)| Some((*self.touching.sources.get(source)?, *load));
        Target {
            effect: self.slope(),
            load: state.shows * state.months,
            shared: state.errors.shared.iter().filter_map(effect).collect(),
            covariance: DVector::from_iterator(self.n(), with),
            variance: self.between(state, state, variances),
            known: state.shows * self.expected(state.months),
        }
    }

    /// SD of this probe's walk at SG 1.020 in units of that of a usual one.
    pub fn walk_at_drift_sg(&self) -> f64 {
        together(self.walks, self.walks).sqrt()
    }

    /// Whether other probes have this source of error as well.
    pub fn is_common(&self, source: usize) -> bool {
        self.touching.sources.contains_key(&source)
    }

    /// The same part with an error that shows at a gravity as given, without doubt about that.
    pub fn shaped(&self, shape: &dyn Fn(f64) -> f64) -> Self {
        let mut rows = self.rows.clone();
        let mut touching = self.touching.clone();
        let walk = self.walk_at_drift_sg();
        for (i, row) in rows.iter_mut().enumerate() {
            *row = row.clone().showing(shape(row.sg), walk);
            if let Some(cell) = touching.columns.get_mut((i, 0)) {
                *cell = row.shows * row.months;
            }
        }
        Self { walks: (walk, 0.0), ..self.remade(rows, self.y.clone(), touching) }
    }

    /// The same part with one more pair, which shares with others the errors of its curve only; its difference is 0.
    pub fn with_row(&self, row: Row) -> Self {
        let (mut rows, n) = (self.rows.clone(), self.n());
        let row = self.walking(row);
        let mut touching = self.touching.clone();
        touching.columns = touching.columns.insert_row(n, 0.0);
        let shared = row.errors.shared.iter().filter_map(|(source, by)| Some((*touching.sources.get(source)?, *by)));
        let all: Vec<(usize, f64)> = shared.chain([(self.slope(), row.shows * row.months)]).collect();
        for (effect, by) in all {
            let place = touching.effects.iter().position(|j| *j == effect);
            if let Some(cell) = place.and_then(|j| touching.columns.get_mut((n, j))) {
                *cell = by;
            }
        }
        rows.push(row);
        self.remade(rows, self.y.clone().push(0.0), touching)
    }

    /// The same probe with those of its pairs that `keep` names by number.
    pub fn only(&self, keep: impl Fn(usize) -> bool) -> Self {
        let kept: Vec<usize> = (0..self.n()).filter(|row| keep(*row)).collect();
        if kept.len() == self.n() {
            return self.clone();
        }
        let rows = kept.iter().filter_map(|&row| self.rows.get(row).cloned()).collect();
        let mut touching = self.touching.clone();
        touching.columns = touching.columns.select_rows(&kept);
        let part = self.remade(rows, self.y.select_rows(&kept), touching);
        Self { steps: self.steps.clone(), ..part }
    }

    /// The same probe with other pairs or columns.
    pub fn remade(&self, rows: Vec<Row>, y: DVector<f64>, touching: Touching) -> Self {
        let of = (self.probe.as_str(), self.shape.clone());
        let part = Self::new(of, self.calibrated_at, rows, y, touching, self.steps.clone());
        Self { sideways: self.sideways, walks: self.walks, ..part }
    }
}

/// Covariance of what two states show of one error.
fn together(a: Shown, b: Shown) -> f64 {
    a.0 * b.0 + a.1 * b.1
}

/// The covariance of every row with every other.
fn covariance_of(rows: &[Row], of: impl Fn(&Row, &Row) -> f64) -> DMatrix<f64> {
    DMatrix::from_fn(rows.len(), rows.len(), |i, j| match (rows.get(i), rows.get(j)) {
        (Some(a), Some(b)) => of(a, b),
        _ => 0.0,
    })
}

/// Covariance at two ages (months) of a random walk of variance 1 a month, from the calibration to either side.
fn walk_of_one(a: f64, b: f64) -> f64 {
    if a * b > 0.0 { a.abs().min(b.abs()) } else { 0.0 }
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

    #[test]
    fn a_step_leaves_the_day_of_calibration_where_it_is() {
        let step = |months| Step { at: Instant::default(), months, mean: 0.0, sd: 1.0, event: None };
        assert_eq!([-1.0, 0.0, 1.0, 2.0].map(|m| step(1.0).at_age(m)), [0.0, 0.0, 1.0, 1.0]);
        assert_eq!([-3.0, -1.0, 0.0, 2.0].map(|m| step(-2.0).at_age(m)), [-1.0, 0.0, 0.0, 0.0]);
    }
}
