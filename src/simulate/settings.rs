//! What a simulated season is made of.

use crate::error::{Result, within};
use crate::units::Instant;

use super::stream::Stream;
use super::trouble::Trouble;

/// Settings of a simulated season.
///
/// | setting | unit | default | range | when to change it |
/// | --- | --- | --- | --- | --- |
/// | seed | - | 1 | any | another season of the same kind |
/// | batches | - | 36 | 1 to 2000 | more for forecasts and yeast comparisons |
/// | probes | - | 10 | 1 to 200 | more for drift |
/// | strains | - | 6 | 1 to 6 | fewer for more batches a strain |
/// | reading_minutes | min | 15 | 1 to 720 | coarser for many quick seasons |
/// | start | - | 2031-02-03 07:00 UTC | any | - |
/// | span_days | d | 140 | 10 to 3650 | the season is longer where probes are too few for the batches |
/// | tail_days | d | 3 | 0.5 to 100 | days of data after the last pitching; 35: every batch ends |
/// | check_days | d | 24 | 3 to 1000 | how often probes stand in water between batches |
/// | stuck_share | - | 0.06 | 0 to 1 | - |
/// | early_cooling_share | - | 0.15 | 0 to 1 | share of batches cooled before they came to rest |
/// | drift_scale | - | 1 | 0 to 10 | 0: probes change only by shifts |
/// | shift_scale | - | 1 | 0 to 10 | 0: no cell swap, knock or sudden deposit |
/// | noise_scale | - | 1 | 0 to 10 | 0: white and autocorrelated noise of tilt and temperature off |
/// | bubble_scale | - | 1 | 0 to 10 | 0: no lift by bubbles, no foam |
/// | reference_scale | - | 1 | 0 to 10 | 0: baths and instruments without error |
/// | defects | - | true | - | false: no gaps, duplicates, late rows, frozen spells, cleaning readings |
/// | troubles | - | none | any kinds | what befalls probes for hours, and blunders of hands |
///
/// Every random choice comes from a stream of its own, named after what it decides and the index of the batch or probe:
/// another probe changes no batch's fermentation, another batch no probe.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulateSettings {
    /// Seed of all random streams.
    pub seed: u64,
    /// Number of batches.
    pub batches: usize,
    /// Number of probes.
    pub probes: usize,
    /// Number of strains.
    pub strains: usize,
    /// Minutes between readings in beer.
    pub reading_minutes: f64,
    /// First day of the season: the baths of the first calibration.
    pub start: Instant,
    /// Wished length of the season, days.
    pub span_days: f64,
    /// Days of data after the last pitching.
    pub tail_days: f64,
    /// Days between water checks of a probe, where it has no batch.
    pub check_days: f64,
    /// Share of batches whose yeast drops out early.
    pub stuck_share: f64,
    /// Share of batches that are cooled before they came to rest.
    pub early_cooling_share: f64,
    /// Scale of the gradual drift of probes.
    pub drift_scale: f64,
    /// Scale of the number of sudden shifts.
    pub shift_scale: f64,
    /// Scale of sensor noise.
    pub noise_scale: f64,
    /// Scale of the lift by bubbles and of foam.
    pub bubble_scale: f64,
    /// Scale of the errors of baths and instruments.
    pub reference_scale: f64,
    /// Whether logs have gaps, duplicates, late rows, frozen spells and readings out of the beer.
    pub defects: bool,
    /// Kinds of trouble that may happen.
    pub troubles: Vec<Trouble>,
}

impl Default for SimulateSettings {
    fn default() -> Self {
        Self {
            seed: 1,
            batches: 36,
            probes: 10,
            strains: 6,
            reading_minutes: 15.0,
            // 2031-02-03T07:00:00Z
            start: Instant::from_micros(1_927_868_400_000_000),
            span_days: 140.0,
            tail_days: 3.0,
            check_days: 24.0,
            stuck_share: 0.06,
            early_cooling_share: 0.15,
            drift_scale: 1.0,
            shift_scale: 1.0,
            noise_scale: 1.0,
            bubble_scale: 1.0,
            reference_scale: 1.0,
            defects: true,
            troubles: Vec::new(),
        }
    }
}

impl SimulateSettings {
    /// Checks every setting.
    ///
    /// # Errors
    /// [`crate::Error::Setting`] names the first one that is out of its range.
    pub fn check(&self) -> Result<()> {
        within("batches", self.batches as f64, 1.0, 2000.0, "1 to 2000")?;
        within("probes", self.probes as f64, 1.0, 200.0, "1 to 200")?;
        within("strains", self.strains as f64, 1.0, 6.0, "1 to 6")?;
        within("reading_minutes", self.reading_minutes, 1.0, 720.0, "1 to 720 minutes")?;
        within("span_days", self.span_days, 10.0, 3650.0, "10 to 3650 days")?;
        within("tail_days", self.tail_days, 0.5, 100.0, "0.5 to 100 days")?;
        within("check_days", self.check_days, 3.0, 1000.0, "3 to 1000 days")?;
        within("stuck_share", self.stuck_share, 0.0, 1.0, "0 to 1")?;
        within("early_cooling_share", self.early_cooling_share, 0.0, 1.0, "0 to 1")?;
        within("drift_scale", self.drift_scale, 0.0, 10.0, "0 to 10")?;
        within("shift_scale", self.shift_scale, 0.0, 10.0, "0 to 10")?;
        within("noise_scale", self.noise_scale, 0.0, 10.0, "0 to 10")?;
        within("bubble_scale", self.bubble_scale, 0.0, 10.0, "0 to 10")?;
        within("reference_scale", self.reference_scale, 0.0, 10.0, "0 to 10")
    }

    /// Whether the kind is on and befalls number `index`, with the stream of its other draws.
    pub(super) fn befalls(&self, trouble: Trouble, index: usize, share: f64) -> Option<Stream> {
        let mut draw = Stream::new(self.seed, trouble.name(), index);
        (self.troubles.contains(&trouble) && draw.chance(share)).then_some(draw)
    }
}
