//! Least squares with blocks of correlated rows and effects that the blocks share.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use crate::error::{Error, Result};

/// Rows of one block with its own covariance, and what is asked of it.
///
/// ```text
/// y_p = sum_j W_pj u_j + v_p,   v_p ~ N(0, V_p),   u_j ~ N(0, s_j^2) or free
/// target_p = u_k + g,          cov(g, v_p) = c,   var(g) = sigma^2
/// ```
#[derive(Debug, Clone)]
pub(super) struct Block<'a> {
    /// Observations.
    pub y: &'a DVector<f64>,
    /// V_p.
    pub covariance: DMatrix<f64>,
    /// The effects that touch the block.
    pub effects: &'a [usize],
    /// Their columns, in that order.
    pub columns: &'a DMatrix<f64>,
    /// The effect that is the target's k.
    pub target: usize,
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
    /// The watched effect with its error variance.
    pub watched: Option<(f64, f64)>,
}

/// Solves for all effects and targets (Henderson's mixed-model equations: C. R. Henderson, Biometrics 31 (1975) 423).
///
/// `prior_sd` has one entry per effect, none for a free one; `watched` is an effect that is asked for. Time is the sum of the cubes of the block sizes plus the
/// cube of the number of effects.
///
/// # Errors
/// [`Error::Numeric`] when a covariance is not positive definite or a free effect is not determined.
pub(super) fn solve(blocks: &[Block<'_>], prior_sd: &[Option<f64>], watched: Option<usize>) -> Result<Solved> {
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
        let lower = root.l_dirty();
        let mut y = block.y.clone();
        let mut c = block.target_covariance.clone();
        let mut columns = block.columns.clone();
        lower.solve_lower_triangular_mut(&mut y);
        lower.solve_lower_triangular_mut(&mut c);
        lower.solve_lower_triangular_mut(&mut columns);
        let (inner, with_y) = (columns.tr_mul(&columns), columns.tr_mul(&y));
        for (i, a) in block.effects.iter().enumerate() {
            right[*a] += with_y[i];
            for (j, b) in block.effects.iter().enumerate() {
                system[(*a, *b)] += inner[(i, j)];
            }
        }
        squares += y.norm_squared();
        ln_det += 2.0 * lower.diagonal().iter().map(|d| d.ln()).sum::<f64>();
        parts.push((c.dot(&y), c.norm_squared(), columns.tr_mul(&c)));
    }
    let root: Cholesky<f64, Dyn> =
        Cholesky::new(system).ok_or_else(|| Error::numeric(doing, "an effect is not determined by the pairs"))?;
    ln_det += 2.0 * root.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
    let effects = root.solve(&right);
    let ln_likelihood = -0.5 * (ln_det + squares - right.dot(&effects));

    let mut loads = DMatrix::<f64>::zeros(size, blocks.len());
    let mut targets = Vec::with_capacity(blocks.len());
    let mut own = Vec::with_capacity(blocks.len());
    for (p, (block, (along, explained, with_columns))) in blocks.iter().zip(&parts).enumerate() {
        loads[(block.target, p)] += 1.0;
        for (j, weight) in block.effects.iter().zip(with_columns.iter()) {
            loads[(*j, p)] -= weight;
        }
        targets.push(along + loads.column(p).dot(&effects));
        own.push((block.target_variance - explained).max(0.0));
    }
    let spread = root.solve(&loads);
    let mut covariance = loads.transpose() * spread;
    for (p, variance) in own.into_iter().enumerate() {
        covariance[(p, p)] += variance;
    }
    let watched = watched.map(|j| {
        let mut unit = DVector::<f64>::zeros(size);
        unit[j] = 1.0;
        (effects[j], root.solve(&unit)[j])
    });
    Ok(Solved { ln_likelihood, targets, covariance, watched })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two blocks of one shared effect against the dense formulas of generalised least squares.
    #[test]
    fn blocks_agree_with_the_dense_formulas() {
        let ys = [[1.0, 2.5, 2.0], [0.5, -1.0, 1.0]].map(|y| DVector::from_row_slice(&y));
        let columns =
            [[1.0, 1.0, 2.0, 0.0, 3.0, 1.0], [1.0, 1.0, 1.5, 0.0, 4.0, 1.0]].map(|w| DMatrix::from_row_slice(3, 2, &w));
        let effects = [[0, 2], [1, 2]];
        let blocks = [0, 1].map(|p| Block {
            y: &ys[p],
            covariance: DMatrix::from_fn(3, 3, |i, j| if i == j { 2.0 } else { 0.5 }),
            effects: &effects[p],
            columns: &columns[p],
            target: p,
            target_covariance: DVector::from_row_slice(&[0.3, 0.1, 0.2]),
            target_variance: 0.7,
        });
        let solved = solve(&blocks, &[None, None, Some(0.8)], Some(2)).unwrap();

        let mut v = DMatrix::<f64>::zeros(6, 6);
        let mut x = DMatrix::<f64>::zeros(6, 2);
        let (mut y, mut c, mut z) = (DVector::zeros(6), DMatrix::<f64>::zeros(6, 2), DVector::zeros(6));
        for (p, b) in blocks.iter().enumerate() {
            v.view_mut((3 * p, 3 * p), (3, 3)).copy_from(&b.covariance);
            x.view_mut((3 * p, p), (3, 1)).copy_from(&b.columns.column(0));
            y.rows_mut(3 * p, 3).copy_from(b.y);
            c.view_mut((3 * p, p), (3, 1)).copy_from(&b.target_covariance);
            z.rows_mut(3 * p, 3).copy_from(&b.columns.column(1));
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
        // The watched effect is the best linear unbiased predictor too: 0.64 z' V^-1 of the residual.
        let effect = 0.64 * (z.transpose() * &vi * &residual)[0];
        assert!((solved.watched.unwrap().0 - effect).abs() < 1e-12);
        let ln = -0.5
            * (v.determinant().ln() + information.determinant().ln() + (residual.transpose() * &vi * &residual)[0]);
        assert!((solved.ln_likelihood - ln).abs() < 1e-10, "{} {ln}", solved.ln_likelihood);
    }
}
