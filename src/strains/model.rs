//! The mixed model of one trait.

use std::collections::BTreeSet;

use nalgebra::DMatrix;

use crate::error::{Error, Result};
use crate::fit::Estimate;
use crate::fit::mixed::{Column, Design, MixedFit, Random};
use crate::fit::robust::mean_of;
use crate::season::Batch;

use super::conditions::Adjustments;
use super::spreads::{equal_spreads, shrunk, variance};

/// Below this p-value of one spread for all each strain gets its own.
const UNEQUAL_SPREADS: f64 = 0.05;
/// Worts from which on their spread can be told.
const LEAST_WORTS: usize = 3;
/// Degrees of freedom that random worts and spreads by strain must leave each mean and each difference: with fewer, intervals are
/// several times as wide and hold no more often, and one of a ratio can span ten powers of ten.
const LEAST_DF: f64 = 4.0;

/// One batch, on the scale of the model.
pub(super) struct ModelRow<'a> {
    pub strain: usize,
    pub value: f64,
    pub se: f64,
    /// Its row in the table of batches.
    pub batch: Option<&'a Batch>,
}

pub(super) struct TraitModel {
    pub fit: MixedFit,
    /// By strain, the weights of the coefficients in its mean at the stated conditions.
    pub weights: Vec<Vec<f64>>,
    /// By strain, where each has a spread of its own: the variance of the mean of its batches, and the degrees of freedom.
    pub own: Option<Vec<(f64, f64)>>,
    /// P-value of one spread for all, where it was tested.
    pub p_equal_spread: Option<f64>,
    /// By strain, its batches at the stated conditions with the errors of their fits.
    pub adjusted: Vec<Vec<(f64, f64)>>,
    /// By row, what strain and conditions leave of it.
    pub residuals: Vec<f64>,
    /// Batches less coefficients.
    pub df: f64,
}

impl TraitModel {
    /// # Errors
    /// [`Error::NotEstimable`] where batches are too few or all alike.
    pub fn new(rows: &[ModelRow<'_>], strains: &[&str], adjustments: &Adjustments) -> Result<Self> {
        let (n, k) = (rows.len(), strains.len());
        let p = k + adjustments.list.len();
        if n < p + 1 {
            let why = if n == 0 {
                "no batch gave it"
            } else {
                "one batch a strain, so the spread between batches is not known"
            };
            return Err(Error::not_estimable("a comparison of strains", why));
        }
        let of_strain =
            |strain: usize| -> Vec<f64> { rows.iter().map(|row| f64::from(u8::from(row.strain == strain))).collect() };
        let mut fixed: Vec<Column> =
            strains.iter().enumerate().map(|(i, name)| Column::new(*name, &of_strain(i))).collect();
        fixed.extend(adjustments.list.iter().map(|by| Column::new(format!("by {}", by.name), &by.column)));
        let values: Vec<f64> = rows.iter().map(|row| row.value).collect();
        let first: Vec<Option<f64>> =
            (0..k).map(|s| rows.iter().find(|row| row.strain == s).map(|row| row.value)).collect();
        if rows.iter().all(|row| Some(row.value) == first[row.strain]) {
            let why = "the batches of each strain are exactly alike, so the spread between batches is not known";
            return Err(Error::not_estimable("a comparison of strains", why));
        }
        let mut design = Design::new(&values, fixed);
        design.known = rows.iter().map(|row| row.se * row.se).collect();
        let weights: Vec<Vec<f64>> = (0..k)
            .map(|strain| {
                let own = (0..k).map(|i| f64::from(u8::from(i == strain)));
                own.chain(adjustments.list.iter().map(|by| by.at[strain])).collect()
            })
            .collect();
        let df = (n - p) as f64;
        let fitted = |design: &Design| {
            let (fit, weights) = (design.fit()?, weights.clone());
            let (adjusted, residuals) = (vec![Vec::new(); k], Vec::new());
            let mut model = Self { fit, weights, own: None, p_equal_spread: None, adjusted, residuals, df };
            for (i, row) in rows.iter().enumerate() {
                let by = adjustments.list.iter().zip(&model.fit.coefficients[k..]);
                let off: f64 = by.map(|(by, slope)| slope * (by.column[i] - by.at[row.strain])).sum();
                model.adjusted[row.strain].push((row.value - off, row.se));
                model.residuals.push(row.value - off - model.mean(row.strain));
            }
            Ok::<_, Error>(model)
        };
        let with_wort = worts(rows, k)
            .map(|labels| design.clone().random(Random::by_label("wort", &labels, vec![Column::intercept(n)])));
        let mut model = match with_wort.and_then(|with_wort| fitted(&with_wort).ok().filter(Self::told)) {
            Some(with_wort) => with_wort,
            None => fitted(&design)?,
        };
        // Each strain's variance about its mean, with the degrees of freedom that the slopes leave it.
        let variances: Vec<(f64, f64)> =
            model.adjusted.iter().map(|units| variance(units, df / (n - k) as f64)).collect();
        model.p_equal_spread = equal_spreads(&variances)?;
        if model.p_equal_spread.is_some_and(|p| p < UNEQUAL_SPREADS) {
            let own = shrunk(&variances)?;
            // What the worts and the errors of the fits do not explain.
            let of_wort: f64 = model.fit.spreads.iter().flatten().map(|sd| sd * sd).sum();
            let error = |s: usize| mean_of(model.adjusted[s].iter().map(|(_, se)| se * se)).unwrap_or(f64::NAN);
            let between: Vec<f64> = (0..k).map(|s| (own[s].0 - error(s) - of_wort).max(0.0)).collect();
            let known = rows.iter().map(|row| between[row.strain] + row.se * row.se).collect();
            let by_strain = fitted(&Design { known, residual_sd: Some(0.0), ..model.fit.design.clone() });
            let of_mean = |s: usize| ((between[s] + error(s)) / model.adjusted[s].len() as f64, own[s].1);
            let (own, p_equal_spread) = (Some((0..k).map(of_mean).collect()), model.p_equal_spread);
            if let Some(told) = by_strain.ok().map(|fit| Self { own, p_equal_spread, ..fit }).filter(Self::told) {
                return Ok(told);
            }
        }
        Ok(model)
    }

    /// What to say where the likelihood ratio rejects one spread for all.
    pub fn unequal(&self) -> Option<&'static str> {
        self.p_equal_spread.filter(|p| *p < UNEQUAL_SPREADS)?;
        Some(match self.own {
            Some(_) => "some strains vary more between batches than others, so each has a spread of its own",
            None => {
                "some strains seem to vary more between batches than others, but batches are too few for a spread of each: intervals \
                 of those that vary more may be too short"
            }
        })
    }

    /// Whether each mean and each difference has an error that can be told.
    fn told(&self) -> bool {
        let enough = |of: &[f64]| self.se_and_df(of).is_ok_and(|(_, df)| df > LEAST_DF);
        (0..self.weights.len()).all(|a| enough(&self.weights[a]) && (0..a).all(|b| enough(&self.difference(a, b))))
    }

    /// Standard error and degrees of freedom of the coefficients times `weights`. Spreads by strain are known with degrees of
    /// freedom of their own, put together as by F. E. Satterthwaite (Biometrics Bull. 2 (1946) 110), slopes neglected.
    pub fn se_and_df(&self, weights: &[f64]) -> Result<(f64, f64)> {
        let (se, df) = self.fit.se_and_df(weights)?;
        let parts = weights.iter().zip(self.own.iter().flatten()).map(|(w, (variance, df))| (w * w * variance, df));
        let (sum, doubt) = parts.fold((0.0, 0.0), |(sum, doubt), (part, df)| (sum + part, doubt + part * part / df));
        Ok((se, if doubt > 0.0 { 1.0 / (1.0 / df + doubt / (sum * sum)) } else { df }))
    }

    /// The mean of a strain with its interval.
    pub fn mean_with_interval(&self, strain: usize, level: f64) -> Result<Estimate> {
        let (se, df) = self.se_and_df(&self.weights[strain])?;
        if !(se > 0.0 && df >= 0.1) {
            return Err(Error::not_estimable("a mean of a strain", "too few batches to tell how large its error is"));
        }
        let how = if self.own.is_some() { "spreads by strain, Satterthwaite" } else { "Kenward-Roger" };
        Estimate::student_t(self.mean(strain), se, df, level, format!("REML, {how}, t"))
    }

    /// The mean of a strain.
    pub fn mean(&self, strain: usize) -> f64 {
        self.weights[strain].iter().zip(&self.fit.coefficients).map(|(w, b)| w * b).sum()
    }

    /// Rows whose products with each other are the covariances of the means, up to what Kenward and Roger add.
    pub fn factor(&self) -> Result<DMatrix<f64>> {
        let weights = DMatrix::from_fn(self.weights.len(), self.fit.coefficients.len(), |i, j| self.weights[i][j]);
        let root = self.fit.covariance.clone().cholesky();
        let root = root.ok_or_else(|| Error::numeric("the comparison of strains", "a covariance is singular"))?.l();
        Ok(weights * root)
    }

    /// Weights of the difference of two strains.
    pub fn difference(&self, a: usize, b: usize) -> Vec<f64> {
        self.weights[a].iter().zip(&self.weights[b]).map(|(a, b)| a - b).collect()
    }
}

/// The wort of each batch, where all are written down and cross the strains: a wort must have several batches, and meet several
/// strains, for its part to be told from theirs.
fn worts(rows: &[ModelRow<'_>], strains: usize) -> Option<Vec<String>> {
    let labels = rows.iter().map(|row| row.batch?.wort.as_deref()).collect::<Option<Vec<&str>>>()?;
    let kinds: BTreeSet<&str> = labels.iter().copied().collect();
    let pairs: BTreeSet<(usize, &str)> = rows.iter().zip(&labels).map(|(row, wort)| (row.strain, *wort)).collect();
    let crossed = kinds.len() >= LEAST_WORTS && pairs.len() > strains.max(kinds.len()) && 2 * kinds.len() <= rows.len();
    crossed.then(|| labels.into_iter().map(str::to_owned).collect())
}
