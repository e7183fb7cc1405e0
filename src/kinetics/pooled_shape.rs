//! What the batches of a season have in common, and one batch alone seldom shows: how the drop of a strain ends, and how
//! much gas delays what probes show.
//!
//! The steepness, the asymmetry, the tail's share and pace, the coefficients of the correction and the delay by gas of each
//! batch are pooled over the others, with their errors. What comes out is the prior under which the batch is fitted once more, by
//! strain as far as strains differ; see the text of the population's module. The gravities and the scale of time of a batch
//! stay its own.
//!
//! So does the bias by foam. What readings tell of it they tell against the shape that is expected of curves: a bend
//! before rest that is sharper than expected looks like foam that makes a probe read too little, and beers have that bend in
//! common. Over a season that error would add up to false certainty, and put nine tenths of the drop hours too late.

use nalgebra::{DMatrix, DVector};

use super::batch_fit::{BatchFit, FittedFermentation};
use super::curve::{FermentationCurve, N_BASIS, PARAMETERS};
use super::curve_problem::Priors;
use super::population::{CORRECTION_WORTH, Information, Population, PopulationPrior, WORTH, among_first};
use super::probe_bias::{DELAY, FOAM, ProbeBias};
use super::weak_priors::{CORRECTION_SD, weak_priors};

/// Batches of a strain that a prior is made from, at most: more would hardly narrow it.
const NEAREST: usize = 24;
/// How many numbers are pooled.
const POOLED: usize = FOAM - FIRST;
/// The first of them among the parameters of a fit; they run to the bias by foam.
const FIRST: usize = 3;

assumed! {
    /// Fewer other batches than this tell nothing.
    const LEAST: usize = 3, "batches";
}

/// What each batch tells of the pooled numbers.
pub(super) struct PooledShapes {
    batches: Vec<Option<Information>>,
}

impl PooledShapes {
    pub fn new(batches: &[BatchFit], bias: &ProbeBias) -> Self {
        let of = |fit: &BatchFit| {
            let fitted = fit.fitted.as_ref().filter(|fitted| fitted.curve.kind == FermentationCurve::Smooth)?;
            let (mean, covariance) = standardised(fitted, bias);
            // Under the fit's own prior a coefficient of the correction had the standard deviation it found.
            let sd = |i: usize| if is_correction(i) { fitted.errors.correction_sd / *CORRECTION_SD } else { 1.0 };
            Information::new(&fit.strain, &mean, covariance, &std::array::from_fn::<f64, POOLED, _>(sd))
        };
        Self { batches: batches.iter().map(of).collect() }
    }

    /// The prior of a batch from the others, the nearest [`NEAREST`] of each strain, so that the work for a batch does not grow with
    /// the season.
    pub fn prior(&self, index: usize, strain: &str) -> Option<PopulationPrior> {
        let others = self.batches.iter().enumerate().filter(|(i, _)| *i != index);
        let mut others: Vec<(usize, &Information)> = others.filter_map(|(i, b)| Some((i, b.as_ref()?))).collect();
        others.sort_by_key(|(i, _)| i.abs_diff(index));
        let mut is_near = among_first(NEAREST);
        others.retain(|(_, of)| is_near(&of.strain));
        others.sort_by_key(|(i, _)| *i);
        let others: Vec<&Information> = others.into_iter().map(|(_, of)| of).collect();
        (others.len() >= *LEAST).then(|| Population::new(&others, &worth()).prior(strain))
    }
}

fn is_correction(i: usize) -> bool {
    (FIRST + i).checked_sub(PARAMETERS - N_BASIS).is_some_and(|k| k < N_BASIS)
}

/// Batches that the assumed variances are worth.
fn worth() -> [f64; POOLED] {
    std::array::from_fn(|i| if is_correction(i) { *CORRECTION_WORTH } else { *WORTH })
}

/// Mean and standard deviation of the pooled numbers where nothing is known.
fn base(bias: &ProbeBias) -> [(f64, f64); POOLED] {
    let weak = weak_priors(1.05);
    std::array::from_fn(|i| match weak.get(FIRST + i) {
        Some(_) if is_correction(i) => (0.0, *CORRECTION_SD),
        Some(prior) => prior.unwrap_or((0.0, 1.0)),
        None => bias.at(FIRST + i).map_or((0.0, 1.0), |(mean, sd)| (mean, sd.max(1e-9))),
    })
}

/// The pooled numbers of a fit with their covariance, less their assumed mean and over their assumed standard deviation.
fn standardised(fitted: &FittedFermentation, bias: &ProbeBias) -> (DVector<f64>, DMatrix<f64>) {
    let base = base(bias);
    let curve = fitted.curve.to_vector();
    let mean = DVector::from_fn(POOLED, |i, _| {
        let place = FIRST + i;
        let value = if place < PARAMETERS { curve[place] } else { fitted.bias[place - PARAMETERS] };
        (value - base[i].0) / base[i].1
    });
    let covariance = DMatrix::from_fn(POOLED, POOLED, |i, j| {
        let value = fitted.covariance[FIRST + i][FIRST + j];
        // A number that did not move (held, or on a bound) tells nothing: its variance is the prior's.
        if i == j && value <= 0.0 { 1.0 } else { value / (base[i].1 * base[j].1) }
    });
    (mean, covariance)
}

/// The prior as priors of single parameters, and of the bias of probes; that of foam is the one given.
/// What is held stays held.
pub(super) fn shared_priors(prior: &PopulationPrior, bias: &ProbeBias) -> (Priors, ProbeBias) {
    let mut priors: Priors = [None; PARAMETERS];
    let mut found = *bias;
    for (i, (mean, sd)) in base(bias).into_iter().enumerate() {
        let pooled = (mean + sd * prior.mean[i], sd * prior.covariance[(i, i)].sqrt());
        match FIRST + i {
            DELAY if bias.delay_h.1 > 0.0 => found.delay_h = pooled,
            place => {
                if let Some(cell) = priors.get_mut(place) {
                    *cell = Some(pooled);
                }
            }
        }
    }
    (priors, found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_gas_does_is_learnt_from_other_batches_and_what_foam_does_is_not() {
        let given = ProbeBias { delay_h: (1.5, 1.5), foam_sg: (5e-4, 1e-3) };
        // Others whose every number lies two standard deviations low, and which say so with certainty.
        let others = PopulationPrior {
            mean: DVector::from_element(POOLED, -2.0),
            covariance: DMatrix::identity(POOLED, POOLED) * 0.01,
        };
        let (priors, found) = shared_priors(&others, &given);
        assert_eq!(found.foam_sg, given.foam_sg);
        assert!((found.delay_h.0 + 1.5).abs() < 1e-12 && (found.delay_h.1 - 0.15).abs() < 1e-12, "{found:?}");
        assert!(priors.iter().enumerate().all(|(place, prior)| prior.is_some() == (place >= FIRST)), "{priors:?}");
        // What is held stays held.
        let none = ProbeBias { delay_h: (0.0, 0.0), foam_sg: (0.0, 0.0) };
        assert_eq!(shared_priors(&others, &none).1, none);
    }
}
