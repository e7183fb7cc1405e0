//! The search over all splits.

use std::fmt;

use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::ScanSettings;
use super::whitened::{Direction, Whitened};
use crate::fit::{Estimate, Scale, quantile};
use crate::{Error, Result};

/// A place where the step may be, and the step there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Split {
    /// The last time before the step.
    pub before: f64,
    /// The first time after it.
    pub after: f64,
    /// Twice the log-likelihood ratio of a step here.
    pub statistic: f64,
    /// The step, were it here.
    pub shift: f64,
    /// Its standard error, were it here.
    pub se: f64,
}

/// What a search found.
#[derive(Debug, Clone, PartialEq)]
pub struct Scan {
    /// Every split at which a step could be told, in the order of time.
    pub splits: Vec<Split>,
    /// Index of the one with the largest statistic.
    pub best: usize,
    /// The largest statistic.
    pub statistic: f64,
    /// Probability of a statistic at least so large without a step: (1 + simulated ones that are) / (1 + simulations).
    pub p: f64,
    /// The statistic that is exceeded with the settings' probability of a false alarm.
    pub critical: f64,
    /// Whether p is at most the settings' probability of a false alarm.
    pub found: bool,
    /// The step at the best split. The interval is the profile likelihood over all splits, so it allows for not knowing where
    /// the step is; `se` is that at the best split. After a search for the largest it leans outwards when p is not small.
    pub shift: Estimate,
    /// The step lies after this time, at the level of `shift`.
    pub earliest: f64,
    /// The step lies before this time, at the level of `shift`.
    pub latest: f64,
    /// Simulations behind p.
    pub simulations: usize,
}

impl Split {
    pub(super) fn of(whitened: &Whitened<'_>, direction: &Direction, scale: Scale, times: (f64, f64)) -> Self {
        let along = direction.unit.dot(&whitened.residual);
        let squares = whitened.residual.norm_squared();
        let sigma = match scale {
            Scale::Known => 1.0,
            Scale::Estimated => ((squares - along * along).max(0.0) / (whitened.df() - 1.0)).sqrt(),
        };
        let statistic = twice_log_ratio(along, squares, whitened.residual.len(), scale);
        Self {
            before: times.0,
            after: times.1,
            statistic,
            shift: along / direction.length,
            se: sigma / direction.length,
        }
    }
}

/// T from the part of the residual along the step and the residual's sum of squares.
fn twice_log_ratio(along: f64, squares: f64, n: usize, scale: Scale) -> f64 {
    match scale {
        Scale::Known => along * along,
        Scale::Estimated => -(n as f64) * (-along * along / squares).ln_1p(),
    }
}

impl Scan {
    pub(super) fn of(settings: &ScanSettings, whitened: &Whitened<'_>) -> Result<Self> {
        let candidates = candidates(settings, whitened);
        let what = "a step";
        if candidates.is_empty() {
            let least = settings.least_times;
            return Err(Error::not_estimable(
                what,
                format!("no split has {least} distinct times on either side and is told apart from the columns"),
            ));
        }
        if settings.scale == Scale::Estimated && whitened.df() < 2.0 {
            return Err(Error::not_estimable(what, "no degrees of freedom are left to estimate the scale"));
        }
        let splits: Vec<Split> =
            candidates.iter().map(|(times, d)| Split::of(whitened, d, settings.scale, *times)).collect();
        let Some((best, at)) = splits.iter().enumerate().max_by(|a, b| a.1.statistic.total_cmp(&b.1.statistic)) else {
            return Err(Error::not_estimable(what, "there is no split"));
        };
        let at = *at;
        let null = largest_without_step(settings, whitened, &candidates);
        let larger = null.iter().filter(|t| **t >= at.statistic).count();
        let all = null.len() as f64;
        let p = (1.0 + larger as f64) / (1.0 + all);
        let rank = ((1.0 + all) * (1.0 - settings.false_alarm)).ceil() as usize;
        let critical = null.get(rank.saturating_sub(1)).copied().unwrap_or(f64::INFINITY);
        let (earliest, latest) = when(&splits, at.statistic, settings.level);
        Ok(Self {
            shift: size(settings, whitened, &candidates, &at)?,
            earliest,
            latest,
            best,
            statistic: at.statistic,
            p,
            critical,
            found: p <= settings.false_alarm,
            simulations: null.len(),
            splits,
        })
    }

    /// The split with the largest statistic.
    pub fn best_split(&self) -> Option<&Split> {
        self.splits.get(self.best)
    }
}

/// All splits with enough times on either side at which a step can be told.
fn candidates(settings: &ScanSettings, whitened: &Whitened<'_>) -> Vec<((f64, f64), Direction)> {
    let mut distinct = whitened.times.to_vec();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup();
    let last = distinct.len().saturating_sub(settings.least_times);
    distinct
        .iter()
        .zip(distinct.iter().skip(1))
        .enumerate()
        .filter(|(i, _)| (settings.least_times..=last).contains(&(i + 1)))
        .filter_map(|(_, (&before, &after))| {
            let rows: Vec<bool> = whitened.times.iter().map(|t| *t >= after).collect();
            Some(((before, after), whitened.direction(&rows)?))
        })
        .collect()
}

/// The largest statistic of each simulated series without a step, in ascending order.
fn largest_without_step(
    settings: &ScanSettings,
    whitened: &Whitened<'_>,
    candidates: &[((f64, f64), Direction)],
) -> Vec<f64> {
    let units: Vec<DVector<f64>> = candidates.iter().map(|(_, d)| d.unit.clone()).collect();
    let units = DMatrix::from_columns(&units);
    let n = whitened.residual.len();
    let mut rng = ChaCha8Rng::seed_from_u64(settings.seed);
    let mut largest: Vec<f64> = (0..settings.simulations)
        .map(|_| {
            let errors = DVector::from_fn(n, |_, _| StandardNormal.sample(&mut rng));
            let along = units.tr_mul(&errors).amax();
            // The directions have nothing of the columns, but the residual sum of squares must be freed of them.
            let squares = match settings.scale {
                Scale::Known => 1.0,
                Scale::Estimated => whitened.squares_left(&errors),
            };
            twice_log_ratio(along, squares, n, settings.scale)
        })
        .collect();
    largest.sort_by(f64::total_cmp);
    largest
}

/// The times between which the step lies: all splits whose statistic is within a cut of the largest.
///
/// The cut is the quantile of the largest of a two-sided Brownian motion with drift, P = (1 - exp(-x / 2))^2, which the statistic
/// follows for small steps (D. Siegmund, Int. Stat. Rev. 56 (1988) 31; from memory); for large ones it is too wide, never too narrow.
fn when(splits: &[Split], top: f64, level: f64) -> (f64, f64) {
    let cut = -2.0 * (-level.sqrt()).ln_1p();
    let inside = splits.iter().filter(|s| top - s.statistic <= cut);
    inside.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), s| (low.min(s.before), high.max(s.after)))
}

/// The step with the interval from its profile likelihood: all sizes that some split supports about as well as the best one.
///
/// The sum of squares with a step of size d at split s is `RSS_s + (d - delta_s)^2 length_s^2`; it may exceed the least one by
/// `factor^2 sigma^2`.
fn size(
    settings: &ScanSettings,
    whitened: &Whitened<'_>,
    candidates: &[((f64, f64), Direction)],
    best: &Split,
) -> Result<Estimate> {
    let (factor, method) = match settings.scale {
        Scale::Known => {
            (quantile::normal_two_sided(settings.level)?, "searched step, GLS, profile likelihood over splits")
        }
        Scale::Estimated => (
            quantile::student_t_two_sided(settings.level, whitened.df() - 1.0)?,
            "searched step, GLS, profile likelihood over splits, t",
        ),
    };
    let along: Vec<f64> = candidates.iter().map(|(_, d)| d.unit.dot(&whitened.residual)).collect();
    let most = along.iter().map(|a| a * a).fold(0.0, f64::max);
    let sigma = match settings.scale {
        Scale::Known => 1.0,
        Scale::Estimated => ((whitened.residual.norm_squared() - most).max(0.0) / (whitened.df() - 1.0)).sqrt(),
    };
    let (mut lower, mut upper) = (best.shift, best.shift);
    for (along, (_, direction)) in along.iter().zip(candidates) {
        let left = (factor * sigma).powi(2) - (most - along * along);
        if left >= 0.0 {
            lower = lower.min((along - left.sqrt()) / direction.length);
            upper = upper.max((along + left.sqrt()) / direction.length);
        }
    }
    Ok(Estimate { value: best.shift, se: best.se, lower, upper, level: settings.level, method: method.into() })
}

impl fmt::Display for Scan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = if self.found { "a step" } else { "no step" };
        writeln!(
            f,
            "{word}: largest 2 ln LR {:.2} of {} splits, critical {:.2}, p = {:.4} by {} simulations",
            self.statistic,
            self.splits.len(),
            self.critical,
            self.p,
            self.simulations
        )?;
        if let Some(at) = self.best_split() {
            writeln!(
                f,
                "best split between {} and {} (interval {} to {})",
                at.before, at.after, self.earliest, self.latest
            )?;
        }
        writeln!(f, "size there {}", self.shift)
    }
}
