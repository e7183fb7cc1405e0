//! Settings of the study of drift.

use crate::gravity::OffsetPrior;

assumed! {
    /// How far a knock or a new weighing moves a probe, as a share of what a change of cell does.
    const KNOCK_SHARE: f64 = 0.3, "share";
}

settings! {
    /// How references become drift. Every field has a default; [`DriftSettings::check`] names the first one that cannot be. What
    /// instruments, baths and weighings may be wrong by is a setting of calibration.
    pub struct DriftSettings {
        /// A probe must have read within this many minutes of a reference to be paired with it; where a log has no reading so
        /// near a sample, within half of `plateau_window_h`.
        window_min: f64 = 20.0, 0.1..=1440.0, "0.1 to 1440 minutes";
        /// The probe's local level comes from its readings within this many hours (same batch, or same bath).
        plateau_window_h: f64 = 3.0, 0.1..=48.0, "0.1 to 48 hours";
        /// A fermentation that moves faster than this, SG per day, is active.
        active_sg_per_day: f64 = 0.004, 0.0..=0.1, "0 to 0.1 SG per day";
        /// Extra standard deviation of a pair from an active fermentation, SG. From memory, no source.
        active_sd_sg: f64 = 0.0015, 0.0..=0.1, "0 to 0.1 SG";
        /// True: what readings alone tell between batches is used. Probes at rest in one beer of which no sample was drawn are
        /// pairs of one another, and a probe at rest in wort is a pair of the original gravity that is stated of it.
        unsampled: bool = true;
        /// How far a change of cell, shell or board may move a probe, SD, SG; a knock three tenths of it.
        change_sd_sg: f64 = 0.006, 0.0..=0.1, "0 to 0.1 SG";
        /// The offset prior where the season cannot tell one.
        offset_prior: OffsetPrior = OffsetPrior::default();
        /// How often chance alone may show a shift on a probe that has none, in its references and again in its readings;
        /// 0 seeks none.
        shift_alarm: f64 = 0.05, 0.0..=0.5, "0 to 0.5";
        /// A probe whose error at the gravities where beers end is larger than this is out of limit, SG.
        limit_sg: f64 = 0.002, 0.0001..=0.1, "0.0001 to 0.1 SG";
        /// The probability of being out of limit that is allowed before a calibration is due.
        limit_chance: f64 = 0.10, 0.001..=0.5, "0.001 to 0.5";
        /// True: gravities are corrected for the estimated drift where that helps.
        correct: bool = true;
        /// Share of the expected squared error that a correction must take away to be made.
        correct_gain: f64 = 0.5, 0.0..=1.0, "0 to 1";
        /// Posterior weight of a kind of drift from which it is named.
        kind_certainty: f64 = 0.9, 0.5..=0.9999, "0.5 to 0.9999";
        /// References of a probe must span this much for kinds of drift to be told apart, SG.
        kind_span_sg: f64 = 0.008, 0.0..=0.2, "0 to 0.2 SG";
        /// Standard deviation of the tilt in the baths whose use is worked out, degrees.
        kind_tilt_sd_deg: f64 = 0.2, 0.0..=10.0, "0 to 10 degrees";
    }
    with common
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
}
