//! Attenuation and the time to nine tenths of the drop together.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use crate::kinetics::Trait;

use super::result::Strains;

/// What strain and conditions leave of each batch.
pub(super) type Residuals<'a> = BTreeMap<&'a str, f64>;

/// Correlation of two traits: cross-products of the residuals of the batches that give both, eight at least.
pub(super) fn correlation(a: &Residuals<'_>, b: &Residuals<'_>) -> Option<f64> {
    let both: Vec<(f64, f64)> = a.iter().filter_map(|(batch, x)| Some((*x, *b.get(batch)?))).collect();
    let sum = |of: fn(&(f64, f64)) -> f64| both.iter().map(of).sum::<f64>();
    let r = sum(|(x, y)| x * y) / (sum(|(x, _)| x * x) * sum(|(_, y)| y * y)).sqrt();
    (both.len() >= 8 && r.is_finite()).then_some(r)
}

impl Strains {
    /// The edge of the region of a strain's mean time to nine tenths of the drop, hours, and mean attenuation, at the level of the
    /// contrasts. The means correlate as the residuals of a batch do: exactly so where both models have the same columns (A.
    /// Zellner, J. Am. Stat. Assoc. 57 (1962) 348), nearly where they share most. It is an ellipse in the logarithm of time, by
    /// twice Fisher's F with 2 and the fewer degrees of freedom of both, whose quantile has a closed form.
    pub fn region(&self, strain: &str) -> Option<Vec<(f64, f64)>> {
        let (time, end) = (self.mean(strain, Trait::T90H)?, self.mean(strain, Trait::Attenuation)?);
        let (t, a, df, r) = (time.mean.estimate()?, end.mean.estimate()?, time.df?.min(end.df?), self.correlation?);
        let reach = (df * ((1.0 - self.contrast_level).powf(-2.0 / df) - 1.0)).sqrt();
        let point = |i: u8| {
            let (sin, cos) = (TAU * f64::from(i) / 80.0).sin_cos();
            let across = r * cos + (1.0 - r * r).sqrt() * sin;
            (t.value * (reach * cos * t.se / t.value).exp(), a.value + reach * across * a.se)
        };
        Some((0..=80).map(point).collect())
    }
}
