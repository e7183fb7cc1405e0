//! What batches say about the next: a strain's mean, and how batches and strains spread.
//!
//! The coordinates of a batch are normal about the mean of its strain with covariance W, the means of strains are normal
//! about that of the fleet with covariance B. Each batch gives information about its own coordinates, complete or not (a
//! running batch says something about its lag and rate and little about its end, so that slow batches are not left
//! out because they are slow). Coordinates are standardised: of unit variance where nothing is known.
//!
//! Means and covariances are found by expectation and maximisation (Dempster, Laird and Rubin 1977, J. R. Stat. Soc. B
//! 39, 1), each shrunk towards what is assumed where nothing is known by the weight of a few batches or strains, so that
//! three batches do not make a law.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};

use crate::fit::matrix::{inverse, upper_root};

assumed! {
    /// Share of the variance between strains where nothing is known.
    const BETWEEN: f64 = 0.4, "share";
    /// Strains that this share is worth.
    const BETWEEN_WORTH: f64 = 2.0, "strains";
    /// Batches that the assumed variance of a number is worth.
    pub(crate) const WORTH: f64 = 3.0, "batches";
    /// Batches that the assumed variance of a coefficient of the smooth correction is worth.
    pub(crate) const CORRECTION_WORTH: f64 = 6.0, "batches";
    /// Strains that the assumed mean is worth.
    const MEAN_WORTH: f64 = 0.5, "strains";
    /// Batches or strains that no correlation is worth.
    const CORRELATION_WORTH: f64 = 10.0, "batches";
}

/// Cycles of two rounds of expectation and maximisation, an extrapolation from them, and a third round (R. Varadhan and
/// C. Roland, Scand. J. Stat. 35 (2008) 335).
const CYCLES: usize = 5;
/// Longest extrapolation.
const LONGEST_STEP: f64 = 8.0;

/// A normal prior of standardised coordinates.
#[derive(Debug, Clone)]
pub(crate) struct PopulationPrior {
    pub mean: DVector<f64>,
    pub covariance: DMatrix<f64>,
}

impl PopulationPrior {
    /// What is assumed where nothing is known: standard normal.
    pub fn base(dims: usize) -> Self {
        Self { mean: DVector::zeros(dims), covariance: DMatrix::identity(dims, dims) }
    }
}

/// Whether a batch, asked one after the other, is among the first `most` of its strain.
pub(crate) fn among_first<'s>(most: usize) -> impl FnMut(&'s str) -> bool {
    let mut of_strain: BTreeMap<&str, usize> = BTreeMap::new();
    move |strain| {
        let asked = of_strain.entry(strain).or_default();
        *asked += 1;
        *asked <= most
    }
}

/// What one batch says about its coordinates, apart from the prior under which it was fitted.
#[derive(Debug, Clone)]
pub(crate) struct Information {
    pub strain: String,
    /// Precision matrix, and precision times estimate.
    precision: DMatrix<f64>,
    weighted: DVector<f64>,
}

impl Information {
    /// From a posterior under a prior with mean 0 and these standard deviations.
    pub fn new(strain: &str, mean: &DVector<f64>, covariance: DMatrix<f64>, prior_sds: &[f64]) -> Option<Self> {
        let mut precision = inverse(&upper_root(covariance)?);
        let weighted = &precision * mean;
        if !precision.iter().chain(weighted.iter()).all(|number| number.is_finite()) {
            return None;
        }
        for (k, sd) in prior_sds.iter().enumerate() {
            precision[(k, k)] -= 1.0 / (sd * sd);
        }
        Some(Self { strain: strain.to_owned(), precision, weighted })
    }
}

/// A strain: its mean with the error of the mean, and how many batches there are of it.
#[derive(Debug, Clone)]
struct StrainMeans {
    name: String,
    mean: DVector<f64>,
    covariance: DMatrix<f64>,
    batches: usize,
}

/// Batches summed up.
#[derive(Debug, Clone)]
pub(crate) struct Population {
    mean: DVector<f64>,
    within: DMatrix<f64>,
    between: DMatrix<f64>,
    strains: Vec<StrainMeans>,
}

impl Population {
    /// `worth` says for each coordinate how many batches the assumed variance is worth.
    pub fn new(batches: &[&Information], worth: &[f64]) -> Self {
        let dims = worth.len();
        let mut fleet = Self {
            mean: DVector::zeros(dims),
            within: DMatrix::identity(dims, dims) * (1.0 - *BETWEEN),
            between: DMatrix::identity(dims, dims) * *BETWEEN,
            strains: Vec::new(),
        };
        if batches.is_empty() {
            return fleet;
        }
        let mut grouped: Vec<Vec<&Information>> = Vec::new();
        for batch in batches {
            match grouped.iter_mut().find(|group| group.iter().any(|other| other.strain == batch.strain)) {
                Some(group) => group.push(batch),
                None => grouped.push(vec![batch]),
            }
        }
        for _ in 0..CYCLES {
            let before = fleet.state();
            let once = fleet.step(&grouped, worth).state();
            let twice = fleet.step(&grouped, worth).state();
            let first = &once - &before;
            let second = &twice - &once - &first;
            if second.norm() > 1e-9 {
                let length = (first.norm() / second.norm()).clamp(1.0, LONGEST_STEP);
                fleet.set(&(&before + first * (2.0 * length) + second * (length * length)));
                if !fleet.is_possible() {
                    fleet.set(&twice);
                }
            }
            fleet.step(&grouped, worth);
        }
        fleet
    }

    /// Whether both spreads are covariances: an extrapolation may leave them.
    fn is_possible(&self) -> bool {
        [&self.within, &self.between].into_iter().all(|spread| upper_root(spread.clone()).is_some())
    }

    /// One round of expectation and maximisation.
    fn step(&mut self, grouped: &[Vec<&Information>], worth: &[f64]) -> &Self {
        let dims = worth.len();
        let inverted = |matrix: &DMatrix<f64>| upper_root(matrix.clone()).map(|root| inverse(&root));
        let (Some(within), Some(between)) = (inverted(&self.within), inverted(&self.between)) else { return self };
        let mut inside = DMatrix::zeros(dims, dims);
        let (mut outside, mut sum) = (DMatrix::zeros(dims, dims), DVector::zeros(dims));
        let mut strains = Vec::with_capacity(grouped.len());
        let mut n = 0.0;
        for group in grouped {
            // Of each batch: the covariance of its coordinates given the strain's mean, and that times W^-1.
            let known: Vec<(&Information, DMatrix<f64>, DMatrix<f64>)> = group
                .iter()
                .filter_map(|batch| {
                    let given = inverse(&upper_root(&batch.precision + &within)?);
                    let carried = &given * &within;
                    Some((*batch, given, carried))
                })
                .collect();
            let mut precision = between.clone();
            let mut weighted = &between * &self.mean;
            for (batch, _, carried) in &known {
                precision += &within - &within * carried;
                weighted += carried.tr_mul(&batch.weighted);
            }
            let (Some(covariance), Some(first)) = (inverted(&precision), group.first()) else { continue };
            let mean = &covariance * weighted;
            for (batch, given, carried) in &known {
                let own = given * &batch.weighted + carried * &mean;
                let away = own - &mean;
                let through = carried - DMatrix::identity(dims, dims);
                inside += given + &through * &covariance * through.transpose() + &away * away.transpose();
                n += 1.0;
            }
            sum += &mean;
            outside += &covariance + &mean * mean.transpose();
            strains.push(StrainMeans { name: first.strain.clone(), mean, covariance, batches: group.len() });
        }
        let s = strains.len() as f64;
        self.mean = &sum / (s + *MEAN_WORTH);
        // Sum over strains of the expected squared distance from the new mean.
        outside += &self.mean * self.mean.transpose() * s - &sum * self.mean.transpose() - &self.mean * sum.transpose();
        self.within = shrunk(&inside, n, 1.0 - *BETWEEN, |k| worth[k]);
        self.between = shrunk(&outside, s, *BETWEEN, |_| *BETWEEN_WORTH);
        self.strains = strains;
        self
    }

    /// Means and logarithms of the variances.
    fn state(&self) -> DVector<f64> {
        let ln = |matrix: &DMatrix<f64>| matrix.diagonal().map(f64::ln);
        let (within, between) = (ln(&self.within), ln(&self.between));
        let all = self.mean.iter().chain(within.iter()).chain(between.iter()).copied();
        DVector::from_iterator(3 * self.mean.len(), all)
    }

    /// Sets means and variances, the correlations as they are.
    fn set(&mut self, state: &DVector<f64>) {
        let dims = self.mean.len();
        self.mean.copy_from(&state.rows(0, dims));
        for (matrix, first) in [(&mut self.within, dims), (&mut self.between, 2 * dims)] {
            for k in 0..dims {
                let factor = (0.5 * (state[first + k].clamp(-9.0, 3.0) - matrix[(k, k)].ln())).exp();
                matrix.row_mut(k).scale_mut(factor);
                matrix.column_mut(k).scale_mut(factor);
            }
        }
    }

    /// Batches of the strain.
    pub fn of_strain(&self, strain: &str) -> usize {
        self.strains.iter().find(|of| of.name == strain).map_or(0, |of| of.batches)
    }

    /// All batches.
    pub fn len(&self) -> usize {
        self.strains.iter().map(|of| of.batches).sum()
    }

    /// The prior of a further batch of a strain; wider the fewer the batches.
    pub fn prior(&self, strain: &str) -> PopulationPrior {
        let n = self.len() as f64;
        let (mean, spread) = match self.strains.iter().find(|of| of.name == strain) {
            Some(of) => (&of.mean, &of.covariance),
            None => (&self.mean, &self.between),
        };
        // The means have errors of their own, and a variance found from few batches is a t's.
        let freedom = n + *WORTH;
        let wider = if n > 0.0 { (1.0 + 1.0 / freedom) * freedom / (freedom - 2.0) } else { 1.0 };
        PopulationPrior { mean: mean.clone(), covariance: (spread + &self.within) * wider }
    }
}

/// A covariance from a sum of squares over `n`, variances shrunk towards `assumed`, correlations towards none.
fn shrunk(scatter: &DMatrix<f64>, n: f64, assumed: f64, worth: impl Fn(usize) -> f64) -> DMatrix<f64> {
    let dims = scatter.nrows();
    let sd = |k: usize| ((assumed * worth(k) + scatter[(k, k)].max(0.0)) / (worth(k) + n)).sqrt();
    let sds: Vec<f64> = (0..dims).map(sd).collect();
    DMatrix::from_fn(dims, dims, |i, j| {
        if i == j {
            return sds[i] * sds[i];
        }
        let both = (scatter[(i, i)] * scatter[(j, j)]).sqrt();
        let correlation = if both > 0.0 { scatter[(i, j)] / both } else { 0.0 };
        correlation * n / (n + *CORRELATION_WORTH) * sds[i] * sds[j]
    })
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    use super::*;

    /// Batches of several strains, the first coordinate differing between strains only, the second within only; each seen
    /// with an error of `error`.
    fn batches(strains: usize, each: usize, error: f64) -> Vec<Information> {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(7);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let mut all = Vec::new();
        for s in 0..strains {
            let strain = normal();
            for _ in 0..each {
                let truth = [1.0 + 0.5 * strain, -1.0 + 0.5 * normal()];
                let seen = DVector::from_fn(2, |k, _| truth[k] + error * normal());
                // The posterior under a standard normal prior.
                let weight = 1.0 / (1.0 + error * error);
                let covariance = DMatrix::identity(2, 2) * (error * error * weight);
                all.push(Information::new(&format!("s{s}"), &(seen * weight), covariance, &[1.0; 2]).unwrap());
            }
        }
        all
    }

    #[test]
    fn variances_are_told_apart_by_strain() {
        let all = batches(40, 6, 0.3);
        let fleet = Population::new(&all.iter().collect::<Vec<_>>(), &[3.0; 2]);
        assert!((fleet.mean[0] - 1.0).abs() < 0.2 && (fleet.mean[1] + 1.0).abs() < 0.1, "{}", fleet.mean);
        let sd = |matrix: &DMatrix<f64>, k: usize| matrix[(k, k)].sqrt();
        assert!((sd(&fleet.between, 0) - 0.5).abs() < 0.12 && sd(&fleet.between, 1) < 0.25, "{}", fleet.between);
        assert!((sd(&fleet.within, 1) - 0.5).abs() < 0.08, "{}", fleet.within);
        // A variance that is 0 is kept off 0 by what is assumed of it: with 200 degrees of freedom, an error variance of 0.09
        // and 3 batches' worth of 0.6, the most probable v solves 200 v/(0.09 + v)^2 = 1.8/v^2 - 3/v: v = 0.055.
        assert!((sd(&fleet.within, 0) - 0.055_f64.sqrt()).abs() < 0.03, "{}", fleet.within);
        let (own, other) = (fleet.prior("s3"), fleet.prior("unheard"));
        assert!(own.covariance[(0, 0)] < 0.5 * other.covariance[(0, 0)]);
    }

    #[test]
    fn nothing_known_is_the_assumed_prior() {
        let prior = Population::new(&[], &[3.0; 4]).prior("any");
        assert!((prior.covariance - DMatrix::identity(4, 4)).norm() < 1e-12 && prior.mean.norm() < 1e-12);
    }
}
