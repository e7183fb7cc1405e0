//! The straight line.

use super::{DistanceResiduals, SlopedCurve};
use crate::Result;
use crate::fit::linear::LinearSettings;
use crate::fit::nonlinear::{Curve, NonlinearFit, NonlinearSettings, Parameter};

/// y = intercept + slope x.
#[derive(Debug, Clone, Copy, Default)]
pub struct Line;

impl Curve for Line {
    fn value(&self, x: f64, parameters: &[f64]) -> f64 {
        match parameters {
            [intercept, slope] => intercept + slope * x,
            _ => f64::NAN,
        }
    }

    fn gradient(&self, x: f64, _parameters: &[f64], out: &mut [f64]) {
        if let [intercept, slope] = out {
            *intercept = 1.0;
            *slope = x;
        }
    }
}

impl SlopedCurve for Line {
    fn slope(&self, _x: f64, parameters: &[f64]) -> f64 {
        match parameters {
            [_, slope] => *slope,
            _ => f64::NAN,
        }
    }
}

/// The straight line through points with errors in both variables; parameters `intercept` and `slope`.
///
/// # Errors
/// As [`DistanceResiduals::new`] and [`NonlinearSettings::fit`]; a single x for all points is not estimable.
pub fn fit_line(
    settings: &NonlinearSettings,
    x: &[f64],
    y: &[f64],
    sd_x: &[f64],
    sd_y: &[f64],
) -> Result<NonlinearFit> {
    let problem = DistanceResiduals::new(&Line, x, y, sd_x, sd_y)?;
    let start = LinearSettings::default().fit(&[("slope", x)], y, Some(sd_y))?;
    let parameters =
        [Parameter::new("intercept", start.value("intercept")?), Parameter::new("slope", start.value("slope")?)];
    settings.fit(&problem, &parameters)
}
