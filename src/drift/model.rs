//! The model of all probes' errors together.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};

use crate::season::Season;
use crate::units::Instant;

use super::blocks::Block;
use super::pairs::Found;
use super::part::{MONTH_D, Part, Row, Step, doubt_sd, shows};
use super::result::PairKind;
use super::settings::DriftSettings;

/// Bias of all probes in beer against sugar baths (bubbles at rest, foam, meniscus), SD, SG. From memory, no source.
const BEER_SD: f64 = 0.0007;
/// Baths of one name within this many hours are one bath.
const SAME_BATH_H: f64 = 72.0;

/// Work (multiplications) for one solution a probe of all probes, up to which all are solved when one is looked at.
const FOCUS_WORK: f64 = 4e8;

/// Standard deviations that the pairs themselves must tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Variances {
    /// Of the random walk of a probe's error, after 30 days, SG.
    pub walk_sd: f64,
    /// Of a pair beyond all known errors, SG.
    pub pair_sd: f64,
}

/// What the pairs and events of a season give the model, apart from the variances.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Model {
    pub probes: Vec<Part>,
    /// SD of each effect that pairs share; the first `probes.len()` are the slopes, free at first.
    pub prior_sd: Vec<Option<f64>>,
    /// Index of the effect "in beer", if any pair is a sample.
    pub beer: Option<usize>,
    /// What was taken from every slope before.
    pub slope_mean: f64,
}

impl Model {
    pub fn new(season: &Season, pairs: &[&Found], settings: &DriftSettings) -> Self {
        let groups = reference_groups(season, pairs);
        let mut members: BTreeMap<usize, usize> = BTreeMap::new();
        let mut by_probe: BTreeMap<&str, Vec<(&Found, usize)>> = BTreeMap::new();
        for (found, &group) in pairs.iter().zip(&groups) {
            by_probe.entry(found.pair.probe.as_str()).or_default().push((found, group));
            *members.entry(group).or_default() += 1;
        }
        let mut effects = Effects::new(by_probe.len());
        let beer = pairs.iter().any(|f| f.pair.kind == PairKind::Sample).then(|| effects.named("beer", BEER_SD));
        let mut parts = Vec::new();
        for (index, (probe, found)) in by_probe.iter().enumerate() {
            parts.push(part(season, settings, index, probe, found, &mut effects, &members));
        }
        Self { probes: parts, prior_sd: effects.prior_sd, beer, slope_mean: 0.0 }
    }

    /// The blocks for given variances.
    pub fn blocks(&self, variances: Variances) -> Vec<Block<'_>> {
        self.probes.iter().map(|part| part.block(variances)).collect()
    }

    /// The same model with slopes drawn from a population: the mean is taken from the observations, the rest has the SD.
    pub fn with_slopes(&self, mean: f64, sd: f64) -> Self {
        let mut model = self.clone();
        for part in &mut model.probes {
            for (y, row) in part.y.iter_mut().zip(&part.rows) {
                *y -= mean * row.shows * row.months;
            }
            if let Some(prior) = model.prior_sd.get_mut(part.slope()) {
                *prior = Some(sd);
            }
        }
        Self { slope_mean: mean, ..model }
    }

    /// The model with probe `p` first; none for a probe there is not. Where solving all probes once for each would take too
    /// long, that of the probe alone, with what others share with it known by its prior only.
    pub fn focused(&self, p: usize) -> Option<Self> {
        let cubes: f64 = self.probes.iter().map(|part| (part.n() as f64).powi(3)).sum();
        if (self.probes.len() as f64) * (cubes + (self.prior_sd.len() as f64).powi(3)) < FOCUS_WORK {
            let mut model = self.clone();
            model.probes.get(p)?;
            model.probes.swap(0, p);
            return Some(model);
        }
        let part = self.probes.get(p)?;
        let prior_sd = part.effects.iter().map(|j| self.prior_sd.get(*j).copied().flatten()).collect();
        let effects = ((0..part.effects.len()).collect(), part.columns.clone());
        let part = part.remade(part.rows.clone(), part.y.clone(), effects);
        Some(Self { probes: vec![part], prior_sd, beer: None, slope_mean: self.slope_mean })
    }

    /// The same model with another part for its first probe.
    pub fn with_part(&self, part: Part) -> Self {
        let mut model = self.clone();
        if let Some(cell) = model.probes.first_mut() {
            *cell = part;
        }
        model
    }

    /// The same model with `part` for its first probe, whose slope is replaced by two rates with priors of these SDs; `shapes` gives
    /// what each does to the error at a gravity. The first keeps the slope's number, the second is a new effect, the last.
    pub fn with_two_rates(&self, part: Part, shapes: impl Fn(f64) -> (f64, f64), sds: (f64, f64)) -> Self {
        let mut columns = part.columns.clone().insert_column(part.columns.ncols(), 0.0);
        let last = columns.ncols() - 1;
        for (i, row) in part.rows.iter().enumerate() {
            let (first, second) = shapes(row.sg);
            for (j, shape) in [(0, first), (last, second)] {
                if let Some(cell) = columns.get_mut((i, j)) {
                    *cell = shape * row.months;
                }
            }
        }
        let slope = part.slope();
        let mut effects = part.effects.clone();
        effects.push(self.prior_sd.len());
        let part = part.remade(part.rows.clone(), part.y.clone(), (effects, columns));
        let mut model = self.with_part(part);
        model.prior_sd.push(Some(sds.1));
        if let Some(slope) = model.prior_sd.get_mut(slope) {
            *slope = Some(sds.0);
        }
        model
    }

    /// The same model with one more step of a probe.
    pub fn with_step(&self, p: usize, step: Step) -> Self {
        let mut model = self.clone();
        if let Some(part) = model.probes.get_mut(p) {
            part.y -= part.column_of(&step) * step.mean;
            part.steps.push(step);
            part.steps.sort_by_key(|step| step.at);
        }
        model
    }
}

/// Numbers of the effects that pairs share.
struct Effects {
    prior_sd: Vec<Option<f64>>,
    by_name: BTreeMap<String, usize>,
}

impl Effects {
    fn new(slopes: usize) -> Self {
        Self { prior_sd: vec![None; slopes], by_name: BTreeMap::new() }
    }

    fn named(&mut self, name: &str, sd: f64) -> usize {
        if let Some(&index) = self.by_name.get(name) {
            return index;
        }
        self.prior_sd.push(Some(sd));
        self.by_name.insert(name.to_owned(), self.prior_sd.len() - 1);
        self.prior_sd.len() - 1
    }
}

/// For each pair the number of the bath or sample behind it: one bath name within 72 h, one sample, else the row alone.
fn reference_groups(season: &Season, pairs: &[&Found]) -> Vec<usize> {
    let mut by_name: BTreeMap<String, Vec<(Instant, usize)>> = BTreeMap::new();
    for (i, found) in pairs.iter().enumerate() {
        let reference = season.references.get(found.pair.reference);
        let name = match reference.map(|r| (&r.bath, &r.batch)) {
            Some((Some(bath), None)) => format!("bath {bath}"),
            Some((_, Some(batch))) => format!("sample {batch} {} {:.5}", found.pair.at, found.pair.reference_sg),
            _ => format!("row {}", found.pair.reference),
        };
        by_name.entry(name).or_default().push((found.pair.at, i));
    }
    let mut groups = vec![0; pairs.len()];
    let mut group = 0;
    for rows in by_name.values_mut() {
        rows.sort();
        let mut last = None;
        for &(at, i) in rows.iter() {
            if last.is_none_or(|last: Instant| at.hours_since(last) >= SAME_BATH_H) {
                group += 1;
            }
            last = Some(at);
            if let Some(cell) = groups.get_mut(i) {
                *cell = group;
            }
        }
    }
    groups
}

fn part(
    season: &Season,
    settings: &DriftSettings,
    index: usize,
    probe: &str,
    pairs: &[(&Found, usize)],
    effects: &mut Effects,
    members: &BTreeMap<usize, usize>,
) -> Part {
    let n = pairs.len();
    let mut columns: BTreeMap<usize, DVector<f64>> = BTreeMap::new();
    let mut touch = |effect: usize, row: usize, by: f64| {
        if let Some(cell) = columns.entry(effect).or_insert_with(|| DVector::zeros(n)).get_mut(row) {
            *cell = by;
        }
    };
    let mut rows = Vec::with_capacity(n);
    for (row, (f, group)) in pairs.iter().enumerate() {
        let mut own = f.pair.own_se.powi(2);
        // What only this pair has of its reference is in the pair alone.
        if members.get(group).is_some_and(|n| *n > 1) {
            touch(effects.named(&format!("reference {group}"), f.pair.reference_sd.max(1e-6)), row, 1.0);
        } else {
            own += f.pair.reference_sd.powi(2);
        }
        if let Some((name, sd)) = season.references.get(f.pair.reference).and_then(|r| settings.instrument_of(r)) {
            touch(effects.named(&name, sd), row, 1.0);
        }
        if f.pair.kind == PairKind::Sample {
            touch(effects.named("beer", BEER_SD), row, 1.0);
            if f.pair.rate_sg_per_day.abs() > settings.active_sg_per_day {
                touch(effects.named("active", settings.active_sd_sg), row, 1.0);
                own += 0.25 * settings.active_sd_sg.powi(2);
            }
        }
        let (months, shows) = (f.pair.age_d / MONTH_D, shows(f.pair.reference_sg));
        let doubt = doubt_sd(f.pair.reference_sg, months).powi(2);
        touch(index, row, shows * months);
        rows.push(Row { months, shows, sources: f.sources, sg: f.pair.reference_sg, own, doubt });
    }
    let calibrated_at = pairs.first().map(|(f, _)| f.pair.at.plus_days(-f.pair.age_d)).unwrap_or_default();
    let steps = known_steps(season, settings, probe, calibrated_at);
    let y = DVector::from_iterator(n, pairs.iter().map(|(f, _)| f.pair.difference_sg));
    let numbers = columns.keys().copied().collect();
    let columns = DMatrix::from_columns(&columns.into_values().collect::<Vec<_>>());
    Part::new(probe, calibrated_at, rows, y, (numbers, columns), steps)
}

/// The events of a probe that may move it at once, by time.
fn known_steps(season: &Season, settings: &DriftSettings, probe: &str, calibrated_at: Instant) -> Vec<Step> {
    let of_probe = season.events.iter().filter(|event| event.probe.as_deref() == Some(probe));
    let mut steps: Vec<Step> = of_probe
        .filter_map(|event| {
            let months = event.at.days_since(calibrated_at) / MONTH_D;
            let sd = settings.event_sd(&event.kind)?;
            Some(Step { at: event.at, months, mean: 0.0, sd, event: Some(event.kind.clone()) })
        })
        .collect();
    steps.sort_by_key(|step| step.at);
    steps
}
