//! The mixed model of one trait.

use std::collections::BTreeSet;

use nalgebra::DMatrix;

use crate::error::{Error, Result};
use crate::fit::mixed::{Column, Design, MixedFit, Random};
use crate::fit::quantile::chi_squared_upper_tail;
use crate::season::Batch;

use super::conditions::Adjustments;

/// Below this p-value of one spread for all each strain gets its own, which costs degrees of freedom.
const UNEQUAL_SPREADS: f64 = 0.01;
/// Batches of a strain from which on it may have a spread of its own.
const OWN_SPREAD: usize = 4;
/// Worts from which on their spread can be told.
const LEAST_WORTS: usize = 3;
/// Degrees of freedom that random worts and spreads by strain must leave each mean and each difference: Student's t with two or
/// fewer has no variance, and an interval of a ratio can span ten powers of ten.
const LEAST_DF: f64 = 2.0;

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
    /// Whether each strain has a spread of its own.
    pub by_strain: bool,
    /// P-value of one spread for all, where it was tested.
    pub p_equal_spread: Option<f64>,
    /// By strain, its batches at the stated conditions with the errors of their fits.
    pub adjusted: Vec<Vec<(f64, f64)>>,
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
        let of_strain = |strain: usize| rows.iter().map(|row| f64::from(u8::from(row.strain == strain))).collect();
        let mut fixed: Vec<Column> = strains
            .iter()
            .enumerate()
            .map(|(i, name)| Column { name: (*name).to_owned(), values: of_strain(i) })
            .collect();
        fixed.extend(adjustments.list.iter().map(|by| Column::new(format!("by {}", by.name), &by.column)));
        let values: Vec<f64> = rows.iter().map(|row| row.value).collect();
        let mut design = Design::new(&values, fixed);
        design.known = rows.iter().map(|row| row.se * row.se).collect();
        let weights: Vec<Vec<f64>> = (0..k)
            .map(|strain| {
                let own = (0..k).map(|i| f64::from(u8::from(i == strain)));
                own.chain(adjustments.list.iter().map(|by| by.at[strain])).collect()
            })
            .collect();
        let enough = |fit: &MixedFit, of: &[f64]| fit.se_and_df(of).is_ok_and(|(_, df)| df > LEAST_DF);
        let told = |fit: &MixedFit| {
            (0..k).all(|a| enough(fit, &weights[a]) && (0..a).all(|b| enough(fit, &less(&weights[a], &weights[b]))))
        };
        let with_wort = worts(rows, k)
            .map(|labels| design.clone().random(Random::by_label("wort", &labels, vec![Column::intercept(n)])));
        let mut fit = match with_wort.and_then(|with_wort| with_wort.fit().ok().filter(told)) {
            Some(with_wort) => with_wort,
            None => design.fit()?,
        };
        let slopes = |fit: &MixedFit| {
            let mut adjusted = vec![Vec::new(); k];
            for (i, row) in rows.iter().enumerate() {
                let by = adjustments.list.iter().zip(&fit.coefficients[k..]);
                let off: f64 = by.map(|(by, slope)| slope * (by.column[i] - by.at[row.strain])).sum();
                adjusted[row.strain].push((row.value - off, row.se));
            }
            adjusted
        };
        let mut adjusted = slopes(&fit);
        let groups = spread_groups(&adjusted);
        let p_equal_spread = equal_spreads(&adjusted, &groups)?;
        let mut by_strain = false;
        // Strains of few batches share a spread, which must be told by as many differences as that of another.
        let freedom = |group: &Vec<usize>| group.iter().map(|strain| adjusted[*strain].len() - 1).sum::<usize>();
        if p_equal_spread.is_some_and(|p| p < UNEQUAL_SPREADS)
            && groups.iter().all(|group| freedom(group) + 1 >= OWN_SPREAD)
            && let Some(own) = own_spreads(&fit.design, rows, &groups).fit().ok().filter(told)
        {
            adjusted = slopes(&own);
            (fit, by_strain) = (own, true);
        }
        Ok(Self { fit, weights, by_strain, p_equal_spread, adjusted, df: (n - p) as f64 })
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
        less(&self.weights[a], &self.weights[b])
    }
}

fn less(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
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

/// Strains of several batches each for itself, the others together.
fn spread_groups(batches: &[Vec<(f64, f64)>]) -> Vec<Vec<usize>> {
    let (own, rest): (Vec<usize>, Vec<usize>) = (0..batches.len()).partition(|s| batches[*s].len() >= OWN_SPREAD);
    own.into_iter().map(|strain| vec![strain]).chain((!rest.is_empty()).then_some(rest)).collect()
}

/// P-value of one spread for all groups of strains: the likelihood ratio with M. S. Bartlett's correction for few batches
/// (Proc. R. Soc. A 160 (1937) 268), on the batches about the means of their strains.
fn equal_spreads(batches: &[Vec<(f64, f64)>], groups: &[Vec<usize>]) -> Result<Option<f64>> {
    let (mut squares, mut freedom, mut logarithms, mut inverse) = (0.0, 0.0, 0.0, 0.0);
    let mut k = 0.0;
    for group in groups {
        let (mut own, mut df) = (0.0, 0.0);
        for units in group.iter().map(|strain| &batches[*strain]) {
            let mean = units.iter().map(|(y, _)| y).sum::<f64>() / units.len() as f64;
            own += units.iter().map(|(y, _)| (y - mean).powi(2)).sum::<f64>();
            df += units.len() as f64 - 1.0;
        }
        if own > 0.0 && df > 0.0 {
            (squares, freedom, k) = (squares + own, freedom + df, k + 1.0);
            (logarithms, inverse) = (logarithms + df * (own / df).ln(), inverse + 1.0 / df);
        }
    }
    if k < 2.0 {
        return Ok(None);
    }
    let ratio = freedom * (squares / freedom).ln() - logarithms;
    let correction = 1.0 + (inverse - 1.0 / freedom) / (3.0 * (k - 1.0));
    chi_squared_upper_tail(ratio / correction, k - 1.0).map(Some)
}

/// The same model with a spread between batches for each group of strains.
fn own_spreads(design: &Design, rows: &[ModelRow<'_>], groups: &[Vec<usize>]) -> Design {
    let columns = groups.iter().enumerate().map(|(i, group)| {
        let values = rows.iter().map(|row| f64::from(u8::from(group.contains(&row.strain)))).collect();
        Column { name: format!("spread {i}"), values }
    });
    let labels: Vec<String> = (0..rows.len()).map(|i| i.to_string()).collect();
    let random = Random::by_label("batch", &labels, columns.collect());
    Design { residual_sd: Some(0.0), ..design.clone().random(random) }
}
