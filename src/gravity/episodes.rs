//! Hours in which something held, loaded or lifted a probe.
//!
//! Beer changes gradually. A probe that moves within minutes was moved by something else: foam that slides off, a wall that it
//! leans on, a patch of bubbles, a knock. When it is afterwards back where the beer should be, the time between is an episode.

use std::ops::Range;

use nalgebra::{DMatrix, DVector};

use crate::fit::robust::median;

assumed! {
    /// Readings on each side of an edge whose medians are compared.
    const SIDE: usize = 4, "readings";
    /// Readings within which an edge is placed.
    const NEAR: usize = 2, "readings";
    /// Hours on each side from which the trend is taken.
    const TREND_H: f64 = 10.0, "h";
    /// Readings that a trend needs.
    const TREND_READINGS: usize = 6, "readings";
    /// Hours that they span at least.
    const TREND_LEAST_H: f64 = 1.5, "h";
    /// The readings of a side lie within these hours.
    const SIDE_H: f64 = 6.0, "h";
    /// Readings farther apart than this are not of one stretch.
    pub(super) const GAP_H: f64 = 3.0, "h";
    /// An edge is larger than so many SDs of the readings.
    const EDGE_SDS: f64 = 5.0, "SD";
    /// Readings farther apart than this stretch the hours above.
    const DENSE_H: f64 = 1.25, "h";
    /// Longest episode between two edges.
    const LONGEST_H: f64 = 96.0, "h";
    /// Longest growth of foam, with what is read before it.
    pub(crate) const FOAM_H: f64 = 42.0, "h";
    /// Two edges undo each other when no more than this share of the larger is left.
    const UNDONE: f64 = 0.4, "share";
    /// A fall of foam is at least this share of the edge.
    const SLIDES: f64 = 0.5, "share";
    /// What was written down within so long of a step is its reason.
    pub(crate) const TOLD_H: f64 = 6.0, "h";
    /// A level shows for so long.
    const LEVEL_H: f64 = 12.0, "h";
    /// Shortest growth of foam, and of what is read before it.
    const GROWS_H: f64 = 2.0, "h";
    /// Sugar may raise the gravity so long before and after it is said to have been added.
    const SUGAR_H: f64 = 24.0, "h";
}

/// What was written down may have happened so much earlier, hours.
const EARLY_H: f64 = 1.5;

/// The episodes of one probe in one batch, from its readings in order of time: gravities, or tilts. An edge is at least `least`.
/// `sd` is the SD that each reading is known to have, where it is known: the steps of a coarse sensor hide it.
///
/// An edge is a difference of the medians of four readings on each side, less the trend of ten hours on each side, that is larger
/// than `least` and than five robust SDs of a reading. Two edges that undo each other enclose an episode, nearest edges first. A
/// fall alone may end one: foam grows on a probe for hours and slides off at once. The hourly medians around it are a cubic in
/// time and either a lasting step or a ramp that begins at some hour and ends at the fall. Where the best ramp fits better by
/// more than its free hour is worth (G. Schwarz, Ann. Stat. 6 (1978) 461), the episode begins with it. Else the step may last: a
/// knock, something that stuck, a probe that leans on the wall until its batch ends. It does where the readings stand level before
/// it and from then on to their end; in a fall it may as well be one end of an episode that came or went slowly. Where readings begin
/// again after a gap and more of them follow the step than precede it, those before it are the episode. A step at an hour in
/// `told_hours`, when hops or hands were in the beer, lasts too. A step up where sugar was added is the beer's.
pub(crate) fn episodes(
    hours: &[f64],
    values: &[f64],
    sd: &[f64],
    least: f64,
    sugar_hours: &[f64],
    told_hours: &[f64],
) -> Episodes {
    let series = Series { hours, values, sd, stretch: stretch(hours) };
    let edges = series.edges(least.max(*EDGE_SDS * noise(values)));
    let mut pairs: Vec<(f64, Edge, Edge)> = Vec::new();
    for (i, a) in edges.iter().enumerate() {
        for b in edges.iter().skip(i + 1) {
            let between = series.between(a.at, b.at);
            let most = *UNDONE * a.size.abs().max(b.size.abs());
            let undone = (a.size + b.size).abs() < most
                || between < *FOAM_H && series.left_over(a.at, b.at).is_some_and(|left| left.abs() < most);
            if a.size * b.size < 0.0 && undone && between < *LONGEST_H {
                pairs.push((between, *a, *b));
            }
        }
    }
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut used: Vec<usize> = Vec::new();
    let mut found = Vec::new();
    for (_, a, b) in pairs {
        if !used.contains(&a.at) && !used.contains(&b.at) {
            used.extend([a.at, b.at]);
            found.push(a.at..b.at);
        }
    }
    let (mut foam, mut lasting) = (Vec::new(), Vec::new());
    for edge in edges.iter().filter(|edge| !used.contains(&edge.at)) {
        let start = (edge.size < 0.0).then(|| series.start(edge, &found)).flatten();
        let begins = series.stretch_start(edge.at);
        let is_told = || {
            let since = |told: &f64| hours.get(edge.at).map_or(f64::INFINITY, |at| at - told);
            told_hours.iter().any(|told| (-EARLY_H..*TOLD_H).contains(&since(told)))
        };
        match start {
            Some(start) => foam.push(start..edge.at),
            None if series.is_between_levels(edge) => {
                let is_first = begins > 0 && series.between(begins, edge.at) < series.between(edge.at, hours.len() - 1);
                if is_first { foam.push(begins..edge.at) } else { lasting.push(*edge) }
            }
            None if is_told() => lasting.push(*edge),
            None => {}
        }
    }
    found.extend(foam);
    found.sort_by_key(|span| span.start);
    let is_beer =
        |edge: &Edge| edge.size > 0.0 && hours.get(edge.at).is_some_and(|at| is_sugared(sugar_hours, *at, *at));
    lasting.retain(|edge| !found.iter().any(|span| span.contains(&edge.at)) && !is_beer(edge));
    Episodes { held: found, lasting }
}

/// What moved a probe in a batch.
#[derive(Debug)]
pub(crate) struct Episodes {
    /// Episodes, each by its first reading and the first free one after it.
    pub held: Vec<Range<usize>>,
    /// Steps that last: from one level to another until the end, or where something was done.
    pub lasting: Vec<Edge>,
}

/// Whether sugar explains a rise between two hours.
pub(super) fn is_sugared(sugar_hours: &[f64], from: f64, to: f64) -> bool {
    sugar_hours.iter().any(|at| (from - *SUGAR_H..to + *SUGAR_H).contains(at))
}

/// What each value is more than the one before it.
fn steps(values: &[f64]) -> Vec<f64> {
    values.iter().zip(values.iter().skip(1)).map(|(a, b)| b - a).collect()
}

/// Robust SD of a reading about its neighbours.
pub(super) fn noise(values: &[f64]) -> f64 {
    let steps = steps(values);
    let middle = median(&steps).unwrap_or(0.0);
    let off: Vec<f64> = steps.iter().map(|step| (step - middle).abs()).collect();
    1.4826 * median(&off).unwrap_or(0.0) / std::f64::consts::SQRT_2
}

/// How much farther apart readings are than in a dense log, no less than 1.
fn stretch(hours: &[f64]) -> f64 {
    (median(&steps(hours)).unwrap_or(0.0) / *DENSE_H).max(1.0)
}

/// A step within minutes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Edge {
    /// The first reading after it.
    pub at: usize,
    /// What readings are more from then on.
    pub size: f64,
}

struct Series<'a> {
    hours: &'a [f64],
    values: &'a [f64],
    sd: &'a [f64],
    /// What spans of some readings last longer here than in a log that is dense enough.
    stretch: f64,
}

impl Series<'_> {
    fn between(&self, a: usize, b: usize) -> f64 {
        self.hours.get(b).zip(self.hours.get(a)).map_or(f64::INFINITY, |(b, a)| b - a)
    }

    /// Median value of readings `from..to`.
    fn value(&self, from: usize, to: usize) -> Option<f64> {
        median(self.values.get(from..to)?).ok()
    }

    /// Median time and value of readings `from..to`.
    fn level(&self, from: usize, to: usize) -> Option<(f64, f64)> {
        Some((median(self.hours.get(from..to)?).ok()?, self.value(from, to)?))
    }

    /// Change an hour between the medians of the two halves of readings `from..to`.
    fn trend(&self, from: usize, to: usize) -> Option<f64> {
        let (n, last) = (to.checked_sub(from)?, to.checked_sub(1)?);
        if n < *TREND_READINGS || self.between(from, last) < *TREND_LEAST_H {
            return None;
        }
        let (a, b) = (self.level(from, from + n / 2)?, self.level(from + n / 2, to)?);
        (b.0 > a.0).then(|| (b.1 - a.1) / (b.0 - a.0))
    }

    fn trend_before(&self, at: usize) -> Option<f64> {
        let from = self.hours.get(at)? - *TREND_H * self.stretch;
        self.trend(self.hours.partition_point(|hours| *hours < from), at)
    }

    fn trend_after(&self, at: usize) -> Option<f64> {
        let to = self.hours.get(at)? + *TREND_H * self.stretch;
        self.trend(at, self.hours.partition_point(|hours| *hours < to))
    }

    /// What is left of two edges: by how much readings after the second differ from those before the first, less the trend.
    fn left_over(&self, a: usize, b: usize) -> Option<f64> {
        let (before, after) = (self.level(a.checked_sub(*SIDE)?, a)?, self.level(b, b + *SIDE)?);
        let trend = 0.5 * (self.trend_before(a)? + self.trend_after(b)?);
        Some(after.1 - before.1 - trend * (after.0 - before.0))
    }

    /// The first reading since the last gap before one.
    fn stretch_start(&self, at: usize) -> usize {
        (1..at).rev().find(|i| self.between(i - 1, *i) > *GAP_H * self.stretch).unwrap_or(0)
    }

    /// The edges by time, none within a side of a larger one.
    fn edges(&self, least: f64) -> Vec<Edge> {
        let mut all: Vec<Edge> =
            (*SIDE..self.hours.len().saturating_sub(*SIDE)).filter_map(|at| self.edge(at, least)).collect();
        all.sort_by(|a, b| b.size.abs().total_cmp(&a.size.abs()));
        let mut kept: Vec<Edge> = Vec::new();
        for edge in all {
            if kept.iter().all(|other| other.at.abs_diff(edge.at) > *SIDE) {
                kept.push(edge);
            }
        }
        // Medians of four are blind to where in the middle the step is: it is the largest step of neighbours.
        for edge in &mut kept {
            let near = edge.at.saturating_sub(*NEAR).max(*SIDE)..=edge.at + *NEAR;
            edge.at = near.max_by(|a, b| self.step(*a).total_cmp(&self.step(*b))).unwrap_or(edge.at);
        }
        kept.sort_by_key(|edge| edge.at);
        kept
    }

    fn step(&self, at: usize) -> f64 {
        let before = at.checked_sub(1).and_then(|before| self.values.get(before));
        before.zip(self.values.get(at)).map_or(0.0, |(before, after)| (after - before).abs())
    }

    fn edge(&self, at: usize, least: f64) -> Option<Edge> {
        let (first, last) = (at.checked_sub(*SIDE)?, at + *SIDE - 1);
        let least = least.max(*EDGE_SDS * self.sd.get(at).copied().unwrap_or(0.0));
        let dense = self.between(at - 1, at) <= *GAP_H * self.stretch
            && self.between(first, at) <= *SIDE_H * self.stretch
            && self.between(at, last) <= *SIDE_H * self.stretch;
        // Medians, times and trends are dear: most readings are no edge whatever they are.
        let near = self.values.get(first..=last)?.iter();
        let (low, high) = near.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (v.min(low), v.max(high)));
        if !dense
            || high - low < 0.7 * least
            || (self.value(at, at + *SIDE)? - self.value(first, at)?).abs() < 0.7 * least
        {
            return None;
        }
        let (before, after) = (self.level(first, at)?, self.level(at, at + *SIDE)?);
        let trends: Vec<f64> = [self.trend_before(at), self.trend_after(at)].into_iter().flatten().collect();
        let trend = trends.iter().sum::<f64>() / trends.len().max(1) as f64;
        let size = after.1 - before.1 - trend * (after.0 - before.0);
        (size.abs() >= least).then_some(Edge { at, size })
    }

    /// Whether readings stand level for twelve hours before an edge, and after it to their end, which is so near that an episode
    /// may still go on. What is off for longer is off for good, or was off before.
    fn is_between_levels(&self, edge: &Edge) -> bool {
        let Some(at) = self.hours.get(edge.at) else { return false };
        let is_level = |from: usize, to: usize| {
            let ends = self.value(from, from + *SIDE).zip(to.checked_sub(*SIDE).and_then(|from| self.value(from, to)));
            to >= from + 3 * *SIDE && ends.is_some_and(|(a, b)| (a - b).abs() < *UNDONE * edge.size.abs())
        };
        let (from, end) = (self.hours.partition_point(|hours| *hours < at - *LEVEL_H), self.hours.len());
        let is_late = (*LEVEL_H..*LONGEST_H).contains(&self.between(edge.at, end - 1));
        is_late && is_level(from, edge.at) && is_level(edge.at, end)
    }

    /// The first reading of the ramp that ends with a fall, where one fits better than a lasting step.
    fn start(&self, edge: &Edge, held: &[Range<usize>]) -> Option<usize> {
        let end = *self.hours.get(edge.at)?;
        let of = |hours: f64| self.hours.partition_point(|at| *at < end + hours);
        let points = hourly(self.hours, self.values, of(-*FOAM_H)..of(*TREND_H), end, held);
        let before = -points.first()?.0 - *GROWS_H;
        let (n, level) = (points.len(), DVector::from_iterator(points.len(), points.iter().map(|point| point.1)));
        // What a cubic and a shape leave of the sum of squares, and the size of the shape.
        let fitted = |shape: &dyn Fn(f64) -> f64| {
            let columns = |hours: f64| [1.0, hours, hours.powi(2), hours.powi(3), shape(hours * *FOAM_H)];
            let rows = points.iter().flat_map(|point| columns(point.0 / *FOAM_H));
            let shapes = DMatrix::from_row_iterator(n, 5, rows);
            let sizes = shapes.clone().svd(true, true).solve(&level, 1e-12).ok()?;
            Some(((&level - shapes * &sizes).norm_squared(), *sizes.get(4)?))
        };
        let (lasting, _) = fitted(&|hours| f64::from(u8::from(hours < 0.0)))?;
        let ramp = |grows: f64| fitted(&|hours| if hours < 0.0 { (1.0 + hours / grows).max(0.0) } else { 0.0 });
        let starts = (0..).map(|i| *GROWS_H + f64::from(i)).take_while(|grows| *grows < before);
        let ramps = starts.filter_map(|grows| Some((grows, ramp(grows)?)));
        let (grows, (left, size)) = ramps.min_by(|a, b| a.1.0.total_cmp(&b.1.0))?;
        let n = n as f64;
        let is_foam = n * (lasting / left).ln() > n.ln() && size > -*SLIDES * edge.size;
        is_foam.then(|| self.hours.partition_point(|hours| *hours < end - grows))
    }
}

/// Median time and value of each hour from `zero`, of these readings without those that were held.
pub(super) fn hourly(
    hours: &[f64],
    values: &[f64],
    readings: Range<usize>,
    zero: f64,
    held: &[Range<usize>],
) -> Vec<(f64, f64)> {
    let free: Vec<usize> = readings.filter(|i| !held.iter().any(|span| span.contains(i))).collect();
    let hour = |i: &usize| hours.get(*i).map(|hours| (hours - zero).floor());
    let of = |column: &[f64], rows: &[usize]| {
        median(&rows.iter().filter_map(|i| column.get(*i).copied()).collect::<Vec<_>>()).ok()
    };
    let by_hour = free.chunk_by(|a, b| hour(a) == hour(b));
    by_hour.filter_map(|rows| Some((of(hours, rows)? - zero, of(values, rows)?))).collect()
}

#[cfg(test)]
#[path = "../../tests/inside/episodes.rs"]
mod tests;
