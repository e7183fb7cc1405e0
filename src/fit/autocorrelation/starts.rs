//! Where the search for the process begins.

use super::likelihood::{LikelihoodData, LikelihoodValue};
use super::scoring::{Bounds, climb};
use crate::fit::matrix::dot;

/// A correlation that is clearly one, and the least one that is reckoned with.
const MUCH: f64 = 0.4;
const LITTLE: f64 = 0.02;

/// Where to begin in one series, by its autocovariances at two lags, the second twice the first and where half or so of the
/// memory is left: the correlation is (1 - g) d at the first and (1 - g) d^2 at the second.
pub(super) fn by_lags(values: &[f64], bounds: &Bounds) -> [f64; 2] {
    let squares = dot(values, values);
    let correlation = |lag: usize| match (values.get(lag..), values.get(..values.len().saturating_sub(lag))) {
        (Some(late), Some(early)) => dot(late, early) / squares,
        _ => 0.0,
    };
    let (mut lag, mut first, mut second) = (1, correlation(1), correlation(2));
    while second > MUCH && 4 * lag < values.len() / 8 {
        (lag, first, second) = (2 * lag, second, correlation(4 * lag));
    }
    let first = first.clamp(LITTLE, 1.0 - LITTLE);
    let kept = (second / first).clamp(LITTLE, 1.0 - LITTLE);
    let memory = -(lag as f64) * bounds.gap / kept.ln();
    let white = if bounds.white_noise { (1.0 - first / kept).clamp(0.0, 0.9) } else { 0.0 };
    [memory.ln().clamp(bounds.low, bounds.high), white]
}

/// Where to begin: for each white share the best of memories that grow by a factor.
pub(super) fn starts<const N: usize>(
    columns: &LikelihoodData<'_, N>,
    bounds: &Bounds,
    span: f64,
    factor: f64,
    shares: &[f64],
) -> Vec<[f64; 2]> {
    let shares = if bounds.white_noise { shares } else { &[0.0] };
    let best = |share: &f64| {
        let memories = std::iter::successors(Some(0.5 * bounds.gap), |memory| Some(factor * memory));
        let each = memories.take_while(|memory| *memory < 2.0 * span).filter_map(|memory| {
            let value = columns.value::<false>(memory, *share)?;
            Some((value.loss, [memory.ln().clamp(bounds.low, bounds.high), *share]))
        });
        each.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, start)| start)
    };
    shares.iter().filter_map(best).collect()
}

/// The highest end of the climbs from these starts.
pub(super) fn best_climb<const N: usize>(
    columns: &LikelihoodData<'_, N>,
    starts: &[[f64; 2]],
    bounds: &Bounds,
) -> Option<([f64; 2], LikelihoodValue<N>)> {
    let ends = starts.iter().filter_map(|start| climb(columns, *start, bounds));
    ends.min_by(|a, b| a.1.loss.total_cmp(&b.1.loss))
}
