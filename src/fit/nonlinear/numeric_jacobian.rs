//! Derivatives by differences, to check analytic ones in tests.

use ndarray::Array2;

use super::Residuals;
use crate::Result;

/// The Jacobian of `problem` at `parameters` by central differences with one Richardson step: good to about nine digits
/// for smooth residuals of moderate size. Slow; meant for tests of analytic Jacobians.
///
/// # Errors
/// What the residuals give.
pub fn numeric_jacobian(problem: &impl Residuals, parameters: &[f64]) -> Result<Array2<f64>> {
    let count = problem.count();
    let mut jacobian = Array2::zeros((count, parameters.len()));
    let mut moved = parameters.to_vec();
    let (mut above, mut below) = (vec![0.0; count], vec![0.0; count]);
    for (j, centre) in parameters.iter().enumerate() {
        let step = 6e-4 * if *centre == 0.0 { 1.0 } else { centre.abs() };
        let mut column = vec![0.0; count];
        for (size, weight) in [(step, -1.0 / 3.0), (0.5 * step, 4.0 / 3.0)] {
            let (up, down) = (centre + size, centre - size);
            if let Some(p) = moved.get_mut(j) {
                *p = up;
            }
            problem.residuals(&moved, &mut above)?;
            if let Some(p) = moved.get_mut(j) {
                *p = down;
            }
            problem.residuals(&moved, &mut below)?;
            for ((sum, a), b) in column.iter_mut().zip(&above).zip(&below) {
                *sum += weight * (a - b) / (up - down);
            }
        }
        if let Some(p) = moved.get_mut(j) {
            *p = *centre;
        }
        jacobian.column_mut(j).iter_mut().zip(column).for_each(|(cell, value)| *cell = value);
    }
    Ok(jacobian)
}
