//! The model of all probes' errors together.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};

use crate::season::Season;
use crate::units::Instant;

use super::blocks::Block;
use super::pairs::Found;
use super::result::PairKind;
use super::settings::DriftSettings;

/// Days of a month, the unit of a drift rate.
pub(super) const MONTH_D: f64 = 30.0;
/// Gravity at which drift is stated.
const AT_SG: f64 = 1.020;
/// How a probe's error changes with gravity: by this share per 0.030 below SG 1.020, and its SD from probe to probe. By
/// the hydrostatics of two floats: a change of mass or height -0.04, of the sensor's zero or across the axis 0.27 to 0.40.
const GRAVITY_SHARE: f64 = 0.13;
const GRAVITY_SHARE_SD: f64 = 0.17;
/// Error expected after a month, SG: only for how much the doubt about the gravity's share weighs.
const TYPICAL_SG: f64 = 0.0015;
/// Bias of all probes in beer against sugar baths (bubbles at rest, foam, meniscus), SD, SG. From memory, no source.
const BEER_SD: f64 = 0.0007;
/// Baths of one name within this many hours are one bath.
const SAME_BATH_H: f64 = 72.0;

/// Standard deviations that the pairs themselves must tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Variances {
    /// Of the random walk of a probe's error, after 30 days, SG.
    pub walk_sd: f64,
    /// Of a pair beyond all known errors, SG.
    pub pair_sd: f64,
}

/// What the pairs and events of a season give the model, apart from the variances.
pub(super) struct Model {
    pub probes: Vec<Part>,
    /// SD of each effect that pairs share; the first `probes.len()` are the free slopes.
    pub prior_sd: Vec<Option<f64>>,
    /// Index of the effect "in beer", if any pair is a sample.
    pub beer: Option<usize>,
}

/// One probe's part.
pub(super) struct Part {
    pub probe: String,
    /// Months since the first calibration, by pair.
    months: Vec<f64>,
    y: DVector<f64>,
    /// Known covariance: own error, the reference's where no other probe has it, curve, doubt about gravity, known events.
    known: DMatrix<f64>,
    /// Covariance of a random walk of SD 1 after 30 days.
    walk: DMatrix<f64>,
    /// Effects with their columns: the slope first.
    effects: Vec<usize>,
    columns: DMatrix<f64>,
    /// Covariance of the slope through the weekly grid with the pairs, and its variance: by known events, by the walk.
    of_steps: (DVector<f64>, f64),
    of_walk: (DVector<f64>, f64),
    pub span_d: f64,
}

impl Model {
    pub fn new(season: &Season, pairs: &[&Found], settings: &DriftSettings) -> Self {
        let groups = reference_groups(season, pairs);
        let mut members: BTreeMap<usize, usize> = BTreeMap::new();
        let mut by_probe: BTreeMap<&str, Vec<(&Found, usize)>> = BTreeMap::new();
        for (found, &group) in pairs.iter().zip(&groups) {
            by_probe.entry(found.pair.probe.as_str()).or_default().push((found, group));
            *members.entry(group).or_default() += 1;
        }
        let mut effects = Effects::new(by_probe.len());
        let beer = pairs.iter().any(|f| f.pair.kind == PairKind::Sample).then(|| effects.named("beer", BEER_SD));
        let mut parts = Vec::new();
        for (index, (probe, found)) in by_probe.iter().enumerate() {
            parts.push(part(season, settings, index, probe, found, &mut effects, &members));
        }
        Self { probes: parts, prior_sd: effects.prior_sd, beer }
    }

    /// The blocks for given variances: the target of each is the probe's slope through its weekly grid.
    pub fn blocks(&self, variances: Variances) -> Vec<Block<'_>> {
        self.probes.iter().enumerate().map(|(index, part)| part.block(index, variances)).collect()
    }
}

/// Numbers of the effects that pairs share.
struct Effects {
    prior_sd: Vec<Option<f64>>,
    by_name: BTreeMap<String, usize>,
}

impl Effects {
    fn new(slopes: usize) -> Self {
        Self { prior_sd: vec![None; slopes], by_name: BTreeMap::new() }
    }

    fn named(&mut self, name: &str, sd: f64) -> usize {
        if let Some(&index) = self.by_name.get(name) {
            return index;
        }
        self.prior_sd.push(Some(sd));
        self.by_name.insert(name.to_owned(), self.prior_sd.len() - 1);
        self.prior_sd.len() - 1
    }
}

/// For each pair the number of the bath or sample behind it: one bath name within 72 h, one sample, else the row alone.
fn reference_groups(season: &Season, pairs: &[&Found]) -> Vec<usize> {
    let mut by_name: BTreeMap<String, Vec<(Instant, usize)>> = BTreeMap::new();
    for (i, found) in pairs.iter().enumerate() {
        let reference = season.references.get(found.pair.reference);
        let name = match reference.map(|r| (&r.bath, &r.batch)) {
            Some((Some(bath), None)) => format!("bath {bath}"),
            Some((_, Some(batch))) => format!("sample {batch} {} {:.5}", found.pair.at, found.pair.reference_sg),
            _ => format!("row {}", found.pair.reference),
        };
        by_name.entry(name).or_default().push((found.pair.at, i));
    }
    let mut groups = vec![0; pairs.len()];
    let mut group = 0;
    for rows in by_name.values_mut() {
        rows.sort();
        let mut last = None;
        for &(at, i) in rows.iter() {
            if last.is_none_or(|last: Instant| at.hours_since(last) >= SAME_BATH_H) {
                group += 1;
            }
            last = Some(at);
            if let Some(cell) = groups.get_mut(i) {
                *cell = group;
            }
        }
    }
    groups
}

fn part(
    season: &Season,
    settings: &DriftSettings,
    index: usize,
    probe: &str,
    pairs: &[(&Found, usize)],
    effects: &mut Effects,
    members: &BTreeMap<usize, usize>,
) -> Part {
    let (found, groups): (Vec<&Found>, Vec<usize>) = pairs.iter().copied().unzip();
    let n = found.len();
    let months: Vec<f64> = found.iter().map(|f| f.pair.age_d / MONTH_D).collect();
    let depth = |f: &Found| (AT_SG - f.pair.reference_sg) / 0.030;
    let shows: Vec<f64> = found.iter().map(|f| 1.0 + GRAVITY_SHARE * depth(f)).collect();
    let mut known = DMatrix::from_fn(n, n, |i, j| match (found.get(i), found.get(j)) {
        (Some(a), Some(b)) => a.sources.iter().zip(&b.sources).map(|(x, y)| x * y).sum(),
        _ => 0.0,
    });
    let mut columns: BTreeMap<usize, DVector<f64>> = BTreeMap::new();
    let mut touch = |effect: usize, row: usize| {
        if let Some(cell) = columns.entry(effect).or_insert_with(|| DVector::zeros(n)).get_mut(row) {
            *cell = 1.0;
        }
    };
    for (row, (f, group)) in found.iter().zip(&groups).enumerate() {
        let doubt = GRAVITY_SHARE_SD * depth(f) * TYPICAL_SG * (1.0 + f.pair.age_d.abs() / MONTH_D).sqrt();
        let mut own = f.pair.own_se.powi(2) + doubt * doubt;
        // What only this pair has of its reference is in the pair alone.
        if members.get(group).is_some_and(|n| *n > 1) {
            touch(effects.named(&format!("reference {group}"), f.pair.reference_sd.max(1e-6)), row);
        } else {
            own += f.pair.reference_sd.powi(2);
        }
        if let Some((name, sd)) = season.references.get(f.pair.reference).and_then(|r| settings.instrument_of(r)) {
            touch(effects.named(&name, sd), row);
        }
        if f.pair.kind == PairKind::Sample {
            touch(effects.named("beer", BEER_SD), row);
            if f.pair.rate_sg_per_day.abs() > settings.active_sg_per_day {
                touch(effects.named("active", settings.active_sd_sg), row);
                own += 0.25 * settings.active_sd_sg.powi(2);
            }
        }
        known[(row, row)] += own.max(1e-12);
    }
    let slope = DVector::from_iterator(n, months.iter().zip(&shows).map(|(m, c)| m * c));
    columns.insert(index, slope);
    let last = months.iter().copied().fold(0.0, f64::max);
    let first = months.iter().copied().fold(0.0, f64::min);
    let calibrated = found.first().map(|f| f.pair.at.plus_days(-f.pair.age_d));
    let events: Vec<(f64, f64)> = season
        .events
        .iter()
        .filter(|e| e.probe.as_deref() == Some(probe))
        .filter_map(|e| Some((e.at.days_since(calibrated?) / MONTH_D, settings.event_sd(&e.kind)?)))
        .filter(|(at, _)| *at > first && *at < last)
        .collect();
    let grid = weekly_slope(first, last);
    let with = |kernel: &dyn Fn(f64, f64) -> f64| {
        let matrix = DMatrix::from_fn(n, n, |i, j| match (months.get(i), months.get(j), shows.get(i), shows.get(j)) {
            (Some(&a), Some(&b), Some(ca), Some(cb)) => ca * cb * kernel(a, b),
            _ => 0.0,
        });
        let along = |at: f64| grid.iter().map(|(m, w)| w * kernel(*m, at)).sum::<f64>();
        let covariance = DVector::from_iterator(n, months.iter().zip(&shows).map(|(m, c)| c * along(*m)));
        (matrix, (covariance, grid.iter().map(|(m, w)| w * along(*m)).sum::<f64>()))
    };
    let (stepped, of_steps) = with(&|a, b| steps(&events, a, b));
    let (walk, of_walk) = with(&walk_of_one);
    Part {
        probe: probe.to_owned(),
        y: DVector::from_iterator(n, found.iter().map(|f| f.pair.difference_sg)),
        known: known + stepped,
        walk,
        effects: columns.keys().copied().collect(),
        columns: DMatrix::from_columns(&columns.into_values().collect::<Vec<_>>()),
        of_steps,
        of_walk,
        span_d: (last - first) * MONTH_D,
        months,
    }
}

/// Covariance at two ages (months) of a random walk of variance 1 a month, from the calibration to either side.
fn walk_of_one(a: f64, b: f64) -> f64 {
    if a * b > 0.0 { a.abs().min(b.abs()) } else { 0.0 }
}

/// Covariance at two ages of known sudden events (age and SD), seen from the calibration.
fn steps(events: &[(f64, f64)], a: f64, b: f64) -> f64 {
    let after = |at: f64| if at > 0.0 { a >= at && b >= at } else { a < at && b < at };
    events.iter().filter(|(at, _)| after(*at)).map(|(_, sd)| sd * sd).sum()
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

impl Part {
    /// Pairs used.
    pub fn n(&self) -> usize {
        self.y.len()
    }

    /// Number of distinct times of pairs.
    pub fn times(&self) -> usize {
        let mut months = self.months.clone();
        months.sort_by(f64::total_cmp);
        months.dedup();
        months.len()
    }

    fn block(&self, index: usize, variances: Variances) -> Block<'_> {
        let walk = variances.walk_sd.powi(2);
        let mut covariance = &self.known + &self.walk * walk;
        for i in 0..self.n() {
            covariance[(i, i)] += variances.pair_sd.powi(2);
        }
        Block {
            y: &self.y,
            covariance,
            effects: &self.effects,
            columns: &self.columns,
            target: index,
            target_covariance: &self.of_steps.0 + &self.of_walk.0 * walk,
            target_variance: self.of_steps.1 + self.of_walk.1 * walk,
        }
    }
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
