//! Intervals of the traits of a batch by profiling and by the bootstrap.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::error::{Error, Result};
use crate::fit::Finding;

use super::batch_fit::FittedCurve;
use super::curve::{GravityCurve, PARAMETERS};
use super::curve_problem::{CurveProblem, Given};
use super::estimate::CurveFit;
use super::point::{Point, Source};
use super::probe_bias::{DELAY, FITTED, FOAM};
use super::settings::{IntervalMethod, KineticsSettings};
use super::timed::Timed;
use super::traits::Trait;

impl KineticsSettings {
    /// Replaces the delta method's intervals in `all` by those that were asked for.
    pub(super) fn intervals(
        &self,
        all: &mut [Finding],
        fitted: &FittedCurve,
        found: &CurveFit,
        given: &Given<'_>,
        points: &[Point],
    ) -> Result<()> {
        let problem = given.problem(points, &found.foam);
        let at = |vector: &[f64; PARAMETERS], which: Trait| {
            let curve = GravityCurve::from_vector(fitted.curve.kind, vector);
            which.value(&Timed::new(&curve, &fitted.clock), self.common.at_rest.within_sg)
        };
        match self.interval {
            IntervalMethod::Delta => Ok(()),
            IntervalMethod::Profile => {
                let errors = (found.relative_rate.as_slice(), &found.errors);
                for (which, finding) in Trait::ALL.into_iter().zip(all) {
                    if let Finding::Estimated(estimate) = finding {
                        let functional = |p: &[f64]| gradient(p, fitted, &|vector| at(vector, which));
                        match problem.profile(&found.fit, &found.curve, errors, &functional, self.common.level) {
                            Ok((lower, upper)) => {
                                (estimate.lower, estimate.upper) = (lower, upper);
                                estimate.method = "profile likelihood, normal".into();
                            }
                            Err(error) => *finding = Finding::missing(error.to_string()),
                        }
                    }
                }
                Ok(())
            }
            IntervalMethod::Bootstrap => self.bootstrap(all, fitted, found, &problem, &at),
        }
    }

    /// Draws data from the curve, the offsets, the bias of the probes and the error model, fits each, and takes the quantiles of
    /// the errors off the estimate (the basic bootstrap: A. C. Davison and D. V. Hinkley 1997, section 5.2).
    fn bootstrap(
        &self,
        all: &mut [Finding],
        fitted: &FittedCurve,
        found: &CurveFit,
        problem: &CurveProblem<'_>,
        at: &dyn Fn(&[f64; PARAMETERS], Trait) -> Result<f64>,
    ) -> Result<()> {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let truth = fitted.curve.to_vector();
        let right = Trait::ALL.map(|which| at(&truth, which).unwrap_or(f64::NAN));
        let mut errors: Vec<Vec<f64>> = vec![Vec::with_capacity(self.repeats); Trait::ALL.len()];
        for _ in 0..self.repeats {
            let mut drawn = found.fit.values();
            for (place, (mean, sd)) in [(DELAY, problem.bias.delay_h), (FOAM, problem.bias.foam_sg)] {
                if let Some(cell) = drawn.get_mut(place) {
                    *cell = mean + sd * normal();
                }
            }
            for (z, nuisance) in drawn.iter_mut().skip(FITTED).zip(problem.likelihood.nuisances) {
                *z = nuisance.mean + normal();
            }
            let left = problem.residuals(&drawn)?;
            let (mut state, mut before) = (0.0, f64::NEG_INFINITY);
            let mut points = problem.likelihood.points.to_vec();
            for ((point, left), rate) in points.iter_mut().zip(&left).zip(&found.relative_rate) {
                let kept = (-(point.hours - before) / found.errors.tau_h).exp();
                state = kept * state + (1.0 - kept * kept).max(0.0).sqrt() * normal();
                before = point.hours;
                let white = match point.source {
                    Source::Probe(_) => found.errors.factor.sqrt() * point.own_sd,
                    Source::Sample(_) => (1.0 - problem.likelihood.share).sqrt() * point.own_sd,
                };
                // What departs is the reading less all that was drawn.
                point.sg = point.sg - left + found.errors.departure_sd(*rate) * state + white * normal();
            }
            let again = problem.with_points(&points);
            let Ok(fit) = again.fit(&fitted.curve, &found.relative_rate, &found.errors) else { continue };
            let Some(vector) = fit.values().first_chunk::<PARAMETERS>().copied() else { continue };
            for ((errors, which), right) in errors.iter_mut().zip(Trait::ALL).zip(right) {
                if let Ok(value) = at(&vector, which) {
                    errors.push(value - right);
                }
            }
        }
        let tail = 0.5 * (1.0 - self.common.level);
        for (mut errors, finding) in errors.into_iter().zip(all) {
            let Finding::Estimated(estimate) = finding else { continue };
            errors.retain(|error| error.is_finite());
            errors.sort_by(f64::total_cmp);
            if errors.len() < self.repeats / 2 {
                *finding = Finding::missing(format!("{} of {} bootstrap fits gave it", errors.len(), self.repeats));
                continue;
            }
            let n = errors.len() as f64;
            let quantile = |share: f64| errors.get((share * (n - 1.0)).round() as usize).copied().unwrap_or(0.0);
            let mean = errors.iter().sum::<f64>() / n;
            estimate.se = (errors.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
            (estimate.lower, estimate.upper) = (estimate.value - quantile(1.0 - tail), estimate.value - quantile(tail));
            estimate.method = "parametric bootstrap, basic".into();
        }
        Ok(())
    }
}

/// A function of the curve with its derivatives by all parameters of the fit, by central differences.
fn gradient(
    parameters: &[f64],
    fitted: &FittedCurve,
    function: &dyn Fn(&[f64; PARAMETERS]) -> Result<f64>,
) -> Result<(f64, Vec<f64>)> {
    let Some(vector) = parameters.first_chunk::<PARAMETERS>() else {
        return Err(Error::numeric("a profile interval", "too few parameters"));
    };
    let mut slopes = vec![0.0; parameters.len()];
    for (i, slope) in slopes.iter_mut().take(PARAMETERS).enumerate() {
        let step = 0.01 * fitted.covariance[i][i].max(0.0).sqrt();
        if step > 0.0 {
            let (mut up, mut down) = (*vector, *vector);
            up[i] += step;
            down[i] -= step;
            *slope = (function(&up)? - function(&down)?) / (2.0 * step);
        }
    }
    Ok((function(vector)?, slopes))
}
