//! How far a fermentation has come, in words.

use std::collections::BTreeMap;
use std::fmt;

use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::error::Result;
use crate::fit::{Estimate, Finding, quantile};

use super::batch_fit::{FittedCurve, Point, Source};
use super::curve::{Curve, PARAMETERS};
use super::prepare::median;
use super::timed::Timed;

/// How far a fermentation has come, in words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// The data are too few for any curve.
    TooFewData,
    /// The gravity has not moved yet, and the batch is young.
    NotStarted,
    /// The first signs of a fall, before the tangent lag is over.
    Lagging,
    /// Falling, before the steepest point or near it.
    Active,
    /// Falling ever slower, not yet at rest.
    Slowing,
    /// At rest within the tolerance, and not stuck as far as the limit is known.
    Finished,
    /// At rest more than the tolerated distance above the limit.
    Stuck,
    /// It was at rest and falls again.
    Restarted,
}

impl Status {
    /// The word for the tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::TooFewData => "too few data",
            Self::NotStarted => "not started",
            Self::Lagging => "lagging",
            Self::Active => "active",
            Self::Slowing => "slowing",
            Self::Finished => "finished",
            Self::Stuck => "stuck",
            Self::Restarted => "restarted",
        }
    }
}

impl fmt::Display for Status {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A fall smaller than this is none, SG.
const LEAST_FALL_SG: f64 = 0.002;
/// A rest this long, followed by a fall, was a rest.
const REST_H: f64 = 36.0;
/// A fall by more than this in two days after a rest is a new start, SG.
const RESTART_SG: f64 = 0.004;
/// Curves drawn for the probability of a word.
const DRAWS: usize = 200;
/// Probability from which a batch at rest is called stuck.
const SURE: f64 = 0.9;

/// How far the level has risen from the first six hours of data to the last six, SG, if clearly: by the probe that rose most.
pub(crate) fn rise_sg(points: &[Point]) -> Option<f64> {
    let upside_down: Vec<Point> = points.iter().map(|p| Point { sg: -p.sg, ..*p }).collect();
    fall_sg(&upside_down)
}

/// How far the level has fallen from the first six hours of data to the last six, SG, if clearly: by the probe that fell most.
pub(crate) fn fall_sg(points: &[Point]) -> Option<f64> {
    let clear = |of: &Ends| {
        let fall = of.fall();
        (fall > LEAST_FALL_SG.max(2.0 * of.step) || of.n < 12 && fall > LEAST_FALL_SG).then_some(fall)
    };
    Ends::of_probes(points).iter().filter_map(clear).max_by(f64::total_cmp)
}

/// The probability that a batch without a clear fall has not begun: that the level has fallen by less than the least fall, by
/// the scatter of the points of the probe that fell most.
pub(crate) fn not_started(points: &[Point], level: f64) -> Result<Finding> {
    let ends = Ends::of_probes(points);
    let Some(of) = ends.iter().max_by(|a, b| a.fall().total_cmp(&b.fall())) else {
        return Ok(Finding::missing("no data"));
    };
    // The median step of independent errors is 0.954 of their standard deviation; a median's error is 1.25 of a mean's.
    let own = (of.step / 0.954).max(1e-5);
    let se = 1.25 * own * (1.0 / of.early.len() as f64 + 1.0 / of.late.len() as f64).sqrt();
    let p = 1.0 - quantile::normal_upper_tail((LEAST_FALL_SG - of.fall()) / se);
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
    fn of_probes(points: &[Point]) -> Vec<Self> {
        by_probe(points).iter().filter_map(|own| Self::of(own)).collect()
    }

    fn of(points: &[Point]) -> Option<Self> {
        let (first, last) = (points.first()?.hours, points.last()?.hours);
        let end = |keep: &dyn Fn(f64) -> bool| points.iter().filter(|p| keep(p.hours)).map(|p| p.sg).collect();
        let mut steps: Vec<f64> = points.windows(2).map(|pair| (pair[1].sg - pair[0].sg).abs()).collect();
        Some(Self {
            early: end(&|hours| hours <= first + 6.0),
            late: end(&|hours| hours >= last - 6.0),
            step: median(&mut steps),
            n: points.len(),
        })
    }

    fn fall(&self) -> f64 {
        median(&mut self.early.clone()) - median(&mut self.late.clone())
    }
}

/// The points of each probe that gave at least a third as many as the one that gave most, that one first; all points together
/// where most are samples.
fn by_probe(points: &[Point]) -> Vec<Vec<Point>> {
    let mut by_probe: BTreeMap<usize, Vec<Point>> = BTreeMap::new();
    for point in points {
        if let Source::Probe(probe) = point.source {
            by_probe.entry(probe).or_default().push(*point);
        }
    }
    if 2 * by_probe.values().map(Vec::len).sum::<usize>() < points.len() {
        return vec![points.to_vec()];
    }
    let mut groups: Vec<Vec<Point>> = by_probe.into_values().collect();
    groups.sort_by_key(|own| std::cmp::Reverse(own.len()));
    let most = groups.first().map_or(0, Vec::len);
    groups.retain(|own| 3 * own.len() >= most);
    groups
}

/// A probability as a finding; what it is conditional on is its method.
fn probability(p: f64, level: f64, method: &'static str) -> Result<Finding> {
    Ok(Finding::Estimated(Estimate::normal(p, 0.0, level, method)?))
}

/// What a batch with a fitted curve is judged by.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Judge<'a> {
    pub points: &'a [Point],
    /// The last usable data, hours from pitching.
    pub last_hours: f64,
    pub tolerance_sg: f64,
    pub stuck_above: f64,
    /// The limit with its standard deviation.
    pub limit: (f64, f64),
}

impl Judge<'_> {
    /// The word, the hour since when, and the probability of the word: the share of curves drawn from the fit's errors
    /// that get the same one; of `Finished`, of being at rest, as a limit that is hardly known says little about more.
    pub fn status(&self, fitted: &FittedCurve, level: f64) -> Result<(Status, Option<f64>, Finding)> {
        let curve = fitted.timed();
        if let Some((at, p)) = restarted_at(self.points, fitted.curve.original_sg) {
            // Only a fall that the single curve does not know as its main one.
            if at > curve.mid_h() {
                let p = probability(p, level, "fall after the rest against the scatter, normal")?;
                return Ok((Status::Restarted, Some(at), p));
            }
        }
        let p_stuck = |terminal_sg: f64, variance: f64| {
            let above = terminal_sg - self.limit.0 - self.stuck_above;
            let sd = (variance + self.limit.1 * self.limit.1).sqrt();
            let z = if sd > 0.0 { above / sd } else { above.signum() * f64::INFINITY };
            1.0 - quantile::normal_upper_tail(z)
        };
        let stuck = p_stuck(fitted.curve.terminal_sg, fitted.covariance[1][1]) > SURE;
        let stage = self.stage(&curve);
        let word = if stage == Status::Finished && stuck { Status::Stuck } else { stage };
        let since = match word {
            Status::NotStarted | Status::Lagging => Some(0.0),
            Status::Active => Some(curve.lag_h()),
            Status::Slowing => Some(self.slowing_h(&curve)),
            Status::Finished | Status::Stuck => Some(curve.finish_h(self.tolerance_sg)),
            Status::TooFewData | Status::Restarted => None,
        };
        let mut p = 0.0;
        let drawn = draws(fitted);
        for drawn in &drawn {
            let own = Timed::new(drawn, &fitted.clock);
            if self.stage(&own) == stage {
                // The draw has the error of the terminal gravity; that of the limit is left.
                p += if word == Status::Stuck { p_stuck(drawn.terminal_sg, 0.0) } else { 1.0 };
            }
        }
        let method = "share of curves drawn from the errors of the fit";
        let p = match drawn.len() {
            0 => Finding::missing("the errors of the fit cannot be drawn from"),
            n => probability(p / n as f64, level, method)?,
        };
        Ok((word, since, p))
    }

    /// The word without regard to the limit.
    fn stage(&self, curve: &Timed<'_>) -> Status {
        if curve.finish_h(self.tolerance_sg) <= self.last_hours {
            return Status::Finished;
        }
        if self.last_hours <= curve.lag_h() || curve.progress(self.last_hours) < 0.03 {
            return Status::Lagging;
        }
        let steepest = curve.steepest_h();
        let slow = curve.fall_sg_per_h(self.last_hours) < 0.5 * curve.fall_sg_per_h(steepest);
        if self.last_hours > steepest && slow { Status::Slowing } else { Status::Active }
    }

    /// The hour after the steepest point from which the fall is under half of its greatest.
    fn slowing_h(&self, curve: &Timed<'_>) -> f64 {
        let (mut early, mut late) = (curve.steepest_h(), self.last_hours);
        let half = 0.5 * curve.fall_sg_per_h(early);
        for _ in 0..40 {
            let middle = 0.5 * (early + late);
            if curve.fall_sg_per_h(middle) < half { late = middle } else { early = middle }
        }
        late
    }
}

/// Curves drawn from the normal distribution of the parameters; always the same for the same fit.
fn draws(fitted: &FittedCurve) -> Vec<Curve> {
    let covariance = DMatrix::from_fn(PARAMETERS, PARAMETERS, |i, j| fitted.covariance[i][j]);
    if covariance.iter().any(|c| !c.is_finite()) {
        return Vec::new();
    }
    let parts = covariance.symmetric_eigen();
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    let centre = fitted.curve.to_vector();
    (0..DRAWS)
        .map(|_| {
            let z = DVector::from_fn(PARAMETERS, |i, _| parts.eigenvalues[i].max(0.0).sqrt() * normal());
            let moved = &parts.eigenvectors * z;
            let mut vector: [f64; PARAMETERS] = std::array::from_fn(|i| centre[i] + moved[i]);
            // A fermentation only falls.
            vector[1] = vector[1].min(vector[0] - 1e-4);
            Curve::of_form(fitted.curve.form, &vector)
        })
        .collect()
}

/// When a batch that was at rest began to fall again: the end of a stretch of at least [`REST_H`] hours in which the
/// running median keeps within 0.0005, well below the gravity at pitching, after which it falls by more than
/// [`RESTART_SG`] in two days. A slow tail falls less in that time. As the probe that gave most points has it: where one of
/// several stops to read, the level of all together jumps.
pub(crate) fn restarted_at(points: &[Point], original_sg: f64) -> Option<(f64, f64)> {
    let points = &by_probe(points).into_iter().next()?;
    let smooth: Vec<(f64, f64)> = points
        .windows(9)
        .map(|window| {
            let mut sg: Vec<f64> = window.iter().map(|p| p.sg).collect();
            (window[4].hours, median(&mut sg))
        })
        .collect();
    let lowest = smooth.iter().map(|(_, sg)| *sg).fold(f64::INFINITY, f64::min);
    smooth.iter().enumerate().find_map(|(i, &(start, level))| {
        let begun = original_sg - level > 0.3 * (original_sg - lowest);
        let rest = smooth.iter().skip(i).take_while(|(_, sg)| (sg - level).abs() <= 0.0005).last()?.0;
        let after = smooth.iter().filter(|(hours, _)| (rest..rest + 48.0).contains(hours)).map(|(_, sg)| *sg);
        let fell = level - after.fold(f64::INFINITY, f64::min);
        let mut steps: Vec<f64> = points.windows(2).map(|pair| (pair[1].sg - pair[0].sg).abs()).collect();
        let noise = (median(&mut steps) / 0.954).max(1e-5);
        // Two running medians of nine, and a fall that a slow tail may have too.
        let p = 1.0 - quantile::normal_upper_tail((fell - LEAST_FALL_SG) / (1.25 * noise * (2.0_f64 / 9.0).sqrt()));
        (begun && rest - start >= REST_H && fell > RESTART_SG && fell.is_finite()).then_some((rest, p))
    })
}
