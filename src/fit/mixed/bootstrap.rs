//! The parametric bootstrap.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::iter::{IntoParallelIterator, ParallelIterator};

use super::component::components;
use super::effects::fixed;
use super::fitted::MixedFit;
use super::likelihood::{Covariance, MixedModel};
use crate::fit::robust::quantile_of;
use crate::fit::{Estimate, quantile};
use crate::{Error, Result};

/// How a parametric bootstrap is done.
///
/// | setting | default | range | when to change it |
/// | --- | --- | --- | --- |
/// | `resamples` | 999 | at least 20 | more for a smoother interval |
/// | `seed` | 1 | | |
/// | `level` | 0.90 | between 0 and 1 | |
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BootstrapSettings {
    /// Simulated data sets.
    pub resamples: usize,
    /// Seed of the simulation.
    pub seed: u64,
    /// Level of the intervals.
    pub level: f64,
}

impl Default for BootstrapSettings {
    fn default() -> Self {
        Self { resamples: 999, seed: 1, level: 0.9 }
    }
}

/// What refits of simulated data say.
#[derive(Debug, Clone, PartialEq)]
pub struct Bootstrap {
    /// Fixed coefficients by name.
    pub fixed: Vec<(String, Estimate)>,
    /// Components by name. A correlation that a resample does not have, for want of a variance, is left out of its share.
    pub components: Vec<(String, Estimate)>,
    /// Resamples that were fitted.
    pub fitted: usize,
    /// Resamples whose fit failed.
    pub failed: usize,
    /// Fitted resamples with a variance of 0 or a correlation of 1 or -1.
    pub on_boundary: usize,
}

impl MixedFit {
    /// Simulates data from the fitted model and fits them by the same criterion. Intervals are percentiles, `se` is the
    /// standard deviation over resamples. They check the other intervals; they do not correct for bias.
    ///
    /// # Errors
    /// [`Error::Setting`]; [`Error::Numeric`] when fewer than half of the fits succeed.
    pub fn bootstrap(&self, settings: &BootstrapSettings) -> Result<Bootstrap> {
        quantile::check_level(settings.level)?;
        if settings.resamples < 20 {
            let value = settings.resamples.to_string();
            return Err(Error::Setting { name: "resamples", value, wanted: "at least 20" });
        }
        let mut rng = ChaCha8Rng::seed_from_u64(settings.seed);
        let mut draws: Vec<Vec<f64>> = vec![Vec::new(); self.coefficients.len() + self.components.len()];
        let (mut fitted, mut on_boundary) = (0, 0);
        let responses: Vec<Vec<f64>> =
            (0..settings.resamples).map(|_| simulate(&self.model, &self.at, &mut rng)).collect();
        let refitted: Vec<_> = responses.into_par_iter().map(|y| self.refit(y)).collect();
        for (covariance, coefficients) in refitted.into_iter().flatten() {
            fitted += 1;
            on_boundary +=
                usize::from(!super::component::boundary(&self.design, &self.model.data, &covariance).is_empty());
            let found = components(&self.design, &self.model.data, &covariance);
            let values = coefficients.into_iter().chain(found.iter().map(|c| c.value));
            draws.iter_mut().zip(values).for_each(|(draws, value)| draws.push(value));
        }
        let failed = settings.resamples - fitted;
        if failed > fitted {
            let why = format!("{failed} of {} simulated data sets could not be fitted", settings.resamples);
            return Err(Error::numeric("a parametric bootstrap", why));
        }
        let mut draws = draws.into_iter();
        let mut one = |(name, value): (&String, f64)| {
            let found = summary(value, draws.next()?, settings.level)?;
            Some((name.clone(), found))
        };
        let coefficients = self.design.fixed.iter().map(|c| &c.name).zip(self.coefficients.iter().copied());
        let fixed = coefficients.filter_map(&mut one).collect();
        let components = self.components.iter().map(|c| (&c.name, c.value)).filter_map(&mut one).collect();
        Ok(Bootstrap { fixed, components, fitted, failed, on_boundary })
    }

    /// Covariance and coefficients of another response in scaled units, around the fitted mean.
    fn refit(&self, y: Vec<f64>) -> Option<(Covariance, Vec<f64>)> {
        let model = self.model.with_response(y).ok()?;
        let (covariance, _, converged) = model.fit(Some(&self.at)).ok()?;
        let (cross, factors) = model.system(&covariance).ok()?;
        let solved = super::equations::solve(&model.data, &cross, &factors)?;
        let moved = &model.data.back * fixed(&solved, &cross) * model.data.unit;
        let coefficients = self.coefficients.iter().zip(moved.iter()).map(|(b, d)| b + d).collect();
        converged.then_some((covariance, coefficients))
    }
}

/// A response in scaled units with mean 0 and the model's covariance.
fn simulate(model: &MixedModel, covariance: &Covariance, rng: &mut ChaCha8Rng) -> Vec<f64> {
    let data = &model.data;
    let mut normal = || -> f64 { StandardNormal.sample(rng) };
    let mut effects: Vec<Vec<f64>> = Vec::new();
    for (term, factor) in data.terms.iter().zip(&covariance.factors) {
        let q = term.q;
        let mut all = Vec::with_capacity(term.levels * q);
        for _ in 0..term.levels {
            let z: Vec<f64> = (0..q).map(|_| normal()).collect();
            all.extend((0..q).map(|i| super::by_rows::dot(&factor[i * q..(i + 1) * q], &z)));
        }
        effects.push(all);
    }
    let variances = data.variances(covariance.sigma);
    variances
        .iter()
        .enumerate()
        .map(|(row, variance)| {
            let part = |entry: &super::scaled::RowEffect| {
                let q = data.terms[entry.term].q;
                super::by_rows::dot(data.of(entry), &effects[entry.term][entry.level * q..(entry.level + 1) * q])
            };
            data.row(row).iter().map(part).sum::<f64>() + variance.sqrt() * normal()
        })
        .collect()
}

/// None where no refit gave a finite number, as for a correlation with something that never varies.
fn summary(value: f64, mut draws: Vec<f64>, level: f64) -> Option<Estimate> {
    draws.retain(|x| x.is_finite());
    draws.sort_by(f64::total_cmp);
    let n = draws.len() as f64;
    let mean = draws.iter().sum::<f64>() / n;
    let se = (draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    let tail = 0.5 * (1.0 - level);
    let (lower, upper) = (quantile_of(&draws, tail)?, quantile_of(&draws, 1.0 - tail)?);
    let method = format!("parametric bootstrap, percentiles of {} refits", draws.len()).into();
    Some(Estimate { value, se, lower, upper, level, method })
}
