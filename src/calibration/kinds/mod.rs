//! The kinds of calibration curves, one in each file: names, words, colour, coefficients, priors, starting values, and the
//! curve with given coefficients. Fits, tables, plans and pictures loop over them.

mod definition;
mod hull;
mod polynomial;
mod wall_sided;

use std::fmt;

use crate::error::{Error, Result};
use crate::fit::nonlinear::Parameter;

use super::curve::{CalibrationCurve, CurvePoint, MOST_COEFFICIENTS};
use super::fit_data::{FitPoint, FloatPrior};

pub(super) use definition::{CoefficientPrior, TrialCurve};
use definition::{CoefficientRule, CurveDefinition, CurveLine};

/// A kind of calibration curve.
#[derive(Debug, Clone, Copy)]
pub struct CurveKind(&'static dyn CurveDefinition);

impl PartialEq for CurveKind {
    fn eq(&self, other: &Self) -> bool {
        self.name() == other.name()
    }
}

impl CurveKind {
    /// Every candidate, in the order of the tables. On a near tie the earlier one is taken: what has a float's shape
    /// stands first.
    pub const ALL: [Self; 4] = [
        Self(&hull::HullKind),
        Self(&wall_sided::WallSidedKind { free: false }),
        Self(&wall_sided::WallSidedKind { free: true }),
        Self(&polynomial::CUBIC),
    ];

    #[cfg(test)]
    pub(super) const LINE: Self = Self(&polynomial::LINE);

    /// Its name in the tables.
    pub fn name(self) -> &'static str {
        self.0.name()
    }

    /// Its name for a reader.
    pub fn words(self) -> &'static str {
        self.0.words()
    }

    /// Names of its coefficients, in their order.
    pub fn coefficient_names(self) -> impl ExactSizeIterator<Item = &'static str> {
        self.0.coefficients().iter().map(|rule| rule.name)
    }

    pub(crate) fn label(self) -> &'static str {
        self.0.label()
    }

    pub(crate) fn line(self) -> CurveLine {
        self.0.line()
    }

    pub(super) fn is_float(self) -> bool {
        self.0.is_float()
    }

    pub(super) fn priors(self, known: &FloatPrior) -> Result<Vec<Option<CoefficientPrior>>> {
        self.0.priors(known)
    }

    pub(super) fn curve(self, coefficients: [f64; MOST_COEFFICIENTS], known: &FloatPrior) -> Result<CalibrationCurve> {
        self.0.curve(coefficients, known)
    }

    pub(super) fn trial<'a>(self, known: &'a FloatPrior, tilts_deg: &'a [f64]) -> Box<dyn TrialCurve + 'a> {
        self.0.trial(known, tilts_deg).unwrap_or_else(|| Box::new(Direct { definition: self.0, known }))
    }

    /// The parameters of a fit to the baths.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] for too few baths, something that is not known of the probe, or baths of another shape.
    pub(super) fn parameters(
        self,
        points: &[FitPoint],
        known: &FloatPrior,
        priors: &[Option<CoefficientPrior>],
    ) -> Result<Vec<Parameter>> {
        // What a prior tells need not come from the baths.
        let free = self.0.coefficients().len() - priors.iter().flatten().count();
        if points.len() < free {
            let why = format!("{} baths for {free} free coefficients", points.len());
            return Err(Error::not_estimable(format!("the curve {self}"), why));
        }
        let parameter = |((rule, start), prior): ((&CoefficientRule, f64), &Option<CoefficientPrior>)| {
            let mut parameter = Parameter::new(rule.name, rule.fitted(start));
            if let Some((lower, upper)) = rule.bounds {
                parameter = parameter.within(lower, upper);
            }
            match prior {
                Some(prior) => parameter.with_prior(rule.fitted(prior.mean), prior.sd),
                None => parameter,
            }
        };
        let start = self.0.start(points, known)?;
        Ok(self.0.coefficients().iter().zip(start).zip(priors).map(parameter).collect())
    }

    /// Lets the fit start at these coefficients.
    pub(super) fn start_at(self, parameters: &mut [Parameter], coefficients: [f64; MOST_COEFFICIENTS]) {
        for ((parameter, rule), value) in parameters.iter_mut().zip(self.0.coefficients()).zip(coefficients) {
            parameter.start = rule.fitted(value);
        }
    }

    /// Coefficients from the parameters of a fit, and their derivatives by them.
    pub(super) fn coefficients(self, parameters: &[f64]) -> ([f64; MOST_COEFFICIENTS], [f64; MOST_COEFFICIENTS]) {
        let (mut values, mut slopes) = ([0.0; MOST_COEFFICIENTS], [0.0; MOST_COEFFICIENTS]);
        let cells = values.iter_mut().zip(&mut slopes);
        for ((value, slope), (rule, parameter)) in cells.zip(self.0.coefficients().iter().zip(parameters)) {
            (*value, *slope) = if rule.logarithm { (parameter.exp(), parameter.exp()) } else { (*parameter, 1.0) };
        }
        (values, slopes)
    }

    /// What priors tell of the coefficients, as precisions.
    pub(super) fn precisions(
        self,
        priors: &[Option<CoefficientPrior>],
        coefficients: [f64; MOST_COEFFICIENTS],
    ) -> [f64; MOST_COEFFICIENTS] {
        let mut precisions = [0.0; MOST_COEFFICIENTS];
        let known = self.0.coefficients().iter().zip(priors).zip(coefficients);
        for (cell, ((rule, prior), value)) in precisions.iter_mut().zip(known) {
            if let Some(prior) = prior {
                *cell = (if rule.logarithm { value * prior.sd } else { prior.sd }).powi(-2);
            }
        }
        precisions
    }
}

impl fmt::Display for CurveKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// Trial coefficients of a curve that is cheap to make.
struct Direct<'a> {
    definition: &'static dyn CurveDefinition,
    known: &'a FloatPrior,
}

impl TrialCurve for Direct<'_> {
    fn at(&self, tilt_deg: f64, coefficients: [f64; MOST_COEFFICIENTS]) -> Option<CurvePoint> {
        self.definition.curve(coefficients, self.known).ok()?.at(tilt_deg)
    }
}
