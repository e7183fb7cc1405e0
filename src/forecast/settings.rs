//! Settings of the study of forecasts.

use serde::{Deserialize, Serialize};

use crate::common::CommonSettings;
use crate::error::Error;

settings! {
    /// Settings of the study of forecasts.
    ///
    /// What concerns the curves is taken from the settings of the kinetics that are forecast from.
    #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
    #[serde(default, deny_unknown_fields)]
    pub struct ForecastSettings {
        /// Shares of the drop at which the backtest forecasts.
        stages: Vec<f64> = vec![0.25, 0.40, 0.55, 0.70, 0.85];
        /// Draws from the posterior per forecast.
        draws: usize = 500, 200..=100_000, "200 to 100000";
        /// Seed of the random numbers; the same seed gives the same forecasts.
        seed: u64 = 1;
        /// What all studies share.
        #[serde(skip)]
        common: CommonSettings = CommonSettings::default();
    }
    also |settings| {
        settings.common.check()?;
        match settings.stages.iter().find(|stage| !(**stage > 0.0 && **stage < 1.0)) {
            Some(stage) => {
                let wanted = "shares of the drop between 0 and 1";
                Err(Error::Setting { name: "stages", value: stage.to_string(), wanted })
            }
            None => Ok(()),
        }
    }
}
