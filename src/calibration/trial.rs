//! A kind of curve as the solver sees it: values and derivatives for trial parameters.

use crate::fit::errors_in_variables::SlopedCurve;

use super::fit_data::FloatPrior;
use super::kinds::{CurveKind, TrialCurve};

/// A kind of curve with what is held of it.
///
/// Where a curve has no value it is infinite, which only makes a step of the fit shorter.
pub(super) struct Trial<'a> {
    pub kind: CurveKind,
    pub known: &'a FloatPrior,
    curve: TrialCurve<'a>,
}

impl<'a> Trial<'a> {
    pub fn new(kind: CurveKind, known: &'a FloatPrior, tilts_deg: &'a [f64]) -> Self {
        Self { kind, known, curve: kind.trial(known, tilts_deg) }
    }
}

impl SlopedCurve for Trial<'_> {
    fn at(&self, x: f64, parameters: &[f64]) -> (f64, f64) {
        let at = (self.curve)(x, self.kind.coefficients(parameters).0);
        at.map_or((f64::INFINITY, 0.0), |at| (at.density_kg_m3, at.per_deg))
    }

    fn gradient(&self, x: f64, parameters: &[f64], out: &mut [f64]) {
        let (coefficients, by_parameter) = self.kind.coefficients(parameters);
        match (self.curve)(x, coefficients) {
            Some(at) => {
                for (cell, (slope, by)) in out.iter_mut().zip(at.gradient.iter().zip(by_parameter)) {
                    *cell = slope * by;
                }
            }
            None => out.fill(0.0),
        }
    }
}
