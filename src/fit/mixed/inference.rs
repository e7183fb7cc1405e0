//! Degrees of freedom and standard errors that allow for estimated variances.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::likelihood::{Covariance, MixedModel};
use super::moments::{Moments, Variance};
use super::settings::Df;
use crate::{Error, Result};

/// What contrasts of fixed coefficients need, in scaled units.
#[derive(Debug, Clone)]
pub(super) struct Inference {
    kind: Df,
    /// (X' V^-1 X)^-1.
    phi: DMatrix<f64>,
    /// The covariance that standard errors come from.
    pub adjusted: DMatrix<f64>,
    /// Derivative of phi by each parameter of the variances.
    slopes: Vec<DMatrix<f64>>,
    /// Covariance of the estimates of those parameters.
    spread: DMatrix<f64>,
}

impl Inference {
    pub fn new(kind: Df, model: &MixedModel, covariance: &Covariance, phi: DMatrix<f64>) -> Result<Self> {
        if kind == Df::Normal {
            return Ok(Self { kind, adjusted: phi.clone(), phi, slopes: Vec::new(), spread: DMatrix::zeros(0, 0) });
        }
        let moments = Moments::new(model, covariance)?;
        let phi = moments.phi.clone();
        let by_variance: Vec<DMatrix<f64>> = moments.p.iter().map(|p| -(&phi * p * &phi)).collect();
        match kind {
            Df::KenwardRoger => {
                // The expected information of the restricted likelihood, equation (2) there.
                let spread = pseudo_inverse(&(&moments.restricted * 0.5))?;
                let mut correction = DMatrix::zeros(phi.nrows(), phi.nrows());
                for i in 0..moments.p.len() {
                    for j in 0..moments.p.len() {
                        correction += (&moments.q[i][j] - &moments.p[i] * &phi * &moments.p[j]) * spread[(i, j)];
                    }
                }
                let correction = &phi * correction * &phi;
                let adjusted = &phi + &correction + correction.transpose();
                Ok(Self { kind, phi, adjusted, slopes: by_variance, spread })
            }
            _ => {
                let chain = Chain::new(model, covariance, &moments);
                let hessian =
                    chain.first.transpose() * &moments.hessian * &chain.first + chain.curvature(&moments.gradient);
                let spread = pseudo_inverse(&(hessian * 0.5))?;
                let slopes = (0..chain.first.ncols())
                    .map(|k| {
                        let parts = by_variance.iter().enumerate();
                        let zero = DMatrix::zeros(phi.nrows(), phi.nrows());
                        parts.fold(zero, |sum, (i, slope)| sum + slope * chain.first[(i, k)])
                    })
                    .collect();
                Ok(Self { kind, adjusted: phi.clone(), phi, slopes, spread })
            }
        }
    }

    /// Standard error in scaled units and degrees of freedom of the contrast `weights' b`; infinite degrees where variances are
    /// taken as known.
    pub fn contrast(&self, weights: &DVector<f64>) -> (f64, f64) {
        let se = weights.dot(&(&self.adjusted * weights)).max(0.0).sqrt();
        if self.kind == Df::Normal {
            return (se, f64::INFINITY);
        }
        let variance = weights.dot(&(&self.phi * weights));
        let slope =
            DVector::from_iterator(self.slopes.len(), self.slopes.iter().map(|slope| weights.dot(&(slope * weights))));
        let doubt = slope.dot(&(&self.spread * &slope));
        // For one contrast the moments of Kenward and Roger reduce to the same ratio.
        let df = if doubt > 0.0 { 2.0 * variance * variance / doubt } else { f64::INFINITY };
        (se, df)
    }
}

/// How the variances depend on the entries of the factors and on sigma.
struct Chain {
    /// d variance_i / d parameter_k.
    first: DMatrix<f64>,
    /// Parameters: entry (row, column) of a grouping's factor, or sigma.
    parameters: Vec<Variance>,
    variances: Vec<Variance>,
}

impl Chain {
    /// In factors the likelihood is smooth at a variance of 0, which in variances it is not.
    fn new(model: &MixedModel, covariance: &Covariance, moments: &Moments) -> Self {
        let variances = moments.variances.clone();
        let parameters = variances.clone();
        let first = DMatrix::from_fn(variances.len(), parameters.len(), |i, k| match (variances[i], parameters[k]) {
            (Variance::Residual, Variance::Residual) => 2.0 * covariance.sigma,
            (Variance::Random { term, a, b }, Variance::Random { term: other, a: row, b: column }) if term == other => {
                let q = model.data.terms[term].q;
                let factor = &covariance.factors[term];
                let mut slope = 0.0;
                if a == row {
                    slope += factor[b * q + column];
                }
                if b == row {
                    slope += factor[a * q + column];
                }
                slope
            }
            _ => 0.0,
        });
        Self { first, parameters, variances }
    }

    /// What the second derivatives of the variances add to the Hessian in the parameters.
    fn curvature(&self, gradient: &DVector<f64>) -> DMatrix<f64> {
        let size = self.parameters.len();
        let mut sum = DMatrix::zeros(size, size);
        for (i, variance) in self.variances.iter().enumerate() {
            for k in 0..size {
                for l in 0..size {
                    let second = match (*variance, self.parameters[k], self.parameters[l]) {
                        (Variance::Residual, Variance::Residual, Variance::Residual) => 2.0,
                        (
                            Variance::Random { term, a, b },
                            Variance::Random { term: tk, a: rk, b: ck },
                            Variance::Random { term: tl, a: rl, b: cl },
                        ) if term == tk && term == tl && ck == cl => {
                            f64::from(u8::from(a == rk && b == rl)) + f64::from(u8::from(b == rk && a == rl))
                        }
                        _ => 0.0,
                    };
                    sum[(k, l)] += gradient[i] * second;
                }
            }
        }
        sum
    }
}

/// The inverse of a symmetric matrix without its directions that are not positive, after its diagonal was brought to one.
fn pseudo_inverse(matrix: &DMatrix<f64>) -> Result<DMatrix<f64>> {
    if matrix.iter().any(|x| !x.is_finite()) {
        let why = "the information about the variances is not finite";
        return Err(Error::numeric("the degrees of freedom of a mixed model", why));
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
