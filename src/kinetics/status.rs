//! How far a fermentation has come, in words.

use super::batch_fit::{FittedCurve, Point, Status};
use super::prepare::median;

/// A fall smaller than this is none, SG.
const LEAST_FALL_SG: f64 = 0.002;
/// A rest this long, followed by a fall, was a rest.
const REST_H: f64 = 36.0;
/// A fall by more than this in two days after a rest is a new start, SG.
const RESTART_SG: f64 = 0.004;
/// Probability from which a batch at rest is called stuck.
const SURE: f64 = 0.9;

/// How far the level has fallen from the first six hours of data to the last six, SG, if clearly.
pub(crate) fn fall_sg(points: &[Point]) -> Option<f64> {
    let (first, last) = (points.first()?.hours, points.last()?.hours);
    let level = |keep: &dyn Fn(f64) -> bool| {
        let mut sg: Vec<f64> = points.iter().filter(|p| keep(p.hours)).map(|p| p.sg).collect();
        median(&mut sg)
    };
    let fall = level(&|hours| hours <= first + 6.0) - level(&|hours| hours >= last - 6.0);
    let mut steps: Vec<f64> = points.windows(2).map(|pair| (pair[1].sg - pair[0].sg).abs()).collect();
    let noise = median(&mut steps);
    (fall > LEAST_FALL_SG.max(2.0 * noise) || points.len() < 12 && fall > LEAST_FALL_SG).then_some(fall)
}

/// The word for a batch with a fitted curve whose last usable data are at `last_hours`.
pub(crate) fn status(
    fitted: &FittedCurve,
    points: &[Point],
    last_hours: f64,
    tolerance_sg: f64,
    stuck_above: f64,
    limit: (f64, f64),
) -> Status {
    let curve = fitted.curve.tabulate();
    let progress = curve.progress(last_hours);
    if let Some(at) = restarted_at(points, fitted.curve.original_sg) {
        // Only a fall that the single curve does not know as its main one.
        if at > curve.mid_h() {
            return Status::Restarted;
        }
    }
    if curve.finish_h(tolerance_sg) <= last_hours {
        let terminal_var = fitted.covariance[1][1];
        let above = fitted.curve.terminal_sg - limit.0 - stuck_above;
        let sd = (terminal_var + limit.1 * limit.1).sqrt();
        let z = if sd > 0.0 { above / sd } else { above.signum() * f64::INFINITY };
        let stuck = 1.0 - crate::fit::quantile::normal_upper_tail(z) > SURE;
        return if stuck { Status::Stuck } else { Status::Finished };
    }
    if last_hours <= curve.lag_h() || progress < 0.03 {
        return Status::Lagging;
    }
    let slow = curve.fall_sg_per_h(last_hours) < 0.5 * curve.fall_sg_per_h(curve.steepest_h());
    if last_hours > curve.steepest_h() && slow { Status::Slowing } else { Status::Active }
}

/// When a batch that was at rest began to fall again: the end of a stretch of at least [`REST_H`] hours in which the
/// running median keeps within 0.0005, well below the gravity at pitching, after which it falls by more than
/// [`RESTART_SG`] in two days. A slow tail falls less in that time.
pub(crate) fn restarted_at(points: &[Point], original_sg: f64) -> Option<f64> {
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
        (begun && rest - start >= REST_H && fell > RESTART_SG && fell.is_finite()).then_some(rest)
    })
}
