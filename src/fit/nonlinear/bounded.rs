//! The problem as the crate `levenberg-marquardt` wants it: free parameters alone, bounds by projection, priors as residuals.

use levenberg_marquardt::LeastSquaresProblem;
use nalgebra::{DMatrix, DVector, Dyn, storage::Owned};
use ndarray::{ArrayViewMut2, ShapeBuilder};

use super::{Parameter, Residuals};
use crate::fit::matrix::dot;

/// Gauss-Newton steps at the end at most.
const POLISH: usize = 15;

/// The problem as the crate wants it.
pub(super) struct BoundedProblem<'a, P> {
    problem: &'a P,
    parameters: &'a [Parameter],
    /// Positions of the free parameters.
    free: Vec<usize>,
    /// All parameters, within their bounds.
    pub(super) values: Vec<f64>,
    /// For each free parameter: how far the iteration's own value lies beyond a bound.
    beyond: Vec<f64>,
    /// The least length of the residuals so far.
    least: f64,
    /// Residuals and derivatives (in the free parameters, bounds not heeded) at the values, in as few rows as there are columns,
    /// with the same lengths and products. No derivatives where there are none, and after a step that went astray.
    seen: (DVector<f64>, Option<DMatrix<f64>>),
}

impl<'a, P: Residuals> BoundedProblem<'a, P> {
    pub(super) fn new(problem: &'a P, parameters: &'a [Parameter], start: &[f64]) -> Self {
        let free: Vec<usize> =
            parameters.iter().enumerate().filter(|(_, parameter)| !parameter.held).map(|(i, _)| i).collect();
        let beyond = vec![0.0; free.len()];
        let (values, seen) = (start.to_vec(), (DVector::zeros(0), None));
        let mut new = Self { problem, parameters, free, values, beyond, least: f64::INFINITY, seen };
        new.look();
        new
    }

    /// Residuals and derivatives at the values: `[J r] = Q R`, and R has the products of J and r.
    fn look(&mut self) {
        let (full, k) = (self.all_residuals(), self.free.len());
        let size = full.norm();
        // A step that makes the residuals longer by more than rounding is never taken.
        let astray = size > self.least * (1.0 + 1e-9);
        self.least = self.least.min(size);
        let derivatives = if astray { None } else { self.derivatives() };
        self.seen = match derivatives.filter(|derivatives| derivatives.iter().all(|slope| slope.is_finite())) {
            derivatives if full.len() <= k + 1 => (full, derivatives),
            Some(derivatives) if size.is_finite() => {
                let mut all = derivatives.insert_column(k, 0.0);
                all.set_column(k, &full);
                let upper = triangle(all);
                (upper.column(k).into_owned(), Some(upper.remove_column(k)))
            }
            _ => (DVector::from_fn(k + 1, |i, _| if i == 0 || !size.is_finite() { size } else { 0.0 }), None),
        };
    }

    /// The free parameters with their places in the full vector.
    fn each(&self) -> impl Iterator<Item = (usize, &Parameter)> {
        self.free.iter().filter_map(|place| self.parameters.get(*place).map(|parameter| (*place, parameter)))
    }

    fn count(&self) -> usize {
        self.problem.count() + self.each().filter(|(_, parameter)| parameter.prior.is_some()).count()
    }

    fn value(&self, place: usize) -> f64 {
        self.values.get(place).copied().unwrap_or(f64::NAN)
    }

    /// The residuals of the data, then of the priors.
    fn all_residuals(&self) -> DVector<f64> {
        let data = self.problem.count();
        let mut out = DVector::zeros(self.count());
        let (model, priors) = out.as_mut_slice().split_at_mut(data);
        if self.problem.residuals(&self.values, model).is_err() {
            // An infinite sum of squares makes the step shorter, an error would end the iteration.
            model.fill(f64::INFINITY);
        }
        let known = self.each().filter_map(|(place, parameter)| parameter.prior.map(|prior| (place, prior)));
        for (cell, (place, (mean, sd))) in priors.iter_mut().zip(known) {
            *cell = (mean - self.value(place)) / sd;
        }
        out
    }

    /// Derivatives of all residuals in the free parameters, bounds not heeded.
    fn derivatives(&self) -> Option<DMatrix<f64>> {
        let (data, all) = (self.problem.count(), self.parameters.len());
        let mut full = DMatrix::zeros(data, all);
        let view = ArrayViewMut2::from_shape((data, all).f(), full.as_mut_slice()).ok()?;
        self.problem.jacobian(&self.values, view).ok()?;
        let rows = self.count();
        if self.free.len() == all && rows == data {
            return Some(full);
        }
        let mut jacobian = DMatrix::zeros(rows, self.free.len());
        let mut row = data;
        for (column, (place, parameter)) in self.each().enumerate() {
            jacobian.view_mut((0, column), (data, 1)).copy_from(&full.column(place));
            if let Some((_, sd)) = parameter.prior {
                jacobian[(row, column)] = -1.0 / sd;
                row += 1;
            }
        }
        Some(jacobian)
    }

    /// Puts parameters that the sum of squares pulls inwards back on their bounds, free to move. True if there are any.
    pub(super) fn release(&mut self) -> bool {
        if self.beyond.iter().all(|beyond| *beyond == 0.0) {
            return false;
        }
        let (residuals, Some(jacobian)) = &self.seen else { return false };
        let gradient = jacobian.tr_mul(residuals);
        let mut any = false;
        for ((beyond, slope), column) in self.beyond.iter_mut().zip(gradient.iter()).zip(jacobian.column_iter()) {
            // Downhill is against the gradient; inwards is against the side that was overstepped.
            if *beyond != 0.0 && slope * *beyond > 1e-10 * column.norm() * residuals.norm() * beyond.abs() {
                *beyond = 0.0;
                any = true;
            }
        }
        any
    }

    /// True when a parameter that moves has next to no effect on the residuals.
    pub(super) fn is_blind(&self) -> bool {
        let Some(jacobian) = self.jacobian() else { return false };
        let columns = jacobian.column_iter().zip(&self.free);
        let sizes: Vec<f64> = columns.map(|(column, place)| column.norm() * self.value(*place).abs()).collect();
        let largest = sizes.iter().copied().fold(0.0, f64::max);
        sizes.iter().zip(&self.beyond).any(|(size, beyond)| *beyond == 0.0 && *size <= 1e-12 * largest)
    }

    /// Gauss-Newton steps at the end of the descent, which bring out the last digits: the descent stops when the sum of
    /// squares settles, and the parameters settle half as fast.
    pub(super) fn polish(&mut self) {
        let mut last = f64::INFINITY;
        for _ in 0..POLISH {
            let (Some(jacobian), Some(residuals)) = (self.jacobian(), self.residuals()) else { return };
            let interior = self.beyond.iter().all(|beyond| *beyond == 0.0);
            if !interior || jacobian.nrows() < jacobian.ncols() {
                return;
            }
            let qr = jacobian.qr();
            let right = qr.q().tr_mul(&residuals);
            let Some(step) = qr.r().solve_upper_triangular(&right) else { return };
            // The length of the step in units of the residuals.
            let size = right.norm() / residuals.norm();
            let before = self.params();
            let useful = size > 1e-16 && size < 1e-3 && size < 0.7 * last;
            if !useful || step.iter().any(|x| !x.is_finite()) {
                return;
            }
            self.set_params(&(&before - step));
            let better = self.residuals().is_some_and(|after| after.norm() <= residuals.norm() * (1.0 + 1e-12));
            if !better || self.beyond.iter().any(|beyond| *beyond != 0.0) {
                self.set_params(&before);
                return;
            }
            last = size;
        }
    }

    /// For every parameter: the side of the bound it rests on.
    pub(super) fn resting(&self) -> Vec<i8> {
        let mut resting = vec![0; self.parameters.len()];
        for ((place, parameter), beyond) in self.each().zip(&self.beyond) {
            let value = self.value(place);
            let side = if *beyond < 0.0 || value <= parameter.lower {
                -1
            } else if *beyond > 0.0 || value >= parameter.upper {
                1
            } else {
                0
            };
            if let Some(cell) = resting.get_mut(place) {
                *cell = side;
            }
        }
        resting
    }
}

impl<P: Residuals> LeastSquaresProblem<f64, Dyn, Dyn> for BoundedProblem<'_, P> {
    type ParameterStorage = Owned<f64, Dyn>;
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        for ((place, beyond), x) in self.free.iter().zip(self.beyond.iter_mut()).zip(x.iter()) {
            if let (Some(parameter), Some(value)) = (self.parameters.get(*place), self.values.get_mut(*place)) {
                // `max` and `min` would turn NaN into a bound; the residuals shall see it.
                *value = if *x < parameter.lower {
                    parameter.lower
                } else if *x > parameter.upper {
                    parameter.upper
                } else {
                    *x
                };
                *beyond = x - *value;
            }
        }
        self.look();
    }

    fn params(&self) -> DVector<f64> {
        DVector::from_iterator(
            self.free.len(),
            self.free.iter().zip(&self.beyond).map(|(place, beyond)| self.value(*place) + beyond),
        )
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        Some(self.seen.0.clone())
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let mut jacobian = self.seen.1.clone()?;
        for (mut column, beyond) in jacobian.column_iter_mut().zip(&self.beyond) {
            if *beyond != 0.0 {
                column.fill(0.0);
            }
        }
        Some(jacobian)
    }
}

/// The upper triangle R of `A = Q R`, by modified Gram-Schmidt (Å. Björck, BIT 7 (1967) 1): the products of A's columns are R's.
fn triangle(mut a: DMatrix<f64>) -> DMatrix<f64> {
    let (m, n) = a.shape();
    let mut upper = DMatrix::zeros(n, n);
    let mut left = a.as_mut_slice();
    for j in 0..n {
        let (axis, others) = left.split_at_mut(m);
        let length = dot(axis, axis).sqrt();
        upper[(j, j)] = length;
        axis.iter_mut().for_each(|x| *x /= if length > 0.0 { length } else { 1.0 });
        for (l, other) in others.chunks_exact_mut(m).enumerate() {
            let along = dot(axis, other);
            upper[(j, j + 1 + l)] = along;
            other.iter_mut().zip(axis.iter()).for_each(|(y, x)| *y -= along * x);
        }
        left = others;
    }
    upper
}
