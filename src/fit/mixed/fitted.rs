//! A fitted mixed model.

use nalgebra::{DMatrix, DVector};

use super::design::Design;
use super::inference::Inference;
use super::likelihood::MixedModel;
use super::scaled::{ScaledData, Term};
use crate::fit::Estimate;
use crate::{Error, Result};

/// A fitted mixed model.
#[derive(Debug, Clone)]
pub struct MixedFit {
    /// What it was fitted to.
    pub design: Design,
    /// Fixed coefficients in the order of the design's columns.
    pub coefficients: Vec<f64>,
    /// Their covariance at the estimated variances.
    pub covariance: DMatrix<f64>,
    /// Standard deviations of the random effects, by grouping and column; 0 is a result.
    pub spreads: Vec<Vec<f64>>,
    /// Standard deviation of the independent error of each row.
    pub residual_sd: f64,
    /// The logarithm of the restricted likelihood, without the term ln det X'X.
    pub log_likelihood: f64,
    /// Whether the search for the likelihood's top settled.
    pub converged: bool,
    model: MixedModel,
    inference: Inference,
}

/// Degrees of freedom below which there is no interval: Student's quantiles pass some 1e10 there.
const LEAST_DF: f64 = 0.1;

impl Design {
    /// Fits the model by REML.
    ///
    /// # Errors
    /// [`Error::Usage`] and [`Error::Setting`] for a design that does not fit together;
    /// [`Error::NotEstimable`] for data that cannot tell the parts apart, such as a linear combination among the fixed
    /// columns (named), one level only, or as many effects as rows; [`Error::Numeric`] when the search does not settle.
    pub fn fit(&self) -> Result<MixedFit> {
        let model = MixedModel::new(ScaledData::new(self)?)?;
        let (at, deviance, converged) = model.fit()?;
        let doing = "the coefficients of a mixed model";
        let (solved, _) =
            model.solve(&at).ok_or_else(|| Error::numeric(doing, "the equations are not positive definite"))?;
        let inference = Inference::new(&model, &at)?;
        let data = &model.data;
        let (unit, back) = (data.unit, &data.back);
        let spread = |(term, factor): (&Term, &Vec<f64>)| -> Vec<f64> {
            factor.iter().zip(&term.scale).map(|(sd, scale)| sd * unit / scale).collect()
        };
        let coefficients = &data.start + back * DVector::from_vec(solved.fixed) * unit;
        let scaled = deviance + 2.0 * (data.n() - data.p) as f64 * unit.ln() - 2.0 * ln_det(back);
        Ok(MixedFit {
            design: self.clone(),
            coefficients: coefficients.iter().copied().collect(),
            covariance: back * &inference.phi * back.transpose() * (unit * unit),
            spreads: data.terms.iter().zip(&at.factors).map(spread).collect(),
            residual_sd: at.sigma * unit,
            log_likelihood: -0.5 * scaled,
            converged,
            inference,
            model,
        })
    }
}

impl MixedFit {
    /// The sum of the fixed coefficients times `weights`.
    ///
    /// # Errors
    /// [`Error::Usage`] unless there is one weight per coefficient; [`Error::Setting`] for a level outside (0, 1);
    /// [`Error::NotEstimable`] with fewer than 0.1 degrees of freedom, where no interval says anything.
    pub fn contrast(&self, weights: &[f64], level: f64) -> Result<Estimate> {
        let (se, df) = self.se_and_df(weights)?;
        if df < LEAST_DF {
            let why = format!("{df:.1e} degrees of freedom: the data do not tell how large its error is");
            return Err(Error::not_estimable("an interval of a mixed model", why));
        }
        let value = weights.iter().zip(&self.coefficients).map(|(w, b)| w * b).sum();
        Estimate::student_t(value, se, df, level, "REML, Kenward-Roger, t")
    }

    /// Standard error and degrees of freedom of the sum of the fixed coefficients times `weights`; infinite degrees where all
    /// variances are known.
    ///
    /// # Errors
    /// [`Error::Usage`] unless there is one weight per coefficient.
    pub fn se_and_df(&self, weights: &[f64]) -> Result<(f64, f64)> {
        if weights.len() != self.coefficients.len() {
            let count = self.coefficients.len();
            return Err(Error::Usage(format!("{} weights for {count} coefficients", weights.len())));
        }
        let scaled = self.model.data.back.tr_mul(&DVector::from_column_slice(weights));
        let (se, df) = self.inference.contrast(&scaled);
        Ok((se * self.model.data.unit, df))
    }
}

fn ln_det(matrix: &DMatrix<f64>) -> f64 {
    // Upper triangular: it is the inverse of R, rows scaled.
    matrix.diagonal().iter().map(|d| d.abs().ln()).sum()
}
