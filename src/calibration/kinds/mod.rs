//! The kinds of calibration curves: names, words, colour, coefficients, priors, starting values, and the curve with given
//! coefficients. Fits, tables, plans and pictures loop over them.

mod definition;
mod hull;
mod polynomial;
mod wall_sided;

use std::fmt;

use crate::error::{Error, Result};
use crate::fit::nonlinear::Parameter;

use super::curve::{CalibrationCurve, CurvePoint, MOST_COEFFICIENTS};
use super::fit_data::{FitPoint, FloatPrior};

pub(super) use definition::CoefficientPrior;
use definition::{CoefficientRule, KindFacts};
use hull::HullTrial;

/// A kind of calibration curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CurveKind {
    /// The probe's own hull, its mass and size known.
    Hull,
    /// A floating cylinder of known size.
    WallSided,
    /// A floating cylinder of unknown size.
    WallSidedFreeK,
    /// A polynomial of the third degree.
    Cubic,
    /// Published examples of errors in both variables are straight lines.
    #[cfg(test)]
    Line,
}

impl CurveKind {
    /// Every candidate, in the order of the tables. On a near tie the earlier one is taken: what has a float's shape
    /// stands first.
    pub const ALL: [Self; 4] = [Self::Hull, Self::WallSided, Self::WallSidedFreeK, Self::Cubic];

    fn facts(self) -> &'static KindFacts {
        match self {
            Self::Hull => &hull::FACTS,
            Self::WallSided => &wall_sided::FACTS,
            Self::WallSidedFreeK => &wall_sided::FREE_FACTS,
            Self::Cubic => &polynomial::CUBIC,
            #[cfg(test)]
            Self::Line => &polynomial::LINE,
        }
    }

    /// Its name in the tables.
    pub fn name(self) -> &'static str {
        self.facts().name
    }

    /// Its name for a reader.
    pub fn words(self) -> &'static str {
        self.facts().words
    }

    /// Names of its coefficients, in their order.
    pub fn coefficient_names(self) -> impl ExactSizeIterator<Item = &'static str> {
        self.rules().iter().map(|rule| rule.name)
    }

    /// Its name beside a line of a picture.
    pub(crate) fn label(self) -> &'static str {
        self.facts().label
    }

    /// Number of its colour.
    pub(crate) fn colour(self) -> usize {
        self.facts().colour
    }

    /// Whether it has a float's shape: such a kind is taken first where it agrees with the baths.
    pub(super) fn is_float(self) -> bool {
        self.facts().is_float
    }

    fn rules(self) -> &'static [CoefficientRule] {
        self.facts().coefficients
    }

    /// What is known of its coefficients before the baths, in their order.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] when it needs something that is not known of the probe.
    pub(super) fn priors(self, known: &FloatPrior) -> Result<Vec<Option<CoefficientPrior>>> {
        (self.facts().priors)(known)
    }

    /// The curve with these coefficients.
    ///
    /// # Errors
    /// [`Error::NotEstimable`] when there is no such curve.
    pub(super) fn curve(self, coefficients: [f64; MOST_COEFFICIENTS], known: &FloatPrior) -> Result<CalibrationCurve> {
        (self.facts().curve)(coefficients, known)
    }

    /// The curve for the many trial coefficients of a fit to baths at these tilts: none where it has no value.
    pub(super) fn trial<'a>(self, known: &'a FloatPrior, tilts_deg: &'a [f64]) -> TrialCurve<'a> {
        let hull = known.hull.as_ref().filter(|_| self == Self::Hull);
        match hull.map(|hull| HullTrial::new(hull, tilts_deg)) {
            Some(trial) => Box::new(move |tilt, coefficients| trial.at(tilt, coefficients)),
            None => Box::new(move |tilt, coefficients| self.curve(coefficients, known).ok()?.at(tilt)),
        }
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
        let free = self.rules().len() - priors.iter().flatten().count();
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
        let start = (self.facts().start)(points, known)?;
        Ok(self.rules().iter().zip(start).zip(priors).map(parameter).collect())
    }

    /// Lets the fit start at these coefficients.
    pub(super) fn start_at(self, parameters: &mut [Parameter], coefficients: [f64; MOST_COEFFICIENTS]) {
        for ((parameter, rule), value) in parameters.iter_mut().zip(self.rules()).zip(coefficients) {
            parameter.start = rule.fitted(value);
        }
    }

    /// Coefficients from the parameters of a fit, and their derivatives by them.
    pub(super) fn coefficients(self, parameters: &[f64]) -> ([f64; MOST_COEFFICIENTS], [f64; MOST_COEFFICIENTS]) {
        let (mut values, mut slopes) = ([0.0; MOST_COEFFICIENTS], [0.0; MOST_COEFFICIENTS]);
        let cells = values.iter_mut().zip(&mut slopes);
        for ((value, slope), (rule, parameter)) in cells.zip(self.rules().iter().zip(parameters)) {
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
        let known = self.rules().iter().zip(priors).zip(coefficients);
        for (cell, ((rule, prior), value)) in precisions.iter_mut().zip(known) {
            if let Some(prior) = prior {
                *cell = (if rule.logarithm { value * prior.sd } else { prior.sd }).powi(-2);
            }
        }
        precisions
    }
}

/// A curve by tilt and trial coefficients.
pub(super) type TrialCurve<'a> = Box<dyn Fn(f64, [f64; MOST_COEFFICIENTS]) -> Option<CurvePoint> + 'a>;

impl fmt::Display for CurveKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
