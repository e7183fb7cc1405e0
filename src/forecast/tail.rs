//! How long a batch takes from the middle of its drop to rest.
//!
//! Readings before the end hardly show the end of a curve, and its length relative to the first half differs little among
//! batches of a strain. So `finish = mid (1 + exp m)`, with m learned by strain from the batches that have ended, as a random-effects
//! mean with the standard errors of their fits ([`Population`] in one dimension). What the batch's own curve says of its end
//! made forecasts no better on simulated seasons, and is not used.

use std::collections::HashMap;

use nalgebra::{DMatrix, DVector};

use crate::kinetics::population::{Information, Population, WORTH};
use crate::kinetics::{BatchFit, Kinetics, Status, Trait};
use crate::units::Instant;

use super::archive::LATEST;
use super::stuck;

assumed! {
    /// m where no batch has ended: 1.0 to 2.7 times the hours to the middle.
    const UNKNOWN: f64 = 0.5, "-";
    /// Its standard deviation there.
    const UNKNOWN_SD: f64 = 0.5, "-";
    /// Standard deviation of m over strains and batches from which learning starts.
    const SPREAD: f64 = 0.35, "-";
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

/// A normal of m, the logarithm of the time from the middle to rest over that to the middle.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tail {
    mean: f64,
    sd: f64,
    /// Three times the longest time to rest of the batches known, where they are enough: no finish is later, hours.
    ceiling_h: f64,
    /// Batches that it was learned from.
    pub seen: usize,
    /// Share of batches that stick.
    pub stuck_share: f64,
    /// Hours to rest of the batches of the strain among them, or of all where there is none; rising.
    pub durations_h: Vec<f64>,
}

impl Tail {
    /// Of the next batch of a strain: from the batches but `except` whose data had ended by `as_of` and that did not stick, the
    /// last [`LATEST`] of each strain.
    pub fn of_strain(kinetics: &Kinetics, strain: &str, except: &str, as_of: Instant) -> Self {
        let (mean, sd) = (*UNKNOWN, *SPREAD);
        let has_ended = |fit: &&BatchFit| fit.batch != except && fit.instant(fit.last_hours) <= as_of;
        let all: Vec<&BatchFit> = kinetics.batches.iter().filter(has_ended).collect();
        let mut of_each: HashMap<&str, usize> = HashMap::new();
        let mut ended: Vec<&BatchFit> = all.iter().rev().copied().filter(|fit| fit.status != Status::Stuck).collect();
        let stuck_share = stuck::share(all.len() - ended.len(), all.len());
        ended.retain(|fit| {
            let counted = of_each.entry(fit.strain.as_str()).or_default();
            *counted += 1;
            *counted <= LATEST
        });
        let duration = |fit: &&BatchFit| fit.finding(Trait::FinishH).value();
        let of = |strain: &str| {
            ended.iter().copied().filter(|fit| fit.strain == strain).filter_map(|fit| duration(&fit)).collect()
        };
        let mut durations_h: Vec<f64> = of(strain);
        if durations_h.is_empty() {
            durations_h = ended.iter().filter_map(duration).collect();
        }
        durations_h.sort_unstable_by(f64::total_cmp);
        let longest = ended.iter().filter_map(duration).fold(0.0, f64::max);
        let known: Vec<Information> = ended
            .into_iter()
            .filter_map(|fit| {
                let (mid, finish) = (fit.finding(Trait::MidH).value()?, fit.finding(Trait::FinishH).estimate()?);
                let hours = Some(finish.value - mid).filter(|hours| mid > 0.0 && *hours > SHORTEST_H)?;
                let standardised = DVector::from_element(1, ((hours / mid).ln() - mean) / sd);
                let variance = DMatrix::from_element(1, 1, (finish.se / hours / sd).powi(2));
                Information::new(&fit.strain, &standardised, variance, &[f64::INFINITY])
            })
            .collect();
        let next = Population::new(&known.iter().collect::<Vec<_>>(), &[*WORTH]).prior(strain);
        let enough = known.len() >= *ENOUGH_BATCHES;
        let ceiling_h = if enough { (*CEILING * longest).min(LATEST_H) } else { LATEST_H };
        let of_strain = sd * next.covariance[(0, 0)].sqrt();
        let (mean, sd) = match known.len() {
            0 => (mean, *UNKNOWN_SD),
            _ => (mean + sd * next.mean[0], of_strain.hypot(*COMMON_SD)),
        };
        Self { mean, sd, ceiling_h, seen: known.len(), stuck_share, durations_h }
    }

    /// Hours from pitching to rest of a batch whose middle is at `mid_h`, `z` standard deviations of m from the mean.
    pub fn finish_h(&self, mid_h: f64, z: f64) -> f64 {
        mid_h * (1.0 + (self.mean + self.sd * z).exp())
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn where_no_batch_has_ended_the_assumed_tail_holds() {
        let none = Kinetics { batches: Vec::new(), ..Kinetics::default() };
        let tail = Tail::of_strain(&none, "thrift", "ti-1", Instant::from_micros(0));
        assert!((tail.mean - *UNKNOWN).abs() < 1e-12 && (tail.sd - *UNKNOWN_SD).abs() < 1e-9, "{tail:?}");
    }

    #[test]
    fn a_rest_beyond_the_ceiling_lies_anywhere_from_now_on() {
        let none = Kinetics { batches: Vec::new(), ..Kinetics::default() };
        let tail = Tail::of_strain(&none, "thrift", "ti-1", Instant::from_micros(0));
        assert!((tail.not_before(300.0, 200.0, 0.5) - 300.0).abs() < 1e-9);
        assert!((tail.not_before(9000.0, 1000.0, 0.25) - 1250.0).abs() < 1e-9);
        assert!((tail.not_before(f64::INFINITY, 1500.0, 0.5) - 2250.0).abs() < 1e-9);
    }
}
