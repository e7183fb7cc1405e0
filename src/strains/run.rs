//! The comparison itself.

use std::collections::BTreeMap;

use crate::error::Result;
use crate::fit::compare::pairs::{GroupMean, all_pairs};
use crate::fit::compare::pool::pool;
use crate::fit::{Estimate, Finding};
use crate::kinetics::{Kinetics, Trait};

use super::result::{StrainContrast, StrainMean, Strains};
use super::settings::StrainSettings;

impl StrainSettings {
    /// Compares the strains of a season.
    ///
    /// The mean of a trait over the batches of a strain is that of a random-effects model: each batch has its own true
    /// value, which varies about the strain's mean, and an error of its own, the curve fit's (REML; interval by Hartung
    /// and Knapp, Student's t with batches less one degrees of freedom). The standard error is never taken smaller than
    /// the batches' own errors alone would make it. Differences are Welch's, simultaneous within a trait over all pairs
    /// of strains with at least two batches, interval and p-value from the same adjustment (Dunnett's T3).
    ///
    /// Batches are taken as independent: errors that batches share, such as a probe's calibration, are not seen. A batch
    /// that came to rest early (stuck) counts as it is. A trait that a batch does not give leaves that batch out.
    ///
    /// A mean or a difference that cannot be had says why.
    ///
    /// # Errors
    /// [`crate::Error::Setting`].
    #[doc = example!(no_run "let attenuation = StrainSettings { traits: vec![Trait::Attenuation], ..Default::default() };\nprintln!(\"{}\", attenuation.run(study.kinetics()?)?);")]
    pub fn run(&self, kinetics: &Kinetics) -> Result<Strains> {
        self.check()?;
        let mut strains = Strains { contrast_level: self.contrast_level, ..Strains::default() };
        for which in &self.traits {
            let mut groups: BTreeMap<&str, Vec<&Estimate>> = BTreeMap::new();
            for fit in &kinetics.batches {
                let of = groups.entry(fit.strain.as_str()).or_default();
                of.extend(fit.finding(*which).estimate());
            }
            let mut means: Vec<GroupMean> = Vec::new();
            for (strain, estimates) in &groups {
                let mean = match self.mean(strain, estimates) {
                    Ok((group, mean)) => {
                        means.push(group);
                        Finding::Estimated(mean)
                    }
                    Err(error) => Finding::missing(match estimates.len() {
                        0 => "no batch gave it".to_owned(),
                        1 => "one batch only: no spread between batches".to_owned(),
                        _ => error.to_string(),
                    }),
                };
                let strain = (*strain).to_owned();
                strains.means.push(StrainMean { strain, which: *which, n: estimates.len(), mean });
            }
            self.contrasts(*which, &groups, &means, &mut strains.contrasts);
        }
        Ok(strains)
    }

    fn mean(&self, strain: &str, estimates: &[&Estimate]) -> Result<(GroupMean, Estimate)> {
        let values: Vec<f64> = estimates.iter().map(|e| e.value).collect();
        let errors: Vec<f64> = estimates.iter().map(|e| e.se).collect();
        let pooled = pool(&values, &errors, self.common.level)?;
        let own: f64 = errors.iter().map(|se| 1.0 / (se * se)).sum::<f64>().sqrt().recip();
        let group =
            GroupMean { name: strain.to_owned(), mean: pooled.mean.value, se: pooled.mean.se.max(own), df: pooled.df };
        let method = "random effects over batches, REML, Hartung-Knapp, t";
        let mean = Estimate::student_t(group.mean, group.se, group.df, self.common.level, method)?;
        Ok((group, mean))
    }

    fn contrasts(
        &self,
        which: Trait,
        groups: &BTreeMap<&str, Vec<&Estimate>>,
        means: &[GroupMean],
        all: &mut Vec<StrainContrast>,
    ) {
        let (found, failure) = match all_pairs(means, self.contrast_level) {
            Ok(found) => (found, None),
            Err(error) => (Vec::new(), Some(error.to_string())),
        };
        let names: Vec<&str> = groups.keys().copied().collect();
        for (i, a) in names.iter().enumerate() {
            for b in names.iter().skip(i + 1) {
                let contrast = found.iter().find(|c| c.a == *a && c.b == *b);
                let lacking = [a, b].into_iter().find(|name| means.iter().all(|mean| mean.name != **name));
                let difference = match (contrast, lacking) {
                    (Some(contrast), _) => Finding::Estimated(contrast.difference.clone()),
                    (None, Some(name)) => Finding::missing(format!("fewer than two batches of {name} gave it")),
                    (None, None) => Finding::missing(failure.as_deref().unwrap_or("not among the pairs")),
                };
                all.push(StrainContrast {
                    which,
                    a: (*a).to_owned(),
                    b: (*b).to_owned(),
                    difference,
                    p_adjusted: contrast.map(|c| c.p_adjusted),
                    p_holm: contrast.map(|c| c.p_holm),
                });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, se: f64) -> Estimate {
        Estimate::normal(value, se, 0.9, "test").unwrap()
    }

    #[test]
    fn with_equal_errors_that_are_small_it_is_the_plain_t_interval() {
        let values = [1.011, 1.013, 1.0125, 1.0105];
        let estimates: Vec<Estimate> = values.iter().map(|v| estimate(*v, 1e-5)).collect();
        let refs: Vec<&Estimate> = estimates.iter().collect();
        let (_, mean) = StrainSettings::default().mean("sea lavender", &refs).unwrap();
        let plain = values.iter().sum::<f64>() / 4.0;
        let se = (values.iter().map(|v| (v - plain).powi(2)).sum::<f64>() / 12.0).sqrt();
        let plain = Estimate::student_t(plain, se, 3.0, 0.9, "mean, t").unwrap();
        assert!((mean.value - plain.value).abs() < 1e-9);
        assert!((mean.upper - plain.upper).abs() < 1e-7 && (mean.lower - plain.lower).abs() < 1e-7);
    }

    #[test]
    fn batches_that_agree_by_chance_are_not_better_than_their_own_errors() {
        let (a, b) = (estimate(1.012, 0.001), estimate(1.012_001, 0.001));
        let (group, _) = StrainSettings::default().mean("sea lavender", &[&a, &b]).unwrap();
        assert!((group.se - 0.001 / 2f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn an_error_that_cannot_be_stops_no_other_strain() {
        let found = StrainSettings::default().mean("sea lavender", &[&estimate(1.012, 0.0), &estimate(1.013, 0.001)]);
        assert!(found.is_err_and(|error| error.is_not_estimable()));
        let run = StrainSettings::default().run(&Kinetics::default()).unwrap();
        assert!(run.means.is_empty() && run.contrasts.is_empty());
    }
}
