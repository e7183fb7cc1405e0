//! Robust weights of the points.

use crate::error::Result;
use crate::fit::robust::huber_weight;

use super::point::{BatchPoint, PointSource, median};

assumed! {
    /// A point further off than this many standard deviations pulls no harder than one that is just so far off.
    const BOUND_SDS: f64 = 4.0, "SD";
    /// Share of the greatest rate from which a curve is steep.
    const STEEP: f64 = 0.3, "share";
    /// A reading speaks against a sample within so long of it.
    const BESIDE_H: f64 = 12.0, "h";
    /// A sample without a reading within so long of it stands alone.
    const LONE_H: f64 = 3.0, "h";
    /// Samples that lie further from readings beside them than this, or further apart than this and than a beer may have fallen in between, speak against each other.
    const LEAPS_SG: f64 = 0.008, "SG";
    /// No beer falls faster.
    const FASTEST_SG_PER_H: f64 = 0.003, "SG an hour";
    /// A point that counts less than this is called an outlier.
    pub(crate) const OUTLIER_WEIGHT: f64 = 0.5, "weight";
}

/// The weight of a sample that is left out: its error is a thousand times as large.
const LEFT_OUT: f64 = 1e-3;

/// Bounded influence: each probe point's residual over a scale that grows with the rate of fall, both from medians.
pub(crate) fn weigh(points: &mut [BatchPoint], residual: &[f64], relative_rate: &[f64]) {
    let scale_where = |keep: &dyn Fn(f64) -> bool| {
        let mut sizes: Vec<f64> = residual
            .iter()
            .zip(relative_rate)
            .zip(points.iter())
            .filter(|((_, h), p)| keep(**h) && matches!(p.source, PointSource::Probe(_)))
            .map(|((r, _), _)| r.abs())
            .collect();
        if sizes.len() < 8 { None } else { Some(1.4826 * median(&mut sizes)) }
    };
    let all = scale_where(&|_| true);
    let flat = scale_where(&|v| v < *STEEP).or(all);
    let steep = scale_where(&|v| v >= *STEEP).or(all);
    let (Some(flat), Some(steep)) = (flat, steep) else { return };
    for ((point, r), h) in points.iter_mut().zip(residual).zip(relative_rate) {
        if matches!(point.source, PointSource::Probe(_)) {
            let scale = (flat + (steep - flat).max(0.0) * h).max(point.own_sd).max(1e-5);
            point.weight = huber_weight(r / scale, *BOUND_SDS);
        }
    }
}

/// Samples that may be wrong, the original gravity among them: with readings beside them that count little or are far away, with
/// none beside them but some before and after, or with another sample that no beer goes to from there.
fn contested(points: &[BatchPoint]) -> Vec<usize> {
    let readings: Vec<&BatchPoint> = points.iter().filter(|p| matches!(p.source, PointSource::Probe(_))).collect();
    let by_readings = |at: f64, sg: f64| {
        let mut near = readings.iter().filter(|p| (p.hours - at).abs() < *BESIDE_H);
        let is_lone = readings.iter().all(|p| (p.hours - at).abs() > *LONE_H);
        let is_amid = readings.first().is_some_and(|p| p.hours < at) && readings.last().is_some_and(|p| p.hours > at);
        let is_far = readings.iter().any(|p| (p.hours - at).abs() <= *LONE_H && (p.sg - sg).abs() > *LEAPS_SG);
        (is_lone && is_amid) || is_far || near.any(|p| p.weight < *OUTLIER_WEIGHT)
    };
    let samples = || points.iter().enumerate().filter(|(_, p)| matches!(p.source, PointSource::Sample(_)));
    let by_sample = |p: &BatchPoint| {
        samples().any(|(_, other)| {
            let (first, then) = if p.hours <= other.hours { (p, other) } else { (other, p) };
            let fell = first.sg - then.sg;
            fell < -*LEAPS_SG || fell > *LEAPS_SG + *FASTEST_SG_PER_H * (then.hours - first.hours)
        })
    };
    let is_contested = |p: &BatchPoint| (p.hours > 0.0 && by_readings(p.hours, p.sg)) || by_sample(p);
    samples().filter(|(_, p)| is_contested(p)).map(|(place, _)| place).collect()
}

/// Samples to which no beer goes from the readings within [`LONE_H`] of them, two or more, while another sample agrees with those
/// beside it.
fn impossible(points: &[BatchPoint]) -> Vec<usize> {
    let gaps = |sample: &BatchPoint| -> Vec<f64> {
        let near = points.iter().filter(|p| matches!(p.source, PointSource::Probe(_)));
        let near = near.map(|p| ((p.hours - sample.hours).abs(), (p.sg - sample.sg).abs()));
        near.filter(|(h, _)| *h <= *LONE_H).map(|(h, off)| off - *FASTEST_SG_PER_H * h).collect()
    };
    let samples = points.iter().enumerate().filter(|(_, p)| matches!(p.source, PointSource::Sample(_)));
    let gaps: Vec<(usize, Vec<f64>)> =
        samples.map(|(place, p)| (place, gaps(p))).filter(|(_, g)| g.len() > 1).collect();
    let is_off = |gaps: &[f64]| gaps.iter().all(|gap| *gap > *LEAPS_SG);
    let (off, good): (Vec<_>, Vec<_>) = gaps.into_iter().partition(|(_, gaps)| is_off(gaps));
    if good.is_empty() { Vec::new() } else { off.into_iter().map(|(place, _)| place).collect() }
}

/// The likeliest, by the lowest score, of a fit and of those without samples that readings or other samples contradict: a robust
/// fit that begins on a wrong sample leaves out good readings, and stays there. `all` are the points with the weights that a fit begins from.
pub(crate) fn without_wrong<Fit>(
    all: &[BatchPoint],
    mut best: (Fit, Vec<BatchPoint>),
    again: impl Fn(&mut [BatchPoint]) -> Result<Fit>,
    score: impl Fn(&Fit) -> f64,
) -> (Fit, Vec<BatchPoint>) {
    let without = |places: &[usize]| {
        let mut points = all.to_vec();
        for (place, point) in points.iter_mut().enumerate() {
            point.weight = if places.contains(&place) { LEFT_OUT } else { point.weight };
        }
        points
    };
    let mut out = impossible(all);
    if !out.is_empty() {
        let mut points = without(&out);
        if let Ok(found) = again(&mut points) {
            best = (found, points);
        }
    }
    let must_out = out.clone();
    for place in contested(&best.1).into_iter().filter(|place| !must_out.contains(place)) {
        // It alone, or it besides those that are out.
        let with_it = [[must_out.as_slice(), &[place]].concat(), [out.as_slice(), &[place]].concat()];
        for places in with_it.into_iter().skip(usize::from(out == must_out)) {
            let mut points = without(&places);
            if let Ok(found) = again(&mut points)
                && score(&found) < score(&best.0)
            {
                (best, out) = ((found, points), places);
            }
        }
    }
    best
}
