//! How long a batch takes from nine tenths of its drop to rest.
//!
//! Readings before nine tenths hardly show the end of the curve, and the end differs little among batches of a strain. So
//! the logarithm of these hours is learned by strain from the batches that have ended, as a random-effects mean with the
//! standard errors of their fits ([`Population`] in one dimension); what the batch's own readings add is weighed against it.

use nalgebra::{DMatrix, DVector};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::error::{Error, Result};
use crate::kinetics::population::{Information, Population, PopulationPrior};
use crate::kinetics::{Kinetics, Status, Trait};
use crate::units::Instant;

use super::coordinates::{DIMS, curve};

/// Mean and standard deviation of ln hours where no batch has ended: 20 to 100 hours. Assumed; no reference.
const UNKNOWN: (f64, f64) = (3.8, 0.6);
/// Batches that the assumed variance is worth.
const WORTH: [f64; 1] = [3.0];
/// The errors of fitted finish times have this share of the variance that is stated of them, on simulated seasons.
const SHARE_OF_STATED: f64 = 0.5;
/// How far the end of a fitted curve is from the true one beyond its standard error, SD of ln hours: on simulated seasons
/// the ends of complete curves were off by this.
const CURVE_SD: f64 = 0.6;
/// A time to rest counts as at least this, hours.
const SHORTEST_H: f64 = 0.5;
/// Draws that tell what the prior of a curve says of its end.
const PRIOR_DRAWS: usize = 200;

/// A normal of ln hours from nine tenths of the drop to rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Tail {
    mean: f64,
    sd: f64,
}

/// ln hours from nine tenths of the drop, at `t90_h`, to rest.
pub(super) fn ln_tail(t90_h: f64, finish_h: f64) -> f64 {
    (finish_h - t90_h).max(SHORTEST_H).ln()
}

impl Tail {
    /// Of the next batch of a strain: from the batches but `except` whose data had ended by `as_of` and that did not stick.
    pub fn of_strain(kinetics: &Kinetics, strain: &str, except: &str, as_of: Instant) -> Self {
        let (mean, sd) = UNKNOWN;
        let known: Vec<Information> = kinetics
            .batches
            .iter()
            .filter(|fit| fit.batch != except && fit.status != Status::Stuck && fit.instant(fit.last_hours) <= as_of)
            .filter_map(|fit| {
                let (t90, finish) = (fit.finding(Trait::T90H).value()?, fit.finding(Trait::FinishH).estimate()?);
                let hours = Some(finish.value - t90).filter(|hours| *hours > SHORTEST_H)?;
                let standardised = DVector::from_element(1, (hours.ln() - mean) / sd);
                let variance = DMatrix::from_element(1, 1, SHARE_OF_STATED * (finish.se / hours / sd).powi(2));
                Information::new(&fit.strain, &standardised, variance, &[f64::INFINITY])
            })
            .collect();
        let next = Population::new(&known.iter().collect::<Vec<_>>(), &WORTH).prior(strain);
        Self { mean: mean + sd * next.mean[0], sd: sd * next.covariance[(0, 0)].sqrt() }
    }

    /// What a normal prior of a curve's coordinates says of its end.
    ///
    /// # Errors
    /// [`Error::Numeric`] for a singular covariance.
    pub fn of_prior(
        prior: &PopulationPrior,
        original_sg: f64,
        ln_pace: f64,
        tolerance_sg: f64,
        rng: &mut ChaCha8Rng,
    ) -> Result<Self> {
        let factor = prior.covariance.clone().cholesky();
        let factor = factor.ok_or_else(|| Error::numeric("a forecast", "the prior's covariance is singular"))?.l();
        let ends = (0..PRIOR_DRAWS).map(|_| {
            let noise = DVector::from_fn(DIMS, |_, _| StandardNormal.sample(rng));
            let at: DVector<f64> = &prior.mean + &factor * noise;
            let table = curve(original_sg, &std::array::from_fn(|k| at[k]), ln_pace).tabulate();
            ln_tail(table.time_of_progress_h(0.9), table.finish_h(tolerance_sg))
        });
        Ok(Self::of_values(&ends.collect::<Vec<f64>>()))
    }

    /// With the mean and the standard deviation of these values.
    pub fn of_values(values: &[f64]) -> Self {
        let n = values.len().max(1) as f64;
        let mean = values.iter().sum::<f64>() / n;
        Self { mean, sd: (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt().max(1e-3) }
    }

    /// The strain's, after the batch's own readings: these made `assumed` of the curve's prior into `own`. What they say is the
    /// ratio of the two normals, `1/sd^2 = 1/own.sd^2 - 1/assumed.sd^2`, with [`CURVE_SD`] added.
    pub fn given(self, own: Self, assumed: Self) -> Self {
        let precision = own.sd.powi(-2) - assumed.sd.powi(-2);
        if precision <= 0.0 {
            return self;
        }
        let says = (own.mean * own.sd.powi(-2) - assumed.mean * assumed.sd.powi(-2)) / precision;
        let weight = 1.0 / (1.0 / precision + CURVE_SD * CURVE_SD);
        let prior = self.sd.powi(-2);
        Self { mean: (prior * self.mean + weight * says) / (prior + weight), sd: (prior + weight).sqrt().recip() }
    }

    /// Hours from nine tenths of the drop to rest, drawn.
    pub fn hours(&self, rng: &mut ChaCha8Rng) -> f64 {
        let z: f64 = StandardNormal.sample(rng);
        (self.mean + self.sd * z).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_that_tell_nothing_leave_the_strain_and_those_that_tell_move_it() {
        let strain = Tail { mean: 3.5, sd: 0.4 };
        let assumed = Tail { mean: 3.9, sd: 0.7 };
        assert_eq!(strain.given(assumed, assumed), strain);
        // Readings that say 4.5 +- 0.3 by themselves, with the doubt of the curve 0.671: weights .4^-2 and .671^-2.
        let (precision, own) = (0.3_f64.powi(-2), 0.7_f64.powi(-2));
        let sd = (precision + own).sqrt().recip();
        let told = Tail { mean: (4.5 * precision + 3.9 * own) * sd * sd, sd };
        let after = strain.given(told, assumed);
        let weight = 1.0 / (0.09 + 0.36);
        let wanted = (3.5 * 6.25 + 4.5 * weight) / (6.25 + weight);
        assert!((after.mean - wanted).abs() < 1e-12 && after.sd < strain.sd, "{after:?}");
    }

    #[test]
    fn where_no_batch_has_ended_the_assumed_tail_holds() {
        let none = Kinetics { batches: Vec::new(), ..Kinetics::default() };
        let tail = Tail::of_strain(&none, "thrift", "ti-1", Instant::from_micros(0));
        assert!((tail.mean - UNKNOWN.0).abs() < 1e-12 && (tail.sd - UNKNOWN.1).abs() < 1e-9, "{tail:?}");
    }
}
