//! The bias that gas and foam put into each reading of a season.

use crate::gravity::{GravitySeries, HeldReading, ProcessBias};
use crate::season::Flags;

use super::batch_fit::Kinetics;
use super::probe_bias::{DELAY, FOAM, memory};

assumed! {
    /// Where a probe was held, what it is off by is known to this share of it: beer does not fall on a straight line.
    const HELD_SHARE: f64 = 0.2, "share";
}

impl Kinetics {
    /// The bias of each reading of these batches, in the order of their `series`, by gas and foam: the fitted delay by gas times the rate of fall, and the fitted bias by
    /// foam times the memory of the relative rate, with the SD that their covariance gives. Readings of batches without a curve
    /// have none. A reading of a probe that was held is off its line between the levels before and after.
    pub fn process_bias(&self, series: &[GravitySeries]) -> Vec<ProcessBias> {
        let mut found = Vec::new();
        for (fit, series) in self.batches.iter().zip(series) {
            let Some(fitted) = &fit.fitted else { continue };
            let curve = fitted.timed();
            let greatest = curve.fall_sg_per_h(curve.steepest_h()).max(1e-9);
            let falls: Vec<f64> = series.hours.iter().map(|&hours| curve.fall_sg_per_h(hours).max(0.0)).collect();
            let foam = memory(series.hours.iter().copied().zip(falls.iter().map(|fall| fall / greatest)));
            let ([delay_h, foam_sg], covariance) = (fitted.bias, &fitted.covariance);
            let of = |((row, fall), foam): ((&usize, &f64), f64)| {
                let variance = covariance[DELAY][DELAY] * fall * fall
                    + 2.0 * covariance[DELAY][FOAM] * fall * foam
                    + covariance[FOAM][FOAM] * foam * foam;
                ProcessBias { row: *row, mean_sg: delay_h * fall + foam_sg * foam, sd_sg: variance.max(0.0).sqrt() }
            };
            found.extend(series.rows.iter().zip(&falls).zip(foam).map(of));
        }
        let held = series.iter().flat_map(|series| &series.held);
        let bias = |held: &HeldReading| {
            let sd_sg = *HELD_SHARE * held.off_sg.abs();
            ProcessBias { row: held.row, mean_sg: held.off_sg, sd_sg }
        };
        found.extend(held.map(bias));
        found
    }

    /// The flags of readings by their batch's curve and by what held their probe.
    pub fn reading_flags(&self, series: &[GravitySeries]) -> Vec<(usize, Flags)> {
        let held = series.iter().flat_map(|series| &series.held).map(|held| (held.row, Flags::DISTURBED));
        self.batches.iter().flat_map(|fit| fit.flags.iter().copied()).chain(held).collect()
    }
}
