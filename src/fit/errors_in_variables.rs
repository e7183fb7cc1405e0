//! Lines and curves when both variables have errors.
//!
//! The true points lie on y = f(x; p); both coordinates are measured with independent Gaussian errors of known standard
//! deviations. Maximum likelihood over the parameters and the true x together minimises
//!
//! ```text
//! S(p) = sum_i min over xi_i of  (x_i - xi_i)^2 / sx_i^2 + (y_i - f(xi_i; p))^2 / sy_i^2
//! ```
//!
//! For a straight line this is the exact solution of D. York (Can. J. Phys. 44 (1966) 1079). Weights that are only
//! iterated ("effective variance" with the weights held fixed within a step) do not minimise S: they give a slope that
//! is too small, so they are not offered.

use ndarray::{ArrayViewMut1, ArrayViewMut2};

use crate::fit::nonlinear::Residuals;
use crate::{Error, Result};

/// A curve y = f(x; p) with analytic derivatives.
pub trait SlopedCurve {
    /// The curve's value and df/dx at `x`.
    fn at(&self, x: f64, parameters: &[f64]) -> (f64, f64);

    /// Writes df/dp_j at `x` into `out[j]`.
    fn gradient(&self, x: f64, parameters: &[f64], out: &mut [f64]);
}

/// The distances of points from a curve: the residuals of a fit with errors in both variables.
///
/// With the nearest point xi of the curve (nearest in units of the errors) the residual and its derivative are
///
/// ```text
/// r^2 = (x - xi)^2 / sx^2 + (y - f(xi))^2 / sy^2, with the sign of y - f(xi)
/// dr/dp_j = -(df/dp_j at xi) / w,   w^2 = sy^2 + f'(xi)^2 sx^2
/// ```
///
/// as at the nearest point the change of xi does not change the distance. The covariance that follows is that of York,
/// Evensen, Martinez and De Basabe Delgado (Am. J. Phys. 72 (2004) 367): weights taken at the adjusted points.
#[derive(Debug, Clone, Copy)]
pub struct DistanceResiduals<'a, C> {
    curve: &'a C,
    x: &'a [f64],
    y: &'a [f64],
    sd_x: &'a [f64],
    sd_y: &'a [f64],
}

impl<'a, C: SlopedCurve> DistanceResiduals<'a, C> {
    /// The problem for the given points and standard deviations; `sd_x` may be 0, `sd_y` may not.
    ///
    /// # Errors
    /// [`Error::Usage`] for different lengths, [`Error::Setting`] for a standard deviation out of range,
    /// [`Error::NotEstimable`] for a point that is not finite.
    pub fn new(curve: &'a C, x: &'a [f64], y: &'a [f64], sd_x: &'a [f64], sd_y: &'a [f64]) -> Result<Self> {
        let n = x.len();
        if y.len() != n || sd_x.len() != n || sd_y.len() != n {
            return Err(Error::Usage(format!("{n} x, {} y, {} sd_x, {} sd_y", y.len(), sd_x.len(), sd_y.len())));
        }
        if let Some(bad) = sd_x.iter().find(|s| !(**s >= 0.0 && s.is_finite())) {
            return Err(Error::setting("sd_x", bad, "finite numbers of at least 0"));
        }
        if let Some(bad) = sd_y.iter().find(|s| !(**s > 0.0 && s.is_finite())) {
            return Err(Error::setting("sd_y", bad, "finite numbers above 0"));
        }
        if let Some(i) = x.iter().zip(y).position(|(x, y)| !(x.is_finite() && y.is_finite())) {
            return Err(Error::not_estimable("a curve", format!("point {i} is not finite")));
        }
        Ok(Self { curve, x, y, sd_x, sd_y })
    }

    /// The x of the curve's points nearest to the data: the adjusted x.
    pub fn adjusted_x(&self, parameters: &[f64]) -> Vec<f64> {
        self.points().map(|point| self.nearest(point, parameters).x).collect()
    }

    /// The derivatives of the residuals into `out`. Returned are the standard deviations of the points about the curve,
    /// in y: `sqrt(sd_y^2 + (slope sd_x)^2)` at the adjusted x.
    pub fn jacobian_and_widths(&self, parameters: &[f64], mut out: ArrayViewMut2<'_, f64>) -> Vec<f64> {
        let mut gradient = vec![0.0; parameters.len()];
        let of_row = |(mut row, point): (ArrayViewMut1<'_, f64>, MeasuredPoint)| {
            let nearest = self.nearest(point, parameters);
            self.curve.gradient(nearest.x, parameters, &mut gradient);
            for (cell, slope) in row.iter_mut().zip(&gradient) {
                *cell = -slope / nearest.width;
            }
            nearest.width
        };
        out.rows_mut().into_iter().zip(self.points()).map(of_row).collect()
    }

    fn points(&self) -> impl Iterator<Item = MeasuredPoint> {
        let pairs = self.x.iter().zip(self.y).zip(self.sd_x.iter().zip(self.sd_y));
        pairs.map(|((x, y), (sd_x, sd_y))| MeasuredPoint { x: *x, y: *y, sd_x: *sd_x, sd_y: *sd_y })
    }

    /// Gauss-Newton in xi from the measured x, halving steps that lead away.
    fn nearest(&self, point: MeasuredPoint, parameters: &[f64]) -> NearestPoint {
        let at = |xi: f64| {
            let (value, slope) = self.curve.at(xi, parameters);
            let (across, gap) = (if point.sd_x > 0.0 { (point.x - xi) / point.sd_x } else { 0.0 }, point.y - value);
            let along = gap / point.sd_y;
            let width = point.sd_y.hypot(slope * point.sd_x);
            NearestPoint { x: xi, gap, slope, squared: across * across + along * along, width }
        };
        let mut nearest = at(point.x);
        if point.sd_x == 0.0 {
            return nearest;
        }
        let (vx, vy) = (point.sd_x * point.sd_x, point.sd_y * point.sd_y);
        for _ in 0..50 {
            let NearestPoint { x: xi, gap, slope, .. } = nearest;
            // The minimum of the distance to the tangent at xi.
            let mut step = ((point.x - xi) * vy + slope * gap * vx) / (vy + slope * slope * vx);
            if !step.is_finite() {
                return nearest;
            }
            let mut moved = false;
            for _ in 0..30 {
                let trial = at(xi + step);
                if trial.squared <= nearest.squared {
                    moved = step.abs() > f64::EPSILON * xi.abs();
                    nearest = trial;
                    break;
                }
                step *= 0.5;
            }
            if !moved || step.abs() <= 1e-12 * point.sd_x {
                break;
            }
        }
        nearest
    }
}

#[derive(Debug, Clone, Copy)]
struct MeasuredPoint {
    x: f64,
    y: f64,
    sd_x: f64,
    sd_y: f64,
}

/// A point of the curve beside a measured one.
struct NearestPoint {
    x: f64,
    /// Measured y less the curve's.
    gap: f64,
    slope: f64,
    /// The squared distance in units of the errors.
    squared: f64,
    width: f64,
}

impl<C: SlopedCurve> Residuals for DistanceResiduals<'_, C> {
    fn count(&self) -> usize {
        self.x.len()
    }

    fn residuals(&self, parameters: &[f64], out: &mut [f64]) -> Result<()> {
        for (cell, point) in out.iter_mut().zip(self.points()) {
            let nearest = self.nearest(point, parameters);
            *cell = nearest.squared.sqrt().copysign(nearest.gap);
        }
        Ok(())
    }

    fn jacobian(&self, parameters: &[f64], out: ArrayViewMut2<'_, f64>) -> Result<()> {
        self.jacobian_and_widths(parameters, out);
        Ok(())
    }
}
