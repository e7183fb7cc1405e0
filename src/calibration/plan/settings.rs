//! Settings of the plan of baths.

use crate::error::inside;

settings! {
    /// How the baths of the next calibration are planned.
    pub struct PlanSettings {
        /// Most baths of a plan, from four up: water and three others define a curve.
        most_baths: usize = 8, 4..=24, "4 to 24";
        /// The heaviest bath that may be mixed, SG.
        heaviest_sg: f64 = 1.100, 1.02..=1.15, "1.02 to 1.15";
        /// Lowest and highest gravity for which the curve is wanted; none: as the user's beers use it.
        range_sg: Option<(f64, f64)> = None;
        /// Standard deviation of a bath made by mass, SG. Assumed; no reference.
        bath_sd_sg: f64 = 0.0005, 1e-6..=0.02, "0.000001 to 0.02";
        /// Relative gain in the mean standard error for which one more bath is worth the work.
        least_gain: f64 = 0.10, 0.0..=0.9, "0 to 0.9";
    }
    also |settings| {
        let Some((low, high)) = settings.range_sg else { return Ok(()) };
        inside("range_sg", low, 0.98..=1.15, "0.98 to 1.15, the lower end first")?;
        inside("range_sg", high, low + 1e-4..=1.15, "0.98 to 1.15, the lower end first")
    }
}
