//! How far batches of a strain spread about its mean: as far as those of others, or not.

use crate::error::Result;
use crate::fit::compare::pool::pool;
use crate::fit::quantile::chi_squared_upper_tail;
use crate::fit::root;

/// The variance of units about their mean, and its degrees of freedom, of which the share `left` is left.
pub(super) fn variance(units: &[(f64, f64)], left: f64) -> (f64, f64) {
    let mean = units.iter().map(|(y, _)| y).sum::<f64>() / units.len() as f64;
    let df = left * (units.len() as f64 - 1.0);
    (units.iter().map(|(y, _)| (y - mean).powi(2)).sum::<f64>() / df.max(1e-9), df)
}

/// P-value of one variance for all: the likelihood ratio with M. S. Bartlett's correction for few units (Proc. R. Soc. A
/// 160 (1937) 268).
pub(super) fn equal_spreads(variances: &[(f64, f64)]) -> Result<Option<f64>> {
    let told: Vec<(f64, f64)> = variances.iter().copied().filter(|(v, df)| *v > 0.0 && *df > 0.0).collect();
    if told.len() < 2 {
        return Ok(None);
    }
    let sum = |of: fn(&(f64, f64)) -> f64| told.iter().map(of).sum::<f64>();
    let (freedom, most) = (sum(|(_, df)| *df), told.len() as f64 - 1.0);
    let ratio = freedom * (sum(|(v, df)| v * df) / freedom).ln() - sum(|(v, df)| df * v.ln());
    let correction = 1.0 + (sum(|(_, df)| 1.0 / df) - 1.0 / freedom) / (3.0 * most);
    chi_squared_upper_tail(ratio / correction, most).map(Some)
}

/// The same variances, each drawn towards the others by as much as they have in common, with more degrees of freedom (G. K. Smyth,
/// Stat. Appl. Genet. Mol. Biol. 3 (2004) article 3): their logarithms are normal about a mean, which REML finds.
pub(super) fn shrunk(variances: &[(f64, f64)]) -> Result<Vec<(f64, f64)>> {
    let told = variances.iter().filter(|(v, df)| *v > 0.0 && *df > 0.0);
    let (logarithms, errors): (Vec<f64>, Vec<f64>) =
        told.map(|(v, df)| (v.ln() + fall(*df), doubt(*df).sqrt())).unzip();
    let all = pool(&logarithms, &errors, 0.9)?;
    let between = all.tau.powi(2).clamp(1e-4, 1e3);
    let common_df = root::brent("a common spread", |df| doubt(df) - between, 0.05, 5e4, 0.0)?;
    let common = (all.mean.value - fall(common_df)).exp();
    let most: f64 = variances.iter().map(|(_, df)| df).sum();
    let one = |(v, df): &(f64, f64)| ((common_df * common + df * v) / (common_df + df), (common_df + df).min(most));
    Ok(variances.iter().map(one).collect())
}

/// How far the logarithm of chi-squared over its degrees of freedom lies below 0 on average, and its variance: the series of
/// the digamma and trigamma functions, good to 2 % from two degrees on.
fn fall(df: f64) -> f64 {
    1.0 / df + 1.0 / (3.0 * df * df)
}

fn doubt(df: f64) -> f64 {
    2.0 / df + 2.0 / (df * df) + 4.0 / (3.0 * df.powi(3))
}

#[cfg(test)]
#[path = "../../tests/inside/strain_spreads.rs"]
mod tests;
