//! Profile-likelihood intervals of nonlinear fits.
//!
//! For a function g of the parameters (a parameter itself, or a trait), the interval holds the values v with
//!
//! ```text
//! min { S(p) : g(p) = v } - S(p^) <= q^2 sigma^2
//! ```
//!
//! where S is the sum of squares with the priors, q the two-sided quantile of Student's t (scale estimated) or of the normal
//! distribution (scale known): D. M. Bates and D. G. Watts, *Nonlinear Regression Analysis and Its Applications*, 1988,
//! chapter 6. Unlike Wald's interval it follows the curvature of the model, and it may be open: then no value on that side
//! is contradicted by the data.
//!
//! The constrained minimum is found by one more residual, `w (g(p) - target)`: whatever the weight w, the minimum with it is
//! the minimum on the curve of all p with its own g, so the weight affects the speed and not the answer.

use ndarray::{ArrayViewMut2, Axis, Slice};

use super::{NonlinearFit, NonlinearSettings, Parameter, Residuals};
use crate::fit::matrix::quadratic_form;
use crate::fit::{Scale, quantile};
use crate::{Error, Result};

/// How far the search for a limit goes, in standard errors.
const FARTHEST: f64 = 1024.0;
/// Weight of the residual that pulls towards the target, over the standard error.
const PULL: f64 = 10.0;

/// A value of a function of the parameters with its gradient in all of them.
pub type Functional<'a> = dyn Fn(&[f64]) -> Result<(f64, Vec<f64>)> + 'a;

impl NonlinearFit {
    /// What the column `method` says of a profile interval of this fit.
    pub fn profile_method(&self) -> &'static str {
        match self.scale {
            Scale::Estimated => "profile likelihood, t",
            Scale::Known => "profile likelihood, normal",
        }
    }

    /// The profile interval of a function of the parameters; an end that the data leave open is infinite. `problem`, `parameters`
    /// and `settings` are those of the fit.
    ///
    /// # Errors
    /// [`Error::Setting`] for a bad level; [`Error::NotEstimable`] for a fit that has not converged or a function without a
    /// standard error; what the function or the residuals give.
    pub fn profile(
        &self,
        settings: &NonlinearSettings,
        problem: &impl Residuals,
        parameters: &[Parameter],
        functional: &Functional<'_>,
        level: f64,
    ) -> Result<(f64, f64)> {
        if !self.stop.is_converged() {
            return Err(Error::not_estimable("a profile interval", self.stop.to_string()));
        }
        let q = match self.scale {
            Scale::Estimated => quantile::student_t_two_sided(level, self.df)?,
            Scale::Known => quantile::normal_two_sided(level)?,
        };
        let sigma = if self.scale == Scale::Estimated { self.sigma } else { 1.0 };
        let (centre, slopes) = functional(&self.values())?;
        let se = quadratic_form(&self.covariance, &slopes).sqrt();
        if !(se > 0.0 && se.is_finite() && sigma > 0.0 && centre.is_finite()) {
            return Err(Error::not_estimable("a profile interval", "the data do not determine it"));
        }
        let search = Search {
            settings: NonlinearSettings { scale: Scale::Known, ..*settings },
            problem,
            parameters,
            functional,
            sigma,
            se,
            centre,
            least: objective(&self.residuals, parameters, &self.values(), sigma),
        };
        Ok((search.limit(&self.values(), -1.0, q)?, search.limit(&self.values(), 1.0, q)?))
    }
}

/// The sum of squares over the scale, with the priors.
fn objective(residuals: &[f64], parameters: &[Parameter], values: &[f64], sigma: f64) -> f64 {
    let data: f64 = residuals.iter().map(|r| (r / sigma).powi(2)).sum();
    let known = parameters.iter().zip(values).filter(|(parameter, _)| !parameter.held);
    data + known.filter_map(|(p, v)| p.prior.map(|(mean, sd)| ((v - mean) / sd).powi(2))).sum::<f64>()
}

/// A search for the ends of one interval.
struct Search<'a, P> {
    settings: NonlinearSettings,
    problem: &'a P,
    parameters: &'a [Parameter],
    functional: &'a Functional<'a>,
    sigma: f64,
    se: f64,
    centre: f64,
    least: f64,
}

/// A constrained minimum: how far it was pulled, the function there, the root of the rise of S, the parameters.
struct ProfilePoint {
    step: f64,
    value: f64,
    rise: f64,
    parameters: Vec<f64>,
}

impl<P: Residuals> Search<'_, P> {
    /// The constrained minimum that a target `step` standard errors off pulls to, from these parameters on.
    fn at(&self, step: f64, from: &[f64]) -> Result<ProfilePoint> {
        let pulled = Pulled { search: self, target: self.centre + step * self.se };
        let mut parameters = self.parameters.to_vec();
        for (parameter, value) in parameters.iter_mut().zip(from).filter(|(parameter, _)| !parameter.held) {
            parameter.start = value.clamp(parameter.lower, parameter.upper);
        }
        let fit = self.settings.fit(&pulled, &parameters)?;
        let parameters = fit.values();
        let (value, _) = (self.functional)(&parameters)?;
        let data = fit.residuals.get(..self.problem.count()).unwrap_or_default();
        // The residuals are over sigma already.
        let rise = objective(data, self.parameters, &parameters, 1.0) - self.least;
        Ok(ProfilePoint { step, value, rise: rise.max(0.0).sqrt(), parameters })
    }

    fn limit(&self, fitted: &[f64], side: f64, q: f64) -> Result<f64> {
        let mut inside = ProfilePoint { step: 0.0, value: self.centre, rise: 0.0, parameters: fitted.to_vec() };
        let mut step = q;
        let mut outside = loop {
            // Where nothing can be computed the data contradict nothing either.
            let Ok(place) = self.at(side * step, &inside.parameters) else { return Ok(side * f64::INFINITY) };
            if place.rise >= q {
                break place;
            }
            if step > FARTHEST {
                return Ok(side * f64::INFINITY);
            }
            if step > 8.0 * q && (place.value - inside.value).abs() < 1e-6 * self.se {
                // It rests on a bound.
                return Ok(place.value);
            }
            inside = place;
            step *= 2.0;
        };
        // False position, the weight of an end that stays halved (Illinois), each from the last minimum inside.
        let (mut near, mut far) = (1.0, 1.0);
        for _ in 0..100 {
            if (q - inside.rise).min(outside.rise - q) < 1e-9 * q || (outside.step - inside.step).abs() < 1e-10 * step {
                break;
            }
            let (low, high) = (near * (q - inside.rise), far * (outside.rise - q));
            let between = inside.step + (outside.step - inside.step) * low / (low + high);
            let place = self.at(between, &inside.parameters)?;
            if place.rise < q {
                (near, far) = (1.0, 0.5 * far);
                inside = place;
            } else {
                (near, far) = (0.5 * near, 1.0);
                outside = place;
            }
        }
        Ok(if q - inside.rise < outside.rise - q { inside.value } else { outside.value })
    }
}

/// The problem over its scale with one more residual.
struct Pulled<'a, P> {
    search: &'a Search<'a, P>,
    target: f64,
}

impl<P: Residuals> Residuals for Pulled<'_, P> {
    fn count(&self) -> usize {
        self.search.problem.count() + 1
    }

    fn residuals(&self, parameters: &[f64], out: &mut [f64]) -> Result<()> {
        let Some((last, data)) = out.split_last_mut() else { return Ok(()) };
        self.search.problem.residuals(parameters, data)?;
        data.iter_mut().for_each(|r| *r /= self.search.sigma);
        *last = PULL * ((self.search.functional)(parameters)?.0 - self.target) / self.search.se;
        Ok(())
    }

    fn jacobian(&self, parameters: &[f64], mut out: ArrayViewMut2<'_, f64>) -> Result<()> {
        let n = self.search.problem.count();
        let mut data = out.slice_axis_mut(Axis(0), Slice::from(..n));
        self.search.problem.jacobian(parameters, data.view_mut())?;
        data.mapv_inplace(|slope| slope / self.search.sigma);
        let (_, slopes) = (self.search.functional)(parameters)?;
        for (cell, slope) in out.index_axis_mut(Axis(0), n).iter_mut().zip(slopes) {
            *cell = PULL * slope / self.search.se;
        }
        Ok(())
    }
}
