//! Intervals of the traits of a batch by profiling.

use crate::error::{Error, Result};
use crate::fit::Finding;

use super::batch_fit::FittedCurve;
use super::curve::{GravityCurve, PARAMETERS};
use super::curve_problem::Given;
use super::estimate::CurveFit;
use super::point::Point;
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
    ) {
        let problem = given.problem(points, &found.foam);
        let at = |vector: &[f64; PARAMETERS], which: Trait| {
            let curve = GravityCurve::from_vector(fitted.curve.kind, vector);
            which.value(&Timed::new(&curve, &fitted.clock), self.common.at_rest.within_sg)
        };
        if self.interval == IntervalMethod::Profile {
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
        }
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
