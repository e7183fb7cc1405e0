//! A curve on its clock, read in hours from pitching.

use super::clock::Clock;
use super::curve::{CELL, CELLS, GravityCurve, PARAMETERS, Tabulated};

const HALF_DAY_H: f64 = 12.0;

/// A tabulated curve with its clock: all times are hours from pitching, whatever the clock of the curve.
#[derive(Debug, Clone)]
pub(crate) struct Timed<'a> {
    table: Tabulated,
    clock: &'a Clock,
    /// Clock time of the steepest fall over the curve's scale, where it is held.
    steepest: Option<f64>,
}

impl<'a> Timed<'a> {
    /// A curve on a clock.
    pub fn new(curve: &GravityCurve, clock: &'a Clock) -> Self {
        Self { table: curve.tabulate(), clock, steepest: None }
    }

    /// A neighbour of `centre` for derivatives of rate and lag: with the steepest place of `centre`. There the rate is greatest
    /// and the lag least or greatest, so that moving it changes neither to first order, while the search for it may jump. A
    /// place over the scale stays within its cell of the smooth correction, where the rate has no step.
    pub(super) fn beside(curve: &GravityCurve, centre: &Self) -> Self {
        Self { table: curve.tabulate(), clock: centre.clock, steepest: Some(centre.steepest_place()) }
    }

    /// The curve with its parameters, times on its clock.
    pub(super) fn curve(&self) -> &GravityCurve {
        self.table.curve()
    }

    /// SG at an hour.
    pub fn sg(&self, hours: f64) -> f64 {
        self.table.sg(self.clock.at(hours).0)
    }

    /// Share of the drop that is done at an hour.
    pub fn progress(&self, hours: f64) -> f64 {
        self.table.progress(self.clock.at(hours).0)
    }

    /// SG at an hour and its derivatives by the parameters in the order of [`GravityCurve::to_vector`].
    pub fn gradient(&self, hours: f64) -> (f64, [f64; PARAMETERS]) {
        self.table.gradient(self.clock.at(hours).0)
    }

    /// Rate of fall, SG per hour, at the mean pace of half a day to both sides: the noise of a thermometer has no part in it.
    pub fn fall_sg_per_h(&self, hours: f64) -> f64 {
        let (from, to) = ((hours - HALF_DAY_H).max(0.0), hours + HALF_DAY_H);
        let pace = match self.clock {
            Clock::Real => 1.0,
            Clock::Thermal(_) => (self.clock.at(to).0 - self.clock.at(from).0) / (to - from),
        };
        pace * self.table.fall_sg_per_h(self.clock.at(hours).0)
    }

    /// Hour of the steepest fall.
    pub fn steepest_h(&self) -> f64 {
        let place = self.steepest.unwrap_or_else(|| self.steepest_place());
        self.clock.hours_at(place * self.table.curve().scale_h)
    }

    /// Clock time of the steepest fall over the curve's scale: on real time the curve's own, else the middle of the cell of
    /// the smooth correction in which the fall in hours is greatest.
    fn steepest_place(&self) -> f64 {
        let scale_h = self.table.curve().scale_h;
        let own = self.table.steepest_h() / scale_h;
        if *self.clock == Clock::Real {
            return own;
        }
        let fall = |place: f64| (place, self.fall_sg_per_h(self.clock.hours_at(place * scale_h)));
        let cells = (0..CELLS).map(|j| fall(CELL * (j as f64 + 0.5)));
        cells.fold(fall(own), |most, at| if at.1 > most.1 { at } else { most }).0
    }

    /// Lag: where the tangent at the steepest point meets the SG at pitching.
    pub fn lag_h(&self) -> f64 {
        let steepest = self.steepest_h();
        let fall = self.fall_sg_per_h(steepest);
        if steepest <= 0.0 || fall <= 0.0 {
            return 0.0;
        }
        (steepest - (self.table.curve().original_sg - self.sg(steepest)) / fall).max(0.0)
    }

    /// Hour of the middle of the drop.
    pub fn mid_h(&self) -> f64 {
        self.time_of_progress_h(0.5)
    }

    /// Hour at which the share `progress` of the drop is done.
    pub fn time_of_progress_h(&self, progress: f64) -> f64 {
        self.clock.hours_at(self.table.time_of_progress_h(progress))
    }

    /// Finish time: the hour at which the curve comes within `tolerance_sg` of its terminal gravity.
    pub fn finish_h(&self, tolerance_sg: f64) -> f64 {
        self.clock.hours_at(self.table.finish_h(tolerance_sg))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kinetics::FermentationCurve;

    #[test]
    fn the_lag_is_the_tangents() {
        for (kind, steepness, asymmetry) in [0.02, 0.5, 1.3, 6.0].into_iter().flat_map(|steepness| {
            let plain = (FermentationCurve::Gompertz, steepness, 1.0);
            [(FermentationCurve::Logistic5, steepness, 0.2), (FermentationCurve::Logistic5, steepness, 4.0), plain]
        }) {
            let plain = GravityCurve::plain(kind, [1.052, 1.011], 38.0, [steepness, asymmetry]);
            let correction = std::array::from_fn(|k| 0.3 * (1.7 * k as f64).sin());
            let corrected = GravityCurve { correction, tail_share: 0.15, tail_pace: 0.12, ..plain };
            for curve in [plain, corrected] {
                let timed = Timed::new(&curve, &Clock::Real);
                let steepest = timed.steepest_h();
                assert!(timed.fall_sg_per_h(steepest) >= timed.fall_sg_per_h(steepest + 4.0));
                let tangent = timed.sg(steepest) + (steepest - timed.lag_h()) * timed.fall_sg_per_h(steepest);
                assert!((tangent - 1.052).abs() < 1e-9 || steepest == 0.0 || timed.lag_h() == 0.0);
            }
        }
    }
}
