//! Settings of the study of forecasts.

use crate::error::Error;

settings! {
    /// Settings of the study of forecasts.
    ///
    /// What concerns the curves is taken from the settings of the kinetics that are forecast from.
    pub struct ForecastSettings {
        /// Shares of the drop at which the backtest forecasts.
        stages: Vec<f64> = vec![0.25, 0.40, 0.55, 0.70, 0.85];
        /// Draws from the posterior per forecast.
        draws: usize = 500, 200..=100_000, "200 to 100000";
        /// Seed of the random numbers; the same seed gives the same forecasts.
        seed: u64 = 1;
    }
    with common
    also |settings| {
        let bad = settings.stages.iter().find(|stage| !(**stage > 0.0 && **stage < 1.0));
        bad.map_or(Ok(()), |stage| Err(Error::setting("stages", stage, "shares of the drop between 0 and 1")))
    }
}
