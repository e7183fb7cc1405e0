//! What readings alone tell between batches: probes beside each other in one beer, and worts whose gravity is stated.
//!
//! A probe at rest shows nothing of its error unless something else knows the gravity. Where no sample was drawn, that may be
//! another probe in the same beer, or the original gravity that the brewer wrote down. The gravity at which a beer came to
//! rest is not taken from what its yeast usually leaves: that is known to a thousandth or two at best, a stuck batch
//! stays higher, and it was learnt from the same probes.

use std::collections::{BTreeMap, BTreeSet};

use crate::season::{Batch, HYDROMETER_SD_SG, UNFERMENTED_H};
use crate::units::{HOURS_PER_DAY, Instant};

use crate::drift::results::{DriftPair, PairKind};

use super::finder::{CheckedProbe, ModelPair, PairFinder, PlateauGravity, UnsampledBeer};

assumed! {
    /// SD of the gravity of a beer that nothing tells: so wide that only the differences of its probes count.
    const UNKNOWN_SD: f64 = 0.02, "SG";
    /// Probes are compared this long before the first of them leaves the beer: lifting one out moves the others too.
    const LEAVING_H: f64 = 12.0, "h";
    /// Two comparisons of one batch are farther apart than this, and none is so near a sample.
    const APART_H: f64 = 48.0, "h";
}

/// A probe of a batch and the times of its first and last usable readings there.
struct Stay<'a> {
    probe: &'a str,
    checked: &'a CheckedProbe<'a>,
    from: Instant,
    to: Instant,
}

/// Probes that were looked at in one beer.
struct BeerVisit<'a> {
    batch: &'a Batch,
    kind: PairKind,
    /// Known gravity and its SD; none where only the probes tell.
    known: Option<(f64, f64)>,
    seen: Vec<(&'a Stay<'a>, Instant, PlateauGravity)>,
}

impl PairFinder<'_> {
    /// The pairs with beers without samples. `found` are those with references: a visit that has none of them behind it, not
    /// even through other probes, is left out, as nothing ties it to the truth.
    pub fn unsampled(&self, checked: &BTreeMap<String, CheckedProbe>, found: &[ModelPair]) -> Vec<ModelPair> {
        if !self.settings.unsampled {
            return Vec::new();
        }
        let mut visits = Vec::new();
        let stays = self.stays(checked);
        for batch in &self.season.batches {
            let Some(stays) = self.season.readings.batch_index(&batch.batch).and_then(|index| stays.get(&index)) else {
                continue;
            };
            let wort = self.wort(batch, stays);
            let stated = wort.as_ref().is_some_and(|visit| visit.seen.len() > 1);
            visits.extend(wort);
            visits.extend(self.beside(batch, stays, found, stated));
        }
        tied(visits, found).into_iter().enumerate().flat_map(|(number, visit)| visit.found(number)).collect()
    }

    /// By batch, the probes with a curve that were in it.
    fn stays<'a>(&self, checked: &'a BTreeMap<String, CheckedProbe>) -> BTreeMap<u32, Vec<Stay<'a>>> {
        let readings = &self.season.readings;
        let mut stays: BTreeMap<u32, Vec<Stay>> = BTreeMap::new();
        for (probe, checked) in checked {
            for row in readings.of_probe(probe).filter(|row| self.usable(*row)) {
                let (Some(Some(batch)), Some(&at)) = (readings.batch.get(row), readings.at.get(row)) else { continue };
                let of_batch = stays.entry(*batch).or_default();
                match of_batch.last_mut() {
                    Some(stay) if stay.probe == probe => stay.to = at,
                    _ => of_batch.push(Stay { probe, checked, from: at, to: at }),
                }
            }
        }
        stays
    }

    /// The probes of a batch against the original gravity that is stated of it. Since pitching the beer has fallen by half of what
    /// it would have at the rate that they show.
    fn wort<'a>(&self, batch: &'a Batch, stays: &'a [Stay<'a>]) -> Option<BeerVisit<'a>> {
        let known = (batch.original_sg?, batch.original_sg_sd.unwrap_or(*HYDROMETER_SD_SG));
        let seen = stays.iter().filter_map(|stay| {
            let at = stay.from.plus_hours(self.settings.plateau_window_h);
            let since_d = at.days_since(batch.pitched_at);
            let seen = self.at_moment(batch, stay, at).filter(|_| HOURS_PER_DAY * since_d < *UNFERMENTED_H)?;
            let fell_sg = 0.5 * seen.rate_sg_per_day.max(0.0) * since_d.max(0.0);
            Some((stay, at, PlateauGravity { sg: seen.sg + fell_sg, ..seen }))
        });
        Some(BeerVisit { batch, kind: PairKind::Stated, known: Some(known), seen: seen.collect() })
    }

    /// The probes of a batch beside each other, soon after all are in it, unless they met a `stated` gravity there, and before
    /// the first leaves.
    fn beside<'a>(
        &self,
        batch: &'a Batch,
        stays: &'a [Stay<'a>],
        found: &[ModelPair],
        stated: bool,
    ) -> Vec<BeerVisit<'a>> {
        let from = stays.iter().map(|stay| stay.from).max().map(|at| at.plus_hours(self.settings.plateau_window_h));
        let to = stays.iter().map(|stay| stay.to).min().map(|at| at.plus_hours(-*LEAVING_H));
        let (Some(from), Some(to)) = (from, to) else { return Vec::new() };
        let moments = if to.hours_since(from) > *APART_H { vec![from, to] } else { vec![to] };
        let sampled = |at: &Instant| {
            let near = found
                .iter()
                .filter(|f| f.pair.batch.as_ref() == Some(&batch.batch) && f.pair.at.hours_since(*at).abs() < *APART_H);
            near.map(|f| &f.pair.probe).collect::<BTreeSet<_>>().len() > 1
        };
        moments
            .into_iter()
            .filter(|at| !(sampled(at) || stated && *at == from))
            .map(|at| {
                let seen = stays.iter().filter_map(|stay| Some((stay, at, self.calm(batch, stay, at)?))).collect();
                BeerVisit { batch, kind: PairKind::SameBeer, known: None, seen }
            })
            .filter(|visit| visit.seen.len() > 1)
            .collect()
    }

    /// A probe where the beer does not ferment.
    fn calm(&self, batch: &Batch, stay: &Stay, at: Instant) -> Option<PlateauGravity> {
        let calm = |seen: &PlateauGravity| seen.rate_sg_per_day.abs() <= self.settings.active_sg_per_day;
        self.at_moment(batch, stay, at).filter(calm)
    }

    /// A probe in its batch at a moment.
    fn at_moment(&self, batch: &Batch, stay: &Stay, at: Instant) -> Option<PlateauGravity> {
        let index = self.season.readings.batch_index(&batch.batch);
        let rest = self.rest(stay.probe, index, at, stay.checked.noise).filter(|rest| rest.temp_c.is_finite())?;
        let seen = self.seen(stay.checked, Some(&batch.batch), &rest)?;
        seen.sg.is_finite().then_some(seen)
    }
}

/// The visits that something ties to the truth: a gravity that is stated, or a probe that has pairs elsewhere, be it through
/// other visits.
fn tied<'a>(mut visits: Vec<BeerVisit<'a>>, found: &[ModelPair]) -> Vec<BeerVisit<'a>> {
    let used = found.iter().filter(|f| f.pair.left_out.is_none());
    let mut known: BTreeSet<&str> = used.map(|f| f.pair.probe.as_str()).collect();
    let mut tied = Vec::new();
    loop {
        let is_tied = |visit: &mut BeerVisit<'a>| {
            visit.known.is_some() || visit.seen.iter().any(|(stay, ..)| known.contains(stay.probe))
        };
        let more: Vec<BeerVisit<'a>> = visits.extract_if(.., is_tied).collect();
        if more.is_empty() {
            return tied;
        }
        known.extend(more.iter().flat_map(|visit| &visit.seen).map(|(stay, ..)| stay.probe));
        tied.extend(more);
    }
}

impl BeerVisit<'_> {
    fn found(self, number: usize) -> Vec<ModelPair> {
        let mean = self.seen.iter().map(|(.., seen)| seen.sg).sum::<f64>() / self.seen.len().max(1) as f64;
        let (reference_sg, sd_sg) = self.known.unwrap_or((mean, *UNKNOWN_SD));
        let probes: Vec<&str> = self.seen.iter().map(|(stay, ..)| stay.probe).collect();
        let pair = |(stay, at, seen): (&Stay, Instant, PlateauGravity)| {
            let others: Vec<&str> = probes.iter().filter(|probe| **probe != stay.probe).copied().collect();
            let pair = DriftPair {
                at,
                probe: stay.probe.to_owned(),
                reference: None,
                kind: self.kind,
                reference_sg,
                reference_sd: if self.known.is_some() { sd_sg } else { f64::INFINITY },
                difference_sg: seen.sg - reference_sg,
                own_se: seen.own_se,
                curve_se: seen.curve_se,
                age_d: at.days_since(stay.checked.first.calibrated_at),
                temp_c: seen.temp_c,
                method: match self.kind {
                    PairKind::SameBeer => format!("beside {}", others.join(", ")),
                    _ => "original gravity as stated".to_owned(),
                },
                batch: Some(self.batch.batch.clone()),
                rate_sg_per_day: seen.rate_sg_per_day,
                left_out: None,
            };
            ModelPair { pair, errors: seen.errors, unsampled: Some(UnsampledBeer { number, sd_sg }), instrument: None }
        };
        self.seen.into_iter().map(pair).collect()
    }
}
