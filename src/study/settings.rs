//! The settings of the whole study, in one tree.

use crate::calibration::{BuildSettings, CalibrationSettings, PlanSettings};
use crate::common::{ActivationEnergy, AtRest, CommonSettings, InstrumentErrors};
use crate::drift::DriftSettings;
use crate::error::{Error, Result};
use crate::forecast::ForecastSettings;
use crate::kinetics::KineticsSettings;
use crate::strains::StrainSettings;

settings! {
    /// Settings of the whole study. What several studies share is set once, at the top; the rest is set under the study that
    /// it belongs to. `season.toml` takes the same names below `[study]`:
    ///
    /// ```toml
    /// [study]
    /// level = 0.95
    /// at_rest = { within_sg = 0.0015 }
    ///
    /// [study.drift]
    /// limit_sg = 0.003
    /// ```
    ///
    /// ```
    /// use heelwort::study::Settings;
    ///
    /// let mut settings = Settings { level: 0.95, ..Settings::default() };
    /// settings.drift.limit_sg = 0.003;
    /// assert!(settings.check().is_ok());
    ///
    /// settings.drift.shift_alarm = 7.0;
    /// assert_eq!(settings.check().unwrap_err().to_string(), "setting `study.drift.shift_alarm` is 7; wanted 0 to 0.5");
    /// ```
    pub struct Settings {
        /// Level of intervals, 0.5 to 0.9999. Forecasts keep 90 %; differences of strains have a level of their own.
        level: f64 = CommonSettings::default().level;
        /// How far above the gravity that its wort allows a batch at rest counts as stuck, SG.
        stuck_above_limit_sg: f64 = CommonSettings::default().stuck_above_limit_sg;
        /// When a batch is at rest.
        at_rest: AtRest = AtRest::default();
        /// By how much instruments may be wrong.
        instruments: InstrumentErrors = InstrumentErrors::default();
        /// How temperature acts on the pace of a fermentation.
        activation: ActivationEnergy = ActivationEnergy::default();
        /// Of calibration.
        calibration: CalibrationSettings = CalibrationSettings::default();
        /// Of the build check.
        builds: BuildSettings = BuildSettings::default();
        /// Of the baths of the next calibration.
        bath_plan: PlanSettings = PlanSettings::default();
        /// Of drift.
        drift: DriftSettings = DriftSettings::default();
        /// Of kinetics.
        kinetics: KineticsSettings = KineticsSettings::default();
        /// Of forecasts and their backtest.
        forecast: ForecastSettings = ForecastSettings::default();
        /// Of the comparison of strains.
        strains: StrainSettings = StrainSettings::default();
    }
    also |settings| settings.checked().map(drop)
}

impl Settings {
    /// What all studies share.
    pub(super) fn common(&self) -> CommonSettings {
        CommonSettings {
            level: self.level,
            at_rest: self.at_rest,
            stuck_above_limit_sg: self.stuck_above_limit_sg,
            instruments: self.instruments,
            activation: self.activation,
        }
    }

    /// The same settings, checked, with what all studies share in each of them.
    pub(super) fn checked(&self) -> Result<Self> {
        let common = self.common();
        common.check().map_err(|error| below("study", error))?;
        let mut all = self.clone();
        macro_rules! check {
            ($($study:ident)*) => {
                $(
                    let held = &mut all.$study.common;
                    if *held != CommonSettings::default() && *held != common {
                        let name = concat!("study.", stringify!($study), ".common");
                        let why = format!("setting `{name}` is set by itself; wanted its values at the top of `study`");
                        return Err(Error::Usage(why));
                    }
                    *held = common;
                    all.$study.check().map_err(|error| below(concat!("study.", stringify!($study)), error))?;
                )*
            };
        }
        check! { calibration builds drift kinetics forecast strains }
        all.bath_plan.check().map_err(|error| below("study.bath_plan", error))?;
        Ok(all)
    }
}

/// The error of a setting with its whole name.
fn below(table: &str, error: Error) -> Error {
    match error {
        Error::Setting { name, value, wanted } => {
            Error::Usage(format!("setting `{table}.{name}` is {value}; wanted {wanted}"))
        }
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_study_gets_what_is_shared() {
        let all = Settings { level: 0.8, ..Settings::default() }.checked().unwrap();
        for common in [
            all.calibration.common,
            all.builds.common,
            all.drift.common,
            all.kinetics.common,
            all.forecast.common,
            all.strains.common,
        ] {
            assert_eq!(common, CommonSettings { level: 0.8, ..Default::default() });
        }
    }

    #[test]
    fn what_is_shared_is_set_in_one_place() {
        let mut settings = Settings::default();
        settings.drift.common.level = 0.8;
        let error = settings.check().unwrap_err().to_string();
        assert!(error.contains("study.drift.common"), "{error}");
        let error = Settings { level: 90.0, ..Settings::default() }.check().unwrap_err().to_string();
        assert_eq!(error, "setting `study.level` is 90; wanted 0.5 to 0.9999");
    }

    #[test]
    fn the_tree_is_written_and_read_again() {
        let mut settings = Settings { level: 0.95, ..Settings::default() };
        settings.strains.traits.truncate(2);
        settings.bath_plan.range_sg = Some((1.005, 1.07));
        let text = toml::to_string(&settings).unwrap();
        assert_eq!(toml::from_str::<Settings>(&text).unwrap(), settings);
    }
}
