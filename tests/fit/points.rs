//! Curves of one variable through points as least-squares problems, and derivatives by differences.

use crate::Result;
use crate::fit::nonlinear::Residuals;
use ndarray::{Array2, ArrayViewMut2};

/// A curve y = f(x; p) with derivatives in its parameters.
pub trait Curve {
    fn value(&self, x: f64, p: &[f64]) -> f64;
    fn gradient(&self, x: f64, p: &[f64], out: &mut [f64]);
}

/// The residuals (y - f(x)) / sd.
pub struct CurveResiduals<'a, C> {
    pub curve: &'a C,
    pub x: &'a [f64],
    pub y: &'a [f64],
    pub sd: Option<&'a [f64]>,
}

impl<'a, C: Curve> CurveResiduals<'a, C> {
    pub fn new(curve: &'a C, x: &'a [f64], y: &'a [f64], sd: Option<&'a [f64]>) -> Self {
        Self { curve, x, y, sd }
    }

    fn sd(&self, i: usize) -> f64 {
        self.sd.map_or(1.0, |sd| sd[i])
    }
}

impl<C: Curve> Residuals for CurveResiduals<'_, C> {
    fn count(&self) -> usize {
        self.y.len()
    }

    fn residuals(&self, p: &[f64], out: &mut [f64]) -> Result<()> {
        for (i, cell) in out.iter_mut().enumerate() {
            *cell = (self.y[i] - self.curve.value(self.x[i], p)) / self.sd(i);
        }
        Ok(())
    }

    fn jacobian(&self, p: &[f64], mut out: ArrayViewMut2<'_, f64>) -> Result<()> {
        let mut gradient = vec![0.0; p.len()];
        for (i, mut row) in out.rows_mut().into_iter().enumerate() {
            self.curve.gradient(self.x[i], p, &mut gradient);
            row.iter_mut().zip(&gradient).for_each(|(cell, slope)| *cell = -slope / self.sd(i));
        }
        Ok(())
    }
}

/// The Jacobian by central differences with one Richardson step: good to about nine digits for smooth residuals of moderate size.
pub fn numeric_jacobian(problem: &impl Residuals, parameters: &[f64]) -> Array2<f64> {
    let count = problem.count();
    let mut jacobian = Array2::zeros((count, parameters.len()));
    let at = |j: usize, value: f64| {
        let mut moved = parameters.to_vec();
        moved[j] = value;
        let mut out = vec![0.0; count];
        problem.residuals(&moved, &mut out).unwrap();
        out
    };
    for (j, centre) in parameters.iter().enumerate() {
        let step = 6e-4 * if *centre == 0.0 { 1.0 } else { centre.abs() };
        for (size, weight) in [(step, -1.0 / 3.0), (0.5 * step, 4.0 / 3.0)] {
            let (up, down) = (centre + size, centre - size);
            for (i, (a, b)) in at(j, up).into_iter().zip(at(j, down)).enumerate() {
                jacobian[[i, j]] += weight * (a - b) / (up - down);
            }
        }
    }
    jacobian
}
