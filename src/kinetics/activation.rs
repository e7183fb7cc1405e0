//! The activation energy of the pace, from batches of one strain at different temperatures.

use crate::fit::{Estimate, Finding, quantile};
use crate::units::kelvin_from_celsius;

use super::clock::GAS_KJ_MOL_K;

/// What one batch says of the activation energy.
#[derive(Debug, Clone)]
pub(super) struct Paced {
    pub strain: String,
    /// Logarithm of the time of the middle of the drop, hours as they pass.
    pub ln_mid: f64,
    /// Mean temperature up to then, C.
    pub temp_c: f64,
}

/// The activation energy from batches of the same strain at different temperatures: the slope of the logarithm of the
/// middle's time over 1/(R T) about the means of the strains, weighed with the published value by their precisions.
///
/// Held at the published value where temperatures within strains differ by less than 1 C (standard deviation) or fewer
/// than four batches are to spare.
pub(super) fn activation(batches: &[Paced], published: (f64, f64), level: f64) -> crate::Result<Finding> {
    let mut strains: Vec<&str> = batches.iter().map(|b| b.strain.as_str()).collect();
    strains.sort_unstable();
    strains.dedup();
    let (mut sxx, mut sxy, mut syy, mut temps) = (0.0, 0.0, 0.0, 0.0);
    let mut spare = -1.0;
    for strain in strains {
        let own: Vec<&Paced> = batches.iter().filter(|b| b.strain == strain).collect();
        let n = own.len() as f64;
        let x = |b: &Paced| 1.0 / (GAS_KJ_MOL_K * kelvin_from_celsius(b.temp_c));
        let mean = |of: &dyn Fn(&Paced) -> f64| own.iter().map(|b| of(b)).sum::<f64>() / n;
        let (mx, my, mt) = (mean(&x), mean(&|b| b.ln_mid), mean(&|b| b.temp_c));
        for b in &own {
            sxx += (x(b) - mx).powi(2);
            sxy += (x(b) - mx) * (b.ln_mid - my);
            syy += (b.ln_mid - my).powi(2);
            temps += (b.temp_c - mt).powi(2);
        }
        spare += n - 1.0;
    }
    let held = |why: String| Ok(Finding::Fixed { value: published.0, why });
    let spread = (temps / (spare + 1.0_f64).max(1.0)).sqrt();
    if spare < 4.0 {
        return held("published value: too few batches of one strain".to_owned());
    }
    if spread < 1.0 {
        return held(format!("published value: within strains the temperature varies by {spread:.1} \u{b0}C only"));
    }
    let slope = sxy / sxx;
    let variance = ((syy - slope * sxy) / spare).max(1e-6) / sxx;
    // A t's variance, as the normal prior sees it.
    let variance = variance * if spare > 2.0 { spare / (spare - 2.0) } else { 3.0 };
    let (a, b) = (1.0 / variance, 1.0 / (published.1 * published.1));
    let (value, se) = ((a * slope + b * published.0) / (a + b), (a + b).sqrt().recip());
    let factor = quantile::normal_two_sided(level)?;
    let method = "within strains, with the published value as prior, normal";
    Ok(Finding::Estimated(Estimate {
        value,
        se,
        lower: value - factor * se,
        upper: value + factor * se,
        level,
        method: method.into(),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::common::ActivationEnergy;

    const PUBLISHED: (f64, f64) = (ActivationEnergy::PUBLISHED.kj_mol, ActivationEnergy::PUBLISHED.sd_kj_mol);

    #[test]
    fn the_activation_energy_is_found_within_strains_only() {
        let batch = |strain: &str, temp_c: f64, own: f64| Paced {
            strain: strain.to_owned(),
            ln_mid: own + 70.0 / (GAS_KJ_MOL_K * kelvin_from_celsius(temp_c)) + 0.01 * (13.0 * temp_c).sin(),
            temp_c,
        };
        let varied: Vec<Paced> =
            (0..12).map(|i| batch(if i % 2 == 0 { "a" } else { "b" }, 14.0 + f64::from(i), f64::from(i % 2))).collect();
        let found = activation(&varied, PUBLISHED, 0.9).unwrap();
        assert!((found.value().unwrap() - 70.0).abs() < 2.0 && found.estimate().is_some(), "{found}");
        let constant: Vec<Paced> =
            (0..12).map(|i| if i % 2 == 0 { batch("a", 20.0, 0.0) } else { batch("b", 12.0, 0.0) }).collect();
        let held = activation(&constant, PUBLISHED, 0.9).unwrap();
        assert!(held.estimate().is_none() && held.value() == Some(52.4), "{held}");
    }
}
