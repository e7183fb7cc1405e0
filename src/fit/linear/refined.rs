//! The numerics of a linear fit: scaled columns, linfa's solver, refinement, and the factor of the covariance.

use linfa::Dataset;
use linfa::traits::Fit;
use linfa_linear::LinearRegression;
use nalgebra::{DMatrix, DVector};
use ndarray::{Array1, Array2};

use super::defect::Conditions;
use crate::{Error, Result};

/// A column nearer than this to the span of the columns before it, both of length one, counts as inside it.
const COLLINEAR: f64 = 1e-13;

/// What the numerics give.
pub(super) struct LinearSolution {
    pub coefficients: Vec<f64>,
    /// F with covariance = sigma^2 F F'.
    pub factor: DMatrix<f64>,
    /// Residuals in the unit of the response.
    pub residuals: Vec<f64>,
}

/// The design in the form that is solved: whitened, columns centred when there is an intercept, and of length one.
struct ScaledDesign {
    design: Array2<f64>,
    /// Subtracted from each column before scaling; 0 for the intercept.
    centres: Vec<f64>,
    /// Length of each whitened, centred column.
    lengths: Vec<f64>,
}

pub(super) fn solve(
    names: &[String],
    columns: &[&[f64]],
    intercept: bool,
    y: &[f64],
    sd: Option<&[f64]>,
) -> Result<LinearSolution> {
    let weight: Vec<f64> = match sd {
        Some(sd) => sd.iter().map(|s| 1.0 / s).collect(),
        None => vec![1.0; y.len()],
    };
    let scaled = scale(names, columns, intercept, &weight)?;
    let (q, r) = factorise(names, &scaled.design)?;

    let ones = vec![1.0; y.len()];
    let raw: Vec<&[f64]> = intercept.then_some(ones.as_slice()).into_iter().chain(columns.iter().copied()).collect();
    let conditions = Conditions { columns: &raw, y, weight: &weight };
    let mut coefficients = vec![0.0; names.len()];
    let mut residuals = vec![0.0; y.len()];
    let mut last = f64::INFINITY;
    for _ in 0..15 {
        let (gap, slope) = conditions.defect(&coefficients, &residuals);
        // Residuals that carry the defect of the orthogonality, of least length: Q R^-T slope.
        let slope = r
            .tr_solve_upper_triangular(&scale_slope(&slope, &scaled, intercept))
            .ok_or_else(|| Error::numeric("least squares", "R is singular"))?;
        let carried = &q * slope;
        let target: Array1<f64> = gap.iter().zip(&weight).zip(carried.iter()).map(|((f, w), c)| f * w - c).collect();
        let correction = linfa_solve(&scaled.design, target.clone())?;
        let left = target - scaled.design.dot(&correction);
        // The scaled columns have length one: the correction is in units of the whitened response.
        let size = correction.iter().fold(0.0_f64, |most, c| most.max(c.abs()));
        if !(size < 0.5 * last) {
            break;
        }
        for (coefficient, change) in coefficients.iter_mut().zip(unscale(&correction, &scaled, intercept)) {
            *coefficient += change;
        }
        for (((e, left), carried), w) in residuals.iter_mut().zip(&left).zip(carried.iter()).zip(&weight) {
            *e += (left + carried) / w;
        }
        last = size;
    }

    let inverse =
        r.clone().try_inverse().ok_or_else(|| Error::numeric("the covariance of a linear fit", "R is singular"))?;
    let factor = unscale_factor(&inverse, &scaled, intercept);
    Ok(LinearSolution { coefficients, factor, residuals })
}

fn scale(names: &[String], columns: &[&[f64]], intercept: bool, weight: &[f64]) -> Result<ScaledDesign> {
    let rows = weight.len();
    let total: f64 = weight.iter().map(|w| w * w).sum();
    let offset = usize::from(intercept);
    let mut design = Array2::zeros((rows, columns.len() + offset));
    let (mut centres, mut lengths) = (Vec::new(), Vec::new());
    if intercept {
        let length = total.sqrt();
        design.column_mut(0).iter_mut().zip(weight).for_each(|(cell, w)| *cell = w / length);
        centres.push(0.0);
        lengths.push(length);
    }
    for (j, column) in columns.iter().enumerate() {
        let raw = column.iter().zip(weight).map(|(x, w)| (x * w).powi(2)).sum::<f64>().sqrt();
        let centre =
            if intercept { column.iter().zip(weight).map(|(x, w)| x * w * w).sum::<f64>() / total } else { 0.0 };
        let length = column.iter().zip(weight).map(|(x, w)| ((x - centre) * w).powi(2)).sum::<f64>().sqrt();
        if !(length > COLLINEAR * raw) {
            let name = names.get(j + offset).map_or("", String::as_str);
            let why = if raw > 0.0 { "it is constant, like the intercept" } else { "it is zero everywhere" };
            return Err(Error::not_estimable(format!("the coefficient of `{name}`"), why));
        }
        for ((cell, x), w) in design.column_mut(j + offset).iter_mut().zip(*column).zip(weight) {
            *cell = (x - centre) * w / length;
        }
        centres.push(centre);
        lengths.push(length);
    }
    Ok(ScaledDesign { design, centres, lengths })
}

/// Thin Q and R of the scaled design, or the name of the first column that the ones before it make up.
pub(in crate::fit) fn factorise(names: &[String], design: &Array2<f64>) -> Result<(DMatrix<f64>, DMatrix<f64>)> {
    let qr = super::super::matrix::to_dmatrix(design).qr();
    let (q, r) = (qr.q(), qr.r());
    for (j, name) in names.iter().enumerate() {
        let tolerance = COLLINEAR.max(f64::EPSILON * design.nrows() as f64);
        if r[(j, j)].abs() > tolerance {
            continue;
        }
        let parts = r.view((0, 0), (j, j)).solve_upper_triangular(&r.view((0, j), (j, 1)).into_owned());
        let others: Vec<String> = match parts {
            Some(parts) => {
                names.iter().zip(parts.iter()).filter(|(_, c)| c.abs() > 1e-6).map(|(n, _)| format!("`{n}`")).collect()
            }
            None => names.iter().take(j).map(|n| format!("`{n}`")).collect(),
        };
        return Err(Error::not_estimable(
            format!("the coefficient of `{name}`"),
            format!("its column is a linear combination of {}", others.join(", ")),
        ));
    }
    Ok((q, r))
}

fn linfa_solve(design: &Array2<f64>, target: Array1<f64>) -> Result<Array1<f64>> {
    // The intercept is a column of its own here: linfa's is one of ones, which is wrong once rows are weighted.
    LinearRegression::new()
        .with_intercept(false)
        .fit(&Dataset::new(design.clone(), target))
        .map(|model| model.params().clone())
        .map_err(|why| Error::numeric("least squares", why.to_string()))
}

/// Coefficients of the raw columns from those of the scaled ones.
fn unscale(coefficients: &Array1<f64>, scaled: &ScaledDesign, intercept: bool) -> Vec<f64> {
    let mut raw: Vec<f64> = coefficients.iter().zip(&scaled.lengths).map(|(c, l)| c / l).collect();
    if intercept {
        let shift: f64 = raw.iter().zip(&scaled.centres).map(|(b, centre)| b * centre).sum();
        if let Some(first) = raw.first_mut() {
            *first -= shift;
        }
    }
    raw
}

/// The same map applied to every column of the inverse of R.
fn unscale_factor(inverse: &DMatrix<f64>, scaled: &ScaledDesign, intercept: bool) -> DMatrix<f64> {
    let mut factor = inverse.clone();
    for mut column in factor.column_iter_mut() {
        let raw = unscale(&column.iter().copied().collect(), scaled, intercept);
        for (cell, value) in column.iter_mut().zip(raw) {
            *cell = value;
        }
    }
    factor
}

/// Sums over the rows of the raw columns, turned into sums over the rows of the scaled ones.
fn scale_slope(slope: &[f64], scaled: &ScaledDesign, intercept: bool) -> DVector<f64> {
    // The intercept's column is not centred; without one no column is, and the centres are 0.
    let first = if intercept { slope[0] } else { 0.0 };
    let each = slope.iter().zip(&scaled.centres).zip(&scaled.lengths);
    DVector::from_iterator(slope.len(), each.map(|((sum, centre), length)| (sum - centre * first) / length))
}
