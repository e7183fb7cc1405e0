//! The model of a season, put together from its pairs and events.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{DMatrix, DVector};

use crate::season::Season;
use crate::units::Instant;

use crate::drift::pairs::{Curves, ModelPair};
use crate::drift::results::PairKind;
use crate::drift::scale::MONTH_D;
use crate::drift::settings::DriftSettings;

use super::fleet_model::FleetModel;
use super::gravity_shape::GravityShape;
use super::pair_row::PairRow;
use super::probe_model::{ProbeModel, SharedEffects};
use super::shift_term::ShiftTerm;

assumed! {
    /// Bias of all probes in beer against sugar baths (bubbles at rest, foam, meniscus), SD.
    const BEER_SD: f64 = 0.0007, "SG";
}

impl FleetModel {
    /// From the pairs that are used.
    pub fn new(season: &Season, curves: &Curves, pairs: &[&ModelPair], settings: &DriftSettings) -> Self {
        let mut by_probe: BTreeMap<&str, Vec<&ModelPair>> = BTreeMap::new();
        for found in pairs {
            by_probe.entry(found.pair.probe.as_str()).or_default().push(found);
        }
        let mut effects = EffectNumbers::new(by_probe.len(), by_probe.values());
        let in_beer = |found: &&ModelPair| is_in_beer(found.pair.kind);
        let beer = pairs.iter().any(in_beer).then(|| effects.of(SharedSource::Beer, *BEER_SD));
        let mut parts = Vec::new();
        let shapes = GravityShape::of(curves, &by_probe.keys().copied().collect::<Vec<_>>());
        for (index, ((probe, found), shape)) in by_probe.iter().zip(shapes).enumerate() {
            parts.push(part(season, settings, index, (probe, shape), found, &mut effects));
        }
        Self { probes: parts, prior_sd: effects.prior_sd, beer, slope_mean: 0.0 }
    }
}

/// Whether a pair has the bias in beer; between probes beside each other it falls out.
fn is_in_beer(kind: PairKind) -> bool {
    matches!(kind, PairKind::Sample | PairKind::Stated)
}

/// What pairs of several probes share.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum SharedSource {
    /// The bias in beer.
    Beer,
    /// The lift of bubbles in an active fermentation.
    Active,
    /// The gravity of a beer without a sample, by its number.
    Unsampled(usize),
    /// A source of error of calibration, by its number.
    Source(usize),
}

/// Numbers of the effects that pairs share.
struct EffectNumbers {
    prior_sd: Vec<Option<f64>>,
    numbers: BTreeMap<SharedSource, usize>,
    /// Sources of error of more than one probe: the others are in their probe's covariance.
    common: BTreeSet<usize>,
}

impl EffectNumbers {
    fn new<'a>(slopes: usize, probes: impl Iterator<Item = &'a Vec<&'a ModelPair>>) -> Self {
        let (mut once, mut common) = (BTreeSet::new(), BTreeSet::new());
        for pairs in probes {
            let sources = pairs.iter().flat_map(|found| &found.errors.shared).map(|(source, _)| *source);
            for source in sources.collect::<BTreeSet<usize>>() {
                if !once.insert(source) {
                    common.insert(source);
                }
            }
        }
        Self { prior_sd: vec![None; slopes], numbers: BTreeMap::new(), common }
    }

    fn of(&mut self, shared: SharedSource, sd: f64) -> usize {
        if let Some(&number) = self.numbers.get(&shared) {
            return number;
        }
        self.prior_sd.push(Some(sd));
        self.numbers.insert(shared, self.prior_sd.len() - 1);
        self.prior_sd.len() - 1
    }
}

fn part(
    season: &Season,
    settings: &DriftSettings,
    index: usize,
    (probe, shape): (&str, GravityShape),
    pairs: &[&ModelPair],
    effects: &mut EffectNumbers,
) -> ProbeModel {
    let n = pairs.len();
    let mut columns: BTreeMap<usize, DVector<f64>> = BTreeMap::new();
    let mut touch = |effect: usize, row: usize, by: f64| {
        if let Some(cell) = columns.entry(effect).or_insert_with(|| DVector::zeros(n)).get_mut(row) {
            *cell = by;
        }
    };
    let mut rows = Vec::with_capacity(n);
    let mut sources = BTreeMap::new();
    let mut unknown = Vec::new();
    let mut stays: BTreeMap<&str, usize> = BTreeMap::new();
    for (row, f) in pairs.iter().enumerate() {
        let mut own = f.pair.own_se.powi(2);
        for &(source, by) in &f.errors.shared {
            if effects.common.contains(&source) {
                let effect = effects.of(SharedSource::Source(source), 1.0);
                sources.insert(source, effect);
                touch(effect, row, by);
            }
        }
        if let Some(beer) = f.unsampled {
            let effect = effects.of(SharedSource::Unsampled(beer.number), beer.sd_sg);
            touch(effect, row, 1.0);
            if f.pair.kind == PairKind::SameBeer {
                unknown.push(effect);
            }
        }
        if is_in_beer(f.pair.kind) {
            touch(effects.of(SharedSource::Beer, *BEER_SD), row, 1.0);
            if f.pair.rate_sg_per_day.abs() > settings.active_sg_per_day {
                touch(effects.of(SharedSource::Active, settings.active_sd_sg), row, 1.0);
                own += 0.25 * settings.active_sd_sg.powi(2);
            }
        }
        let number = stays.len();
        let stay = f.pair.batch.as_deref().map(|batch| *stays.entry(batch).or_insert(number));
        let pair =
            PairRow::at(&shape, f.pair.age_d / MONTH_D, f.pair.reference_sg, f.errors.clone(), own).staying(stay);
        touch(index, row, pair.shows * pair.months);
        rows.push(pair);
    }
    let calibrated_at = pairs.first().map(|f| f.pair.at.plus_days(-f.pair.age_d)).unwrap_or_default();
    let steps = known_steps(season, settings, probe, calibrated_at);
    let y = DVector::from_iterator(n, pairs.iter().map(|f| f.pair.difference_sg));
    let numbers = columns.keys().copied().collect();
    let columns = DMatrix::from_columns(&columns.into_values().collect::<Vec<_>>());
    ProbeModel::new(
        (probe, shape),
        calibrated_at,
        rows,
        y,
        SharedEffects { effects: numbers, columns, sources, unknown },
        steps,
    )
}

/// The events of a probe that may move it at once, by time.
fn known_steps(season: &Season, settings: &DriftSettings, probe: &str, calibrated_at: Instant) -> Vec<ShiftTerm> {
    let of_probe = season.events.iter().filter(|event| event.probe.as_deref() == Some(probe));
    let mut steps: Vec<ShiftTerm> = of_probe
        .filter_map(|event| {
            let months = event.at.days_since(calibrated_at) / MONTH_D;
            let sd = settings.event_sd(&event.kind)?;
            Some(ShiftTerm { at: event.at, months, sd, event: Some(event.kind.clone()) })
        })
        .collect();
    steps.sort_by_key(|step| step.at);
    steps
}
