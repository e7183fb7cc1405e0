//! What was known of the other batches at a moment.
//!
//! Every [`LOOK_PERIOD_H`] hours all batches are looked at with the data known then; a forecast uses the last look at or before its
//! moment. So nothing later leaks in, and looks, and what they say together, are made once for many forecasts. Of each strain
//! the last [`LATEST`] batches count, so that the work for a forecast does not grow with the season.

use std::collections::{BTreeSet, HashMap};

use rayon::prelude::*;

use crate::error::Result;
use crate::kinetics::point::median;
use crate::kinetics::population::{Information, Population, PopulationPrior, among_first};
use crate::kinetics::weak_priors::{DEPARTURE_AT_REST, DEPARTURE_H, DEPARTURE_SG};
use crate::kinetics::{ErrorModel, Kinetics, KineticsSettings};
use crate::season::Batch;
use crate::units::Instant;

use super::coordinates::{DIMS, worth};
use super::known::KnownSeries;
use super::posterior::BatchAsKnown;

/// Hours between looks.
pub(crate) const LOOK_PERIOD_H: f64 = 96.0;
/// A batch is first looked at so many hours after its pitching.
const FIRST_H: f64 = 48.0;
/// Batches of one strain that count.
pub(super) const LATEST: usize = 12;

pub(super) struct Archive<'a> {
    batches: &'a [Batch],
    kinetics: &'a Kinetics,
    source: &'a dyn KnownSeries,
    settings: &'a KineticsSettings,
    /// The end of the data of each batch that has a curve.
    ends: Vec<Option<Instant>>,
    /// By batch and moment.
    looks: HashMap<(usize, Instant), Option<Information>>,
    /// By moment and the batch that is left out, if it would be in.
    fleets: HashMap<(Instant, Option<usize>), Population>,
}

impl<'a> Archive<'a> {
    pub fn new(
        batches: &'a [Batch],
        kinetics: &'a Kinetics,
        source: &'a dyn KnownSeries,
        settings: &'a KineticsSettings,
    ) -> Self {
        let fitted = kinetics.batches.iter().map(|fit| (fit.batch.as_str(), fit.instant(fit.last_hours)));
        let fitted: HashMap<&str, Instant> = fitted.collect();
        let ends = batches.iter().map(|batch| fitted.get(batch.batch.as_str()).copied()).collect();
        Self { batches, kinetics, source, settings, ends, looks: HashMap::new(), fleets: HashMap::new() }
    }

    /// Makes the looks that forecasts of batches as of moments need, and sums them up, side by side. A look that fails tells
    /// nothing of its batch.
    pub fn look(&mut self, needed: &[(Instant, usize)]) {
        let wanted: BTreeSet<_> = needed.iter().map(|(as_of, except)| self.fleet_of(*as_of, *except)).collect();
        let wanted: Vec<_> = wanted.into_iter().filter(|key| !self.fleets.contains_key(key)).collect();
        let looks = wanted.iter().flat_map(|(at, except)| self.looks_at(*at, *except));
        let missing: BTreeSet<_> = looks.filter(|look| !self.looks.contains_key(look)).collect();
        let missing: Vec<_> = missing.into_iter().collect();
        let found = missing.par_iter().map(|&(i, at)| self.information(self.batches.get(i)?, at).ok().flatten());
        let found: Vec<_> = found.collect();
        self.looks.extend(missing.into_iter().zip(found));
        let sum = |&(at, except): &(Instant, Option<usize>)| {
            let known = self.looks_at(at, except).into_iter().filter_map(|look| self.looks.get(&look)?.as_ref());
            Population::new(&known.collect::<Vec<_>>(), &worth())
        };
        let fleets: Vec<_> = wanted.par_iter().map(sum).collect();
        self.fleets.extend(wanted.into_iter().zip(fleets));
    }

    /// What all batches but `except` say together, as far as looked at.
    pub fn fleet(&self, as_of: Instant, except: usize) -> Option<&Population> {
        self.fleets.get(&self.fleet_of(as_of, except))
    }

    fn fleet_of(&self, as_of: Instant, except: usize) -> (Instant, Option<usize>) {
        let at = as_of.begun(LOOK_PERIOD_H);
        (at, Some(except).filter(|except| self.look_of(*except, at).is_some()))
    }

    /// The looks at the last batches of each strain.
    fn looks_at(&self, at: Instant, except: Option<usize>) -> Vec<(usize, Instant)> {
        let mut is_late = among_first(LATEST);
        let others = self.batches.iter().enumerate().rev().filter(|(i, _)| Some(*i) != except);
        let looks = others.filter_map(|(i, batch)| {
            let look = self.look_of(i, at)?;
            is_late(&batch.strain).then_some((i, look))
        });
        let mut looks: Vec<_> = looks.collect();
        looks.reverse();
        looks
    }

    /// The moment of the last look at a batch by the beginning of a period; none before its first. After the end of its data a batch
    /// needs no more looks.
    fn look_of(&self, index: usize, at: Instant) -> Option<Instant> {
        let end = self.ends.get(index).copied().flatten()?;
        let look = at.min(end.begun(LOOK_PERIOD_H).plus_hours(LOOK_PERIOD_H));
        (look.hours_since(self.batches.get(index)?.pitched_at) >= FIRST_H).then_some(look)
    }

    fn information(&self, batch: &Batch, as_of: Instant) -> Result<Option<Information>> {
        let Some(series) = self.source.series(batch, as_of)? else { return Ok(None) };
        let mut known = BatchAsKnown::new(&series, self.settings, self.error_model(as_of))?;
        let posterior = known.posterior(&PopulationPrior::base(DIMS), true)?;
        // A few points, or points that no curve goes through, tell nothing of other batches.
        if !known.shows_curve() || !posterior.fits {
            return Ok(None);
        }
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
