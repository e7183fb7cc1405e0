//! Start values from the data.

use crate::kinetics::prepare::median;

use super::SigmoidKind;

/// Start values in the order of the parameters, several to choose from. `x` rises.
pub(super) fn starts(kind: SigmoidKind, x: &[f64], y: &[f64], from: Option<f64>) -> Vec<Vec<f64>> {
    let smooth: Vec<(f64, f64)> = x
        .iter()
        .enumerate()
        .map(|(i, at)| {
            let side = 2.min(i).min(x.len() - 1 - i);
            (*at, median(&mut y.get(i - side..=i + side).unwrap_or_default().to_vec()))
        })
        .collect();
    let (Some(first), Some(last)) = (smooth.first(), smooth.last()) else { return Vec::new() };
    let levels = smooth.iter().map(|(_, y)| *y);
    let (low, high) = levels.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), y| (l.min(y), h.max(y)));
    let rising = last.1 >= first.1;
    let (begin, end) = if rising { (low, high) } else { (high, low) };
    let begin = from.unwrap_or(begin);
    let mut all = Vec::new();
    for beyond in [0.02, 0.5, 2.0] {
        let to = end + beyond * (end - begin);
        let crossing = |share: f64| {
            let level = begin + share * (to - begin);
            let at = smooth.iter().find(|(_, y)| if rising { *y >= level } else { *y <= level });
            at.map_or(last.0, |(x, _)| *x)
        };
        let (quarter, half) = (crossing(0.25), crossing(0.5));
        let reach = 0.02 * (last.0 - first.0);
        for stretch in [1.0, 0.5, 2.5] {
            let rate = stretch * 0.25 * (to - begin).abs() / (half - quarter).max(reach);
            if rate > 0.0 && rate.is_finite() {
                let lag = half - 0.5 * (to - begin).abs() / rate;
                let mut start = vec![begin, to, rate, lag];
                if kind.parameters() == 5 {
                    start.push(1.0);
                }
                all.push(start);
            }
        }
    }
    all
}
