//! Exact designs by exchange: which places of a grid, and how often, tell most about a curve.
//!
//! Knows nothing of baths: a model is a row of derivatives over the standard deviation at each place.

use std::collections::BTreeSet;

use nalgebra::{Cholesky, Const, Matrix4, Vector4};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Starts drawn at random besides the evenly spaced one.
const RANDOM_STARTS: usize = 8;
/// Sweeps over all points of a design, at most.
const SWEEPS: usize = 60;
/// An exchange must gain this much of the cost to be made.
const GAIN: f64 = 1e-10;
const SEED: u64 = 0x5347;

/// What one curve learns at the places of a grid. Curves with fewer than four coefficients leave the last places zero, with
/// a one on the diagonal of `prior` that changes no determinant.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct DesignModel {
    /// Derivatives by the coefficients over the standard deviation of an observation; none where the curve has no value.
    pub(super) rows: Vec<Option<Vector4<f64>>>,
    /// What is known before any observation, as information.
    pub(super) prior: Matrix4<f64>,
    /// Derivatives of what is wanted at the points of the range.
    pub(super) range: Vec<Vector4<f64>>,
}

impl DesignModel {
    /// Information of a design, with the prior.
    fn information(&self, points: &[usize]) -> Option<Matrix4<f64>> {
        points.iter().try_fold(self.prior, |sum, &place| {
            let row = self.rows.get(place).copied().flatten()?;
            Some(sum + row * row.transpose())
        })
    }

    /// Standard error of what is wanted at each point of the range; none where a design does not determine the curve.
    pub(super) fn standard_errors(&self, points: &[usize]) -> Option<Vec<f64>> {
        let covariance = root(&self.information(points)?)?.inverse();
        Some(self.range.iter().map(|row| row.dot(&(covariance * row)).max(0.0).sqrt()).collect())
    }

    /// Mean of `g g'` over the range: the trace of its product with the covariance is the mean variance.
    fn moments(&self) -> Matrix4<f64> {
        let sum = self.range.iter().fold(Matrix4::zeros(), |sum, row| sum + row * row.transpose());
        sum / (self.range.len().max(1) as f64)
    }
}

/// Cholesky's root of an information matrix; none where it is singular but for rounding.
fn root(information: &Matrix4<f64>) -> Option<Cholesky<f64, Const<4>>> {
    const LEAST_PIVOT: f64 = 1e-11;
    let root = information.cholesky()?;
    let pivots = root.l_dirty().diagonal();
    let sound = pivots.iter().zip(information.diagonal().iter()).all(|(pivot, own)| pivot * pivot > LEAST_PIVOT * own);
    sound.then_some(root)
}

/// Several curves with one design, and what it costs.
pub(super) struct DesignProblem<'a> {
    models: &'a [DesignModel],
    moments: Vec<Matrix4<f64>>,
    /// Places at which every curve has a value.
    pub(super) places: Vec<usize>,
    /// A design has at least so many different places, and the first of the grid among them; 0 for any design.
    distinct: usize,
}

impl<'a> DesignProblem<'a> {
    pub(super) fn new(models: &'a [DesignModel], distinct: usize) -> Self {
        let grid = models.iter().map(|model| model.rows.len()).min().unwrap_or(0);
        let everywhere = |place: &usize| models.iter().all(|model| matches!(model.rows.get(*place), Some(Some(_))));
        let places = (0..grid).filter(everywhere).collect();
        Self { models, moments: models.iter().map(DesignModel::moments).collect(), places, distinct }
    }

    fn allows(&self, points: &[usize]) -> bool {
        let different: BTreeSet<&usize> = points.iter().collect();
        self.distinct == 0 || (different.len() >= self.distinct && different.contains(&0))
    }

    /// What a design costs: the mean variance over the range and the curves. Infinite where it does not determine a
    /// curve.
    pub(super) fn cost(&self, points: &[usize]) -> f64 {
        let information: Option<Vec<Matrix4<f64>>> = self.models.iter().map(|m| m.information(points)).collect();
        information.map_or(f64::INFINITY, |all| self.cost_of(&all))
    }

    fn cost_of(&self, information: &[Matrix4<f64>]) -> f64 {
        let each = information.iter().zip(&self.moments).map(|(matrix, m)| Some(root(matrix)?.solve(m).trace()));
        each.sum::<Option<f64>>().map_or(f64::INFINITY, |sum| sum / self.models.len() as f64)
    }

    /// Efficiency of a design against a better one, in (0, 1]: this share of as many of the better would do as well. None
    /// where it determines nothing.
    pub(super) fn efficiency(&self, points: &[usize], better: &[usize]) -> Option<f64> {
        let efficiency = self.cost(better) / self.cost(points);
        (efficiency > 0.0).then_some(efficiency)
    }

    /// The best design of `n` points that is allowed, as sorted places; none where no design determines the curves.
    ///
    /// # Method
    /// Each point in turn is exchanged for the place that lowers the cost most, until no exchange does (V. V. Fedorov,
    /// Theory of Optimal Experiments, 1972, in the form of R. D. Cook and C. J. Nachtsheim, Technometrics 22 (1980)
    /// 315-324), from evenly spaced points and from eight random starts; the best end is kept. Such an end is an optimum
    /// against every single exchange, and in general no more than that.
    pub(super) fn best(&self, n: usize) -> Option<Vec<usize>> {
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        let mut starts = vec![evenly(&self.places, n)];
        for _ in 0..RANDOM_STARTS {
            starts.push(self.random(n, &mut rng)?);
        }
        let mut ends: Vec<(f64, Vec<usize>)> = starts
            .into_iter()
            .filter(|start| start.len() == n && self.allows(start))
            .map(|start| self.exchanged(start))
            .filter(|(cost, _)| cost.is_finite())
            .collect();
        for (_, points) in &mut ends {
            points.sort_unstable();
        }
        // Equal costs are told apart by the places, so that the answer does not hang on the order of the starts.
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs().max(b.abs());
        ends.into_iter()
            .reduce(|a, b| {
                let b_wins = if near(a.0, b.0) { b.1 < a.1 } else { b.0 < a.0 };
                if b_wins { b } else { a }
            })
            .map(|(_, points)| points)
    }

    fn exchanged(&self, mut points: Vec<usize>) -> (f64, Vec<usize>) {
        let mut cost = self.cost(&points);
        for _ in 0..SWEEPS {
            let before = cost;
            for point in 0..points.len() {
                let mut others = points.clone();
                others.remove(point);
                if let Some((better, place)) = self.best_place(&others, cost) {
                    if let Some(old) = points.get_mut(point) {
                        *old = place;
                    }
                    cost = better;
                }
            }
            // Also true as long as nothing is determined, when both are infinite.
            if !(before - cost > GAIN * cost.abs()) {
                break;
            }
        }
        (cost, points)
    }

    /// The place that, added to `others`, costs least and clearly less than `cost`.
    fn best_place(&self, others: &[usize], cost: f64) -> Option<(f64, usize)> {
        let without: Vec<Matrix4<f64>> = self.models.iter().map(|m| m.information(others)).collect::<Option<_>>()?;
        let mut best: Option<(f64, usize)> = None;
        let mut with = without.clone();
        let mut points = others.to_vec();
        points.push(0);
        for &place in &self.places {
            if let Some(last) = points.last_mut() {
                *last = place;
            }
            if !self.allows(&points) {
                continue;
            }
            for ((model, without), with) in self.models.iter().zip(&without).zip(&mut with) {
                let row = model.rows.get(place).copied().flatten()?;
                *with = without + row * row.transpose();
            }
            let trial = self.cost_of(&with);
            let enough = trial.is_finite() && (!cost.is_finite() || cost - trial > GAIN * trial.abs());
            if enough && best.is_none_or(|(least, _)| trial < least) {
                best = Some((trial, place));
            }
        }
        best
    }

    /// A random design that is allowed.
    fn random(&self, n: usize, rng: &mut ChaCha8Rng) -> Option<Vec<usize>> {
        const TRIES: usize = 200;
        let last = self.places.len().checked_sub(1)?;
        let held = usize::from(self.distinct > 0);
        (0..TRIES).find_map(|_| {
            let drawn = (held..n).filter_map(|_| self.places.get(rng.random_range(0..=last)).copied());
            let points: Vec<usize> = (0..held).chain(drawn).collect();
            self.allows(&points).then_some(points)
        })
    }
}

/// `n` of these places from the first to the last, evenly spaced; fewer when there are not so many.
pub(super) fn evenly(places: &[usize], n: usize) -> Vec<usize> {
    let (Some(last), true) = (places.len().checked_sub(1), n >= 2) else {
        return places.iter().take(n).copied().collect();
    };
    (0..n)
        .map(|i| (last as f64 * i as f64 / (n - 1) as f64).round() as usize)
        .filter_map(|at| places.get(at).copied())
        .collect()
}
