//! What past batches say about the next: the mean and covariance of their coordinates, and how much the strain tells.
//!
//! Each batch gives information about its own coordinates, complete or not (a running batch says something about its
//! lag and rate and little about its end, so that slow batches are not left out because they are slow). The mean and
//! covariance over batches are found by expectation and maximisation (Dempster, Laird and Rubin 1977, J. R. Stat. Soc. B
//! 39, 1), each shrunk towards what is assumed where nothing is known by the weight of a few batches, so that three batches do not make
//! a law. The share of the variance that lies between strains is then found per coordinate, shrunk likewise, and the
//! prior of a batch is the best linear prediction from its strain's mean and the fleet's.

use nalgebra::{DMatrix, DVector};

use super::coordinates::DIMS;
use super::posterior::{Posterior, Prior};

/// Batches that the assumed mean is worth.
const MEAN_WORTH: f64 = 1.0;
/// Batches that an assumed variance is worth: of the four main coordinates, of the smooth correction.
const VARIANCE_WORTH: (f64, f64) = (3.0, 6.0);
/// Batches that no correlation is worth.
const CORRELATION_WORTH: f64 = 10.0;
/// Share of the variance between strains where nothing is known, and the batches that this is worth.
const STRAIN_SHARE: (f64, f64) = (0.4, 8.0);
/// Rounds of expectation and maximisation.
const ROUNDS: usize = 8;

/// What one batch says about its coordinates, apart from the prior under which it was fitted.
#[derive(Debug, Clone)]
pub(super) struct Information {
    pub strain: String,
    /// Precision matrix, and precision times estimate.
    precision: DMatrix<f64>,
    weighted: DVector<f64>,
}

impl Information {
    /// From a posterior under the assumed prior, which is standard normal in these coordinates.
    pub fn new(strain: &str, posterior: &Posterior) -> Option<Self> {
        let covariance = posterior.covariance.view((1, 1), (DIMS, DIMS)).clone_owned();
        let inverse = covariance.cholesky()?.inverse();
        let weighted = &inverse * posterior.mean.rows(1, DIMS);
        Some(Self { strain: strain.to_owned(), precision: inverse - DMatrix::identity(DIMS, DIMS), weighted })
    }
}

/// The batches known by some moment, summed up.
#[derive(Debug, Clone)]
pub(super) struct Fleet {
    mean: DVector<f64>,
    covariance: DMatrix<f64>,
    /// Share of each coordinate's variance between strains.
    between: DVector<f64>,
    /// Strain and most probable coordinates of each batch.
    members: Vec<(String, DVector<f64>)>,
}

impl Fleet {
    pub fn new(batches: &[&Information]) -> Self {
        let n = batches.len() as f64;
        let mut fleet = Self {
            mean: DVector::zeros(DIMS),
            covariance: DMatrix::identity(DIMS, DIMS),
            between: DVector::from_element(DIMS, STRAIN_SHARE.0),
            members: Vec::new(),
        };
        if batches.is_empty() {
            return fleet;
        }
        for _ in 0..ROUNDS {
            let Some(precision) = fleet.covariance.clone().cholesky().map(|f| f.inverse()) else { break };
            let pull = &precision * &fleet.mean;
            let mut sum = DVector::zeros(DIMS);
            let mut spread = DMatrix::zeros(DIMS, DIMS);
            fleet.members.clear();
            for batch in batches {
                let Some(factor) = (&batch.precision + &precision).cholesky() else { continue };
                let mean = factor.solve(&(&batch.weighted + &pull));
                spread += factor.inverse() + &mean * mean.transpose();
                sum += &mean;
                fleet.members.push((batch.strain.clone(), mean));
            }
            fleet.mean = &sum / (n + MEAN_WORTH);
            // Sum over batches of the expected squared distance from the new mean.
            let scatter = spread - &sum * fleet.mean.transpose() - &fleet.mean * sum.transpose()
                + &fleet.mean * fleet.mean.transpose() * n;
            fleet.covariance = shrunk(&scatter, n);
        }
        fleet.between = between(&fleet.members, &fleet.mean, &fleet.covariance);
        fleet
    }

    /// Batches of the strain.
    pub fn of_strain(&self, strain: &str) -> usize {
        self.members.iter().filter(|(of, _)| of == strain).count()
    }

    /// All batches.
    pub fn len(&self) -> usize {
        self.members.len()
    }

    /// The prior of a further batch of a strain; wider the fewer the batches.
    pub fn prior(&self, strain: &str) -> Prior {
        let n = self.members.len() as f64;
        let mine: Vec<&DVector<f64>> = self.members.iter().filter(|(of, _)| of == strain).map(|(_, m)| m).collect();
        let n_strain = mine.len() as f64;
        let mut mean = self.mean.clone();
        let mut scale = DVector::from_element(DIMS, 1.0);
        for k in 0..DIMS {
            let rho = self.between[k];
            if n_strain > 0.0 {
                let strain_mean = mine.iter().map(|m| m[k]).sum::<f64>() / n_strain;
                let weight = rho / (rho + (1.0 - rho) / n_strain);
                mean[k] += weight * (strain_mean - self.mean[k]);
                scale[k] = (1.0 - rho * weight).max(0.02);
            }
            // The mean has an error of its own, and a variance found from few batches is a t's.
            let freedom = n + VARIANCE_WORTH.0;
            scale[k] *= (1.0 + 1.0 / (n + 3.0 * MEAN_WORTH)) * if n > 0.0 { freedom / (freedom - 2.0) } else { 1.0 };
        }
        let covariance = DMatrix::from_fn(DIMS, DIMS, |i, j| self.covariance[(i, j)] * (scale[i] * scale[j]).sqrt());
        Prior { mean, covariance }
    }
}

/// A covariance from a sum of squares over `n` batches, variances and correlations shrunk apart.
fn shrunk(scatter: &DMatrix<f64>, n: f64) -> DMatrix<f64> {
    let worth = |k: usize| if k < 4 { VARIANCE_WORTH.0 } else { VARIANCE_WORTH.1 };
    let sd = |k: usize| ((worth(k) + scatter[(k, k)].max(0.0)) / (worth(k) + n)).sqrt();
    DMatrix::from_fn(DIMS, DIMS, |i, j| {
        if i == j {
            return sd(i) * sd(i);
        }
        let both = (scatter[(i, i)] * scatter[(j, j)]).sqrt();
        let correlation = if both > 0.0 { scatter[(i, j)] / both } else { 0.0 };
        correlation * n / (n + CORRELATION_WORTH) * sd(i) * sd(j)
    })
}

/// Share of the variance between strains, per coordinate: the one-way analysis of variance of the batches' most probable
/// coordinates, shrunk towards what is assumed.
fn between(members: &[(String, DVector<f64>)], mean: &DVector<f64>, covariance: &DMatrix<f64>) -> DVector<f64> {
    let mut strains: Vec<&str> = members.iter().map(|(strain, _)| strain.as_str()).collect();
    strains.sort_unstable();
    strains.dedup();
    DVector::from_fn(DIMS, |k, _| {
        let (mut within, mut free) = (0.0, 0.0);
        for strain in &strains {
            let values: Vec<f64> = members.iter().filter(|(of, _)| of == strain).map(|(_, m)| m[k]).collect();
            let middle = values.iter().sum::<f64>() / values.len() as f64;
            within += values.iter().map(|v| (v - middle).powi(2)).sum::<f64>();
            free += values.len() as f64 - 1.0;
        }
        let total: f64 = members.iter().map(|(_, m)| (m[k] - mean[k]).powi(2)).sum::<f64>();
        let total = total.max(1e-3 * covariance[(k, k)]) / (members.len() as f64 - 1.0).max(1.0);
        let share = if free > 0.0 { (1.0 - within / free / total).clamp(0.0, 1.0) } else { STRAIN_SHARE.0 };
        (STRAIN_SHARE.0 * STRAIN_SHARE.1 + share * free) / (STRAIN_SHARE.1 + free)
    })
}
