//! The parametric bootstrap.

use nalgebra::DVector;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::iter::{IntoParallelIterator, ParallelIterator};

use super::component::components;
use super::fitted::MixedFit;
use super::likelihood::MixedModel;
use super::scaled::Covariance;
use crate::fit::matrix::dot;
use crate::fit::robust::quantile_of;
use crate::fit::{Estimate, quantile};
use crate::{Error, Result};

/// Seed of the simulation.
const SEED: u64 = 1;

/// What refits of simulated data say.
#[derive(Debug, Clone, PartialEq)]
pub struct Bootstrap {
    /// Fixed coefficients by name.
    pub fixed: Vec<(String, Estimate)>,
    /// Components by name. A correlation that a resample does not have, for want of a variance, is left out of its share.
    pub components: Vec<(String, Estimate)>,
    /// Resamples that were fitted.
    pub fitted: usize,
}

impl MixedFit {
    /// Simulates data sets from the fitted model, at least 20, and fits them by the same criterion. Intervals are percentiles, `se` is
    /// the standard deviation over resamples. They check the other intervals; they do not correct for bias.
    ///
    /// # Errors
    /// [`Error::Setting`]; [`Error::Numeric`] when fewer than half of the fits succeed.
    pub fn bootstrap(&self, resamples: usize, level: f64) -> Result<Bootstrap> {
        quantile::check_level(level)?;
        if resamples < 20 {
            return Err(Error::Setting { name: "resamples", value: resamples.to_string(), wanted: "at least 20" });
        }
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        let responses: Vec<Vec<f64>> = (0..resamples).map(|_| simulate(&self.model, &self.at, &mut rng)).collect();
        let refitted: Vec<Vec<f64>> = responses.into_par_iter().filter_map(|y| self.refit(y)).collect();
        let fitted = refitted.len();
        if 2 * fitted < resamples {
            let why = format!("{} of {resamples} simulated data sets could not be fitted", resamples - fitted);
            return Err(Error::numeric("a parametric bootstrap", why));
        }
        let one = |place: usize, name: &str, value: f64| {
            let draws = refitted.iter().filter_map(|draw| draw.get(place).copied()).collect();
            Some((name.to_owned(), summary(value, draws, level)?))
        };
        let count = self.coefficients.len();
        let fixed = self.design.fixed.iter().zip(&self.coefficients).enumerate();
        let components = self.components.iter().enumerate();
        Ok(Bootstrap {
            fixed: fixed.filter_map(|(i, (column, value))| one(i, &column.name, *value)).collect(),
            components: components.filter_map(|(i, c)| one(count + i, &c.name, c.value)).collect(),
            fitted,
        })
    }

    /// Coefficients and components of another response in scaled units around the fitted mean.
    fn refit(&self, y: Vec<f64>) -> Option<Vec<f64>> {
        let model = self.model.with_response(y);
        let (covariance, _, converged) = model.fit(Some(&self.at)).ok()?;
        let moved = &model.data.back * DVector::from_vec(model.solve(&covariance)?.0.fixed) * model.data.unit;
        let coefficients = self.coefficients.iter().zip(moved.iter()).map(|(b, d)| b + d);
        let components = components(&self.design, &model.data, &covariance);
        converged.then(|| coefficients.chain(components.iter().map(|c| c.value)).collect())
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
            all.extend((0..q).map(|i| dot(&factor[i * q..(i + 1) * q], &z)));
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
                dot(data.of(entry), &effects[entry.term][entry.level * q..(entry.level + 1) * q])
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
