//! Coefficients and random effects at given variances.

use nalgebra::{DMatrix, DVector};

use super::cross::Cross;
use super::equations::{Factors, LevelBlock, SolvedEquations, solve};
use super::likelihood::{Covariance, MixedModel};
use crate::{Error, Result};

/// The random effects of one level, in the user's units.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelEffects {
    /// Best linear unbiased predictions, one per column.
    pub values: Vec<f64>,
    /// Covariance of the prediction errors, the fixed coefficients' uncertainty included.
    pub prediction: DMatrix<f64>,
    /// Covariance of the effects given the data, were the fixed coefficients known.
    pub conditional: DMatrix<f64>,
}

/// Coefficients and effects.
pub(super) struct Solution {
    /// Of the orthonormal columns, scaled.
    pub fixed: DVector<f64>,
    /// Their covariance, scaled.
    pub phi: DMatrix<f64>,
    /// By grouping and level.
    pub effects: Vec<Vec<LevelEffects>>,
}

/// Coefficients of the orthonormal columns from the factorised equations: the last part of a back substitution.
pub(super) fn fixed(solved: &SolvedEquations, cross: &Cross) -> DVector<f64> {
    let (width, first) = (cross.width, cross.random);
    let p = width - 1 - first;
    let mut found = DVector::zeros(p);
    for i in (0..p).rev() {
        let column = first + i;
        let mut value = solved.root[(width - 1) * width + column];
        for k in i + 1..p {
            value -= solved.root[(first + k) * width + column] * found[k];
        }
        found[i] = value / solved.root[column * width + column];
    }
    found
}

impl Solution {
    pub fn new(model: &MixedModel, covariance: &Covariance) -> Result<Self> {
        let doing = "the random effects of a mixed model";
        let data = &model.data;
        let (cross, factors) = model.system(covariance)?;
        let solved = solve(data, &cross, &factors)
            .ok_or_else(|| Error::numeric(doing, "the equations are not positive definite"))?;
        let (width, random, p) = (cross.width, cross.random, data.p);
        let root = DMatrix::from_row_slice(width, width, &solved.root);
        let invert = |size: usize| {
            let lower = root.view((0, 0), (size, size)).into_owned();
            lower
                .solve_lower_triangular(&DMatrix::identity(size, size))
                .ok_or_else(|| Error::numeric(doing, "a pivot is zero"))
        };
        let half = invert(width - 1)?;
        let with_y = root.row(width - 1).columns(0, width - 1).transpose();
        let all = half.tr_mul(&with_y);
        let inverse = half.tr_mul(&half);
        let half = invert(random)?;
        let inverse_random = half.tr_mul(&half);
        // Rows weighted by one stand for rows weighted by 1 / sigma^2.
        let square = if data.known.is_none() { covariance.sigma.powi(2) } else { 1.0 };
        let to_user = Scaling { model, factors: &factors, square };

        let mut effects: Vec<Vec<LevelEffects>> = vec![Vec::new(); data.terms.len()];
        for dense in &cross.dense {
            let q = data.terms[dense.term].q;
            let block = |m: &DMatrix<f64>| m.view((dense.offset, dense.offset), (q, q)).into_owned();
            let part = all.rows(dense.offset, q).into_owned();
            effects[dense.term].push(to_user.level(dense.term, &part, &block(&inverse), &block(&inverse_random)));
        }
        if let Some(main) = cross.main {
            let q = data.terms[main].q;
            let mut level = LevelBlock::default();
            for index in 0..data.terms[main].levels {
                level
                    .factorise(data, &cross, &factors, main, index)
                    .ok_or_else(|| Error::numeric(doing, "a level is not positive definite"))?;
                let root = DMatrix::from_row_slice(q, q, &level.root);
                let half = root
                    .solve_lower_triangular(&DMatrix::identity(q, q))
                    .ok_or_else(|| Error::numeric(doing, "a pivot is zero"))?;
                let count = level.columns.len() - 1;
                let loads = half.tr_mul(&DMatrix::from_column_slice(q, count + 1, &level.solved));
                let (border, with_y) = (loads.columns(0, count).into_owned(), loads.column(count).into_owned());
                let at = &level.columns[..count];
                let known = DVector::from_fn(count, |i, _| all[at[i]]);
                let part = with_y - &border * known;
                let own = half.tr_mul(&half);
                let among = DMatrix::from_fn(count, count, |i, j| inverse[(at[i], at[j])]);
                let prediction = &own + &border * among * border.transpose();
                let links = count - p;
                let given = border.columns(0, links).into_owned();
                let among = DMatrix::from_fn(links, links, |i, j| inverse_random[(at[i], at[j])]);
                let conditional = own + &given * among * given.transpose();
                effects[main].push(to_user.level(main, &part, &prediction, &conditional));
            }
        }
        let phi = inverse.view((random, random), (p, p)) * square;
        Ok(Self { fixed: all.rows(random, p).into_owned(), phi, effects })
    }
}

/// From relative effects in scaled units to the user's.
struct Scaling<'a> {
    model: &'a MixedModel,
    factors: &'a Factors,
    square: f64,
}

impl Scaling<'_> {
    fn level(
        &self,
        term: usize,
        part: &DVector<f64>,
        prediction: &DMatrix<f64>,
        conditional: &DMatrix<f64>,
    ) -> LevelEffects {
        let data = &self.model.data;
        let (q, scale) = (data.terms[term].q, &data.terms[term].scale);
        let factor = data.terms[term].balanced(&self.factors[term]);
        let map = DMatrix::from_fn(q, q, |i, j| factor[i * q + j] * data.unit / scale[i]);
        LevelEffects {
            values: (&map * part).iter().copied().collect(),
            prediction: &map * prediction * map.transpose() * self.square,
            conditional: &map * conditional * map.transpose() * self.square,
        }
    }
}
