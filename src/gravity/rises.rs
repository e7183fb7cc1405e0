//! Hours that a rise betrays.
//!
//! Beer falls. Where a probe shows a gravity that rises over some hours, though no sugar was added, it read too little before
//! the rise or reads too much since: foam that grew and went down as slowly has no edge. Wrong are the hours without which the
//! rest is smooth.

use std::ops::Range;

use nalgebra::{Matrix5, Vector5};

use crate::fit::robust::median;

use super::episodes::{hourly, is_sugared, noise};

assumed! {
    /// A rise happens within so long.
    const RISE_H: f64 = 12.0, "h";
    /// A rise is larger than so many SDs of an hour.
    const RISE_SDS: f64 = 6.0, "SD";
    /// A rise of which one hour has more than this share is an edge, which has its own rules: it may last.
    const SUDDEN: f64 = 0.6, "share";
    /// Hours before and after a rise that are looked at.
    const AROUND_H: f64 = 42.0, "h";
    /// Longest time that a rise makes doubtful.
    const WRONG_H: f64 = 48.0, "h";
    /// An hour is left out rather than that it be so many SDs from a smooth fall.
    const WORTH_SDS: f64 = 3.0, "SD";
}

/// An hour differs from a smooth fall by this share of the least rise, SD, if readings scatter less.
const SMOOTH_SHARE: f64 = 0.2;
/// Hours that a smooth fall is taken from, at least.
const LEAST_HOURS: usize = 10;
/// Most rises of a probe in a batch.
const MOST: usize = 6;

/// The hours of one probe in one batch, by index of its readings, that rises of at least `least` make wrong; without readings of
/// `held`, which are wrong anyway. A rise counts where no sugar was added near it and `may_count`, asked for its two ends,
/// knows nothing else that explains it.
///
/// With hourly medians `y(t)` about a rise, the hours left out, one stretch that touches it, are those for which the sum of
/// `(y - quartic(t))^2/s^2` over the other hours and of `WORTH_SDS^2` for each that is left out is least.
pub(crate) fn rises(
    hours: &[f64],
    values: &[f64],
    least: f64,
    held: &[Range<usize>],
    sugar_hours: &[f64],
    may_count: impl Fn(f64, f64) -> bool,
) -> Vec<Range<usize>> {
    let mut hourly = hourly(hours, values, 0..hours.len(), 0.0, held);
    let scatter = noise(&hourly.iter().map(|hour| hour.1).collect::<Vec<_>>());
    let (least, sd) = (least.max(*RISE_SDS * scatter), scatter.max(SMOOTH_SHARE * least));
    let mut found = Vec::new();
    for _ in 0..MOST {
        let Some((from, to, rise)) = greatest_rise(&hourly).filter(|(.., rise)| *rise >= least) else { break };
        let counts = hourly
            .get(from)
            .zip(hourly.get(to))
            .is_some_and(|((from, _), (to, _))| !is_sugared(sugar_hours, *from, *to) && may_count(*from, *to));
        let is_sudden = || {
            let steps = hourly.iter().zip(hourly.iter().skip(1)).take(to).skip(from).map(|(a, b)| b.1 - a.1);
            steps.fold(0.0, f64::max) > *SUDDEN * rise
        };
        let wrong = if counts && !is_sudden() { wrong_hours(&hourly, from, to, sd) } else { None };
        let left_out = wrong.clone().unwrap_or(from..to + 1);
        if let Some((first, last)) =
            wrong.and_then(|wrong| Some((hourly.get(wrong.start)?.0, hourly.get(wrong.end - 1)?.0)))
        {
            let at = |h: f64| hours.partition_point(|hours| *hours < h);
            found.push(at(first.floor())..at(last.floor() + 1.0));
        }
        hourly.drain(left_out);
    }
    found
}

/// The places between which medians of three hours rise most within [`RISE_H`], and by how much.
fn greatest_rise(hourly: &[(f64, f64)]) -> Option<(usize, usize, f64)> {
    let smooth = |i: usize| {
        let near = hourly.get(i.saturating_sub(1)..(i + 2).min(hourly.len())).unwrap_or_default();
        median(&near.iter().map(|hour| hour.1).collect::<Vec<_>>()).ok()
    };
    let levels: Vec<f64> = (0..hourly.len()).map_while(smooth).collect();
    let mut greatest: Option<(usize, usize, f64)> = None;
    for (to, (hour, level)) in hourly.iter().zip(&levels).enumerate() {
        let near = hourly.partition_point(|before| before.0 < hour.0 - *RISE_H)..to;
        let lowest = near.min_by(|a, b| levels[*a].total_cmp(&levels[*b]));
        if let Some(from) = lowest
            && greatest.is_none_or(|most| level - levels[from] > most.2)
        {
            greatest = Some((from, to, level - levels[from]));
        }
    }
    greatest
}

/// The stretch of hours, touching a rise, without which the rest is smoothest; none where it is smooth enough with all.
fn wrong_hours(hourly: &[(f64, f64)], from: usize, to: usize, sd: f64) -> Option<Range<usize>> {
    let (low, high) = (hourly.get(from)?, hourly.get(to)?);
    let first = hourly.partition_point(|hour| hour.0 < low.0 - *AROUND_H);
    let last = hourly.partition_point(|hour| hour.0 < high.0 + *AROUND_H);
    let near = hourly.get(first..last)?;
    // Sums over the hours up to each: powers of time, those times the value, the value squared.
    let mut sums = vec![(Matrix5::zeros(), Vector5::zeros(), 0.0)];
    for (hour, value) in near {
        let t = (hour - low.0) / *AROUND_H;
        let (powers, y) = (Vector5::new(1.0, t, t * t, t.powi(3), t.powi(4)), (value - low.1) / sd);
        let (squares, products, square) = *sums.last()?;
        sums.push((squares + powers * powers.transpose(), products + powers * y, square + y * y));
    }
    let all = *sums.last()?;
    let worth = WORTH_SDS.powi(2);
    let cost = |out: Range<usize>| {
        let ((a, b), n) = (sums.get(out.start).zip(sums.get(out.end))?, out.len());
        let (squares, products, square) = (all.0 - (b.0 - a.0), all.1 - (b.1 - a.1), all.2 - (b.2 - a.2));
        let quartic = squares.cholesky().filter(|_| near.len() - n >= LEAST_HOURS)?.solve(&products);
        Some(square - products.dot(&quartic) + worth * n as f64)
    };
    let with_all = cost(0..0)?;
    let (rises_from, rises_to) = (from - first, to - first);
    let mut best = (with_all - LEAST_HOURS as f64 * worth.sqrt(), None);
    for start in 0..=rises_to {
        let longest = near.partition_point(|hour| near.get(start).is_some_and(|begin| hour.0 <= begin.0 + *WRONG_H));
        // From before the rise into it, or from within it on; one side must be seen.
        for end in (start.max(rises_from) + 1)..=longest {
            let is_beside = start <= rises_from || end > rises_to;
            let is_seen = start > 3 || near.len() - end > 3;
            if let Some(cost) = cost(start..end).filter(|_| is_beside && is_seen)
                && cost < best.0
            {
                best = (cost, Some(first + start..first + end));
            }
        }
    }
    best.1.filter(|wrong| wrong.len() > 1)
}

#[cfg(test)]
#[path = "../../tests/inside/rises.rs"]
mod tests;
