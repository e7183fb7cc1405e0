//! The bias that gas and foam may put into each reading of a season.

use crate::gravity::GravitySeries;

use super::batch_fit::BatchFit;
use super::probe_bias::memory;
use super::settings::KineticsSettings;

impl KineticsSettings {
    /// The bias of each reading of these batches by gas and foam, as (row of the readings, SD in SG): the priors of the
    /// delay by gas, times the rate of fall, and of the bias by foam, times the memory of the relative rate. Readings of
    /// batches without a curve have none.
    pub fn bias_sds(&self, fits: &[BatchFit], series: &[GravitySeries]) -> Vec<(usize, f64)> {
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
