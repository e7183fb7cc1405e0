//! The bias of probes by gas and foam while a batch works. Samples are free of both.
//!
//! Gas on a probe lifts it, so that it reads a denser liquid. A lift in proportion to the rate of fall is, to first order, a
//! delay: a probe reads now what the liquid was a while ago. Foam clings to a probe's dry part, comes with the rate of
//! the fermentation and dries in a day or two: a bias, more often too high than too low, in proportion to the memory
//! of the relative rate, which looks like a slow tail. One batch by one probe tells neither; samples in mid-fermentation tell the
//! sum of both. What they say of gas is shared among the batches of a season.

use super::curve::PARAMETERS;
use super::point::{BatchPoint, PointSource};

/// Place of the delay by gas among the parameters of a fit.
pub(crate) const DELAY: usize = PARAMETERS;
/// Place of the bias by foam.
pub(crate) const FOAM: usize = PARAMETERS + 1;
/// Parameters of a fit before the nuisance effects.
pub(crate) const FITTED: usize = PARAMETERS + 2;

assumed! {
    /// Hours in which foam dries on a probe.
    const FOAM_H: f64 = 30.0, "h";
}

/// Priors of both: mean and standard deviation; held where that is 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ProbeBias {
    /// Delay by gas, hours.
    pub delay_h: (f64, f64),
    /// Bias by foam where most of it sits, SG.
    pub foam_sg: (f64, f64),
}

impl ProbeBias {
    /// The prior of the parameter at `place`, if it is one of the two.
    pub fn at(&self, place: usize) -> Option<(f64, f64)> {
        match place {
            DELAY => Some(self.delay_h),
            FOAM => Some(self.foam_sg),
            _ => None,
        }
    }
}

/// What foam adds to each point, per SG of bias where most of it sits: the memory of the relative rate, over its greatest.
pub(crate) fn foam(points: &[BatchPoint], relative_rate: &[f64]) -> Vec<f64> {
    let mut column = memory(points.iter().map(|point| point.hours).zip(relative_rate.iter().copied()));
    for (value, point) in column.iter_mut().zip(points) {
        if !matches!(point.source, PointSource::Probe(_)) {
            *value = 0.0;
        }
    }
    column
}

/// The memory of the relative rate at each hour, which fades as foam dries, over its greatest.
pub(super) fn memory(relative_rate: impl Iterator<Item = (f64, f64)>) -> Vec<f64> {
    let (mut level, mut before, mut most) = (0.0, 0.0, 1e-9_f64);
    let mut levels: Vec<f64> = relative_rate
        .map(|(hours, v)| {
            let kept = (-(hours - before).max(0.0) / *FOAM_H).exp();
            level = v.max(kept * level + (1.0 - kept) * v);
            before = hours;
            most = most.max(level);
            level
        })
        .collect();
    levels.iter_mut().for_each(|value| *value /= most);
    levels
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn foam_outlives_the_relative_rate_and_spares_samples() {
        let mut points: Vec<BatchPoint> =
            (0..100).map(|i| BatchPoint::at(f64::from(i) * 2.0, 1.0, PointSource::Probe(0))).collect();
        points[30].source = PointSource::Sample(0);
        let relative_rate: Vec<f64> = (0..100).map(|i| if i < 25 { 1.0 } else { 0.0 }).collect();
        let column = foam(&points, &relative_rate);
        assert_eq!(column[30], 0.0);
        assert!((column.iter().copied().fold(0.0, f64::max) - 1.0).abs() < 1e-12);
        let (at, later) = (column[24], column[39]);
        assert!((later / at - (-1.0_f64).exp()).abs() < 0.01, "{at} {later}");
    }
}
