//! Settings of the study of forecasts.

use serde::{Deserialize, Serialize};

use crate::common::CommonSettings;
use crate::error::{Error, Result};

/// Settings of the study of forecasts.
///
/// | field | unit | default | range | change it when |
/// | --- | --- | --- | --- | --- |
/// | `stages` | share | 0.25, 0.40, 0.55, 0.70, 0.85 | 0 to 1 | the backtest should look at other stages |
/// | `draws` | - | 500 | 200 to 100000 | smoother quantiles are worth the time |
/// | `seed` | - | 1 | - | another stream of random numbers |
/// | `common` | - | see there | - | "at rest" or "stuck" should mean something else |
///
/// What concerns the curves is taken from the settings of the kinetics that are forecast from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ForecastSettings {
    /// Shares of the drop at which the backtest forecasts.
    pub stages: Vec<f64>,
    /// Draws from the posterior per forecast.
    pub draws: usize,
    /// Seed of the random numbers; the same seed gives the same forecasts.
    pub seed: u64,
    /// What all studies share.
    #[serde(skip)]
    pub common: CommonSettings,
}

impl Default for ForecastSettings {
    fn default() -> Self {
        Self { stages: vec![0.25, 0.40, 0.55, 0.70, 0.85], draws: 500, seed: 1, common: CommonSettings::default() }
    }
}

impl ForecastSettings {
    /// Checks every setting.
    ///
    /// # Errors
    /// [`Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
    pub fn check(&self) -> Result<()> {
        self.common.check()?;
        if let Some(stage) = self.stages.iter().find(|stage| !(**stage > 0.0 && **stage < 1.0)) {
            return Err(Error::Setting {
                name: "stages",
                value: stage.to_string(),
                wanted: "shares of the drop between 0 and 1",
            });
        }
        if !(200..=100_000).contains(&self.draws) {
            return Err(Error::Setting { name: "draws", value: self.draws.to_string(), wanted: "200 to 100000" });
        }
        Ok(())
    }
}
