//! Least squares with blocks of correlated rows and effects that the blocks share.

use std::borrow::Cow;
use std::sync::OnceLock;

use nalgebra::{DMatrix, DVector};

use crate::error::{Error, Result};
use crate::fit::matrix::{gram, inverse, solve_transposed, upper_root};

/// What is done here, for messages.
pub(super) const DOING: &str = "the drift of all probes together";

/// Rows of one block with its own covariance.
///
/// ```text
/// y_p = sum_j W_pj u_j + v_p,   v_p ~ N(0, V_p),   u_j ~ N(0, s_j^2) or free
/// ```
#[derive(Debug, Clone)]
pub(in crate::drift) struct ProbeBlock<'a> {
    /// Observations.
    pub y: &'a DVector<f64>,
    /// V_p.
    pub covariance: DMatrix<f64>,
    /// The effects that touch the block.
    pub effects: &'a [usize],
    /// Their columns, in that order.
    pub columns: &'a DMatrix<f64>,
}

/// What is asked of a block.
///
/// ```text
/// target = load u_k + sum_j load_j u_j + g,   cov(g, v_p) = c,   var(g) = sigma^2
/// ```
#[derive(Debug, Clone)]
pub(in crate::drift) struct PredictionTarget {
    /// The effect u_k; one that touches the block.
    pub effect: usize,
    /// How much of it is in the target.
    pub load: f64,
    /// Further effects with their loads.
    pub shared: Vec<(usize, f64)>,
    /// c.
    pub covariance: DVector<f64>,
    /// sigma^2.
    pub variance: f64,
}

/// A block whose rows are made independent with variance 1.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::drift) struct WhitenedBlock {
    /// The upper triangular root of V_p.
    pub upper: DMatrix<f64>,
    pub y: DVector<f64>,
    pub columns: DMatrix<f64>,
    pub effects: Vec<usize>,
}

impl ProbeBlock<'_> {
    /// The block with its rows made independent.
    ///
    /// # Errors
    /// [`Error::Numeric`] when its covariance is not positive definite.
    pub fn whitened(self) -> Result<WhitenedBlock> {
        let upper = upper_root(self.covariance)
            .ok_or_else(|| Error::numeric(DOING, "the covariance of a probe's pairs is not positive definite"))?;
        let (mut y, mut columns) = (self.y.clone(), self.columns.clone());
        solve_transposed(&upper, y.as_mut_slice());
        solve_transposed(&upper, columns.as_mut_slice());
        Ok(WhitenedBlock { upper, y, columns, effects: self.effects.to_vec() })
    }
}

/// The mixed-model equations of all blocks, solved (C. R. Henderson, Biometrics 31 (1975) 423).
#[derive(Debug, Clone)]
pub(in crate::drift) struct MixedEquations<'a> {
    pub parts: Vec<Cow<'a, WhitenedBlock>>,
    /// The root of the equations, upper triangle.
    root: DMatrix<f64>,
    /// Made when first asked for: most points of a grid are solved for their likelihood alone.
    inverse: OnceLock<DMatrix<f64>>,
    /// The effects: estimates of the free ones, best linear unbiased predictions of the others.
    pub effects: DVector<f64>,
    /// Logarithms of the determinants of all covariances and of the equations.
    pub ln_det: f64,
    /// Logarithm of the restricted likelihood, up to a constant of the data.
    pub ln_likelihood: f64,
}

/// A prediction that is not yet summed up.
pub(in crate::drift) struct BlockPrediction {
    pub value: f64,
    /// Variance given the effects.
    own: f64,
    /// How it moves with the effects.
    pub loads: DVector<f64>,
    /// The same by effects made independent with variance 1.
    spread: DVector<f64>,
    /// c of the whitened rows.
    pub white: DVector<f64>,
}

impl<'a> MixedEquations<'a> {
    /// Solves for all effects. `prior_sd` has one entry per effect, none for a free one. Time is the sum of the cubes of the
    /// block sizes plus the cube of the number of effects.
    ///
    /// # Errors
    /// [`Error::Numeric`] when a covariance is not positive definite or a free effect is not determined.
    pub fn new(blocks: Vec<ProbeBlock>, prior_sd: &[Option<f64>]) -> Result<Self> {
        let parts = blocks.into_iter().map(|block| block.whitened().map(Cow::Owned)).collect::<Result<_>>()?;
        Self::of(parts, prior_sd)
    }

    /// The same with blocks that are whitened.
    ///
    /// # Errors
    /// [`Error::Numeric`] when a free effect is not determined.
    pub fn of(parts: Vec<Cow<'a, WhitenedBlock>>, prior_sd: &[Option<f64>]) -> Result<Self> {
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
        for part in &parts {
            let (inner, with_y) = (gram(&part.columns), part.columns.tr_mul(&part.y));
            for (i, a) in part.effects.iter().enumerate() {
                right[*a] += with_y[i];
                for (j, b) in part.effects.iter().enumerate() {
                    system[(*a, *b)] += inner[(i, j)];
                }
            }
            squares += part.y.norm_squared();
            ln_det += 2.0 * part.upper.diagonal().iter().map(|d| d.ln()).sum::<f64>();
        }
        let undetermined = || Error::numeric(DOING, "an effect is not determined by the pairs");
        let root = upper_root(system).ok_or_else(undetermined)?;
        ln_det += 2.0 * root.diagonal().iter().map(|d| d.ln()).sum::<f64>();
        let mut half = right.clone();
        solve_transposed(&root, half.as_mut_slice());
        let effects = root.solve_upper_triangular(&half).ok_or_else(undetermined)?;
        let ln_likelihood = -0.5 * (ln_det + squares - right.dot(&effects));
        Ok(Self { parts, root, inverse: OnceLock::new(), effects, ln_det, ln_likelihood })
    }

    /// Covariance of the errors of the effects.
    pub fn inverse(&self) -> &DMatrix<f64> {
        self.inverse.get_or_init(|| inverse(&self.root))
    }

    /// What is left of a whitened block when its effects are taken off.
    pub fn residual(&self, part: &WhitenedBlock) -> DVector<f64> {
        &part.y - &part.columns * self.effects.select_rows(&part.effects)
    }

    /// A target of block `p`; none for a block that there is not.
    pub fn seek(&self, p: usize, target: &PredictionTarget) -> Option<BlockPrediction> {
        let part = self.parts.get(p)?;
        let mut c = target.covariance.clone();
        solve_transposed(&part.upper, c.as_mut_slice());
        let mut loads = DVector::<f64>::zeros(self.effects.len());
        for (j, load) in target.shared.iter().copied().chain([(target.effect, target.load)]) {
            *loads.get_mut(j)? += load;
        }
        for (j, weight) in part.effects.iter().zip(part.columns.tr_mul(&c).iter()) {
            *loads.get_mut(*j)? -= weight;
        }
        let value = c.dot(&part.y) + loads.dot(&self.effects);
        let mut spread = loads.clone();
        solve_transposed(&self.root, spread.as_mut_slice());
        Some(BlockPrediction { value, own: (target.variance - c.norm_squared()).max(0.0), loads, spread, white: c })
    }

    /// Best linear unbiased prediction of a target of block `p`, and the variance of its error.
    pub fn predict(&self, p: usize, target: &PredictionTarget) -> Option<(f64, f64)> {
        let sought = self.seek(p, target)?;
        Some((sought.value, self.variance(&sought)))
    }

    /// Variance of the error of a prediction.
    pub fn variance(&self, sought: &BlockPrediction) -> f64 {
        self.covariance(sought, sought) + sought.own
    }

    /// Covariance of the errors of targets of different blocks.
    pub fn covariance(&self, a: &BlockPrediction, b: &BlockPrediction) -> f64 {
        a.spread.dot(&b.spread)
    }
}

#[cfg(test)]
#[path = "../../../tests/inside/drift_equations.rs"]
mod tests;
