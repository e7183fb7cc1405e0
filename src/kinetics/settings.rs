//! Settings of the study of kinetics.

use serde::{Deserialize, Serialize};

use crate::error::Error;

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

settings! {
    /// Settings of the study of kinetics.
    pub struct KineticsSettings {
        /// The curves that are fitted, of which the one with the lowest AICc on the correlated likelihood is taken.
        curves: Vec<FermentationCurve> = vec![FermentationCurve::Smooth];
        /// Width of the bins that readings of one probe are averaged in before the fit, hours. 0 keeps each reading.
        bin_h: f64 = 1.0, 0.0..=24.0, "0 to 24 hours";
        /// Share of the drop before which terminal gravity and what hangs on it are left empty.
        terminal_from_progress: f64 = 0.90, 0.0..=1.0, "a share from 0 to 1";
        /// By how much gas on a probe delays what it shows, hours, before the batch is looked at. Assumed; no reference: a probe
        /// reads some 0.001 to 0.003 too high where a beer falls by 0.015 a day. Samples in mid-fermentation tell it better.
        bubble_delay_h: f64 = 1.5, 0.0..=24.0, "0 to 24 hours";
        /// Its standard deviation, hours. 0 holds it.
        bubble_delay_sd_h: f64 = 1.5, 0.0..=24.0, "0 to 24 hours";
        /// The bias of probes by foam where most of it sits, SG, before the batch is looked at: as the
        /// hydrostatics of a float that leans give it for some tenths of a gram, most of it all round and a little on the low side.
        foam_sg: f64 = FOAM_SG.0, -0.02..=0.02, "-0.02 to 0.02 SG";
        /// Its standard deviation, SG; assumed, no reference. 0 holds it.
        foam_sd_sg: f64 = FOAM_SG.1, 0.0..=0.02, "0 to 0.02 SG";
        /// How far a probe may read off for good after a dry hop, or after whatever else was done to the batch or to it, standard
        /// deviation, SG; assumed, no reference: a tenth of a gram of hops that stay on a probe. Small, as hops also start a slow
        /// fermentation. 0: never.
        disturbed_sd_sg: f64 = 0.001, 0.0..=0.02, "0 to 0.02 SG";
        /// Share of the variance of a sample that all samples of its instrument have in common, where no other batch tells its bias.
        instrument_share: f64 = 0.5, 0.0..=1.0, "a share from 0 to 1";
        /// Which clock.
        clock: ClockChoice = ClockChoice::Best;
        /// Reference temperature of thermal time, C.
        reference_c: f64 = 20.0, 0.0..=40.0, "0 to 40 C";
        /// Temperature below which the clock of an ale stops, C; assumed.
        stop_ale_c: f64 = 10.0, -5.0..=40.0, "-5 to 40 C";
        /// The same for a lager.
        stop_lager_c: f64 = 4.0, -5.0..=40.0, "-5 to 40 C";
        /// A batch with a mean temperature below this is taken for a lager, C.
        lager_below_c: f64 = 14.0, -5.0..=40.0, "-5 to 40 C";
    }
    with common
    also |settings| {
        if settings.curves.is_empty() { Err(Error::setting("curves", "empty", "at least one curve")) } else { Ok(()) }
    }
}

impl KineticsSettings {
    /// The temperature below which the clock of a batch stops, from its mean temperature, C.
    pub(crate) fn stop_c(&self, mean_c: f64) -> f64 {
        if mean_c < self.lager_below_c { self.stop_lager_c } else { self.stop_ale_c }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::common::CommonSettings;

    #[test]
    fn the_default_is_allowed_and_a_slip_is_named() {
        assert!(KineticsSettings::default().check().is_ok());
        let error =
            KineticsSettings { common: CommonSettings { level: 1.0, ..Default::default() }, ..Default::default() }
                .check()
                .unwrap_err();
        assert!(error.to_string().contains("level"), "{error}");
        let error = KineticsSettings { curves: Vec::new(), ..Default::default() }.check().unwrap_err();
        assert!(error.to_string().contains("curves"), "{error}");
        let error = KineticsSettings { bin_h: f64::NAN, ..Default::default() }.check().unwrap_err();
        assert!(error.to_string().contains("bin_h"), "{error}");
    }
}
