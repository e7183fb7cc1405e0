//! A fitted mixed model.

use nalgebra::{DMatrix, DVector};

use super::component::{Component, components};
use super::design::Design;
use super::inference::Inference;
use super::likelihood::MixedModel;
use super::scaled::ScaledData;
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
    /// Standard deviations and correlations of the random part.
    pub components: Vec<Component>,
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
        let coefficients = &data.start + back * DVector::from_vec(solved.fixed) * unit;
        let scaled = deviance + 2.0 * (data.n() - data.p) as f64 * unit.ln() - 2.0 * ln_det(back);
        Ok(MixedFit {
            design: self.clone(),
            coefficients: coefficients.iter().copied().collect(),
            covariance: back * &inference.phi * back.transpose() * (unit * unit),
            components: components(self, data, &at),
            log_likelihood: -0.5 * scaled,
            converged,
            inference,
            model,
        })
    }
}

impl MixedFit {
    /// A component by its name.
    ///
    /// # Errors
    /// [`Error::Usage`] for a name that there is not.
    pub fn component(&self, name: &str) -> Result<&Component> {
        self.components.iter().find(|c| c.name == name).ok_or_else(|| {
            let names: Vec<&str> = self.components.iter().map(|c| c.name.as_str()).collect();
            Error::Usage(format!("no component `{name}`; there are: {}", names.join(", ")))
        })
    }

    /// A fixed coefficient by the name of its column.
    ///
    /// # Errors
    /// [`Error::Usage`] for a name that there is not; else as for [`MixedFit::contrast`].
    pub fn estimate(&self, name: &str, level: f64) -> Result<Estimate> {
        let index = self.fixed_index(name)?;
        let weights: Vec<f64> = (0..self.coefficients.len()).map(|i| f64::from(u8::from(i == index))).collect();
        self.contrast(&weights, level)
    }

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

    fn fixed_index(&self, name: &str) -> Result<usize> {
        self.design.fixed.iter().position(|c| c.name == name).ok_or_else(|| {
            let names: Vec<&str> = self.design.fixed.iter().map(|c| c.name.as_str()).collect();
            Error::Usage(format!("no fixed column `{name}`; there are: {}", names.join(", ")))
        })
    }
}

fn ln_det(matrix: &DMatrix<f64>) -> f64 {
    // Upper triangular: it is the inverse of R, rows scaled.
    matrix.diagonal().iter().map(|d| d.abs().ln()).sum()
}
