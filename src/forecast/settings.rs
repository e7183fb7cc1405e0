//! Settings of the study of forecasts.

use crate::error::{Error, Result};
use crate::kinetics::KineticsSettings;

/// Settings of the study of forecasts.
///
/// | field | unit | default | range | change it when |
/// | --- | --- | --- | --- | --- |
/// | `kinetics` | - | its default | - | "at rest" or "stuck" should mean something else |
/// | `stages` | share | 0.25, 0.40, 0.55, 0.70, 0.85 | 0 to 1 | the backtest should look at other stages |
/// | `observed_after_h` | h | 24 | 0 to 1000 | a rest should be seen for longer before the backtest counts it |
/// | `draws` | - | 1000 | 200 to 100000 | smoother quantiles are worth the time |
/// | `seed` | - | 1 | - | another stream of random numbers |
#[derive(Debug, Clone, PartialEq)]
pub struct ForecastSettings {
    /// Settings of the curves.
    pub kinetics: KineticsSettings,
    /// Shares of the drop at which the backtest forecasts.
    pub stages: Vec<f64>,
    /// Hours of fermentation data after the finish time that make it observed.
    pub observed_after_h: f64,
    /// Draws from the posterior per forecast.
    pub draws: usize,
    /// Seed of the random numbers; the same seed gives the same forecasts.
    pub seed: u64,
}

impl Default for ForecastSettings {
    fn default() -> Self {
        Self {
            kinetics: KineticsSettings::default(),
            stages: vec![0.25, 0.40, 0.55, 0.70, 0.85],
            observed_after_h: 24.0,
            draws: 1000,
            seed: 1,
        }
    }
}

impl ForecastSettings {
    /// The settings, if each lies in its range.
    ///
    /// # Errors
    /// [`Error::Setting`] for the first that does not.
    pub fn check(&self) -> Result<&Self> {
        self.kinetics.check()?;
        if let Some(stage) = self.stages.iter().find(|stage| !(**stage > 0.0 && **stage < 1.0)) {
            return Err(Error::Setting {
                name: "stages",
                value: stage.to_string(),
                wanted: "shares of the drop between 0 and 1",
            });
        }
        if !(0.0..=1000.0).contains(&self.observed_after_h) {
            return Err(Error::Setting {
                name: "observed_after_h",
                value: self.observed_after_h.to_string(),
                wanted: "0 to 1000 hours",
            });
        }
        if !(200..=100_000).contains(&self.draws) {
            return Err(Error::Setting { name: "draws", value: self.draws.to_string(), wanted: "200 to 100000" });
        }
        Ok(self)
    }
}
