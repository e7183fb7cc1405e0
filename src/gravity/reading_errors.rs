//! The error that readings of a probe on one curve share, source by source.

use crate::calibration::{Calibration, CovarianceRoot, MOST_COEFFICIENTS};
use crate::liquid::BeerDensity;

/// Sources of error of a probe's own: its curve's coefficients, its shell, its thermometer.
const OWN_SOURCES: usize = MOST_COEFFICIENTS + 2;

/// An error as a sum of independent standard normal sources with these signed effects, SG.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct ReadingErrors {
    /// Of the own part of the curve's error (by the root of its covariance), of the shell and of the thermometer.
    pub own: [f64; OWN_SOURCES],
    /// Of sources that other curves and references have as well (a bath, an instrument, a weighing), by number; rising,
    /// each once.
    pub shared: Vec<(usize, f64)>,
}

impl ReadingErrors {
    /// Adds the effect of a source that others have as well.
    pub fn add(&mut self, source: usize, effect: f64) {
        match self.shared.binary_search_by_key(&source, |(number, _)| *number) {
            Ok(place) => {
                if let Some((_, known)) = self.shared.get_mut(place) {
                    *known += effect;
                }
            }
            Err(place) => self.shared.insert(place, (source, effect)),
        }
    }

    /// The errors of a difference.
    #[must_use]
    pub fn minus(mut self, other: &Self) -> Self {
        for (cell, effect) in self.own.iter_mut().zip(&other.own) {
            *cell -= effect;
        }
        for &(source, effect) in &other.shared {
            self.add(source, -effect);
        }
        self
    }

    /// Covariance with another error of the same probe; of the shared sources only those that `counts` counts.
    pub fn covariance(&self, other: &Self, counts: impl Fn(usize) -> bool) -> f64 {
        let own: f64 = self.own.iter().zip(&other.own).map(|(a, b)| a * b).sum();
        let mut theirs = other.shared.iter().peekable();
        let mut shared = 0.0;
        for &(source, effect) in &self.shared {
            while theirs.next_if(|(number, _)| *number < source).is_some() {}
            if let Some((_, other)) = theirs.next_if(|(number, _)| *number == source)
                && counts(source)
            {
                shared += effect * other;
            }
        }
        own + shared
    }
}

impl Calibration {
    /// The shared error of a reading on this curve; `root` is that of the curve's own part. None where the curve has no value
    /// or the liquid formulas do not reach.
    pub(crate) fn reading_errors(
        &self,
        root: &CovarianceRoot,
        liquid: &BeerDensity,
        tilt_deg: f64,
        temp_c: f64,
        temp_sd_c: f64,
    ) -> Option<ReadingErrors> {
        let at = self.fitted.curve.at(tilt_deg)?;
        let factor = self.shell.volume_factor(temp_c);
        let density = at.density_kg_m3 / factor;
        let (_, by_density) = liquid.sg_and_slope(density, temp_c).ok()?;
        let [a, b, c, d] = root.through(&at.gradient).map(|effect| effect / factor);
        let [shell, thermometer] = self.common_errors(density, factor, temp_c, temp_sd_c);
        let mut errors = ReadingErrors {
            own: [a, b, c, d, shell, thermometer].map(|effect| by_density * effect),
            shared: Vec::new(),
        };
        for error in &self.fitted.shared {
            errors.add(error.source, by_density * error.at(&at) / factor);
        }
        Some(errors)
    }
}

#[cfg(test)]
#[path = "../../tests/inside/reading_errors.rs"]
mod tests;
