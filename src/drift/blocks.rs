//! Least squares with blocks of correlated rows and effects that the blocks share.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use crate::error::{Error, Result};

/// Rows of one block with its own covariance, and what is asked of it.
///
/// ```text
/// y_p = sum_j W_pj u_j + v_p,   v_p ~ N(0, V_p),   u_j ~ N(0, s_j^2) or free
/// target_p = k' u + g,          cov(g, v_p) = c,   var(g) = sigma^2
/// ```
#[derive(Debug, Clone)]
pub(super) struct Block {
    /// Observations.
    pub y: DVector<f64>,
    /// V_p.
    pub covariance: DMatrix<f64>,
    /// The effects that touch the block: index and column.
    pub columns: Vec<(usize, DVector<f64>)>,
    /// Effects in the target: index and factor.
    pub target: Vec<(usize, f64)>,
    /// c.
    pub target_covariance: DVector<f64>,
    /// sigma^2.
    pub target_variance: f64,
}

/// What the blocks say together.
#[derive(Debug, Clone)]
pub(super) struct Solved {
    /// Logarithm of the restricted likelihood, up to a constant of the data.
    pub ln_likelihood: f64,
    /// The target of each block: best linear unbiased prediction.
    pub targets: Vec<f64>,
    /// Covariance of their prediction errors.
    pub covariance: DMatrix<f64>,
    /// The effects.
    pub effects: Vec<f64>,
    /// Their error variances.
    pub effect_variances: Vec<f64>,
}

/// Solves for all effects and targets (Henderson's mixed-model equations: C. R. Henderson, Biometrics 31 (1975) 423).
///
/// `prior_sd` has one entry per effect, none for a free one. Time is the sum of the cubes of the block sizes plus the
/// cube of the number of effects.
///
/// # Errors
/// [`Error::Numeric`] when a covariance is not positive definite or a free effect is not determined.
pub(super) fn solve(blocks: &[Block], prior_sd: &[Option<f64>]) -> Result<Solved> {
    let doing = "the drift of all probes together";
    let size = prior_sd.len();
    let mut system = DMatrix::<f64>::zeros(size, size);
    let mut right = DVector::<f64>::zeros(size);
    let mut ln_det = 0.0;
    let mut squares = 0.0;
    for (j, sd) in prior_sd.iter().enumerate() {
        if let Some(sd) = sd {
            system[(j, j)] += sd.powi(-2);
            ln_det += 2.0 * sd.ln();
        }
    }
    let mut parts = Vec::with_capacity(blocks.len());
    for block in blocks {
        let root = Cholesky::new(block.covariance.clone())
            .ok_or_else(|| Error::numeric(doing, "the covariance of a probe's pairs is not positive definite"))?;
        let whiten = |column: &DVector<f64>| {
            let mut white = column.clone();
            root.l_dirty().solve_lower_triangular_mut(&mut white);
            white
        };
        let y = whiten(&block.y);
        let c = whiten(&block.target_covariance);
        let columns: Vec<(usize, DVector<f64>)> = block.columns.iter().map(|(j, w)| (*j, whiten(w))).collect();
        for (a, wa) in &columns {
            right[*a] += wa.dot(&y);
            for (b, wb) in &columns {
                system[(*a, *b)] += wa.dot(wb);
            }
        }
        squares += y.norm_squared();
        ln_det += 2.0 * root.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        parts.push((y, c, columns));
    }
    let root: Cholesky<f64, Dyn> =
        Cholesky::new(system).ok_or_else(|| Error::numeric(doing, "an effect is not determined by the pairs"))?;
    ln_det += 2.0 * root.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
    let effects = root.solve(&right);
    let ln_likelihood = -0.5 * (ln_det + squares - right.dot(&effects));

    let mut loads = DMatrix::<f64>::zeros(size, blocks.len());
    let mut targets = Vec::with_capacity(blocks.len());
    let mut own = Vec::with_capacity(blocks.len());
    for (p, (block, (y, c, columns))) in blocks.iter().zip(&parts).enumerate() {
        let mut value = c.dot(y);
        for (j, factor) in &block.target {
            loads[(*j, p)] += factor;
        }
        for (j, column) in columns {
            loads[(*j, p)] -= c.dot(column);
        }
        value += loads.column(p).dot(&effects);
        targets.push(value);
        own.push((block.target_variance - c.norm_squared()).max(0.0));
    }
    let spread = root.solve(&loads);
    let mut covariance = loads.transpose() * spread;
    for (p, variance) in own.into_iter().enumerate() {
        covariance[(p, p)] += variance;
    }
    let inverse = root.inverse();
    let effect_variances = inverse.diagonal().iter().copied().collect();
    Ok(Solved { ln_likelihood, targets, covariance, effects: effects.iter().copied().collect(), effect_variances })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two blocks of one shared effect against the dense formulas of generalised least squares.
    #[test]
    fn blocks_agree_with_the_dense_formulas() {
        let block = |y: [f64; 3], x: [f64; 3], own: usize| Block {
            y: DVector::from_row_slice(&y),
            covariance: DMatrix::from_fn(3, 3, |i, j| if i == j { 2.0 } else { 0.5 }),
            columns: vec![(own, DVector::from_row_slice(&x)), (2, DVector::from_row_slice(&[1.0, 0.0, 1.0]))],
            target: vec![(own, 1.0)],
            target_covariance: DVector::from_row_slice(&[0.3, 0.1, 0.2]),
            target_variance: 0.7,
        };
        let blocks = [block([1.0, 2.5, 2.0], [1.0, 2.0, 3.0], 0), block([0.5, -1.0, 1.0], [1.0, 1.5, 4.0], 1)];
        let solved = solve(&blocks, &[None, None, Some(0.8)]).unwrap();

        let mut v = DMatrix::<f64>::zeros(6, 6);
        let mut x = DMatrix::<f64>::zeros(6, 2);
        let (mut y, mut c, mut z) = (DVector::zeros(6), DMatrix::<f64>::zeros(6, 2), DVector::zeros(6));
        for (p, b) in blocks.iter().enumerate() {
            v.view_mut((3 * p, 3 * p), (3, 3)).copy_from(&b.covariance);
            x.view_mut((3 * p, p), (3, 1)).copy_from(&b.columns[0].1);
            y.rows_mut(3 * p, 3).copy_from(&b.y);
            c.view_mut((3 * p, p), (3, 1)).copy_from(&b.target_covariance);
            z.rows_mut(3 * p, 3).copy_from(&b.columns[1].1);
        }
        v += &z * z.transpose() * 0.64;
        let vi = v.clone().try_inverse().unwrap();
        let information = x.transpose() * &vi * &x;
        let inverse = information.clone().try_inverse().unwrap();
        let b = &inverse * x.transpose() * &vi * &y;
        let residual = &y - &x * &b;
        for p in 0..2 {
            let wanted = b[p] + (c.column(p).transpose() * &vi * &residual)[0];
            assert!((solved.targets[p] - wanted).abs() < 1e-12, "{} {wanted}", solved.targets[p]);
        }
        let k = DMatrix::<f64>::identity(2, 2) - x.transpose() * &vi * &c;
        let wanted = DMatrix::<f64>::identity(2, 2) * 0.7 - c.transpose() * &vi * &c + k.transpose() * &inverse * &k;
        assert!((&solved.covariance - wanted).norm() < 1e-12);
        let ln = -0.5
            * (v.determinant().ln() + information.determinant().ln() + (residual.transpose() * &vi * &residual)[0]);
        assert!((solved.ln_likelihood - ln).abs() < 1e-10, "{} {ln}", solved.ln_likelihood);
    }
}
