//! What defines a kind of calibration curve.

use std::fmt;

use crate::calibration::curve::{CalibrationCurve, CurvePoint, MOST_COEFFICIENTS};
use crate::calibration::fit_data::{FitPoint, FloatPrior};
use crate::error::Result;

/// One kind of curve.
pub(in crate::calibration) trait CurveDefinition: fmt::Debug + Sync {
    /// Its name in the tables.
    fn name(&self) -> &'static str;

    /// Its name for a reader.
    fn words(&self) -> &'static str;

    /// Its name beside a line of a picture: one or two short words.
    fn label(&self) -> &'static str;

    /// Its line in pictures.
    fn line(&self) -> CurveLine;

    /// Its coefficients, in their order; at most [`MOST_COEFFICIENTS`].
    fn coefficients(&self) -> &'static [CoefficientRule];

    /// True when it has a float's shape: such a kind is taken first where it agrees with the baths.
    fn is_float(&self) -> bool;

    /// What is known of its coefficients before the baths, in their order.
    ///
    /// # Errors
    /// [`crate::Error::NotEstimable`] when it needs something that is not known of the probe.
    fn priors(&self, known: &FloatPrior) -> Result<Vec<Option<CoefficientPrior>>>;

    /// Values at which the fit of its coefficients starts.
    ///
    /// # Errors
    /// [`crate::Error::NotEstimable`] when the baths are not those of such a curve.
    fn start(&self, points: &[FitPoint], known: &FloatPrior) -> Result<Vec<f64>>;

    /// The curve with these coefficients.
    ///
    /// # Errors
    /// [`crate::Error::NotEstimable`] when there is no such curve.
    fn curve(&self, coefficients: [f64; MOST_COEFFICIENTS], known: &FloatPrior) -> Result<CalibrationCurve>;

    /// The curve for the many trial coefficients of a fit to baths at these tilts, where [`Self::curve`] is too dear.
    fn trial<'a>(&self, _known: &'a FloatPrior, _tilts_deg: &'a [f64]) -> Option<Box<dyn TrialCurve + 'a>> {
        None
    }
}

/// A curve for trial coefficients.
pub(in crate::calibration) trait TrialCurve {
    /// The curve with these coefficients at a tilt; none where it has no value.
    fn at(&self, tilt_deg: f64, coefficients: [f64; MOST_COEFFICIENTS]) -> Option<CurvePoint>;
}

/// The line of a kind in pictures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct CurveLine {
    /// Number of its colour.
    pub colour: usize,
    /// True for a broken line.
    pub broken: bool,
}

/// What is asked of a coefficient in a fit.
#[derive(Debug)]
pub(in crate::calibration) struct CoefficientRule {
    /// Its name, with the unit.
    pub name: &'static str,
    /// True when its logarithm is fitted: a size.
    pub logarithm: bool,
    /// Bounds, if it has any.
    pub bounds: Option<(f64, f64)>,
}

impl CoefficientRule {
    pub(super) const fn free(name: &'static str) -> Self {
        Self { name, logarithm: false, bounds: None }
    }

    pub(super) const fn size(name: &'static str) -> Self {
        Self { name, logarithm: true, bounds: None }
    }

    pub(super) const fn within(name: &'static str, lower: f64, upper: f64) -> Self {
        Self { name, logarithm: false, bounds: Some((lower, upper)) }
    }

    /// The value that the fit sees.
    pub(super) fn fitted(&self, value: f64) -> f64 {
        if self.logarithm { value.ln() } else { value }
    }
}

/// What is known of a coefficient before the baths.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::calibration) struct CoefficientPrior {
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation; relative where the logarithm is fitted.
    pub sd: f64,
    /// True for a measurement of this probe, whose error its other curves share; false for what such probes can be.
    pub measured: bool,
}
