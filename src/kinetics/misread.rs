//! What gas and foam make probes misread while a batch works. Samples are free of both.
//!
//! Gas on a probe lifts it, so that it reads a denser liquid. A lift in proportion to the rate of fall is, to first order, a
//! delay: a probe reads now what the liquid was a while ago. Foam clings to a probe's dry part, comes with the vigour of
//! the fermentation and dries in a day or two: a misreading, more often too high than too low, in proportion to the memory
//! of the vigour, which looks like a slow tail. One batch by one probe tells neither; samples in mid-fermentation tell the
//! sum of both. What they say of gas is shared among the batches of a season.

use crate::gravity::GravitySeries;

use super::batch_fit::{BatchFit, Point, Source};
use super::curve::{PARAMETERS, Tabulated};
use super::settings::KineticsSettings;

/// Place of the delay by gas among the parameters of a fit.
pub(crate) const DELAY: usize = PARAMETERS;
/// Place of the misreading by foam.
pub(crate) const FOAM: usize = PARAMETERS + 1;
/// Parameters of a fit before the nuisance effects.
pub(crate) const FITTED: usize = PARAMETERS + 2;

/// Hours in which foam dries on a probe.
const FOAM_H: f64 = 30.0;
/// What foam makes a probe misread where most of it sits, mean and standard deviation, SG.
///
/// By the hydrostatics of a leaning float, mass above the water line turns it further over than its weight lifts its
/// reading: 0.3 g all round, 5 to 10 mm above the water line, read +0.0003 to +0.0007. A tenth of a gram on the low side,
/// which leans towards the foam, reads +0.0005 to +0.0009, on the high side -0.0001 to -0.0005. How much foam a probe carries,
/// and how high, is from memory, no source: the spread leaves room for none at all, and for twice as much that hangs low.
pub(crate) const FOAM_SG: (f64, f64) = (5e-4, 1e-3);

/// Priors of both: mean and standard deviation; held where that is 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Misreads {
    /// Delay by gas, hours.
    pub delay_h: (f64, f64),
    /// Misreading by foam where most of it sits, SG.
    pub foam_sg: (f64, f64),
}

impl Misreads {
    /// None of either.
    pub const NONE: Self = Self { delay_h: (0.0, 0.0), foam_sg: (0.0, 0.0) };

    /// The prior of the parameter at `place`, if it is one of the two.
    pub fn at(&self, place: usize) -> Option<(f64, f64)> {
        match place {
            DELAY => Some(self.delay_h),
            FOAM => Some(self.foam_sg),
            _ => None,
        }
    }
}

impl KineticsSettings {
    /// What gas and foam may make each reading of these batches misread, as (row of the readings, SD in SG): the priors of the
    /// delay by gas, times the rate of fall, and of the misreading by foam, times the memory of the vigour. Readings of
    /// batches without a curve have none.
    pub fn misreading_sds(&self, fits: &[BatchFit], series: &[GravitySeries]) -> Vec<(usize, f64)> {
        let delay_h = self.bubble_delay_h.hypot(self.bubble_delay_sd_h);
        let foam_sg = self.foam_sg.hypot(self.foam_sd_sg);
        let mut found = Vec::new();
        for (fit, series) in fits.iter().zip(series) {
            let Some(fitted) = &fit.fitted else { continue };
            let curve = fitted.timed();
            let greatest = curve.fall_sg_per_h(curve.steepest_h()).max(1e-9);
            let falls: Vec<f64> = series.hours.iter().map(|&hours| curve.fall_sg_per_h(hours).max(0.0)).collect();
            let foam = memory(series.hours.iter().copied().zip(falls.iter().map(|fall| fall / greatest)));
            let readings = series.rows.iter().zip(&falls).zip(foam);
            found.extend(readings.map(|((row, fall), foam)| (*row, (delay_h * fall).hypot(foam_sg * foam))));
        }
        found
    }
}

/// What foam adds to each point, per SG of misreading where most of it sits: the memory of the vigour, over its greatest.
pub(crate) fn foam(points: &[Point], vigour: &[f64]) -> Vec<f64> {
    let mut column = memory(points.iter().map(|point| point.hours).zip(vigour.iter().copied()));
    for (value, point) in column.iter_mut().zip(points) {
        if !matches!(point.source, Source::Probe(_)) {
            *value = 0.0;
        }
    }
    column
}

/// The memory of the vigour at each hour, which fades as foam dries, over its greatest.
fn memory(vigour: impl Iterator<Item = (f64, f64)>) -> Vec<f64> {
    let (mut level, mut before, mut most) = (0.0, 0.0, 1e-9_f64);
    let mut levels: Vec<f64> = vigour
        .map(|(hours, v)| {
            let kept = (-(hours - before).max(0.0) / FOAM_H).exp();
            level = kept * level + (1.0 - kept) * v;
            before = hours;
            most = most.max(level);
            level
        })
        .collect();
    levels.iter_mut().for_each(|value| *value /= most);
    levels
}

impl Point {
    /// The time on the curve's clock whose gravity the point shows, for a delay of its probe.
    pub(crate) fn shown_h(&self, delay_h: f64) -> f64 {
        match self.source {
            Source::Probe(_) => self.clock_h - delay_h * self.pace,
            Source::Sample(_) => self.clock_h,
        }
    }

    /// Derivative of the gravity shown by the delay.
    pub(crate) fn by_delay(&self, curve: &Tabulated, delay_h: f64) -> f64 {
        let shown = self.shown_h(delay_h);
        if matches!(self.source, Source::Probe(_)) && shown > 0.0 {
            self.pace * curve.fall_sg_per_h(shown)
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn foam_outlives_the_vigour_and_spares_samples() {
        let point = |hours: f64, source| Point {
            hours,
            clock_h: hours,
            pace: 1.0,
            sg: 1.0,
            own_sd: 1e-3,
            shared_sd: 0.0,
            source,
            weight: 1.0,
        };
        let mut points: Vec<Point> = (0..100).map(|i| point(f64::from(i) * 2.0, Source::Probe(0))).collect();
        points[30].source = Source::Sample(0);
        let vigour: Vec<f64> = (0..100).map(|i| if i < 25 { 1.0 } else { 0.0 }).collect();
        let column = foam(&points, &vigour);
        assert_eq!(column[30], 0.0);
        assert!((column.iter().copied().fold(0.0, f64::max) - 1.0).abs() < 1e-12);
        let (at, later) = (column[24], column[39]);
        assert!((later / at - (-1.0_f64).exp()).abs() < 0.01, "{at} {later}");
    }
}
