//! The points that a curve is fitted to.

use crate::fit::robust::median_of;

use super::curve::Tabulated;

/// A mean of neighbouring readings of one probe, or one sample, as it entered the fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BatchPoint {
    /// Hours from pitching.
    pub hours: f64,
    /// Time on the clock of the curve, hours.
    pub clock_h: f64,
    /// Pace of that clock, hours per hour.
    pub pace: f64,
    /// SG as read: the probe's offset is not taken off.
    pub sg: f64,
    /// Standard deviation of its own error as given.
    pub own_sd: f64,
    /// Standard deviation of its part of the error shared by its probe or its instrument.
    pub shared_sd: f64,
    /// Where it comes from: a probe (an index into [`super::BatchFit::offsets`]) or a sample.
    pub source: PointSource,
    /// Weight from the robust fit, 1 for a point that fits and near 0 for an outlier.
    pub weight: f64,
}

/// Where a [`BatchPoint`] comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PointSource {
    /// A probe of the batch, by its index in [`super::BatchFit::offsets`].
    Probe(usize),
    /// The measured original gravity or a sample, by the index of its instrument.
    Sample(usize),
}

impl BatchPoint {
    /// A point on real time that fits.
    pub(super) const fn new(hours: f64, sg: f64, (own_sd, shared_sd): (f64, f64), source: PointSource) -> Self {
        Self { hours, clock_h: hours, pace: 1.0, sg, own_sd, shared_sd, source, weight: 1.0 }
    }

    /// The time on the curve's clock whose gravity the point shows, for a delay of its probe.
    pub(crate) fn shown_h(&self, delay_h: f64) -> f64 {
        match self.source {
            PointSource::Probe(_) => self.clock_h - delay_h * self.pace,
            PointSource::Sample(_) => self.clock_h,
        }
    }

    /// Derivative of the gravity shown by the delay.
    pub(crate) fn by_delay(&self, curve: &Tabulated, delay_h: f64) -> f64 {
        let shown = self.shown_h(delay_h);
        if matches!(self.source, PointSource::Probe(_)) && shown > 0.0 {
            self.pace * curve.fall_sg_per_h(shown)
        } else {
            0.0
        }
    }
}

/// The median of values, which are put in another order; not a number where there are none.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    median_of(values).unwrap_or(f64::NAN)
}

/// Running medians of so many points, each at the hour of its middle one.
pub(super) fn smoothed(points: &[BatchPoint], width: usize) -> Vec<(f64, f64)> {
    let middle = |window: &[BatchPoint]| median(&mut window.iter().map(|p| p.sg).collect::<Vec<_>>());
    points.windows(width).map(|window| (window[width / 2].hours, middle(window))).collect()
}

/// The median size of the steps from point to point, SG.
pub(super) fn usual_step(points: &[BatchPoint]) -> f64 {
    median(&mut points.windows(2).map(|pair| (pair[1].sg - pair[0].sg).abs()).collect::<Vec<_>>())
}

/// Root mean square of residuals with their robust weights; none without weight.
pub(super) fn weighted_rms(all: impl Iterator<Item = (f64, f64)>) -> Option<f64> {
    let (square, sum) = all.fold((0.0, 0.0), |(square, sum), (r, weight)| (square + weight * r * r, sum + weight));
    (sum > 0.0).then(|| (square / sum).sqrt())
}

#[cfg(test)]
impl BatchPoint {
    /// A point on real time with an error of 0.0004 of its own.
    pub fn at(hours: f64, sg: f64, source: PointSource) -> Self {
        Self::new(hours, sg, (4e-4, 0.0), source)
    }
}
