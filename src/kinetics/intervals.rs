//! Intervals of the traits of a batch by profiling and by the bootstrap.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::error::{Error, Result};
use crate::fit::Finding;

use super::batch_fit::{FittedCurve, Point, Source};
use super::curve::{Curve, PARAMETERS};
use super::estimate::{Estimated, Given, values};
use super::gls::Problem;
use super::misread::{DELAY, FITTED, FOAM};
use super::settings::{IntervalMethod, KineticsSettings};
use super::timed::Timed;
use super::traits::{self, Trait};

impl KineticsSettings {
    /// Replaces the delta method's intervals in `all` by those that were asked for.
    pub(super) fn intervals(
        &self,
        all: &mut [Finding],
        fitted: &FittedCurve,
        found: &Estimated,
        given: &Given<'_>,
        points: &[Point],
    ) -> Result<()> {
        let problem = given.problem(points, &found.foam);
        let at = |vector: &[f64; PARAMETERS], which: Trait| {
            let curve = Curve::of_form(fitted.curve.form, vector);
            traits::value(&Timed::new(&curve, &fitted.clock), which, self.common.at_rest.within_sg)
        };
        match self.interval {
            IntervalMethod::Delta => Ok(()),
            IntervalMethod::Profile => {
                for (which, finding) in Trait::ALL.into_iter().zip(all) {
                    if let Finding::Estimated(estimate) = finding {
                        let functional = |p: &[f64]| gradient(p, fitted, &|vector| at(vector, which));
                        match problem.profile(found, &functional, self.common.level) {
                            Ok((lower, upper)) => {
                                (estimate.lower, estimate.upper) = (lower, upper);
                                estimate.method = "profile likelihood, normal".into();
                            }
                            Err(error) if error.is_not_estimable() => *finding = Finding::missing(error.to_string()),
                            Err(error) => return Err(error),
                        }
                    }
                }
                Ok(())
            }
            IntervalMethod::Bootstrap => self.bootstrap(all, fitted, found, &problem, &at),
        }
    }

    /// Draws data from the curve, the offsets, the misreadings and the error model, fits each, and takes the quantiles of
    /// the errors off the estimate (the basic bootstrap: A. C. Davison and D. V. Hinkley 1997, section 5.2).
    fn bootstrap(
        &self,
        all: &mut [Finding],
        fitted: &FittedCurve,
        found: &Estimated,
        problem: &Problem<'_>,
        at: &dyn Fn(&[f64; PARAMETERS], Trait) -> Result<f64>,
    ) -> Result<()> {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let truth = fitted.curve.to_vector();
        let right = Trait::ALL.map(|which| at(&truth, which).unwrap_or(f64::NAN));
        let mut errors: Vec<Vec<f64>> = vec![Vec::with_capacity(self.repeats); Trait::ALL.len()];
        for _ in 0..self.repeats {
            let mut drawn = values(&found.fit);
            for (place, (mean, sd)) in [(DELAY, problem.misreads.delay_h), (FOAM, problem.misreads.foam_sg)] {
                if let Some(cell) = drawn.get_mut(place) {
                    *cell = mean + sd * normal();
                }
            }
            for (z, nuisance) in drawn.iter_mut().skip(FITTED).zip(problem.nuisances) {
                *z = nuisance.mean + normal();
            }
            let mut left = vec![0.0; problem.points.len()];
            problem.departures(&drawn, &mut left)?;
            let (mut state, mut before) = (0.0, f64::NEG_INFINITY);
            let mut points = problem.points.to_vec();
            for ((point, left), vigour) in points.iter_mut().zip(&left).zip(&found.vigour) {
                let kept = (-(point.hours - before) / found.errors.tau_h).exp();
                state = kept * state + (1.0 - kept * kept).max(0.0).sqrt() * normal();
                before = point.hours;
                let white = match point.source {
                    Source::Probe(_) => found.errors.factor.sqrt() * point.own_sd,
                    Source::Sample(_) => (1.0 - problem.share).sqrt() * point.own_sd,
                };
                // What departs is the reading less all that was drawn.
                point.sg = point.sg - left + found.errors.departure_sd(*vigour) * state + white * normal();
            }
            let again = Problem { points: &points, ..problem.clone() };
            let whitener = again.whitener(&found.vigour, &found.errors)?;
            let Ok(fit) = again.fit(found.kind, &fitted.curve, &whitener, found.errors.bend_sd) else { continue };
            let Some(vector) = values(&fit).first_chunk::<PARAMETERS>().copied() else { continue };
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
