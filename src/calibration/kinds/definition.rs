//! What defines a kind of calibration curve.

use crate::calibration::curve::{CalibrationCurve, MOST_COEFFICIENTS};
use crate::calibration::fit_data::{FitPoint, FloatPrior};
use crate::error::{Error, Result};
use crate::fit::linear::LinearSettings;

/// All that defines a kind: how it is called, its coefficients, and the curve with given ones.
pub(super) struct KindFacts {
    /// Its name in the tables.
    pub name: &'static str,
    /// Its name for a reader.
    pub words: &'static str,
    /// Its name beside a line of a picture: one or two short words.
    pub label: &'static str,
    /// Number of its colour in the list in `chart/candidates.rs`, which begins anew after its end.
    pub colour: usize,
    /// Its coefficients, in their order.
    pub coefficients: &'static [CoefficientRule],
    /// Whether it has a float's shape: such a kind is taken first where it agrees with the baths.
    pub is_float: bool,
    /// What is known of its coefficients before the baths, in their order.
    pub priors: fn(&FloatPrior) -> Result<Vec<Option<CoefficientPrior>>>,
    /// Values at which the fit of its coefficients starts.
    pub start: fn(&[FitPoint], &FloatPrior) -> Result<Vec<f64>>,
    /// The curve with given coefficients.
    pub curve: fn([f64; MOST_COEFFICIENTS], &FloatPrior) -> Result<CalibrationCurve>,
}

/// What is asked of a coefficient in a fit.
pub(super) struct CoefficientRule {
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
    pub mean: f64,
    /// Its standard deviation; relative where the logarithm is fitted.
    pub sd: f64,
    /// True for a measurement of this probe, whose error its other curves share; false for what such probes can be.
    pub measured: bool,
}

/// Offset and height of the centre of gravity by the straight line `y = offset + height t` through rests `(t, y)`.
///
/// # Errors
/// [`Error::NotEstimable`] when the centre would lie on the light side: the baths are not those of a float.
pub(super) fn line_through(rests: impl Iterator<Item = Result<(f64, f64)>>) -> Result<[f64; 2]> {
    let (t, y): (Vec<f64>, Vec<f64>) = rests.collect::<Result<Vec<_>>>()?.into_iter().unzip();
    let line = LinearSettings::default().fit(&[("height", &t)], &y, None)?;
    let (offset, height) = (line.value("intercept")?, line.value("height")?);
    if offset.is_nan() || offset <= 0.0 {
        let why =
            "the tilts do not rise with density as a float's do (its centre of gravity would lie on the light side)";
        return Err(Error::not_estimable("the curve of a float", why));
    }
    Ok([offset, height])
}
