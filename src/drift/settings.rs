//! Settings of the study of drift.

use serde::{Deserialize, Serialize};

use crate::common::CommonSettings;
use crate::error::{Error, Result};
use crate::gravity::OffsetPrior;

assumed! {
    /// How far a knock or a new weighing moves a probe, as a share of what a change of cell does.
    const KNOCK_SHARE: f64 = 0.3, "share";
}

/// How references become drift. Every field has a default; [`DriftSettings::check`] names the first one that cannot be. What
/// instruments, baths and weighings may be wrong by is a setting of calibration.
///
/// | field | default | meaning |
/// | --- | --- | --- |
/// | `window_min` | 20 | a probe must have read within this many minutes of a reference |
/// | `plateau_window_h` | 3 | its local level is taken from readings within this many hours |
/// | `active_sg_per_day` | 0.004 | a fermentation faster than this is active: bubbles lift the probe |
/// | `active_sd_sg` | 0.0015 | extra SD of a pair from active fermentation |
/// | `leave_out_active` | false | leave such pairs out altogether |
/// | `unsampled` | true | probes beside each other in a beer without a sample, and worts of stated gravity, are pairs too |
/// | `change_sd_sg` | 0.006 | how far a change of cell, shell or board may move a probe |
/// | `offset_prior` | see there | what a probe's offset may be where the season cannot tell |
/// | `shift_alarm` | 0.05 | how often chance alone may show a shift on a probe that has none, in its references and again in its readings; 0 seeks none |
/// | `limit_sg` | 0.002 | a probe with a larger error is out of limit |
/// | `limit_chance` | 0.10 | a probe is to be calibrated before the probability of that passes this |
/// | `correct` | true | gravities are corrected for drift where that helps |
/// | `correct_gain` | 0.5 | share of the expected squared error that a correction must take away |
/// | `kind_certainty` | 0.9 | posterior weight at which a kind of drift is named |
/// | `kind_span_sg` | 0.008 | references must span this much for kinds to be told apart |
/// | `kind_tilt_sd_deg` | 0.2 | noise of the tilt in the baths that are proposed |
/// | `bootstrap` | 0 | data sets by which the intervals of the mixed model are checked; 0 for none |
/// | `common` | see there | level of the intervals, errors of instruments |
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct DriftSettings {
    /// A probe must have read within this many minutes of a reference to be paired with it.
    pub window_min: f64,
    /// The probe's local level comes from its readings within this many hours (same batch, or same bath).
    pub plateau_window_h: f64,
    /// A fermentation that moves faster than this, SG per day, is active.
    pub active_sg_per_day: f64,
    /// Extra standard deviation of a pair from an active fermentation, SG. From memory, no source.
    pub active_sd_sg: f64,
    /// True: pairs from active fermentation are left out.
    pub leave_out_active: bool,
    /// True: what readings alone tell between batches is used. Probes at rest in one beer of which no sample was drawn are
    /// pairs of one another, and a probe at rest in wort is a pair of the original gravity that is stated of it.
    pub unsampled: bool,
    /// How far a change of cell, shell or board may move a probe, SD, SG; a knock less.
    pub change_sd_sg: f64,
    /// The offset prior where the season cannot tell one.
    pub offset_prior: OffsetPrior,
    /// How often chance alone may show a shift on a probe that has none, in its references and again in its readings;
    /// 0 seeks none.
    pub shift_alarm: f64,
    /// A probe whose error at the gravities where beers end is larger than this is out of limit, SG.
    pub limit_sg: f64,
    /// The probability of being out of limit that is allowed before a calibration is due.
    pub limit_chance: f64,
    /// True: gravities are corrected for the estimated drift where that helps.
    pub correct: bool,
    /// Share of the expected squared error that a correction must take away to be made.
    pub correct_gain: f64,
    /// Posterior weight of a kind of drift from which it is named.
    pub kind_certainty: f64,
    /// References of a probe must span this much for kinds of drift to be told apart, SG.
    pub kind_span_sg: f64,
    /// Standard deviation of the tilt in the baths whose use is worked out, degrees.
    pub kind_tilt_sd_deg: f64,
    /// Simulated data sets by which the intervals of the mixed model are checked; 0 for none, else at least 20.
    pub bootstrap: usize,
    /// What all studies share.
    #[serde(skip)]
    pub common: CommonSettings,
}

impl Default for DriftSettings {
    fn default() -> Self {
        Self {
            window_min: 20.0,
            plateau_window_h: 3.0,
            active_sg_per_day: 0.004,
            active_sd_sg: 0.0015,
            leave_out_active: false,
            unsampled: true,
            change_sd_sg: 0.006,
            offset_prior: OffsetPrior::default(),
            shift_alarm: 0.05,
            limit_sg: 0.002,
            limit_chance: 0.10,
            correct: true,
            correct_gain: 0.5,
            kind_certainty: 0.9,
            kind_span_sg: 0.008,
            kind_tilt_sd_deg: 0.2,
            bootstrap: 0,
            common: CommonSettings::default(),
        }
    }
}

impl DriftSettings {
    /// How far an event may move a probe at once, SD, SG; none for an event that does not. A gram is 0.01.
    pub(super) fn event_sd(&self, kind: &str) -> Option<f64> {
        match kind {
            "cell_swap" | "shell" | "board" => Some(self.change_sd_sg),
            "knocked" | "reweighed" => Some(*KNOCK_SHARE * self.change_sd_sg),
            _ => None,
        }
    }

    /// Checks every setting.
    ///
    /// # Errors
    /// [`Error::Setting`] with the name, the value and the allowed range of the first that is wrong.
    pub fn check(&self) -> Result<()> {
        self.common.check()?;
        let ranges: [(&'static str, f64, f64, f64, &'static str); 12] = [
            ("window_min", self.window_min, 0.1, 1440.0, "0.1 to 1440 minutes"),
            ("plateau_window_h", self.plateau_window_h, 0.1, 48.0, "0.1 to 48 hours"),
            ("active_sg_per_day", self.active_sg_per_day, 0.0, 0.1, "0 to 0.1 SG per day"),
            ("active_sd_sg", self.active_sd_sg, 0.0, 0.1, "0 to 0.1 SG"),
            ("change_sd_sg", self.change_sd_sg, 0.0, 0.1, "0 to 0.1 SG"),
            ("shift_alarm", self.shift_alarm, 0.0, 0.5, "0 to 0.5"),
            ("limit_sg", self.limit_sg, 0.0001, 0.1, "0.0001 to 0.1 SG"),
            ("limit_chance", self.limit_chance, 0.001, 0.5, "0.001 to 0.5"),
            ("correct_gain", self.correct_gain, 0.0, 1.0, "0 to 1"),
            ("kind_certainty", self.kind_certainty, 0.5, 0.9999, "0.5 to 0.9999"),
            ("kind_span_sg", self.kind_span_sg, 0.0, 0.2, "0 to 0.2 SG"),
            ("kind_tilt_sd_deg", self.kind_tilt_sd_deg, 0.0, 10.0, "0 to 10 degrees"),
        ];
        for (name, value, low, high, wanted) in ranges {
            if !(low..=high).contains(&value) {
                return Err(Error::Setting { name, value: value.to_string(), wanted });
            }
        }
        if (1..20).contains(&self.bootstrap) {
            let value = self.bootstrap.to_string();
            return Err(Error::Setting { name: "bootstrap", value, wanted: "0, or at least 20" });
        }
        Ok(())
    }
}
