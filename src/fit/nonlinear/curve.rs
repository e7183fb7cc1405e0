//! Curves of one variable and the problem of fitting one to points.

use ndarray::ArrayViewMut2;

use super::Residuals;
use crate::{Error, Result};

/// A curve y = f(x; p) with analytic derivatives in its parameters.
pub trait Curve {
    /// The curve's value at `x`.
    fn value(&self, x: f64, parameters: &[f64]) -> f64;

    /// Writes df/dp_j at `x` into `out[j]`.
    fn gradient(&self, x: f64, parameters: &[f64], out: &mut [f64]);
}

/// The residuals (y_i - f(x_i; p)) / sd_i of a curve.
#[derive(Debug, Clone, Copy)]
pub struct CurveResiduals<'a, C> {
    curve: &'a C,
    x: &'a [f64],
    y: &'a [f64],
    sd: Option<&'a [f64]>,
}

impl<'a, C: Curve> CurveResiduals<'a, C> {
    /// The problem of fitting `curve` to the points; `sd` are the standard deviations of `y` (1 where not given).
    ///
    /// # Errors
    /// [`Error::Usage`] for different lengths, [`Error::Setting`] for a standard deviation not above 0,
    /// [`Error::NotEstimable`] for a point that is not finite.
    pub fn new(curve: &'a C, x: &'a [f64], y: &'a [f64], sd: Option<&'a [f64]>) -> Result<Self> {
        if x.len() != y.len() || sd.is_some_and(|sd| sd.len() != y.len()) {
            return Err(Error::Usage(format!("{} x, {} y and {:?} sd", x.len(), y.len(), sd.map(<[f64]>::len))));
        }
        if let Some(bad) = sd.and_then(|sd| sd.iter().find(|s| !(**s > 0.0 && s.is_finite()))) {
            return Err(Error::Setting { name: "sd", value: bad.to_string(), wanted: "finite numbers above 0" });
        }
        if let Some(i) = x.iter().zip(y).position(|(x, y)| !(x.is_finite() && y.is_finite())) {
            return Err(Error::not_estimable("a curve", format!("point {i} is not finite")));
        }
        Ok(Self { curve, x, y, sd })
    }

    fn weight(&self, i: usize) -> f64 {
        self.sd.and_then(|sd| sd.get(i)).map_or(1.0, |s| 1.0 / s)
    }
}

impl<C: Curve> Residuals for CurveResiduals<'_, C> {
    fn count(&self) -> usize {
        self.y.len()
    }

    fn residuals(&self, parameters: &[f64], out: &mut [f64]) -> Result<()> {
        for (i, ((cell, x), y)) in out.iter_mut().zip(self.x).zip(self.y).enumerate() {
            *cell = (y - self.curve.value(*x, parameters)) * self.weight(i);
        }
        Ok(())
    }

    fn jacobian(&self, parameters: &[f64], mut out: ArrayViewMut2<'_, f64>) -> Result<()> {
        let mut gradient = vec![0.0; parameters.len()];
        for (i, (mut row, x)) in out.rows_mut().into_iter().zip(self.x).enumerate() {
            self.curve.gradient(*x, parameters, &mut gradient);
            let weight = self.weight(i);
            for (cell, slope) in row.iter_mut().zip(&gradient) {
                *cell = -slope * weight;
            }
        }
        Ok(())
    }
}
