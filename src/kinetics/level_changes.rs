//! Falls, rises and new starts of the gravity that show without a curve.

use std::collections::BTreeMap;

use crate::error::Result;
use crate::fit::{Estimate, Finding, quantile};

use super::point::{BatchPoint, PointSource, median, smoothed, usual_step};

assumed! {
    /// A fall smaller than this is none.
    const LEAST_FALL_SG: f64 = 0.002, "SG";
    /// A batch has begun that has fallen by more than this share.
    const BEGUN_SHARE: f64 = 0.3, "share";
    /// A level that stays within this rests.
    const REST_WITHIN_SG: f64 = 0.0005, "SG";
    /// A rest this long, followed by a fall, was a rest.
    const REST_H: f64 = 36.0, "h";
    /// A fall by more than this in two days after a rest is a new start.
    const RESTART_SG: f64 = 0.004, "SG";
}

/// How far the level has risen from the first six hours of data to the last six, SG, if clearly: by the probe that rose most.
pub(crate) fn rise_sg(points: &[BatchPoint]) -> Option<f64> {
    let upside_down: Vec<BatchPoint> = points.iter().map(|p| BatchPoint { sg: -p.sg, ..*p }).collect();
    fall_sg(&upside_down)
}

/// How far the level has fallen from the first six hours of data to the last six, SG, if clearly: by the probe that fell most.
pub(crate) fn fall_sg(points: &[BatchPoint]) -> Option<f64> {
    let clear = |of: &Ends| {
        let fall = of.fall();
        (fall > LEAST_FALL_SG.max(2.0 * of.step) || of.n < 12 && fall > *LEAST_FALL_SG).then_some(fall)
    };
    Ends::of_probes(points).iter().filter_map(clear).max_by(f64::total_cmp)
}

/// The probability that a batch without a clear fall has not begun: that the level has fallen by less than the least fall, by
/// the scatter of the points of the probe that fell most.
pub(crate) fn not_started(points: &[BatchPoint], level: f64) -> Result<Finding> {
    let ends = Ends::of_probes(points);
    let Some(of) = ends.iter().max_by(|a, b| a.fall().total_cmp(&b.fall())) else {
        return Ok(Finding::missing("no data"));
    };
    // The median step of independent errors is 0.954 of their standard deviation; a median's error is 1.25 of a mean's.
    let own = (of.step / 0.954).max(1e-5);
    let se = 1.25 * own * (1.0 / of.early.len() as f64 + 1.0 / of.late.len() as f64).sqrt();
    let p = 1.0 - quantile::normal_upper_tail((*LEAST_FALL_SG - of.fall()) / se);
    probability(p, level, "levels of the first and the last six hours, normal")
}

/// Both ends of what one probe read. What probes read differently is neither noise nor a fall, so each stands by itself.
#[derive(Debug)]
struct Ends {
    /// Gravities of its first six hours.
    early: Vec<f64>,
    /// Gravities of its last six.
    late: Vec<f64>,
    /// Median step between neighbours.
    step: f64,
    n: usize,
}

impl Ends {
    fn of_probes(points: &[BatchPoint]) -> Vec<Self> {
        by_probe(points).iter().filter_map(|own| Self::of(own)).collect()
    }

    fn of(points: &[BatchPoint]) -> Option<Self> {
        let (first, last) = (points.first()?.hours, points.last()?.hours);
        let end = |keep: &dyn Fn(f64) -> bool| points.iter().filter(|p| keep(p.hours)).map(|p| p.sg).collect();
        Some(Self {
            early: end(&|hours| hours <= first + 6.0),
            late: end(&|hours| hours >= last - 6.0),
            step: usual_step(points),
            n: points.len(),
        })
    }

    fn fall(&self) -> f64 {
        median(&mut self.early.clone()) - median(&mut self.late.clone())
    }
}

/// The points of each probe that gave at least a third as many as the one that gave most, that one first; all points together
/// where most are samples.
fn by_probe(points: &[BatchPoint]) -> Vec<Vec<BatchPoint>> {
    let mut by_probe: BTreeMap<usize, Vec<BatchPoint>> = BTreeMap::new();
    for point in points {
        if let PointSource::Probe(probe) = point.source {
            by_probe.entry(probe).or_default().push(*point);
        }
    }
    if 2 * by_probe.values().map(Vec::len).sum::<usize>() < points.len() {
        return vec![points.to_vec()];
    }
    let mut groups: Vec<Vec<BatchPoint>> = by_probe.into_values().collect();
    groups.sort_by_key(|own| std::cmp::Reverse(own.len()));
    let most = groups.first().map_or(0, Vec::len);
    groups.retain(|own| 3 * own.len() >= most);
    groups
}

/// A probability as a finding; what it is conditional on is its method.
pub(super) fn probability(p: f64, level: f64, method: &'static str) -> Result<Finding> {
    Ok(Finding::Estimated(Estimate::normal(p, 0.0, level, method)?))
}

/// When a batch that was at rest began to fall again: the end of a stretch of at least [`REST_H`] hours in which the
/// running median keeps within 0.0005, well below the gravity at pitching, after which it falls by more than
/// [`RESTART_SG`] in two days. A slow tail falls less in that time. As the probe that gave most points has it: where one of
/// several stops to read, the level of all together jumps.
pub(crate) fn restarted_at(points: &[BatchPoint], original_sg: f64) -> Option<(f64, f64)> {
    let points = &by_probe(points).into_iter().next()?;
    let smooth = smoothed(points, 9);
    let noise = (usual_step(points) / 0.954).max(1e-5);
    let lowest = smooth.iter().map(|(_, sg)| *sg).fold(f64::INFINITY, f64::min);
    smooth.iter().enumerate().find_map(|(i, &(start, level))| {
        let begun = original_sg - level > *BEGUN_SHARE * (original_sg - lowest);
        let rest = smooth.iter().skip(i).take_while(|(_, sg)| (sg - level).abs() <= *REST_WITHIN_SG).last()?.0;
        let after = smooth.iter().filter(|(hours, _)| (rest..rest + 48.0).contains(hours)).map(|(_, sg)| *sg);
        let fell = level - after.fold(f64::INFINITY, f64::min);
        // Two running medians of nine, and a fall that a slow tail may have too.
        let p = 1.0 - quantile::normal_upper_tail((fell - *LEAST_FALL_SG) / (1.25 * noise * (2.0_f64 / 9.0).sqrt()));
        (begun && rest - start >= *REST_H && fell > *RESTART_SG && fell.is_finite()).then_some((rest, p))
    })
}
