//! A kind of curve as the fit sees it: values and derivatives for trial coefficients.

use std::cell::RefCell;

use crate::error::{Error, Result};
use crate::fit::errors_in_variables::SlopedCurve;
use crate::fit::nonlinear;
use crate::float::{Hull, WallSided};

use super::curve::{Curve, CurveKind, CurvePoint, MOST_COEFFICIENTS};
use super::fit::FloatPrior;
use super::hull_curve::{HullTable, hull_of, point_of};

/// A kind of curve with what is held of it. The first coefficient of a float is the logarithm of its size (K or mass).
///
/// Where a curve has no value it is infinite, which only makes a step of the fit shorter.
pub(super) struct Form<'a> {
    kind: CurveKind,
    prior: &'a FloatPrior,
    tilts_deg: &'a [f64],
    /// The hull at the baths' tilts for the last coefficients asked for.
    baths: RefCell<Baths>,
}

#[derive(Default)]
struct Baths {
    coefficients: Vec<f64>,
    points: Vec<Option<CurvePoint>>,
}

impl<'a> Form<'a> {
    pub fn new(kind: CurveKind, prior: &'a FloatPrior, tilts_deg: &'a [f64]) -> Self {
        Self { kind, prior, tilts_deg, baths: RefCell::default() }
    }

    /// The curve with these coefficients.
    pub fn curve(&self, coefficients: &[f64]) -> Result<Curve> {
        let value = |i: usize| coefficients.get(i).copied().unwrap_or(0.0);
        match self.kind {
            CurveKind::Hull => self
                .hull(coefficients)
                .ok_or_else(|| Error::not_estimable("the curve of a hull", "its shape is not known"))
                .and_then(HullTable::new)
                .map(Curve::Hull),
            CurveKind::Polynomial(_) => Ok(Curve::Polynomial(std::array::from_fn(value))),
            CurveKind::WallSided | CurveKind::WallSidedFree => {
                let kappa = self.prior.kappa;
                let float = WallSided { k_kg_m3: value(0).exp(), h: value(1), eps: value(2), kappa };
                Ok(Curve::WallSided { float, wet_top_kg_m3: value(3) })
            }
        }
    }

    fn hull(&self, coefficients: &[f64]) -> Option<Hull> {
        match (coefficients, &self.prior.hull) {
            (&[ln_mass_g, offset, height], Some(known)) => {
                Some(hull_of(&known.profile, ln_mass_g.exp(), offset, height))
            }
            _ => None,
        }
    }

    fn at(&self, tilt_deg: f64, coefficients: &[f64]) -> Option<CurvePoint> {
        if self.kind == CurveKind::Hull {
            return self.hull_near(tilt_deg, coefficients);
        }
        self.curve(coefficients).ok()?.at(tilt_deg)
    }

    /// The hull by its tangent at the nearest bath: the quadrature is dear, and the adjusted tilt of a bath lies within a
    /// fraction of a degree of the measured one, where the tangent is right to 0.01 kg/m3.
    fn hull_near(&self, tilt_deg: f64, coefficients: &[f64]) -> Option<CurvePoint> {
        let mut baths = self.baths.borrow_mut();
        if baths.coefficients != coefficients {
            let hull = self.hull(coefficients)?;
            baths.points =
                self.tilts_deg.iter().map(|&tilt| hull.gradient(tilt).ok().map(|at| point_of(&at))).collect();
            baths.coefficients = coefficients.to_vec();
        }
        let away = |tilt: f64| (tilt - tilt_deg).abs();
        let (&tilt, point) =
            self.tilts_deg.iter().zip(&baths.points).min_by(|a, b| away(*a.0).total_cmp(&away(*b.0)))?;
        let mut at = (*point)?;
        at.density_kg_m3 += at.per_deg * (tilt_deg - tilt);
        Some(at)
    }
}

impl nonlinear::Curve for Form<'_> {
    fn value(&self, x: f64, parameters: &[f64]) -> f64 {
        self.at(x, parameters).map_or(f64::INFINITY, |at| at.density_kg_m3)
    }

    fn gradient(&self, x: f64, parameters: &[f64], out: &mut [f64]) {
        let gradient = self.at(x, parameters).map_or([0.0; MOST_COEFFICIENTS], |at| at.gradient);
        for (cell, slope) in out.iter_mut().zip(gradient) {
            *cell = slope;
        }
        let by_logarithm = !matches!(self.kind, CurveKind::Polynomial(_));
        if let (true, Some(by_size), Some(ln_size)) = (by_logarithm, out.first_mut(), parameters.first()) {
            *by_size *= ln_size.exp();
        }
    }
}

impl SlopedCurve for Form<'_> {
    fn slope(&self, x: f64, parameters: &[f64]) -> f64 {
        self.at(x, parameters).map_or(0.0, |at| at.per_deg)
    }
}
