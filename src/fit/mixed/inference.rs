//! Degrees of freedom and standard errors that allow for estimated variances, by M. G. Kenward and J. H. Roger (Biometrics 53
//! (1997) 983).

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{Cholesky, DMatrix, DVector, SymmetricEigen};

use super::likelihood::MixedModel;
use super::scaled::Covariance;
use crate::{Error, Result};

const DOING: &str = "the degrees of freedom of a mixed model";

/// What contrasts of fixed coefficients need, in scaled units.
#[derive(Debug, Clone)]
pub(super) struct Inference {
    /// (X' V^-1 X)^-1.
    pub phi: DMatrix<f64>,
    /// The covariance that standard errors come from.
    adjusted: DMatrix<f64>,
    /// Derivative of phi by each variance.
    slopes: Vec<DMatrix<f64>>,
    /// Covariance of the estimates of the variances.
    spread: DMatrix<f64>,
}

/// What one block of rows gives: V^-1, V^-1 X and V_i, the derivative of V by variance i.
struct RowBlock {
    inverse: DMatrix<f64>,
    x: DMatrix<f64>,
    slopes: Vec<DMatrix<f64>>,
}

impl Inference {
    /// V falls into blocks of rows that hang together through random effects, and everything is summed block by block.
    pub fn new(model: &MixedModel, covariance: &Covariance) -> Result<Self> {
        let p = model.data.p;
        let mut information = DMatrix::<f64>::zeros(p, p);
        let mut blocks = Vec::new();
        let variances = model.data.variances(covariance.sigma);
        for rows in blocks_of(model) {
            let block = block(model, covariance, &variances, &rows)?;
            information += DMatrix::from_fn(rows.len(), p, |i, j| model.data.x[rows[i] * p + j]).tr_mul(&block.x);
            blocks.push(block);
        }
        let phi = Cholesky::new(information).ok_or_else(|| Error::numeric(DOING, "X' V^-1 X is singular"))?.inverse();
        let count = blocks.first().map_or(0, |block| block.slopes.len());
        // -X' V^-1 V_i V^-1 X, X' V^-1 V_i V^-1 V_j V^-1 X, and tr(V^-1 V_i V^-1 V_j).
        let mut first = vec![DMatrix::<f64>::zeros(p, p); count];
        let mut second = vec![vec![DMatrix::<f64>::zeros(p, p); count]; count];
        let mut traces = DMatrix::<f64>::zeros(count, count);
        for block in &blocks {
            let products: Vec<DMatrix<f64>> = block.slopes.iter().map(|v| &block.inverse * v).collect();
            let with_x: Vec<DMatrix<f64>> = block.slopes.iter().map(|v| v * &block.x).collect();
            for i in 0..count {
                first[i] -= block.x.tr_mul(&with_x[i]);
                let weighted = &block.inverse * &with_x[i];
                for j in 0..count {
                    second[j][i] += with_x[j].tr_mul(&weighted);
                    traces[(i, j)] += products[i].component_mul(&products[j].transpose()).sum();
                }
            }
        }
        // The expected information of the restricted likelihood, equation (2) there.
        let information = DMatrix::from_fn(count, count, |i, j| {
            let left = (&phi * &first[i] * &phi).component_mul(&first[j].transpose()).sum();
            0.5 * (traces[(i, j)] - 2.0 * (&phi * &second[i][j]).trace() + left)
        });
        let spread = pseudo_inverse(&information)?;
        let mut correction = DMatrix::zeros(p, p);
        for i in 0..count {
            for j in 0..count {
                correction += (&second[i][j] - &first[i] * &phi * &first[j]) * spread[(i, j)];
            }
        }
        let correction = &phi * correction * &phi;
        let adjusted = &phi + &correction + correction.transpose();
        let slopes = first.iter().map(|p| -(&phi * p * &phi)).collect();
        Ok(Self { phi, adjusted, slopes, spread })
    }

    /// Standard error in scaled units and degrees of freedom of the contrast `weights' b`.
    pub fn contrast(&self, weights: &DVector<f64>) -> (f64, f64) {
        let se = weights.dot(&(&self.adjusted * weights)).max(0.0).sqrt();
        let variance = weights.dot(&(&self.phi * weights));
        let slope =
            DVector::from_iterator(self.slopes.len(), self.slopes.iter().map(|slope| weights.dot(&(slope * weights))));
        let doubt = slope.dot(&(&self.spread * &slope));
        // For one contrast their moments reduce to this ratio.
        (se, if doubt > 0.0 { 2.0 * variance * variance / doubt } else { f64::INFINITY })
    }
}

fn block(model: &MixedModel, covariance: &Covariance, variances: &[f64], rows: &[usize]) -> Result<RowBlock> {
    let data = &model.data;
    let n = rows.len();
    let mut v = DMatrix::from_diagonal(&DVector::from_fn(n, |i, _| variances[rows[i]]));
    let mut slopes = Vec::new();
    for (index, factor) in covariance.factors.iter().enumerate() {
        for (column, sd) in factor.iter().enumerate() {
            let mut by_level: BTreeMap<usize, DVector<f64>> = BTreeMap::new();
            for (i, row) in rows.iter().enumerate() {
                for entry in data.row(*row).iter().filter(|entry| entry.term == index) {
                    by_level.entry(entry.level).or_insert_with(|| DVector::zeros(n))[i] = data.of(entry)[column];
                }
            }
            let mut products = DMatrix::zeros(n, n);
            by_level.values().for_each(|z| products.ger(1.0, z, z, 1.0));
            v += &products * (sd * sd);
            slopes.push(products);
        }
    }
    if data.held.is_none() {
        slopes.push(DMatrix::identity(n, n));
    }
    let inverse = Cholesky::new(v).ok_or_else(|| Error::numeric(DOING, "a covariance is singular"))?.inverse();
    let x = DMatrix::from_fn(n, data.p, |i, j| data.x[rows[i] * data.p + j]);
    Ok(RowBlock { x: &inverse * x, inverse, slopes })
}

/// Rows that hang together through the levels they share.
fn blocks_of(model: &MixedModel) -> Vec<Vec<usize>> {
    let mut blocks: Vec<Vec<usize>> = Vec::new();
    let mut of_level: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    for row in 0..model.data.n() {
        let levels = || model.data.row(row).iter().map(|entry| (entry.term, entry.level));
        let mut touched: BTreeSet<usize> = levels().filter_map(|level| of_level.get(&level).copied()).collect();
        let Some(kept) = touched.pop_first() else {
            of_level.extend(levels().map(|level| (level, blocks.len())));
            blocks.push(vec![row]);
            continue;
        };
        for other in &touched {
            let rows = std::mem::take(&mut blocks[*other]);
            blocks[kept].extend(rows);
        }
        if !touched.is_empty() {
            of_level.values_mut().filter(|block| touched.contains(block)).for_each(|block| *block = kept);
        }
        of_level.extend(levels().map(|level| (level, kept)));
        blocks[kept].push(row);
    }
    blocks.retain(|rows| !rows.is_empty());
    blocks
}

/// The inverse of a symmetric matrix without its directions that are not positive, after its diagonal was brought to one.
fn pseudo_inverse(matrix: &DMatrix<f64>) -> Result<DMatrix<f64>> {
    if matrix.iter().any(|x| !x.is_finite()) {
        let why = "the information about the variances is not finite";
        return Err(Error::numeric(DOING, why));
    }
    if matrix.is_empty() {
        return Ok(matrix.clone());
    }
    let size = matrix.nrows();
    let scale = DVector::from_fn(size, |i, _| {
        let d = matrix[(i, i)].abs();
        if d > 0.0 { 1.0 / d.sqrt() } else { 1.0 }
    });
    let eigen = SymmetricEigen::new(DMatrix::from_fn(size, size, |i, j| matrix[(i, j)] * scale[i] * scale[j]));
    let mut inverse = DMatrix::zeros(size, size);
    for (value, direction) in eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter()) {
        if *value > 1e-8 {
            inverse += direction * direction.transpose() / *value;
        }
    }
    Ok(DMatrix::from_fn(size, size, |i, j| inverse[(i, j)] * scale[i] * scale[j]))
}
