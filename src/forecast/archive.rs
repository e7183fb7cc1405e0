//! What was known of the other batches at a moment.
//!
//! Each batch is looked at on a grid of moments, every [`GRID_H`] hours from its pitching, with the data known then; a
//! forecast uses the last look at or before its moment. So nothing later leaks in, and a look is made once only.

use std::collections::{BTreeSet, HashMap};

use rayon::prelude::*;

use crate::error::Result;
use crate::kinetics::median::median;
use crate::kinetics::population::{Information, PopulationPrior};
use crate::kinetics::weak_priors::{DEPARTURE_AT_REST, DEPARTURE_H, DEPARTURE_SG};
use crate::kinetics::{ErrorModel, Kinetics, KineticsSettings};
use crate::season::Batch;
use crate::units::Instant;

use super::coordinates::DIMS;
use super::known::KnownSeries;
use super::posterior::BatchAsKnown;

/// Hours between looks at a batch.
const GRID_H: f64 = 48.0;

pub(super) struct Archive<'a> {
    batches: &'a [Batch],
    kinetics: &'a Kinetics,
    source: &'a dyn KnownSeries,
    settings: &'a KineticsSettings,
    looks: HashMap<(usize, u32), Option<Information>>,
}

impl<'a> Archive<'a> {
    pub fn new(
        batches: &'a [Batch],
        kinetics: &'a Kinetics,
        source: &'a dyn KnownSeries,
        settings: &'a KineticsSettings,
    ) -> Self {
        Self { batches, kinetics, source, settings, looks: HashMap::new() }
    }

    /// Makes the looks at all batches but one that forecasts of that one as of a moment need, side by side. A look that fails
    /// tells nothing of its batch.
    pub fn look(&mut self, needed: &[(Instant, usize)]) {
        let mut missing = BTreeSet::new();
        for (as_of, except) in needed {
            for (i, batch) in self.batches.iter().enumerate().filter(|(i, _)| i != except) {
                missing
                    .extend(self.step(batch, *as_of).map(|step| (i, step)).filter(|at| !self.looks.contains_key(at)));
            }
        }
        let missing: Vec<_> = missing.into_iter().collect();
        let found = missing.par_iter().map(|&(i, step)| {
            let batch = self.batches.get(i)?;
            self.information(batch, batch.pitched_at.plus_hours(GRID_H * f64::from(step))).ok().flatten()
        });
        let found: Vec<_> = found.collect();
        self.looks.extend(missing.into_iter().zip(found));
    }

    /// What is known of all batches but `except`, as far as looked at.
    pub fn known(&self, as_of: Instant, except: usize) -> Vec<&Information> {
        let of = |(i, batch): (usize, &Batch)| {
            let step = self.step(batch, as_of).filter(|_| i != except)?;
            self.looks.get(&(i, step))?.as_ref()
        };
        self.batches.iter().enumerate().filter_map(of).collect()
    }

    /// The last look at or before a moment; none before the first. After the end of its data a batch needs no more looks.
    fn step(&self, batch: &Batch, as_of: Instant) -> Option<u32> {
        let last_h = self.kinetics.get(&batch.batch)?.last_hours;
        let by_time = (as_of.hours_since(batch.pitched_at) / GRID_H).floor();
        let most = (last_h / GRID_H).ceil() + 1.0;
        (by_time >= 1.0).then_some(by_time.min(most) as u32)
    }

    fn information(&self, batch: &Batch, as_of: Instant) -> Result<Option<Information>> {
        let Some(series) = self.source.series(batch, as_of)? else { return Ok(None) };
        let posterior = BatchAsKnown::new(&series, self.settings, self.error_model(as_of))?
            .posterior(&PopulationPrior::base(DIMS), true)?;
        let covariance = posterior.covariance.view((1, 1), (DIMS, DIMS)).clone_owned();
        Ok(Information::new(&batch.strain, &posterior.mean.rows(1, DIMS).clone_owned(), covariance, &[1.0; DIMS]))
    }

    /// Size, correlation time and share at rest of what probes depart from the smooth curve: medians of the batches whose
    /// data had ended.
    pub fn error_model(&self, as_of: Instant) -> (f64, f64, f64) {
        let ended = self.kinetics.batches.iter().filter(|fit| fit.instant(fit.last_hours) <= as_of);
        let found: Vec<ErrorModel> = ended.filter_map(|fit| Some(fit.fitted.as_ref()?.errors)).collect();
        if found.len() < 3 {
            return (*DEPARTURE_SG, *DEPARTURE_H, *DEPARTURE_AT_REST);
        }
        let middle = |of: fn(&ErrorModel) -> f64| median(&mut found.iter().map(of).collect::<Vec<_>>());
        (middle(|e| e.kappa_sg), middle(|e| e.tau_h), middle(|e| e.floor))
    }
}
