//! Settings of the study of kinetics.

use serde::{Deserialize, Serialize};

use crate::common::CommonSettings;
use crate::error::{Error, Result, within};

use super::curve::FermentationCurve;

/// The bias of a probe by foam where most of it sits, mean and standard deviation, SG.
///
/// By the hydrostatics of a leaning float, mass above the water line turns it further over than its weight lifts its
/// reading: 0.3 g all round, 5 to 10 mm above the water line, read +0.0003 to +0.0007. A tenth of a gram on the low side,
/// which leans towards the foam, reads +0.0005 to +0.0009, on the high side -0.0001 to -0.0005. How much foam a probe carries,
/// and how high, is assumed, no reference: the spread leaves room for none at all, and for twice as much that hangs low.
pub(crate) const FOAM_SG: (f64, f64) = (5e-4, 1e-3);

/// Which clock the curve runs on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ClockChoice {
    /// Real time where the pace by Arrhenius' law varies by less than a tenth, as both clocks are then one; else thermal time.
    #[default]
    Best,
    /// Hours as they pass.
    Real,
    /// Thermal time, where the batch has temperatures.
    Thermal,
}

/// Settings of the study of kinetics.
///
/// | field | unit | default | range | change it when |
/// | --- | --- | --- | --- | --- |
/// | `curves` | - | smooth alone | one or more | a closed form is wanted, or of several the one with the lowest AICc |
/// | `bin_h` | h | 1 | 0 to 24 | readings come closer or wider than every few minutes; 0 keeps each reading |
/// | `terminal_from_progress` | - | 0.90 | 0 to 1 | terminal gravity is wanted from earlier fits, at one's own risk |
/// | `bubble_delay_h` | h | 1.5 | 0 to 24 | probes shed gas better or worse |
/// | `bubble_delay_sd_h` | h | 1.5 | 0 to 24 | this is known better or worse; 0 holds it |
/// | `foam_sg` | SG | 0.0005 | -0.02 to 0.02 | probes carry more foam, or none |
/// | `foam_sd_sg` | SG | 0.001 | 0 to 0.02 | probes carry more or less foam; 0 holds it |
/// | `disturbed_sd_sg` | SG | 0.001 | 0 to 0.02 | a dry hop and the like move probes more or less for good; 0: never |
/// | `instrument_share` | - | 0.5 | 0 to 1 | more or less of a sample's variance is its instrument's bias |
/// | `candidates` | - | true | - | the table of candidate curves is not wanted: saves most of the time |
/// | `clock` | - | best | - | all batches should have one clock |
/// | `reference_c` | C | 20 | 0 to 40 | `_ref` traits are wanted at another temperature |
/// | `stop_ale_c` | C | 10 | -5 to 40 | below it the clock of an ale stops |
/// | `stop_lager_c` | C | 4 | -5 to 40 | the same for batches that ferment colder than `lager_below_c` |
/// | `lager_below_c` | C | 14 | -5 to 40 | mean temperature that tells one from the other |
/// | `common` | - | see there | - | another level of the intervals is wanted, another meaning of "at rest" or "stuck", another activation energy |
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct KineticsSettings {
    /// The curves that are fitted, of which the one with the lowest AICc on the correlated likelihood is taken.
    pub curves: Vec<FermentationCurve>,
    /// Width of the bins that readings of one probe are averaged in before the fit, hours.
    pub bin_h: f64,
    /// Share of the drop before which terminal gravity and what hangs on it are left empty.
    pub terminal_from_progress: f64,
    /// By how much gas on a probe delays what it shows, hours, before the batch is looked at. Assumed; no reference: a probe
    /// reads some 0.001 to 0.003 too high where a beer falls by 0.015 a day. Samples in mid-fermentation tell it better.
    pub bubble_delay_h: f64,
    /// Its standard deviation, hours.
    pub bubble_delay_sd_h: f64,
    /// The bias of probes by foam where most of it sits, SG, before the batch is looked at: as the
    /// hydrostatics of a float that leans give it for some tenths of a gram, most of it all round and a little on the low side.
    pub foam_sg: f64,
    /// Its standard deviation, SG; assumed, no reference.
    pub foam_sd_sg: f64,
    /// How far a probe may read off for good after a dry hop, or after whatever else was done to the batch or to it, standard
    /// deviation, SG; assumed, no reference: a tenth of a gram of hops that stay on a probe. Small, as hops also start a slow
    /// fermentation.
    pub disturbed_sd_sg: f64,
    /// Share of the variance of a sample that all samples of its instrument have in common.
    pub instrument_share: f64,
    /// Whether all candidate curves are fitted for comparison when all batches are.
    pub candidates: bool,
    /// Which clock.
    pub clock: ClockChoice,
    /// Reference temperature of thermal time, C.
    pub reference_c: f64,
    /// Temperature below which the clock of an ale stops, C; assumed.
    pub stop_ale_c: f64,
    /// The same for a lager.
    pub stop_lager_c: f64,
    /// A batch with a mean temperature below this is taken for a lager, C.
    pub lager_below_c: f64,
    /// What all studies share.
    #[serde(skip)]
    pub common: CommonSettings,
}

impl Default for KineticsSettings {
    fn default() -> Self {
        Self {
            curves: vec![FermentationCurve::Smooth],
            bin_h: 1.0,
            terminal_from_progress: 0.90,
            bubble_delay_h: 1.5,
            bubble_delay_sd_h: 1.5,
            foam_sg: FOAM_SG.0,
            foam_sd_sg: FOAM_SG.1,
            disturbed_sd_sg: 0.001,
            instrument_share: 0.5,
            candidates: true,
            clock: ClockChoice::Best,
            reference_c: 20.0,
            stop_ale_c: 10.0,
            stop_lager_c: 4.0,
            lager_below_c: 14.0,
            common: CommonSettings::default(),
        }
    }
}

impl KineticsSettings {
    /// The temperature below which the clock of a batch stops, from its mean temperature, C.
    pub(crate) fn stop_c(&self, mean_c: f64) -> f64 {
        if mean_c < self.lager_below_c { self.stop_lager_c } else { self.stop_ale_c }
    }

    /// Checks every setting.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
    pub fn check(&self) -> Result<()> {
        self.common.check()?;
        if self.curves.is_empty() {
            return Err(Error::Setting { name: "curves", value: "empty".to_owned(), wanted: "at least one curve" });
        }
        within("bin_h", self.bin_h, 0.0, 24.0, "0 to 24 hours")?;
        within("terminal_from_progress", self.terminal_from_progress, 0.0, 1.0, "a share from 0 to 1")?;
        within("bubble_delay_h", self.bubble_delay_h, 0.0, 24.0, "0 to 24 hours")?;
        within("bubble_delay_sd_h", self.bubble_delay_sd_h, 0.0, 24.0, "0 to 24 hours")?;
        within("foam_sg", self.foam_sg, -0.02, 0.02, "-0.02 to 0.02 SG")?;
        within("foam_sd_sg", self.foam_sd_sg, 0.0, 0.02, "0 to 0.02 SG")?;
        within("disturbed_sd_sg", self.disturbed_sd_sg, 0.0, 0.02, "0 to 0.02 SG")?;
        within("instrument_share", self.instrument_share, 0.0, 1.0, "a share from 0 to 1")?;
        within("reference_c", self.reference_c, 0.0, 40.0, "0 to 40 C")?;
        within("stop_ale_c", self.stop_ale_c, -5.0, 40.0, "-5 to 40 C")?;
        within("stop_lager_c", self.stop_lager_c, -5.0, 40.0, "-5 to 40 C")?;
        within("lager_below_c", self.lager_below_c, -5.0, 40.0, "-5 to 40 C")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_default_is_allowed_and_a_slip_is_named() {
        assert!(KineticsSettings::default().check().is_ok());
        let error =
            KineticsSettings { common: CommonSettings::at_level(1.0), ..Default::default() }.check().unwrap_err();
        assert!(error.to_string().contains("level"), "{error}");
        let error = KineticsSettings { curves: Vec::new(), ..Default::default() }.check().unwrap_err();
        assert!(error.to_string().contains("curves"), "{error}");
        let error = KineticsSettings { bin_h: f64::NAN, ..Default::default() }.check().unwrap_err();
        assert!(error.to_string().contains("bin_h"), "{error}");
    }
}
