//! How long a batch takes from the middle of its drop to rest.
//!
//! Readings before the end hardly show the end of a curve, and its length relative to the steep part differs little among
//! batches of a strain, nor much among strains. So `finish = t50 + (t75 - t25) exp m`, where a share of the drop is done at each t and m is learned by
//! strain from the batches that have ended, as a random-effects mean with the standard errors of their fits ([`Population`] in
//! one dimension). The hours from pitching to the middle, a lag among them, tell less. What the batch's own curve says of
//! its end made forecasts no better on simulated seasons, and is not used.

use nalgebra::{DMatrix, DVector};

use crate::kinetics::population::{Information, Population, WORTH, among_first};
use crate::kinetics::{BatchFit, Kinetics, Status, Trait};
use crate::units::Instant;

use super::archive::LATEST;
use super::stuck;

assumed! {
    /// m where no batch has ended: 1.4 to 3.5 times the hours that the middle half of the drop takes.
    const UNKNOWN: f64 = 0.8, "-";
    /// Its standard deviation there.
    const UNKNOWN_SD: f64 = 0.45, "-";
    /// Standard deviation of m over strains and batches from which learning starts.
    const SPREAD: f64 = 0.3, "-";
    /// What the fitted finish times of a season are off by together, SD of m: eight hours of seventy-five; on simulated seasons 8
    /// hours early to 18 late were seen. It averages away over no number of batches.
    const COMMON_SD: f64 = 0.1, "-";
    /// No finish is later than so many times the longest known.
    const CEILING: f64 = 3.0, "times";
    /// So many are known at least.
    const ENOUGH_BATCHES: usize = 5, "batches";
}

/// A time from the middle to rest counts as at least this, hours.
const SHORTEST_H: f64 = 0.5;
/// No finish is later than so many hours where too few are known.
const LATEST_H: f64 = 2000.0;
/// Shares of the drop between which it is steep.
pub(super) const STEEP: (f64, f64) = (0.25, 0.75);

/// A batch with what it tells of the next one's time to rest once its data have ended.
pub(super) struct Told<'a> {
    fit: &'a BatchFit,
    ended_at: Instant,
    /// Hours to rest.
    finish_h: Option<f64>,
    to_steep: Option<Information>,
    to_mid: Option<Information>,
}

/// A normal of the logarithm of the time from the middle to rest over another time of the batch.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Ratio {
    mean: f64,
    sd: f64,
}

/// How long batches of a strain take from the middle to rest.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tail {
    /// Over the time that the middle half of the drop takes: m.
    to_steep: Ratio,
    /// Over the time to the middle, for the rule of thumb.
    to_mid: Ratio,
    /// Three times the longest time to rest of the batches known, where they are enough: no finish is later, hours.
    ceiling_h: f64,
    /// Batches that it was learned from.
    pub seen: usize,
    /// Share of batches that stick.
    pub stuck_share: f64,
    /// Hours to rest of the batches of the strain among them, or of all where there is none; rising.
    pub durations_h: Vec<f64>,
}

impl<'a> Told<'a> {
    /// All batches of a season.
    pub fn all(kinetics: &'a Kinetics) -> Vec<Self> {
        kinetics.batches.iter().map(Self::by).collect()
    }

    fn by(fit: &'a BatchFit) -> Self {
        let finish = fit.finding(Trait::FinishH).estimate();
        let curve = fit.fitted.as_ref().map(|fitted| fitted.timed());
        let at_h = |share| curve.as_ref().map_or(f64::NAN, |curve| curve.time_of_progress_h(share));
        let mid_h = at_h(0.5);
        let over = |over_h: f64| {
            let hours = finish?.value - mid_h;
            if !(hours > SHORTEST_H && over_h > SHORTEST_H) {
                return None;
            }
            let standardised = DVector::from_element(1, ((hours / over_h).ln() - *UNKNOWN) / *SPREAD);
            let variance = DMatrix::from_element(1, 1, (finish?.se / hours / *SPREAD).powi(2));
            Information::new(&fit.strain, &standardised, variance, &[f64::INFINITY])
        };
        Self {
            fit,
            ended_at: fit.instant(fit.last_hours),
            finish_h: finish.map(|finish| finish.value),
            to_steep: over(at_h(STEEP.1) - at_h(STEEP.0)),
            to_mid: over(mid_h),
        }
    }
}

impl Tail {
    /// Of the next batch of a strain: from the batches but `except` whose data had ended by `as_of` and that did not stick, the
    /// last [`LATEST`] of each strain.
    pub fn of_strain(batches: &[Told<'_>], strain: &str, except: &str, as_of: Instant) -> Self {
        let has_ended = |told: &&Told<'_>| told.fit.batch != except && told.ended_at <= as_of;
        let all: Vec<&Told<'_>> = batches.iter().filter(has_ended).collect();
        let mut ended = all.clone();
        ended.reverse();
        ended.retain(|told| told.fit.status != Status::Stuck);
        let stuck_share = stuck::share(all.len() - ended.len(), all.len());
        let mut is_late = among_first(LATEST);
        ended.retain(|told| is_late(&told.fit.strain));
        let of_strain = ended.iter().filter(|told| told.fit.strain == strain);
        let mut durations_h: Vec<f64> = of_strain.filter_map(|told| told.finish_h).collect();
        if durations_h.is_empty() {
            durations_h = ended.iter().filter_map(|told| told.finish_h).collect();
        }
        durations_h.sort_unstable_by(f64::total_cmp);
        let longest = ended.iter().filter_map(|told| told.finish_h).fold(0.0, f64::max);
        let (seen, to_steep) = Ratio::learned(ended.iter().filter_map(|told| told.to_steep.as_ref()), strain);
        let (_, to_mid) = Ratio::learned(ended.iter().filter_map(|told| told.to_mid.as_ref()), strain);
        let enough = seen >= *ENOUGH_BATCHES;
        let ceiling_h = if enough { (*CEILING * longest).min(LATEST_H) } else { LATEST_H };
        Self { to_steep, to_mid, ceiling_h, seen, stuck_share, durations_h }
    }

    /// Hours from pitching to rest of a batch by its middle and the time that the middle half of its drop takes, `z` standard
    /// deviations of m from the mean.
    pub fn finish_h(&self, mid_h: f64, steep_h: f64, z: f64) -> f64 {
        mid_h + steep_h * self.to_steep.at(z)
    }

    /// The same by its middle alone.
    pub fn finish_by_mid_h(&self, mid_h: f64, z: f64) -> f64 {
        mid_h + mid_h * self.to_mid.at(z)
    }

    /// A finish time within the ceiling; a curve may never end.
    pub fn within(&self, finish_h: f64) -> f64 {
        if finish_h.is_finite() { finish_h.clamp(0.0, self.ceiling_h) } else { self.ceiling_h }
    }

    /// A finish time after the moment by a curve that still falls. Where the curve has none below the ceiling, anywhere from now
    /// on to the ceiling or twice the age of the batch: at `place`, 0 to 1.
    pub fn not_before(&self, finish_h: f64, now_h: f64, place: f64) -> f64 {
        let last_h = self.ceiling_h.max(2.0 * now_h);
        if finish_h < self.ceiling_h { finish_h } else { now_h + place * (last_h - now_h) }
    }
}

impl Ratio {
    /// That of the next batch of a strain from batches that have ended, and how many of them tell it.
    fn learned<'b>(known: impl Iterator<Item = &'b Information>, strain: &str) -> (usize, Self) {
        let known: Vec<&Information> = known.collect();
        let next = Population::new(&known, &[*WORTH]).prior(strain);
        let sd = *SPREAD * next.covariance[(0, 0)].sqrt();
        let sd = if known.is_empty() { *UNKNOWN_SD } else { sd.hypot(*COMMON_SD) };
        (known.len(), Self { mean: *UNKNOWN + *SPREAD * next.mean[0], sd })
    }

    fn at(self, z: f64) -> f64 {
        (self.mean + self.sd * z).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn where_no_batch_has_ended_the_assumed_tail_holds() {
        let tail = Tail::of_strain(&[], "thrift", "ti-1", Instant::from_micros(0));
        assert!(
            (tail.to_steep.mean - *UNKNOWN).abs() < 1e-12 && (tail.to_steep.sd - *UNKNOWN_SD).abs() < 1e-9,
            "{tail:?}"
        );
    }

    #[test]
    fn a_rest_beyond_the_ceiling_lies_anywhere_from_now_on() {
        let tail = Tail::of_strain(&[], "thrift", "ti-1", Instant::from_micros(0));
        assert!((tail.not_before(300.0, 200.0, 0.5) - 300.0).abs() < 1e-9);
        assert!((tail.not_before(9000.0, 1000.0, 0.25) - 1250.0).abs() < 1e-9);
        assert!((tail.not_before(f64::INFINITY, 1500.0, 0.5) - 2250.0).abs() < 1e-9);
    }
}
