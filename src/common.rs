//! Settings that several studies share, and that are set once for all of them.

use serde::{Deserialize, Serialize};

use crate::error::{Result, within};

/// What every study's settings hold in their field `common`. `study::Settings` fills it in one place; a study that runs by
/// itself takes it as it stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CommonSettings {
    /// Level of all intervals, 0.5 to 0.9999.
    pub level: f64,
    /// When a batch is at rest.
    pub at_rest: AtRest,
    /// How far above the gravity that its wort allows a batch at rest counts as stuck, SG.
    pub stuck_above_limit_sg: f64,
    /// By how much instruments may be wrong.
    pub instruments: InstrumentErrors,
    /// How temperature acts on the pace of a fermentation.
    pub activation: ActivationEnergy,
}

impl Default for CommonSettings {
    fn default() -> Self {
        Self {
            level: 0.90,
            at_rest: AtRest::default(),
            stuck_above_limit_sg: 0.003,
            instruments: InstrumentErrors::default(),
            activation: ActivationEnergy::default(),
        }
    }
}

impl CommonSettings {
    /// These settings at another level.
    ///
    /// ```
    /// use heelwort::common::CommonSettings;
    /// assert_eq!(CommonSettings::at_level(0.95).level, 0.95);
    /// ```
    pub fn at_level(level: f64) -> Self {
        Self { level, ..Self::default() }
    }

    /// Checks every setting.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
    pub fn check(&self) -> Result<()> {
        within("level", self.level, 0.5, 0.9999, "0.5 to 0.9999")?;
        within("stuck_above_limit_sg", self.stuck_above_limit_sg, 0.0, 0.05, "0 to 0.05 SG")?;
        within("at_rest.within_sg", self.at_rest.within_sg, 1e-4, 0.02, "0.0001 to 0.02 SG")?;
        within("at_rest.seen_for_h", self.at_rest.seen_for_h, 0.0, 1000.0, "0 to 1000 hours")?;
        let errors = &self.instruments;
        within("instruments.hydrometer_bias_sg", errors.hydrometer_bias_sg, 0.0, 0.1, "0 to 0.1 SG")?;
        within("instruments.refractometer_bias_sg", errors.refractometer_bias_sg, 0.0, 0.1, "0 to 0.1 SG")?;
        within("instruments.mass_sd_g", errors.mass_sd_g, 1e-6, 100.0, "above 0, to 100 g")?;
        within("instruments.diameter_sd_mm", errors.diameter_sd_mm, 1e-6, 10.0, "above 0, to 10 mm")?;
        within("activation.kj_mol", self.activation.kj_mol, 0.0, 200.0, "0 to 200 kJ/mol")?;
        within("activation.sd_kj_mol", self.activation.sd_kj_mol, 0.0, 100.0, "0 to 100 kJ/mol")
    }
}

/// When a batch is at rest.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct AtRest {
    /// Distance from terminal gravity within which a batch is at rest, SG.
    pub within_sg: f64,
    /// Hours of data after the batch came to rest from which on the backtest counts the rest as observed.
    pub seen_for_h: f64,
}

impl Default for AtRest {
    fn default() -> Self {
        Self { within_sg: 0.001, seen_for_h: 24.0 }
    }
}

/// Errors that all values of one instrument have in common, so that no number of values averages them out. Assumed; no
/// reference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct InstrumentErrors {
    /// Standard deviation of the bias of a hydrometer, SG.
    pub hydrometer_bias_sg: f64,
    /// Standard deviation of the bias of a refractometer, SG.
    pub refractometer_bias_sg: f64,
    /// Standard deviation of a probe's mass on the balance, g.
    pub mass_sd_g: f64,
    /// Standard deviation of a probe's diameter by calliper, mm.
    pub diameter_sd_mm: f64,
}

impl Default for InstrumentErrors {
    fn default() -> Self {
        Self { hydrometer_bias_sg: 0.0007, refractometer_bias_sg: 0.001, mass_sd_g: 0.1, diameter_sd_mm: 0.1 }
    }
}

/// Activation energy E of the pace of a fermentation, which goes by Arrhenius' law as `exp(-E/(R T))`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ActivationEnergy {
    /// Its value, kJ/mol.
    pub kj_mol: f64,
    /// Its standard deviation, kJ/mol.
    pub sd_kj_mol: f64,
}

impl ActivationEnergy {
    /// 52.4 is derived from the time of the middle of the drop between 10 and 15 C in the model of de
    /// Andres-Toro et al. (1998, Math. Comput. Simul. 48, 65), a Q10 of 2.16; the spread covers those of the uptake of
    /// maltotriose, maltose and glucose in Gee and Ramirez (1994, J. Inst. Brew. 100, 321): 30, 47 and 95.
    pub const PUBLISHED: Self = Self { kj_mol: 52.4, sd_kj_mol: 15.0 };
}

impl Default for ActivationEnergy {
    fn default() -> Self {
        Self::PUBLISHED
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_default_is_allowed_and_a_slip_is_named() {
        assert!(CommonSettings::default().check().is_ok());
        for level in [0.0, 1.0, 90.0, f64::NAN] {
            let error = CommonSettings::at_level(level).check().unwrap_err();
            assert!(error.to_string().contains("level"), "{error}");
        }
        assert_eq!(
            CommonSettings::at_level(90.0).check().unwrap_err().to_string(),
            "setting `level` is 90; wanted 0.5 to 0.9999"
        );
    }
}
