//! What a further probe of this fleet may do after a calibration, and how long one may be trusted.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, StudentT};

use crate::fit::{Estimate, Finding, quantile};

use crate::drift::model::Averaged;
use crate::drift::pairs::Curves;
use crate::drift::results::Shift;
use crate::drift::scale::MONTH_D;
use crate::drift::settings::DriftSettings;

/// Draws of what the season leaves open.
const DRAWS: usize = 200;
/// The seed of draws: one season gives one answer.
const SEED: u64 = 0x5eed_f07e;
const METHOD: &str = "time to the allowed probability, over draws of what the season leaves open";

/// One guess at how probes of the fleet behave.
#[derive(Debug, Clone, Copy)]
pub(super) struct Behaviour {
    /// Mean slope, SG per 30 days.
    pub mean: f64,
    /// SD of slopes between probes.
    pub between: f64,
    /// SD of the walk after 30 days, SG.
    pub walk_sd: f64,
    /// Sudden shifts, a probe and 30 days.
    pub shifts: f64,
    /// Their SD, SG.
    pub shift_sd: f64,
    /// SD of the error on the day of a calibration, SG.
    pub curve_sd: f64,
}

/// What the fleet has shown, for draws.
pub(super) struct FleetEvidence<'a> {
    pub averaged: &'a Averaged<'a>,
    pub mean: &'a Estimate,
    pub between: f64,
    pub df: f64,
    pub shifts: &'a [Shift],
    pub curves: &'a Curves<'a>,
    pub end_sg: f64,
}

impl FleetEvidence<'_> {
    /// Draws of how probes behave: the mean slope by its t, the walk by its likelihood, the number of shifts by a gamma
    /// distribution (half an event more than were seen, in the time observed), their size as those seen.
    pub fn draws(&self, settings: &DriftSettings) -> Vec<Behaviour> {
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        let months: f64 = self.averaged.model.probes.iter().map(|part| part.span_d() / MONTH_D).sum();
        let sizes: Vec<f64> = self.shifts.iter().filter_map(|shift| shift.shift_sg.value()).collect();
        let squares: f64 = sizes.iter().map(|size| size * size).sum();
        // One shift of the size that is expected of an event stands for what was not seen.
        let shift_sd = ((squares + (0.5 * settings.change_sd_sg).powi(2)) / (sizes.len() + 1) as f64).sqrt();
        let rate = Gamma::new(sizes.len() as f64 + 0.5, 1.0 / months.max(1.0)).ok();
        let t = StudentT::new(self.df.max(1.0)).ok();
        let curve_sd = self.curve_sd();
        (0..DRAWS)
            .map(|_| {
                let mut left = rng.random::<f64>();
                let at = self.averaged.solved.iter().find(|(weight, ..)| {
                    left -= weight;
                    left <= 0.0
                });
                Behaviour {
                    mean: self.mean.value + self.mean.se * t.map_or(0.0, |t| t.sample(&mut rng)),
                    between: self.between,
                    walk_sd: at.map_or(0.0, |(_, variances, _)| variances.walk_sd),
                    shifts: rate.map_or(0.0, |rate| rate.sample(&mut rng)),
                    shift_sd,
                    curve_sd,
                }
            })
            .collect()
    }

    /// Typical error of a fresh curve where the beers end.
    fn curve_sd(&self) -> f64 {
        let all: Vec<f64> = self
            .averaged
            .model
            .probes
            .iter()
            .filter_map(|part| self.curves.curve_se(self.curves.first(&part.probe)?, self.end_sg))
            .collect();
        let squares: f64 = all.iter().map(|se| se * se).sum();
        (squares / all.len().max(1) as f64).sqrt()
    }
}

impl Behaviour {
    /// Probability that a probe is out of the limit so many months after its calibration. Shifts are rare and large, so their
    /// number is taken as it comes: none, one, or two and more.
    pub fn p_out(&self, months: f64, limit_sg: f64) -> f64 {
        let steady = self.curve_sd.powi(2) + (self.between * months).powi(2) + self.walk_sd.powi(2) * months;
        let expected = self.shifts * months;
        let none = (-expected).exp();
        let beyond = |variance: f64| {
            let sd = variance.sqrt().max(1e-9);
            let mean = self.mean * months;
            quantile::normal_upper_tail((limit_sg - mean) / sd) + quantile::normal_upper_tail((limit_sg + mean) / sd)
        };
        let one = expected * none;
        let square = self.shift_sd.powi(2);
        none * beyond(steady) + one * beyond(steady + square) + (1.0 - none - one) * beyond(steady + 2.0 * square)
    }

    /// Months until that probability passes what is allowed, at most `most`.
    fn months_to(&self, allowed: f64, limit_sg: f64, most: f64) -> f64 {
        let (mut low, mut high) = (0.0, most);
        if self.p_out(most, limit_sg) <= allowed {
            return most;
        }
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if self.p_out(middle, limit_sg) > allowed { high = middle } else { low = middle }
        }
        low
    }
}

impl DriftSettings {
    /// Days from a calibration after which a further probe of this fleet is to be calibrated again.
    pub(super) fn interval(&self, draws: &[Behaviour], most_d: f64) -> Finding {
        let most = most_d / MONTH_D;
        let mut days: Vec<f64> =
            draws.iter().map(|b| MONTH_D * b.months_to(self.limit_chance, self.limit_sg, most)).collect();
        days.sort_by(f64::total_cmp);
        let at = |share: f64| days.get((share * days.len().saturating_sub(1) as f64).round() as usize).copied();
        let tail = 0.5 * (1.0 - self.common.level);
        let (Some(value), Some(lower), Some(upper)) = (at(0.5), at(tail), at(1.0 - tail)) else {
            return Finding::missing("no draws");
        };
        if value >= most_d {
            return Finding::missing(format!("longer than the {most_d:.0} days that were observed"));
        }
        let mean = days.iter().sum::<f64>() / days.len() as f64;
        let se = (days.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / days.len() as f64).sqrt();
        Finding::Estimated(Estimate { value, se, lower, upper, level: self.common.level, method: METHOD.into() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_probability_grows_and_the_time_meets_it() {
        let b = Behaviour {
            mean: -0.0004,
            between: 0.0003,
            walk_sd: 0.0004,
            shifts: 0.05,
            shift_sd: 0.004,
            curve_sd: 0.0003,
        };
        let months = b.months_to(0.10, 0.002, 12.0);
        assert!((b.p_out(months, 0.002) - 0.10).abs() < 1e-6, "{months}");
        assert!(b.p_out(2.0 * months, 0.002) > 0.10 && b.p_out(0.5 * months, 0.002) < 0.10);
        assert!((b.months_to(0.5, 0.01, 1.0) - 1.0).abs() < 1e-12);
    }
}
