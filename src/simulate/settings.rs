//! What a simulated season is made of.

use crate::units::Instant;

use super::stream::Stream;
use super::trouble::Trouble;

settings! {
    in code
    /// Settings of a simulated season.
    ///
    /// Every random choice comes from a stream of its own, named after what it decides and the index of the batch or probe:
    /// another probe changes no batch's fermentation, another batch no probe.
    pub struct SimulateSettings {
        /// Seed of all random streams.
        seed: u64 = 1;
        /// Number of batches.
        batches: usize = 36, 1..=2000, "1 to 2000";
        /// Number of probes.
        probes: usize = 10, 1..=200, "1 to 200";
        /// Number of strains.
        strains: usize = 6, 1..=6, "1 to 6";
        /// Minutes between readings in beer.
        reading_minutes: f64 = 15.0, 1.0..=720.0, "1 to 720 minutes";
        /// First day of the season, with the baths of the first calibration: 2031-02-03T07:00Z unless set.
        start: Instant = Instant::from_micros(1_927_868_400_000_000);
        /// Wished length of the season, days. It is longer where probes are too few for the batches.
        span_days: f64 = 140.0, 10.0..=3650.0, "10 to 3650 days";
        /// Days of data after the last pitching. After 35 every batch has ended.
        tail_days: f64 = 3.0, 0.5..=100.0, "0.5 to 100 days";
        /// Days between water checks of a probe, where it has no batch.
        check_days: f64 = 24.0, 3.0..=1000.0, "3 to 1000 days";
        /// Share of batches whose yeast drops out early.
        stuck_share: f64 = 0.06, 0.0..=1.0, "0 to 1";
        /// Share of batches that are cooled before they came to rest.
        early_cooling_share: f64 = 0.15, 0.0..=1.0, "0 to 1";
        /// Scale of the gradual drift of probes. 0: probes change only by shifts.
        drift_scale: f64 = 1.0, 0.0..=10.0, "0 to 10";
        /// Scale of the number of sudden shifts. 0: no cell swap, knock or sudden deposit.
        shift_scale: f64 = 1.0, 0.0..=10.0, "0 to 10";
        /// Scale of sensor noise. 0: no noise of tilt and temperature.
        noise_scale: f64 = 1.0, 0.0..=10.0, "0 to 10";
        /// Scale of the lift by bubbles and of foam. 0: neither.
        bubble_scale: f64 = 1.0, 0.0..=10.0, "0 to 10";
        /// Scale of the errors of baths and instruments. 0: none.
        reference_scale: f64 = 1.0, 0.0..=10.0, "0 to 10";
        /// Whether logs have gaps, duplicates, late rows, frozen spells and readings out of the beer.
        defects: bool = true;
        /// Kinds of trouble that may happen.
        troubles: Vec<Trouble> = Vec::new();
    }
}

impl SimulateSettings {
    /// Whether the kind is on and befalls number `index`, with the stream of its other draws.
    pub(super) fn befalls(&self, trouble: Trouble, index: usize, share: f64) -> Option<Stream> {
        let mut draw = Stream::new(self.seed, trouble.name(), index);
        (self.troubles.contains(&trouble) && draw.chance(share)).then_some(draw)
    }
}
