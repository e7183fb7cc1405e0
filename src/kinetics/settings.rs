//! What the study of kinetics lets one choose.

use crate::error::{Error, Result};

/// Which curve is fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CurveChoice {
    /// The four- or the five-parameter logistic, whichever has the lower AICc on the correlated likelihood.
    Best,
    /// Five parameters and the smooth correction of the rate.
    #[default]
    Smooth,
    /// The four-parameter logistic, symmetric in time.
    Logistic4,
    /// The five-parameter logistic, whose end may be slower or more abrupt than its onset.
    Logistic5,
}

/// Settings of the study of kinetics.
///
/// | field | unit | default | range | change it when |
/// | --- | --- | --- | --- | --- |
/// | `curve` | - | best by AICc | - | all batches should have the same curve |
/// | `level` | - | 0.90 | 0 to 1 | another level of the intervals is wanted |
/// | `bin_h` | h | 1 | 0 to 24 | readings come closer or wider than every few minutes; 0 keeps each reading |
/// | `finish_tolerance_sg` | SG | 0.001 | 0.0001 to 0.02 | "at rest" should mean something else |
/// | `finish_hold_h` | h | 48 | 0 to 1000 | as above |
/// | `stuck_above_limit_sg` | SG | 0.003 | 0 to 0.05 | a batch counts as stuck sooner or later |
/// | `terminal_from_progress` | - | 0.90 | 0 to 1 | terminal gravity is wanted from earlier fits, at one's own risk |
/// | `bubble_delay_h` | h | 1.5 | 0 to 24 | probes shed gas better or worse |
/// | `bubble_delay_sd_h` | h | 1.5 | 0 to 24 | this is known better or worse; 0 holds it |
/// | `foam_sg` | SG | 0 | -0.02 to 0.02 | foam on probes is known to make them misread |
/// | `foam_sd_sg` | SG | 0.001 | 0 to 0.02 | probes carry more or less foam; 0 holds it |
/// | `instrument_share` | - | 0.5 | 0 to 1 | more or less of a sample's variance is its instrument's bias |
#[derive(Debug, Clone, PartialEq)]
pub struct KineticsSettings {
    /// Which curve.
    pub curve: CurveChoice,
    /// Level of the intervals.
    pub level: f64,
    /// Width of the bins that readings of one probe are averaged in before the fit, hours.
    pub bin_h: f64,
    /// Distance from terminal gravity within which a batch is at rest, SG.
    pub finish_tolerance_sg: f64,
    /// How long it has to stay there, hours.
    pub finish_hold_h: f64,
    /// How far above the limit a batch at rest counts as stuck, SG.
    pub stuck_above_limit_sg: f64,
    /// Share of the drop before which terminal gravity and what hangs on it are left empty.
    pub terminal_from_progress: f64,
    /// By how much gas on a probe delays what it shows, hours, before the batch is looked at. From memory, no source: a probe
    /// reads some 0.001 to 0.003 too high where a beer falls by 0.015 a day. Samples in mid-fermentation tell it better.
    pub bubble_delay_h: f64,
    /// Its standard deviation, hours.
    pub bubble_delay_sd_h: f64,
    /// By how much foam on probes makes them misread where most of it sits, SG, before the batch is looked at.
    pub foam_sg: f64,
    /// Its standard deviation, SG; from memory, no source.
    pub foam_sd_sg: f64,
    /// Share of the variance of a sample that all samples of its instrument have in common.
    pub instrument_share: f64,
}

impl Default for KineticsSettings {
    fn default() -> Self {
        Self {
            curve: CurveChoice::Smooth,
            level: 0.90,
            bin_h: 1.0,
            finish_tolerance_sg: 0.001,
            finish_hold_h: 48.0,
            stuck_above_limit_sg: 0.003,
            terminal_from_progress: 0.90,
            bubble_delay_h: 1.5,
            bubble_delay_sd_h: 1.5,
            foam_sg: 0.0,
            foam_sd_sg: 0.001,
            instrument_share: 0.5,
        }
    }
}

impl KineticsSettings {
    /// The settings, if each lies in its range.
    ///
    /// # Errors
    /// [`Error::Setting`] for the first that does not.
    pub fn check(&self) -> Result<&Self> {
        let within = |name, value: f64, low: f64, high: f64, wanted| {
            if (low..=high).contains(&value) {
                Ok(())
            } else {
                Err(Error::Setting { name, value: value.to_string(), wanted })
            }
        };
        if !(self.level > 0.0 && self.level < 1.0) {
            return Err(Error::Setting {
                name: "level",
                value: self.level.to_string(),
                wanted: "a probability between 0 and 1",
            });
        }
        within("bin_h", self.bin_h, 0.0, 24.0, "0 to 24 hours")?;
        within("finish_tolerance_sg", self.finish_tolerance_sg, 1e-4, 0.02, "0.0001 to 0.02 SG")?;
        within("finish_hold_h", self.finish_hold_h, 0.0, 1000.0, "0 to 1000 hours")?;
        within("stuck_above_limit_sg", self.stuck_above_limit_sg, 0.0, 0.05, "0 to 0.05 SG")?;
        within("terminal_from_progress", self.terminal_from_progress, 0.0, 1.0, "a share from 0 to 1")?;
        within("bubble_delay_h", self.bubble_delay_h, 0.0, 24.0, "0 to 24 hours")?;
        within("bubble_delay_sd_h", self.bubble_delay_sd_h, 0.0, 24.0, "0 to 24 hours")?;
        within("foam_sg", self.foam_sg, -0.02, 0.02, "-0.02 to 0.02 SG")?;
        within("foam_sd_sg", self.foam_sd_sg, 0.0, 0.02, "0 to 0.02 SG")?;
        within("instrument_share", self.instrument_share, 0.0, 1.0, "a share from 0 to 1")?;
        Ok(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_default_is_allowed_and_a_slip_is_named() {
        assert!(KineticsSettings::default().check().is_ok());
        for level in [0.0, 1.0, 90.0, f64::NAN] {
            let error = KineticsSettings { level, ..Default::default() }.check().unwrap_err();
            assert!(error.to_string().contains("level"), "{error}");
        }
        let error = KineticsSettings { bin_h: f64::NAN, ..Default::default() }.check().unwrap_err();
        assert!(error.to_string().contains("bin_h"), "{error}");
    }
}
